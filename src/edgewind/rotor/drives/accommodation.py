"""Force of the gas on a warm vane with unequal accommodation of its faces."""

from __future__ import annotations

import numpy as np

from edgewind.rotor.drives.base import Array, Conditions

NAME = "unequal accommodation"
KEY = "unequal_accommodation"


def torque(at: Conditions) -> Array:
    """Return the torque, N m, positive where the dark face accommodates more and the vane is warmer than the gas.

    ``N r p A G(Kn) da (T_mean - T0) / T0``: the face that re-emits more of its molecules diffusely, at the temperature
    of the vane, has the greater pressure. In free flight G is 1/4 (momentum of a diffuse flux, to first order in both
    differences), so that with a mean accommodation a the force of the gas is ``(p A/4) [a (T_dark - T_bright) + da
    (T_mean - T0)] / T0``. It changes sign with the vane's excess over the gas, as where the envelope is warmed in the
    dark, and needs no difference of temperature between the faces.
    """
    rotor = at.rotor
    force = at.pressure_pa * rotor.vane_area_m2 * at.gas.accommodation_force * at.faces_warm
    factor = rotor.gas_force_factor * rotor.gas_unequal_factor
    return np.asarray(factor * rotor.vanes * rotor.arm_m * rotor.accommodation_difference * force)
