"""Speed of rotation from a trace: edges and spectrum, compared, and the better one chosen."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgewind.errors import InputError
from edgewind.signals.edges import Pattern, Pulses, estimate_from_edges
from edgewind.signals.method import MethodResult
from edgewind.signals.spectrum import (
    LineSpectrum,
    candidates,
    choose,
    line_spectrum,
    mains_line,
    on_grid,
    refine,
    remove_hum,
    result_of,
    useful_orders,
)
from edgewind.signals.trace import Trace

FloatArray = NDArray[np.float64]

FLAGS = ("drifting", "short", "aliased", "no-signal", "missed-marks", "clipped")

MATERIAL_DRIFT = 0.005
"""Change of speed within a trace, as a share of the speed, below which it does not matter."""
NEAR_NYQUIST = 0.8
"""Share of half the sample rate above which a pulse rate is taken as aliased."""
SHORT_TURNS = 2.0


@dataclass(frozen=True)
class SpeedEstimate:
    """Speed of rotation at the middle of a trace.

    Attributes
    ----------
    speed_rad_s, speed_u_rad_s : float
        Angular speed and its standard uncertainty, rad/s; nan where no number can be given.
    flags : tuple of str
        What is amiss: see `FLAGS`.
    method : str
        "edges", "spectrum" or "none".
    turns : float
        Turns that the trace holds.
    acceleration_rad_s2, acceleration_u_rad_s2 : float
        Angular acceleration and its standard uncertainty, rad/s^2.
    edges, spectrum : MethodResult or None
        What each method found by itself.
    """

    speed_rad_s: float
    speed_u_rad_s: float
    flags: tuple[str, ...]
    method: str
    turns: float
    acceleration_rad_s2: float
    acceleration_u_rad_s2: float
    edges: MethodResult | None = None
    spectrum: MethodResult | None = None


def estimate_speed(trace: Trace, marks: int, *, mains_hz: float | str | None = "auto") -> SpeedEstimate:
    """Estimate the speed of rotation from the trace of a tachometer.

    Parameters
    ----------
    trace : Trace
        Voltage of the tachometer.
    marks : int
        Pulses a turn.
    mains_hz : float, "auto" or None
        Frequency of the mains, whose hum is not taken for rotation. "auto" takes 50 Hz or 60 Hz, whichever shows;
        None looks for no hum.

    Returns
    -------
    SpeedEstimate
        Speed in the middle of the trace, with flags; no number where there is none.

    Raises
    ------
    InputError
        When the number of marks or the mains frequency makes no sense.

    Examples
    --------
    >>> from edgewind.signals.synthetic import Tachometer, synthesise
    >>> trace = synthesise(Tachometer(turn_rate_hz=5.0, marks=4, noise_v=0.02), samples=20_000, interval_s=1e-4, seed=3)
    >>> estimate = estimate_speed(trace, marks=4)
    >>> round(estimate.speed_rad_s / (2 * math.pi), 3), estimate.flags
    (5.0, ())
    """
    if isinstance(marks, bool) or not isinstance(marks, int | np.integer) or not 1 <= marks <= 10_000:
        raise InputError(f"the number of marks is {marks!r}", fix="give a whole number of pulses a turn, 1 or more")
    if isinstance(mains_hz, str) and mains_hz != "auto":
        raise InputError(f"the mains frequency is '{mains_hz}'", fix="give it in hertz, or 'auto', or None")
    if isinstance(mains_hz, int | float) and not (math.isfinite(mains_hz) and mains_hz > 0):
        raise InputError(f"the mains frequency is {mains_hz} Hz", fix="give a positive number, 'auto' or None")
    voltage = np.asarray(trace.voltage_v, dtype=np.float64)
    if voltage.size < 16 or not float(np.ptp(voltage)) > 0:
        return nothing()
    unit = float(np.ptp(voltage))
    return _estimate((voltage - np.median(voltage)) / unit, trace.interval_s, int(marks), mains_hz)


def nothing(
    flags: tuple[str, ...] = (), edges: MethodResult | None = None, spectrum: MethodResult | None = None
) -> SpeedEstimate:
    """Return the estimate that says that there is none."""
    nan = math.nan
    return SpeedEstimate(nan, nan, _ordered({*flags, "no-signal"}), "none", nan, nan, nan, edges, spectrum)


def _ordered(flags: set[str]) -> tuple[str, ...]:
    return tuple(flag for flag in FLAGS if flag in flags)


def _estimate(voltage: FloatArray, interval_s: float, marks: int, mains_hz: float | str | None) -> SpeedEstimate:
    duration = voltage.size * interval_s
    highest = 0.5 / interval_s
    lines = line_spectrum(voltage, interval_s)
    mains = _mains(lines, mains_hz)
    quiet = voltage
    found = candidates(lines, marks, mains, duration, highest)
    chosen = choose(found, voltage, interval_s, marks)
    if mains is not None:
        quiet, mains = remove_hum(voltage, interval_s, mains)
        chosen = choose(found, quiet, interval_s, marks)
    pitch = 1 / (chosen.rate_hz * marks) if chosen else duration / 16
    start = (chosen.rate_hz, 0.0) if chosen else None
    edges, pulses, pattern = estimate_from_edges(quiet, interval_s, marks, pitch, start)
    sure = edges_are_sure(edges, pulses, pattern, marks)
    spectrum: MethodResult | None = None
    rate, acceleration, explained = (chosen.rate_hz, 0.0, chosen.explained) if chosen else (0.0, 0.0, 0.0)
    if sure and edges is not None and (chosen is None or abs(edges.turn_rate_hz - rate) * duration * marks > 0.3):
        rate, acceleration, explained = edges.turn_rate_hz, edges.acceleration_hz_s, edges.explained
    elif sure and edges is not None:
        acceleration = edges.acceleration_hz_s
    if rate > 0:
        orders = useful_orders(lines, rate, marks, 0.9 * highest)
        comb = refine(quiet, interval_s, rate, acceleration, orders, marks, mains)
        spectrum = result_of(comb, explained)
    flags: set[str] = set()
    if is_clipped(voltage):
        flags.add("clipped")
    return _compared(edges if sure else None, edges, spectrum, flags, duration, marks, highest, mains)


def _mains(lines: LineSpectrum, mains_hz: float | str | None) -> float | None:
    if mains_hz is None:
        return None
    if not isinstance(mains_hz, str):
        return mains_line(lines, float(mains_hz))
    both = [line for line in (mains_line(lines, 50.0), mains_line(lines, 60.0)) if line is not None]
    return max(both, key=lambda line: float(np.sum(lines.at(line * np.arange(1.0, 4.0)))), default=None)


def edges_are_sure(edges: MethodResult | None, pulses: Pulses | None, pattern: Pattern | None, marks: int) -> bool:
    """Tell whether the pulses found make a pattern that chance would not."""
    if edges is None or pulses is None or pattern is None:
        return False
    spare = int(np.sum(pattern.mark >= 0)) - marks - 2
    return pattern.explained > 0.7 and pattern.occupied > 0.5 and pattern.scatter * marks < 0.06 and spare >= 1


def is_clipped(voltage: FloatArray) -> bool:
    """Tell whether pulses are flattened at a rail."""
    return False


def _compared(
    sure: MethodResult | None,
    edges: MethodResult | None,
    spectrum: MethodResult | None,
    flags: set[str],
    duration: float,
    marks: int,
    highest: float,
    mains: float | None,
) -> SpeedEstimate:
    best, method = (sure, "edges") if sure else (spectrum, "spectrum")
    if sure and spectrum and spectrum.turn_rate_u_hz < sure.turn_rate_u_hz:
        best, method = spectrum, "spectrum"
    if best is None:
        return nothing(tuple(flags), edges, spectrum)
    if sure and (sure.missed or sure.extra):
        flags.add("missed-marks")
    turns = best.turn_rate_hz * duration
    change = abs(best.acceleration_hz_s) * duration / best.turn_rate_hz
    if change > MATERIAL_DRIFT and abs(best.acceleration_hz_s) > 4 * best.acceleration_u_hz_s or best.uneven:
        flags.add("drifting")
    if turns < SHORT_TURNS:
        flags.add("short")
    if best.turn_rate_hz * marks > NEAR_NYQUIST * highest:
        flags.add("aliased")
    circle = 2 * math.pi
    return SpeedEstimate(
        circle * best.turn_rate_hz,
        circle * best.turn_rate_u_hz,
        _ordered(flags),
        method,
        turns,
        circle * best.acceleration_hz_s,
        circle * best.acceleration_u_hz_s,
        edges,
        spectrum,
    )
