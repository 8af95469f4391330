"""The rate of a trace by its edges and by its spectrum, and the better of the two."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.comb import Comb
from edgewind.signals.edges import EdgeEstimate, estimate_from_edges
from edgewind.signals.lines import LineSpectrum
from edgewind.signals.method import MethodResult
from edgewind.signals.pulses import Pulses
from edgewind.signals.spectrum import Candidate, comb_stands_out, refine_comb, share_of_lines, useful_orders
from edgewind.signals.thresholds import DISAGREE, MANY_MARKS, SCALES, SHORT_TURNS

FloatArray = NDArray[np.float64]


def with_sampling(result: MethodResult, pulses: Pulses | None, interval_s: float, duration_s: float) -> MethodResult:
    """Return the result of the spectrum with the effect of sampling added to its uncertainty.

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
    """Return whether there are one or two clear narrow pulses: a rotor that turns, but too slowly for this trace."""
    clear = pulses.height_v > 20 * pulses.noise_v
    return pulses.time_s.size <= 2 and clear and float(np.max(pulses.width_s)) < duration_s / 12


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
    if not best.sure:
        # no line gives the distance of the pulses: all scales are tried
        tried = (estimate_from_edges(voltage, interval_s, marks, duration / pulses, None) for pulses in SCALES)
        sure = [one for one in tried if one.sure and one.result is not None]
        best = max(sure, key=lambda one: round(one.quality, 1), default=best)
    return best


def _as_good(edges: EdgeEstimate, chosen: Candidate, lines: LineSpectrum, marks: int) -> bool:
    """Return whether the rate from edges leaves no more of the lines over than the candidate of the spectrum does.

    Pulses too low to be seen, or noise taken for pulses, can make a false pattern; lines of a drifting rotor are
    broadened and cannot refute it. Where marks are very unequal and only the high ones are seen as pulses, they fill a
    pattern of as many turns as they are too few.
    """
    if edges.result is None:
        return True
    if chosen.clear and chosen.explained > 0.8 and is_multiple(chosen.rate_hz, edges.result.turn_rate_hz):
        return False
    if edges.quality > 0.97 or edges.result.uneven:
        return True
    if abs(edges.result.turn_rate_hz / chosen.rate_hz - 1) < 0.02:
        return True
    if chosen.counted and chosen.explained > 0.8:
        return False
    drifts = abs(edges.result.acceleration_hz_s) > 4 * edges.result.acceleration_u_hz_s
    return drifts or share_of_lines(lines, edges.result.turn_rate_hz, marks) > chosen.explained - 0.15


def is_multiple(rate_hz: float, base_hz: float) -> bool:
    """Return whether a rate is a whole number of times another, two or more."""
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
    comb = refine_comb(
        voltage, interval_s, rate * scale, acceleration * scale, orders, marks // scale, mains_hz, near
    ).slowed(scale)
    # low marks beside high ones are no pulses to the edges, but were counted over many turns
    told = chosen is not None and chosen.clear and chosen.explained > 0.8 and chosen.rate_hz * duration > 6
    if not edges.sure and not told and edges.pulses and contradicts(edges.pulses, rate * marks * duration):
        return None, 0.0
    return (comb, explained) if comb_stands_out(comb, rate, duration, 2.5 if edges.sure else 6.0) else (None, 0.0)


def contradicts(pulses: Pulses, expected: float) -> bool:
    """Return whether clear pulses are far fewer than a turn rate asks for."""
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
    if not sharp and (few or spectrum.turn_rate_u_hz < edges.turn_rate_u_hz):
        return widened(spectrum, edges), "spectrum"
    return widened(edges, spectrum), "edges"


def widened(best: MethodResult, other: MethodResult) -> MethodResult:
    """Return a result whose uncertainty covers half of its difference from another that contradicts it."""
    apart = abs(best.turn_rate_hz - other.turn_rate_hz)
    if apart > DISAGREE * math.hypot(best.turn_rate_u_hz, other.turn_rate_u_hz):
        return replace(best, turn_rate_u_hz=math.hypot(best.turn_rate_u_hz, apart / 2))
    return best
