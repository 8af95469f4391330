"""Half-range sums over the discrete velocities, and the loads of a wall by the incident gas.

All averages are over the Maxwellian; the incoming gas is summed up by the sweep. With accommodation alpha a wall sends
back alpha (nu_w + tau_w (c^2 - 2) + 2 c.u_w) and the mirrored rest. The part with tau_w carries no net flux, so that
zero flux through the wall, or the flux u_n of a wall that moves along its normal, gives

    nu_w J = J_in + u_n / 2,   J = <c_n>  over c_n > 0,

whatever alpha is. Sums over the discrete velocities replace the exact averages, so that particles are conserved to
rounding.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgewind.kinetics.quadrature import PlaneVelocities, SpaceVelocities

Floats = NDArray[np.float64]


def half_flux(velocities: PlaneVelocities | SpaceVelocities, axis: int) -> float:
    """Return the flux <c_n> of a unit Maxwellian through a wall across `axis`: 1/(2 sqrt(pi)), up to the angles."""
    images = 2 ** (velocities.directions.shape[1] - 1)
    angular = images * float(velocities.direction_weights @ velocities.directions[:, axis])
    return float(angular * (velocities.speed_weights @ velocities.speed))


@dataclass(frozen=True)
class FaceLoads:
    """Loads of the gas on a face, along it.

    Parameters
    ----------
    pressure : array
        Normal stress less p0, over p0.
    shear : array
        Stress along the face, towards its edge, over p0.
    heat : array
        Heat that leaves the face, over p0 v0.
    """

    pressure: Floats
    shear: Floats
    heat: Floats


def face_loads(
    velocities: PlaneVelocities | SpaceVelocities,
    incoming: Floats,
    nu: Floats,
    alpha: float,
    *,
    tau: float | Floats = 0.0,
    speed: float = 0.0,
    slide: float | Floats = 0.0,
    axis: int = 0,
) -> FaceLoads:
    """Return the loads of a face across `axis` from the incident flux, pressure, shear and energy.

    The heat is <c_n (c^2 - 5/2) h>: energy less the work of a wall that moves at `speed`.
    """
    images = 2 ** (velocities.directions.shape[1] - 1)
    e, weights = velocities.directions, velocities.direction_weights
    cubed = float(velocities.speed_weights @ velocities.speed**3)
    normal_cubed = images * float(weights @ e[:, axis] ** 3) * cubed
    mixed = images * float(weights @ (e[:, axis] * e[:, 1 - axis] ** 2)) * cubed
    j = half_flux(velocities, axis)
    pressure = incoming[..., 1] + alpha * (0.5 * nu + 0.25 * tau + 4.0 * normal_cubed * speed)
    pressure = pressure + (1.0 - alpha) * (incoming[..., 1] + 8.0 * normal_cubed * speed)
    shear = alpha * (incoming[..., 2] - 4.0 * mixed * slide)
    heat = alpha * (2.0 * j * (nu + tau) - 1.25 * speed - incoming[..., 3])
    return FaceLoads(pressure, shear, heat)
