"""Pressure of the light, which is greater on the bright face."""

from __future__ import annotations

import numpy as np
from scipy.constants import speed_of_light

from edgewind.rotor.drives.base import Array, Conditions

NAME = "light pressure"
KEY = "light_pressure"


def torque(at: Conditions) -> Array:
    """Return the torque, N m, negative where the bright face reflects more: the dark face would lead.

    Both faces receive the same light over a turn, so that incident light cancels and reflected light does not:
    ``N r A (E/c) [(1 - a_bright) g_bright - (1 - a_dark) g_dark]`` with g the mean push of wholly reflected light: 1 at
    normal incidence, where a face is pushed by ``(P/c) (1 + R)`` (Maxwell, A Treatise on Electricity and Magnetism,
    1873, art. 792; measured by Nichols and Hull, Phys. Rev. 17, 26, 1903).
    """
    rotor = at.rotor
    reflected = (1 - rotor.bright_absorptance) * rotor.bright_reflected_push
    reflected = reflected - (1 - rotor.dark_absorptance) * rotor.dark_reflected_push
    push = rotor.vanes * rotor.arm_m * rotor.vane_area_m2 * rotor.irradiance_w_m2 / speed_of_light * reflected
    return np.asarray(-push + np.zeros_like(at.faces_apart))
