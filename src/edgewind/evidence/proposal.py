"""Mode of a posterior, found from seeded starts, and its curvature there."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from edgewind.evidence.likelihood import Likelihood
from edgewind.evidence.shear import Shear

Array = NDArray[np.float64]


# Modes this far below the best in ln(posterior) are dropped; greatest number of modes.
_WITHIN, _MOST = 15.0, 4
# Places are two where they are further apart than this, in standard deviations of either as the posterior curves there.
_APART = 3.0
_ROUNDS = 5
# Steps for slopes; where a rotor stops or breaks away in a run is found to some digits only, which shorter ones meet.
_STEP, _RUN_STEP = 1e-5, 1e-2
# A place is not the top yet if a step gains more than this in ln(posterior); step for slopes, in standard deviations.
_LEAST_GAIN, _SETTLING_STEP = 0.3, 0.1


@dataclass(frozen=True, eq=False)
class Mode:
    """A mode of a posterior, and the normal distribution with its curvature there.

    Attributes
    ----------
    centre : array of shape (d,)
        Scores.
    root : array of shape (d, d)
        Square root of the covariance in the coordinates of the shear.
    shear : Shear
        Coordinates in which the posterior is nearer to a normal distribution than in scores.
    log_evidence : float
        Logarithm of the evidence by Laplace's approximation.
    others : tuple of Mode
        Further places of the same posterior, the next best first.
    """

    centre: Array
    root: Array
    shear: Shear
    log_evidence: float
    others: tuple[Mode, ...] = ()

    @property
    def all(self) -> tuple[Mode, ...]:
        """The place itself and the others."""
        return (self, *self.others)

    def draw(self, count: int, random: np.random.Generator, *, wider: float = 1.0) -> Array:
        """Return scores drawn from the normal distribution, shape (count, d)."""
        return self.shear.scores(self.near(count, random, wider=wider))

    def near(self, count: int, random: np.random.Generator, *, wider: float = 1.0) -> Array:
        """Return the same in the coordinates of the shear."""
        middle = self.shear.places(self.centre[None])[0]
        return np.asarray(middle + wider * random.standard_normal((count, middle.size)) @ self.root.T)


def posterior_of(problem: Likelihood, shear: Shear | None = None, *, runs: bool = True) -> Callable[[Array], Array]:
    """Return the logarithm of likelihood times prior density, constants of the prior left out.

    With `runs` false, the runs of the problem are left out, too. It is a function of rows of scores, or of places in
    the coordinates of a shear.
    """

    def log_posterior(places: Array) -> Array:
        rows, log_volume = np.atleast_2d(places), 0.0
        if shear is not None:
            rows, log_volume = shear.scores(rows), shear.log_volume
        likely = problem.log_likelihoods(problem.values(np.clip(rows, -8, 8)), runs=runs)
        return np.asarray(likely - 0.5 * np.sum(rows**2, axis=-1) + log_volume)

    return log_posterior


def find_mode(problem: Likelihood, *, seed: int, starts: int = 6, near: Sequence[Array] = ()) -> Mode:
    """Return the best mode found from seeded starts and from scores given as `near`, with others not far below it.

    The smooth errors are linearised at the best place and the search is repeated from there until the two agree.
    """
    random = np.random.default_rng(seed)
    size = len(problem.unknowns)
    tried = random.standard_normal((60 * size, size))
    tried[:, -1] = random.uniform(-1, 2.5, tried.shape[0])  # begin at large scatter, where every start can move
    shear = Shear(problem, np.zeros(size))
    tried = shear.scores(tried)
    worth = posterior_of(problem)(tried)
    # first without runs, which is fast and has slopes everywhere: runs shift the mode a little
    found = [
        _climb(problem, shear, start, runs=False) for start in (*(tried[k] for k in np.argsort(-worth)[:starts]), *near)
    ]
    if problem.data.runs:
        found = [(place, float(posterior_of(problem)(place[None])[0])) for place, _ in found]
    best: Array = max(found, key=lambda one: one[1])[0]
    height = -np.inf
    for _ in range(_ROUNDS):
        problem.linearise(problem.values(best))
        shear = Shear(problem, best)
        found = [_climb(problem, shear, place) for place in _distinct(found)]
        place, after = max(found, key=lambda one: one[1])
        moved, best = float(np.max(np.abs(place - best))), place
        if moved < 0.05 or abs(after - height) < 0.1:
            break
        height = after
    found.append(_polished(problem, shear, best))
    found.sort(key=lambda one: -one[1])
    modes: list[Mode] = []
    for place, height in found:
        if len(modes) == _MOST or height < found[0][1] - _WITHIN:
            break
        if all(_distance(mode, place) > _APART for mode in modes):
            mode = _mode_at(problem, shear, place)
            if all(_distance(other, mode.centre) > _APART for other in modes):
                modes.append(mode)
    return replace(modes[0], others=tuple(modes[1:]))


def _climb(problem: Likelihood, shear: Shear, start: Array, *, runs: bool = True) -> tuple[Array, float]:
    """Return the maximum of the posterior reached from a start, and its height."""
    step = _RUN_STEP if runs and problem.data.runs else _STEP
    with_slope = _cost_with_slope(posterior_of(problem, shear, runs=runs), step)
    begun = shear.places(start[None])[0]
    # It ends where a step gains less than a millionth: what draws and evidence rest on is found anew from there. Twice
    # the usual number of steps are remembered, which takes half as many steps along a bent ridge. With runs a climb
    # that ends sooner costs more rounds than it saves steps.
    options: Any = {"maxiter": 300}
    if step == _STEP:
        options |= {"ftol": 1e-6, "maxcor": 20}
    found = minimize(with_slope, begun, method="L-BFGS-B", jac=True, options=options)
    return shear.scores(found.x[None])[0], -float(found.fun)


def _cost_with_slope(log_posterior: Callable[[Array], Array], step: float) -> Callable[[Array], tuple[float, Array]]:
    """Return the function of a place that gives minus ln(posterior) and its slope, by central differences."""

    def cost_with_slope(z: Array) -> tuple[float, Array]:
        size, aside = z.size, step * np.eye(z.size)
        rows = -log_posterior(np.concatenate([z[None, :], z + aside, z - aside]))
        return float(rows[0]), np.asarray((rows[1 : size + 1] - rows[size + 1 :]) / (2 * step))

    return cost_with_slope


def _polished(problem: Likelihood, shear: Shear, start: Array) -> tuple[Array, float]:
    """Return the same without derivatives, which do not exist where a rotor just stops."""
    log_posterior = posterior_of(problem, shear)
    found = minimize(  # type: ignore[call-overload]
        lambda z: -float(log_posterior(z[None, :])[0]), shear.places(start[None])[0], method="Nelder-Mead",
        options={"maxiter": 60 * start.size, "fatol": 1e-3, "xatol": 1e-4},
    )  # fmt: skip
    return shear.scores(found.x[None])[0], -float(found.fun)


def _distinct(found: Sequence[tuple[Array, float]]) -> list[Array]:
    """Return the best ends of the climbs, close ones merged."""
    kept: list[Array] = []
    for place, _ in sorted(found, key=lambda one: -one[1]):
        if len(kept) < 2 * _MOST and all(np.max(np.abs(place - other)) > 0.3 for other in kept):
            kept.append(place)
    return kept


def _distance(mode: Mode, place: Array) -> float:
    apart = mode.shear.places(np.stack([place, mode.centre]))
    return float(np.linalg.norm(np.linalg.solve(mode.root, apart[0] - apart[1])) / np.sqrt(place.size))


def _mode_at(problem: Likelihood, shear: Shear, centre: Array) -> Mode:
    """Return the mode at the end of a climb; where that ended too early, as on a bent ridge, at the top near it.

    In coordinates in which the curvature is one in every direction, a Newton step gains half the square of the slope
    (Boyd and Vandenberghe, Convex Optimization, 2004, section 9.5.1).
    """
    log_posterior = posterior_of(problem, shear)
    middle = shear.places(centre[None])[0]
    for _ in range(_ROUNDS):
        root = _root_of_curvature(lambda z: -log_posterior(z), middle)
        around = _cost_with_slope(partial(_seen_around, log_posterior, middle, root), _SETTLING_STEP)
        least, slope = around(np.zeros(middle.size))
        if 0.5 * slope @ slope < _LEAST_GAIN:
            break
        found = minimize(around, np.zeros(middle.size), method="L-BFGS-B", jac=True, options={"maxiter": 100})
        if least - found.fun < _LEAST_GAIN:
            break
        middle = middle + root @ found.x
        centre = shear.scores(middle[None])[0]
    height = float(log_posterior(middle[None, :])[0])
    # In scores the prior is a standard normal, whose constant cancels that of the Gaussian integral.
    return Mode(centre, root, shear, height + float(np.linalg.slogdet(root)[1]))


def _seen_around(log_posterior: Callable[[Array], Array], middle: Array, root: Array, steps: Array) -> Array:
    """Return ln(posterior) at steps from a middle in units of a square root of a covariance, shape (k, d)."""
    return log_posterior(middle + steps @ root.T)


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
