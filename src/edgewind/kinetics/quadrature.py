"""Discrete molecular velocities: a Gauss rule for the speeds, equal steps for the angles."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Beyond this speed exp(-s^2) is below the smallest weight that double precision distinguishes from zero.
FASTEST = 8.5


@lru_cache(maxsize=64)
def _gauss_speeds(count: int, power: int) -> tuple[Floats, Floats]:
    """Nodes and weights of the Gauss rule for the weight s^power exp(-s^2) on the half line."""
    # The three-term recurrence by the discretised Stieltjes procedure (Gautschi, Orthogonal Polynomials, 2004, section
    # 2.2), on a Legendre rule so fine that its own error is below rounding.
    x, w = np.polynomial.legendre.leggauss(400)
    s = 0.5 * FASTEST * (x + 1.0)
    w = 0.5 * FASTEST * w * s**power * np.exp(-(s**2))
    previous, current = np.zeros_like(s), np.ones_like(s)
    norm_previous = 1.0
    alpha, beta = np.zeros(count), np.zeros(count)
    for k in range(count):
        norm = float(w @ current**2)
        alpha[k] = float(w @ (s * current**2)) / norm
        beta[k] = norm / norm_previous if k else norm
        previous, current = current, (s - alpha[k]) * current - (beta[k] if k else 0.0) * previous
        norm_previous = norm
    off = np.sqrt(beta[1:])
    nodes, vectors = np.linalg.eigh(np.diag(alpha) + np.diag(off, 1) + np.diag(off, -1))
    return nodes, beta[0] * vectors[0] ** 2


# Velocities that the kernels sweep at once: two registers of eight doubles.
LANES = 16


def lane_rows(directions: Floats, weights: Floats, speed: Floats, speed_weights: Floats) -> Floats:
    """Return unit vector, speed and weight of every velocity, in rows of lanes; weightless ones fill the last row."""
    count = directions.shape[0] * speed.size
    each = np.repeat(np.arange(directions.shape[0]), speed.size)
    columns = [
        *directions[each].T,
        np.tile(speed, directions.shape[0]),
        np.outer(weights, speed_weights).ravel(),
    ]
    rows = -(-count // LANES)
    table = np.array([np.resize(column, rows * LANES) for column in columns])
    table[-1, count:] = 0.0
    return np.ascontiguousarray(table.reshape(-1, rows, LANES).transpose(1, 0, 2))


@lru_cache(maxsize=64)
def _gauss_cosines(count: int) -> tuple[Floats, Floats]:
    """Nodes and weights of the Gauss-Legendre rule on (0, 1)."""
    nodes, weights = np.polynomial.legendre.leggauss(count)
    return 0.5 * (nodes + 1.0), 0.5 * weights


@dataclass(frozen=True)
class PlaneVelocities:
    """Velocities in a plane: `speeds` times directions of one quadrant, the other three by mirror images.

    Averages over the Maxwellian, ``pi^-1 Int . exp(-s^2) d2c``, become sums over quadrants, directions and
    speeds with weight ``direction_weights[d] * speed_weights[k]``; over all four quadrants they add up to 1.

    Parameters
    ----------
    azimuths : int
        Directions in a quadrant, at the midpoints of equal steps: such steps are exact for every trigonometric
        polynomial of the Maxwellian's moments, and they resolve the shadow of an edge evenly.
    speeds : int
        Nodes of the Gauss rule for the weight ``s exp(-s^2)``, which is exact for polynomials in s up to degree
        ``2 speeds - 1``, odd ones (fluxes through a wall) included.
    """

    azimuths: int
    speeds: int

    @property
    def speed(self) -> Floats:
        """Nodes in speed, ascending."""
        return _gauss_speeds(self.speeds, 1)[0]

    @property
    def speed_weights(self) -> Floats:
        """Weights in speed; their sum is 1."""
        weights = _gauss_speeds(self.speeds, 1)[1]
        return np.asarray(weights / weights.sum())

    @property
    def directions(self) -> Floats:
        """Unit vectors in the first quadrant, shape (azimuths, 2)."""
        angle = (np.arange(self.azimuths) + 0.5) * (0.5 * np.pi / self.azimuths)
        return np.stack([np.cos(angle), np.sin(angle)], axis=1)

    @property
    def direction_weights(self) -> Floats:
        """Weights of the directions of one quadrant; their sum is 1/4."""
        return np.full(self.azimuths, 0.25 / self.azimuths)

    @property
    def rows(self) -> Floats:
        """What the kernel sweeps: (rows, components of the unit vector + speed + weight, lanes)."""
        return lane_rows(self.directions, self.direction_weights, self.speed, self.speed_weights)

    @property
    def count(self) -> int:
        """Number of velocities, all quadrants together."""
        return 4 * self.azimuths * self.speeds


@dataclass(frozen=True)
class SpaceVelocities:
    """Velocities in space: `speeds` times directions of one octant, the other seven by mirror images.

    Parameters
    ----------
    polar : int
        Angles from the x axis (the normal of the vane): Gauss-Legendre in the cosine, on (0, 1).
    azimuths : int
        Angles about that axis in the octant, at the midpoints of equal steps.
    speeds : int
        Nodes of the Gauss rule for the weight ``s^2 exp(-s^2)``.
    """

    polar: int
    azimuths: int
    speeds: int

    @property
    def speed(self) -> Floats:
        """Nodes in speed, ascending."""
        return _gauss_speeds(self.speeds, 2)[0]

    @property
    def speed_weights(self) -> Floats:
        """Weights in speed; their sum is 1."""
        weights = _gauss_speeds(self.speeds, 2)[1]
        return np.asarray(weights / weights.sum())

    @property
    def directions(self) -> Floats:
        """Unit vectors in the first octant, shape (polar * azimuths, 3)."""
        cosine = _gauss_cosines(self.polar)[0]
        angle = (np.arange(self.azimuths) + 0.5) * (0.5 * np.pi / self.azimuths)
        mu, phi = (a.ravel() for a in np.meshgrid(cosine, angle, indexing="ij"))
        sine = np.sqrt(1.0 - mu**2)
        return np.stack([mu, sine * np.cos(phi), sine * np.sin(phi)], axis=1)

    @property
    def direction_weights(self) -> Floats:
        """Weights of the directions of one octant; their sum is 1/8."""
        return np.repeat(_gauss_cosines(self.polar)[1], self.azimuths) / (8.0 * self.azimuths)

    @property
    def rows(self) -> Floats:
        """What the kernel sweeps: (rows, components of the unit vector + speed + weight, lanes)."""
        return lane_rows(self.directions, self.direction_weights, self.speed, self.speed_weights)

    @property
    def count(self) -> int:
        """Number of velocities, all octants together."""
        return 8 * self.polar * self.azimuths * self.speeds
