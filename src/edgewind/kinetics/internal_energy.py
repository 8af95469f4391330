"""Effect of the internal energy of the molecules: nitrogen compared with a monatomic gas of the same viscosity."""

from __future__ import annotations

import math
from functools import cache
from importlib import resources

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import PchipInterpolator

from edgewind.kinetics.polyatomic import NITROGEN
from edgewind.kinetics.table import NAMES

Floats = NDArray[np.float64]

# The heat over that of a monatomic gas changes from its value in dense gas to that in free flight as Kn/(Kn +
# HALF_WAY): within 0.04 of the whole change for the heat lost by a square in N2, between Kn 0.03 and 10 (an endless
# strip needs 0.22), and within 0.17 for the heat between the faces.
HALF_WAY = 0.13


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
    # over 1/Kn, so that free flight is a finite place; below the table it is constant
    at = np.log1p(1.0 / np.asarray(knudsen, dtype=float))
    curve = _curve()
    return dict(zip(NAMES, np.exp(np.moveaxis(curve(np.minimum(at, curve.x[-1])), -1, 0)), strict=True))


@cache
def _curve() -> PchipInterpolator:
    with (resources.files("edgewind.kinetics") / "internal_energy.csv").open() as file:
        data = pd.read_csv(file, comment="#").sort_values("knudsen", ascending=False)
    return PchipInterpolator(np.log1p(1.0 / data["knudsen"].to_numpy(float)), data[list(NAMES)].to_numpy(float))


def internal_energy_corrections(
    internal_heat: float, translational_eucken: float, knudsen: ArrayLike, accommodation: ArrayLike = 1.0
) -> dict[str, Floats]:
    """Return the logarithms of factors on the coefficients of a monatomic gas for the internal energy of the molecules.

    The force of nitrogen was computed. That of other gases differs in proportion to what their translational
    conductivity lacks, ``5/2 - translational_eucken``: the same square solved in eight gases with one to eight k of
    internal heat, from slow to fast exchange, is met within 15 % of the difference (CO2 has 1.7 times that of N2, CH4
    half of it, H2 none). The factors of heat are what remains beside :func:`carried_share`, in proportion to the
    logarithm of the change from dense gas to free flight. Drag has none: it changes by less than 0.1 %.

    Strips of lower accommodation act as at a greater Knudsen number, times ``(2 - a)/a`` for the force, and the root of
    it for the heat: within a tenth of the difference for accommodations of 0.8 and 0.5. Where the accommodations of the
    faces differ, they appear to differ in temperature in proportion to the heat lost over that in free flight, which
    falls further in dense gas: force and heat of strips, accommodation 0.9, are met by ``apparent`` besides within 3 %.

    Parameters
    ----------
    internal_heat : float
        Heat capacity of the internal degrees of freedom over k; 0 for a monatomic gas.
    translational_eucken : float
        Conductivity by the motion of the molecules over (3/2) k mu/m; 5/2 for a monatomic gas.
    knudsen, accommodation : array
        Mean free path over the width, and accommodation of the faces. They broadcast.

    Returns
    -------
    dict of str to array
        For ``thermal_force``, ``heat_hot``, ``drag`` and ``loss_hot``, and ``apparent``, the further factor on force
        and heat of unequal accommodation.

    Examples
    --------
    >>> round(float(internal_energy_corrections(1.0, 2.3, 0.1)["thermal_force"]), 3)
    -0.033
    """
    kn, alpha = np.broadcast_arrays(np.asarray(knudsen, dtype=float), np.asarray(accommodation, dtype=float))
    slip = (2.0 - alpha) / alpha
    force, heat = internal_energy_ratios(kn * slip)["thermal_force"], internal_energy_ratios(kn * np.sqrt(slip))
    lacking = (2.5 - translational_eucken) / (2.5 - NITROGEN.translational)
    own, nitrogen = (
        _bridged(*gas, kn) for gas in ((internal_heat, translational_eucken), (NITROGEN.heat, NITROGEN.translational))
    )
    part = own[1] / nitrogen[1]
    found = {name: part * np.log(heat[name] / nitrogen[0]) for name in ("heat_hot", "loss_hot")}
    apparent = np.log(own[0] / (1.0 + internal_heat / 2.0)) + found["loss_hot"]
    return found | {"thermal_force": lacking * np.log(force), "drag": np.zeros(kn.shape), "apparent": apparent}


def _bridged(internal_heat: float, translational_eucken: float, kn: Floats) -> tuple[Floats, float]:
    """Return the heat over that of a monatomic gas, and the logarithm of its change from dense gas to free flight."""
    thin = 1.0 + internal_heat / 2.0
    dense = (1.5 * translational_eucken + internal_heat * NITROGEN.internal) / 3.75
    return dense + (thin - dense) * carried_share(kn), math.log(thin / dense)
