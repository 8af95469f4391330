"""Checks of a fit: readings replicated from the posterior, and misfit that is smooth in pressure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pydantic import Field
from scipy.special import chdtrc, logsumexp, ndtr

from edgewind.evidence.gaussian_process import covariance, log_density
from edgewind.evidence.likelihood import Likelihood
from edgewind.evidence.model_error import LENGTH
from edgewind.frozen_model import FrozenModel

Array = NDArray[np.float64]

# Sizes of a smooth relative misfit that are tried, each as likely before the readings.
_SIZES = np.array([0.03, 0.06, 0.12, 0.25, 0.5])
# ln(evidence) of a smooth misfit beyond which it is called one.
SMOOTH = 3.0
# A curve misses the readings where the misfit is less probable than this; closer to them it serves any plan.
MISFIT, CLOSE = 0.01, 0.05
_DRAWS = 400


class SmoothMisfit(FrozenModel):
    """Misfit of the readings that is smooth in pressure, beyond the stated error of the model."""

    log_evidence: float = Field(
        description="Logarithm of the evidence for a smooth factor on the speeds, against none; above 3 there is one."
    )
    runs_p: float | None = Field(description="Probability of as few runs of one sign of the residuals over pressure.")
    autocorrelation: float | None = Field(description="Correlation of neighbouring residuals over pressure.")

    @property
    def found(self) -> bool:
        """Whether the readings show such a misfit."""
        return self.log_evidence > SMOOTH


class Missed(NamedTuple):
    """How far readings lie from the curve of the model, and whether its stated errors explain it.

    Attributes
    ----------
    relative : float
        Root mean square of their distances over their speeds; speeds below 5 % of the greatest count as that.
    p : float
        Probability of a chi-squared as large, by the stated uncertainties, a repeatability of 1 %, and the stated
        errors of gas and gauge.
    """

    relative: float
    p: float


@dataclass(frozen=True, eq=False)
class Residuals:
    """Readings over the prediction of the physics alone, with the smooth errors of the fit.

    Attributes
    ----------
    pressure_pa, ratio, ratio_u : array of shape (n,)
        Indicated pressures, speed over predicted speed, and its standard uncertainty as stated.
    band_pa, low, middle, high : array of shape (m,)
        Smooth error on the speed over pressure: interval and median of the posterior.
    stated : array of shape (m,)
        Half of the interval before the fit, by the stated errors of gas and gauge.
    """

    pressure_pa: Array
    ratio: Array
    ratio_u: Array
    band_pa: Array
    low: Array
    middle: Array
    high: Array
    stated: Array


def predictive(
    problem: Likelihood, values: Array, deviations: Array, level: float, seed: int
) -> tuple[pd.DataFrame, float, float]:
    """Replicate the readings from the posterior, and compare their misfit with that of the real ones.

    Returns
    -------
    DataFrame
        ``pressure_pa, speed_rad_s, low_rad_s, median_rad_s, high_rad_s, inside, pull``.
    float
        Share of replicated data whose misfit is greater than that of the readings, by the scatter of the fit.
    float
        The same with the stated scatter.
    """
    random = np.random.default_rng(seed + 1)
    data = problem.data
    speeds = problem.predicted(values, data.pressure_pa, deviations)[:, 0]
    speeds = np.where(data.signed, speeds, np.abs(speeds))
    shares = []
    made = speeds
    for scatter in (False, True):
        spreads = problem.spread(values, speeds, scatter=scatter)
        made = speeds + spreads * random.standard_normal(speeds.shape)
        real, replicated = (np.sum(((what - speeds) / spreads) ** 2, axis=1) for what in (data.speed_rad_s, made))
        shares.append(float(np.mean(replicated >= real)))
    low, middle, high = np.quantile(made, [(1 - level) / 2, 0.5, (1 + level) / 2], axis=0)
    table = pd.DataFrame(
        {
            "pressure_pa": data.pressure_pa,
            "speed_rad_s": data.speed_rad_s,
            "low_rad_s": low,
            "median_rad_s": middle,
            "high_rad_s": high,
            "inside": (data.speed_rad_s >= low) & (data.speed_rad_s <= high),
            "pull": (data.speed_rad_s - speeds.mean(axis=0)) / made.std(axis=0),
        }
    )
    return table, shares[1], shares[0]


def smooth_misfit(problem: Likelihood, values: Array) -> SmoothMisfit:
    """Test for a smooth factor beyond the stated errors of the model, at the mode of a fit.

    Both with and without the scatter that the fit adds to the stated one: what a fit of the wrong shape leaves is taken
    for scatter otherwise, which then hides it.
    """
    data = problem.data
    speed = problem.linear_speed(values)
    turned = np.where(data.signed | (speed >= 0), 1.0, -1.0)
    apart = data.speed_rad_s - turned * speed
    noises = [problem.spread(values[None], speed[None], scatter=scatter)[0] for scatter in (True, False)]
    slopes = turned[:, None] * problem.speed_slopes
    known = np.stack([np.diag(noise**2) + slopes @ slopes.T for noise in noises])
    x = np.log(data.pressure_pa)
    shape = covariance(np.abs(x[:, None] - x), np.array([0.5 * LENGTH]), "squared exponential")[0]
    scale = turned * np.where(speed < 0, -1.0, 1.0) * np.maximum(np.abs(speed), 0.05 * np.abs(speed).max())
    smooth = np.outer(scale, scale) * shape
    alike, more = (
        log_density(np.concatenate([known + size**2 * smooth for size in sizes]), apart) for sizes in ((0.0,), _SIZES)
    )
    log_evidence = float(logsumexp(more) - logsumexp(alike) - np.log(_SIZES.size))
    # Residuals without the most likely smooth errors, in the order of pressure.
    left = (apart - slopes @ slopes.T @ np.linalg.solve(known[0], apart))[np.argsort(x)] / noises[0][np.argsort(x)]
    return SmoothMisfit(log_evidence=log_evidence, runs_p=_runs_p(left), autocorrelation=_neighbours(left))


def missed_by(problem: Likelihood, values: Array) -> Missed | None:
    """Return by how much the curve of the physics alone misses the readings; None where it is close, or as expected.

    It misses them where the distances exceed 5 % and the probability of the misfit is below 1 %. Values fitted to the
    readings make chi-squared smaller than the number of readings, so that it finds rather too few.
    """
    data, size = problem.data, np.abs(problem.data.speed_rad_s)
    bare = problem.predicted(values[None], data.pressure_pa)[0, 0]
    apart = data.speed_rad_s - np.where(data.signed, bare, np.abs(bare))
    relative = float(np.sqrt(np.mean((apart / np.maximum(size, 0.05 * size.max())) ** 2)))
    speed = problem.linear_speed(values)
    turned = np.where(data.signed | (speed >= 0), 1.0, -1.0)
    noise, slopes = problem.spread(values[None], speed[None], scatter=False)[0], problem.speed_slopes
    known, apart = np.diag(noise**2) + slopes @ slopes.T, turned * data.speed_rad_s - speed
    p = float(chdtrc(apart.size, apart @ np.linalg.solve(known, apart)))
    return Missed(relative, p) if relative > CLOSE and p < MISFIT else None


def _runs_p(values: Array) -> float | None:
    """Return the probability of as few runs of one sign (Wald and Wolfowitz, Ann. Math. Stat. 11, 147, 1940)."""
    above = values > 0
    more, less = int(above.sum()), int((~above).sum())
    if min(more, less) < 3:
        return None
    count = more + less
    mean = 2 * more * less / count + 1
    variance = (mean - 1) * (mean - 2) / (count - 1)
    runs = 1 + int(np.sum(above[1:] != above[:-1]))
    return float(ndtr((runs + 0.5 - mean) / np.sqrt(variance)))


def _neighbours(values: Array) -> float | None:
    centred = values - values.mean()
    whole = float(np.sum(centred**2))
    return float(np.sum(centred[1:] * centred[:-1]) / whole) if values.size > 3 and whole > 0 else None


def residuals(problem: Likelihood, draws: Array, deviations: Array, level: float, *, points: int = 61) -> Residuals:
    """Return the readings over the physics alone, and the smooth error of the fit."""
    data = problem.data
    picked = np.linspace(0, len(draws) - 1, min(_DRAWS, len(draws))).astype(int)
    grid = np.geomspace(data.pressure_pa.min(), data.pressure_pa.max(), points)
    bare = np.median(problem.predicted(draws[picked], data.pressure_pa)[:, 0], axis=0)
    bare = np.where(np.abs(bare) > 0, bare, np.nan)
    signed = np.where(data.signed, data.speed_rad_s, np.sign(bare) * data.speed_rad_s)
    physics = problem.predicted(draws[picked], grid)[:, 0]
    before = np.random.default_rng(picked.size).standard_normal((picked.size, problem.error.size))
    factor, expected = (
        problem.predicted(draws[picked], grid, errors)[:, 0] / np.where(np.abs(physics) > 0, physics, np.nan)
        for errors in (deviations[picked], before)
    )
    low, middle, high = np.nanquantile(factor, [(1 - level) / 2, 0.5, (1 + level) / 2], axis=0)
    stated = np.diff(np.nanquantile(expected, [(1 - level) / 2, (1 + level) / 2], axis=0), axis=0)[0] / 2
    return Residuals(
        data.pressure_pa, signed / bare, data.speed_u_rad_s / np.abs(bare), grid, low, middle, high, stated
    )
