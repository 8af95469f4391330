"""Recoil of the gas emitted by the faces."""

from __future__ import annotations

import numpy as np

from edgewind.rotor.drives.base import Array, Conditions
from edgewind.rotor.parameters import Number

NAME = "outgassing recoil"
KEY = "outgassing"

# Outgassing of clean unbaked surfaces after an hour in vacuum, Pa m/s (1e-7 mbar l/(s cm^2)); common practice, no
# source.
UNBAKED_PA_M_S = 1e-4


def torque(at: Conditions) -> Array:
    """Return the torque, N m, positive where the dark face outgasses more; zero if the bench states no outgassing."""
    rotor = at.rotor
    recoil = recoil_pressure(
        rotor.dark_outgassing_pa_m_s - rotor.bright_outgassing_pa_m_s, rotor.most_probable_speed_m_s
    )
    return np.asarray(rotor.vanes * rotor.arm_m * rotor.vane_area_m2 * recoil + np.zeros_like(at.faces_apart))


def recoil_pressure(outgassing_pa_m_s: Number, most_probable_speed_m_s: float) -> Number:
    """Return the pressure of a diffuse flux that leaves a face, ``sqrt(pi) q / v0``, Pa.

    A molecule of a diffuse flux carries ``sqrt(pi)/2 m v0`` along the normal on average, and ``q = k T`` times the
    flux.

    Examples
    --------
    >>> f"{recoil_pressure(1e-4, 419.0):.2e}"
    '4.23e-07'
    """
    return np.sqrt(np.pi) * outgassing_pa_m_s / most_probable_speed_m_s
