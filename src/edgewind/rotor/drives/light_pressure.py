"""The pressure of the light itself, which pushes harder on the bright face."""

from __future__ import annotations

import numpy as np
from scipy.constants import speed_of_light

from edgewind.rotor.drives.base import Array, Conditions
from edgewind.rotor.parameters import Number

NAME = "light pressure"
KEY = "light_pressure"


def torque(at: Conditions) -> Array:
    """Torque, N m, negative: the dark face would lead."""
    rotor = at.rotor
    push = light_torque(
        rotor.irradiance_w_m2,
        rotor.vane_area_m2,
        rotor.arm_m,
        rotor.dark_absorptance,
        rotor.bright_absorptance,
        rotor.vanes,
        rotor.turn_mean_push,
    )
    return np.asarray(-push + np.zeros_like(at.faces_apart))


def light_force(power_w: float, reflectance: float) -> float:
    """Force of light at normal incidence, ``F = (P / c) (1 + R)``, in N; any shape.

    Source: Maxwell, A Treatise on Electricity and Magnetism (1873), art. 792; measured by Nichols and Hull, Phys.
    Rev. 17, 26 (1903).

    Examples
    --------
    >>> round(light_force(50.0, 0.0) / 9.80665 * 1e9, 1)  # micrograms-force of 50 W fully absorbed
    17.0
    """
    return power_w / speed_of_light * (1 + reflectance)


def light_torque(
    irradiance: Number,
    area: Number,
    arm: Number,
    dark_absorptance: Number,
    bright_absorptance: Number,
    vanes: int,
    turn_mean: float,
) -> Number:
    """Size of the net torque on the rotor, N m, positive when the dark face leads; arrays broadcast.

    The bright face is pushed by ``1 + R_bright`` and the dark one by ``1 + R_dark``, with ``R = 1 - absorptance``.
    """
    power = irradiance * area
    push = light_force(power, 1 - bright_absorptance) - light_force(power, 1 - dark_absorptance)
    return vanes * turn_mean * arm * push
