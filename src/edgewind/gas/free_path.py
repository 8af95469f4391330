"""The mean free path, in the three definitions that are in use, and the numbers made from it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from edgewind.gas.constants import BOLTZMANN

FloatArray = NDArray[np.float64]

# Boundaries of the flow regimes in the Knudsen number (common practice, no source; the borders are conventional).
REGIME_BORDERS = (0.01, 0.1, 10.0)
REGIMES = ("continuum", "slip", "transitional", "free-molecular")


def most_probable_speed(temperature_k: ArrayLike, molecular_mass_kg: float) -> FloatArray:
    """Return the most probable speed of the molecules, ``v0 = sqrt(2 k T / m)``, in m/s; any shape.

    Source: Chapman and Cowling, The Mathematical Theory of Non-Uniform Gases, 3rd ed. (1970), 4.11.

    Examples
    --------
    >>> float(most_probable_speed(300.0, 4.6517e-26).round(0))  # nitrogen
    422.0
    """
    return np.asarray(np.sqrt(2 * BOLTZMANN * np.asarray(temperature_k, dtype=float) / molecular_mass_kg))


def equivalent_free_path(
    viscosity_pa_s: ArrayLike, pressure_pa: ArrayLike, temperature_k: ArrayLike, molecular_mass_kg: float
) -> FloatArray:
    """Return the equivalent free path ``ell = mu v0 / p``, in m: the length by which rarefaction is counted.

    Source: Sharipov and Seleznev, J. Phys. Chem. Ref. Data 27, 657 (1998), eq. 2.3.
    """
    v0 = most_probable_speed(temperature_k, molecular_mass_kg)
    return np.asarray(np.asarray(viscosity_pa_s, dtype=float) * v0 / np.asarray(pressure_pa, dtype=float))


def mean_free_path(
    viscosity_pa_s: ArrayLike, pressure_pa: ArrayLike, temperature_k: ArrayLike, molecular_mass_kg: float
) -> FloatArray:
    """Return the mean free path from the viscosity, ``lambda = (mu / p) sqrt(pi k T / (2 m))``, in m; any shape.

    The definition used throughout Edgewind: that of hard spheres with the viscosity of the real gas, equal to
    ``(sqrt(pi) / 2) ell``. Source: Sharipov and Seleznev, J. Phys. Chem. Ref. Data 27, 657 (1998), eq. 2.2.

    Examples
    --------
    >>> float(mean_free_path(1.85e-5, 101325.0, 300.0, 4.81e-26))  # air # doctest: +ELLIPSIS
    6.71...e-08
    """
    ell = equivalent_free_path(viscosity_pa_s, pressure_pa, temperature_k, molecular_mass_kg)
    return np.asarray(np.sqrt(np.pi) / 2 * ell)


def mean_free_path_fixed_diameter(pressure_pa: ArrayLike, temperature_k: ArrayLike, diameter_m: float) -> FloatArray:
    """Return the mean free path of spheres of a fixed diameter, ``lambda = k T / (sqrt(2) pi d^2 p)``, in m; any shape.

    Source: U.S. Standard Atmosphere 1976, eq. 22, with d = 3.65e-10 m for air.

    Examples
    --------
    >>> float(mean_free_path_fixed_diameter(101325.0, 288.15, 3.65e-10))  # doctest: +ELLIPSIS
    6.633...e-08
    """
    t, p = np.asarray(temperature_k, dtype=float), np.asarray(pressure_pa, dtype=float)
    return np.asarray(BOLTZMANN * t / (np.sqrt(2) * np.pi * diameter_m**2 * p))


def mean_free_path_variable_hard_sphere(
    viscosity_pa_s: ArrayLike,
    pressure_pa: ArrayLike,
    temperature_k: ArrayLike,
    molecular_mass_kg: float,
    viscosity_exponent: ArrayLike,
) -> FloatArray:
    """Return the mean free path of variable hard spheres, in m; any shape.

    ``lambda = (2 mu / 15) (7 - 2 w) (5 - 2 w) / (rho sqrt(2 pi k T / m))`` with ``w`` the exponent of temperature in
    the viscosity. Source: Bird, Molecular Gas Dynamics and the Direct Simulation of Gas Flows (1994), eq. 4.65. With
    ``w = 1/2`` it is 16/(5 pi) times :func:`mean_free_path`.
    """
    w = np.asarray(viscosity_exponent, dtype=float)
    ratio = 4 * (7 - 2 * w) * (5 - 2 * w) / (30 * np.pi)
    return np.asarray(ratio * mean_free_path(viscosity_pa_s, pressure_pa, temperature_k, molecular_mass_kg))


def rarefaction(knudsen: ArrayLike) -> FloatArray:
    """Return the rarefaction parameter ``delta = sqrt(pi) / (2 Kn)``, dimensionless; any shape.

    Examples
    --------
    >>> float(rarefaction(1.0).round(4))
    0.8862
    """
    return np.asarray(np.sqrt(np.pi) / 2 / np.asarray(knudsen, dtype=float))


def regime(knudsen: float) -> str:
    """Name the flow regime of a Knudsen number.

    Borders at 0.01, 0.1 and 10 are conventional (common practice, no source): nothing happens suddenly there.

    Examples
    --------
    >>> regime(0.5)
    'transitional'
    """
    return REGIMES[int(np.searchsorted(REGIME_BORDERS, knudsen, side="right"))]
