"""The unknowns of a rotor from its readings: posterior, evidence, and the unknowns that stay undetermined."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtr
from threadpoolctl import threadpool_limits

from edgewind.bench import Bench
from edgewind.compiled import need_compiled
from edgewind.evidence.fit_check import SmoothMisfit, predictive, smooth_misfit
from edgewind.evidence.likelihood import LEAST_READINGS, MODELS, FitData, Likelihood, fit_data
from edgewind.evidence.priors import Unknown
from edgewind.evidence.proposal import Mode, find_mode, posterior_of
from edgewind.evidence.sampling import sample
from edgewind.evidence.settling import settling_readings
from edgewind.rotor import TableResponse

Array = NDArray[np.float64]
Progress = Callable[[int, float], None]

__all__ = [
    "LEAST_READINGS",
    "MODELS",
    "Fit",
    "FitData",
    "Likelihood",
    "Marginal",
    "fit",
    "fit_data",
    "prepare_likelihood",
]

STEPS = 100
# An unknown whose posterior is nearly as wide as its prior is not fixed by the data. Widths are compared as standard
# deviations in shares of the prior, where that of the prior is 1/sqrt(12).
NOT_FIXED = 0.8
WELL_FIXED = 0.5
ALONE = "a measurement of its own"
_PICKED = 400


@dataclass(frozen=True)
class Marginal:
    """Posterior of one unknown.

    Attributes
    ----------
    unknown : Unknown
        The unknown and its prior.
    median : float
        Median of the posterior.
    interval : tuple of float
        Equal-tailed interval at the level of the fit.
    width_ratio : float
        Posterior over prior width: 1 if the readings contain no information.
    fixed_by_data : {"yes", "partly", "no"}
        Whether the readings determine it, by that ratio.
    pull : float
        Score of the median in the prior, in standard deviations: its shift by the readings.
    settled_by : str
        Reading that would narrow it most; empty if it is determined.
    """

    unknown: Unknown
    median: float
    interval: tuple[float, float]
    width_ratio: float
    fixed_by_data: str
    pull: float
    settled_by: str = ""


@dataclass(frozen=True, eq=False)
class Fit:
    """A fitted model.

    Attributes
    ----------
    model : str
        A key of `MODELS`.
    unknowns : tuple of Unknown
        Unknowns in the order of the columns of `draws`.
    draws : array of shape (k, d)
        Equally weighted draws of the posterior.
    deviations : array of shape (k, size)
        The smooth errors of the model of each draw, for :meth:`edgewind.evidence.likelihood.Likelihood.predicted`.
    log_evidence : float
        Logarithm of the evidence.
    log_evidence_u : float
        Numerical uncertainty of that logarithm.
    marginals : tuple of Marginal
        One for each unknown.
    level : float
        Coverage probability of the intervals.
    predictive : DataFrame
        Posterior predictive check: ``pressure_pa, speed_rad_s, low_rad_s, median_rad_s, high_rad_s, inside, pull``.
    p_value : float
        Share of replicated data whose misfit is greater than that of the readings; near 0 or 1 the model is doubtful.
    p_stated : float
        The same with the stated scatter, without the scatter that the fit adds.
    smooth : SmoothMisfit
        Misfit that is smooth in pressure, beyond the stated error of the model.
    settled : bool
        Whether the ensembles of walkers agree and hold enough independent draws.
    r_hat : float
        Greatest rank-normalised split R-hat of any unknown: 1 where they agree.
    calls : int
        Likelihoods computed.
    """

    model: str
    unknowns: tuple[Unknown, ...]
    draws: Array
    deviations: Array
    log_evidence: float
    log_evidence_u: float
    marginals: tuple[Marginal, ...]
    level: float
    predictive: pd.DataFrame
    p_value: float
    p_stated: float
    smooth: SmoothMisfit
    settled: bool
    r_hat: float
    calls: int
    problem: Likelihood = field(repr=False)

    def marginal(self, name: str) -> Marginal:
        """Return the posterior of the unknown called `name`."""
        return next(one for one in self.marginals if one.unknown.name == name)

    def picked(self, count: int = _PICKED) -> tuple[Array, Array]:
        """Return a number of evenly spaced draws, with their smooth errors."""
        at = np.linspace(0, len(self.draws) - 1, min(count, len(self.draws))).astype(int)
        return self.draws[at], self.deviations[at]


def prepare_likelihood(
    bench: Bench,
    data: FitData,
    model: str,
    response: TableResponse | None = None,
    seed: int = 1,
    near: Sequence[tuple[Likelihood, Mode]] = (),
) -> tuple[Likelihood, Mode]:
    """Return a likelihood whose smooth errors are linear about the best curve, and the mode of its posterior.

    The search begins at seeded places and at the modes of the models in `near`; an unknown that these lack begins at
    the middle of its prior.

    Raises
    ------
    MissingExtraError
        Numba is not installed; a fit computes fifty thousand likelihoods.
    """
    need_compiled("to fit the unknowns of a rotor")
    problem = Likelihood(bench, data, model, response)
    known = [_carried(problem, other, mode) for other, mode in near]
    with threadpool_limits(1, user_api="blas"):  # small matrices: threads would only wait for each other
        return problem, find_mode(problem, seed=seed, starts=3, near=known)


def prepare_all(
    bench: Bench,
    data: FitData,
    models: Sequence[str] = tuple(MODELS),
    response: TableResponse | None = None,
    seed: int = 1,
) -> dict[str, tuple[Likelihood, Mode]]:
    """Prepare several models, the one in which every drive acts from the places of those in which one does."""
    ready = {model: prepare_likelihood(bench, data, model, response, seed) for model in models if model != "all"}
    if "all" in models:
        ready["all"] = prepare_likelihood(bench, data, "all", response, seed, near=list(ready.values()))
    return ready


def _carried(problem: Likelihood, other: Likelihood, mode: Mode) -> Array:
    """Return the scores of one model at the best place of another."""
    place = {unknown.name: score for unknown, score in zip(other.unknowns, mode.centre, strict=True)}
    return np.array([place.get(unknown.name, 0.0) for unknown in problem.unknowns])


def fit(
    bench: Bench,
    data: FitData,
    *,
    model: str = "all",
    response: TableResponse | None = None,
    level: float = 0.9,
    seed: int = 1,
    steps: int = STEPS,
    prepared: tuple[Likelihood, Mode] | None = None,
    progress: Progress | None = None,
) -> Fit:
    """Fit the unknowns of a rotor to its readings.

    Speeds are taken as normal about the prediction, with the stated uncertainty, a relative scatter that is itself an
    unknown, and each reading's own uncertainty of pressure by the slope of the curve that fits best. The error of the
    model of the gas is smooth in ln Kn and integrated out; see `model_error`.

    Parameters
    ----------
    bench : Bench
        The bench: its stated values, with their uncertainties, are the priors.
    data : FitData
        See :func:`fit_data`.
    model : str
        A key of `MODELS`: which drives act.
    response : TableResponse, optional
        Response of the gas; default: the table for this vane and chamber.
    level : float
        Coverage of intervals.
    seed : int
        The same seed gives the same fit.
    steps : int
        Steps of each walker; see :func:`edgewind.evidence.sampling.sample`.
    prepared : tuple, optional
        Result of :func:`prepare_likelihood` for the same bench, data, model and seed, so that it is not computed again.
    progress : callable, optional
        Called with the steps done and the remaining share.

    Raises
    ------
    InputError
        Too few readings, or an unknown model.
    """
    if prepared is None:
        near = tuple(MODELS) if model == "all" else (model,)
        prepared = prepare_all(bench, data, near, response, seed)[model]
    problem, mode = prepared
    begin = [one.near for one in mode.all]
    with threadpool_limits(1, user_api="blas"):
        found = sample(posterior_of(problem, mode.shear), begin, seed=seed, steps=steps, progress=progress)
    random = np.random.default_rng([seed, 3])
    kept = random.choice(len(found.draws), min(2000, len(found.draws)), replace=False)
    scores = mode.shear.scores(found.draws[kept])
    draws = problem.values(scores)
    deviations = problem.deviations(draws, random)
    at = slice(None, _PICKED)
    table, p_value, p_stated = predictive(problem, draws[at], deviations[at], level, seed)
    marginals = _marginals(problem, draws, scores, draws[at], level)
    smooth = smooth_misfit(problem, problem.values(mode.centre))
    return Fit(
        model, problem.unknowns, draws, deviations, found.log_evidence, found.log_evidence_u, marginals, level, table,
        p_value, p_stated, smooth, found.settled, found.r_hat, found.calls, problem,
    )  # fmt: skip


def _marginals(problem: Likelihood, draws: Array, scores: Array, picked: Array, level: float) -> tuple[Marginal, ...]:
    tails = [(1 - level) / 2, 0.5, (1 + level) / 2]
    settled = settling_readings(problem, picked)
    shares = ndtr(scores)
    found = []
    for k, unknown in enumerate(problem.unknowns):
        low, middle, high = (float(q) for q in np.quantile(draws[:, k], tails))
        ratio = float(np.std(shares[:, k]) * np.sqrt(12))
        known = "no" if ratio > NOT_FIXED else "partly" if ratio > WELL_FIXED else "yes"
        by = "" if known == "yes" else settled.get(unknown.name, ALONE)
        found.append(Marginal(unknown, middle, (low, high), ratio, known, float(np.median(scores[:, k])), by))
    return tuple(found)
