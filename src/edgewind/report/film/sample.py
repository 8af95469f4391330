"""Resampling of the solver's cells on the points of a picture, separately on the two sides of the vane."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from edgewind.report.film.words import QUANTITIES

if TYPE_CHECKING:
    from edgewind.report.film.field import GasField
    from edgewind.report.film.rotor_field import RotorField

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

POINTS = 512
STRESS_POINTS = 60


@dataclass(frozen=True)
class SampleGrid:
    """Points of a picture: centres of equal squares over the upper half of the room.

    Attributes
    ----------
    x, y : arrays
        Places along the normal and across, in widths of the vane.
    """

    x: Floats
    y: Floats

    @classmethod
    def of(cls, field: GasField, points: int = POINTS) -> SampleGrid:
        """Return the points for a room: `points` along its longer side."""
        length, width = field.x[-1] - field.x[0], 2.0 * field.y[-1]
        step = max(length, width) / points
        nx, ny = max(8, round(length / step)), max(4, round(0.5 * width / step))
        x = field.x[0] + length * (np.arange(nx) + 0.5) / nx
        return cls(x, 0.5 * width * (np.arange(ny) + 0.5) / ny)


def _with_ends(at: Floats, values: Floats, low: float, high: float) -> tuple[Floats, Floats]:
    """Add values at both ends of the first axis, on the line through the two nearest cells."""
    if at.size == 1:
        return np.array([low, at[0], high]), np.concatenate([values] * 3)
    first = values[0] + (values[1] - values[0]) * (low - at[0]) / (at[1] - at[0])
    last = values[-1] + (values[-1] - values[-2]) * (high - at[-1]) / (at[-1] - at[-2])
    return np.concatenate([[low], at, [high]]), np.concatenate([first[None], values, last[None]])


def _along(at: Floats, values: Floats, low: float, high: float, wanted: Floats) -> Floats:
    places, whole = _with_ends(at, values, low, high)
    return np.asarray(PchipInterpolator(places, whole, axis=0)(wanted))


def resample(field: GasField, values: Floats, sheet: SampleGrid, *, odd: bool = False, nodes: bool = False) -> Singles:
    """Return a field on the points of a sheet, shape (y, x).

    Piecewise cubics that keep the order of their nodes (Fritsch and Carlson 1980) make no false maxima at the edge,
    where the gas changes by jumps. Beside the vane each side is resampled alone; past its edge, both together.

    Parameters
    ----------
    field : GasField
        The case.
    values : array of shape (nx, ny), or (nx, ny + 1) with `nodes`
        Values of the cells, or on the edges of cells across.
    sheet : SampleGrid
        Points wanted.
    odd : bool
        Whether the values are odd at y = 0; else they are even there.
    nodes : bool
        Whether the values are on the edges of cells across.
    """
    if nodes:
        across = np.asarray(PchipInterpolator(field.y, values, axis=1)(sheet.y)).T
    else:
        centres = 0.5 * (field.y[1:] + field.y[:-1])
        mirrored = np.concatenate([(-1.0 if odd else 1.0) * values[:, :2][:, ::-1], values], axis=1)
        places = np.concatenate([-centres[:2][::-1], centres])
        across = _along(places, mirrored.T, places[0] - 1e-9, field.y[-1], sheet.y)
    x = 0.5 * (field.x[1:] + field.x[:-1])
    front, ahead = x > 0.0, sheet.x > 0.0
    beside = sheet.y < field.edge
    out = np.empty((sheet.y.size, sheet.x.size))
    out[~beside] = _along(x, across[~beside].T, field.x[0], field.x[-1], sheet.x).T
    part = across[beside]
    out[np.ix_(beside, ahead)] = _along(x[front], part[:, front].T, 0.0, field.x[-1], sheet.x[ahead]).T
    out[np.ix_(beside, ~ahead)] = _along(x[~front], part[:, ~front].T, field.x[0], 0.0, sheet.x[~ahead]).T
    return out.astype(np.float32)


def quantity_of(field: GasField | RotorField, quantity: str) -> Floats:
    """Return the quantity of the colours, cell by cell, per unit of the drive."""
    if quantity == "pressure":
        # The mean normal stress of a gas is n k T: its relative change is the sum of those of n and T.
        return field.moment("density") + field.moment("temperature")
    if quantity in ("speed", "heat-flux"):
        kind = QUANTITIES[quantity].lines
        return np.hypot(field.moment(f"{kind}_x"), field.moment(f"{kind}_y"))
    return field.moment(quantity)


def stream_function(field: GasField, kind: str = "velocity") -> Floats:
    """Return the stream function of a flow that stays in the plane, on the edges of cells across, shape (nx, ny + 1).

    With u_x = d psi/dy and u_y = -d psi/dx; zero on the axis of the hot side. On the axis behind, it is the emission of
    the vane, which is zero except for heat. At the side wall the sum over each column must return to one value, since
    no gas passes a wall: this shows how well particles are conserved.
    """
    flow = field.moment(f"{kind}_x") * np.diff(field.y)
    psi = np.concatenate([np.zeros((flow.shape[0], 1)), np.cumsum(flow, axis=1)], axis=1)
    x = 0.5 * (field.x[1:] + field.x[:-1])
    if kind == "heat_flux":
        # Heat comes out of the vane: behind it the function starts from another value, such that it goes on
        # smoothly past the edge.
        front, back = int(np.argmax(x > 0.0)), int(np.argmax(x > 0.0)) - 1
        past = field.y > field.edge
        psi[x < 0.0] += np.mean(psi[front, past] - psi[back, past])
    return psi


def stress_points(field: GasField) -> Floats:
    """Return the load along the face at evenly spaced places from its middle to its edge, shape (STRESS_POINTS,)."""
    places = field.edge * (np.arange(STRESS_POINTS) + 0.5) / STRESS_POINTS
    if field.stress.size == 1:
        return np.full(STRESS_POINTS, field.stress[0])
    at = np.concatenate([-field.stress_y[:1], field.stress_y])
    values = np.concatenate([field.stress[:1], field.stress])
    return _along(at, values, at[0] - 1e-9, field.edge, places)
