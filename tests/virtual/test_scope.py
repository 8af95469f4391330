"""The oscilloscope: blocks as IEEE 488.2 has them, and a rotor that turns on between traces."""

from __future__ import annotations

import numpy as np
import pytest
from desk import Desk, plain_bench

from edgewind.live import Instruments
from edgewind.live.devices import RawTrace
from edgewind.live.sensing import Sensing
from edgewind.rotor import changed_bench
from edgewind.signals import Trace, estimate_speed
from edgewind.signals.direction import direction_of_marks
from edgewind.virtual import invented_bench
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


def test_the_trace_shows_the_speed_of_the_rotor(turning):
    """The estimator of the signals room on what comes over the wire, against the truth behind it."""
    turning.tell("scope", "ACQ:POIN 6000;TIME 20;:INIT")
    assert turning.ask("scope", "*OPC?") == b"1"
    voltage = volts(turning, turning.ask("scope", "FETC?"))
    assert turning.ask("scope", "WAV:POIN?") == b"6000" and voltage.size == 6000
    found = estimate_speed(Trace(voltage, turning.number("scope", "WAV:XINC?")), marks=4)
    truth = turning.apparatus.state()["speed"]
    assert found.speed_rad_s == pytest.approx(truth, abs=max(4 * found.speed_u_rad_s, 1e-3 * truth))
    assert turning.number("scope", "MEAS:FREQ?") == pytest.approx(4 * truth / (2 * np.pi), rel=1e-3)


def test_all_formats_give_the_same_record(turning):
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


def test_the_phase_continues_between_traces(turning):
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


def test_pulses_agree_with_those_of_the_signals_package():
    """The table over one turn against `signals.synthetic.pulses` at many turns."""
    from edgewind.signals.synthetic import PulseTrain, pulses

    bench = plain_bench()
    seen = PulseTrain(1.0, marks=4, height_v=1.2, height_spread=0.2, spacing_spread=0.04, pulse_width=0.25)
    turns = np.linspace(-3, 12, 5001)
    expected = pulses(turns, seen, np.random.default_rng([7, 1]))
    assert TachometerSignal(bench, 7).pulses(turns) == pytest.approx(expected, abs=1e-5)


def test_beyond_the_range_the_trace_is_clipped(turning):
    turning.tell("scope", "CHAN1:RANG 0.5;OFFS 0.4;:ACQ:POIN 3000;TIME 6")
    steps = np.frombuffer(parsed(turning.ask("scope", "READ?")), ">i2")
    assert steps.max() == 2047 and np.sum(steps == 2047) > 50


def test_a_record_keeps_the_settings_at_its_start(turning):
    turning.tell("scope", "ACQ:POIN 100;SRAT 100;:INIT")
    turning.tell("scope", "ACQ:POIN 50;SRAT 7;:CHAN1:RANG 1")
    assert len(parsed(turning.ask("scope", "FETC?"))) == 200
    assert turning.number("scope", "WAV:XINC?") == 0.01 and turning.ask("scope", "WAV:POIN?") == b"100"
    assert turning.number("scope", "WAV:YINC?") == 4 / 4096
    assert turning.ask("scope", "FETC?") == turning.ask("scope", "WAV:DATA?")  # a record is read as often as asked


def test_an_unfetched_record_is_kept_for_hours_without_the_history_of_the_bench(turning):
    """As the server does from time to time: convert complete records, and discard unneeded history."""

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


def test_noise_of_a_record_does_not_depend_on_unfetched_records():
    def third(fetch):
        desk = Desk(plain_bench())
        for _ in range(2):
            desk.ask("scope", "ACQ:POIN 100;SRAT 100;:INIT;*OPC?")
            desk.ask("scope", fetch)
        return desk.ask("scope", "READ?")

    assert third("FETC?") == third("*OPC?")


def test_invalid_requests_give_errors_of_the_standard(turning):
    """SCPI-1999, volume 2, 21.8: -230 stale, -213 init ignored, -221 settings conflict."""
    turning.ask("scope", "ABOR;FETC?")
    turning.ask("scope", "ACQ:POIN 2000000;SRAT 1;:INIT")
    turning.ask("scope", "ACQ:POIN 1000;TIME 1e-5")
    turning.ask("scope", "ACQ:POIN 100;SRAT 100;:INIT;:INIT")
    turning.ask("scope", "ACQ:POIN 2000001")
    assert turning.errors("scope") == [-230, -221, -221, -213, -222]
    turning.tell("scope", "ABOR")
    assert turning.apparatus._holds == []


def test_channel_2_records_the_gauge(turning):
    turning.tell("scope", "ACQ:SOUR CHAN2;POIN 500;SRAT 100")
    turning.ask("scope", "FORM REAL,64")
    found = np.frombuffer(parsed(turning.ask("scope", "READ?")), ">f8")
    assert np.mean(found) == pytest.approx(5.0, abs=0.002)


def test_a_rotor_at_rest_has_no_frequency():
    """SCPI-1999, volume 1, 7.2.1.5: 9.91E37 stands for not a number."""
    assert Desk(plain_bench()).number("scope", "MEAS:FREQ?") == 9.91e37


@pytest.mark.parametrize("seed", range(2))
def test_chiral_marks_show_the_direction_of_rotation(seed):
    """Marks as they are with their scatter, hum and noise; read by the places that the bench states."""
    even = changed_bench(invented_bench(), {"tachometer.marks": 3})
    bench = changed_bench(even, {"tachometer.mark_places": [0.0, 0.2, 0.5]})
    signal, random = TachometerSignal(bench, seed), np.random.default_rng(seed)
    time = np.arange(6000) / 400.0
    for rate_hz in (2.7, -2.7, 0.4, -0.4):
        voltage = signal.voltage(time, 0.3 + rate_hz * time) + signal.noise_v * random.standard_normal(time.size)
        trace = Trace(voltage, 1 / 400.0)
        speed = estimate_speed(trace, 3)
        found = direction_of_marks(trace, speed, bench.tachometer.mark_places)
        assert speed.speed_rad_s == pytest.approx(2 * np.pi * abs(rate_hz), rel=1e-3)
        assert found.sense == np.sign(rate_hz) and found.confidence > 0.99
        # and so a recorder whose tachometer gives no rate has the sign of a run
        raw = RawTrace(np.round(voltage / 1e-3).astype(np.int16), 1 / 400.0, 1e-3, 0.0)
        assert Sensing(bench, Instruments()).turning(raw) == pytest.approx(2 * np.pi * rate_hz, rel=1e-3)
    assert not np.allclose(TachometerSignal(even, seed).pulses(time), signal.pulses(time))
