"""Turn rate from edges: the time of each pulse, to a fraction of a sample, and its mark."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.few_pulses import few_pulses
from edgewind.signals.lattice import Lattice, find_lattice
from edgewind.signals.method import MethodResult
from edgewind.signals.pattern import Pattern, fit_pattern, grow_pattern, is_sure, likelihood, quality
from edgewind.signals.presence import Turning, empty_places, stands_out
from edgewind.signals.pulses import Pulses, find_pulses
from edgewind.signals.rounding import Rounding
from edgewind.signals.thresholds import (
    CONTESTED,
    EVEN_FEWEST,
    EVEN_FILLED,
    EVEN_FITTING,
    EVEN_PULSES,
    EVEN_RESULTANT,
    FEW_RESULTANT,
    FEW_TURNS,
    FINEST,
    FINEST_SHARP,
    LIKELIER,
    LIKELY_CHANCE,
    LIKELY_RESULTANT,
    SAME_PLACES,
    SLANTED,
    WIDTHS_LEAST,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class EdgeEstimate:
    """Estimate from the pulses of a trace.

    Attributes
    ----------
    result : MethodResult or None
        Turn rate, where a pattern was found.
    pulses : Pulses or None
        The pulses, where any stand out.
    quality : float
        How well one pattern explains them, from 0 to 1.
    sure : bool
        Whether the pattern is unlikely to be chance.
    even : bool
        Whether the pulses stand at even places, one a mark, at this rate: then no other number of places is possible.
    contested : bool
        Whether they stand at even places at another rate, and this pattern is not clearly the likelier.
    """

    result: MethodResult | None = None
    pulses: Pulses | None = None
    quality: float = 0.0
    sure: bool = False
    even: bool = False
    contested: bool = False


def estimate_from_edges(
    voltage: FloatArray, interval_s: float, marks: int, pitch_s: float, start: tuple[float, float] | None
) -> EdgeEstimate:
    """Return the turn rate from the pulses of a trace.

    Parameters
    ----------
    voltage : array
        Trace, volts.
    interval_s : float
        Time between samples, seconds.
    marks : int
        Pulses a turn.
    pitch_s : float
        About how far apart the pulses are, seconds.
    start : pair of float, optional
        Turn rate and acceleration from elsewhere, to be tried beside those from the pulses themselves.
    """
    duration = voltage.size * interval_s
    pulses = find_pulses(voltage, interval_s, pitch_s)
    if pulses is not None and not 0.67 < pulses.time_s.size * pitch_s / duration < 1.5:
        pulses = find_pulses(voltage, interval_s, duration / pulses.time_s.size) or pulses
    if pulses is None or pulses.time_s.size < 2:
        return EdgeEstimate(pulses=pulses)
    rounding = Rounding(interval_s, pulses.width_s) if pulses.sharp else None
    jitter = float(np.hypot(pulses.jitter_s, interval_s / np.sqrt(24) if pulses.sharp else 0.0))
    pattern = fit_pattern(pulses.time_s, start[0], start[1], marks, jitter, rounding) if start else None
    if quality(pattern) < 0.95:
        pattern = max(grow_pattern(pulses.time_s, marks, jitter, rounding), pattern, key=quality)
    turns = duration * pattern.rate_hz if pattern is not None else 0.0
    lattice, contested = None, False
    if quality(pattern) < 0.97 or turns < FEW_TURNS:
        lattice = find_lattice(pulses.time_s)
    if lattice is not None:
        begin = lattice.pitch_rate_hz / marks, lattice.acceleration_hz_s / marks
        spaced = fit_pattern(pulses.time_s, *begin, marks, jitter, rounding)
        if _are_even(lattice, pulses) and not _same_places(lattice, pattern, pulses, marks):
            gain = likelihood(spaced, marks, jitter) - likelihood(pattern, marks, jitter)
            contested = abs(gain) < CONTESTED
            if gain > LIKELIER:
                pattern = spaced
        elif quality(pattern) < 0.9:
            pattern = max(spaced, pattern, key=quality)
    # a slip leaves pulses over; dropouts only leave places empty
    if pattern is None or pattern.uneven or pattern.explained < 0.9:
        pieces = in_stretches(pulses, marks, jitter)
        if pieces is not None and quality(pieces) > min(quality(pattern) + 0.05, 0.95):
            return _seen(pulses, pieces, sure=True)
    if pattern is None or not is_sure(pattern, marks, jitter):
        few = few_pulses(pulses, marks, jitter, duration)
        if few is None:
            return _seen(pulses, pattern)
        even = lattice is not None and _bears_out(lattice, few.turn_rate_hz, pulses, marks)
        return EdgeEstimate(few, pulses, 1.0, sure=True, even=even)
    even = lattice is not None and _bears_out(lattice, pattern.rate_hz, pulses, marks)
    pattern = looked_at_again(pattern, pulses, np.arange(pulses.time_s.size), 0.0, marks)
    finest = FINEST_SHARP if pulses.sharp else FINEST
    hidden = np.hypot(finest * interval_s, max(SLANTED, pulses.lean) * _widening(pulses, pattern, duration))
    seen = _seen(pulses, pattern, float(hidden) / duration * pattern.rate_hz, sure=True)
    return replace(seen, even=even and not contested, contested=contested)


def _widening(pulses: Pulses, pattern: Pattern, duration_s: float) -> float:
    """Return by how much the pulses grow wider over the trace, seconds: a baseline that drifts makes them do so."""
    good = pattern.mark >= 0
    if good.sum() < WIDTHS_LEAST:
        return 0.0
    time = pulses.time_s[good] - np.mean(pulses.time_s[good])
    return float(time @ pulses.width_s[good]) / float(time @ time) * duration_s


def _are_even(lattice: Lattice, pulses: Pulses) -> bool:
    """Return whether pulses stand at even places, and chance does not make them."""
    enough = pulses.time_s.size >= EVEN_PULSES
    return enough and lattice.resultant > EVEN_RESULTANT and lattice.fitting > EVEN_FITTING


def _bears_out(lattice: Lattice, rate_hz: float, pulses: Pulses, marks: int) -> bool:
    """Return whether even places that chance does not make are as many as a turn rate counts."""
    length, count = lattice.resultant, pulses.time_s.size
    likely = length > LIKELY_RESULTANT and length**2 * count > LIKELY_CHANCE
    few = length > FEW_RESULTANT and count >= EVEN_FEWEST and lattice.fitting == 1
    if not (lattice.fitting > EVEN_FITTING and lattice.filled > EVEN_FILLED and (likely or few)):
        return False
    return abs(rate_hz * marks - lattice.pitch_rate_hz) * float(np.ptp(pulses.time_s)) < SAME_PLACES


def _same_places(lattice: Lattice, pattern: Pattern | None, pulses: Pulses, marks: int) -> bool:
    """Return whether a pattern counts as many places between the first pulse and the last as a lattice does."""
    if pattern is None:
        return False
    span = float(np.ptp(pulses.time_s))
    return abs(pattern.rate_hz * marks - lattice.pitch_rate_hz) * span < SAME_PLACES


def _seen(pulses: Pulses, pattern: Pattern | None, hidden_hz: float = 0.0, sure: bool = False) -> EdgeEstimate:
    if pattern is None:
        return EdgeEstimate(pulses=pulses)
    result = MethodResult(
        pattern.rate_hz,
        float(np.hypot(pattern.rate_u_hz, hidden_hz)),
        pattern.acceleration_hz_s,
        pattern.acceleration_u_hz_s,
        float(pulses.height_v / max(pulses.noise_v, 1e-12 * pulses.height_v)),
        quality(pattern),
        pattern.missed,
        pattern.extra,
        pattern.uneven,
    )
    return EdgeEstimate(result, pulses, quality(pattern), sure)


def looked_at_again(pattern: Pattern, pulses: Pulses, which: IntArray, clock_s: float, marks: int) -> Pattern:
    """Return the pattern with missing and extra pulses counted only if the trace itself confirms them.

    Parameters
    ----------
    pattern : Pattern
        Fitted to the pulses `which`, with times counted from `clock_s`.
    pulses : Pulses
        All pulses of the trace.
    which : array of int
        The numbers of those that were fitted.
    clock_s : float
        Time zero of the pattern, from the middle of the trace, seconds.
    marks : int
        Pulses a turn.
    """
    if not pattern.missed and not pattern.extra:
        return pattern
    good = pattern.mark >= 0
    mark, turn, time = pattern.mark[good], pattern.turn[good], pulses.time_s[which][good] - clock_s
    phase = pattern.rate_hz * time + pattern.acceleration_hz_s * time**2 / 2
    places = np.full(marks, np.nan)
    for one in np.unique(mark):
        places[one] = np.mean((phase - turn)[mark == one])
    turning = Turning(pattern.rate_hz, pattern.acceleration_hz_s, places)
    empty, there = empty_places(pulses.level_v, pulses.interval_s, clock_s, turning, mark, turn)
    filled = set(zip(mark.tolist(), turn.tolist(), strict=True))
    least = 0.3 * pulses.height_v + 3 * pulses.noise_v
    extra = 0
    for one in which[~good].tolist():
        middle, width = float(pulses.time_s[one]), float(pulses.width_s[one])
        # pulses that ran into each other or into a slow wave are where they belong, and so is one that was pushed aside
        holds = np.any(np.abs(empty[there] - middle) < 0.5 * width + 0.1 / (marks * pattern.rate_hz))
        known = holds or turning.nearest(middle - clock_s) not in filled | {None}
        extra += not known and stands_out(pulses.level_v, pulses.interval_s, middle, width, least)
    return replace(pattern, missed=int(np.sum(~there)), extra=extra)


def in_stretches(pulses: Pulses, marks: int, jitter_s: float) -> Pattern | None:
    """Fit a pattern stretch by stretch, for a rotor that slips between them; None where the stretches do not agree.

    The rate is the mean over the stretches that have one; its uncertainty comes from their scatter.
    """
    fits: list[Pattern] = []
    stretches = min(5, pulses.time_s.size // (2 * marks + 4))
    if stretches < 3:
        return None
    for part in np.array_split(np.arange(pulses.time_s.size), stretches):
        time = pulses.time_s[part]
        fit = grow_pattern(time - np.mean(time), marks, jitter_s)
        if fit is not None and quality(fit) > 0.9 and is_sure(fit, marks, jitter_s):
            fits.append(looked_at_again(fit, pulses, part, float(np.mean(time)), marks))
    if len(fits) < max(2, stretches - 2):
        return None
    rates = np.array([fit.rate_hz for fit in fits])
    if float(np.ptp(rates)) > 0.03 * float(np.mean(rates)):
        return None
    own = float(np.sqrt(np.mean([fit.rate_u_hz**2 for fit in fits]) / len(fits)))
    scatter = float(np.std(rates, ddof=1) / np.sqrt(len(fits)))
    return Pattern(
        rate_hz=float(np.mean(rates)),
        acceleration_hz_s=0.0,
        rate_u_hz=max(own, scatter),
        acceleration_u_hz_s=float("inf"),
        mark=np.concatenate([fit.mark for fit in fits]),
        turn=np.concatenate([fit.turn for fit in fits]),
        scatter=float(np.mean([fit.scatter for fit in fits])),
        explained=float(np.mean([fit.explained for fit in fits])),
        occupied=float(np.mean([fit.occupied for fit in fits])),
        missed=sum(fit.missed for fit in fits),
        extra=sum(fit.extra for fit in fits),
        uneven=True,
    )
