"""Drag of the gas on vanes and arms, proportional to the speed."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from edgewind.rotor.parameters import RotorParameters
from edgewind.rotor.response import Coefficients, GasResponse

Array = NDArray[np.float64]

# Free-molecular drag of a plate that moves along its normal in an unbounded gas, both faces diffuse, F / (p A) per U
# / v0:
# Sharipov, Rarefied Gas Dynamics (2016), chapter 7; see also Bird (1994), eq. 7.71 in the limit of small speed ratio.
FREE_MOLECULAR_DRAG = 4 / np.sqrt(np.pi) + np.sqrt(np.pi)
# Free-molecular drag of a cylinder across its axis, diffuse, F / (p d l) per U / v0, from the same pressure
# (2/sqrt(pi) + sqrt(pi)/2 times the normal velocity) and shear (1/sqrt(pi) times the tangential one) on each element
# of its surface.
FREE_MOLECULAR_CYLINDER_DRAG = np.sqrt(np.pi) * (1.5 + np.pi / 4)


def vane_drag(pressure_pa: Any, gas: Coefficients, rotor: RotorParameters) -> Array:
    """Return the drag of the vanes, ``N c p A <r^2> / v0``, N m s.

    Each strip of a vane at distance r moves at ``w r`` along its normal and feels ``c p dA (w r / v0)``; the moments
    add up to the mean square distance. Exact in free flight; in denser gas it assumes an even drag over the vane,
    without the wake of the vane ahead.
    """
    moment = rotor.vanes * rotor.vane_area_m2 * rotor.mean_square_arm_m2
    return np.asarray(rotor.gas_drag_factor * moment * gas.drag * pressure_pa / rotor.most_probable_speed_m_s)


def arm_drag(pressure_pa: Any, response: GasResponse, rotor: RotorParameters) -> Array:
    """Return the drag of round arms, N m s: free-molecular, reduced in denser gas as for a strip of their diameter."""
    pressure = np.asarray(pressure_pa, dtype=float)
    diameter = rotor.arm_diameter_m
    if not np.any(np.asarray(diameter) > 0):
        return np.zeros_like(pressure)
    kn = np.maximum(rotor.knudsen(pressure, diameter), response.least_knudsen)
    thinned = response.at(kn, rotor.accommodation).drag / response.at(np.inf, rotor.accommodation).drag
    reach = np.maximum(rotor.arm_m - rotor.vane_width_m / 2, 0.0)
    moment = rotor.vanes * diameter * reach**3 / 3
    return np.asarray(FREE_MOLECULAR_CYLINDER_DRAG * moment * thinned * pressure / rotor.most_probable_speed_m_s)
