"""A torque from outside that does not change with pressure: a draught, a tilt, a magnet, vibration."""

from __future__ import annotations

import numpy as np

from edgewind.rotor.drives.base import Array, Conditions

NAME = "constant torque from outside"
KEY = "foreign"


def torque(at: Conditions) -> Array:
    """Return the torque, N m, positive with the bright face leading; zero unless a fit or a caller sets one."""
    return np.asarray(at.rotor.foreign_torque_n_m + np.zeros_like(at.faces_apart))
