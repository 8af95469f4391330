"""Devices: a wrong reply that reads as a number is discarded, and a trace that differs between transfers is refused."""

import contextlib
import struct
import sys
import threading
from pathlib import Path

import numpy as np
import pytest

from edgewind.bench import parse_bench
from edgewind.errors import InputError
from edgewind.live import GarbledError, InterlockError, connect
from edgewind.live.sensing import Sensing

sys.path.insert(0, str(Path(__file__).parent))
from fake import FakeInstrument, late


@pytest.fixture
def bench_of(make_bench_text):
    def make(limits=None, **instruments):
        for section in instruments.values():
            section.setdefault("timeout", "60 s")  # what comes has time to, on a loaded machine
        return parse_bench(make_bench_text(instruments=instruments, limits=limits or {"pressure_above": "50 Pa"}))

    return make


@pytest.mark.parametrize("wrong", [b"5.5\n", b"9.9E37\n", b"0.3\n"])
@pytest.mark.parametrize("place", [0, 1])
def test_one_wrong_reply_of_the_gauge_is_discarded(bench_of, wrong, place):
    """[gauge] of the bench: 1 mTorr at 2 V, a decade a volt, from 1 to 6 V."""
    answers = [b"3.000\n", b"3.002\n", b"3.001\n"]
    answers.insert(place, wrong)
    with FakeInstrument({"V?": answers}) as instrument:
        bench = bench_of(gauge={"resource": instrument.address, "read": "V?"})
        with connect(bench) as instruments:
            seen = Sensing(bench, instruments).observe(0.0)
    assert seen.gauge in ("3.000", "3.002") and seen.pressure_flag == ""
    assert seen.pressure_pa == pytest.approx(1.333, rel=0.01)


def test_a_gauge_that_is_repeatedly_over_range_is_over_range(bench_of):
    with FakeInstrument({"V?": b"9.9E37\n"}) as instrument:
        bench = bench_of(gauge={"resource": instrument.address, "read": "V?"})
        with connect(bench) as instruments:
            senses = Sensing(bench, instruments)
            seen = senses.observe(0.0)
            assert seen.pressure_pa is None and seen.pressure_flag == "over-range"
            with pytest.raises(InterlockError, match="over its range"):
                senses.check(seen)


def test_a_gauge_that_answers_in_pressures_is_read_in_its_unit(bench_of):
    with FakeInstrument({"P?": b"10.0\n"}) as instrument:
        bench = bench_of(gauge={"resource": instrument.address, "read": "P?", "unit": "mTorr"})
        with connect(bench) as instruments:
            seen = Sensing(bench, instruments).observe(0.0)
    assert seen.gauge == "10.0" and seen.pressure_pa == pytest.approx(1.333, rel=1e-3)


def block(values, kind=">i2"):
    content = np.asarray(values, kind).tobytes()
    return b"#5%05d" % len(content) + content + b"\n"


SCOPE = {"read": "W?", "interval": "DT?", "scale": "Y?", "offset": 0.5, "byte_order": "big", "retries": 2}


@contextlib.contextmanager
def scope_with(bench_of, answers, **more):
    with FakeInstrument(answers) as instrument:
        bench = bench_of(tachometer=SCOPE | {"resource": instrument.address} | more)
        with connect(bench) as instruments:
            yield instruments.tachometer, instrument


@pytest.mark.parametrize(
    ("form", "kind"), [("int8", ">i1"), ("int16", ">i2"), ("int32", ">i4"), ("float32", ">f4"), ("float64", ">f8")]
)
def test_a_trace_is_in_volts_whatever_its_format(bench_of, form, kind):
    values = np.arange(-20, 20)
    answers = {"W?": block(values, kind), "DT?": b"1E-3\n", "Y?": b"0.01\n"}
    with scope_with(bench_of, answers, format=form) as (tachometer, _):
        trace = tachometer.take().trace()
    np.testing.assert_allclose(trace.voltage_v, 0.5 + 0.01 * values, rtol=1e-12)
    assert trace.interval_s == 1e-3


def test_a_trace_of_numbers_with_commas_is_read(bench_of):
    text = ",".join(f"{value:.3f}" for value in np.linspace(0, 1, 20)).encode() + b"\n"
    answers = {"W?": text, "DT?": b"1E-3\n", "Y?": b"1\n"}
    with scope_with(bench_of, answers, format="ascii") as (tachometer, _):
        assert tachometer.take().trace().samples == 20


def test_a_trace_with_one_flipped_bit_is_fetched_until_two_transfers_agree(bench_of):
    right = block(np.arange(30))
    wrong = bytearray(right)
    wrong[20] ^= 4
    answers = {"W?": [right, bytes(wrong), right, right], "DT?": b"1E-3\n", "Y?": b"1\n"}
    with scope_with(bench_of, answers) as (tachometer, instrument):
        assert tachometer.take().numbers.tolist() == list(range(30))
        assert instrument.asked.count("W?") == 4
    answers["W?"] = [right, bytes(wrong)] * 3
    with scope_with(bench_of, answers) as (tachometer, _), pytest.raises(GarbledError, match="was different"):
        tachometer.take()


@pytest.mark.parametrize("said", [b"0\n", b"-1E-3\n", b"9.9E37\n", b"9.91E37\n", b"\n"])
def test_an_impossible_sample_interval_is_refused(bench_of, said):
    answers = {"W?": block(np.arange(30)), "DT?": said, "Y?": b"1\n"}
    with scope_with(bench_of, answers, retries=0) as (tachometer, _), pytest.raises(GarbledError, match="tachometer: "):
        tachometer.take()


def test_floats_that_are_not_finite_are_refused(bench_of):
    values = struct.pack(">20f", *([1.0] * 19), float("nan"))
    answers = {"W?": b"#280" + values + b"\n", "DT?": b"1E-3\n", "Y?": b"1\n"}
    scope = scope_with(bench_of, answers, format="float32", retries=0)
    with scope as (tachometer, _), pytest.raises(GarbledError, match="not numbers"):
        tachometer.take()


def valve_at(instrument, **more):
    return {
        "resource": instrument.address, "set": "V {value:.3f}", "read": "V?", "off": "OFF", "low": "0 V", "high": "5 V",
        "retries": 1,
    } | more  # fmt: skip


def test_a_valve_that_does_not_accept_its_voltage_is_reported(bench_of):
    with FakeInstrument({"V?": b"0.0\n", "G?": b"3\n"}) as instrument:
        bench = bench_of(valve=valve_at(instrument), gauge={"resource": instrument.address, "read": "G?", "retries": 1})
        with connect(bench) as instruments:
            with pytest.raises(GarbledError, match=r"valve: it was set to 2.5 V and says 0 V"):
                instruments.valve.set(2.5)
            assert instruments.valve.voltage is None  # its position is unknown
        assert instrument.asked.count("V 2.500") == 2  # bounded


def test_a_valve_that_could_not_be_closed_within_the_limit_is_refused(bench_of):
    with FakeInstrument({}) as instrument:
        gauge = {"resource": instrument.address, "read": "G?"}
        limits = {"pressure_above": "50 Pa", "valve_above": "4 V"}
        bench = bench_of(limits, valve=valve_at(instrument, rises=False), gauge=gauge)
        with pytest.raises(InputError, match="it could not be closed"):
            connect(bench)


def test_a_lamp_that_stays_on_is_reported(bench_of):
    with FakeInstrument({"L?": b"1\n"}) as instrument:
        lamp = {"resource": instrument.address, "on": "ON", "off": "OFF", "read": "L?", "retries": 1}
        with connect(bench_of(lamp=lamp)) as instruments:
            done, failed = instruments.make_safe()
    assert done == [] and "it was sent 'OFF' and says that it is on" in failed[0]


def test_a_wait_for_a_long_trace_is_cancelled_when_the_sweep_has_to_end(bench_of):
    """The reply would come at the end; a check in the meantime ends the wait."""
    over = threading.Event()
    answers = {"W?": block(np.arange(30)), "DT?": b"1E-3\n", "Y?": b"1\n", "DONE?": late(b"1\n", over)}
    with scope_with(bench_of, answers, start="GO", wait="DONE?") as (tachometer, _):
        ticks = []

        def attend(event, seconds):
            event.wait(0.02)
            ticks.append(True)
            if len(ticks) > 5:
                raise InterlockError("too much")

        with pytest.raises(InterlockError):
            tachometer.take(None, attend)
        tachometer._transport.verify()  # the connection can be used again at once
        over.set()
