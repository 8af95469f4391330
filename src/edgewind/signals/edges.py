"""Turn rate from edges: when each pulse passes, to a fraction of a sample, and which mark it is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from edgewind.signals.method import MethodResult

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

BLOCK_PITCHES = 1.6
LEAST_STRENGTH = 5.0


@dataclass(frozen=True)
class Pulses:
    """Pulses found in a trace.

    Attributes
    ----------
    time_s : array
        Middle of each pulse, from the middle of the trace, seconds.
    height_v : float
        Typical height of the lower pulses, volts.
    noise_v : float
        Standard deviation of the noise after smoothing, volts.
    jitter_s : float
        Standard deviation of the time of one pulse that this noise makes, seconds.
    sharp : bool
        Whether pulses rise within one sample, so that the sampling rather than the noise limits their times.
    """

    time_s: FloatArray
    height_v: float
    noise_v: float
    jitter_s: float
    sharp: bool


def noise_of(voltage: FloatArray) -> float:
    """Return the standard deviation of white noise under a smooth signal, from its second differences.

    The second difference of white noise has 6 times its variance; the median of the absolute value is 0.6745 of the
    standard deviation.
    """
    if voltage.size < 3:
        return 0.0
    second = voltage[2:] - 2 * voltage[1:-1] + voltage[:-2]
    return float(np.median(np.abs(second)) / 0.6745 / np.sqrt(6))


def block_levels(voltage: FloatArray, length: int) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return the middle of each block of so many samples, and its low (20 %), middle and greatest and least level."""
    count = max(1, voltage.size // length)
    length = voltage.size // count
    blocks = np.sort(voltage[: count * length].reshape(count, length), axis=1)
    edge = max(0, min(length - 1, int(0.01 * length)))
    middle = (np.arange(count) + 0.5) * length - 0.5
    return middle, blocks[:, int(0.2 * (length - 1))], blocks[:, length - 1 - edge], blocks[:, edge]


def find_pulses(voltage: FloatArray, interval_s: float, pitch_s: float) -> Pulses | None:
    """Return the pulses of a trace in which one is expected about every `pitch_s`; None where none stand out.

    The baseline is the lower fifth of the voltage, block by block; the thresholds lie about half the height of the
    lower pulses, as far apart as the noise asks. A pulse is timed by the mean of its two crossings of the middle
    threshold, which a slow baseline moves least.
    """
    length = int(np.clip(BLOCK_PITCHES * pitch_s / interval_s, 8, voltage.size))
    middle, low, high, least = block_levels(voltage, length)
    centre = np.median(voltage)
    sign = 1.0
    if float(np.median(high)) - centre < centre - float(np.median(least)):
        sign, voltage = -1.0, -voltage
        middle, low, high, least = block_levels(voltage, length)
    del sign
    level = voltage - np.interp(np.arange(voltage.size), middle, low)
    tops = high - low
    height = max(float(np.percentile(tops, 25)), 0.35 * float(np.percentile(tops, 80)))
    noise = noise_of(voltage)
    if height <= 0:
        return None
    pitch = pitch_s / interval_s
    width = int(np.clip((14 * noise / height) ** 2, 1, max(1, 0.12 * pitch)))
    if width > 1:
        level = uniform_filter1d(level, width, mode="nearest")
        noise = noise_of(voltage) / np.sqrt(width)
        # noise lifts the greatest sample of a block; measured again after smoothing
        middle, low, high, _ = block_levels(level, length)
        level = level - np.interp(np.arange(level.size), middle, low)
        tops = high - low
        height = max(float(np.percentile(tops, 25)), 0.35 * float(np.percentile(tops, 80)))
    if height < LEAST_STRENGTH * noise or height <= 0:
        return None
    gap = float(np.clip(2.5 * noise, 0.12 * height, 0.35 * height))
    return _timed(level, interval_s, 0.5 * height, gap, height, noise)


def _timed(
    level: FloatArray, interval_s: float, threshold: float, gap: float, height: float, noise: float
) -> Pulses | None:
    """Time the pulses of a trace whose baseline is zero."""
    state = np.where(level > threshold + gap, 1, np.where(level < threshold - gap, -1, 0))
    certain = np.flatnonzero(state)
    if certain.size < 2:
        return None
    change = np.flatnonzero(np.diff(state[certain]))
    if change.size < 2:
        return None
    before, after = certain[change], certain[change + 1]
    rising = state[after] > 0
    cross = np.empty(change.size)
    slope = np.empty(change.size)
    for i, (a, b) in enumerate(zip(before.tolist(), after.tolist(), strict=True)):
        if b == a + 1:
            place = a
        else:
            piece = level[a : b + 1] - threshold
            turns = np.flatnonzero((piece[:-1] < 0) != (piece[1:] < 0))
            place = a + int(turns[turns.size // 2])
        slope[i] = level[place + 1] - level[place]
        cross[i] = place + (threshold - level[place]) / slope[i] if slope[i] else place + 0.5
    first = int(np.argmax(rising))
    rise = cross[first:-1:2]
    fall = cross[first + 1 :: 2]
    if rise.size == 0:
        return None
    time = ((rise + fall) / 2 - (level.size - 1) / 2) * interval_s
    steep = float(np.median(np.abs(slope)))
    jitter = noise / max(steep, np.finfo(float).tiny) / np.sqrt(2) * interval_s
    return Pulses(time, height, noise, jitter, steep > 0.6 * height)


@dataclass(frozen=True)
class Pattern:
    """Pulses told apart by mark and turn.

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
        Whether what is left of the phase is not random from turn to turn.
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
    """Return where on the turn the marks sit: the densest places of the phases, one a mark, in turns."""
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


def fit_pattern(time: FloatArray, rate_hz: float, acceleration_hz_s: float, marks: int, jitter_s: float) -> Pattern | None:
    """Fit turning and places of the marks to the times of pulses, from a start that keeps step over them all.

    Linear least squares of the turn number: turn = f t + a t^2 / 2 - place of the mark. Pulses that stray are set
    aside and the fit repeated.
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
    solution, covariance, left = np.zeros(2), np.zeros((2, 2)), stray
    for _ in range(4):
        used = np.unique(mark[good])
        span = float(np.ptp(time[good])) * rate_hz if good.any() else 0.0
        free = 2 if span > 2.5 and good.sum() >= used.size + 3 else 1
        if good.sum() < used.size + free:
            return None
        columns = np.stack([time, time**2 / 2])[:free]
        centre, middle = _by_mark(columns, turn.astype(float), mark, good, marks)
        inner = (columns - centre)[:, good]
        square = inner @ inner.T
        scale = np.sqrt(np.diag(square))
        if not np.all(scale > 0):
            return None
        covariance = np.linalg.pinv(square / np.outer(scale, scale)) / np.outer(scale, scale)
        solution = covariance @ (inner @ (turn - middle)[good])
        left = (turn - middle) - solution @ (columns - centre)
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
    order = np.argsort(time[good])
    colour = _memory(left[good][order])
    occupied, missed = _occupied(time, turn, mark, good, rate, acceleration, marks)
    return Pattern(
        rate,
        acceleration,
        float(np.sqrt(covariance[0, 0] * variance * colour)),
        float(np.sqrt(covariance[1, 1] * variance * colour)) if solution.size == 2 else float("inf"),
        np.where(good, mark, -1),
        turn,
        float(np.sqrt(max(variance, 0.0))),
        float(good.mean()),
        occupied,
        missed,
        int((~good).sum()),
        _uneven(left[good][order], marks),
    )


def _by_mark(
    columns: FloatArray, turn: FloatArray, mark: IntArray, good: NDArray[np.bool_], marks: int
) -> tuple[FloatArray, FloatArray]:
    """Return the means of the columns and of the turn numbers over the good pulses of each pulse's mark."""
    count = np.maximum(np.bincount(mark[good], minlength=marks), 1)
    centre = np.stack([np.bincount(mark[good], weights=row[good], minlength=marks) / count for row in columns])
    middle = np.bincount(mark[good], weights=turn[good], minlength=marks) / count
    return centre[:, mark], middle[mark]


def _memory(left: FloatArray) -> float:
    """Return by how much the variance of a sum of residuals exceeds that of independent ones, from their correlation.

    Newey and West, Econometrica 55, 703 (1987), with a triangular window; never below one.
    """
    count = left.size
    power = float(left @ left)
    if count < 12 or power <= 0:
        return 1.0
    lags = int(max(2, round(count ** (1 / 3))))
    correlation = np.array([float(left[lag:] @ left[:-lag]) / power for lag in range(1, lags + 1)])
    factor = 1 + 2 * float(np.sum(correlation * (1 - np.arange(1, lags + 1) / (lags + 1))))
    # the estimate itself scatters by about sqrt(4 lags / 3 count): only what exceeds that is taken for memory
    return factor if factor > 1 + 2 * np.sqrt(4 * lags / 3 / count) else 1.0


def _uneven(left: FloatArray, marks: int) -> bool:
    """Tell whether the residual phase wanders: means of stretches stray more than chance and by over 0.4 % of a turn."""
    stretches = int(min(16, left.size // max(6, 2 * marks)))
    if stretches < 4:
        return False
    parts = np.array_split(left, stretches)
    means = np.array([float(np.mean(part)) for part in parts])
    chance = float(np.var(np.concatenate([part - np.mean(part) for part in parts]))) / (left.size / stretches)
    scatter = float(np.mean(means**2))
    return scatter > 6 * chance and scatter > 0.004**2


def _occupied(
    time: FloatArray, turn: IntArray, mark: IntArray, good: NDArray[np.bool_], rate: float, acceleration: float, marks: int
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


def grow_pattern(time: FloatArray, marks: int, jitter_s: float) -> Pattern | None:
    """Fit a pattern without a start: from the intervals of pulses one turn apart, then over ever longer stretches."""
    if time.size < marks + 2:
        return None
    spans = time[marks:] - time[:-marks]
    period = float(np.median(spans))
    if period <= 0:
        return None
    rate, acceleration, middle = 1 / period, 0.0, 0.0
    # begin where the pulses are most regular
    near = np.abs(spans / period - 1) < 0.1
    start = float(np.median(time[: spans.size][near])) if near.any() else float(np.median(time))
    reach = 3 * period
    pattern: Pattern | None = None
    whole = max(time[-1] - start, start - time[0])
    while True:
        inside = np.abs(time - start) <= reach
        if inside.sum() >= marks + 2:
            grown = fit_pattern(time[inside] - start, rate, acceleration if reach > 4 * period else 0.0, marks, jitter_s)
            if grown is not None and grown.explained > 0.5:
                pattern, rate = grown, grown.rate_hz
                significant = abs(grown.acceleration_hz_s) > 2 * grown.acceleration_u_hz_s
                acceleration = grown.acceleration_hz_s if significant else 0.0
        if reach >= whole:
            break
        reach *= 1.6
    del middle
    if pattern is None:
        return None
    rate_at_zero = rate - acceleration * start
    return fit_pattern(time, rate_at_zero, acceleration, marks, jitter_s)


def quality(pattern: Pattern | None) -> float:
    """Return how well a pattern accounts for its pulses, from 0 to 1."""
    return 0.0 if pattern is None else pattern.explained * min(pattern.occupied, 1.0)


def estimate_from_edges(
    voltage: FloatArray, interval_s: float, marks: int, pitch_s: float, start: tuple[float, float] | None
) -> tuple[MethodResult | None, Pulses | None, Pattern | None]:
    """Return the turn rate from the pulses of a trace, and the pulses and their pattern; None where there are none.

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
    pulses = find_pulses(voltage, interval_s, pitch_s)
    if pulses is None or pulses.time_s.size < 2:
        return None, pulses, None
    floor = 0.29 * interval_s / np.sqrt(2) if pulses.sharp else 0.0
    jitter = float(np.hypot(pulses.jitter_s, floor))
    trials: list[Pattern | None] = []
    if start is not None:
        trials.append(fit_pattern(pulses.time_s, start[0], start[1], marks, jitter))
    if quality(trials[0] if trials else None) < 0.9:
        trials.append(grow_pattern(pulses.time_s, marks, jitter))
    pattern = max(trials, key=quality)
    if pattern is None:
        return None, pulses, None
    duration = voltage.size * interval_s
    least = 0.3 * interval_s / duration * pattern.rate_hz if pulses.sharp and pattern.scatter < 0.15 * interval_s * pattern.rate_hz else 0.0
    result = MethodResult(
        pattern.rate_hz,
        float(np.hypot(pattern.rate_u_hz, least)),
        pattern.acceleration_hz_s,
        pattern.acceleration_u_hz_s,
        pulses.height_v / max(pulses.noise_v, np.finfo(float).tiny),
        quality(pattern),
        pattern.missed,
        pattern.extra,
        pattern.uneven,
    )
    return result, pulses, pattern
