"""The rate of turning that one version of a trace shows, by whichever method finds it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.edges import EdgeEstimate
from edgewind.signals.lines import LineSpectrum, line_spectrum
from edgewind.signals.mains import near_mains
from edgewind.signals.method import MethodResult
from edgewind.signals.repeats import repeating_rate
from edgewind.signals.scrutiny import explained_share, turns_in_one
from edgewind.signals.spectrum import Candidate, candidates, choose_candidate, comb_stands_out, refine_comb, result_of
from edgewind.signals.thresholds import (
    EVEN_SHARE,
    KEPT_QUALITY,
    LEAST_SHARE,
    MOST_FEW_ORDERS,
    NEARLY_SAME,
    SAME_RATE,
    STRONG_SHARE,
    WANDER_PULSES,
)
from edgewind.signals.two_methods import better, edges_of, spectrum_of, with_sampling
from edgewind.signals.wandering import pulses_on_wander

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class RateFound:
    """Results of both methods for one version of a trace.

    Attributes
    ----------
    best : MethodResult or None
        The better result, where there is one.
    method : str
        Which method gave it.
    edges : EdgeEstimate
        Estimate from the pulses.
    spectrum : MethodResult or None
        Estimate from the comb of lines.
    lines : LineSpectrum
        The lines.
    share : float
        Share of the trace that the best result explains.
    certain : bool
        Whether no other rate is possible: the trace repeats itself as a whole, or its pulses stand out from any hum.
    """

    best: MethodResult | None
    method: str
    edges: EdgeEstimate
    spectrum: MethodResult | None
    lines: LineSpectrum
    share: float = 0.0
    certain: bool = False


def find_rate(
    voltage: FloatArray,
    interval_s: float,
    marks: int,
    mains_hz: float | None,
    raw: FloatArray | None,
    lines: LineSpectrum | None = None,
) -> RateFound:
    """Return the results of edges and spectrum for a trace, and the share of it that they explain."""
    duration, highest = voltage.size * interval_s, 0.5 / interval_s
    lines = lines or line_spectrum(voltage, interval_s)
    likely = candidates(lines, marks, mains_hz, duration, highest)
    chosen = choose_candidate(likely, voltage, interval_s, marks, raw, mains_hz)
    edges = edges_of(voltage, interval_s, marks, chosen, likely, lines)
    comb, explained = spectrum_of(voltage, interval_s, marks, mains_hz, lines, chosen, edges)
    spectrum = None if comb is None else result_of(comb, explained)
    if spectrum is not None:
        spectrum = with_sampling(spectrum, edges.pulses, interval_s, duration)
    shares = {
        id(one): explained_share(voltage, interval_s, one.turn_rate_hz, one.acceleration_hz_s, marks)
        for one in (edges.result if edges.sure else None, spectrum)
        if one is not None
    }
    if edges.sure and edges.result is not None and spectrum is not None:
        apart = abs(edges.result.turn_rate_hz / spectrum.turn_rate_hz - 1)
        ours, theirs = shares[id(edges.result)], shares[id(spectrum)]
        if apart > 0.02 and not edges.result.uneven and max(ours, theirs) > 2 * min(ours, theirs) + 0.1:
            # one of the two followed another signal: it explains little of the trace
            if ours > theirs:
                spectrum = None
            else:
                edges = replace(edges, sure=False)
        elif edges.result is not None and edges.result.uneven and apart < SAME_RATE and theirs > max(ours, EVEN_SHARE):
            # a rotor that slips has no comb that explains so much: it was hum, or noise, that moved the edges
            edges = replace(edges, result=replace(edges.result, uneven=False), sure=False)
    best, method = better(edges, spectrum, marks)
    if best is None:
        return _of_few_turns(voltage, interval_s, marks, mains_hz, lines, edges, spectrum)
    times = turns_in_one(voltage, interval_s, best.turn_rate_hz, best.acceleration_hz_s, marks)
    if times > 1 and best.turn_rate_hz * times * marks < highest:
        # marks of very unequal heights: the high ones alone fill a pattern of as many turns as they are too few
        single = Candidate(times * best.turn_rate_hz, 1.0, 1.0, counted=True, clear=True)
        first = edges
        edges = edges_of(voltage, interval_s, marks, single, [single], lines)
        comb, explained = spectrum_of(voltage, interval_s, marks, mains_hz, lines, single, edges)
        spectrum = (
            None if comb is None else with_sampling(result_of(comb, explained), edges.pulses, interval_s, duration)
        )
        again, method_again = better(edges, spectrum, marks)
        if again is not None and abs(again.turn_rate_hz / single.rate_hz - 1) < NEARLY_SAME:
            best, method = again, method_again
        elif first.quality > KEPT_QUALITY:
            return RateFound(None, "none", edges, spectrum, lines)  # pulses and the mean turn disagree
        else:
            # noise hides pulses from the edges, and those left fill a pattern of their own: the lines tell
            edges = replace(first, sure=False, result=None)
            comb, explained = spectrum_of(
                voltage, interval_s, marks, mains_hz, lines, single, replace(edges, pulses=None)
            )
            if comb is None:
                return RateFound(None, "none", edges, None, lines)
            best, method = result_of(comb, explained), "spectrum"
            spectrum = best
    share = explained_share(voltage, interval_s, best.turn_rate_hz, best.acceleration_hz_s, marks)
    scarce = method == "edges" and edges.pulses is not None and edges.pulses.time_s.size < WANDER_PULSES
    if share < (STRONG_SHARE if scarce else LEAST_SHARE):
        few = _of_few_turns(voltage, interval_s, marks, mains_hz, lines, edges, spectrum)
        if few.best is not None or not best.uneven:
            return few
    return RateFound(best, method, edges, spectrum, lines, share)


def rate_on_wander(
    voltage: FloatArray,
    interval_s: float,
    marks: int,
    mains: float | None,
    mains_hz: float | str | None,
    lines: LineSpectrum,
) -> RateFound | None:
    """Return the result from pulses on a wandering baseline, if there is no other."""
    seen = pulses_on_wander(voltage, interval_s, marks, mains)
    if seen is None:
        return None
    edges, level, step = seen
    best = edges.result
    if best is None or is_near_mains(best, marks, mains_hz, mains, voltage.size * interval_s):
        return None
    turning = best.turn_rate_hz, best.acceleration_hz_s
    if turns_in_one(level, step, *turning, marks) > 1 or turns_in_one(voltage, interval_s, *turning, marks) > 1:
        return None  # the high ones of very unequal marks
    share = explained_share(level, step, *turning, marks)
    return RateFound(best, "edges", edges, None, lines, share, certain=True) if share > LEAST_SHARE else None


def _of_few_turns(
    voltage: FloatArray,
    interval_s: float,
    marks: int,
    mains_hz: float | None,
    lines: LineSpectrum,
    edges: EdgeEstimate,
    spectrum: MethodResult | None,
) -> RateFound:
    """Return the result for a trace of few similar turns, if pulses and lines give none."""
    duration = voltage.size * interval_s
    rate = repeating_rate(voltage, interval_s, marks)
    if rate is None or rate * marks * interval_s > 0.1:
        return RateFound(None, "none", edges, spectrum, lines)
    orders = np.arange(1, int(min(max(MOST_FEW_ORDERS, 3 * marks), 0.45 / (interval_s * rate))) + 1)
    comb = refine_comb(voltage, interval_s, rate, 0.0, orders, marks, mains_hz, near=True)
    if not comb_stands_out(comb, rate, duration, 2.5):
        return RateFound(None, "none", edges, spectrum, lines)
    best = with_sampling(result_of(comb, 1.0), edges.pulses, interval_s, duration)
    share = explained_share(voltage, interval_s, best.turn_rate_hz, best.acceleration_hz_s, marks)
    return RateFound(best, "spectrum", replace(edges, sure=False), best, lines, share, certain=True)


def is_near_mains(
    result: MethodResult, marks: int, mains_hz: float | str | None, seen_hz: float | None, duration_s: float
) -> bool:
    """Return whether a rate is near one of the mains, for this length of trace."""
    return near_mains(result.turn_rate_hz, marks, mains_hz, seen_hz, duration_s)
