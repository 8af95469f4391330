"""Thermal force of the gas on a vane with one warm and one cold face."""

from __future__ import annotations

import numpy as np

from edgewind.rotor.drives.base import Array, Conditions

NAME = "thermal force of the gas"
KEY = "thermal_force"


def torque(at: Conditions) -> Array:
    """Return the torque, N m: ``N r p A F(Kn) (T_dark - T_bright) / T0`` with F from the kinetic response.

    In free flight F is 1/4 (Knudsen, Ann. Phys. 337, 809, 1910, to first order in the difference).
    """
    rotor = at.rotor
    force = at.pressure_pa * rotor.vane_area_m2 * at.gas.thermal_force * at.faces_apart
    return np.asarray(rotor.gas_force_factor * rotor.vanes * rotor.arm_m * force)
