"""Expected information of a reading on the maximising pressure: mutual information over the curves that fit so far.

Each posterior curve f has its maximum at z. A reading y = f(x) + noise at pressure x has the mutual information I(z; y)
= h(y) - E_z[h(y | z)], with the differential entropies h of normal distributions: curves are grouped by the place of
their maximum into sixteen groups of equal probability, and the variance of f(x) within a group, plus that of the noise,
gives h(y | z). Several readings are taken one after the other: the variances are then those that remain once the
earlier ones are known (Cover and Thomas 2006, *Elements of Information Theory*, section 2.5, the chain rule; Krause,
Singh and Guestrin 2008, *Near-optimal sensor placements in Gaussian processes*, for the greedy choice; Villemonteix,
Vazquez and Walter 2009, *An informational approach to the global optimization of expensive-to-evaluate functions*, for
the entropy of the place of the maximum as the objective).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls

from edgewind.evidence import ResponseCurve
from edgewind.rotor.optimum import highest_places

Array = NDArray[np.float64]

# Groups of curves by the place of their maximum.
_GROUPS = 16
# Share of the curves at each end that is limited to the quantile, so that single outliers do not dominate a variance.
_DRAWN_IN = 0.002
NATS_PER_BIT = float(np.log(2.0))


def expected_noise(curve: ResponseCurve) -> Array:
    """Return the variance of a new reading about the curve at each pressure of the grid, (rad/s)^2.

    The stated uncertainties of the readings so far are fitted by ``u^2 = a + b speed^2`` with a and b not below zero;
    the readings' own uncertainty of pressure is carried over the slope, and the excess scatter is added.

    Parameters
    ----------
    curve : ResponseCurve
        The curve so far.

    Returns
    -------
    ndarray, shape (m,)
    """
    data = curve.data
    u_squared = data.speed_u_rad_s**2
    design = np.column_stack([np.ones(data.size), data.speed_rad_s**2]) / u_squared[:, None]
    scale = np.maximum(np.linalg.norm(design, axis=0), 1e-300)  # all speeds may be zero
    coefficients = nnls(design / scale, np.ones(data.size))[0] / scale
    stated = coefficients[0] + coefficients[1] * curve.mean**2
    stated = np.maximum(stated, float(u_squared.min()) / 4)
    slope = np.gradient(curve.mean, curve.log_pressure)
    own = float(np.median(data.log_pressure_u))
    return np.asarray(stated + (slope * own) ** 2 + curve.excess_rad_s**2)


@dataclass(frozen=True, eq=False)
class InformationGain:
    """Information of readings at the pressures of a curve's grid on the place of its maximum.

    Parameters
    ----------
    curve : ResponseCurve
        The curve so far, with its draws.
    """

    curve: ResponseCurve

    @cached_property
    def places(self) -> Array:
        """ln(pressure / Pa) of the maximum of each drawn curve, shape (k,)."""
        sense = 1.0 if self.curve.data.speed_rad_s.sum() >= 0 else -1.0
        return highest_places(self.curve.log_pressure, sense * self.curve.draws)

    @cached_property
    def noise(self) -> Array:
        """Variance of a reading, shape (m,); see :func:`expected_noise`."""
        return expected_noise(self.curve)

    @cached_property
    def _groups(self) -> tuple[Array, Array]:
        """Curves about their means: of all, shape (k, m), and by place of the maximum, shape (g, k / g, m)."""
        curves = np.clip(self.curve.draws, *np.quantile(self.curve.draws, (_DRAWN_IN, 1 - _DRAWN_IN), axis=0))
        size = len(curves) // _GROUPS
        order = np.argsort(self.places, kind="stable")[: size * _GROUPS]
        grouped = curves[order].reshape(_GROUPS, size, -1)
        return curves - curves.mean(0), grouped - grouped.mean(1, keepdims=True)

    def information(self, chosen: Sequence[int] = ()) -> Array:
        """Return the information on the maximising pressure from one more reading at each pressure, bits, shape (m,).

        Parameters
        ----------
        chosen : sequence of int
            Places on the grid of readings that are taken before.
        """
        every, grouped = self._groups
        total = self._left(every[None], chosen)[0]
        within = self._left(grouped, chosen)
        nats = 0.5 * np.log(total + self.noise) - 0.5 * np.log(within + self.noise).mean(0)
        return np.asarray(np.maximum(nats, 0.0) / NATS_PER_BIT)

    def _left(self, curves: Array, chosen: Sequence[int]) -> Array:
        """Return the variance of the curves (g, k, m) remaining after readings at the chosen places, shape (g, m)."""
        freedom = curves.shape[1] - 1 - len(chosen)
        variance = (curves**2).sum(1) / freedom
        if not chosen:
            return np.asarray(variance)
        at = list(chosen)
        across = np.swapaxes(curves[..., at], 1, 2) @ curves / freedom
        matrix = across[..., at] + np.diag(self.noise[at])
        explained = (across * np.linalg.solve(matrix, across)).sum(1)
        return np.asarray(np.maximum(variance - explained, 0.0))
