"""Vanes and rooms: the shapes Edgewind computes, and their grids. Lengths in the width of the vane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .grid import Grid, graded

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
        Where on the axis the vane stands: 0 at the back wall, 1 at the front wall, 1/2 in the middle.
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


def _finest(kn: float) -> float:
    """Size of the smallest cells at unit resolution: a fraction of the free path, within reason."""
    return float(np.clip(0.3 * kn, 0.004, 0.06))


def _normal(reach: float, kn: float, resolution: float) -> Floats:
    """Nodes from the vane's plane to an end wall."""
    largest = 0.08 + 0.06 * reach
    return graded(0.0, reach, resolution, _finest(kn), min(largest, 0.02 + 2.0 * kn), largest)


def _across(half: float, wall: float, kn: float, resolution: float) -> Floats:
    """Nodes from the plane of symmetry over an edge at `half` to the side wall."""
    edge = _finest(kn)
    inner = graded(0.0, half, resolution, 0.25 * half + edge, edge, 0.5 * half)
    largest = 0.08 + 0.06 * (wall - half)
    outer = graded(half, wall, resolution, edge, min(largest, 0.02 + 2.0 * kn), largest)
    return np.concatenate([inner, outer[1:]])


def strip_grid(room: Room, kn: float, resolution: float, *, boxes: int) -> Grid:
    """Grid of a strip of width 1: its upper half, on one side of its plane or on both."""
    y = _across(0.5, 0.5 * room.width, kn, resolution)
    cover = (0.5 * (y[1:] + y[:-1]) < 0.5).astype(float)
    return Grid(tuple(_normal(reach, kn, resolution) for reach in room.reaches[:boxes]), (y,), cover)
