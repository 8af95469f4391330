"""How much the law of the wall matters: walls of Cercignani and Lampis beside those of Maxwell."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def energy_accommodation(tangential: ArrayLike, normal: ArrayLike) -> Floats:
    """Return the accommodation of the whole kinetic energy at a wall of Cercignani and Lampis.

    ``(a_n + s (2 - s)) / 2``, with s the accommodation of tangential momentum and a_n that of the energy of the normal
    motion: a flux of molecules carries as much energy along the normal as along the wall, k T each (C. Cercignani and
    M. Lampis, Transp. Theory Stat. Phys. 1, 101, 1971).

    Examples
    --------
    >>> round(float(energy_accommodation(0.9, 0.81)), 6)
    0.9
    """
    s, a = np.asarray(tangential, dtype=float), np.asarray(normal, dtype=float)
    return np.asarray(0.5 * (a + s * (2.0 - s)))


def thermal_force_in_free_flight(normal: ArrayLike) -> Floats:
    """Return the thermal force F/(p0 A) per dT/T0 of a vane with walls of Cercignani and Lampis, in free flight.

    What leaves such a wall is Gaussian along the normal if what arrives is, with the temperature
    ``a_n T_wall + (1 - a_n) T0``: the same flux carries more momentum as its root, so that each face adds a_n/8 and
    both a_n/4. Heat goes with the accommodation of the whole energy instead; in Maxwell's law both have one value.

    Examples
    --------
    >>> float(thermal_force_in_free_flight(1.0))
    0.25
    """
    return np.asarray(0.25 * np.asarray(normal, dtype=float))


def wall_law_error(accommodation: ArrayLike, knudsen: ArrayLike) -> Floats:
    """Return the relative standard error of the thermal force, at a given heat, that stands for the law of the wall.

    A wall of Cercignani and Lampis with the accommodation a of energy and of tangential momentum has a^2 for the energy
    of the normal motion, and so a thermal force of a^2/4 in free flight, less than Maxwell's a/4 by the share 1 - a.
    Which law a surface follows is not known, so half of that difference is taken for the standard error. In dense gas
    the force comes from what slips along the edge, and the jump of temperature follows the accommodation of energy,
    alike in both: there the error is let fall as Kn/(Kn + 0.3), our judgement, no computation.

    Examples
    --------
    >>> round(float(wall_law_error(0.9, float("inf"))), 3)
    0.05
    """
    kn = np.asarray(knudsen, dtype=float)
    with np.errstate(invalid="ignore"):
        thin = np.where(np.isfinite(kn), kn / (kn + 0.3), 1.0)
    return np.asarray(0.5 * (1.0 - np.asarray(accommodation, dtype=float)) * thin)
