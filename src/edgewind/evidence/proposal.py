"""Where a posterior is likely to lie: its best place, found from seeded starts, and its curvature there."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from edgewind.evidence.likelihood import Likelihood

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Mode:
    """The best place of a posterior, in scores of the priors, and a normal distribution as it curves there.

    Attributes
    ----------
    centre : array of shape (d,)
        Scores.
    root : array of shape (d, d)
        Square root of the covariance.
    log_evidence : float
        Logarithm of the evidence by Laplace's approximation.
    """

    centre: Array
    root: Array
    log_evidence: float


def posterior_of(problem: Likelihood) -> Callable[[Array], Array]:
    """Return the logarithm of likelihood times prior density at rows of scores, constants of the prior left out."""

    def log_posterior(scores: Array) -> Array:
        rows = np.atleast_2d(scores)
        likely = problem.log_likelihoods(problem.values(np.clip(rows, -8, 8)))
        return np.asarray(likely - 0.5 * np.sum(rows**2, axis=-1))

    return log_posterior


def find_mode(problem: Likelihood, *, seed: int, starts: int = 6, near: Sequence[Array] = ()) -> Mode:
    """Return the best place found from seeded starts, and from scores given as `near`, with its curvature."""
    random = np.random.default_rng(seed)
    size = len(problem.unknowns)
    log_posterior = posterior_of(problem)

    def costs(z: Array) -> Array:
        return -log_posterior(z)

    def with_slope(z: Array) -> tuple[float, Array]:
        aside = 1e-5 * np.eye(size)
        rows = costs(np.concatenate([z[None, :], z + aside, z - aside]))
        return float(rows[0]), np.asarray((rows[1 : size + 1] - rows[size + 1 :]) / 2e-5)

    tried = random.standard_normal((60 * size, size))
    tried[:, -1] = random.uniform(-1, 2.5, tried.shape[0])  # begin where scatter is large: there every start can move
    best: Any = None
    for start in (*(tried[k] for k in np.argsort(costs(tried))[:starts]), *near):
        found = minimize(with_slope, start, method="L-BFGS-B", jac=True, options={"maxiter": 300})
        if best is None or found.fun < best.fun:
            best = found
    polished = minimize(  # type: ignore[call-overload]
        lambda z: float(costs(z[None, :])[0]), best.x, method="Nelder-Mead",
        options={"maxiter": 60 * size, "fatol": 1e-3, "xatol": 1e-4},
    )  # fmt: skip
    centre = np.asarray(polished.x if polished.fun < best.fun else best.x)
    root = _root_of_curvature(costs, centre)
    least = float(costs(centre[None, :])[0])
    # In scores the prior is a standard normal, whose constant cancels that of the Gaussian integral.
    return Mode(centre, root, -least + float(np.linalg.slogdet(root)[1]))


def _root_of_curvature(costs: Callable[[Array], Array], centre: Array) -> Array:
    """Return a square root of the inverse second derivative, from steps that raise the cost by about one half."""
    size, here = centre.size, float(costs(centre[None, :])[0])
    unit = np.eye(size)
    steps, fits = np.ones(size), np.zeros(size, dtype=bool)
    for _ in range(40):
        aside = unit * steps[:, None]
        rise = np.maximum(costs(centre + aside), costs(centre - aside)) - here
        fits |= ((rise > 0.2) & (rise < 1.5)) | (steps >= 3)
        if fits.all():
            break
        steps = np.where(fits, steps, np.minimum(steps * np.where(rise >= 1.5, 0.6, 1.5), 3.0))
    aside = unit * steps[:, None]
    plus, minus = costs(centre + aside), costs(centre - aside)
    second = np.diag(plus + minus - 2 * here)
    i, j = np.triu_indices(size, 1)
    mixed = costs(centre + aside[i] + aside[j]) + costs(centre - aside[i] - aside[j])
    second[i, j] = second[j, i] = 0.5 * (mixed - plus[i] - minus[i] - plus[j] - minus[j] + 2 * here)
    curvature = second / np.outer(steps, steps)
    values, vectors = np.linalg.eigh(curvature)
    # The prior alone curves by one in every direction; less is rounding or a ridge.
    return np.asarray(vectors / np.sqrt(np.maximum(values, 1.0)))
