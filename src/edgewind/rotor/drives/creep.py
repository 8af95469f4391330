"""Thermal creep along the thickness of the vane: an estimate of its size, joined between its limits."""

from __future__ import annotations

import numpy as np

from edgewind.rotor.drives.base import Array, Conditions

NAME = "creep along the thickness"
KEY = "creep"

# Thermal-slip coefficient of the S model on a diffuse wall: Siewert and Sharipov, Phys. Fluids 14, 4123 (2002).
THERMAL_CREEP = 1.175
# The estimate below holds to about this factor either way; our judgement, no source.
WITHIN_FACTOR = 3.0


def torque(at: Conditions) -> Array:
    """Torque, N m; zero where the thickness of the vane is not given. `creep_factor` is 1 for the estimate itself.

    Along the rim the gas creeps from the cold to the hot face with ``sigma mu/(rho T) dT/dx`` and drags the rim the
    other way, as the thermal force does. The infinitely thin vane of the kinetic response does not hold it.

    Where the thickness t exceeds the free path ell, the shear is of the order of mu times that velocity over t, hence
    ``p (sigma/2) (ell/t)^2 dT/T0``. Where t is less, it is of the order of the normal stress that the response itself
    finds at the edge: its edge share, on a strip as wide as ell along the rim P, ``kappa = (1 - area share) F A/(P
    ell)``. The two are joined by adding their inverses: ``P t p (dT/T0) / (1/kappa + 2 (t/ell)^2/sigma)``. It is gone
    in free flight, where nothing that arrives has a preferred direction along the rim.
    """
    rotor = at.rotor
    ell = 2 / np.sqrt(np.pi) * at.knudsen * rotor.vane_width_m
    thickness = np.asarray(rotor.vane_thickness_m, dtype=float)
    rim = rotor.vane_rim_m
    at_the_edge = np.maximum((1 - at.gas.area_share) * at.gas.thermal_force, 1e-12) * rotor.vane_area_m2 / (rim * ell)
    shear = at.pressure_pa * at.faces_apart / (1 / at_the_edge + 2 * (thickness / ell) ** 2 / THERMAL_CREEP)
    return np.asarray(rotor.creep_factor * rotor.vanes * rotor.arm_m * rim * thickness * shear)
