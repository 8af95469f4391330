"""The response of the gas near a warmer vane: film temperature and finite temperature difference.

The coefficients of the kinetic tables are linear in the differences of temperature and hold at one temperature. The
effect of a vane whose mean temperature Tm exceeds that of the gas at rest, T0, by some ten kelvins is included here by
its two limits.

- In dense gas the viscosity is that at the film temperature ``(T0 + Tm)/2``. Force, drag and heat go there as the
  square, the first and the first power of the viscosity, whatever else is taken at T0.
- In free flight each face is pressed by ``(p/2) (1 + sqrt(T/T0))`` (diffuse re-emission of what arrives), which gives
  each coefficient a factor in closed form; the heat is linear in the temperatures and has none.

Between them the logarithms of the factors are weighted by Kn/(1 + Kn), our own interpolation; its error is in
:func:`second_order_error`.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from edgewind.rotor.parameters import RotorParameters
from edgewind.rotor.response import Coefficients, GasResponse

Array = NDArray[np.float64]


def film_knudsen(pressure_pa: Any, vane_k: Any, rotor: RotorParameters) -> Array:
    """Return the Knudsen number of the vane with the viscosity at the film temperature.

    Parameters
    ----------
    pressure_pa, vane_k : array
        Pressure, Pa, and mean temperature of the faces, K.
    rotor : RotorParameters
        The rotor and its gas.
    """
    film = (1 + np.asarray(vane_k, dtype=float) / rotor.gas_temperature_k) / 2
    return np.asarray(rotor.knudsen(pressure_pa) * film**rotor.viscosity_exponent)


def film_gas(pressure_pa: Any, vane_k: Any, rotor: RotorParameters, response: GasResponse) -> Coefficients:
    """Return the coefficients of the gas round vanes of a mean temperature; still per unit of each drive over T0.

    In free flight, with ``r = Tm/T0`` and faces of accommodation a, the force of faces d apart is
    ``(p A a/2) (sqrt(T_dark/T0) - sqrt(T_bright/T0))``, ``1/sqrt(r)`` of the linear one but for ``(d/Tm)^2/32``; that
    of unequal accommodation has ``2/(1 + sqrt(r))``; and of the drag the share of what is re-emitted diffusely,
    ``a sqrt(pi) / [8 (1 - a)/sqrt(pi) + a (4/sqrt(pi) + sqrt(pi))]``, goes with ``sqrt(r)``.

    If a cold vane brings the Knudsen number below the table, its last value is used.
    """
    kn = rotor.knudsen(pressure_pa)
    film = np.maximum(film_knudsen(pressure_pa, vane_k, rotor), np.minimum(kn, response.least_knudsen))
    gas = response.at(film, rotor.accommodation)
    with np.errstate(invalid="ignore"):
        thin = np.where(np.isfinite(kn), kn / (1 + kn), 1.0)
    root = np.sqrt(np.asarray(vane_k, dtype=float) / rotor.gas_temperature_k)
    return replace(
        gas,
        thermal_force=gas.thermal_force * root**-thin,
        drag=gas.drag * (1 + diffuse_share(rotor.accommodation) * (root - 1)) ** thin,
        accommodation_force=gas.accommodation_force * (2 / (1 + root)) ** thin,
    )


def diffuse_share(accommodation: ArrayLike) -> Array:
    """Return the share of diffuse re-emission in the free-molecular drag of a plate.

    Examples
    --------
    >>> round(float(diffuse_share(1.0)), 3)
    0.44
    """
    alpha = np.asarray(accommodation, dtype=float)
    diffuse = np.sqrt(np.pi) * alpha
    return np.asarray(diffuse / (8 * (1 - alpha) / np.sqrt(np.pi) + alpha * 4 / np.sqrt(np.pi) + diffuse))


def second_order_error(warmth: ArrayLike, knudsen: ArrayLike) -> Array:
    """Return the relative error of force and heat due to their second order in the temperature difference.

    Both ends are known: free flight in closed form, dense gas by the film temperature but for the square of the warmth,
    of which a quarter is taken. Between them half of the factor of free flight on the force, the largest that there
    is, is uncertain where the bridge is half way, and less of it nearer to the ends. Our judgement, no computation.

    Parameters
    ----------
    warmth : array
        ``(Tm - T0)/T0``.
    knudsen : array
        Mean free path over the width of the vane.

    Examples
    --------
    >>> round(float(second_order_error(0.1, 1.0)), 4)
    0.0234
    """
    epsilon, kn = np.asarray(warmth, dtype=float), np.asarray(knudsen, dtype=float)
    thin = kn / (1 + kn)
    factor = np.abs(1 / np.sqrt(1 + epsilon) - 1)
    return np.asarray(np.hypot(0.5 * factor * 4 * thin * (1 - thin), epsilon**2 / 4))
