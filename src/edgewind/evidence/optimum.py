"""Pressure of greatest speed, with its interval, or the reason why the readings do not show one.

Every curve drawn from the posterior has a maximum; with the uncertainty that all pressures share this gives a
distribution of the maximising pressure. It is reported as an optimum only if the curve is significantly higher there
than at both ends of the range.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from pydantic import Field

from edgewind.errors import InputError
from edgewind.evidence.curve import ResponseCurve, fit_curve
from edgewind.evidence.hysteresis import SweepComparison, compare_sweeps, sweep_effects
from edgewind.evidence.sweep_data import Array, SweepData, repeat_groups
from edgewind.formatting import RPM_PER_RAD_S, format_number
from edgewind.rotor.optimum import PeakPressure, highest_places

Reason = Literal[
    "",
    "peak at the low edge",
    "peak at the high edge",
    "no clear fall at the low edge",
    "no clear fall at the high edge",
    "flat within noise",
    "too few readings",
    "drift between sweeps",
    "scatter above that stated",
]

REASONS: dict[str, str] = {
    "peak at the low edge": "the speed is still rising towards the lowest pressure measured",
    "peak at the high edge": "the speed is still rising towards the highest pressure measured",
    "no clear fall at the low edge": "the speed is not shown to fall towards the lowest pressure measured",
    "no clear fall at the high edge": "the speed is not shown to fall towards the highest pressure measured",
    "flat within noise": "the speed does not change by more than its noise over the pressures measured",
    "too few readings": "there are too few usable readings at different pressures",
    "drift between sweeps": "the sweeps differ by more than one curve can describe",
    "scatter above that stated": "neighbouring readings alternate by far more than they state; "
    "repeat some and state their scatter",
}
"""Why no optimum is claimed, in a clause."""

# Distinct pressures below which a maximum is not looked for.
FEWEST_PRESSURES = 6
# Log Bayes factor of a curve against a constant below which the readings are called flat.
FLAT_LOG_BAYES_FACTOR = 1.0
# Standard deviations by which the maximum must stand above each end. Larger than for a place named beforehand,
# because the highest place was sought; checked by simulation (benchmarks/bench_optimum.py).
RISE_ABOVE_ENDS = 3.0
# Share of the curves that fit which must be highest at an end for the speed to be called still rising there.
AT_AN_EDGE = 0.9
# Sweeps whose own maxima lie further apart than the interval is wide, and by more than this in ln(pressure),
# are not one curve; nor are sweeps whose speeds differ by more than half.
IMMATERIAL_SHIFT = 0.2
IMMATERIAL_OFFSET = 0.5
# Median scatter beyond the stated uncertainties, over these, that is mentioned though a narrower curve may explain it.
SCATTERED = 3.0
# Depth between two maxima, in standard deviations and as a share of the range, from which both are named.
# No healthy sweep of 48 had a second one so (tests/support/sweeps.py); our judgement, no source.
PROMINENT, PROMINENT_SHARE = 3.0, 0.05
# Readings alternate where the curve through them changes its bend more often than one maximum makes it (twice), each
# bend by so many standard deviations, and in this share of the places where it could. None of 1800 invented sweeps with
# the stated noise, 1.5 or twice of it did, nor of 600 with two maxima; of sweeps of 14 readings that scatter by 30, 15
# and 10 % and state 2 %, 97, 69 and 35 % did (300 each). Our judgement, no source.
BENT, FEWEST_BENDS, BENDS_SHARE = 4.0, 3, 0.25
# Unstated scatter below this share of the range of speeds, or among so many readings, is estimated by the curve, whose
# intervals then hold (benchmarks/bench_optimum.py): of 3 % in 14 readings, of 30 % in 28 or in 14 pairs.
LARGE_SCATTER, ENOUGH_READINGS = 0.05, 24


@dataclass(frozen=True)
class UnstatedScatter:
    """Scatter of readings that alternate.

    Attributes
    ----------
    scatter_rad_s : float
        Its standard deviation, rad/s.
    ratio : float
        The same over the stated one.
    """

    scatter_rad_s: float
    ratio: float


class Optimum(PeakPressure):
    """The maximising pressure of the curve through the readings, or the reason why none is claimed."""

    reason: Reason = Field(default="", description="Why no maximum is claimed; empty where one is found.")
    speed_rad_s: float | None = Field(
        default=None, description="Height of the curve at its maximum, with its sign, rad/s."
    )
    speed_u_rad_s: float | None = Field(default=None, description="Standard uncertainty of that height, rad/s.")
    draws_pa: Array = Field(
        default_factory=lambda: np.empty(0),
        description="Samples of the maximising pressure, common uncertainty included, Pa.",
    )
    interior: float | None = Field(
        default=None, description="Probability that the highest place of the range lies inside it."
    )
    low_edge: float | None = Field(default=None, description="Probability that it is the lowest pressure.")
    high_edge: float | None = Field(default=None, description="Probability that it is the highest pressure.")
    rise_above_low: float | None = Field(
        default=None,
        description="Height of the maximum above the low end, in standard deviations of that difference.",
    )
    rise_above_high: float | None = Field(default=None, description="The same above the high end.")
    warnings: tuple[str, ...] = Field(default=(), description="Notes for readers of the result.")
    unstated: UnstatedScatter | None = Field(
        default=None, description="Scatter of readings that alternate by far more than they state; none of others."
    )
    curve: ResponseCurve | None = Field(
        default=None,
        description="The curve behind it, without differences between sweeps if these are significant.",
    )
    sweeps: SweepComparison | None = Field(
        default=None, description="Comparison of the sweeps; none where there is only one."
    )


def find_optimum(subject: ResponseCurve | SweepData, *, level: float = 0.90, seed: int = 0) -> Optimum:
    """Find the maximising pressure with an interval, or the reason why there is none.

    The questions are asked in this order: are there enough pressures; are the sweeps one curve; do neighbouring
    readings scatter no more than they state; is there more than a constant; does the maximum stand above both ends.

    Parameters
    ----------
    subject : ResponseCurve or SweepData
        A fitted curve, or the readings, to which one is then fitted.
    level : float, optional
        Coverage probability of the interval.
    seed : int, optional
        Seed of the draws.

    Returns
    -------
    Optimum

    Raises
    ------
    InputError
        Where `level` is not between 0 and 1.

    Examples
    --------
    >>> pressure = np.geomspace(0.1, 10.0, 16)
    >>> speed = 4 * pressure / (1 + pressure) ** 2
    >>> optimum = find_optimum(SweepData(pressure, np.full(16, 0.01), speed, np.full(16, 0.01)))
    >>> optimum.found, round(optimum.pressure_pa, 1)
    (True, 1.0)

    Notes
    -----
    The maximum is that of the speed in the sense in which the readings mostly turn: of -speed where their sum
    is negative. A stretch of reversed motion is thus low, not high.

    The interval is equal-tailed in ln(pressure). Where sweeps differ, a rectangular distribution as wide as the
    distance of their own maxima is added, for nothing says which sweep is right.
    """
    if not 0 < level < 1:
        raise InputError(
            f"the level of an interval cannot be {level!r}", fix="give a number between 0 and 1, such as 0.9"
        )
    data = subject.data if isinstance(subject, ResponseCurve) else subject
    if data.distinct_pressures() < FEWEST_PRESSURES:
        return Optimum(found=False, level=level, reason="too few readings")
    curve = subject if isinstance(subject, ResponseCurve) else fit_curve(subject, seed=seed)
    sweeps = compare_sweeps(data, curve, seed=seed)
    warnings: list[str] = []
    shift, steady = 0.0, data
    if sweeps.verdict == "differ":
        effects = sweep_effects(data, curve)
        curve = fit_curve(data, seed=seed, nuisance=effects.columns, nuisance_sd=effects.prior_sd)
        shift = abs(sweeps.optimum_shift or 0.0)
        steady = replace(data, speed_rad_s=data.speed_rad_s - effects.columns @ curve.effects)
        warnings.append(sweeps.sentence)
    if sweeps.repeat_p is not None and sweeps.repeat_p < 0.01:
        warnings.append(
            f"Repeated readings scatter {sweeps.repeat_scatter_ratio:.1f} times as much as their stated uncertainties."
        )
    excess = format_number(RPM_PER_RAD_S * curve.excess_rad_s, 2)
    if curve.excess_interval_rad_s[0] > np.median(data.speed_u_rad_s):
        warnings.append(
            f"The readings scatter by {excess} rpm about any smooth curve, more than their stated uncertainties."
        )
    elif curve.excess_rad_s > SCATTERED * np.sqrt(np.mean(data.speed_u_rad_s**2)):
        warnings.append(
            f"The readings seem to scatter by {excess} rpm about a smooth curve, more than their stated uncertainties: "
            "repeat some at one pressure."
        )
    unstated = unstated_scatter(steady)
    maxima = maxima_of(curve)
    if len(maxima) > 1 and unstated is None:
        *first, last = (f"{format_number(float(one), 3)} Pa" for one in maxima)  # each unit, to be shown in another
        warnings.append(
            f"The curve has maxima at {', '.join(first)} and {last}, of which the highest is taken. "
            "Repeat readings there: the rotor has several, or the readings scatter by more than they state."
        )
    return _decide(curve, sweeps, shift, level, seed, warnings, unstated)


def maxima_of(curve: ResponseCurve) -> Array:
    """Return the pressures, Pa, at which the mean of a curve has a maximum that stands out, also at an end.

    Between two of them the curve falls and rises again by `PROMINENT` of its standard deviations, and by
    `PROMINENT_SHARE` of its range.
    """
    speed = curve.mean if curve.data.speed_rad_s.sum() >= 0 else -curve.mean
    spread = float(np.sqrt(np.mean(np.var(curve.draws, axis=0))))
    step = max(PROMINENT * spread, PROMINENT_SHARE * float(np.ptp(speed)))
    found, top, bottom = [0], 0, None
    for k, here in enumerate(speed):
        if bottom is None:  # on the way to a maximum, the last of those found so far
            top = k if here > speed[top] else top
            found[-1] = top
            bottom = k if speed[top] - here > step else None
        else:
            bottom = k if here < speed[bottom] else bottom
            if here - speed[bottom] > step:
                found.append(k)
                top, bottom = k, None
    return np.asarray(np.exp(curve.log_pressure[found]))


def alternates(data: SweepData) -> bool:
    """Tell whether neighbouring readings of a short sweep alternate by far more than their uncertainties.

    A smooth curve with one maximum changes its bend twice at most, one with two maxima four times; readings whose
    scatter is not in their uncertainties do so at most of them. The second differences show it without a fitted
    curve, which may follow such readings. Two maxima do not count, each with a reading or more between it and the
    valley. Repeats are averaged first, and where they scatter by more than they state, readings are compared
    with their scatter instead.

    Parameters
    ----------
    data : SweepData
        The readings, each sweep and direction of which is looked at for itself.

    Examples
    --------
    >>> pressure, speed = np.geomspace(0.1, 10.0, 8), np.array([2.0, 5.0, 3.0, 7.0, 4.0, 8.0, 5.0, 6.0])
    >>> alternates(SweepData(pressure, np.full(8, 0.01), speed, np.full(8, 0.1)))
    True
    >>> alternates(SweepData(pressure, np.full(8, 0.01), np.sort(speed), np.full(8, 1.0)))
    False
    """
    return unstated_scatter(data) is not None


def unstated_scatter(data: SweepData) -> UnstatedScatter | None:
    """Return the scatter of readings of which :func:`alternates` holds, of the sweep with most; None of others."""
    if data.size >= ENOUGH_READINGS:
        return None
    legs: dict[tuple[str, int], list[int]] = {}
    for at, leg in enumerate(zip(data.sweep, data.direction.tolist(), strict=True)):
        legs.setdefault(leg, []).append(at)
    found = [_leg_scatter(data.take(leg)) for leg in legs.values() if len(leg) > FEWEST_BENDS + 2]
    return max((one for one in found if one is not None), key=lambda one: one.ratio, default=None)


def _leg_scatter(leg: SweepData) -> UnstatedScatter | None:
    place, speed, u = _averaged(leg.take(np.argsort(leg.log_pressure, kind="stable")))
    if place.size <= FEWEST_BENDS + 2:
        return None
    lower = (place[2:] - place[1:-1]) / (place[2:] - place[:-2])
    upper = 1.0 - lower
    bend = speed[1:-1] - lower * speed[:-2] - upper * speed[2:]
    # A smooth curve bends alike at neighbouring places; scatter that they share bends it to opposite sides.
    opposed = -float(np.mean(bend[1:] * bend[:-1]) / np.mean(lower[1:] + upper[:-1]))
    if opposed < (LARGE_SCATTER * float(np.ptp(speed))) ** 2 or opposed == 0.0:
        return None
    bend_u = np.sqrt(u[1:-1] ** 2 + (lower * u[:-2]) ** 2 + (upper * u[2:]) ** 2)
    sign = np.sign(bend[np.abs(bend) > BENT * bend_u])
    changes = int(np.sum(sign[1:] != sign[:-1]))
    turns = _turns(speed, u)
    two_maxima = changes <= 4 and len(turns) == 3 and np.diff(turns).min() >= 2
    if two_maxima or changes < max(FEWEST_BENDS, BENDS_SHARE * bend.size):
        return None
    return UnstatedScatter(float(np.sqrt(opposed)), float(np.sqrt(opposed / np.mean(u**2))))


def _averaged(leg: SweepData) -> tuple[Array, Array, Array]:
    """Average the repeats of a leg, ascending: ln(pressure), speed and its uncertainty.

    Where repeats scatter by more than they state, every uncertainty of the leg is as much larger (Birge's ratio).
    """
    group = repeat_groups(leg.log_pressure, leg.log_pressure_u)
    weight = leg.speed_u_rad_s**-2.0
    total = np.bincount(group, weight)
    place, speed = (np.bincount(group, weight * one) / total for one in (leg.log_pressure, leg.speed_rad_s))
    slope = np.abs(np.gradient(speed, place)) if place.size > 1 else np.zeros(place.size)
    variance = leg.speed_u_rad_s**2 + (slope[group] * leg.log_pressure_u) ** 2
    freedom = leg.size - place.size
    ratio = float(np.sum((leg.speed_rad_s - speed[group]) ** 2 / variance)) / freedom if freedom else 1.0
    return place, speed, np.sqrt(max(ratio, 1.0) / np.bincount(group, 1 / variance))


def _turns(speed: Array, u: Array) -> list[int]:
    """Return the readings at which the speed turns from rising to falling or back, by `BENT` standard deviations."""
    found: list[int] = []
    low, high, sense = 0, 0, 0
    for k in range(1, speed.size):
        low, high = k if speed[k] < speed[low] else low, k if speed[k] > speed[high] else high
        if sense <= 0 and speed[k] - speed[low] > BENT * np.hypot(u[k], u[low]):
            found += [low] if sense else []
            sense, high = 1, k
        elif sense >= 0 and speed[high] - speed[k] > BENT * np.hypot(u[k], u[high]):
            found += [high] if sense else []
            sense, low = -1, k
    return found


def _decide(
    curve: ResponseCurve,
    sweeps: SweepComparison,
    shift: float,
    level: float,
    seed: int,
    warnings: list[str],
    unstated: UnstatedScatter | None,
) -> Optimum:
    sense = 1.0 if curve.data.speed_rad_s.sum() >= 0 else -1.0
    grid, draws = curve.log_pressure, sense * curve.draws
    places = highest_places(grid, draws)
    low_edge, high_edge = float(np.mean(places == grid[0])), float(np.mean(places == grid[-1]))
    top = int(np.argmax(sense * curve.mean))
    rise_low, rise_high = (_rise(draws[:, top] - draws[:, end]) for end in (0, -1))

    random = np.random.default_rng([seed, 1])
    shared = curve.data.common_log_pressure_u * random.standard_normal(places.size)
    between = shift * (random.random(places.size) - 0.5)
    samples = places + shared + between
    tails = (0.5 - 0.5 * level, 0.5, 0.5 + 0.5 * level)
    low, middle, high = np.quantile(samples, tails)
    width = float(np.ptp(np.quantile(places + shared, (0.05, 0.95))))

    reason: Reason = ""
    differ = sweeps.verdict == "differ"  # otherwise their differences are within the uncertainties
    if differ and (shift > max(width, IMMATERIAL_SHIFT) or abs(sweeps.offset_relative or 0.0) > IMMATERIAL_OFFSET):
        reason = "drift between sweeps"
    elif unstated is not None:
        reason = "scatter above that stated"
    elif curve.log_bayes_factor < FLAT_LOG_BAYES_FACTOR:
        reason = "flat within noise"
    elif min(rise_low, rise_high) < RISE_ABOVE_ENDS:
        if max(low_edge, high_edge) > AT_AN_EDGE:
            reason = "peak at the low edge" if low_edge > high_edge else "peak at the high edge"
        else:
            reason = "no clear fall at the low edge" if rise_low < rise_high else "no clear fall at the high edge"
    found = not reason
    edges_known = reason != "scatter above that stated"  # the curves follow such readings, and so do their ends
    heights = draws.max(axis=1)
    return Optimum(
        found=found,
        pressure_pa=float(np.exp(middle)) if found else None,
        interval_pa=(float(np.exp(low)), float(np.exp(high))) if found else None,
        level=level,
        reason=reason,
        speed_rad_s=float(sense * heights.mean()) if found else None,
        speed_u_rad_s=float(heights.std()) if found else None,
        draws_pa=np.exp(samples),
        interior=1.0 - low_edge - high_edge if edges_known else None,
        low_edge=low_edge if edges_known else None,
        high_edge=high_edge if edges_known else None,
        rise_above_low=rise_low if edges_known else None,
        rise_above_high=rise_high if edges_known else None,
        warnings=tuple(warnings),
        unstated=unstated,
        curve=curve,
        sweeps=sweeps,
    )


def _rise(difference: Array) -> float:
    """Mean of a difference over its standard deviation; zero where it has none."""
    spread = float(difference.std())
    return float(difference.mean()) / spread if spread > 0 else 0.0
