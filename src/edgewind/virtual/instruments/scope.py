"""The oscilloscope: the tachometer on channel 1, the gauge on channel 2."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgewind.virtual.apparatus import Apparatus, Hold
from edgewind.virtual.instruments.base import BenchInstrument
from edgewind.virtual.instruments.gauge import has_voltage
from edgewind.virtual.scpi import (
    Choice,
    Command,
    Numeric,
    ScpiError,
    Steps,
    array_block,
    real,
    setting,
)
from edgewind.virtual.step_kernel import State
from edgewind.virtual.tachometer import TachometerSignal

STEPS = 4096  # of the converter: 12 bits over the range
RANGE = Numeric("V", 0.01, 100.0, 4.0)
OFFSET = Numeric("V", -100.0, 100.0, 1.0)
BYTE_ORDER = Choice(("NORMal", "SWAPped"))
POINTS = Numeric("", 16, 2_000_000, 6000, whole=True)
RATE = Numeric("Hz", 0.1, 1e7, 1000.0)
DURATION = Numeric("s", 1e-5, 3600.0, 6.0)
LONGEST_S = 3600.0
SOURCE = Choice(("CHANnel1", "CHANnel2"))
_FORMATS = ("ASCii", "INTeger", "REAL")
_CHUNK = 100_000
_LEAST_RATE_HZ = 0.02  # longest wait of a counter for its next pulse
_GAUGE_CHANNEL = (20.0, 5.0)  # range and its middle, V


@dataclass(frozen=True)
class Record:
    """An acquisition: its start and its settings."""

    start_s: float
    interval_s: float
    points: int
    step_v: float
    offset_v: float
    source: str
    hold: Hold
    number: int

    @property
    def end_s(self) -> float:
        """Bench time of its last sample."""
        return self.start_s + self.points * self.interval_s


class Scope(BenchInstrument):
    """Oscilloscope whose INITiate begins a record of so many points at a rate; queries read the last record.

    Volts are ``YOFFset + YINCrement * number``; FORMat ASCii and REAL give volts.
    """

    NAME = "oscilloscope"
    order: str
    points: float
    rate_hz: float
    source: str
    channels: dict[int, tuple[float, float]]
    _record: Record | None = None
    _steps: NDArray[np.int16] | None = None
    _taken: int = 0

    def __init__(self, apparatus: Apparatus, seed: int) -> None:
        self.signal = TachometerSignal(apparatus.bench, seed)
        super().__init__(apparatus, seed)

    def reset(self) -> None:
        """Stop; default record, whole numbers of 16 bits, most significant byte first."""
        self.order = "NORM"
        self.points, self.rate_hz, self.source = POINTS.default, RATE.default, "CHAN1"
        self.channels = {1: (RANGE.default, OFFSET.default), 2: _GAUGE_CHANNEL}
        self.format, self.format_length = "INT", 16
        self.abort()

    @property
    def step_v(self) -> float:
        """Volts of a step of the converter, on the channel that is recorded."""
        return self.channels[int(self.source[-1])][0] / STEPS

    @property
    def offset_v(self) -> float:
        """Middle of the range of the channel that is recorded, V."""
        return self.channels[int(self.source[-1])][1]

    def set_range(self, channel: int, volts: float) -> None:
        """Set the range of a channel from rail to rail."""
        self.channels[channel] = (volts, self.channels[channel][1])

    def set_offset(self, channel: int, volts: float) -> None:
        """Set the middle of the range of a channel."""
        self.channels[channel] = (self.channels[channel][0], volts)

    # Acquisition.

    def abort(self) -> None:
        """Stop, and forget the record."""
        if self._record is not None:
            self.apparatus.release(self._record.hold)
        self._record = self._steps = None

    def pending_until(self) -> float:
        """Return the end of the record."""
        return 0.0 if self._record is None else self._record.end_s

    def initiate(self) -> None:
        """Begin a record."""
        if self.pending_until() > self.now():
            raise ScpiError(-213, "a record is being taken")
        if self.points / self.rate_hz > LONGEST_S:
            raise ScpiError(-221, f"the record would last longer than {LONGEST_S:g} s")
        if self.source == "CHAN2" and not has_voltage(self.apparatus.bench):
            raise ScpiError(-241, "the gauge of this bench is a display")
        self.abort()
        hold = self.apparatus.hold()
        self._record = Record(
            hold.since_s, 1 / self.rate_hz, int(self.points), self.step_v, self.offset_v, self.source, hold, self._taken
        )
        self._taken += 1

    def record(self) -> Steps:
        """Wait until the record is complete, and convert it."""
        while self._record is not None and self._record.end_s > self.now():
            yield self._record.end_s
        if self._record is None:
            raise ScpiError(-230, "no record was taken; send INITiate")
        self.tend()
        return None

    def tend(self) -> None:
        """Convert a complete record, so that the past need not be kept until its query."""
        record = self._record
        if record is not None and self._steps is None and record.end_s <= self.now():
            self._steps = self._converted(record)
            self.apparatus.release(record.hold)

    def _converted(self, record: Record) -> NDArray[np.int16]:
        parts, random = [], np.random.default_rng([self.seed, 4, record.number])
        for first in range(0, record.points, _CHUNK):
            count = min(_CHUNK, record.points - first)
            if record.source == "CHAN1":
                volts = self.sampled(record.start_s, record.interval_s, first, count, random)
            else:
                times = record.start_s + np.arange(first, first + count) * record.interval_s
                pressure = self.apparatus.states(times)[:, State.GAUGE]
                volts = self.apparatus.gauge_output.volts(pressure)
                volts = volts + self.apparatus.bench.gauge.noise.value * random.standard_normal(count)
            parts.append(self.converted(volts, record.step_v, record.offset_v))
        return np.concatenate(parts)

    def converted(self, volts: NDArray[np.float64], step_v: float, offset_v: float) -> NDArray[np.int16]:
        """Return numbers of steps from the middle, limited to the range."""
        steps = np.rint((volts - offset_v) / step_v)
        return np.clip(steps, -STEPS // 2, STEPS // 2 - 1, out=steps).astype(np.int16)

    def sampled(
        self, start_s: float, interval_s: float, first: int, count: int, random: np.random.Generator
    ) -> NDArray[np.float64]:
        """Return the voltage of the tachometer, with noise, at samples `first` and on, counted from `start_s`."""
        times = np.asarray(start_s + np.arange(first, first + count) * interval_s, dtype=np.float64)
        volts = self.signal.voltage(times, self.apparatus.turns(times))
        volts += self.signal.noise_v * random.standard_normal(count)
        return volts

    # Answers.

    def fetch(self) -> Steps:
        """Answer with the record, in the FORMat set."""
        yield from self.record()
        steps, record = self._steps, self._record
        if steps is None or record is None:
            raise ScpiError(-230)
        if self.format == "INT":
            return array_block(steps, "i2", swapped=self.order == "SWAP")
        volts = record.offset_v + record.step_v * steps
        if self.format == "ASC":
            return ",".join(real(value) for value in volts.tolist())
        return array_block(volts, f"f{self.format_length // 8}", swapped=self.order == "SWAP")

    def read(self) -> Steps:
        """Begin a record and answer with it."""
        self.initiate()
        return (yield from self.fetch())

    def preamble(self) -> tuple[float, float, int, float, float]:
        """Return interval, start, points, volts per step and middle of the record, or of the next one."""
        record = self._record
        if record is None:
            return 1 / self.rate_hz, float("nan"), int(self.points), self.step_v, self.offset_v
        return record.interval_s, record.start_s, record.points, record.step_v, record.offset_v

    def set_duration(self, seconds: float) -> None:
        """Set the rate so that the points fill a duration, s."""
        rate = self.points / seconds
        if not RATE.least <= rate <= RATE.most:
            raise ScpiError(-221, f"{int(self.points)} points in {seconds:g} s")
        self.rate_hz = rate

    def set_format(self, kind: str, length: float | None = None) -> None:
        """Set the format of the record."""
        lengths = {"ASC": (0,), "INT": (16,), "REAL": (32, 64)}[kind]
        chosen = lengths[0] if length is None or kind == "ASC" else int(length)
        if chosen not in lengths:
            raise ScpiError(-222, f"{kind},{chosen}")
        self.format, self.format_length = kind, chosen

    def frequency(self) -> str:
        """Answer with the pulses per second, as a counter with a ten-thousandth of noise; 9.91E37 at rest."""
        speed = abs(float(self.apparatus.states(self.now())[0, State.SPEED]))
        pulses = self.signal.marks * speed / (2 * np.pi)
        return real(float(pulses * (1 + 1e-4 * self.random.standard_normal())) if pulses > 1e-3 else float("nan"))

    def signed_rate(self) -> str:
        """Answer with the signed pulses per second, as a counter on two sensors a quarter mark apart."""
        speed = float(self.apparatus.states(self.now())[0, State.SPEED])
        pulses = self.signal.marks * speed / (2 * np.pi)
        noisy = pulses * (1 + 1e-3 * self.random.standard_normal())
        return real(noisy if abs(pulses) > _LEAST_RATE_HZ else float("nan"))

    COMMANDS = (
        *setting("ACQuire:POINts", "points", POINTS),
        *setting("ACQuire:SRATe", "rate_hz", RATE),
        Command("ACQuire:TIME", set_duration, (DURATION,)),
        Command("ACQuire:TIME?", lambda scope: real(scope.points / scope.rate_hz)),
        *setting("ACQuire:SOURce", "source", SOURCE),
        Command("CHANnel<n>:RANGe", set_range, (RANGE,), greatest_suffix=2),
        Command("CHANnel<n>:RANGe?", lambda scope, channel: real(scope.channels[channel][0]), greatest_suffix=2),
        Command("CHANnel<n>:OFFSet", set_offset, (OFFSET,), greatest_suffix=2),
        Command("CHANnel<n>:OFFSet?", lambda scope, channel: real(scope.channels[channel][1]), greatest_suffix=2),
        Command("FORMat[:DATA]", set_format, (Choice(_FORMATS), Numeric("", 0, 64, 16, whole=True)), optional=1),
        Command("FORMat[:DATA]?", lambda scope: f"{scope.format},{scope.format_length}"),
        *setting("FORMat:BORDer", "order", BYTE_ORDER),
        Command("INITiate[:IMMediate]", initiate),
        Command("ABORt", abort),
        Command("FETCh[:WAVeform]?", fetch),
        Command("READ[:WAVeform]?", read),
        Command("WAVeform:DATA?", fetch),
        Command("WAVeform:POINts?", lambda scope: str(scope.preamble()[2])),
        Command("WAVeform:XINCrement?", lambda scope: real(scope.preamble()[0])),
        Command("WAVeform:XORigin?", lambda scope: real(scope.preamble()[1])),
        Command("WAVeform:YINCrement?", lambda scope: real(scope.preamble()[3])),
        Command("WAVeform:YOFFset?", lambda scope: real(scope.preamble()[4])),
        Command("MEASure[:SCALar]:FREQuency?", frequency),
        Command("MEASure[:SCALar]:RATE?", signed_rate),
    )
