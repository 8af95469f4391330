"""A difference in accommodation between the faces of a warm vane, as an apparent difference of temperature."""

from __future__ import annotations

from functools import cache
from importlib import resources

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import RegularGridInterpolator

Floats = NDArray[np.float64]


def apparent_difference(accommodation: ArrayLike, knudsen: ArrayLike, loss: ArrayLike) -> tuple[Floats, Floats]:
    """Return the difference of temperature equivalent to a difference in accommodation, for force and for heat.

    Both faces are warmer than the room by tau T0, and one re-emits a share of molecules diffusely that is greater by
    da. The gas that leaves the faces then differs as if their temperatures differed by ``e da tau T0``: a face emits q,
    and its accommodation a keeps the gas that leaves it cooler than the face by ``sqrt(pi) q / a``, of which the part
    that depends on a gives ::

        e = sqrt(pi) k loss / a^2.

    That is exact in free flight in a room that re-emits diffusely, with k = 1: force ``p A da tau / 4``. In denser gas
    k comes from strips whose faces differ, solved in full: within 1 % of 1 above Kn 0.5, 1.1 at Kn 0.1 and 1.7 at Kn
    0.018 for full accommodation, less for lower. It hardly depends on the room: one of 8 widths gives the same within
    0.2 %.

    Parameters
    ----------
    accommodation : array
        Mean of both faces, a.
    knudsen : array
        Mean free path over the width of the vane; infinity for free flight.
    loss : array
        Heat that leaves each face /(p0 v0 A), both warmer than the room by T0.

    Returns
    -------
    force, heat : arrays
        e for the force and for the heat between the faces, dimensionless; multiply by `thermal_force` and
        `heat_hot`.

    Examples
    --------
    >>> force, heat = apparent_difference(1.0, float("inf"), 1 / np.sqrt(np.pi))
    >>> round(float(force), 3), round(float(heat), 3)
    (1.0, 1.0)
    """
    alpha, kn = np.asarray(accommodation, dtype=float), np.asarray(knudsen, dtype=float)
    simple = np.sqrt(np.pi) * np.asarray(loss, dtype=float) / alpha**2
    alphas, numbers, factors = _factors()
    low, high = numbers[0], numbers[-1]
    place = np.stack(
        np.broadcast_arrays(np.clip(alpha, alphas[0], alphas[-1]), np.log(np.clip(kn, low, high))), axis=-1
    )
    found = factors(place).reshape(place.shape)  # the interpolator returns an array of one value for a single place
    # Above the last node a collision corrects free flight as 1/Kn.
    found = 1.0 + (found - 1.0) * np.minimum(high / kn, 1.0)[..., None]
    return np.asarray(simple * found[..., 0]), np.asarray(simple * found[..., 1])


@cache
def _factors() -> tuple[Floats, Floats, RegularGridInterpolator]:
    """Accommodations and Knudsen numbers of the table, and its factors of force and heat over both."""
    with (resources.files("edgewind.kinetics") / "accommodation.csv").open() as file:
        data = pd.read_csv(file, comment="#")
    grids = [data.pivot(index="accommodation", columns="knudsen", values=name) for name in ("force", "heat")]
    alphas, numbers = grids[0].index.to_numpy(float), grids[0].columns.to_numpy(float)
    values = np.stack([grid.to_numpy(float) for grid in grids], axis=-1)
    return alphas, numbers, RegularGridInterpolator((alphas, np.log(numbers)), values, method="linear")
