"""Comparison of the turn rate found with those in simple ratios to it.

Twice the rate explains as much as the rate itself if every second pulse is assumed missing, and half the rate if every
second pulse is assumed foreign. Each rate is therefore compared with the whole trace: at each place of a turn at that
rate there is a pulse of one shape, with the height of its mark, or none. Residuals are evidence against a rate, and so
is each missing pulse.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.comb import centred_time
from edgewind.signals.lines import decimate
from edgewind.signals.pulses import noise_of
from edgewind.signals.smooth import slow_part
from edgewind.signals.thresholds import (
    CLEARLY,
    CONTESTED,
    LIKELY_CHANCE,
    MAINS_ORDERS,
    RIVAL_ALL,
    RIVAL_BASELINE,
    RIVAL_CHANCE,
    RIVAL_EXPLAINED,
    RIVAL_FASTEST,
    RIVAL_FEW,
    RIVAL_HALF_MISSING,
    RIVAL_LEAST,
    RIVAL_LESS,
    RIVAL_MISSING,
    RIVAL_MOST,
    RIVAL_MOST_HUM,
    RIVAL_MOST_MISSING,
    RIVAL_PAIRED,
    RIVAL_RATIOS,
    RIVAL_REGULAR,
    RIVAL_SAMPLES,
    RIVAL_SCARCE,
    RIVAL_SCARCE_MISSING,
    RIVAL_SECTORS,
    RIVAL_SLACK,
    RIVAL_STRAY,
    RIVAL_STRUCTURE,
    RIVAL_TURNS,
    RIVAL_UNEVEN,
    RIVAL_UNSHOWN,
    SAME_RATE,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Rival:
    """A turn rate compared with a trace.

    Attributes
    ----------
    ratio : float
        Of this rate to the one found.
    log_odds : float
        Logarithm of its odds against that.
    places, missing : int
        Places for pulses in the trace, and how many of them are empty.
    explained : float
        Share of the trace, white noise left out, that pulses at this rate explain.
    stray : float
        Standard deviation of the marks about even places, pitches.
    regular : bool
        Whether every second place or so is empty, and hardly another: these are gaps of a slower turn, not of chance.
    """

    ratio: float
    log_odds: float
    places: int
    missing: int
    explained: float
    stray: float
    regular: bool = False


@dataclass(frozen=True)
class _RateFit:
    rest: float
    places: int
    missing: int
    stray: float = 0.0
    regular: bool = False


def rivals_of(
    voltage: FloatArray,
    interval_s: float,
    rate_hz: float,
    acceleration_hz_s: float,
    marks: int,
    mains_hz: float | None = None,
    ratios: tuple[float, ...] = RIVAL_RATIOS,
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
    mains_hz : float, optional
        Frequency of a hum that is still in the trace: it is fitted beside the pulses of each rate, since what is taken
        out for it beforehand may be a line of the pulses.
    ratios : tuple of float
        Ratios of the rates to the one found; 1 is one of them.
    """
    if mains_hz is not None:
        # what was taken for the mains may be the line of the pulses, the second of theirs, or half of it
        lines = (mains_hz / (rate_hz * marks) * np.array([1.0, 0.5, 2.0])).tolist()
        known = np.array(ratios)
        ratios += tuple(one for one in lines if 1 < one < RIVAL_FASTEST and min(abs(one / known - 1)) > SAME_RATE)
    samples = max(RIVAL_SAMPLES, RIVAL_LEAST * max(ratios))
    most = RIVAL_MOST if mains_hz is None else RIVAL_MOST_HUM
    kept = int(min(voltage.size, most / samples / (rate_hz * marks * interval_s)))
    begin = (voltage.size - kept) // 2
    part = voltage[begin : begin + kept]
    duration = kept * interval_s
    coarse, step = decimate(part, interval_s, 0.35 * samples * rate_hz * marks)
    cells = int(max(1, RIVAL_BASELINE * duration * rate_hz * marks))
    coarse = coarse - slow_part(coarse, int(max(1, 0.4 * duration * rate_hz)))
    time = centred_time(coarse.size, step)
    hum = None if mains_hz is None else _waves(time, step, mains_hz)
    fits: dict[float, _RateFit] = {}
    for ratio in dict.fromkeys(ratios):
        rate = ratio * rate_hz
        if rate * marks * step * RIVAL_LEAST > 1 or rate * duration < 1:
            continue
        pitches = rate * marks * time + ratio * acceleration_hz_s * marks * time**2 / 2
        fits[ratio] = _fitted(coarse, pitches, marks, cells, hum)
    if 1.0 not in fits:
        return ()
    white = noise_of(voltage) ** 2 / max(1, round(step / interval_s))
    left = max(min(fit.rest for fit in fits.values()) / coarse.size - white, 0.0)
    scale = white + left / (rate_hz * marks * step) * RIVAL_STRUCTURE
    if not scale > 0:
        return ()
    likelihood = {ratio: -fit.rest / (2 * scale) + _of_missing(fit.places, fit.missing) for ratio, fit in fits.items()}
    noise = white * coarse.size
    shown = coarse if hum is None else coarse - _of_waves(hum, coarse)
    power = float(shown @ shown)
    signal = max(power - noise, 1e-6 * power)  # noise alone explains nothing
    return tuple(
        Rival(
            ratio,
            likelihood[ratio] - likelihood[1.0],
            fit.places,
            fit.missing,
            1 - max(fit.rest - noise, 0.0) / signal,
            fit.stray,
            fit.regular,
        )
        for ratio, fit in fits.items()
    )


def is_plausible(one: Rival) -> bool:
    """Return whether no more pulses are missing at a rate than usual, and its marks are not set in pairs."""
    return one.stray < RIVAL_UNEVEN and one.missing <= RIVAL_MOST_MISSING * one.places + RIVAL_SLACK


def doubtful(found: tuple[Rival, ...], even: bool = False) -> tuple[float, ...] | None:
    """Return the ratios of the other rates that a trace allows; None if it confirms the one found.

    Another rate is possible where it is likelier, and no more pulses are missing at it than a tachometer loses; a
    faster one, if the one found leaves pulses over. A rate at which more are missing, beyond what chance makes of so
    many places, is doubtful by itself.

    Parameters
    ----------
    found : tuple of Rival
        As `rivals_of` gives them.
    even : bool
        Whether the pulses stand at even places at the rate found, which chance does not make.
    """
    if not found:
        return None
    own, *others = found
    scarce = own.places - own.missing < RIVAL_SCARCE

    def least(one: Rival) -> float:
        if one.ratio < 1 and not one.missing and not scarce:
            # two bumps a pulse stand at even places, too: where all are there at either, neither is sure
            return -CONTESTED
        # so few pulses stand at even places by chance as well
        slower = one.ratio < 1 and not one.missing and own.missing != 1
        return LIKELY_CHANCE if even and not slower else 0.0

    def allowed(one: Rival) -> bool:
        return (is_plausible(one) or _loses_less(one, own)) and (one.ratio < 1 or _leaves_less(one, own))

    ordered = sorted(others, key=lambda one: -one.log_odds)
    possible = tuple(one.ratio for one in ordered if one.log_odds > least(one) and allowed(one))
    if own.regular:
        return possible or tuple(one.ratio for one in others if one.ratio < 1 and not one.missing)
    most = RIVAL_SCARCE_MISSING if scarce and not even else RIVAL_HALF_MISSING
    if (scarce or not even) and own.missing > most * own.places:
        return possible  # pulses with gaps between them fit other numbers of empty places as well
    if not possible and own.stray >= RIVAL_UNEVEN and own.missing > RIVAL_MOST_MISSING * own.places + RIVAL_SLACK:
        # marks set in pairs, and many of them absent: of few pulses, chance makes such a pattern of a slower turn
        possible = tuple(
            one.ratio for one in ordered if one.ratio < 1 and one.log_odds > -RIVAL_PAIRED and is_plausible(one)
        )
    if not possible and own.explained < RIVAL_UNSHOWN:
        # the likeliest may have lost more pulses than a tachometer does, but this one shows hardly anything
        possible = tuple(one.ratio for one in others if one.log_odds > LIKELY_CHANCE)
    spread = RIVAL_CHANCE * math.sqrt(own.places * RIVAL_MOST_MISSING * (1 - RIVAL_MOST_MISSING))
    return possible if possible or own.missing > RIVAL_MOST_MISSING * own.places + max(spread, RIVAL_SLACK) else None


def _loses_less(one: Rival, own: Rival) -> bool:
    """Return whether a clearly likelier rate has no larger a share of its places empty than the one found."""
    fewer = one.missing * own.places <= own.missing * one.places
    return one.log_odds > LIKELY_CHANCE and one.stray < RIVAL_UNEVEN and fewer


def _leaves_less(faster: Rival, own: Rival) -> bool:
    """Return whether a faster rate explains pulses that the one found leaves over, and not only their shape."""
    return own.explained < CLEARLY and 1 - faster.explained < RIVAL_LESS * (1 - own.explained)


def holds_alone(voltage: FloatArray, interval_s: float, rate_hz: float, acceleration_hz_s: float, marks: int) -> bool:
    """Return whether a trace as recorded, with its hum, has a pulse at nearly each place of a turn, and no others.

    Parameters
    ----------
    voltage, interval_s, rate_hz, acceleration_hz_s, marks : as in `rivals_of`
    """
    found = rivals_of(voltage, interval_s, rate_hz, acceleration_hz_s, marks, ratios=(1.0,))
    return bool(found) and found[0].missing < RIVAL_FEW * found[0].places and found[0].explained > RIVAL_EXPLAINED


def _of_missing(places: int, missing: int) -> float:
    """Return the logarithm of the probability that these of the places are empty, whatever the chance of one."""
    full = RIVAL_MISSING
    return _log_beta(1 + missing, full + places - missing) - _log_beta(1, full)


def _log_beta(one: float, other: float) -> float:
    return math.lgamma(one) + math.lgamma(other) - math.lgamma(one + other)


def _fitted(
    voltage: FloatArray,
    pitches: FloatArray,
    marks: int,
    cells: int,
    hum: tuple[FloatArray, FloatArray] | None,
) -> _RateFit:
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
    hum : arrays, optional
        Waves of a hum beside the pulses, as `_waves` gives them.
    """
    if hum is None:
        rough = {sign: _pulses_fitted(sign * voltage, pitches, marks) for sign in (1, -1)}
        sign = min(rough, key=lambda one: rough[one][1].rest)
        return _pulses_fitted(sign * voltage - slow_part(rough[sign][0], cells), pitches, marks)[1]
    # the hum is fitted to what the pulses leave, and these to what it leaves; begun with all of it, and with none
    begun = {
        (sign, part): _beside(sign * voltage, part * sign * _of_waves(hum, voltage), pitches, marks, cells, hum)
        for sign in (1, -1)
        for part in (0.0, 1.0)
    }
    sign, part = min(begun, key=lambda one: begun[one][1].rest)
    beside, fit = begun[sign, part]
    for _ in range(RIVAL_TURNS):
        beside, again = _beside(sign * voltage, beside, pitches, marks, cells, hum)
        fit = min(fit, again, key=lambda one: one.rest)
    return fit


def _beside(
    voltage: FloatArray,
    beside: FloatArray,
    pitches: FloatArray,
    marks: int,
    cells: int,
    hum: tuple[FloatArray, FloatArray],
) -> tuple[FloatArray, _RateFit]:
    """Return hum and baseline beside pulses that are fitted to a trace without the last ones, and how well they fit."""
    rest, fit = _pulses_fitted(voltage - beside, pitches, marks)
    whole = rest + beside
    wave = _of_waves(hum, whole)
    beside = wave + slow_part(whole - wave, cells)
    left = whole - beside
    return beside, replace(fit, rest=float(left @ left))


def _waves(time: FloatArray, step_s: float, mains_hz: float) -> tuple[FloatArray, FloatArray] | None:
    """Return the waves of a hum, shape (waves, n), and the inverse of their products; None where they are too fast."""
    orders = np.arange(1, MAINS_ORDERS + 1)
    angle = 2 * np.pi * np.outer(mains_hz * orders[mains_hz * orders * step_s < 0.45], time)
    if angle.size == 0:
        return None
    waves = np.concatenate([np.cos(angle), np.sin(angle)])
    return waves, np.linalg.pinv(waves @ waves.T, hermitian=True)


def _of_waves(hum: tuple[FloatArray, FloatArray], voltage: FloatArray) -> FloatArray:
    """Return the hum in a trace by least squares."""
    waves, inverse = hum
    return np.asarray((inverse @ (waves @ voltage)) @ waves)


def _pulses_fitted(voltage: FloatArray, pitches: FloatArray, marks: int) -> tuple[FloatArray, _RateFit]:
    """Return what the best pulses at the places of a turn leave over, and how well they fit."""
    sectors, reach = RIVAL_SECTORS, RIVAL_STRAY
    turn = sectors * marks
    sector = np.floor(np.remainder(pitches, marks) * sectors).astype(np.int64) % turn
    number = np.bincount(sector, minlength=turn)
    filled = np.flatnonzero(number)
    mean = np.bincount(sector, weights=voltage, minlength=turn)[filled] / number[filled]
    mean = np.interp(np.arange(turn), filled, mean, period=turn)  # pulses in step with the samples leave sectors empty
    mean = (np.roll(mean, 1) + 2 * mean + np.roll(mean, -1)) / 4
    highest = mean[(np.arange(turn)[:, None] + np.arange(-reach, reach + 1)) % turn].max(axis=1)
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
    none = voltage, _RateFit(float(voltage @ voltage), count, count)
    for _ in range(2):
        used = there[place]
        total = np.asarray(np.bincount(cell[used], weights=voltage[used], minlength=bins), dtype=np.float64)
        shape = _risen(total, np.bincount(cell[used], minlength=bins))
        if shape is None:
            return none
        wave = shape[left] + share * (shape[left + 1] - shape[left])
        level = float(np.mean(voltage[wave < 0.15])) if np.any(wave < 0.15) else 0.0
        size = np.bincount(place, weights=wave**2, minlength=count)
        height = np.bincount(place, weights=wave * (voltage - level), minlength=count) / np.maximum(size, 1e-12)
        usual = _upper_quartile(height[whole])
        clear = whole & (height > 0.4 * usual)
        own = np.bincount(mark[clear], weights=height[clear], minlength=marks)
        often = np.bincount(mark[clear], minlength=marks)
        of_mark = np.where(often > 0, own / np.maximum(often, 1), usual)
        there = height > 0.5 * of_mark[mark]
        if not there.any():
            return none
    rest = voltage - level - np.where(there, of_mark[mark], 0.0)[place] * wave
    empty = np.flatnonzero(whole & ~there)
    return rest, _RateFit(
        float(rest @ rest), int(whole.sum()), empty.size, float(np.std(stray)), _are_regular(empty, count, marks)
    )


def _are_regular(empty: IntArray, count: int, marks: int) -> bool:
    """Return whether nearly all of one place in 2 to 5 are empty, and hardly another; not those of a lost mark."""
    if empty.size < RIVAL_REGULAR:
        return False
    for period in range(2, 6):
        own = np.bincount(empty % period, minlength=period)
        mostly = own.max() > RIVAL_ALL * empty.size and own.max() > RIVAL_ALL * (count // period)
        if marks % period and mostly:
            return True
    return False


def _upper_quartile(values: FloatArray) -> float:
    """Return what ``np.percentile(values, 75)`` gives, in a fifth of its time: rivals ask for it thousands of times."""
    at = 0.75 * (values.size - 1)
    low = int(at)
    high = min(low + 1, values.size - 1)
    part = np.partition(values, (low, high))
    step = part[high] - part[low]
    return float(part[low] + (at - low) * step if at - low < 0.5 else part[high] - (low + 1 - at) * step)


def _risen(total: FloatArray, number: IntArray) -> FloatArray | None:
    """Return the mean shape of a pulse, forced to rise to its top and fall from it, from 0 to 1; None for none."""
    if not np.any(number):
        return None
    known = np.flatnonzero(number)
    mean = np.interp(np.arange(number.size), known, total[known] / number[known])
    middle = mean.size // 2
    top = middle - RIVAL_STRAY + int(np.argmax(mean[middle - RIVAL_STRAY : middle + RIVAL_STRAY + 1]))
    mean[top:] = np.minimum.accumulate(mean[top:])
    mean[: top + 1] = np.minimum.accumulate(mean[: top + 1][::-1])[::-1]
    mean -= np.min(mean)
    return np.asarray(mean / mean[top]) if mean[top] > 0 else None
