"""Comparison of sweeps, before any claim about the curve: up against down, repeats, and drift in time.

A gauge that lags shifts the up sweep against the down sweep in ln(pressure); a rotor that warms or a lamp that
ages changes the speed with time. Both are estimated beside the curve itself, as effects with wide priors, so that
changes that a smooth curve could explain equally well widen their uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc, ndtr

from edgewind.evidence.curve import ResponseCurve, fit_curve
from edgewind.evidence.sweep_data import Array, SweepData, repeat_groups

Verdict = Literal["not compared", "agree", "differ"]

# Probability of a false alarm, per comparison, when the sweeps do agree.
FALSE_ALARM = 0.01
# Drift is estimated only if time is not itself a smooth function of pressure: if more than this share of its variance
# remains after a quintic in ln(pressure). A single sweep cannot tell a drift from its curve.
TIME_FREE_OF_PRESSURE = 0.05
# Prior standard deviations: relative offset of the speeds, shift in ln(pressure), relative drift over all the time.
EFFECT_PRIOR_SD = (0.5, 0.5, 0.5)


@dataclass(frozen=True)
class SweepComparison:
    """Comparison of sweeps. None if the readings do not allow a value.

    Attributes
    ----------
    verdict : Verdict
        Result of the comparison.
    sentence : str
        The finding in plain words.
    contrast : str
        What was compared: ``up minus down``, ``later minus earlier sweep``, one label minus another, or nothing.
    offset_relative : float or None
        Difference of the speeds as a fraction of the speed.
    offset_relative_u : float or None
        Standard uncertainty of that difference.
    offset_p : float or None
        Probability of a difference as large if there were none.
    log_pressure_shift : float or None
        Difference of the places of the curve in ln(pressure).
    log_pressure_shift_u : float or None
        Standard uncertainty of that shift.
    log_pressure_shift_p : float or None
        Probability of a shift as large if there were none.
    drift_per_hour : float or None
        Relative change of the speed in an hour.
    drift_per_hour_u : float or None
        Standard uncertainty of that drift.
    drift_p : float or None
        Probability of a drift as large if there were none.
    joint_p : float or None
        Probability of effects as large, taken together, if there were none; the verdict rests on it.
    repeat_scatter_ratio : float or None
        Scatter of repeated readings over their stated uncertainty; near 1 if that is correct.
    repeat_freedom : int
        Degrees of freedom in that ratio.
    repeat_p : float or None
        Probability of a scatter as large if the stated uncertainties are right.
    optimum_shift : float or None
        Distance of the sweeps' own maxima in ln(pressure), from offset, shift and drift together.
    optimum_shift_u : float or None
        Standard uncertainty of that distance.
    """

    verdict: Verdict
    sentence: str
    contrast: str = ""
    offset_relative: float | None = None
    offset_relative_u: float | None = None
    offset_p: float | None = None
    log_pressure_shift: float | None = None
    log_pressure_shift_u: float | None = None
    log_pressure_shift_p: float | None = None
    drift_per_hour: float | None = None
    drift_per_hour_u: float | None = None
    drift_p: float | None = None
    joint_p: float | None = None
    repeat_scatter_ratio: float | None = None
    repeat_freedom: int = 0
    repeat_p: float | None = None
    optimum_shift: float | None = None
    optimum_shift_u: float | None = None


def sweep_contrast(data: SweepData) -> tuple[Array, str]:
    """Code the sweeps as numbers from -1/2 to +1/2, so that an effect per unit is a difference of sweeps.

    Up is +1/2 and down -1/2 where both occur. Otherwise the labels are ranked by mean time, or by
    alphabet where times are unknown. All zero where there is only one sweep.

    Examples
    --------
    >>> data = SweepData([1, 2, 2, 1], [0.01] * 4, [5, 6, 6, 5], [0.1] * 4, ("a", "a", "b", "b"))
    >>> sweep_contrast(data)
    (array([ 0.5,  0.5, -0.5, -0.5]), 'up minus down')
    """
    if np.any(data.direction > 0) and np.any(data.direction < 0):
        return np.asarray(0.5 * data.direction, dtype=float), "up minus down"
    labels = sorted(set(data.sweep))
    if len(labels) < 2:
        return np.zeros(data.size), ""
    member = np.array([labels.index(label) for label in data.sweep])
    if np.all(np.isfinite(data.time_s)):
        mean_time = [data.time_s[member == number].mean() for number in range(len(labels))]
        rank, words = np.argsort(np.argsort(mean_time)), "later minus earlier sweep"
    else:
        rank, words = np.arange(len(labels)), f"'{labels[-1]}' minus '{labels[0]}'"
    return np.asarray(rank[member] / (len(labels) - 1) - 0.5, dtype=float), words


def scaled_time(data: SweepData) -> tuple[Array, float]:
    """Return the time about its mean in units of the whole duration, and that duration in seconds.

    Readings of unknown time stand at the mean; all are zero where fewer than four times are known.
    """
    known = np.isfinite(data.time_s)
    duration = float(np.ptp(data.time_s[known])) if known.sum() >= 4 else 0.0
    if duration == 0.0:
        return np.zeros(data.size), 0.0
    return np.where(known, data.time_s - data.time_s[known].mean(), 0.0) / duration, duration


def time_free_of_pressure(log_pressure: Array, time: Array) -> float:
    """Return the share of the variance of time that a quintic in ln(pressure) leaves over; 0 where time does not vary.

    Examples
    --------
    >>> up = np.linspace(0.0, 1.0, 12)
    >>> round(time_free_of_pressure(up, up), 6)
    0.0
    >>> round(time_free_of_pressure(np.concatenate([up, up[::-1]]), np.linspace(-0.5, 0.5, 24)), 6)
    1.0
    """
    if not np.any(time):
        return 0.0
    unit = (log_pressure - log_pressure.mean()) / max(float(np.ptp(log_pressure)), 1e-12)
    basis = np.vander(unit, 6)
    fitted = basis @ np.linalg.lstsq(basis, time, rcond=None)[0]
    return float(np.sum((time - fitted) ** 2) / np.sum((time - time.mean()) ** 2))


@dataclass(frozen=True, eq=False)
class SweepEffects:
    """Columns of a fit: how offset, shift and drift would change each reading's speed, rad/s per unit.

    Attributes
    ----------
    columns : ndarray, shape (n, q)
    prior_sd : ndarray, shape (q,)
    names : tuple of str
        Those of ``offset``, ``shift`` and ``drift`` that the readings determine.
    """

    columns: Array
    prior_sd: Array
    names: tuple[str, ...]


def sweep_effects(data: SweepData, curve: ResponseCurve) -> SweepEffects:
    """Linearise offset, shift and drift about a fitted curve, in the order of `data`."""
    contrast, _ = sweep_contrast(data)
    time, _ = scaled_time(data)
    speed, slope = curve.at(data.pressure_pa), curve.slope_at(data.pressure_pa)
    if time_free_of_pressure(data.log_pressure, time) < TIME_FREE_OF_PRESSURE:
        time = np.zeros(data.size)
    candidates = {"offset": contrast * speed, "shift": -contrast * slope, "drift": time * speed}
    names = tuple(name for name, column in candidates.items() if np.any(column))
    prior = dict(zip(candidates, EFFECT_PRIOR_SD, strict=True))
    return SweepEffects(
        np.column_stack([candidates[name] for name in names]) if names else np.zeros((data.size, 0)),
        np.array([prior[name] for name in names]),
        names,
    )


def repeat_scatter(data: SweepData, curve: ResponseCurve) -> tuple[float, int]:
    """Return the chi-squared of repeated readings about the mean of each group, and its degrees of freedom.

    Repeats stand next to one another in pressure and were approached from the same side. The curve's slope
    is taken out, and the pressures' own uncertainties are carried over it.
    """
    order = np.lexsort((data.pressure_pa, data.direction))
    direction = data.direction[order]
    parts: list[NDArray[np.int64]] = []
    for sense in np.unique(direction):
        here = order[direction == sense]
        before = 1 + parts[-1][-1] if parts else 0
        parts.append(before + repeat_groups(data.log_pressure[here], data.log_pressure_u[here]))
    group = np.concatenate(parts)
    slope = curve.slope_at(data.pressure_pa)[order]
    weight = 1.0 / (data.speed_u_rad_s[order] ** 2 + (slope * data.log_pressure_u[order]) ** 2)
    residual = (data.speed_rad_s - curve.at(data.pressure_pa))[order]
    mean = np.bincount(group, weight * residual) / np.bincount(group, weight)
    return float(np.sum(weight * (residual - mean[group]) ** 2)), int(data.size - mean.size)


def given_zero(mean: Array, covariance: Array, keep: list[int]) -> tuple[Array, Array]:
    """Return the mean and covariance of some of several normal quantities when all the others are zero."""
    drop = [i for i in range(mean.size) if i not in keep]
    gain = covariance[np.ix_(keep, drop)] @ np.linalg.pinv(covariance[np.ix_(drop, drop)])
    return mean[keep] - gain @ mean[drop], covariance[np.ix_(keep, keep)] - gain @ covariance[np.ix_(drop, keep)]


def _own_optima_apart(
    data: SweepData, curve: ResponseCurve, names: tuple[str, ...], effects: Array, sense: float
) -> Array:
    """Distance in ln(pressure) between the two sweeps' own maxima, for each row of effects."""
    contrast, _ = sweep_contrast(data)
    time, _ = scaled_time(data)
    grid = curve.log_pressure
    slope = np.gradient(curve.mean, grid)
    peaks = []
    for side in (-1.0, 1.0):
        members = np.flatnonzero(contrast * side > 0)
        members = members[np.argsort(data.log_pressure[members])]
        clock = np.interp(grid, data.log_pressure[members], time[members])
        change = {"offset": 0.5 * side * curve.mean, "shift": -0.5 * side * slope, "drift": clock * curve.mean}
        speeds = curve.mean + effects @ np.array([change[name] for name in names])
        peaks.append(grid[np.argmax(sense * speeds, axis=1)])
    apart: Array = peaks[1] - peaks[0]
    return apart


def compare_sweeps(data: SweepData, curve: ResponseCurve | None = None, *, seed: int = 0) -> SweepComparison:
    """Test up against down sweeps, repeats and drift in time.

    Parameters
    ----------
    data : SweepData
        The readings.
    curve : ResponseCurve, optional
        The curve of all readings together; fitted where left out.
    seed : int, optional
        Seed of the draws of the fit.

    Returns
    -------
    SweepComparison

    Notes
    -----
    Offset a, shift b and drift c enter the fit as y = f + a h f - b h f' + c t f, with h = +1/2 up and -1/2
    down and t the scaled time: a Gaussian process with explicit basis functions (Rasmussen and Williams 2006,
    section 2.7). In an up sweep followed by a down sweep, offset and drift look alike: each is reported as if
    the other were absent, and the verdict rests on all together.
    """
    if data.distinct_pressures() < 4:
        return SweepComparison("not compared", "Too few pressures to compare sweeps.")
    curve = fit_curve(data, seed=seed) if curve is None else curve
    chi_squared, freedom = repeat_scatter(data, curve)
    alone = SweepComparison(
        "not compared",
        "One sweep cannot distinguish a drift from the shape of its curve.",
        repeat_scatter_ratio=float(np.sqrt(chi_squared / freedom)) if freedom else None,
        repeat_freedom=freedom,
        repeat_p=float(chdtrc(freedom, chi_squared)) if freedom else None,
    )
    effects = sweep_effects(data, curve)
    if not effects.names:
        return alone
    fit = fit_curve(data, seed=seed, draws=64, nuisance=effects.columns, nuisance_sd=effects.prior_sd)
    mean, covariance = fit.effects, fit.effects_covariance
    joint_p = float(chdtrc(mean.size, mean @ np.linalg.solve(covariance, mean)))
    offset, shift, drift = (
        _effect_without(rival, name, effects.names, mean, covariance)
        for name, rival in (("offset", "drift"), ("shift", "drift"), ("drift", "offset"))
    )
    _, contrast = sweep_contrast(data)
    _, duration = scaled_time(data)
    per_hour = drift.divided_by(duration / 3600.0)
    optimum_shift, optimum_shift_u = None, None
    if contrast:
        tried = np.random.default_rng(seed).multivariate_normal(mean, covariance, 256)
        sense = 1.0 if data.speed_rad_s.sum() >= 0 else -1.0
        apart = _own_optima_apart(data, curve, effects.names, np.vstack([mean, tried]), sense)
        optimum_shift, optimum_shift_u = float(apart[0]), float(apart[1:].std())
    verdict: Verdict = "differ" if joint_p < FALSE_ALARM else "agree"
    return replace(
        alone,
        verdict=verdict,
        sentence=_sentence(verdict, contrast, offset, shift, per_hour),
        contrast=contrast,
        offset_relative=offset.value,
        offset_relative_u=offset.u,
        offset_p=offset.p,
        log_pressure_shift=shift.value,
        log_pressure_shift_u=shift.u,
        log_pressure_shift_p=shift.p,
        drift_per_hour=per_hour.value,
        drift_per_hour_u=per_hour.u,
        drift_p=per_hour.p,
        joint_p=joint_p,
        optimum_shift=optimum_shift,
        optimum_shift_u=optimum_shift_u,
    )


@dataclass(frozen=True)
class _Effect:
    """An effect, its standard uncertainty, and the probability of one as large by chance; None where unknown."""

    value: float | None = None
    u: float | None = None
    p: float | None = None

    def divided_by(self, unit: float) -> _Effect:
        if self.value is None or self.u is None:
            return self
        return _Effect(self.value / unit, self.u / unit, self.p)

    def percent(self) -> str:
        if self.value is None or self.u is None:
            return ""
        value = round(100 * self.value, 1) + 0.0  # no minus before a zero
        return f"{value:+.1f} ± {100 * self.u:.1f} %"


def _effect_without(rival: str, name: str, names: tuple[str, ...], mean: Array, covariance: Array) -> _Effect:
    """One of the effects, as if its rival were absent."""
    if name not in names:
        return _Effect()
    keep = [i for i, other in enumerate(names) if other != rival]
    values, spread = given_zero(mean, covariance, keep)
    at = keep.index(names.index(name))
    value, u = float(values[at]), float(np.sqrt(spread[at, at]))
    return _Effect(value, u, float(2 * ndtr(-abs(value) / u)))


def _sentence(verdict: Verdict, contrast: str, offset: _Effect, shift: _Effect, per_hour: _Effect) -> str:
    words = [
        f"speeds differ by {offset.percent()} ({contrast})" if offset.percent() else "",
        f"the curves differ by {shift.percent()} in pressure" if shift.percent() else "",
        f"speeds change by {per_hour.percent()} per hour" if per_hour.percent() else "",
    ]
    if contrast:
        opening = "The sweeps differ" if verdict == "differ" else "The sweeps agree within their uncertainties"
    else:
        opening = "The speeds drift" if verdict == "differ" else "No drift is shown"
    return f"{opening}: {'; '.join(word for word in words if word)}."
