"""Faults of a recording that the speed does not show: pulses at the rails, pulses too fast for the sampling."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.lines import LineSpectrum, peaks
from edgewind.signals.thresholds import (
    LEAST_FOLDED,
    NEAR_NYQUIST,
    RAIL_RUN,
    RAIL_SHARE,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


def is_clipped(voltage: FloatArray) -> bool:
    """Return whether pulses are flattened at a rail of the recorder.

    A rail leaves runs of samples that all equal the greatest (or least) value. So does the output of a logic gate, and
    so may a smooth pulse in coarse steps of the converter. A rail differs in that it cuts: the signal reaches it with
    noise, or with a slope, that ends from one sample to the next.

    - A trace that is as still away from the extreme as at it, and jumps between the two, is a logic signal: no fault.
    - A smooth pulse in coarse steps comes to its top in ever smaller steps: no fault.
    - Noise seen elsewhere but not at the extreme, or a rise that stops short at full slope: clipped.

    A rectangle of a logic gate recorded without noise, and clipped as well, cannot be distinguished from one that is
    not.
    """
    return _cut_at_top(voltage) or _cut_at_top(-voltage)


def _cut_at_top(voltage: FloatArray) -> bool:
    top = float(np.max(voltage))
    at_top = voltage == top
    if np.mean(at_top) < RAIL_SHARE:
        return False
    edge = np.diff(at_top.astype(np.int8), prepend=0, append=0)
    begin, end = np.flatnonzero(edge == 1), np.flatnonzero(edge == -1)
    long = (end - begin >= RAIL_RUN) & (begin > 0)
    if not long.any() or np.sum((end - begin)[long]) < 0.5 * at_top.sum():
        return False
    begin, end = begin[long], end[long]
    steps = np.abs(np.diff(voltage))
    elsewhere = steps[~(at_top[1:] | at_top[:-1])]
    moving = elsewhere[elsewhere > 0]
    if moving.size == 0:
        return False
    swing = top - float(np.median(voltage)) or float(np.ptp(voltage))
    abrupt = float(np.median(voltage[begin] - voltage[begin - 1])) > 0.4 * swing
    if moving.size > 0.5 * elsewhere.size:
        noisy = float(np.median(moving)) > 1.5 * float(np.min(moving))
        return noisy if abrupt else noisy or _slope_stops(voltage, begin, end)
    return not abrupt and _slope_stops(voltage, begin, end)


def _slope_stops(voltage: FloatArray, begin: IntArray, end: IntArray) -> bool:
    """Return whether the rise to a level stops short there: a long stay at it after hardly any on the step before it.

    A smooth top in steps of the converter stays at most 4.8 times as long on its highest step as on the one before, by
    the parabola.
    """
    ratios, slopes = [], []
    for first, last in zip(begin[:50].tolist(), end[:50].tolist(), strict=True):
        stay = last - first
        before = voltage[max(0, first - 4 * stay) : first]
        if before.size < 4:
            continue
        other = np.flatnonzero(before != before[-1])
        ratios.append(stay / (before.size - 1 - other[-1] if other.size else before.size))
        width = int(np.clip(stay // 8, 1, before.size - 2))
        rise = before[width:] - before[:-width]
        slopes.append((voltage[first] - before[-width]) / max(float(np.max(rise)), np.finfo(float).tiny))
    return bool(ratios) and float(np.median(ratios)) > 10 and float(np.median(slopes)) > 0.3


def is_aliased(lines: LineSpectrum, rate_hz: float, marks: int, highest_hz: float) -> bool:
    """Return whether the pulse rate may be other than it seems because the samples are too far apart.

    It may be if the pulse rate lies above 0.8 of half the sample rate; if fewer than five samples fall on a
    pulse period and harmonics folded back from above half the sample rate are strong, so that the recorder had no
    filter against them; and if unequal marks leave lines that fit a turn rate of a pulse rate beyond half the sample
    rate but not the one seen. Equal marks above half the sample rate, seen as a slow pure tone, look exactly like one.
    """
    pulse = rate_hz * marks
    if pulse > NEAR_NYQUIST * highest_hz:
        return True
    orders = np.arange(2.0, 5.0)
    folded = orders * pulse > highest_hz
    main = float(lines.at(np.array([pulse]))[0])
    if pulse > 0.4 * highest_hz and folded.any() and float(np.sum(lines.at(orders * pulse)[folded])) > 0.1 * main:
        return True
    return _fits_faster(lines, rate_hz, marks, highest_hz)


def _fits_faster(lines: LineSpectrum, rate_hz: float, marks: int, highest_hz: float) -> bool:
    """Return whether a pulse rate beyond half the sample rate explains lines that the one seen leaves over."""
    found = peaks(lines)
    if found.size < 3 or rate_hz * marks < LEAST_FOLDED * highest_hz:
        return False
    power = lines.at(found)
    sample_rate = 2 * highest_hz
    seen = found[:3, None]
    faster = np.concatenate([sample_rate - seen, sample_rate + seen, 2 * sample_rate - seen]).ravel() / marks
    left_over = 1 - _share(found, power, rate_hz, marks, sample_rate, lines.step_hz)
    best = max(_share(found, power, float(rate), marks, sample_rate, lines.step_hz) for rate in faster)
    return left_over > 0.02 and left_over > 5 * (1 - best)


def _share(
    found: FloatArray, power: FloatArray, rate_hz: float, marks: int, sample_rate: float, step_hz: float
) -> float:
    """Return the share of the power in lines that lies on the comb of a turn rate, folded at half the sample rate.

    Steep pulses have harmonics of the pulse rate up to half the sample rate and beyond. Where a pulse takes a whole
    number of samples these fold onto each other, and a comb that leaves them out would be beaten by any that does not.
    """
    steep = marks * np.arange(11, int(sample_rate / (rate_hz * marks)) + 1)
    comb = np.concatenate([np.arange(1, 10 * marks + 1), steep]) * rate_hz
    folded = np.abs(comb - sample_rate * np.rint(comb / sample_rate))
    near = np.min(np.abs(found[:, None] - folded[None, :]), axis=1) < 1.5 * step_hz
    return float(np.sum(power[near]) / np.sum(power))
