"""The operator of a flat vane of any outline in a box room."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from edgewind.kinetics.drives import Drive
from edgewind.kinetics.quadrature import LANES
from edgewind.kinetics.room_operator import REST, Incoming, RoomOperator
from edgewind.kinetics.sweeps import compiled

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class SpaceOperator(RoomOperator):
    """Moments (columns, ny, nz, 8): density, velocity x, y and z, temperature, heat flux x, y and z."""

    @cached_property
    def _scratch(self) -> tuple[Floats, ...]:
        g, n, s = self.grid, self.workers, LANES
        columns, (ny, nz) = g.dx.size, g.cover.shape
        return (
            np.zeros((n, g.boxes, 2, 2, ny, nz, s)),
            np.zeros((n, 2, 2, columns, nz, s)),
            np.zeros((n, 2, 2, columns, ny, s)),
            np.zeros((n, 2, columns, nz, s)),
        )

    def _zeros(self, count: int) -> tuple[Floats, ...]:
        """Room for the sums of so many sweeps: moments, and what falls on end, side and outer walls and the vane."""
        boxes, columns, (ny, nz) = self.grid.boxes, self.grid.dx.size, self.grid.cover.shape
        shapes = (columns, ny, nz, 8), (boxes, ny, nz, 4), (columns, nz, 4), (columns, ny, 4), (boxes, ny, nz, 4)
        return tuple(np.zeros((count, *shape)) for shape in shapes)

    def _run(self, moments: Floats, walls: list[Floats], kept: list[Floats], drive: Drive) -> tuple[Floats, Incoming]:
        results = self._zeros(self.workers)
        compiled("space_kernel")(*(*self._fixed, self.faces(drive), drive.room, self.passes, moments, walls, results))
        new, end, side, outer, vane = (part[0] if self.workers == 1 else part.sum(axis=0) for part in results)
        new[..., 4] *= 2.0 / 3.0
        return new, Incoming(end, (side, outer), vane)

    def matrix(self, workers: int = 1) -> Floats:
        """``1 - K`` as a matrix, its columns shared by so many threads."""
        size, results = self.size, self._zeros(self.size)
        scratch = replace(self, workers=workers)._scratch
        unit = np.eye(size)
        units = [np.ascontiguousarray(unit[:, a:b]).reshape(size, *shape) for shape, a, b in self._places]
        _, _, start, sides, *about = self._fixed
        rest = (start, *sides, *about, self.faces(REST), REST.room, self.passes, *units)
        compiled("space_kernel", "sweep_each")(workers, scratch, rest, results)
        new, end, side, outer, vane = results
        new[..., 4] *= 2.0 / 3.0
        return unit - self._gather(new, Incoming(end, (side, outer), vane), REST).T
