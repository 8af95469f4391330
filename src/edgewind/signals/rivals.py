"""Other turn rates that a trace allows: the rate found, compared with those in simple ratios to it.

Twice the rate explains as much as the rate itself if every second pulse is said to be missing, and half the rate does
if every second one is said to be none of the rotor's. So each is held against the trace as a whole: at every place of a
turn at that rate a pulse of one shape, of the height of its mark, or none. What is left over speaks against a rate, and
so does each pulse that has to be missing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.comb import centred_time
from edgewind.signals.lines import decimate
from edgewind.signals.pulses import noise_of
from edgewind.signals.smooth import slow_part
from edgewind.signals.thresholds import (
    RIVAL_BASELINE,
    RIVAL_CHANCE,
    RIVAL_CLEAR,
    RIVAL_MISSING,
    RIVAL_MOST_MISSING,
    RIVAL_PLACES,
    RIVAL_RATIOS,
    RIVAL_SAMPLES,
    RIVAL_SECTORS,
    RIVAL_SLACK,
    RIVAL_STRAY,
    RIVAL_STRUCTURE,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Rival:
    """A turn rate held against a trace.

    Attributes
    ----------
    ratio : float
        Of this rate to the one found.
    log_odds : float
        Logarithm of its odds against that.
    places, missing : int
        Places for pulses in the trace, and how many of them are empty.
    """

    ratio: float
    log_odds: float
    places: int
    missing: int


@dataclass(frozen=True)
class _Fit:
    rest: float
    places: int
    missing: int


def rivals_of(
    voltage: FloatArray, interval_s: float, rate_hz: float, acceleration_hz_s: float, marks: int
) -> tuple[Rival, ...]:
    """Return the rate found, first, and those in simple ratios to it, each with its odds.

    The likelihood is that of independent normal errors, whose variance is that of the white noise and of what the best
    of the rates leaves over beside it; the latter is alike over a part of a pulse, which so much counts as one error.
    The chance q of a missing pulse is unknown, of prior density (b + 1) (1 - q)^b: of n places k are empty with
    probability B(1 + k, b + 1 + n - k) / B(1, b + 1).

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
    """
    kept = int(min(voltage.size, RIVAL_PLACES / (rate_hz * marks * interval_s)))
    begin = (voltage.size - kept) // 2
    part = voltage[begin : begin + kept]
    duration = kept * interval_s
    coarse, step = decimate(part, interval_s, 0.35 * RIVAL_SAMPLES * rate_hz * marks)
    cells = int(max(1, RIVAL_BASELINE * duration * rate_hz * marks))
    coarse = coarse - slow_part(coarse, int(max(1, 0.4 * duration * rate_hz)))
    time = centred_time(coarse.size, step)
    fits: dict[float, _Fit] = {}
    for ratio in dict.fromkeys((*RIVAL_RATIOS, float(marks), 1 / marks)):
        rate = ratio * rate_hz
        if rate * marks * step > 0.2 or rate * duration < 1:
            continue
        pitches = rate * marks * time + ratio * acceleration_hz_s * marks * time**2 / 2
        fits[ratio] = _fitted(coarse, pitches, marks, cells)
    if 1.0 not in fits:
        return ()
    white = noise_of(voltage) ** 2 / max(1, round(step / interval_s))
    left = max(min(fit.rest for fit in fits.values()) / coarse.size - white, 0.0)
    scale = white + left / (rate_hz * marks * step) * RIVAL_STRUCTURE
    if not scale > 0:
        return ()
    likelihood = {ratio: -fit.rest / (2 * scale) + _of_missing(fit.places, fit.missing) for ratio, fit in fits.items()}
    return tuple(
        Rival(ratio, likelihood[ratio] - likelihood[1.0], fit.places, fit.missing) for ratio, fit in fits.items()
    )


def is_plausible(one: Rival) -> bool:
    """Tell whether no more pulses are missing at a rate than a tachometer that works loses."""
    return one.missing <= RIVAL_MOST_MISSING * one.places + RIVAL_SLACK


def doubtful(found: tuple[Rival, ...]) -> tuple[float, ...] | None:
    """Return the ratios of the rates that a trace allows beside the one found; None where it bears that one out.

    Another rate is possible where its odds are not clearly lower and no more pulses are missing at it than a
    tachometer loses. A rate at which more are missing, beyond what chance makes of so many places, is doubtful by
    itself.

    Parameters
    ----------
    found : tuple of Rival
        As `rivals_of` gives them.
    """
    if not found:
        return None
    own, others = found[0], found[1:]
    possible = tuple(
        one.ratio
        for one in sorted(others, key=lambda one: -one.log_odds)
        if one.log_odds > RIVAL_CLEAR and is_plausible(one)
    )
    spread = RIVAL_CHANCE * math.sqrt(own.places * RIVAL_MOST_MISSING * (1 - RIVAL_MOST_MISSING))
    return possible if possible or own.missing > RIVAL_MOST_MISSING * own.places + max(spread, RIVAL_SLACK) else None


def _of_missing(places: int, missing: int) -> float:
    """Return the logarithm of the probability that these of the places are empty, whatever the chance of one."""
    full = RIVAL_MISSING
    return _log_beta(1 + missing, full + places - missing) - _log_beta(1, full)


def _log_beta(one: float, other: float) -> float:
    return math.lgamma(one) + math.lgamma(other) - math.lgamma(one + other)


def _fitted(voltage: FloatArray, pitches: FloatArray, marks: int, cells: int) -> _Fit:
    """Fit pulses of one shape, rising and falling once, at the places of a turn; some of them missing.

    Parameters
    ----------
    voltage : array, shape (n,)
        Trace, pulses upwards or downwards.
    pitches : array, shape (n,)
        Angle turned, pitches between marks.
    marks : int
        Pulses a turn.
    cells : int
        Cosines of the baseline beneath the pulses, which is that of what they leave over.
    """
    rough = {sign: _pulses_fitted(sign * voltage, pitches, marks) for sign in (1, -1)}
    sign = min(rough, key=lambda one: rough[one][1].rest)
    return _pulses_fitted(sign * voltage - slow_part(rough[sign][0], cells), pitches, marks)[1]


def _pulses_fitted(voltage: FloatArray, pitches: FloatArray, marks: int) -> tuple[FloatArray, _Fit]:
    """Return what the best pulses at the places of a turn leave over, and how well they fit."""
    sectors, reach = RIVAL_SECTORS, RIVAL_STRAY
    turn = sectors * marks
    sector = np.floor(np.remainder(pitches, marks) * sectors).astype(np.int64) % turn
    mean = np.bincount(sector, weights=voltage, minlength=turn) / np.maximum(np.bincount(sector, minlength=turn), 1)
    mean = (np.roll(mean, 1) + 2 * mean + np.roll(mean, -1)) / 4
    highest = np.max([np.roll(mean, shift) for shift in range(-reach, reach + 1)], axis=0)
    first = int(np.argmax(highest.reshape(marks, sectors).sum(axis=0)))
    near = (first + sectors * np.arange(marks)[:, None] + np.arange(-reach, reach + 1)) % turn
    stray = (np.argmax(mean[near], axis=1) - reach) / sectors
    away = pitches - (first + 0.5) / sectors
    place = np.rint(away).astype(np.int64)
    away -= place + stray[np.remainder(place, marks)]
    begin = int(place.min())
    place -= begin
    count = int(place.max()) + 1
    mark = np.remainder(np.arange(begin, begin + count), marks)
    # the shape reaches as far as a place and the strays of two marks
    bins = sectors + 4 * reach
    along = np.clip(away * sectors + bins // 2, 0.5, bins - 0.5)
    cell = along.astype(np.int64)
    left = (along - 0.5).astype(np.int64)
    share = along - 0.5 - left
    left = np.minimum(left, bins - 2)
    held = np.bincount(place, minlength=count)
    whole = held > 0.6 * np.median(held)
    there = np.ones(count, dtype=bool)
    none = voltage, _Fit(float(voltage @ voltage), count, count)
    for _ in range(2):
        used = there[place]
        shape = _risen(
            np.bincount(cell[used], weights=voltage[used], minlength=bins), np.bincount(cell[used], minlength=bins)
        )
        if shape is None:
            return none
        wave = shape[left] + share * (shape[left + 1] - shape[left])
        level = float(np.mean(voltage[wave < 0.15])) if np.any(wave < 0.15) else 0.0
        size = np.bincount(place, weights=wave**2, minlength=count)
        height = np.bincount(place, weights=wave * (voltage - level), minlength=count) / np.maximum(size, 1e-12)
        usual = float(np.percentile(height[whole], 75))
        clear = whole & (height > 0.4 * usual)
        own = np.bincount(mark[clear], weights=height[clear], minlength=marks)
        number = np.bincount(mark[clear], minlength=marks)
        of_mark = np.where(number > 0, own / np.maximum(number, 1), usual)
        there = height > 0.5 * of_mark[mark]
        if not there.any():
            return none
    rest = voltage - level - np.where(there, of_mark[mark], 0.0)[place] * wave
    return rest, _Fit(float(rest @ rest), int(whole.sum()), int(np.sum(whole & ~there)))


def _risen(total: FloatArray, number: IntArray) -> FloatArray | None:
    """Return the mean shape of a pulse, forced to rise to its top and fall from it, from 0 to 1; None for none."""
    if not np.any(number):
        return None
    known = number > 0
    mean = np.where(known, total / np.maximum(number, 1), np.inf)
    mean = np.where(known, mean, np.min(mean))
    middle = mean.size // 2
    top = middle - RIVAL_STRAY + int(np.argmax(mean[middle - RIVAL_STRAY : middle + RIVAL_STRAY + 1]))
    mean[top:] = np.minimum.accumulate(mean[top:])
    mean[: top + 1] = np.minimum.accumulate(mean[: top + 1][::-1])[::-1]
    mean -= np.min(mean)
    return np.asarray(mean / mean[top]) if mean[top] > 0 else None
