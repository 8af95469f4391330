"""Pulses of a trace above its baseline, timed to a fraction of a sample."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.smooth import running_mean
from edgewind.signals.thresholds import (
    BASELINE_PITCHES,
    LEAST_STRENGTH,
    NOISE_SAMPLES,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


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
        Standard deviation of the time of one pulse due to this noise, seconds; without that due to sampling.
    lean : float
        Shift of the middle of a pulse over the change of its width, 0 to 0.5: zero for flanks that are mirror images.
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
    lean: float
    sharp: bool
    level_v: FloatArray
    interval_s: float


def noise_of(voltage: FloatArray) -> float:
    """Return the standard deviation of white noise under a smooth signal, from its second differences.

    The second difference of white noise has 6 times its variance; the median of the absolute value is 0.6745 of the
    standard deviation. Of long traces some thousands of samples tell it to a hundredth.
    """
    if voltage.size < 3:
        return 0.0
    stride = max(1, voltage.size // NOISE_SAMPLES)
    second = voltage[2::stride] - 2 * voltage[1:-1:stride] + voltage[:-2:stride]
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
        level, height = levelled(running_mean(voltage, width), length)
    pulses = _timed(level, interval_s, height, noise / np.sqrt(width), width)
    if pulses is None or pulses.sharp:
        return pulses
    wider = int(0.3 * float(np.median(pulses.width_s)) / interval_s)
    if wider < 2 * width or noise < 1e-4 * height:
        return pulses
    level, height = levelled(running_mean(voltage, wider), length)
    return _timed(level, interval_s, height, noise / np.sqrt(wider), 0)


def levelled(voltage: FloatArray, length: int) -> tuple[FloatArray, float]:
    """Return the voltage above its baseline, and the height of the lower pulses, from blocks of so many samples."""
    middle, low, _, _ = block_levels(voltage, length)
    level = voltage - np.interp(np.arange(voltage.size), middle, low)
    # one pulse a block: else a low pulse would hide behind a high neighbour
    tops = block_levels(level, max(4, int(length / BASELINE_PITCHES)))[2]
    lower, upper = (float(one) for one in np.percentile(tops, (20, 80)))
    return level, max(lower, 0.3 * upper)


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
    up, down = (abs(float(np.median(slope[begin::2]))) for begin in (skip, skip + 1))
    lean = 0.5 * abs(up - down) / max(up + down, np.finfo(float).tiny)
    jump = float(np.median(np.abs(step)))
    # a smooth pulse rises by a quarter of its height at most over 0.15 of its width
    narrow = smoothed <= max(1, 0.15 * float(np.median(fall - rise)))
    sharp = smoothed > 0 and narrow and jump * smoothed > 0.6 * height
    if sharp:
        # between two samples that both are noisy a crossing errs by 0.7 of the noise of one
        jitter = noise / jump * interval_s * (0.5 if smoothed == 1 else float(np.sqrt(0.5)))
    time = ((rise + fall) / 2 - (level.size - 1) / 2) * interval_s
    return Pulses(time, (fall - rise) * interval_s, height, noise, jitter, lean, sharp, level, interval_s)
