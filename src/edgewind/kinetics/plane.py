"""The linear operator of a strip in a rectangular room: unknowns in, one sweep, unknowns out."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from .drives import Drive
from .grid import Grid
from .plane_kernel import sweep
from .quadrature import PlaneVelocities
from .walls import half_flux

Floats = NDArray[np.float64]

REST = Drive()


@dataclass(frozen=True)
class Walls:
    """Accommodation of the faces and of the room, and what the specular part of the room asks for."""

    front: float = 1.0
    back: float = 1.0
    room: float = 1.0

    def passes(self, tolerance: float = 1e-8) -> int:
        """Rounds after which gas that only mirrors at the room is forgotten."""
        if self.room == 1.0:
            return 1
        return 1 + int(np.ceil(np.log(tolerance) / np.log(1.0 - self.room)))


@dataclass(frozen=True)
class Incoming:
    """What falls on the walls in one sweep: flux, pressure, shear, energy on the last axis."""

    vane: Floats
    end: Floats
    side: Floats


@dataclass(frozen=True)
class PlaneOperator:
    """The fixed point ``y = K y + d``: y the moments that scatter and the densities that walls send back.

    Parameters
    ----------
    grid : Grid
        Cells.
    velocities : PlaneVelocities
        Discrete velocities.
    delta : float
        Rarefaction parameter.
    walls : Walls
        Accommodation.
    parity : float
        How the field continues behind the vane's plane, where the grid is one box.
    workers : int
        Threads.
    """

    grid: Grid
    velocities: PlaneVelocities
    delta: float
    walls: Walls
    parity: float
    workers: int = 1

    @cached_property
    def shapes(self) -> tuple[tuple[int, ...], ...]:
        """Shapes of the unknowns: moments, end walls, side walls, faces."""
        g = self.grid
        ny = g.cover.size
        return (g.dx.size, ny, 6), (g.boxes, ny), (g.dx.size,), (g.boxes, ny)

    @cached_property
    def size(self) -> int:
        """Number of unknowns."""
        return sum(int(np.prod(shape)) for shape in self.shapes)

    def split(self, y: Floats) -> list[Floats]:
        """Views of the unknowns by kind."""
        parts, at = [], 0
        for shape in self.shapes:
            count = int(np.prod(shape))
            parts.append(y[at : at + count].reshape(shape))
            at += count
        return parts

    @cached_property
    def scale(self) -> Floats:
        """Root of the share of the domain that each unknown stands for: norms then approximate integrals."""
        g = self.grid
        volume = g.volume / g.volume.sum()
        wall = g.boxes * g.face.sum() + g.dx.sum()
        parts = [
            np.repeat(volume[..., None], 6, axis=-1),
            np.tile(g.face, (g.boxes, 1)) / wall,
            g.dx / wall,
            np.tile(np.maximum(g.face * g.cover, 1e-3 * g.face), (g.boxes, 1)) / wall,
        ]
        return np.sqrt(np.concatenate([np.ravel(part) for part in parts]))

    @cached_property
    def _scratch(self) -> tuple[Floats, Floats, Floats]:
        g, n, s = self.grid, self.workers, self.velocities.speeds
        columns, ny = g.dx.size, g.cover.size
        return (
            np.zeros((n, g.boxes, 2, ny, 2, s)),
            np.zeros((n, 2, columns, 2, s)),
            np.zeros((n, columns, 2, s)),
        )

    @cached_property
    def _tables(self) -> tuple[Floats, ...]:
        v = self.velocities
        return v.directions, v.direction_weights, v.speed, v.speed_weights

    @cached_property
    def _half_flux(self) -> tuple[float, float]:
        return half_flux(self.velocities, 0), half_flux(self.velocities, 1)

    def sweep(self, y: Floats, drive: Drive = REST, source: Floats | None = None) -> tuple[Floats, Incoming]:
        """One sweep: the new unknowns, and what fell on the walls.

        `source` are moments that scatter besides those of `y`: a body force, or a gradient along a channel.
        """
        g, n = self.grid, self.workers
        moments, end_nu, side_nu, vane_nu = self.split(y)
        if source is not None:
            moments = moments + source
        columns, ny = g.dx.size, g.cover.size
        out, vane = np.zeros((n, columns, ny, 6)), np.zeros((n, g.boxes, ny, 4))
        end, side = np.zeros((n, g.boxes, ny, 4)), np.zeros((n, columns, 4))
        faces = np.array(
            [[drive.front, drive.speed, drive.slide], [drive.back, -drive.speed, drive.slide]][: g.boxes]
        )
        sweep(
            n, *self._scratch, g.start, g.dx, g.sides[0], *self._tables, self.delta, g.cover, self.parity,
            np.array([self.walls.front, self.walls.back][: g.boxes]), self.walls.room, faces, drive.room,
            self.walls.passes(), moments, end_nu, side_nu, vane_nu, out, end, side, vane,
        )  # fmt: skip
        incoming = Incoming(vane.sum(axis=0), end.sum(axis=0), side.sum(axis=0))
        jx, jy = self._half_flux
        new = np.concatenate(
            [
                out.sum(axis=0).ravel(),
                incoming.end[..., 0].ravel() / jx,
                incoming.side[..., 0].ravel() / jy,
                ((incoming.vane[..., 0] + 0.5 * faces[:, 1, None]) * (g.cover > 0.0) / jx).ravel(),
            ]
        )
        return new, incoming

    def apply(self, y: Floats) -> Floats:
        """``(1 - K) y``."""
        return y - self.sweep(y)[0]
