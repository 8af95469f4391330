"""Recoil of the infrared radiation emitted by the faces."""

from __future__ import annotations

import numpy as np
from scipy.constants import Stefan_Boltzmann, speed_of_light

from edgewind.rotor.drives.base import Array, Conditions
from edgewind.rotor.parameters import Number

NAME = "recoil of the faces' infrared"
KEY = "infrared_recoil"


def torque(at: Conditions) -> Array:
    """Return the torque, N m, positive where the dark face radiates more, so that the bright face leads."""
    rotor, te = at.rotor, at.rotor.envelope_temperature_k
    dark = rotor.dark_emissivity * Stefan_Boltzmann * (at.dark_k**4 - te**4)
    bright = rotor.bright_emissivity * Stefan_Boltzmann * (at.bright_k**4 - te**4)
    return np.asarray(rotor.vanes * rotor.arm_m * rotor.vane_area_m2 * radiation_recoil(dark - bright))


def radiation_recoil(flux_w_m2: Number) -> Number:
    """Return the pressure of a diffuse flux of radiation on the emitting face, ``(2/3) q / c``, Pa.

    The mean of the cosine over the light that leaves by Lambert's law is 2/3. With q the net flux the envelope is
    in it too: its radiation at `T_e` presses with ``(2/3) (2 - e) sigma T_e^4 / c``, absorbed and reflected together.

    Examples
    --------
    >>> f"{radiation_recoil(450.0):.2e}"
    '1.00e-06'
    """
    return 2.0 / 3.0 * flux_w_m2 / speed_of_light
