"""Interpretation of the instruments' answers: pressures, temperatures, speeds, and the limits."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from edgewind.bench import Bench
from edgewind.errors import InputError
from edgewind.live.devices import RawTrace, Value, number_of
from edgewind.live.errors import InterlockError
from edgewind.live.instruments import Instruments
from edgewind.live.interlocks import Observation, crossed
from edgewind.signals import TraceReading, measure_trace, pressure_from_display, pressure_from_volts
from edgewind.signals.direction import direction_of_marks, reads_both_ways
from edgewind.signals.pressure import PressureReadings
from edgewind.units import parse_quantity

if TYPE_CHECKING:
    from edgewind.live.columns import SweepColumns

# Difference of two answers of the gauge, in ln p, above which a third decides.
_APART = 0.03
_UNUSABLE = {"no-signal", "aliased", "short"}


class Sensing:
    """The bench by the answers of its instruments."""

    def __init__(self, bench: Bench, instruments: Instruments) -> None:
        self._bench, self._instruments = bench, instruments
        self.last = Observation(0.0)

    @property
    def lowest_pa(self) -> float:
        """The lower end of the gauge's range in this gas, Pa."""
        gauge = self._bench.gauge
        ends = np.linspace(gauge.signal_low.value, gauge.signal_high.value, 513)
        found = pressure_from_volts(ends, self._bench).pressure_pa
        known = found[np.isfinite(found)]
        return float(known.min()) if known.size else 1e-9

    def observe(self, now_s: float) -> Observation:
        """Read gauge and thermometer.

        Two answers of the gauge are compared; if they differ by more than 3 % a third decides, so that one garbled
        answer that still reads as a number is not used.

        Raises
        ------
        InstrumentError
            One of them does not answer.
        """
        gauge, thermometer = self._instruments.gauge, self._instruments.thermometer
        kelvin, warm = None, Value("", math.nan)
        if thermometer is not None:
            warm = thermometer.read()
            kelvin = thermometer.si(warm)
            if self._is_beyond(kelvin):
                warm = sorted((warm, thermometer.read(), thermometer.read()), key=lambda one: one.number)[1]
                kelvin = thermometer.si(warm)
        if gauge is None:
            self.last = Observation(now_s, temperature_k=kelvin, temperature=warm.text)
            return self.last
        values = [gauge.read(), gauge.read()]
        seen = [self._pressure(gauge.si(value), value.text, now_s, kelvin, warm.text) for value in values]
        first, second = (one.pressure_pa for one in seen)
        agree = first is not None and second is not None and abs(math.log(first / second)) <= _APART
        if not agree:
            value = gauge.read()
            seen.append(self._pressure(gauge.si(value), value.text, now_s, kelvin, warm.text))
            values.append(value)
            order = sorted(range(3), key=lambda place: values[place].number)
            self.last = seen[order[1]]
        else:
            self.last = seen[0]
        return self.last

    def typed(self, text: str, columns: SweepColumns, now_s: float) -> Observation:
        """Return the observation of a typed gauge reading.

        Raises
        ------
        InputError
            The gauge cannot show this value.
        """
        number_of(text)
        si = parse_quantity(f"{text} {columns.gauge_unit}", columns.gauge_kind)
        seen = self._pressure(si, text, now_s, None, "", volts=columns.gauge_kind == "voltage")
        if seen.pressure_pa is None and seen.pressure_flag != "over-range":
            flag = seen.pressure_flag or "out of its range"
            raise InputError(
                f"at {text} {columns.gauge_unit} the gauge shows no pressure ({flag})",
                fix="type its reading once it is within its range, or skip this reading",
            )
        self.last = seen
        return seen

    def check(self, seen: Observation) -> None:
        """Check an observation against the limits.

        Raises
        ------
        InterlockError
            One is exceeded.
        """
        why = crossed(self._bench.limits, seen)
        if why is not None:
            raise InterlockError(why)

    def scatter(self, seen: Observation) -> float:
        """Return the standard uncertainty of one reading of ln p by the gauge's own noise and resolution."""
        gauge = self._instruments.gauge
        volts = self._bench.gauge
        if gauge is None or not math.isfinite(self._volts(seen)):
            return 0.0
        lines = volts.components(np.array([self._volts(seen)]))
        return float(math.hypot(*(float(line.log_u[0]) for line in lines if not line.common)))

    def _volts(self, seen: Observation) -> float:
        gauge, described = self._instruments.gauge, self._bench.instruments
        if gauge is None or described is None or described.gauge is None or not described.gauge.gives_volts:
            return math.nan
        return gauge.si(Value(seen.gauge, number_of(seen.gauge)))

    def _is_beyond(self, kelvin: float) -> bool:
        limits = self._bench.limits
        return (
            limits is not None and limits.temperature_above is not None and kelvin > limits.temperature_above.value
        )  # fmt: skip

    def _pressure(
        self, si: float, text: str, now_s: float, kelvin: float | None, warm: str, volts: bool | None = None
    ) -> Observation:
        if volts is None:
            described = self._bench.instruments
            volts = described is not None and described.gauge is not None and described.gauge.gives_volts
        if volts:
            # an instrument that reports "infinity" is beyond one end, without a usable number
            low, high = self._bench.gauge.signal_low.value, self._bench.gauge.signal_high.value
            finite = min(max(si, low - (high - low)), high + (high - low))
            found = pressure_from_volts([finite], self._bench)
            with np.errstate(over="ignore"):
                indicated = float(np.exp(self._bench.gauge.indicated_log_pressure(np.array([finite]))[0]))
        else:
            found = pressure_from_display([si], [0.0], self._bench)
            indicated = si
        return Observation(
            now_s,
            text,
            _known(found),
            indicated if math.isfinite(indicated) and not found.flags[0] else None,
            found.flags[0],
            kelvin,
            warm,
        )

    def speed(self, trace: RawTrace) -> float:
        """Return the speed in a trace, rad/s; nan without one."""
        return _size_of(self._read(trace))

    @property
    def traces_tell_direction(self) -> bool:
        """Whether the marks of the tachometer read differently backwards, so that a trace tells the direction."""
        places = self._bench.tachometer.mark_places
        return places is not None and not reads_both_ways(places)

    def turning(self, trace: RawTrace) -> float:
        """Return the speed in a trace, rad/s, with its sign if the marks show it; nan if speed or sign is unknown."""
        read = self._read(trace)
        if not self.traces_tell_direction:
            return _size_of(read)
        sense = direction_of_marks(read.trace, read.speed, self._bench.tachometer.mark_places or ()).sense
        return sense * _size_of(read) if sense else math.nan

    def _read(self, trace: RawTrace) -> TraceReading:
        return measure_trace(trace.trace(), self._bench.tachometer)

    def speed_of_rates(self, ask: Callable[[], float]) -> float:
        """Return the speed from pulses per second, rad/s, by two queries, or three if those differ; nan if none."""
        rates = [ask(), ask()]
        if not math.isclose(*rates, rel_tol=_APART):
            rates = sorted([*rates, ask()], key=lambda rate: rate if math.isfinite(rate) else 0.0)[1:2]
        rate = rates[0]
        size = abs(rate)
        return 2 * math.pi * size / self._bench.tachometer.marks if 0 < size < math.inf else math.nan

    def signed_speed(self, ask: Callable[[], float], seconds: float) -> tuple[float, float]:
        """Return signed speed, rad/s, from signed pulses per second, and its uncertainty at standstill.

        The middle of three answers is used. If no pulse is counted the speed is zero, uncertain by one pulse in the
        `seconds` since the last query; otherwise its digits give the uncertainty, and nan is returned.
        """
        per_pulse = 2 * math.pi / self._bench.tachometer.marks
        rates = sorted(rate if math.isfinite(rate) else 0.0 for rate in (ask(), ask(), ask()))
        if rates[1] == 0.0:
            return 0.0, per_pulse / max(seconds, 1e-3) / math.sqrt(3)
        return rates[1] * per_pulse, math.nan


def _size_of(read: TraceReading) -> float:
    return math.nan if _UNUSABLE & set(read.speed.flags) else float(read.speed.speed_rad_s)


def _known(found: PressureReadings) -> float | None:
    pressure = float(found.pressure_pa[0])
    return pressure if math.isfinite(pressure) else None
