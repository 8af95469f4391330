"""Check of a turn rate: how much of the trace it explains, and whether it is that of the mains.

A rate found in lines or pulses may be that of residual hum. A trace folded at a wrong rate is flat.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.comb import centred_time
from edgewind.signals.lines import decimate
from edgewind.signals.pulses import noise_of
from edgewind.signals.smooth import slow_part
from edgewind.signals.thresholds import (
    AS_MUCH,
    CLEARLY,
    COUNTED_NOISE,
    COUNTED_WIDTH,
    COUNTS,
    LEAST_OWN,
    MARKS_ALIKE,
    MARKS_GAIN,
    MARKS_REST,
    MARKS_TURNS,
    SCAN_FEW_GAIN,
    SCAN_FEW_STEP,
    SCAN_FEW_TURNS,
    SCAN_GAIN,
    SCAN_STEP,
    SCAN_TURNS,
    SECTORS,
    SPREAD,
)

FloatArray = NDArray[np.float64]


def explained_share(
    voltage: FloatArray,
    interval_s: float,
    rate_hz: float,
    acceleration_hz_s: float,
    marks: int,
    *,
    fine: bool = False,
    slowest_hz: float | None = None,
) -> float:
    """Return the share of a trace, without noise and baseline, that repeats from turn to turn.

    One-way analysis of variance over sectors of the turn: the sum of squares between sectors, less what noise alone
    has there, over all of it, less the noise.

    Parameters
    ----------
    voltage : array, shape (n,)
        Trace without hum.
    interval_s : float
        Time between samples, s.
    rate_hz, acceleration_hz_s : float
        Turning at the middle of the trace.
    marks : int
        Pulses a turn.
    fine : bool
        Whether components faster than the flanks of pulses, such as hum, count as well.
    slowest_hz : float, optional
        Below this all is baseline; the turn rate when left out.
    """
    turns = voltage.size * interval_s * (slowest_hz or rate_hz)
    coarse, step = voltage, interval_s
    if not fine:
        coarse, step = decimate(voltage, interval_s, min(SECTORS / 2 * rate_hz * marks, 0.35 / interval_s))
    coarse = coarse - slow_part(coarse, int(max(1, turns * 0.8))) if turns > 3 else coarse - _line(coarse)
    time = centred_time(coarse.size, step)
    phase = rate_hz * time + acceleration_hz_s * time**2 / 2
    phase -= np.floor(phase)
    sectors = int(min(SECTORS * marks, max(4, 1 / (rate_hz * step)), coarse.size / 4))
    place = np.minimum((phase * sectors).astype(np.int64), sectors - 1)
    count = np.maximum(np.bincount(place, minlength=sectors), 1)
    mean = np.bincount(place, weights=coarse, minlength=sectors) / count
    total = float(coarse @ coarse)
    rest = coarse - mean[place]
    # means over neighbours that leave few samples a pulse have differences of their own, which are no noise
    noise = min(noise_of(coarse) ** 2, noise_of(voltage) ** 2 / max(1, round(step / interval_s)))
    between = total - float(rest @ rest) - noise * sectors
    signal = total - noise * coarse.size
    if signal <= 0.02 * total:
        # little but noise: what the fold has over chance, in standard deviations of it
        return float(np.clip(between / max(4 * noise * np.sqrt(2 * sectors), 1e-300), 0, 1))
    return float(np.clip(between / signal, 0, 1))


def pulses_in(pattern: FloatArray, rise: float = 0.25, rest: float = 0.12) -> int:
    """Return how many times a closed pattern rises through a share of its height after having been below another."""
    low, high = np.percentile(pattern, 15), np.max(pattern)
    state = np.where(pattern > low + rise * (high - low), 1, np.where(pattern < low + rest * (high - low), -1, 0))
    states = state[state != 0]
    return int(np.sum((states == 1) & (np.roll(states, 1) == -1)))


def turns_in_one(voltage: FloatArray, interval_s: float, rate_hz: float, acceleration_hz_s: float, marks: int) -> int:
    """Return how many turns a supposed turn holds: two or three where a faster rate explains as much with its marks.

    A turn that repeats itself within the turn is either that of equal marks, or several turns of unequal ones. The mean
    over the shorter turn tells: it shows as many pulses as there are marks, low ones counted, in the second case alone.
    """
    if voltage.size * interval_s * rate_hz < 2:
        return 1
    own = explained_share(voltage, interval_s, rate_hz, acceleration_hz_s, marks)
    for times in (2, 3):
        faster = rate_hz * times
        if faster * marks * interval_s > 0.12:
            break
        share = explained_share(voltage, interval_s, faster, acceleration_hz_s * times, marks, slowest_hz=rate_hz)
        if share < AS_MUCH * own or own < 0.3:
            continue
        sectors = int(min(24 * marks, 0.5 / (faster * interval_s)))
        mean = _mean_turn(voltage, interval_s, faster, acceleration_hz_s * times, sectors)
        noise = noise_of(voltage) / np.sqrt(voltage.size / sectors)
        # noise makes pulses of its own, until it is smoothed as far as pulses allow
        width = int(np.ceil((noise / (COUNTED_NOISE * max(float(np.ptp(mean)), 1e-300))) ** 2))
        if width > COUNTED_WIDTH:
            continue
        mean, noise = _smoothed(mean, width), noise / np.sqrt(max(width, 1))
        if not any(pulses_in(side, *COUNTS[1]) == marks and _are_spread(side, marks) for side in (mean, -mean)):
            continue
        # a turn with as many pulses as marks is a single one
        whole = _smoothed(_mean_turn(voltage, interval_s, rate_hz, acceleration_hz_s, sectors * times), width)
        noise *= np.sqrt(times)
        clear = [level for level in COUNTS if noise < (level[0] - level[1]) / 4 * float(np.ptp(whole))]
        if marks * times in (pulses_in(side, *level) for side in (whole, -whole) for level in clear):
            return times
    return 1


def _are_spread(pattern: FloatArray, marks: int) -> bool:
    """Return whether the pulses of a closed pattern stand about a pitch apart: ringing stands right behind a pulse."""
    low, high = np.percentile(pattern, 15), np.max(pattern)
    above, below = (pattern > low + share * (high - low) for share in COUNTS[1])
    state = np.where(above, 1, np.where(below, 0, -1))
    known = np.flatnonzero(state)
    change = np.flatnonzero((state[known] == 1) & (np.roll(state[known], 1) == -1))
    back = np.flatnonzero((state[known] == -1) & (np.roll(state[known], 1) == 1))
    begin, end = known[change], known[back]
    if begin.size < 2 or end.size != begin.size:
        return True
    if end[0] < begin[0]:
        end = np.roll(end, -1)
    middle = begin + np.remainder(end - begin, pattern.size) / 2
    steps = np.remainder(np.diff(middle, append=middle[0]), pattern.size) * marks / pattern.size
    return bool(np.min(steps) > SPREAD)


def _smoothed(pattern: FloatArray, width: int) -> FloatArray:
    """Return the means over so many sectors of a closed pattern."""
    if width < 2:
        return pattern
    return np.asarray(np.convolve(np.tile(pattern, 3), np.ones(width) / width, "same")[pattern.size : 2 * pattern.size])


def _mean_turn(
    voltage: FloatArray, interval_s: float, rate_hz: float, acceleration_hz_s: float, sectors: int
) -> FloatArray:
    """Return the mean voltage in so many sectors of a turn; zero in those without samples."""
    time = centred_time(voltage.size, interval_s)
    phase = np.remainder(rate_hz * time + acceleration_hz_s * time**2 / 2, 1.0)
    place = np.minimum((phase * sectors).astype(np.int64), sectors - 1)
    count = np.maximum(np.bincount(place, minlength=sectors), 1)
    return np.asarray(np.bincount(place, weights=voltage, minlength=sectors) / count)


def other_rate(voltage: FloatArray, interval_s: float, rate_hz: float, acceleration_hz_s: float, marks: int) -> bool:
    """Return whether another rate of a trace of few turns, a half to twice as fast, explains clearly more of it.

    Of few turns a pulse too many or too few makes a pattern of its own. A part of the rate explains as much as the rate
    itself, and does not count.
    """
    turns = voltage.size * interval_s * rate_hz
    if turns > SCAN_TURNS:
        return False  # so many turns leave no room for another pattern
    highest = min(2 * SECTORS / 2 * rate_hz * marks, 0.35 / interval_s)
    coarse, step = decimate(voltage, interval_s, highest)
    own = explained_share(coarse, step, rate_hz, acceleration_hz_s, marks, slowest_hz=rate_hz / 2)
    if own > CLEARLY:
        return False
    # with very few turns two rates may explain equally much, and neither is sure
    few = turns < SCAN_FEW_TURNS
    step_of = SCAN_FEW_STEP / turns / marks if few else SCAN_STEP / turns / max(marks, 2)
    gain = SCAN_FEW_GAIN if few else SCAN_GAIN
    ratios = np.arange(0.75 if few else 0.55, 2.0, step_of)
    apart = np.abs(ratios - 1) * turns > 0.5
    for ratio in ratios[apart]:
        share = explained_share(coarse, step, float(rate_hz * ratio), 0.0, marks, slowest_hz=rate_hz / 2)
        if share > own + gain:
            return True
    return False


def likely_marks(voltage: FloatArray, interval_s: float, rate_hz: float, acceleration_hz_s: float, marks: int) -> int:
    """Return the number of marks that a trace of unequal ones shows: the given one, a multiple or a part of it.

    Marks taken for too few make a turn of only some of them, and their inequality is left over; the mean over the true
    turn takes it in. Marks taken for too many make several turns of one, which repeat one another.
    """
    duration = voltage.size * interval_s

    coarse, step = decimate(voltage, interval_s, min(SECTORS / 2 * rate_hz * marks, 0.35 / interval_s))

    def share(rate: float, pulses: int = marks) -> float:
        ratio = rate / rate_hz
        slowest = min(rate_hz / 3, rate)
        return explained_share(coarse, step, rate, acceleration_hz_s * ratio, pulses, fine=True, slowest_hz=slowest)

    own = share(rate_hz)
    if own < LEAST_OWN:
        return marks
    for times in (2, 3, 4):
        slower = rate_hz / times
        if slower * duration < MARKS_TURNS:
            break
        gain = share(slower, marks * times) - own
        if gain > max(MARKS_GAIN, MARKS_REST * (1 - own)):
            return marks * times
    for times in (2, 3):
        if marks % times or rate_hz * duration < MARKS_TURNS:
            continue
        faster = share(rate_hz * times)
        repeats = faster > own - MARKS_GAIN / 4 and marks > times and share(rate_hz * marks) < own - MARKS_GAIN
        if repeats and _left_over(voltage, interval_s, rate_hz, acceleration_hz_s, marks, times) < MARKS_ALIKE:
            return marks // times
    return marks


def _left_over(
    voltage: FloatArray, interval_s: float, rate_hz: float, acceleration_hz_s: float, marks: int, times: int
) -> float:
    """Return the power by which parts of a turn differ, over that by which the marks within a part do.

    A pattern that is the same in each of several parts of a turn has no harmonic of the turn but multiples of their
    number. Opposite marks of a rotor that are alike by chance leave more than marks that are one and the same.
    """
    time = centred_time(voltage.size, interval_s)
    turn = 2j * np.pi * (rate_hz * time + 0.5 * acceleration_hz_s * time**2)
    tapered = (voltage - np.mean(voltage)) * np.hanning(voltage.size)
    orders = np.arange(1, 3 * marks)
    power = np.array([abs(complex(tapered @ np.exp(-order * turn))) ** 2 for order in orders])
    within = float(power[(orders % times == 0) & (orders % marks != 0)].sum())
    return float(power[orders % times != 0].sum()) / within if within > 0 else np.inf


def _line(voltage: FloatArray) -> FloatArray:
    time = centred_time(voltage.size, 1.0)
    return np.asarray(np.mean(voltage) + time * float(time @ voltage) / float(time @ time))
