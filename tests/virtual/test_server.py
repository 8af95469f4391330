"""The bench behind sockets: two kinds of client, several at once, and any bytes."""

from __future__ import annotations

import re
import socket
import threading

import numpy as np
import pytest
import pyvisa
from desk import Link
from hypothesis import given, settings
from hypothesis import strategies as st
from proxy import Faults, FaultyProxy

from edgewind.clock import SimulatedClock
from edgewind.errors import InputError
from edgewind.virtual import INSTRUMENTS, check_host, serve_bench


@pytest.fixture(scope="module")
def visa():
    manager = pyvisa.ResourceManager("@py")
    yield manager
    manager.close()


def opened(visa, address):
    resource = visa.open_resource(address, read_termination="\n", write_termination="\n")
    resource.timeout = 20_000
    return resource


@pytest.mark.parametrize("role", list(INSTRUMENTS))
def test_pyvisa_and_plain_sockets_see_the_same_bench(served, visa, link, role):
    resource = opened(visa, served.address(role))
    assert resource.query("*IDN?") == link(role).ask("*IDN?")
    assert "simulated" in resource.query("*IDN?")
    resource.close()


def test_a_setting_of_one_client_is_read_by_the_other(served, visa, link):
    resource = opened(visa, served.address("valve"))
    resource.write("VOLT 1.25;OUTP ON")
    assert float(link("valve").ask("VOLT?")) == 1.25
    link("valve").send("OUTP OFF")
    assert link("valve").ask("*OPC?") == "1" and resource.query("OUTP?") == "0"
    resource.close()


def test_both_clients_read_the_same_record(served, visa, link):
    """IEEE 488.2-1992, 8.7.9: the block reader of PyVISA, and one written here."""
    plain = link("scope")
    plain.send("ACQ:POIN 5000;SRAT 1000;:INIT")
    assert plain.ask("*OPC?") == "1"
    expected = np.frombuffer(plain.block("WAV:DATA?"), ">i2")
    resource = opened(visa, served.address("scope"))
    found = resource.query_binary_values("WAV:DATA?", datatype="h", is_big_endian=True, container=np.array)
    assert found.tolist() == expected.tolist() and len(found) == 5000
    assert resource.query("SYST:ERR?") == '0,"No error"'
    resource.close()


def test_the_next_message_interrupts_a_waiting_query(link):
    """IEEE 488.2-1992, 6.3.2.3: the reply is discarded, -410 is queued, and the new message is executed."""
    client = link("scope")
    client.ask("*CLS;ACQ:POIN 2000;TIME 3600;:INIT;*TST?")
    client.send("*OPC?")
    assert client.ask("ABOR;*IDN?").startswith("Edgewind")
    assert client.ask("SYST:ERR?").startswith("-410")


def test_messages_sent_together_are_all_answered_in_order(link):
    client = link("valve")
    client.send("*RST")
    client.socket.sendall(b"".join(b"VOLT %d;VOLT?\n" % (number % 10) for number in range(200)))
    found = [float(client.stream.readline()) for _ in range(200)]
    assert found == [number % 10 for number in range(200)]


def test_a_message_in_pieces_is_one_and_an_incomplete_one_is_ignored(served, link):
    client = link("valve")
    client.send("*CLS;VOLT 0")
    for byte in b"VOLT 3;VOLT?\n":
        client.socket.sendall(bytes([byte]))
    assert float(client.stream.readline()) == 3
    with Link(served.ports["valve"]) as other:
        other.socket.sendall(b"VOLT 7")
    assert client.ask("*OPC?;VOLT?;:SYST:ERR?") == '1;+3.000000000E+00;0,"No error"'


def test_a_client_that_stopped_sending_still_receives_its_replies(served):
    r"""As `printf '*IDN?\n' | nc` does: it closes its half at once."""
    with Link(served.ports["gauge"]) as client:
        client.send("*IDN?\nREAD?")
        client.socket.shutdown(socket.SHUT_WR)
        assert client.stream.readline().startswith(b"Edgewind")
        assert float(client.stream.readline()) > 0
        assert client.stream.read() == b""


def test_a_line_without_end_is_an_overrun_and_the_next_is_read(link):
    """SCPI-1999, volume 2: -363 input buffer overrun."""
    client = link("lamp")
    client.ask("*CLS;*OPC?")
    client.send(b"A" * 300_000)
    assert client.ask("SYST:ERR?").startswith("-363")
    assert client.ask("SYST:ERR?") == '0,"No error"'


def test_many_clients_at_once_receive_their_own_replies(served):
    found, trouble = {}, []

    def work(number):
        try:
            with Link(served.ports["thermometer"]) as client:
                for turn in range(40):
                    mine = number * 100 + turn
                    found[mine] = client.ask(f"UNIT:TEMP {'CK'[mine % 2]};*IDN?;:SYST:VERS?").split(";")[1]
        except Exception as problem:
            trouble.append(problem)

    threads = [threading.Thread(target=work, args=(number,)) for number in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not trouble and len(found) == 480 and set(found.values()) == {"1999.0"}


def test_clients_that_disconnect_in_a_message_do_no_harm(served, link):
    for message in (b"READ?\n", b"INIT;FETC?\n", b"READ", b""):
        for role in ("scope", "gauge"):
            victim = Link(served.ports[role])
            victim.socket.sendall(message)
            victim.close()
    assert link("scope").ask("ABOR;*IDN?").startswith("Edgewind")


@settings(max_examples=60)
@given(data=st.binary(max_size=200))
def test_any_bytes_leave_the_bench_alive_and_an_error_in_the_queue(served, data):
    """Two exclamation marks make it an invalid message, whatever else is in it."""
    with Link(served.ports["valve"]) as client:
        client.ask("*CLS;*OPC?")
        client.send(data.replace(b"?", b"").replace(b"\n", b" ") + b"!!")
        assert -200 < int(client.ask("SYST:ERR?").split(",")[0]) <= -100
        assert client.ask("*CLS;*IDN?").startswith("Edgewind")


PIECES = [
    "VOLT",
    "OUTP",
    ":",
    ";",
    "?",
    " ",
    ",",
    "1",
    "ON",
    "MIN",
    "*OPC",
    "*CLS",
    "SYST:ERR",
    "\n",
    "\r",
    "'",
    "#",
    "1e",
    "mV",
]


@settings(max_examples=60)
@given(pieces=st.lists(st.sampled_from(PIECES), max_size=30))
def test_any_mixture_of_commands_is_answered_by_values_or_errors(served, pieces):
    """Every line that comes back before the last is a value, an error of the queue, or several."""
    with Link(served.ports["valve"]) as client:
        client.ask("*RST;*CLS;*OPC?")
        client.send("".join(pieces))
        client.send("*CLS;*IDN?")
        lines = []
        while not (line := client.stream.readline().decode()).startswith("Edgewind"):
            assert line
            lines.append(line)
        for line in lines:
            assert re.fullmatch(r"([-+0-9.E]+|-\d+,\".*\"|0,\"No error\")(;([-+0-9.E]+|-?\d+,\".*\"))*\n", line), line
        assert "System error" not in client.ask("SYST:ERR?")


def test_faults_of_a_proxy_leave_the_bench_working(served):
    """Cut, garbled, halved: after it the bench answers as before."""
    with FaultyProxy(
        served.ports["gauge"], Faults(cut=0.1, garble=0.2, half=0.1, duplicate=0.1), on="both", seed=5
    ) as proxy:
        for _ in range(40):
            try:
                with Link(proxy.port, timeout=0.3) as client:
                    client.ask("READ?")
            except OSError:
                continue
        assert proxy.counts["pieces"] > 20
    with Link(served.ports["gauge"]) as client:
        assert client.ask("*CLS;*IDN?").startswith("Edgewind")


def test_bench_time_moves_by_hand_over_sockets_too():
    """What waits for bench time goes on as soon as it has come."""
    with serve_bench(clock=SimulatedClock()) as bench, Link(bench.ports["scope"]) as client:
        client.send("ACQ:POIN 1000;SRAT 100;:INIT;*OPC?")
        client.socket.settimeout(0.2)
        with pytest.raises(TimeoutError):
            client.socket.recv(1)
        bench.apparatus.clock.advance(10.5)
        client.socket.settimeout(60)
        assert client.socket.recv(10) == b"1\n"


def test_a_port_in_use_is_reported():
    with socket.create_server(("127.0.0.1", 0)) as taken, pytest.raises(InputError, match="cannot listen on"):
        serve_bench(port=taken.getsockname()[1])


@pytest.mark.parametrize("host", ["0.0.0.0", "192.168.1.5", "::"])
def test_only_this_machine_may_connect_unless_allowed_explicitly(host):
    with pytest.raises(InputError, match="--open-to-network"):
        check_host(host)
    assert check_host(host, open_to_network=True) == host
    assert check_host("localhost") == "127.0.0.1" and check_host("::1") == "::1"
    with pytest.raises(InputError, match="not an address"):
        check_host("my bench")


def test_the_bench_closes_although_a_client_has_stopped_reading():
    """Answers that are not read fill every buffer on the way; the bench must not wait for them."""
    bench = serve_bench(speed_up=1000.0)
    with Link(bench.ports["scope"]) as client:
        client.ask("ACQ:POIN 2000000;SRAT 1e7;:INIT;*OPC?")
        for _ in range(20):
            client.send("WAV:DATA?")
        closing = threading.Thread(target=bench.close)
        closing.start()
        closing.join(60)
        assert not closing.is_alive()
