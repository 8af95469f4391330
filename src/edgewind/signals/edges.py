"""Turn rate from edges: when each pulse passes, to a fraction of a sample, and which mark it is."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from edgewind.signals.method import MethodResult
from edgewind.signals.presence import Turning, empty_places, stands_out

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

BASELINE_PITCHES = 2.0
LEAST_STRENGTH = 5.0
ROUNDING_ORDERS = 16
DRIFT_NODES = (np.array([-2.857, -1.3556, 0.0, 1.3556, 2.857]), np.array([0.01126, 0.22208, 0.53333, 0.22208, 0.01126]))
"""Gauss-Hermite nodes and weights for the mean over a normal distribution."""


@dataclass(frozen=True)
class Pulses:
    """Pulses found in a trace.

    Attributes
    ----------
    time_s : array
        Middle of each pulse, from the middle of the trace, seconds.
    width_s : array
        Width of each pulse at the threshold, seconds.
    height_v : float
        Typical height of the lower pulses, volts.
    noise_v : float
        Standard deviation of the noise after smoothing, volts.
    jitter_s : float
        Standard deviation of the time of one pulse that this noise makes, seconds; without that of the sampling.
    sharp : bool
        Whether pulses rise within one sample, so that the sampling rather than the noise limits their times.
    level_v : array
        The trace they were found in: above its baseline, pulses upwards, smoothed, volts.
    interval_s : float
        Time between its samples, seconds.
    """

    time_s: FloatArray
    width_s: FloatArray
    height_v: float
    noise_v: float
    jitter_s: float
    sharp: bool
    level_v: FloatArray
    interval_s: float


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
    middle = np.asarray((np.arange(count) + 0.5) * length - 0.5, dtype=np.float64)
    return middle, blocks[:, int(0.2 * (length - 1))], blocks[:, length - 1 - edge], blocks[:, edge]


def find_pulses(voltage: FloatArray, interval_s: float, pitch_s: float) -> Pulses | None:
    """Return the pulses of a trace in which one is expected about every `pitch_s`; None where none stand out.

    The baseline is the lower fifth of the voltage, block by block; the thresholds lie about half the height of the
    lower pulses, as far apart as the noise asks. Noise is first smoothed as far as the pulses allow: until it is a
    fourteenth of the height, then by up to a third of the width of the pulses found.
    """
    pitch = pitch_s / interval_s
    length = int(np.clip(BASELINE_PITCHES * pitch, 8, voltage.size))
    _, _, high, least = block_levels(voltage, length)
    centre = float(np.median(voltage))
    if float(np.median(high)) - centre < centre - float(np.median(least)):
        voltage = -voltage
    noise = noise_of(voltage)
    level, height = levelled(voltage, length)
    if height <= 0:
        return None
    width = int(np.clip((14 * noise / height) ** 2, 1, max(1, 0.12 * pitch)))
    if width > 1:
        level, height = levelled(uniform_filter1d(voltage, width, mode="nearest"), length)
    pulses = _timed(level, interval_s, height, noise / np.sqrt(width), width)
    if pulses is None or pulses.sharp:
        return pulses
    wider = int(0.3 * float(np.median(pulses.width_s)) / interval_s)
    if wider < 2 * width or noise < 1e-4 * height:
        return pulses
    level, height = levelled(uniform_filter1d(voltage, wider, mode="nearest"), length)
    return _timed(level, interval_s, height, noise / np.sqrt(wider), 0)


def levelled(voltage: FloatArray, length: int) -> tuple[FloatArray, float]:
    """Return the voltage above its baseline, and the height of the lower pulses, from blocks of so many samples."""
    middle, low, _, _ = block_levels(voltage, length)
    level = voltage - np.interp(np.arange(voltage.size), middle, low)
    # one pulse a block: else a low pulse would hide behind a high neighbour
    tops = block_levels(level, max(4, int(length / BASELINE_PITCHES)))[2]
    return level, max(float(np.percentile(tops, 20)), 0.3 * float(np.percentile(tops, 80)))


def _timed(level: FloatArray, interval_s: float, height: float, noise: float, smoothed: int) -> Pulses | None:
    """Time the pulses of a trace whose baseline is zero, each by the mean of its crossings of half the height.

    A trace smoothed over so many samples rises over as many where it rose within one; with zero that is not asked. A
    slow baseline moves the two crossings of a pulse in opposite directions, and their mean hardly at all.
    """
    if height < LEAST_STRENGTH * noise or height <= 0:
        return None
    gap = float(np.clip(2.5 * noise, 0.12 * height, 0.35 * height))
    above = level - 0.5 * height
    state = np.where(above > gap, 1, np.where(above < -gap, -1, 0))
    certain = np.flatnonzero(state)
    change = np.flatnonzero(np.diff(state[certain]))
    if change.size < 2:
        return None
    begin, end = certain[change], certain[change + 1]
    crossings = np.flatnonzero((above[:-1] < 0) != (above[1:] < 0))
    # where noise crosses more than once between the two thresholds, the middle one
    first, last = np.searchsorted(crossings, begin), np.searchsorted(crossings, end) - 1
    place = crossings[(first + last) // 2]
    step = above[place + 1] - above[place]
    cross = place - above[place] / step
    skip = int(state[begin[0]] > 0)
    rise, fall = cross[skip::2], cross[skip + 1 :: 2]
    rise = rise[: fall.size]
    if rise.size == 0:
        return None
    reach = max(1, int(0.15 * float(np.median(fall - rise))))
    slope = (level[np.minimum(place + 1 + reach, level.size - 1)] - level[np.maximum(place - reach, 0)]) / (
        1 + 2 * reach
    )
    steep = float(np.median(np.abs(slope)))
    jitter = noise / max(steep, np.finfo(float).tiny) / np.sqrt(2) * interval_s
    jump = float(np.median(np.abs(step)))
    # a smooth pulse rises by a quarter of its height at most over 0.15 of its width
    narrow = smoothed <= max(1, 0.15 * float(np.median(fall - rise)))
    sharp = smoothed > 0 and narrow and jump * smoothed > 0.6 * height
    if sharp:
        # between two samples that both are noisy a crossing errs by 0.7 of the noise of one
        jitter = noise / jump * interval_s * (0.5 if smoothed == 1 else float(np.sqrt(0.5)))
    time = ((rise + fall) / 2 - (level.size - 1) / 2) * interval_s
    return Pulses(time, (fall - rise) * interval_s, height, noise, jitter, sharp, level, interval_s)


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


@dataclass(frozen=True)
class Rounding:
    """How the edges of sharp pulses are rounded.

    Attributes
    ----------
    interval_s : float
        To whole multiples of this time.
    width_s : array
        Width of each pulse, seconds.
    """

    interval_s: float
    width_s: FloatArray


def rounding_error(
    weights: FloatArray, time: FloatArray, width: FloatArray, mark: IntArray, marks: int
) -> tuple[FloatArray, float]:
    """Return the standard error that the rounding of edges to whole samples gives weighted sums of times of pulses.

    The error of an edge at x samples is a sawtooth of x, sum_h sin(2 pi h x) / (pi h) up to sign. Its phase is unknown,
    but from turn to turn it goes on as x does, so that the errors of one mark are anything but independent: they nearly
    cancel, or, where a turn takes nearly a simple fraction of a sample more than a whole number, add up. The mean over
    the phases of the square of sum_k w_k e_k is, for one mark,

        sum_h |sum_k w_k exp(2 pi i h x_k)|^2 / (2 pi^2 h^2) cos^2(pi h W)

    where W is the width of its pulses in samples, whose two edges have part each in the time of a pulse. The turning is
    itself known to a part of a sample only, and pulses in step with the sampling would else seem free of error: the
    mean is taken over what is open as well.

    Parameters
    ----------
    weights : array, shape (p, n)
        Of each pulse in each of the sums.
    time, width : arrays, shape (n,)
        When the pulses would pass if they turned exactly as fitted, and how wide they are, samples.
    mark : array of int, shape (n,)
        Which mark each pulse belongs to.
    marks : int
        Number of marks.

    Returns
    -------
    errors : array, shape (p,)
        Of the sums, samples.
    variance : float
        Of the time of one pulse, samples squared: 1/24 if the two edges have nothing to do with each other.
    """
    # of m marks that all stay within a sample over the trace, the drift left open has the density (1 - |x|)^(2 m);
    # of n pulses with independent errors the standard deviation sqrt(12 / n) / sqrt(24)
    open_drift = np.sqrt(2 / ((2 * marks + 2) * (2 * marks + 3)) + 0.5 / time.size)
    span = max(float(np.ptp(time)), 1.0)
    nodes, shares = DRIFT_NODES
    base = np.exp(2j * np.pi * np.remainder(time + (nodes * open_drift)[:, None] * (time / span), 1.0))
    mine = mark == np.arange(marks)[:, None]
    own = mine * weights[:, None, :]
    count = np.maximum(np.sum(mine, axis=1), 1)
    mean_width = (mine @ width) / count
    harmonics = np.arange(1, ROUNDING_ORDERS + 1)[:, None]
    share = 1 / (2 * np.pi**2 * harmonics**2)
    # the mean width is itself that of rounded ones, each of variance 1/6
    blur = np.exp(-2 * np.pi**2 * harmonics**2 / (6 * count))
    alike = 0.5 * (1 + np.cos(2 * np.pi * harmonics * mean_width) * blur)
    beyond = (1 / 12 - float(np.sum(share))) / 2
    variance = beyond * np.sum(weights**2, axis=1)[:, None] * np.ones(nodes.size)
    wave = np.ones_like(base)
    for order in range(ROUNDING_ORDERS):
        wave = wave * base
        variance += np.einsum("pmd,m->pd", np.abs(own @ wave.T) ** 2, share[order] * alike[order])
    single = beyond + float(np.sum(share * alike * count) / np.sum(count))
    return np.asarray(np.sqrt(variance @ shares)), single


def fit_pattern(
    time: FloatArray,
    rate_hz: float,
    acceleration_hz_s: float,
    marks: int,
    jitter_s: float,
    rounding: Rounding | None = None,
) -> Pattern | None:
    """Fit turning and places of the marks to the times of pulses, from a start that keeps step over them all.

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
        variance *= student_factor(freedom + 3 * (freedom < 8)) ** 2
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

    Values to 0.5 % from t(1 + 0.59 / (nu - 0.57)), fitted to the table G.2 of JCGM 100:2008 (1.84 at 1, 1.32 at 2).
    """
    return 1 + 0.59 / (freedom - 0.3) ** 1.05 if freedom >= 1 else 1.84


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
    return max(factor, 1.0)


def _uneven(time: FloatArray, left: FloatArray, marks: int, rate_hz: float) -> bool:
    """Tell whether the residual phase wanders, by the lines through it stretch by stretch.

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
    """Return how well a pattern accounts for its pulses, from 0 to 1."""
    return 0.0 if pattern is None else pattern.explained * min(pattern.occupied, 1.0)


@dataclass(frozen=True)
class EdgeEstimate:
    """What the pulses of a trace say.

    Attributes
    ----------
    result : MethodResult or None
        Turn rate, where a pattern was found.
    pulses : Pulses or None
        The pulses, where any stand out.
    quality : float
        How well one pattern accounts for them, from 0 to 1.
    sure : bool
        Whether the pattern is one that chance does not make.
    """

    result: MethodResult | None = None
    pulses: Pulses | None = None
    quality: float = 0.0
    sure: bool = False


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
    # a slip leaves pulses over; dropouts only leave places empty
    if pattern is None or pattern.uneven or pattern.explained < 0.9:
        pieces = in_stretches(pulses, marks, jitter)
        if pieces is not None and quality(pieces) > min(quality(pattern) + 0.05, 0.95):
            return _seen(pulses, pieces, sure=True)
    if pattern is None or not is_sure(pattern, marks, jitter):
        return few_pulses(pulses, marks, jitter, duration) or _seen(pulses, pattern)
    pattern = looked_at_again(pattern, pulses, np.arange(pulses.time_s.size), 0.0, marks)
    # a few thousandths of a sample over the trace are as much as is ever claimed
    return _seen(pulses, pattern, 0.003 * interval_s / duration * pattern.rate_hz, sure=True)


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
    """Return the pattern with only those pulses counted as missing, or as too many, which the trace itself shows so.

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


def is_sure(pattern: Pattern, marks: int, jitter_s: float) -> bool:
    """Tell whether a pattern is one that chance does not make: most pulses on it, most places filled, little scatter.

    Pulses at random times would lie within a fifth of the pitch of a place with a scatter of 0.11 of the pitch. Bumps
    of a wandering baseline keep step for a while: of few pulses it is asked that they scatter as the noise makes them.
    """
    used = int(np.sum(pattern.mark >= 0))
    if used < marks + 3 or pattern.explained < 0.7 or quality(pattern) < 0.55 or pattern.scatter * marks > 0.06:
        return False
    if used >= 3 * marks + 16:
        return True
    return quality(pattern) > 0.8 and pattern.scatter < max(4 * jitter_s * pattern.rate_hz, 0.008 / marks)


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


def few_pulses(pulses: Pulses, marks: int, jitter_s: float, duration_s: float) -> EdgeEstimate | None:
    """Return the turn rate from pulses too few for a pattern, taking the marks as evenly spaced; None if they are not.

    Where the pulses reach past a whole turn, those one turn apart give the rate without that assumption. Else the
    uncertainty of the places of the marks, at least 4 % of the pitch, goes into that of the rate.
    """
    time = pulses.time_s
    count = time.size
    if not 3 <= count <= 2 * marks + 3 or pulses.height_v < 8 * pulses.noise_v:
        return None
    steps = np.diff(time)
    pitch = float(np.mean(steps))
    even = float(np.max(np.abs(steps / pitch - 1))) < 0.35
    # bumps of a wandering baseline are broad, and of unequal breadth
    narrowest, broadest = float(np.min(pulses.width_s)), float(np.max(pulses.width_s))
    alike = broadest < 1.35 * narrowest and broadest < 0.45 * pitch
    filled = count * pitch > 0.6 * duration_s
    if not (even and alike and filled):
        return None
    if count > marks:
        turns = time[marks:] - time[:-marks]
        period, spread = float(np.mean(turns)), float(np.std(turns))
        u_period = float(np.hypot(np.sqrt(2) * jitter_s, spread * 1.3)) / np.sqrt(turns.size)
    else:
        place = np.arange(count) - (count - 1) / 2
        slope = float(place @ time / (place @ place))
        left = time - np.mean(time) - slope * place
        spread = float(np.sqrt(left @ left / (count - 2)))
        period = marks * slope
        u_period = marks * float(np.hypot(spread * (1.3 if count > 3 else 2.0), 0.04 * slope)) / np.sqrt(place @ place)
    rate = 1 / period
    strength = float(pulses.height_v / max(pulses.noise_v, 1e-12 * pulses.height_v))
    result = MethodResult(rate, float(rate * u_period / period), 0.0, float("inf"), strength, 1.0)
    return EdgeEstimate(result, pulses, 1.0, sure=True)
