"""Upper bound on the torque of natural convection, stated beside the drives and never added to them."""

from __future__ import annotations

import numpy as np
from scipy.constants import g as GRAVITY

from edgewind.rotor.drives.base import Array, Conditions


def convection_bound(at: Conditions) -> Array:
    """Return the upper bound on the torque of natural convection, N m, without a sign.

    Warm vanes in a room of width H stir the gas at most as fast as a viscous column of that width would rise,
    ``rho g (dT/T) H^2 / (8 mu)``, and never faster than free fall allows, ``sqrt(g H dT/T)``. If all of that flow met
    one face of every vane, the torque would be that of the drag at this speed. A rotor on a vertical axis has far less,
    since an even rise does not turn it; hence a bound.
    """
    rotor = at.rotor
    warm = np.abs((at.dark_k + at.bright_k) / (2 * rotor.gas_temperature_k) - 1)
    density = 2 * at.pressure_pa / rotor.most_probable_speed_m_s**2
    height = rotor.chamber_width_m
    viscous = density * GRAVITY * warm * height**2 / (8 * rotor.viscosity_pa_s)
    speed = np.minimum(viscous, np.sqrt(GRAVITY * height * warm))
    force = at.pressure_pa * rotor.vane_area_m2 * at.gas.drag * speed / rotor.most_probable_speed_m_s
    return np.asarray(rotor.vanes * rotor.arm_m * force)
