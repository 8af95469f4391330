"""Effect of the internal energy of the molecules: nitrogen compared with a monatomic gas of the same viscosity."""

from __future__ import annotations

from functools import cache
from importlib import resources

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from edgewind.kinetics.polyatomic import NITROGEN
from edgewind.kinetics.table import NAMES

Floats = NDArray[np.float64]

# The heat over that of a monatomic gas changes from its value in dense gas to that in free flight as Kn/(Kn +
# HALF_WAY): within 0.04 of the whole change for the heat lost by a square in N2, between Kn 0.03 and 10 (an endless
# strip needs 0.22), and within 0.17 for the heat between the faces.
HALF_WAY = 0.13
# Exponent of the difference of the force in the internal heat capacity: the difference is 1.0, 1.4 and 2.5 times that
# of N2 for 1, 2 and 8 k a molecule, as with translational Eucken factors of 2.30, 2.23 and 1.99 (our judgement). The
# formula that `NITROGEN` follows gives CO2, with 1.98 k and a collision number of 2.4, a factor of 2.21, and no gas
# less than 1.95.
POWER = 0.45


def carried_share(knudsen: ArrayLike) -> Floats:
    """Return the position of the heat ratio between its value in dense gas, 0, and that in free flight, 1.

    Examples
    --------
    >>> carried_share([0.1, 1.0]).round(2).tolist()
    [0.43, 0.88]
    """
    return np.asarray(1.0 / (1.0 + HALF_WAY / np.asarray(knudsen, dtype=float)))


def internal_energy_ratios(knudsen: ArrayLike) -> dict[str, Floats]:
    """Return the coefficients in nitrogen over those in a monatomic gas of the same viscosity.

    Solved for a square in a room of four widths, full accommodation (:mod:`edgewind.kinetics.polyatomic`). The thermal
    force follows the conductivity of the motion of the molecules alone, which is somewhat less for the same viscosity:
    less by 0.8, 1.9, 3.3 and 4.4 % at Kn 1, 0.3, 0.1 and 0.03, and alike in free flight. Drag is alike. The force on an
    endless strip is less by as much at about twice the Knudsen number.

    Parameters
    ----------
    knudsen : array
        Mean free path over the width.

    Returns
    -------
    dict of str to array
        Ratios of ``thermal_force``, ``heat_hot``, ``drag`` and ``loss_hot``.

    Examples
    --------
    >>> ratios = internal_energy_ratios(0.1)
    >>> round(float(ratios["thermal_force"]), 3), round(float(ratios["loss_hot"]), 3)
    (0.967, 1.391)
    """
    numbers, values = _table()
    kn = np.asarray(knudsen, dtype=float)
    # over 1/Kn, so that free flight is a finite place
    at = np.log1p(1.0 / kn)
    order = np.argsort(np.log1p(1.0 / numbers))
    place = np.log1p(1.0 / numbers)[order]
    return {name: np.exp(np.interp(at, place, table[order])) for name, table in values.items()}


@cache
def _table() -> tuple[Floats, dict[str, Floats]]:
    with (resources.files("edgewind.kinetics") / "internal_energy.csv").open() as file:
        data = pd.read_csv(file, comment="#")
    return data["knudsen"].to_numpy(float), {name: data[name].to_numpy(float) for name in NAMES}


def internal_energy_error(internal_heat: ArrayLike, knudsen: ArrayLike) -> dict[str, Floats]:
    """Return the relative standard errors of the coefficients for neglecting the internal energy of the molecules.

    The error is the whole difference computed for nitrogen, scaled for other gases by a power of their internal heat
    capacity: it is that of a lone square, and was not computed for a rotor.
    For heat it is the residual of :func:`carried_share`.

    Parameters
    ----------
    internal_heat : array
        Heat capacity of the internal degrees of freedom over k; 0 for a monatomic gas, whose error is 0.
    knudsen : array
        Mean free path over the width. They broadcast.

    Examples
    --------
    >>> error = internal_energy_error(1.0, 0.1)
    >>> round(float(error["thermal_force"]), 3), round(float(error["drag"]), 4)
    (0.033, 0.0002)
    """
    ratios, size = internal_energy_ratios(knudsen), np.asarray(internal_heat, dtype=float) ** POWER
    thin = 1.0 + NITROGEN.heat / 2.0
    dense = (1.5 * NITROGEN.translational + NITROGEN.heat * NITROGEN.internal) / 3.75
    bridge = dense + (thin - dense) * carried_share(knudsen)
    errors = {name: size * np.abs(ratios[name] - 1.0) for name in ("thermal_force", "drag")}
    return errors | {name: size * np.abs(bridge / ratios[name] - 1.0) for name in ("heat_hot", "loss_hot")}
