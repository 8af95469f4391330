"""Pressure of greatest speed, with its interval, or the reason why the readings do not show one.

Every curve drawn from the posterior has a maximum; with the uncertainty that all pressures share this gives a
distribution of the maximising pressure. It is reported as an optimum only if the curve is significantly higher there
than at both ends of the range.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from pydantic import Field

from edgewind.errors import InputError
from edgewind.evidence.curve import ResponseCurve, fit_curve
from edgewind.evidence.hysteresis import SweepComparison, compare_sweeps, sweep_effects
from edgewind.evidence.sweep_data import Array, SweepData
from edgewind.formatting import RPM_PER_RAD_S, format_number
from edgewind.rotor.optimum import PeakPressure, highest_places

Reason = Literal[
    "",
    "peak at the low edge",
    "peak at the high edge",
    "flat within noise",
    "too few readings",
    "drift between sweeps",
]

REASONS: dict[str, str] = {
    "peak at the low edge": "the speed is still rising towards the lowest pressure measured",
    "peak at the high edge": "the speed is still rising towards the highest pressure measured",
    "flat within noise": "the speed does not change by more than its noise over the pressures measured",
    "too few readings": "there are too few usable readings at different pressures",
    "drift between sweeps": "the sweeps differ by more than one curve can describe",
}
"""Why no optimum is claimed, in a clause."""

# Distinct pressures below which a maximum is not looked for.
FEWEST_PRESSURES = 6
# Log Bayes factor of a curve against a constant below which the readings are called flat.
FLAT_LOG_BAYES_FACTOR = 1.0
# Standard deviations by which the maximum must stand above each end. Larger than for a place named beforehand,
# because the highest place was sought; checked by simulation (benchmarks/bench_optimum.py).
RISE_ABOVE_ENDS = 3.0
# Sweeps whose own maxima lie further apart than the interval is wide, and by more than this in ln(pressure),
# are not one curve; nor are sweeps whose speeds differ by more than half.
IMMATERIAL_SHIFT = 0.2
IMMATERIAL_OFFSET = 0.5
# Median scatter beyond the stated uncertainties, over these, that is mentioned though a narrower curve may explain it.
SCATTERED = 3.0
# Depth between two maxima, in standard deviations and as a share of the range, from which both are named.
# No healthy sweep of 48 had a second one so (tests/support/sweeps.py); our judgement, no source.
PROMINENT, PROMINENT_SHARE = 3.0, 0.05


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
    curve: ResponseCurve | None = Field(
        default=None,
        description="The curve behind it, without differences between sweeps if these are significant.",
    )
    sweeps: SweepComparison | None = Field(
        default=None, description="Comparison of the sweeps; none where there is only one."
    )


def find_optimum(subject: ResponseCurve | SweepData, *, level: float = 0.90, seed: int = 0) -> Optimum:
    """Find the maximising pressure with an interval, or the reason why there is none.

    The questions are asked in this order: are there enough pressures; are the sweeps one curve; is there more
    than a constant; does the maximum stand above both ends.

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
    shift = 0.0
    if sweeps.verdict == "differ":
        effects = sweep_effects(data, curve)
        curve = fit_curve(data, seed=seed, nuisance=effects.columns, nuisance_sd=effects.prior_sd)
        shift = abs(sweeps.optimum_shift or 0.0)
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
    maxima = maxima_of(curve)
    if len(maxima) > 1:
        *first, last = (f"{format_number(float(one), 3)} Pa" for one in maxima)  # each unit, to be shown in another
        warnings.append(
            f"The curve has maxima at {', '.join(first)} and {last}, of which the highest is taken. "
            "Repeat readings there: the rotor has several, or the readings scatter by more than they state."
        )
    return _decide(curve, sweeps, shift, level, seed, warnings)


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


def _decide(
    curve: ResponseCurve, sweeps: SweepComparison, shift: float, level: float, seed: int, warnings: list[str]
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
    elif curve.log_bayes_factor < FLAT_LOG_BAYES_FACTOR:
        reason = "flat within noise"
    elif min(rise_low, rise_high) < RISE_ABOVE_ENDS:
        reason = "peak at the low edge" if rise_low < rise_high else "peak at the high edge"
    found = not reason
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
        interior=1.0 - low_edge - high_edge,
        low_edge=low_edge,
        high_edge=high_edge,
        rise_above_low=rise_low,
        rise_above_high=rise_high,
        warnings=tuple(warnings),
        curve=curve,
        sweeps=sweeps,
    )


def _rise(difference: Array) -> float:
    """Mean of a difference over its standard deviation; zero where it has none."""
    spread = float(difference.std())
    return float(difference.mean()) / spread if spread > 0 else 0.0
