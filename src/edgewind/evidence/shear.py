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

from edgewind.evidence.fit_kernel import LEAST_STEP, Straight
from edgewind.evidence.likelihood import Likelihood
from edgewind.rotor.speed_kernel import Place

Array = NDArray[np.float64]

# Unknowns whose effect on the speeds is nearly linear, with their places; each has a normal prior. A torque is linear
# but for what its speed does to the heat of the faces.
_STRAIGHT = {"accommodation_difference": Place.ACCOMMODATION_DIFFERENCE, "foreign": Place.FOREIGN_TORQUE}
# Number of readings, from the lowest to the highest pressure, that determine the best two.
_ANCHORS = 6


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
        at = np.argsort(problem.data.pressure_pa)[at]
        values = problem.values(centre)
        speed = problem.predicted(values, problem.data.pressure_pa)[0]
        spread = problem.spread(values[None], speed[None])[0][at]
        slopes = problem.speed_slopes[at]
        known = np.linalg.inv(np.diag(spread**2) + slopes @ slopes.T)
        sign = np.where(problem.data.signed, 1.0, np.where(speed < 0, -1.0, 1.0))
        seen = (sign * problem.data.speed_rad_s)[at]
        sense, near = np.where(seen < 0, -1.0, 1.0), problem.near(at)
        here, by_torque = problem.held_never(values, near, sense)
        aside = problem.values(centre + LEAST_STEP * np.eye(centre.size)[self._moved])
        effect = np.stack([problem.held_never(row, near, sense)[0] - here for row in aside], axis=1) / LEAST_STEP
        first, second = (
            np.array([getattr(problem.unknowns[k], end) for k in self._moved]) for end in ("first", "second")
        )
        places = np.array([int(_STRAIGHT[names[k]]) for k in self._moved])
        torque = effect / by_torque[:, None]
        self._straight = Straight(places, first, second, centre[self._moved], torque, *near, seen, sense, known)
        normal = np.eye(len(self._moved)) + effect.T @ known @ effect
        self._scale = np.linalg.cholesky(np.linalg.inv(normal))

    def wanted(self, scores: Array) -> Array:
        """Return the best scores of the moved unknowns, all others as in rows of scores, shape (k, moved)."""
        return self._problem.straight_scores(self._problem.values(scores), self._straight)

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
