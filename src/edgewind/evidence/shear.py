"""Coordinates in which a posterior has no narrow ridges: unknowns with a linear effect relative to their conditional
mean.

The thermal force, unequal accommodation and a constant torque from outside may balance each other many times over: a
rotor of a poorly known conductance fits the readings along a thin and bent ridge, on which walkers hardly move. Speeds
are nearly linear in the difference of accommodations and in the constant torque. So for any values of the others, the
best two follow from a small linear problem; climbs and walkers step in the distance of the two from these, over its
spread. A shift of some coordinates by a function of the others preserves volumes, and the scale is taken into account,
so posterior and evidence are the same.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from edgewind.evidence.likelihood import Likelihood
from edgewind.evidence.priors import Priors

Array = NDArray[np.float64]

# Unknowns whose effect on the speeds is nearly linear; each has a normal prior.
_STRAIGHT = ("accommodation_difference", "foreign")
# Number of readings, from the lowest to the highest pressure, that determine the best two.
_ANCHORS = 6
# Step of the scores by which slopes are taken, and how far the two are let go.
_STEP, _FARTHEST = 0.1, 6.0


class Shear:
    """Coordinates of one likelihood: scores, those of some unknowns relative to their best values by the readings.

    Parameters
    ----------
    problem : Likelihood
        The likelihood, its smooth errors linear about its best place.
    centre : array of shape (d,)
        Scores of that place, or of another at which the spreads of the readings are computed.
    """

    def __init__(self, problem: Likelihood, centre: Array) -> None:
        self._problem = problem
        names = [unknown.name for unknown in problem.unknowns]
        self._moved = [names.index(name) for name in _STRAIGHT if name in names]
        if not self._moved:
            return
        size = problem.data.speed_rad_s.size
        at = np.unique(np.linspace(0, size - 1, min(_ANCHORS, size)).round().astype(int))
        self._at = np.argsort(problem.data.pressure_pa)[at]
        values = problem.values(centre)
        speed = problem.predicted(values, problem.data.pressure_pa)[0]
        spread = problem.spread(values[None], speed[None])[0][self._at]
        slopes = problem.speed_slopes[self._at]
        self._known = np.linalg.inv(np.diag(spread**2) + slopes @ slopes.T)
        sign = np.where(problem.data.signed, 1.0, np.where(speed < 0, -1.0, 1.0))
        self._seen = (sign * problem.data.speed_rad_s)[self._at]
        self._sense = np.where(self._seen < 0, -1.0, 1.0)
        self._middle = centre[self._moved]
        self._aside = _STEP * np.eye(len(self._moved) + 1, len(self._moved), k=-1)[:, None]
        self._priors = Priors([problem.unknowns[k] for k in self._moved])
        _, normal = self._step(centre[None], self._middle[None])
        self._scale = np.linalg.cholesky(np.linalg.inv(normal[0]))

    def wanted(self, scores: Array) -> Array:
        """Return the best scores of the moved unknowns, all others as in rows of scores, shape (k, moved)."""
        middle = np.broadcast_to(self._middle, (len(scores), len(self._moved)))
        return self._step(scores, middle)[0]

    def _step(self, scores: Array, middle: Array) -> tuple[Array, Array]:
        """Return the result of Newton's steps from a middle, and the matrix of the problem, (k, moved, moved)."""
        count, many = len(scores), len(self._moved)
        values, at = self._problem.values(scores), np.array(middle)
        # each moved unknown at its place and a step aside, in one call, since a climb has a few rows at a time
        aside = (at + self._aside).reshape(-1, many)
        speeds = self._speeds(np.concatenate([values] * (many + 1)), aside).reshape(many + 1, count, -1)
        here = speeds[0]
        effect = np.moveaxis(speeds[1:] - here, 0, -1) / _STEP
        weighted = np.swapaxes(effect, 1, 2) @ self._known
        normal = np.eye(many) + weighted @ effect
        back = np.linalg.inv(normal)
        for again in (True, False):  # the second with the slopes of the first
            slope = at - (weighted @ (self._seen - here)[..., None])[..., 0]
            at = np.clip(at - (back @ slope[..., None])[..., 0], -_FARTHEST, _FARTHEST)
            if again:
                here = self._speeds(values, at)
        return at, normal

    def _speeds(self, values: Array, moved: Array) -> Array:
        """Return the speeds at rows of values with the moved unknowns at scores of their own; the rows are changed."""
        values[:, self._moved] = self._priors.values(moved)
        return self._problem.speeds_near(values, self._at, self._sense)

    @property
    def log_volume(self) -> float:
        """Logarithm of the volume of scores over that of these coordinates."""
        return float(np.linalg.slogdet(self._scale)[1]) if self._moved else 0.0

    def scores(self, places: Array) -> Array:
        """Return the scores at rows of these coordinates."""
        if not self._moved:
            return places
        found = np.array(places)
        found[:, self._moved] = self.wanted(np.clip(places, -8, 8)) + found[:, self._moved] @ self._scale.T
        return found

    def places(self, scores: Array) -> Array:
        """Return these coordinates at rows of scores."""
        if not self._moved:
            return scores
        found = np.array(scores)
        apart = found[:, self._moved] - self.wanted(np.clip(scores, -8, 8))
        found[:, self._moved] = np.linalg.solve(self._scale, apart.T).T
        return found
