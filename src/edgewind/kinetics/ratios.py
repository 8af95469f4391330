"""Ratios of the coefficients for a thick vane, and for a partly specular chamber."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from importlib import resources

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import PchipInterpolator

from edgewind.errors import OutOfRangeError
from edgewind.kinetics.table import NAMES

Floats = NDArray[np.float64]

# Room of the strips that both tables were computed in: sides over the width, and twice the vane over its walls.
ROOM = 4.0
ROOM_SHARE = 2.0 / (4.0 * ROOM)


@dataclass(frozen=True)
class _LogRatios:
    """Logarithms of ratios over accommodation, one more quantity, and Knudsen number; free flight is the last.

    Parameters
    ----------
    accommodation, second, knudsen : arrays
        Nodes, ascending; the last Knudsen number is infinite.
    values : mapping of str to array (accommodation, second, knudsen)
        Logarithms of the ratios of the coefficients in `NAMES`.
    """

    accommodation: Floats
    second: Floats
    knudsen: Floats
    values: Mapping[str, Floats]

    def at(self, accommodation: ArrayLike, second: float, knudsen: ArrayLike) -> dict[str, Floats]:
        """Return the logarithms; accommodation and Knudsen number broadcast.

        Monotone cubics in the second quantity and in ln Kn, linear in the accommodation; above the last finite Kn
        free flight is approached as 1/Kn.
        """
        kn, alpha = np.broadcast_arrays(np.asarray(knudsen, dtype=float), np.asarray(accommodation, dtype=float))
        finite = self.knudsen[:-1]
        inside = np.log(np.clip(kn, finite[0], finite[-1]))
        curves = self._curves(second)  # (coefficient, accommodation, Knudsen number)
        dense = PchipInterpolator(np.log(finite), curves[..., :-1], axis=2)(inside)
        limit = curves[..., -1].reshape(*curves.shape[:2], *[1] * kn.ndim)
        both = limit + (dense - limit) * np.minimum(finite[-1] / kn, 1.0)
        return {name: _between(self.accommodation, one, alpha) for name, one in zip(self.values, both, strict=True)}

    @cached_property
    def _curves(self) -> PchipInterpolator:
        return PchipInterpolator(self.second, np.stack(list(self.values.values())), axis=2)


def _between(nodes: Floats, values: Floats, alpha: Floats) -> Floats:
    """Interpolate linearly along the first axis, at a separate place for each of the others."""
    place = np.clip(np.searchsorted(nodes, alpha, side="right") - 1, 0, nodes.size - 2)
    share = (np.clip(alpha, nodes[0], nodes[-1]) - nodes[place]) / (nodes[place + 1] - nodes[place])
    low = np.take_along_axis(values, place[None], axis=0)[0]
    high = np.take_along_axis(values, place[None] + 1, axis=0)[0]
    return np.asarray((1.0 - share) * low + share * high)


def _read(file: str, second: str, neutral: float) -> _LogRatios:
    """Read a shipped table, with the value of the second quantity inserted at which all ratios are 1."""
    with (resources.files("edgewind.kinetics") / file).open() as text:
        data = pd.read_csv(text, comment="#").sort_values(["accommodation", second, "knudsen"])
    axes = [np.sort(data[name].unique()).astype(float) for name in ("accommodation", second, "knudsen")]
    shape = tuple(axis.size for axis in axes)
    values = {}
    place = int(np.searchsorted(axes[1], neutral))
    for name in NAMES:
        values[name] = np.insert(data[name].to_numpy(float).reshape(shape), place, 0.0, axis=1)
    return _LogRatios(axes[0], np.insert(axes[1], place, neutral), axes[2], values)


@cache
def _thickness() -> _LogRatios:
    return _read("thickness.csv", "thickness", 0.0)


@cache
def _chamber() -> _LogRatios:
    return _read("chamber.csv", "chamber", 1.0)


def thickness_ratios(
    thickness: float, accommodation: ArrayLike, knudsen: ArrayLike, *, rim: float = 1.0
) -> dict[str, Floats]:
    """Return the coefficients of a thick vane over those of an infinitely thin one.

    The temperature of the rim is linear from face to face. In denser gas the thermal force is less: by
    2.5 % at Kn 0.1 and a thickness of 0.05, by 10 % at 0.2, and by 10 % at Kn 0.03 and 0.05. The shear on the rim acts
    against the thermal force below Kn 0.5, and slightly with it above. Drag and loss of heat grow by the rim's area. In
    free flight the thermal force does not change, and the heat lost grows by just the area.

    Parameters
    ----------
    thickness : float
        Over the width of the vane, 0 to 0.5.
    accommodation, knudsen : arrays
        Of the vane, rim included; mean free path over the width. They broadcast.
    rim : float
        Rim over face, against that of an endless strip: perimeter times width over twice the area; 2 for a square or a
        disc. The logarithm of the ratio is multiplied by it.

    Returns
    -------
    dict of str to array
        Ratios of ``thermal_force``, ``heat_hot``, ``drag`` and ``loss_hot``.

    Raises
    ------
    OutOfRangeError
        A thickness outside the table.

    Examples
    --------
    >>> ratios = thickness_ratios(0.2, 1.0, 0.1)
    >>> round(float(ratios["thermal_force"]), 3), round(float(ratios["drag"]), 3)
    (0.9, 1.104)
    """
    table = _thickness()
    if not 0.0 <= thickness <= table.second[-1]:
        raise OutOfRangeError(
            f"a vane {thickness:.3g} times as thick as wide is outside the table",
            key="rotor.vane_thickness",
            fix=f"describe a vane at most {table.second[-1]:g} times as thick as wide",
        )
    return {name: np.exp(rim * found) for name, found in table.at(accommodation, thickness, knudsen).items()}


def chamber_ratios(
    chamber: float, accommodation: ArrayLike, knudsen: ArrayLike, *, room: float = ROOM, share: float = ROOM_SHARE
) -> dict[str, Floats]:
    """Return the coefficients in a partly specular chamber over those in a diffuse one. Gas reflected by the walls
    returns unchanged to the vane: less heat is lost, as by a resistance ``sqrt(pi) (1/a - 1)`` on the area of the
    walls, and in thin gas the force is greater, since a box of plane walls reflects the image of the vane. In dense gas
    the walls slip, and drag and force are less.

    Parameters
    ----------
    chamber : float
        Accommodation of the chamber, 0.2 to 1.
    accommodation, knudsen : arrays
        Of the vane; mean free path over its width. They broadcast.
    room : float
        Sides of the chamber over the width of the vane: the ratio is that of the table, a room of four widths, at the
        same free path over the chamber.
    share : float
        Both faces over all walls of the chamber; the logarithm of the ratio goes as this, which is 1/8 in the table.
        So carried over, the table meets strips in a room of eight widths and squares in a cube of four within 0.03 and
        a third of the change.

    Returns
    -------
    dict of str to array
        Ratios of ``thermal_force``, ``heat_hot``, ``drag`` and ``loss_hot``.

    Raises
    ------
    OutOfRangeError
        An accommodation outside the table.
    """
    table = _chamber()
    if not table.second[0] <= chamber <= 1.0:
        raise OutOfRangeError(
            f"the accommodation of the chamber, {chamber:.3g}, is outside the table",
            key="chamber.accommodation",
            fix=f"use {table.second[0]:g} to 1",
        )
    scale, kn = share / ROOM_SHARE, np.asarray(knudsen, dtype=float) * ROOM / room
    return {name: np.exp(scale * found) for name, found in table.at(accommodation, chamber, kn).items()}
