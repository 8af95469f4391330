"""Speed of rotation from a trace: edges and spectrum, compared, and the better one chosen."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import ThreadpoolController

from edgewind.errors import InputError
from edgewind.signals.comb import Comb
from edgewind.signals.edges import EdgeEstimate, Pulses, estimate_from_edges
from edgewind.signals.faults import is_aliased, is_clipped
from edgewind.signals.method import MethodResult
from edgewind.signals.spectrum import (
    Candidate,
    LineSpectrum,
    candidates,
    choose,
    line_spectrum,
    mains_line,
    on_grid,
    peaks,
    refine,
    remove_hum,
    result_of,
    share_of_lines,
    stands_out,
    useful_orders,
)
from edgewind.signals.trace import Trace

FloatArray = NDArray[np.float64]

Flag = Literal[
    "time-assumed", "channel-assumed", "drifting", "short", "aliased", "no-signal", "missed-marks", "clipped"
]
FLAGS: tuple[Flag, ...] = get_args(Flag)
SET_ASIDE_FLAGS = ("time-assumed", "channel-assumed", "no-signal", "aliased", "short", "drifting")
"""A trace with one of these has no single steady speed to give that is sure: it is set aside from the curve."""

MATERIAL_DRIFT = 0.005
"""Change of speed within a trace, as a share of the speed, below which it does not matter."""
SHORT_TURNS = 2.0
MANY_MARKS = 12
CLEAR_STRENGTH = 12.0


@dataclass(frozen=True)
class SpeedEstimate:
    """Speed of rotation at the middle of a trace.

    Attributes
    ----------
    speed_rad_s : float
        Angular speed in the middle of the trace, rad/s; nan where no number can be given.
    speed_u_rad_s : float
        Standard uncertainty of that speed, rad/s; nan without one.
    flags : tuple of Flag
        What is amiss with the trace.
    method : {"edges", "spectrum", "none"}
        Method that gave the speed.
    turns : float
        Turns that the trace holds; nan where nothing turns.
    acceleration_rad_s2 : float
        Angular acceleration, rad/s^2; nan where nothing turns.
    acceleration_u_rad_s2 : float
        Standard uncertainty of the acceleration, rad/s^2; nan where nothing turns.
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
    if voltage.size < 16 or not 0 < float(np.ptp(voltage)) < np.inf:
        return nothing(trace.flags)
    unit = float(np.ptp(voltage))
    # threads of the linear algebra cost more than they give on matrices this small
    with _linear_algebra().limit(limits=1, user_api="blas"):
        found = _estimate((voltage - np.median(voltage)) / unit, trace.interval_s, int(marks), mains_hz)
    u = math.hypot(found.speed_u_rad_s, trace.interval_u_rel * found.speed_rad_s)
    return replace(found, speed_u_rad_s=u, flags=_ordered({*found.flags, *trace.flags}))


@cache
def _linear_algebra() -> ThreadpoolController:
    """Return the handle on the threads of the linear algebra; to find them takes longer than an analysis."""
    return ThreadpoolController()


def nothing(
    flags: Iterable[str] = (), edges: MethodResult | None = None, spectrum: MethodResult | None = None
) -> SpeedEstimate:
    """Return the estimate that says that there is none."""
    nan = math.nan
    return SpeedEstimate(nan, nan, _ordered({*flags, "no-signal"}), "none", nan, nan, nan, edges, spectrum)


def _ordered(flags: set[str]) -> tuple[str, ...]:
    return tuple(flag for flag in FLAGS if flag in flags)


def _estimate(voltage: FloatArray, interval_s: float, marks: int, mains_hz: float | str | None) -> SpeedEstimate:
    """Estimate from a voltage scaled to unit range."""
    duration, highest = voltage.size * interval_s, 0.5 / interval_s
    clipped = is_clipped(voltage)
    lines = line_spectrum(voltage, interval_s)
    mains = mains_of(lines, mains_hz)
    if mains is not None and turns_at_mains(lines, voltage, interval_s, marks, mains):
        mains = None
    quiet = voltage
    if mains is not None:
        quiet, mains = remove_hum(voltage, interval_s, mains)
        lines = line_spectrum(quiet, interval_s)
    found = candidates(lines, marks, mains, duration, highest)
    chosen = choose(found, quiet, interval_s, marks, None if mains is None else voltage)
    if chosen and mains is not None and on_grid(np.array([chosen.rate_hz * marks]), mains, 1.5 / duration)[0]:
        quiet = voltage  # the pulses keep step with the mains: taking the hum away would take them too
    edges = edges_of(quiet, interval_s, marks, chosen, found, lines)
    comb, explained = spectrum_of(quiet, interval_s, marks, mains, lines, chosen, edges)
    spectrum = None if comb is None else result_of(comb, explained)
    if spectrum is not None:
        spectrum = with_sampling(spectrum, edges.pulses, interval_s, duration)
    flags = {"clipped"} if clipped else set()
    best, method = better(edges, spectrum, marks)
    if best is None:
        if edges.pulses is not None and has_few(edges.pulses, duration):
            flags.add("short")
        return nothing(flags, edges.result, spectrum)
    if is_aliased(lines, best.turn_rate_hz, marks, highest):
        flags.add("aliased")
    return _told(best, method, flags, duration, edges, spectrum)


def with_sampling(result: MethodResult, pulses: Pulses | None, interval_s: float, duration_s: float) -> MethodResult:
    """Return the result of the spectrum with what the sampling itself does to it added to its uncertainty.

    Pulses that rise within a sample are timed to whole samples: uniformly distributed errors, of standard deviation
    Ts / sqrt(24) for the mean of two edges, act on a slope as sqrt(12 / n) / T. Of smooth pulses a thousandth of a
    sample over the trace is as much as is ever claimed.
    """
    blur = 1e-3
    if pulses is not None and pulses.sharp:
        blur = math.sqrt(12 / (24 * max(pulses.time_s.size, 1)))
    extra = result.turn_rate_hz * blur * interval_s / duration_s
    return replace(result, turn_rate_u_hz=math.hypot(result.turn_rate_u_hz, extra))


def has_few(pulses: Pulses, duration_s: float) -> bool:
    """Tell whether there are one or two clear narrow pulses: a rotor that turns, but too slowly for this trace."""
    clear = pulses.height_v > 20 * pulses.noise_v
    return pulses.time_s.size <= 2 and clear and float(np.max(pulses.width_s)) < duration_s / 12


def mains_of(lines: LineSpectrum, mains_hz: float | str | None) -> float | None:
    """Return the frequency of the mains, if it shows: as named, or the stronger of 50 Hz and 60 Hz."""
    if mains_hz is None:
        return None
    if not isinstance(mains_hz, str):
        return mains_line(lines, float(mains_hz))
    both = [line for line in (mains_line(lines, 50.0), mains_line(lines, 60.0)) if line is not None]
    return max(both, key=lambda line: float(np.sum(lines.at(line * np.arange(1.0, 4.0)))), default=None)


def turns_at_mains(lines: LineSpectrum, voltage: FloatArray, interval_s: float, marks: int, mains_hz: float) -> bool:
    """Tell whether a line taken for the mains is that of pulses that happen to come at its rate.

    Then unequal marks leave lines on the comb of the turn rate that are no multiples of the mains. Equal marks leave
    none: a rotor in step with the mains, its marks all alike, is taken for hum.
    """
    duration, highest = voltage.size * interval_s, 0.5 / interval_s
    reach = 1.5 / duration
    likely = candidates(lines, marks, None, duration, highest)
    if not any(on_grid(np.array([one.rate_hz * marks for one in likely[:4]]), mains_hz, reach)):
        return False
    one = choose(likely, voltage, interval_s, marks)
    if one is None or not one.counted or not on_grid(np.array([one.rate_hz * marks]), mains_hz, reach)[0]:
        return False
    found = peaks(lines)
    own = on_grid(found, one.rate_hz, reach) & (found < 4 * marks * one.rate_hz) & ~on_grid(found, mains_hz, reach)
    power = lines.at(found)
    return float(np.sum(power[own])) > 0.005 * float(np.sum(power))


def edges_of(
    voltage: FloatArray,
    interval_s: float,
    marks: int,
    chosen: Candidate | None,
    found: list[Candidate],
    lines: LineSpectrum,
) -> EdgeEstimate:
    """Return the best estimate from edges, the scale of the pulses taken from the spectrum, or tried out."""
    duration = voltage.size * interval_s
    rates = dict.fromkeys(one.rate_hz for one in (chosen, *found[:1]) if one is not None)
    trials: list[tuple[float, tuple[float, float] | None]] = [(1 / (rate * marks), (rate, 0.0)) for rate in rates]
    trials += [(duration / 12, None)] if trials else [(duration / 6, None), (duration / 60, None)]
    best = EdgeEstimate()
    for pitch, start in trials:
        one = estimate_from_edges(voltage, interval_s, marks, pitch, start)
        if one.sure and chosen and not _as_good(one, chosen, lines, marks):
            one = replace(one, sure=False)
        if (one.sure, one.quality) > (best.sure, best.quality) or best.pulses is None:
            best = one
        if best.sure and best.quality > 0.85:
            break
    return best


def _as_good(edges: EdgeEstimate, chosen: Candidate, lines: LineSpectrum, marks: int) -> bool:
    """Tell whether the rate from edges leaves no more of the lines over than the candidate of the spectrum does.

    Pulses too low to be seen, or noise taken for pulses, can make a false pattern; lines of a drifting rotor are
    smeared, and then say nothing against it. Where marks are very unequal and only the high ones are seen as pulses,
    they fill a pattern of as many turns as they are too few.
    """
    if edges.result is None:
        return True
    if chosen.clear and chosen.explained > 0.8 and _is_multiple(chosen.rate_hz, edges.result.turn_rate_hz):
        return False
    if edges.quality > 0.97 or edges.result.uneven:
        return True
    if abs(edges.result.turn_rate_hz / chosen.rate_hz - 1) < 0.02:
        return True
    if chosen.counted and chosen.explained > 0.8:
        return False
    drifts = abs(edges.result.acceleration_hz_s) > 4 * edges.result.acceleration_u_hz_s
    return drifts or share_of_lines(lines, edges.result.turn_rate_hz, marks) > chosen.explained - 0.15


def _is_multiple(rate_hz: float, base_hz: float) -> bool:
    """Tell whether a rate is a whole number of times another, two or more."""
    times = round(rate_hz / base_hz)
    return times >= 2 and abs(rate_hz / (times * base_hz) - 1) < 0.005


def spectrum_of(
    voltage: FloatArray,
    interval_s: float,
    marks: int,
    mains_hz: float | None,
    lines: LineSpectrum,
    chosen: Candidate | None,
    edges: EdgeEstimate,
) -> tuple[Comb | None, float]:
    """Return the comb fitted from the candidate of the spectrum, or from the edges where they are sure and disagree."""
    duration = voltage.size * interval_s
    rate, acceleration, explained = (chosen.rate_hz, 0.0, chosen.explained) if chosen else (0.0, 0.0, 0.0)
    near = False
    if edges.sure and edges.result is not None:
        start = edges.result
        rate = start.turn_rate_hz
        acceleration = start.acceleration_hz_s if abs(start.acceleration_hz_s) > 2 * start.acceleration_u_hz_s else 0.0
        explained = explained if chosen and abs(rate - chosen.rate_hz) < 0.1 * rate else start.explained
    if not rate * duration > SHORT_TURNS or rate * marks * interval_s > 0.5:
        return None, 0.0
    # with many marks the lines between those of the pulses are too many to fit, and little is lost without them
    scale = marks if marks > MANY_MARKS else 1
    orders = useful_orders(lines, rate * scale, marks // scale, 0.45 / interval_s)
    if edges.sure and edges.result is not None and not edges.result.uneven:
        blur = edges.result.turn_rate_u_hz * duration + min(edges.result.acceleration_u_hz_s, 1e9) * duration**2 / 8
        near = blur * scale * int(orders[-1]) < 0.1
    comb = refine(
        voltage, interval_s, rate * scale, acceleration * scale, orders, marks // scale, mains_hz, near
    ).slowed(scale)
    # low marks beside high ones are no pulses to the edges, but were counted over many turns
    told = chosen is not None and chosen.clear and chosen.explained > 0.8 and chosen.rate_hz * duration > 6
    if not edges.sure and not told and edges.pulses and contradicts(edges.pulses, rate * marks * duration):
        return None, 0.0
    return (comb, explained) if stands_out(comb, rate, duration, 2.5 if edges.sure else 6.0) else (None, 0.0)


def contradicts(pulses: Pulses, expected: float) -> bool:
    """Tell whether clear pulses are far fewer than a turn rate asks for."""
    return pulses.height_v > 20 * pulses.noise_v and pulses.time_s.size < 0.6 * expected


def better(seen: EdgeEstimate, spectrum: MethodResult | None, marks: int) -> tuple[MethodResult | None, str]:
    """Return the result of the smaller uncertainty, widened by half the difference where the two contradict each other.

    A slip breaks the harmonics but not the edges, which are then preferred; of few edges the scatter is hardly known,
    and the spectrum is preferred, unless they are sharp: then it is that of the sampling.
    """
    edges = seen.result if seen.sure else None
    if edges is None or spectrum is None:
        return (edges, "edges") if edges else (spectrum, "spectrum" if spectrum else "none")
    if edges.uneven:
        return edges, "edges"
    sharp = seen.pulses is not None and seen.pulses.sharp
    few = seen.pulses is not None and seen.pulses.time_s.size < marks + 12
    best, method, other = edges, "edges", spectrum
    if not sharp and (few or spectrum.turn_rate_u_hz < edges.turn_rate_u_hz):
        best, method, other = spectrum, "spectrum", edges
    apart = abs(edges.turn_rate_hz - spectrum.turn_rate_hz)
    if apart > 4 * math.hypot(best.turn_rate_u_hz, other.turn_rate_u_hz):
        best = replace(best, turn_rate_u_hz=math.hypot(best.turn_rate_u_hz, apart / 2))
    return best, method


def _told(
    best: MethodResult,
    method: str,
    flags: set[str],
    duration: float,
    edges: EdgeEstimate,
    spectrum: MethodResult | None,
) -> SpeedEstimate:
    turns, circle, pulses = best.turn_rate_hz * duration, 2 * math.pi, edges.result
    if edges.sure and pulses is not None and (pulses.missed or pulses.extra) and pulses.strength > CLEAR_STRENGTH:
        flags.add("missed-marks")
    change = abs(best.acceleration_hz_s) * duration / best.turn_rate_hz
    slipped = edges.sure and pulses is not None and pulses.uneven
    if slipped or (change > MATERIAL_DRIFT and abs(best.acceleration_hz_s) > 4 * best.acceleration_u_hz_s):
        flags.add("drifting")
    if turns < SHORT_TURNS:
        flags.add("short")
    if "aliased" in flags:
        return replace(nothing(flags, pulses, spectrum), flags=_ordered(flags), method=method)
    return SpeedEstimate(
        circle * best.turn_rate_hz,
        circle * best.turn_rate_u_hz,
        _ordered(flags),
        method,
        turns,
        circle * best.acceleration_hz_s,
        circle * best.acceleration_u_hz_s,
        pulses,
        spectrum,
    )
