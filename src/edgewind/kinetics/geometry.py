"""Vanes and rooms: shapes and their grids. Lengths in the width of the vane."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgewind.kinetics.grid import MULTIPLE, Grid, graded

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Room:
    """A closed rectangular room about the vane.

    Parameters
    ----------
    length : float
        Along the normal of the vane.
    width, height : float
        Along the plane of the vane; a strip has no height.
    position : float
        Place of the vane on the axis: 0 at the back wall, 1 at the front wall, 1/2 in the middle.
    """

    length: float
    width: float
    height: float | None = None
    position: float = 0.5

    @property
    def reaches(self) -> tuple[float, float]:
        """Distance from the vane to the front and to the back wall."""
        return self.length * (1.0 - self.position), self.length * self.position

    @property
    def centred(self) -> bool:
        """Whether the vane stands in the middle."""
        return self.position == 0.5


# Free paths in the thickest cell of a grid in space, at unit resolution. In thicker ones the coarse levels do not damp
# variations from cell to cell; the grids of strips are fine enough without this limit.
THICKEST = 6.0
# A thick vane must keep its outline on grids that are coarsened three times.
MULTIPLE_THICK = 8


def _finest(kn: float) -> float:
    """Return the size of the smallest cells at unit resolution: a fraction of the free path, within limits."""
    return float(np.clip(0.3 * kn, 0.004, 0.06))


def _largest(reach: float, kn: float, thickest: float) -> float:
    """Return the size of the largest cells between two places, limited in free paths."""
    return min(0.08 + 0.06 * reach, thickest * kn)


def _normal(
    reach: float,
    kn: float,
    fine: tuple[float, float],
    thickest: float = np.inf,
    *,
    first: float = 0.0,
    multiple: int = MULTIPLE,
) -> Floats:
    """Return the nodes from the vane's face to an end wall; `fine` is the resolution and its refinement."""
    largest = _largest(reach - first, kn, thickest)
    ends = (_finest(kn), min(largest, 0.02 + 2.0 * kn))
    return graded(first, reach, fine[0], *ends, largest, fine[1], multiple)


def _across(
    half: float,
    wall: float,
    kn: float,
    fine: tuple[float, float],
    thickest: float = np.inf,
    *,
    even: bool = False,
    multiple: int = MULTIPLE,
) -> Floats:
    """Return the nodes from the plane of symmetry over an edge at `half` to the side wall; evenly spaced if the outline
    cuts cells.
    """
    edge = _finest(kn)
    if even:
        inner = graded(0.0, half, fine[0], 2.0 * edge, 2.0 * edge, 2.0 * edge, fine[1], multiple)
    else:
        largest = min(0.5 * half, thickest * kn)
        inner = graded(0.0, half, fine[0], 0.25 * half + edge, edge, largest, fine[1], multiple)
    largest = _largest(wall - half, kn, thickest)
    outer = graded(half, wall, fine[0], edge, min(largest, 0.02 + 2.0 * kn), largest, fine[1], multiple)
    return np.concatenate([inner, outer[1:]])


def strip_grid(room: Room, kn: float, resolution: float, *, boxes: int, refined: float = 1.0) -> Grid:
    """Return the grid of a strip of width 1: its upper half, on one side of its plane or on both."""
    fine = (resolution, refined)
    y = _across(0.5, 0.5 * room.width, kn, fine)
    cover = (0.5 * (y[1:] + y[:-1]) < 0.5).astype(float)
    return Grid(tuple(_normal(reach, kn, fine) for reach in room.reaches[:boxes]), (y,), cover)


def thick_strip_grid(
    room: Room, kn: float, resolution: float, thickness: float, *, boxes: int, refined: float = 1.0
) -> Grid:
    """Return the grid of a strip of width 1 and some thickness, with the middle plane of a thin one."""
    fine = (resolution, refined)
    y = _across(0.5, 0.5 * room.width, kn, fine, multiple=MULTIPLE_THICK)
    cover = (0.5 * (y[1:] + y[:-1]) < 0.5).astype(float)
    half, edge = 0.5 * thickness, min(_finest(kn), 0.25 * thickness)
    inside = graded(0.0, half, resolution, 2.0 * edge, edge, 2.0 * edge, refined, MULTIPLE_THICK)
    x = tuple(
        np.concatenate([inside[:-1], _normal(reach, kn, fine, first=half, multiple=MULTIPLE_THICK)])
        for reach in room.reaches[:boxes]
    )
    return Grid(x, (y,), cover, solid=inside.size - 1)


def covered(outline: Callable[[Floats, Floats], NDArray[np.bool_]], y: Floats, z: Floats) -> Floats:
    """Return the share of each cell of a tensor grid that lies within an outline, by points at equal steps."""
    # Different numbers along the two axes: an edge along the diagonal would else pass through the points
    # themselves.
    points_y, points_z = 24, 35
    fine_y = (y[:-1, None] + np.diff(y)[:, None] * (np.arange(points_y) + 0.5) / points_y).ravel()
    fine_z = (z[:-1, None] + np.diff(z)[:, None] * (np.arange(points_z) + 0.5) / points_z).ravel()
    mask = outline(fine_y[:, None], fine_z[None, :])
    return np.asarray(mask.reshape(y.size - 1, points_y, z.size - 1, points_z).mean(axis=(1, 3)))


@dataclass(frozen=True)
class Shape:
    """The outline of a vane.

    Parameters
    ----------
    name : str
        ``strip``, ``square``, ``rectangle``, ``diamond`` (a square standing on its corner) or ``disc``.
    aspect : float
        Height over width of a rectangle; 1 for the others.
    """

    name: str
    aspect: float = 1.0

    @property
    def extents(self) -> tuple[float, ...]:
        """Extents across the normal, in the width L: the side of a square, the diameter of a disc."""
        if self.name == "strip":
            return (1.0,)
        side = 2.0**0.5 if self.name == "diamond" else 1.0
        return (side, side * self.aspect)

    @property
    def cuts_cells(self) -> bool:
        """Whether the outline runs through cells rather than along them."""
        return self.name in ("diamond", "disc")

    def contains(self, y: Floats, z: Floats) -> NDArray[np.bool_]:
        """Return whether points of the vane's plane lie within the outline."""
        if self.name == "disc":
            return np.asarray(y**2 + z**2 < 0.25)
        if self.name == "diamond":
            return np.asarray(np.abs(y) + np.abs(z) < 0.5 * 2.0**0.5)
        return np.asarray((np.abs(y) < 0.5) & (np.abs(z) < 0.5 * self.aspect))

    def grid(self, room: Room, kn: float, resolution: float, *, boxes: int, refined: float = 1.0) -> Grid:
        """Return the grid of a quarter of the room, bounded by two planes of symmetry, on one side of the vane or on
        both.
        """
        if self.name == "strip":
            return strip_grid(room, kn, resolution, boxes=boxes, refined=refined)
        fine = (resolution, refined)
        sides = zip(self.extents, (room.width, room.height or room.width), strict=True)
        even = self.cuts_cells
        y, z = (_across(0.5 * extent, 0.5 * side, kn, fine, THICKEST, even=even) for extent, side in sides)
        x = tuple(_normal(reach, kn, fine, THICKEST) for reach in room.reaches[:boxes])
        return Grid(x, (y, z), covered(self.contains, y, z))
