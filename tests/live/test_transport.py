"""Queries and replies over TCP: a late, cut, garbled or missing reply is never read as a number."""

import math
import sys
import threading
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewind.live import DisconnectedError, GarbledError, NoAnswerError
from edgewind.live.devices import number_of, switch_of
from edgewind.live.instruments import open_resource
from edgewind.live.transport_tcp import TcpTransport, is_tcp_socket
from edgewind.live.transport_visa import VisaTransport

sys.path.insert(0, str(Path(__file__).parent))
from fake import FakeInstrument, broken, late

SHORT_S = 0.3  # for an answer that does not come; what comes has time to, on a loaded machine


def transport_to(instrument, **settings):
    return TcpTransport(instrument.address, **{"timeout_s": 60.0, "retries": 2, "check": "*IDN?"} | settings)


def test_an_answer_is_read_as_a_number():
    with FakeInstrument({"MEAS?": b"+3.269E+00\n"}) as instrument:
        transport = transport_to(instrument)
        assert transport.query("MEAS?", number_of) == 3.269
        assert instrument.asked == ["*IDN?", "*IDN?", "MEAS?"]
        transport.close()


def test_a_socket_needs_no_visa_and_a_visa_resource_is_parsed():
    """PyVISA uses a socket here, the only resource available to a test."""
    assert isinstance(open_resource("TCPIP::127.0.0.1::5025::SOCKET"), TcpTransport)
    assert is_tcp_socket("tcpip0::[::1]::5025::socket")
    assert not is_tcp_socket("TCPIP::127.0.0.1::INSTR") and not is_tcp_socket("USB0::1::2::3::INSTR")
    with FakeInstrument({"A?": b"3.2\n", "B?": b"#15a\n\nbc\n"}) as instrument:
        visa = VisaTransport(instrument.address, timeout_s=60.0, retries=1, check="*IDN?")
        assert visa.query("A?", number_of) == 3.2
        assert visa.query_block("B?") == b"a\n\nbc"
        with pytest.raises(NoAnswerError, match="no complete answer within"):
            visa.query("nothing", number_of, retries=0, timeout_s=SHORT_S)
        visa.close()


def test_a_late_reply_is_not_taken_as_that_to_the_next_query():
    """The answer to the first question comes after its time is over, and just before that of the second."""
    over = threading.Event()
    with FakeInstrument({"A?": [late(b"1.0\n", over), b"2.0\n"], "B?": b"7.0\n"}) as instrument:
        transport = transport_to(instrument, retries=0)
        with pytest.raises(NoAnswerError, match="no complete answer within"):
            transport.query("A?", number_of, timeout_s=SHORT_S)
        over.set()
        assert transport.query("B?", number_of) == 7.0
        assert transport.query("A?", number_of) == 2.0
        transport.close()


@pytest.mark.parametrize(
    "said", [b"garbage\n", b"3.2x\n", b"\n", b"3.2 3.3\n", b"9.91E37\n", b"nan\n", b"inf\n", b"\xff3.2\n", b"3,2\n"]
)
def test_a_reply_that_is_not_entirely_a_number_is_refused_and_queried_again(said):
    with FakeInstrument({"A?": [said, said, b"3.2\n"]}) as instrument:
        transport = transport_to(instrument)
        told = []
        transport.on_trouble = told.append
        assert transport.query("A?", number_of) == 3.2
        assert len(told) == 2 and instrument.connections == 3
        transport.close()
    with FakeInstrument({"A?": said}) as instrument:
        transport = transport_to(instrument, retries=1)
        with pytest.raises(GarbledError, match=r"'A\?' was answered with"):
            transport.query("A?", number_of)
        assert instrument.asked.count("A?") == 2  # bounded
        transport.close()


def test_an_incomplete_line_and_a_broken_connection_are_retried():
    with FakeInstrument({"A?": [broken(b"3.2"), broken(), b"3.269\n"]}) as instrument:
        transport = transport_to(instrument)
        assert transport.query("A?", number_of) == 3.269
        transport.close()


def test_a_duplicate_reply_does_not_shift_the_next_ones():
    with FakeInstrument({"A?": [b"1.0\n1.0\n", b"2.0\n"], "B?": b"5.0\n"}) as instrument:
        transport = transport_to(instrument)
        assert transport.query("A?", number_of) == 1.0
        assert transport.query("B?", number_of) == 5.0
        assert transport.query("A?", number_of) == 2.0
        transport.close()


def test_another_instrument_at_the_address_is_noticed():
    with FakeInstrument({"A?": [b"x\n", b"1\n"]}) as instrument:
        transport = transport_to(instrument)
        with pytest.raises(GarbledError):
            transport.query("A?", number_of, retries=0)
        instrument.answers["*IDN?"] = b"Other,1,2,3\n"
        with pytest.raises(GarbledError, match="Other"):
            transport.query("A?", number_of)
        transport.close()


def test_an_instrument_that_is_off_is_reported_with_a_remedy():
    with FakeInstrument({}) as instrument:
        pass
    transport = transport_to(instrument, retries=1, timeout_s=SHORT_S)
    began = time.monotonic()
    with pytest.raises((DisconnectedError, NoAnswerError), match=instrument.address) as raised:
        transport.query("A?", number_of)
    assert "check that it is switched on" in str(raised.value)
    assert time.monotonic() - began < 120  # bounded


def test_a_refused_command_is_retried_and_then_reported():
    with FakeInstrument({"SYST:ERR?": [b'-113,"Undefined header"\n', b'0,"No error"\n']}) as instrument:
        transport = transport_to(instrument)
        transport.write("OUTP ON", errors="SYST:ERR?")
        assert instrument.asked.count("OUTP ON") == 2
        instrument.answers["SYST:ERR?"] = b'-222,"Data out of range"\n'
        with pytest.raises(GarbledError, match="Data out of range"):
            transport.write("VOLT 99", errors="SYST:ERR?")
        transport.close()


@pytest.mark.parametrize(
    "said",
    [b"123\n", b"#0123\n", b"#x5hello\n", b"#15hel", b"#15hello!\n", b"#3xyzhello\n", b"#9999999999", b"#12"],
)
def test_data_that_is_not_a_block_is_refused(said):
    """IEEE 488.2-1992, 8.7.9."""
    with FakeInstrument({"W?": said}) as instrument:
        transport = transport_to(instrument, retries=0, timeout_s=0.15)
        with pytest.raises((GarbledError, NoAnswerError)):
            transport.query_block("W?")
        transport.close()


@given(content=st.binary(max_size=300))
def test_a_block_of_any_bytes_is_received_completely(content):
    size = str(len(content)).encode()
    answer = b"#" + str(len(size)).encode() + size + content + b"\n"
    _BLOCKS.answers["W?"] = answer
    assert _BLOCK_LINK.query_block("W?") == content


_BLOCKS = FakeInstrument({})
_BLOCK_LINK = transport_to(_BLOCKS)


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-1e30, max_value=1e30))
def test_every_number_written_is_read_back(value):
    assert number_of(f" {value!r} ") == value
    assert number_of(f"{value:+.9E}") == pytest.approx(value, rel=1e-8)


@given(st.text(max_size=12))
def test_text_that_is_not_a_number_is_never_read_as_one(text):
    try:
        value = number_of(text)
    except ValueError:
        return
    assert value == float(text) or math.isinf(value)


def test_replies_of_switches_are_read():
    assert [switch_of(text) for text in ("1", " ON", "0\r", "off")] == [True, True, False, False]
    for wrong in ("", "2", "yes", "10"):
        with pytest.raises(ValueError, match="neither on nor off"):
            switch_of(wrong)
