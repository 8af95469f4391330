"""Pulses assigned to mark and turn: the turning and the places of the marks fitted to their times."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.rounding import Rounding, rounding_error
from edgewind.signals.thresholds import (
    COST_EXTRA,
    COST_MISSED,
    LEAST_SCATTER,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Pattern:
    """Pulses assigned to mark and turn.

    Attributes
    ----------
    rate_hz, acceleration_hz_s : float
        Turning at the middle of the trace.
    rate_u_hz, acceleration_u_hz_s : float
        Standard uncertainties.
    mark, turn : arrays of int
        Which mark and which turn each pulse belongs to; mark -1 for a pulse that fits nowhere.
    scatter : float
        Standard deviation of the pulses about the pattern, turns.
    explained, occupied : float
        Share of the pulses that fit; share of the places of the pattern that hold a pulse.
    missed, extra : int
        Empty places; pulses that fit nowhere.
    uneven : bool
        Whether the residual phase is not random from turn to turn.
    """

    rate_hz: float
    acceleration_hz_s: float
    rate_u_hz: float
    acceleration_u_hz_s: float
    mark: IntArray
    turn: IntArray
    scatter: float
    explained: float
    occupied: float
    missed: int
    extra: int
    uneven: bool


def places_of(phase: FloatArray, marks: int) -> FloatArray:
    """Return the places of the marks on the turn: the densest phases, one for each mark, in turns."""
    bins = 40 * marks
    histogram = np.bincount((np.remainder(phase, 1.0) * bins).astype(int) % bins, minlength=bins).astype(float)
    kernel = np.array([0.25, 0.5, 0.75, 1.0, 0.75, 0.5, 0.25])
    density = sum(weight * np.roll(histogram, i - 3) for i, weight in enumerate(kernel))
    assert isinstance(density, np.ndarray)
    found: list[float] = []
    for _ in range(marks):
        top = int(np.argmax(density))
        if density[top] <= 0:
            break
        near = np.abs(wrap(phase - (top + 0.5) / bins)) < 0.1 / marks
        found.append(float((top + 0.5) / bins + np.mean(wrap(phase[near] - (top + 0.5) / bins))))
        density[(top + np.arange(-10, 11)) % bins] = 0
    return np.sort(np.remainder(found, 1.0))


def wrap(phase: FloatArray) -> FloatArray:
    """Return the part of a phase beyond the nearest whole turn, -1/2 to 1/2."""
    return phase - np.rint(phase)


def fit_pattern(
    time: FloatArray,
    rate_hz: float,
    acceleration_hz_s: float,
    marks: int,
    jitter_s: float,
    rounding: Rounding | None = None,
) -> Pattern | None:
    """Fit rotation and places of the marks to the times of pulses, from a start that is correct to a pitch over all of
    them.

    Linear least squares of the turn number: turn = f t + a t^2 / 2 - place of the mark. Pulses that stray are set
    aside and the fit repeated. Where edges are rounded to whole samples, the standard errors are those of
    the rounding and of the noise expected, unless the pulses scatter by more than these two make them. The jitter is
    the whole scatter expected of one pulse.
    """
    phase = rate_hz * time + acceleration_hz_s * time**2 / 2
    places = places_of(phase, marks)
    if places.size == 0:
        return None
    distance = wrap(phase[:, None] - places[None, :])
    mark = np.argmin(np.abs(distance), axis=1)
    stray = distance[np.arange(time.size), mark]
    turn = np.rint(phase - places[mark]).astype(np.int64)
    limit = 0.2 / marks
    good = np.abs(stray) < limit
    solution, covariance, left, away = np.zeros(2), np.zeros((2, 2)), stray, np.zeros((2, time.size))
    for _ in range(4):
        used = np.unique(mark[good])
        span = float(np.ptp(time[good])) * rate_hz if good.any() else 0.0
        free = 2 if span > 2.5 and good.sum() >= used.size + 3 else 1
        if good.sum() < used.size + free:
            return None
        columns = np.stack([time, time**2 / 2])[:free]
        centre, middle = _by_mark(columns, turn.astype(float), mark, good, marks)
        away = columns - centre
        inner = away[:, good]
        square = inner @ inner.T
        scale = np.sqrt(np.diag(square))
        if not np.all(scale > 0):
            return None
        covariance = np.linalg.pinv(square / np.outer(scale, scale)) / np.outer(scale, scale)
        solution = covariance @ (inner @ (turn - middle)[good])
        left = (turn - middle) - solution @ away
        spread = float(np.median(np.abs(left[good]))) / 0.6745
        again = np.abs(left) < min(limit, max(6 * spread, 3 * jitter_s * abs(rate_hz), 1e-9))
        if np.array_equal(again, good):
            break
        good = again
    rate, acceleration = float(solution[0]), float(solution[1]) if solution.size == 2 else 0.0
    if not rate > 0:
        return None
    freedom = int(good.sum()) - np.unique(mark[good]).size - solution.size
    own = float(np.sum(left[good] ** 2)) / freedom if freedom > 0 else np.inf
    expected = (jitter_s * rate) ** 2
    variance = (own * freedom + expected * 3) / (freedom + 3) if 0 < freedom < 8 else own if freedom > 0 else expected
    systematic = np.zeros(solution.size)
    if rounding is not None:
        unit = rate * rounding.interval_s
        exact, width = (time + left / rate)[good] / rounding.interval_s, rounding.width_s[good] / rounding.interval_s
        errors, single = rounding_error(covariance @ away[:, good], exact, width, mark[good], marks)
        noise = max(expected - unit**2 / 24, 0.0)
        # scatter beyond that of the rounding makes its errors independent of each other: then they count as noise
        if freedom < 1 or own < (1 + 4 / np.sqrt(freedom)) * single * unit**2 + noise:
            systematic, variance = (errors * unit) ** 2, noise
    if 0 < freedom < 30:
        variance *= covering_factor(freedom + 3 * (freedom < 8)) ** 2
    order = np.argsort(time[good])
    colour = _memory(left[good][order])
    occupied, missed = _occupied(time, turn, mark, good, rate, acceleration, marks)
    return Pattern(
        rate,
        acceleration,
        float(np.sqrt(covariance[0, 0] * variance * colour + systematic[0])),
        float(np.sqrt(covariance[1, 1] * variance * colour + systematic[1])) if solution.size == 2 else float("inf"),
        np.where(good, mark, -1),
        turn,
        float(np.sqrt(max(variance, 0.0))),
        float(good.mean()),
        occupied,
        missed,
        int((~good).sum()),
        _uneven(time[good][order], left[good][order], marks, rate),
    )


def student_factor(freedom: float) -> float:
    """Return by how much a 68.27 % interval of Student's t is wider than that of the normal distribution.

    Fitted to the table G.2 of JCGM 100:2008 (1.84 at 1, 1.32 at 2): 1.3 % above it at 1 and 2, 0.5 % at 5, less at
    more.
    """
    return 1 + 0.59 / (freedom - 0.3) ** 1.05 if freedom >= 1 else 1.84


def covering_factor(freedom: float) -> float:
    """Return by how much an uncertainty from so few has to be wider for one of it to cover 68.27 %, and four 99.9 %.

    The second is that quantile of Student's t over four: by the expansion of Fisher and Cornish, Technometrics 2, 209
    (1960), within 5 % from 4 degrees of freedom on (8.610 at 4 and 4.587 at 10 in tables of t, and by SciPy); at most
    8.
    """
    if freedom < 1:
        return 8.0
    four = 3.29 / 4 * (1 + 2.96 / freedom + 7.9 / freedom**2 + 17 / freedom**3)
    return min(max(student_factor(freedom), four), 8.0)


def _by_mark(
    columns: FloatArray, turn: FloatArray, mark: IntArray, good: NDArray[np.bool_], marks: int
) -> tuple[FloatArray, FloatArray]:
    """Return the means of the columns and of the turn numbers over the good pulses of each pulse's mark."""
    count = np.maximum(np.bincount(mark[good], minlength=marks), 1)
    centre = np.stack([np.bincount(mark[good], weights=row[good], minlength=marks) / count for row in columns])
    middle = np.bincount(mark[good], weights=turn[good], minlength=marks) / count
    return centre[:, mark], middle[mark]


def _memory(left: FloatArray) -> float:
    """Return the factor by which the correlation of residuals increases the variance of their sum.

    Newey and West, Econometrica 55, 703 (1987), with a triangular window; never below one.
    """
    count = left.size
    power = float(left @ left)
    if count < 12 or power <= 0:
        return 1.0
    lags = int(max(2, round(count ** (1 / 3))))
    correlation = np.array([float(left[lag:] @ left[:-lag]) / power for lag in range(1, lags + 1)])
    factor = 1 + 2 * float(np.sum(correlation * (1 - np.arange(1, lags + 1) / (lags + 1))))
    return max(factor, 1.0)


def _uneven(time: FloatArray, left: FloatArray, marks: int, rate_hz: float) -> bool:
    """Return whether the residual phase wanders, by the lines through it stretch by stretch.

    Either their means stray by more than chance and by over 1 % of a turn, or their slopes by over 0.3 % of the rate.
    """
    stretches = int(min(10, left.size // max(10, 3 * marks)))
    if stretches < 3:
        return False
    means, slopes, rough, spread = [], [], [], []
    for part in np.array_split(np.arange(left.size), stretches):
        t = time[part] - np.mean(time[part])
        square = float(t @ t)
        slope = float(t @ left[part]) / square if square > 0 else 0.0
        mean = float(np.mean(left[part]))
        means.append(mean)
        slopes.append(slope)
        rough.append(float(np.sum((left[part] - mean - slope * t) ** 2)) / max(part.size - 2, 1))
        spread.append(square)
    noise = float(np.median(rough))
    wandering = float(np.mean(np.square(means)))
    turning = float(np.mean(np.square(slopes)))
    return bool(
        (wandering > 8 * noise / (left.size / stretches) and wandering > 0.01**2)
        or (turning > 12 * noise / float(np.median(spread)) and turning > (0.003 * rate_hz) ** 2)
    )


def _occupied(
    time: FloatArray,
    turn: IntArray,
    mark: IntArray,
    good: NDArray[np.bool_],
    rate: float,
    acceleration: float,
    marks: int,
) -> tuple[float, int]:
    """Return the share of the places between first and last pulse that are filled, and how many are not."""
    places = np.zeros(marks)
    held = np.zeros(marks, dtype=bool)
    phase = rate * time + acceleration * time**2 / 2
    for one in np.unique(mark[good]):
        mine = good & (mark == one)
        places[one], held[one] = np.mean(phase[mine] - turn[mine]), True
    begin, end = phase[good].min() - 1e-6, phase[good].max() + 1e-6
    slack = 0.02 / marks
    expected = sum(max(0, int(np.floor(end + slack - p)) - int(np.ceil(begin - slack - p)) + 1) for p in places[held])
    expected += int((~held).sum() * max(0.0, np.floor(end - begin)))
    filled = np.unique(turn[good] * marks + mark[good]).size
    return filled / max(expected, 1), max(0, int(expected) - int(filled))


def grow_pattern(time: FloatArray, marks: int, jitter_s: float, rounding: Rounding | None = None) -> Pattern | None:
    """Fit a pattern without a start: from the intervals of pulses one turn apart, then over ever longer stretches."""
    if time.size < marks + 3:
        return None
    spans = time[marks:] - time[:-marks]
    start, period = _most_regular(time[: spans.size] + spans / 2, spans, marks)
    rate, acceleration = 1 / period, 0.0
    reach = 1.5 * period
    pattern: Pattern | None = None
    whole = max(time[-1] - start, start - time[0])
    while True:
        inside = np.abs(time - start) <= reach
        if inside.sum() >= marks + 2:
            grown = fit_pattern(time[inside] - start, rate, acceleration, marks, jitter_s)
            if grown is not None and grown.explained > 0.5:
                pattern, rate = grown, grown.rate_hz
                significant = abs(grown.acceleration_hz_s) > 2 * grown.acceleration_u_hz_s
                acceleration = grown.acceleration_hz_s if significant else 0.0
        if reach >= whole:
            break
        reach *= 1.6
    if pattern is None:
        return None
    rate_at_zero = rate - acceleration * start
    return fit_pattern(time, rate_at_zero, acceleration, marks, jitter_s, rounding)


def _most_regular(middle: FloatArray, spans: FloatArray, marks: int) -> tuple[float, float]:
    """Return the time about which the durations of a turn agree best over a turn or two, and their median there."""
    window = min(spans.size, 2 * marks + 1)
    pieces = np.lib.stride_tricks.sliding_window_view(spans, window)[:: max(1, spans.size // 400)]
    centres = np.lib.stride_tricks.sliding_window_view(middle, window)[:: max(1, spans.size // 400)]
    typical = np.median(pieces, axis=1)
    scatter = np.median(np.abs(pieces - typical[:, None]), axis=1) / typical
    # a turn with pulses missing is as regular as one without, but longer: ask for the common duration first
    common = np.abs(typical / np.median(spans) - 1) < 0.25
    best = int(np.argmin(np.where(common, scatter, np.inf)))
    return float(np.median(centres[best])), float(typical[best])


def quality(pattern: Pattern | None) -> float:
    """Return how well a pattern explains its pulses, from 0 to 1."""
    return 0.0 if pattern is None else pattern.explained * min(pattern.occupied, 1.0)


def not_by_chance(pattern: Pattern, used: int, marks: int) -> bool:
    """Return whether pulses scatter too little about their places to be there by chance, however many places are empty.

    Pulses at random times are spread evenly over the 0.4 pitches in which they count as fitting. The ratio of the
    likelihoods of that and of a normal scatter s, to the power of the pulses beyond those that the fit used up, is
    (0.4 / (s sqrt(2 pi e)))^n: it has to be beyond e^9, for the rates that were tried; beyond e^5 where every place
    holds a pulse.
    """
    freedom = used - np.unique(pattern.mark[pattern.mark >= 0]).size - 2
    scatter = max(pattern.scatter * marks, 1e-4)
    if freedom < 3 or pattern.explained < 0.8 or quality(pattern) < 0.45 or scatter > 0.06:
        return False
    return freedom * float(np.log(0.4 / (4.13 * scatter))) > (5 if quality(pattern) > 0.97 and freedom > 3 else 9)


def likelihood(pattern: Pattern | None, marks: int, jitter_s: float) -> float:
    """Return the logarithm of the likelihood of a pattern over that of pulses at random times.

    As in `not_by_chance`, less what pulses that are missing or too many cost: of patterns with and without missing
    pulses that which scatters as the noise makes it is the likelier.
    """
    if pattern is None:
        return -np.inf
    used = int(np.sum(pattern.mark >= 0))
    freedom = used - np.unique(pattern.mark[pattern.mark >= 0]).size - 2
    scatter = max(pattern.scatter, jitter_s * pattern.rate_hz, LEAST_SCATTER / marks) * marks
    return freedom * float(np.log(0.4 / (4.13 * scatter))) - COST_MISSED * pattern.missed - COST_EXTRA * pattern.extra


def is_sure(pattern: Pattern, marks: int, jitter_s: float) -> bool:
    """Return whether a pattern is one that chance does not make: most pulses on it, most places filled, little scatter.

    Pulses at random times would lie within a fifth of the pitch of a place with a scatter of 0.11 of the pitch. Bumps
    of a wandering baseline keep step for a while: of few pulses it is asked that they scatter as the noise makes them.
    """
    used = int(np.sum(pattern.mark >= 0))
    if not_by_chance(pattern, used, marks):
        return True
    if used < marks + 3 or pattern.explained < 0.7 or quality(pattern) < 0.55 or pattern.scatter * marks > 0.06:
        return False
    if used >= 3 * marks + 16:
        return True
    return quality(pattern) > 0.8 and pattern.scatter < max(4 * jitter_s * pattern.rate_hz, 0.008 / marks)
