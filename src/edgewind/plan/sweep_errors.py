"""Actual and stated error of the analysis of a sweep, from simulated sweeps.

Three properties of a sweep determine its value for a study: whether an optimum is claimed, its error, and the stated
uncertainty, by which a claim is rejected. The stated one is not the true scatter (on flat curves it is half as large
again), so both are stored as pairs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import expit, ndtri

from edgewind.errors import InputError
from edgewind.evidence import SweepData, find_optimum
from edgewind.plan.sized import Curve
from edgewind.runner import open_runner, processors

Array = NDArray[np.float64]

# Number of sweeps that are analysed before further processes have started.
_FEW = 100
# Scatter of ln(pressure) of single readings; the common error shifts all rotors equally and cancels.
_PRESSURE_NOISE = 0.01
# Fewest sweeps with an optimum for the errors of a rotor by itself; below, those of all rotors are drawn.
_FEWEST = 5
# Weight of the spread of all rotors, in sweeps, beside a rotor's own.
_POOLED = 10
# Spread of the mean errors of rotors of one bench, in stated uncertainties, and its weight in rotors beside those of a
# plan. From nine rotors of an invented bench, 50 to 100 sweeps each.
_APART, _APART_ROWS = 0.15, 4
# Chance that an optimum is claimed, logistic in how far the curve stands above its nearer end, in scatters of a
# reading: prior mean and standard deviation of intercept and slope. The analysis requires three standard deviations
# (evidence.optimum.RISE_ABOVE_ENDS), and its sharpness varies with the readings.
_FOUND_PRIOR = np.array([[-4.0, 2.0], [1.2, 0.6]])


def simulated_sweep(
    curve: Curve, pressure_pa: Array, noise: float, random: np.random.Generator, shift: float = 0.0
) -> SweepData:
    """Simulate a sweep of a rotor whose optimum lies at ``exp(shift)`` times that of the curve.

    The speed scatters by `noise` of itself and by a tenth of that of the greatest speed; the pressure by 1 % a reading.
    """
    true_pressure = pressure_pa * np.exp(_PRESSURE_NOISE * random.standard_normal(pressure_pa.size))
    speed = curve.speed_at(true_pressure, shift)
    spread = noise * np.hypot(speed, 0.1 * curve.speed_rad_s)
    return SweepData(
        pressure_pa,
        np.full(pressure_pa.size, _PRESSURE_NOISE),
        speed + spread * random.standard_normal(speed.size),
        spread,
    )


def read_sweep(data: SweepData, seed: int = 0) -> tuple[float, float]:
    """Analyse a sweep in full.

    Returns
    -------
    log_pressure : float
        ln(pressure of the optimum / Pa); nan where none is claimed.
    u : float
        Its standard uncertainty as the analysis states it: half the interval over the normal quantile of its level.
    """
    found = find_optimum(data, seed=seed)
    if found.pressure_pa is None or found.interval_pa is None:
        return float("nan"), float("nan")
    low, high = np.log(found.interval_pa)
    return float(np.log(found.pressure_pa)), float((high - low) / 2 / ndtri(0.5 + found.level / 2))


def standing(curve: Curve, pressure_pa: Array, noise: float, shift: Array) -> Array:
    """Return the height of the maximum above the higher end of a sweep, in scatters of a reading.

    Parameters
    ----------
    curve : Curve
        The curve.
    pressure_pa : array of shape (m,)
        Pressures of the sweep, Pa.
    noise : float
        Relative scatter of a speed.
    shift : array
        Shift of the optimum from that of the curve, in ln(pressure).

    Returns
    -------
    array of the shape of `shift`
    """
    ends = [curve.speed_at(pressure_pa[end], shift) / curve.speed_rad_s for end in (0, -1)]
    return np.asarray((1 - np.maximum(*ends)) / noise)


@dataclass(frozen=True, eq=False)
class Trials:
    """Analysed simulated sweeps of one rotor, arrays of shape (k,).

    Attributes
    ----------
    shift : array
        ln of the pressure of the true optimum over that of the model.
    standing : array
        See :func:`standing`.
    error, u : array
        Error of ln(pressure of the optimum) and its stated standard uncertainty; nan where none was claimed.
    """

    shift: Array
    standing: Array
    error: Array
    u: Array

    @property
    def found(self) -> NDArray[np.bool_]:
        """Whether an optimum was claimed."""
        return np.isfinite(self.error)

    def without(self, part: int, parts: int) -> Trials:
        """Leave out the sweeps of one part of `parts`."""
        keep = np.arange(self.shift.size) % parts != part
        return Trials(self.shift[keep], self.standing[keep], self.error[keep], self.u[keep])


def read_trials(
    curves: Sequence[Curve], pressures: Sequence[Array], reach: Sequence[tuple[float, float]], noise: float,
    trials: int, seed: int, processes: int | None = None,
) -> list[Trials]:  # fmt: skip
    """Simulate and analyse sweeps of each rotor; the result does not depend on the number of processes.

    Parameters
    ----------
    curves, pressures : sequences of one length
        Curves, and the pressures of their sweeps.
    reach : sequence of (float, float)
        Least and greatest shift of each curve, between which the optima are spaced evenly.
    noise : float
        Relative scatter of a speed.
    trials, seed : int
        Sweeps of each; seed of the draws.
    processes : int, optional
        Number of processes; default: number of cores, or those of a Dask cluster if one is named.
    """
    even = (np.arange(trials) + 0.5) / trials
    shifts = [low + (high - low) * even for low, high in reach]
    jobs = [
        (curve, pressure, noise, float(shift), (seed, 7, which, trial))
        for which, (curve, pressure, row) in enumerate(zip(curves, pressures, shifts, strict=True))
        for trial, shift in enumerate(row)
    ]
    if processes == 1 or (processes is None and len(jobs) < _FEW):
        read = read_some(jobs)
    else:
        with open_runner(processes=min(processes or processors(), len(jobs))) as runner:
            size = max(1, len(jobs) // (4 * runner.at_once))
            pieces = [(jobs[first : first + size],) for first in range(0, len(jobs), size)]
            read = [row for piece in runner.map(read_some, pieces) for row in piece]
    by_rotor = np.array(read).reshape(len(curves), trials, 2)
    return [
        Trials(shift, standing(curve, pressure, noise, shift), row[:, 0], row[:, 1])
        for curve, pressure, shift, row in zip(curves, pressures, shifts, by_rotor, strict=True)
    ]


Trial = tuple[Curve, Array, float, float, tuple[int, ...]]


def read_some(jobs: Sequence[Trial]) -> list[tuple[float, float]]:
    """Return the error and the stated uncertainty of each simulated sweep: a piece of work of a runner."""
    return [_one_trial(job) for job in jobs]


def _one_trial(job: Trial) -> tuple[float, float]:
    curve, pressure, noise, shift, seed = job
    place, u = read_sweep(simulated_sweep(curve, pressure, noise, np.random.default_rng(list(seed)), shift), seed[-1])
    return place - float(np.log(curve.pressure_pa)) - shift, u


@dataclass(frozen=True, eq=False)
class Calibration:
    """Errors of the analysis of sweeps of one rotor.

    Attributes
    ----------
    found_share : float
        Share of the simulated sweeps in which an optimum was claimed.
    chance : array of shape (2,)
        Intercept and slope of the chance that one is claimed, logistic in :func:`standing`; common to all rotors.
    bias, sd : float
        Mean and standard deviation of the error over its stated uncertainty.
    u : float
        Median stated uncertainty of ln(pressure of the optimum).
    scores, stated : array of shape (k,)
        Errors over their stated uncertainties, brought to mean 0 and standard deviation 1, and those uncertainties:
        pairs, drawn again in simulated studies.
    """

    found_share: float
    chance: Array
    bias: float
    sd: float
    u: float
    scores: Array
    stated: Array

    def draw(self, standing: Array, sweeps: int, random: np.random.Generator) -> tuple[Array, Array]:
        """Draw readings of sweeps.

        Parameters
        ----------
        standing : array
            Height of the curves; see :func:`standing`.
        sweeps : int
            Sweeps of each.
        random : numpy.random.Generator

        Returns
        -------
        error, u : arrays of shape (*standing.shape, sweeps)
            Error and stated uncertainty; nan where no optimum is claimed.
        """
        shape = (*standing.shape, sweeps)
        pick = random.integers(self.scores.size, size=shape)
        # slight smoothing, so that few trials do not give few distinct values
        score = (self.scores[pick] + 0.3 * random.standard_normal(shape)) / np.sqrt(1 + 0.3**2)
        seen = random.random(shape) < expit(self.chance[0] + self.chance[1] * standing)[..., None]
        u = np.where(seen, self.stated[pick], np.nan)
        return u * (self.bias + self.sd * score), u


def calibrate(trials: Sequence[Trials]) -> list[Calibration]:
    """Estimate the errors from the trials of several rotors, each partly pooled with the others.

    Raises
    ------
    InputError
        Hardly a sweep shows an optimum.
    """
    scores = [one.error[one.found] / one.u[one.found] for one in trials]
    every = np.concatenate(scores)
    if every.size < _FEWEST:
        raise InputError(
            "the simulated sweeps show no optimum", fix="ask for more readings a sweep, or for less scatter"
        )
    within = np.concatenate([part - part.mean() for part in scores if part.size])
    pooled = float(np.sqrt((within**2).sum() / max(every.size - len(scores), 1)))
    bias = _shrunk(scores, pooled)
    chance = found_chance(
        np.concatenate([one.standing for one in trials]), np.concatenate([one.found for one in trials])
    )
    told = []
    for one, own, shift in zip(trials, scores, bias, strict=True):
        freedom = max(own.size - 1, 0)
        spread = freedom * float(np.var(own, ddof=1)) if own.size > 1 else 0.0
        sd = float(np.sqrt((spread + _POOLED * pooled**2) / (freedom + _POOLED)))
        few = own.size < _FEWEST
        drawn = every if few else own
        stated = np.concatenate([two.u[two.found] for two in trials]) if few else one.u[one.found]
        standard = (drawn - drawn.mean()) / max(float(drawn.std()), 1e-12)
        share = float(one.found.mean())
        told.append(Calibration(share, chance, float(shift), sd, float(np.median(stated)), standard, stated))
    return told


def found_chance(standing: Array, found: NDArray[np.bool_]) -> Array:
    """Fit the probability that an optimum is claimed: intercept and slope of a logistic curve, with a prior.

    Examples
    --------
    >>> standing = np.linspace(1.0, 8.0, 60)
    >>> intercept, slope = found_chance(standing, standing > 4.5)
    >>> bool(4.0 < -intercept / slope < 5.0)
    True
    """
    sign = np.where(found, 1.0, -1.0)

    def surprise(ab: Array) -> float:
        apart = (ab - _FOUND_PRIOR[:, 0]) / _FOUND_PRIOR[:, 1]
        return float(np.logaddexp(0.0, -sign * (ab[0] + ab[1] * standing)).sum() + 0.5 * (apart**2).sum())

    return np.asarray(minimize(surprise, _FOUND_PRIOR[:, 0], method="Nelder-Mead", options={"xatol": 1e-4}).x)


def _shrunk(rows: Sequence[Array], pooled: float) -> Array:
    """Return the mean of each row, shrunk towards the mean of all by the share of chance in their differences. The true
    spread of rotors is estimated from the rows, and from :data:`_APART` with the weight of :data:`_APART_ROWS` more.
    """
    counts = np.array([row.size for row in rows])
    sums = np.array([row.sum() for row in rows])
    means = np.where(counts > 0, sums / np.maximum(counts, 1), 0.0)
    middle = float(sums.sum() / max(counts.sum(), 1))
    chance = pooled**2 / np.maximum(counts, 1)
    seen = counts > 0
    freedom = int(seen.sum()) - 1
    own = max(float(np.var(means[seen], ddof=1) - chance[seen].mean()), 0.0) if freedom > 0 else 0.0
    apart = (_APART_ROWS * _APART**2 + max(freedom, 0) * own) / (_APART_ROWS + max(freedom, 0))
    share = apart / (apart + chance)
    return np.asarray(middle + np.where(seen, share, 0.0) * (means - middle))
