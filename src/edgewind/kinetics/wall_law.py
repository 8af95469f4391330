"""Effect of the law of the wall: walls of Cercignani and Lampis compared with those of Maxwell."""

from __future__ import annotations

from functools import cache
from importlib import resources

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import RegularGridInterpolator

from edgewind.kinetics.table import NAMES

Floats = NDArray[np.float64]

# Force in free flight on a warm vane whose faces differ in the accommodation of energy, with walls of Cercignani and
# Lampis, over that with Maxwell's, less 1, at most: the force is p A/4 per difference in the accommodation of the
# normal motion, which carries half of the energy (closed form). Half of it is the standard error.
UNEQUAL_IN_FREE_FLIGHT = 1.0


def wall_law_ratios(accommodation: ArrayLike, knudsen: ArrayLike) -> dict[str, Floats]:
    """Return the coefficients of a vane with faces of Cercignani and Lampis over those with Maxwell's.

    Both accommodate the same share a of the energy, which heat measures; the former also of the momentum along
    the wall, so that the energy of the normal motion is accommodated by ``a^2``. Solved for a strip in a room of four
    widths. The thermal force is less by (1 - a) times 0.3 at Kn 0.03, 0.4 at 0.1, 0.6 at 0.3, 0.8 at 1 and 1.15 at 10
    (1 in free flight without a room); drag, heat and loss differ by less than 0.08 (1 - a). With another accommodation
    of the momentum, 0.8 to 1, the force goes as the share ``1 - a_n/a`` in place of ``1 - a``, within a tenth of it.

    Parameters
    ----------
    accommodation, knudsen : arrays
        Of the energy, 0.2 to 1; mean free path over the width. They broadcast.

    Returns
    -------
    dict of str to array
        Ratios of ``thermal_force``, ``heat_hot``, ``drag`` and ``loss_hot``.

    Examples
    --------
    >>> ratios = wall_law_ratios(0.9, [0.1, 10.0])
    >>> ratios["thermal_force"].round(2).tolist(), ratios["drag"].round(3).tolist()
    ([0.96, 0.89], [1.002, 1.008])
    """
    alphas, numbers, values = _table()
    alpha, kn = np.broadcast_arrays(np.asarray(accommodation, dtype=float), np.asarray(knudsen, dtype=float))
    # The last is free flight; from the one before it is approached as 1/Kn.
    finite = numbers[:-1]
    at = np.log(np.clip(kn, finite[0], finite[-1]))
    nearer = np.minimum(finite[-1] / kn, 1.0)
    ratios = {}
    for name, table in values.items():
        rows = []
        for row in table:
            inside = np.interp(at, np.log(finite), row[:-1])
            rows.append(row[-1] + (inside - row[-1]) * nearer)
        # Per 1 - a they hardly depend on a.
        share = np.clip((alpha - alphas[0]) / (alphas[-1] - alphas[0]), 0.0, 1.0) * (alphas.size - 1)
        low = np.minimum(share.astype(int), alphas.size - 2)
        stacked = np.array(rows)
        below, above = (np.take_along_axis(stacked, (low + k)[None], axis=0)[0] for k in (0, 1))
        ratios[name] = 1.0 + (1.0 - alpha) * (below + (share - low) * (above - below))
    return ratios


@cache
def _table() -> tuple[Floats, Floats, dict[str, Floats]]:
    """Return accommodations, evenly spaced, and Knudsen numbers of the table, and (1 - ratio)/(1 - a)."""
    with (resources.files("edgewind.kinetics") / "wall_law.csv").open() as file:
        data = pd.read_csv(file, comment="#")
    grids = {name: data.pivot(index="accommodation", columns="knudsen", values=name) for name in NAMES}
    first = grids[NAMES[0]]
    alphas, numbers = first.index.to_numpy(float), first.columns.to_numpy(float)
    values = {name: np.expm1(grid.to_numpy(float)) / (1.0 - alphas)[:, None] for name, grid in grids.items()}
    return alphas, numbers, values


def unequal_wall_law_error(accommodation: ArrayLike, knudsen: ArrayLike) -> Floats:
    """Return the relative standard error, due to the law of the wall, of the force on a warm vane with unequal faces.

    It is that of the force over the thermal force of the same vane. If the faces differ in the accommodation of the
    energy of the normal motion (Cercignani and Lampis), or also of the tangential momentum, the quotient is less than
    with Maxwell's walls, more so in denser gas: half of the greater difference is taken. It is counted from free
    flight: the effect of the law there belongs to the difference of accommodations, an unknown of its own
    (`UNEQUAL_IN_FREE_FLIGHT`). Solved for strips; squares, which behave as strips at a greater Knudsen number, have
    less.

    Parameters
    ----------
    accommodation, knudsen : arrays
        Mean of both faces, of the energy; mean free path over the width. They broadcast; beyond the ends of the table,
        0.4 and 0.97, and below Kn 0.05, it is constant.

    Examples
    --------
    >>> unequal_wall_law_error([0.7, 0.9, 0.9], [0.1, 0.1, 10.0]).round(2).tolist()
    [0.29, 0.15, 0.02]
    """
    alphas, numbers, apart = _unlike()
    alpha, kn = np.broadcast_arrays(np.asarray(accommodation, dtype=float), np.asarray(knudsen, dtype=float))
    at = np.log(np.clip(kn, numbers[0], numbers[-1]))
    found = apart(np.stack([np.clip(alpha, alphas[0], alphas[-1]), at], axis=-1)).reshape(kn.shape)
    # Above the last node a collision corrects free flight as 1/Kn.
    return np.asarray(0.5 * found * np.minimum(numbers[-1] / kn, 1.0))


@cache
def _unlike() -> tuple[Floats, Floats, RegularGridInterpolator]:
    """Accommodations and Knudsen numbers of the table, and the greater size of its differences over both."""
    with (resources.files("edgewind.kinetics") / "unequal_wall_law.csv").open() as file:
        data = pd.read_csv(file, comment="#")
    grid = data.over_thermal_force.abs().groupby([data.accommodation, data.knudsen]).max().unstack()
    alphas, numbers = grid.index.to_numpy(float), grid.columns.to_numpy(float)
    return alphas, numbers, RegularGridInterpolator((alphas, np.log(numbers)), grid.to_numpy(float))


def wall_law_error(accommodation: ArrayLike, knudsen: ArrayLike) -> dict[str, Floats]:
    """Return the relative standard errors of the coefficients, at a given heat, due to the law of the wall.

    The law of a surface is not known: half of the difference of both is taken (:func:`wall_law_ratios`), which was
    solved for strips. For the internal energy of molecules, solved for both, a square behaves as a strip at about twice
    its Knudsen number: the greater of the differences at one and at two Kn is used for all vanes.

    Returns
    -------
    dict of str to array
        Of ``thermal_force``, ``heat_hot``, ``drag`` and ``loss_hot``; and ``unequal_force``, of the force of unequal
        accommodation over the thermal force (:func:`unequal_wall_law_error`).

    Examples
    --------
    >>> round(float(wall_law_error(0.9, 1.0)["thermal_force"]), 3)
    0.047
    """
    kn = np.asarray(knudsen, dtype=float)
    as_strip, as_square = (wall_law_ratios(accommodation, times * kn) for times in (1.0, 2.0))
    found = {name: 0.5 * np.maximum(np.abs(one - 1.0), np.abs(as_square[name] - 1.0)) for name, one in as_strip.items()}
    return found | {"unequal_force": unequal_wall_law_error(accommodation, kn)}
