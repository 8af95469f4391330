"""The oscilloscope and the stream: blocks as IEEE 488.2 has them, and a rotor that turns on between traces."""

from __future__ import annotations

import struct

import numpy as np
import pytest
from desk import Desk, plain_bench

from edgewind.signals import Trace, estimate_speed
from edgewind.virtual.scpi import Interrupted, Send, Wait
from edgewind.virtual.tachometer import TachometerSignal


@pytest.fixture
def turning():
    """A rotor that turns steadily at 1 Pa under full light."""
    desk = Desk(plain_bench(start_pressure="1 Pa", outgassing="1.5e-3 Pa*m^3/s"))
    desk.tell("lamp", "OUTP ON")
    desk.clock.advance(1000)
    return desk


def parsed(block):
    """Take a definite length block apart by the rule of the standard: IEEE 488.2-1992, 8.7.9."""
    digits = int(block[1:2])
    size = int(block[2 : 2 + digits])
    assert block[:1] == b"#" and len(block) == 2 + digits + size
    return block[2 + digits :]


def volts(desk, data):
    step, offset = desk.number("scope", "WAV:YINC?"), desk.number("scope", "WAV:YOFF?")
    return offset + step * np.frombuffer(parsed(data), ">i2")


def test_trace_tells_the_speed_that_the_rotor_has(turning):
    """The estimator of the signals room on what comes over the wire, against the truth behind it."""
    turning.tell("scope", "ACQ:POIN 6000;TIME 20;:INIT")
    assert turning.ask("scope", "*OPC?") == b"1"
    voltage = volts(turning, turning.ask("scope", "FETC?"))
    assert turning.ask("scope", "WAV:POIN?") == b"6000" and voltage.size == 6000
    found = estimate_speed(Trace(voltage, turning.number("scope", "WAV:XINC?")), marks=4)
    truth = turning.apparatus.state()["speed"]
    assert found.speed_rad_s == pytest.approx(truth, abs=max(4 * found.speed_u_rad_s, 1e-3 * truth))
    assert turning.number("scope", "MEAS:FREQ?") == pytest.approx(4 * truth / (2 * np.pi), rel=1e-3)


def test_all_formats_tell_the_same_record(turning):
    """SCPI-1999, volume 2, FORMat: ASCii, INTeger,16, REAL,32 and 64; BORDer NORMal is most significant byte first."""
    turning.tell("scope", "ACQ:POIN 200;SRAT 1000;:INIT")
    whole = volts(turning, turning.ask("scope", "WAV:DATA?"))
    turning.tell("scope", "FORM:BORD SWAP")
    swapped = np.frombuffer(parsed(turning.ask("scope", "WAV:DATA?")), "<i2")
    assert turning.number("scope", "WAV:YOFF?") + turning.number("scope", "WAV:YINC?") * swapped == pytest.approx(whole)
    turning.tell("scope", "FORM REAL,32")
    assert np.frombuffer(parsed(turning.ask("scope", "FETC?")), "<f4") == pytest.approx(whole, abs=1e-6)
    turning.tell("scope", "FORM:BORD NORM;:FORM REAL,64")
    assert np.frombuffer(parsed(turning.ask("scope", "FETC?")), ">f8") == pytest.approx(whole, abs=1e-12)
    turning.tell("scope", "FORM:DATA ASC")
    assert [float(text) for text in turning.ask("scope", "FETC?").split(b",")] == pytest.approx(whole, abs=1e-8)
    turning.ask("scope", "FORM INT,8")
    assert turning.errors("scope") == [-222]


def test_phase_goes_on_between_traces(turning):
    """Two traces with a gap between: both fit the one angle of the rotor, mark by mark, to the noise of a sample."""
    turning.instruments["scope"].signal.noise_v = 0.0
    turning.tell("scope", "ACQ:POIN 2000;TIME 5")
    traces = []
    for gap in (0.0, 37.3):
        turning.clock.advance(gap)
        data = turning.ask("scope", "READ?")
        times = turning.number("scope", "WAV:XOR?") + np.arange(2000) * turning.number("scope", "WAV:XINC?")
        traces.append((times, volts(turning, data)))
    # The wire tells the start to ten digits, which is better than a tenth of a sample here.
    speed, start = turning.apparatus.state()["speed"] / (2 * np.pi), traces[0][0][0]
    first_turns = turning.apparatus.states(traces[1][0][-1])[0, 6] - speed * (traces[1][0][-1] - start)
    signal = turning.instruments["scope"].signal
    for times, seen in traces:
        expected = signal.voltage(times, first_turns + speed * (times - start))
        assert np.max(np.abs(seen - expected)) < 0.01


def test_traces_that_overlap_agree(turning):
    """Two oscilloscopes at one moment see one signal, hum and wander included."""
    signal = TachometerSignal(turning.apparatus.bench, 1)
    long = 1000 + np.arange(4000) * 1e-3
    turns = np.linspace(5.0, 8.0, 4000)
    assert signal.voltage(long[1000:2000], turns[1000:2000]) == pytest.approx(
        signal.voltage(long, turns)[1000:2000], abs=1e-9
    )
    assert np.std(signal.wander(np.arange(0, 2000, 0.05))) == pytest.approx(0.12, rel=0.15)


def test_pulses_are_those_of_the_signals_room():
    """The table over one turn against `signals.synthetic.pulses` at many turns."""
    from edgewind.signals.synthetic import Tachometer, pulses

    bench = plain_bench()
    seen = Tachometer(1.0, marks=4, height_v=1.2, height_spread=0.2, spacing_spread=0.04, pulse_width=0.25)
    turns = np.linspace(-3, 12, 5001)
    expected = pulses(turns, seen, np.random.default_rng([7, 1]))
    assert TachometerSignal(bench, 7).pulses(turns) == pytest.approx(expected, abs=1e-5)


def test_beyond_the_range_the_trace_is_in_the_rails(turning):
    turning.tell("scope", "CHAN1:RANG 0.5;OFFS 0.4;:ACQ:POIN 3000;TIME 6")
    steps = np.frombuffer(parsed(turning.ask("scope", "READ?")), ">i2")
    assert steps.max() == 2047 and np.sum(steps == 2047) > 50


def test_record_is_that_of_its_settings_though_they_change(turning):
    turning.tell("scope", "ACQ:POIN 100;SRAT 100;:INIT")
    turning.tell("scope", "ACQ:POIN 50;SRAT 7;:CHAN1:RANG 1")
    assert len(parsed(turning.ask("scope", "FETC?"))) == 200
    assert turning.number("scope", "WAV:XINC?") == 0.01 and turning.ask("scope", "WAV:POIN?") == b"100"
    assert turning.number("scope", "WAV:YINC?") == 4 / 4096
    assert turning.ask("scope", "FETC?") == turning.ask("scope", "WAV:DATA?")  # a record is read as often as asked


def test_record_is_kept_though_nobody_fetches_it_for_hours_and_the_past_is_not(turning):
    """What the server does now and then: convert what is whole, and let go of what nobody needs."""

    def run(seconds):
        for _ in range(round(seconds / 100)):
            turning.clock.advance(100)
            turning.instruments["scope"].tend()
            turning.apparatus.catch_up()

    turning.tell("scope", "ACQ:POIN 1000;TIME 600;:INIT")
    run(500)
    hold = turning.apparatus.hold()
    run(20_000)
    assert turning.apparatus._holds == [] and turning.apparatus._count < 6000
    turning.apparatus.release(hold)  # it has gone by itself
    assert len(parsed(turning.ask("scope", "FETC?"))) == 2000


def test_noise_of_a_record_does_not_depend_on_the_records_that_nobody_fetched():
    def third(fetch):
        desk = Desk(plain_bench())
        for _ in range(2):
            desk.ask("scope", "ACQ:POIN 100;SRAT 100;:INIT;*OPC?")
            desk.ask("scope", fetch)
        return desk.ask("scope", "READ?")

    assert third("FETC?") == third("*OPC?")


def test_what_cannot_be_is_an_error_of_the_standard(turning):
    """SCPI-1999, volume 2, 21.8: -230 stale, -213 init ignored, -221 settings conflict."""
    turning.ask("scope", "ABOR;FETC?")
    turning.ask("scope", "ACQ:POIN 2000000;SRAT 1;:INIT")
    turning.ask("scope", "ACQ:POIN 1000;TIME 1e-5")
    turning.ask("scope", "ACQ:POIN 100;SRAT 100;:INIT;:INIT")
    turning.ask("scope", "ACQ:POIN 2000001")
    assert turning.errors("scope") == [-230, -221, -221, -213, -222]
    turning.tell("scope", "ABOR")
    assert turning.apparatus._holds == []


def test_channel_2_sees_the_gauge(turning):
    turning.tell("scope", "ACQ:SOUR CHAN2;POIN 500;SRAT 100")
    turning.ask("scope", "FORM REAL,64")
    found = np.frombuffer(parsed(turning.ask("scope", "READ?")), ">f8")
    assert np.mean(found) == pytest.approx(5.0, abs=0.002)


def test_rotor_at_rest_has_no_frequency():
    """SCPI-1999, volume 1, 7.2.1.5: 9.91E37 stands for not a number."""
    assert Desk(plain_bench()).number("scope", "MEAS:FREQ?") == 9.91e37


def blocks(desk, count, behind=0.0):
    """Take the stream until `count` blocks are there, then interrupt it; return blocks and the end."""
    steps, found = desk.instruments["stream"].process(b"STR:DATA?"), []
    step = next(steps)
    desk.clock.advance(behind)
    while len(found) < count:
        if isinstance(step, Send):
            assert step.data.endswith(b"\n")
            found.append(parsed(step.data[:-1]))
        elif isinstance(step, Wait):
            desk.clock.advance(max(0.0, step.until_s - desk.clock.now()))
        step = next(steps)
    end = steps.throw(Interrupted())
    with pytest.raises(StopIteration) as done:
        next(steps)
    assert done.value.value == b""
    return found, end.data


def test_stream_has_every_block_once_and_in_order(turning):
    turning.tell("stream", "STR:SRAT 100000;BLOC 5000")
    start = turning.clock.now()
    found, end = blocks(turning, 30, behind=3.0)  # the client is slow at first: nothing is left out
    assert end == b"#10\n"
    heads = [struct.unpack(">Qd", block[:16]) for block in found]
    assert [number for number, _ in heads] == list(range(30))
    assert [time for _, time in heads] == pytest.approx([start + 0.05 * k for k in range(30)], abs=1e-9)
    samples = np.concatenate([np.frombuffer(block[16:], ">i2") for block in found])
    voltage = turning.number("stream", "STR:YOFF?") + turning.number("stream", "STR:YINC?") * samples
    times = start + np.arange(150_000) * 1e-5
    signal = turning.instruments["stream"].signal
    left = voltage - signal.voltage(times, turning.apparatus.turns(times))
    assert np.std(left) == pytest.approx(0.05, rel=0.02) and abs(np.mean(left)) < 0.001
    assert turning.apparatus._holds == []


def test_stream_that_nobody_reads_ends_and_says_so(turning):
    """Two hours of bench time behind, it lets go of the past: an empty block and -310, never a gap."""
    steps = turning.instruments["stream"].process(b"STR:DATA?")
    next(steps)
    turning.clock.advance(7300)
    assert next(steps).data == b"#10\n"
    with pytest.raises(StopIteration):
        next(steps)
    assert turning.errors("stream") == [-310]


@pytest.mark.parametrize("order", ["NORM", "SWAP"])
def test_stream_in_both_byte_orders(turning, order):
    turning.tell("stream", f"FORM:BORD {order};:STR:BLOC 100")
    (block, *_), _ = blocks(turning, 1)
    number, time = struct.unpack((">" if order == "NORM" else "<") + "Qd", block[:16])
    assert number == 0 and time == pytest.approx(turning.clock.now(), abs=0.01)
