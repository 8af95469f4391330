"""Input of every drive: the gas, the faces and the rotor at each pressure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgewind.rotor.parameters import RotorParameters
from edgewind.rotor.response import Coefficients

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Conditions:
    """The state for which torques are computed; arrays of one shape.

    Attributes
    ----------
    pressure_pa, knudsen : array
        Pressure, Pa; mean free path over the width of the vane.
    gas : Coefficients
        Response of the gas there.
    dark_k, bright_k : array
        Temperatures of the faces, K.
    rotor : RotorParameters
        The rotor.
    """

    pressure_pa: Array
    knudsen: Array
    gas: Coefficients
    dark_k: Array
    bright_k: Array
    rotor: RotorParameters

    @property
    def faces_apart(self) -> Array:
        """Temperature of the dark over that of the bright face, as a share of the gas's, dimensionless."""
        return np.asarray((self.dark_k - self.bright_k) / self.rotor.gas_temperature_k)

    @property
    def faces_warm(self) -> Array:
        """Mean temperature of the faces less the gas's, as a share of the gas's, dimensionless."""
        return np.asarray((self.dark_k + self.bright_k) / (2 * self.rotor.gas_temperature_k) - 1)


Torque = Callable[[Conditions], Array]
"""Torque on the rotor, N m, positive when it makes the bright face lead."""
