"""The operator of a flat vane of any outline in a box room."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from edgewind.kinetics.drives import Drive
from edgewind.kinetics.quadrature import LANES
from edgewind.kinetics.room_operator import Incoming, RoomOperator
from edgewind.kinetics.space_kernel import sweep

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

    def _run(self, moments: Floats, walls: list[Floats], kept: list[Floats], drive: Drive) -> tuple[Floats, Incoming]:
        g, n = self.grid, self.workers
        columns, (ny, nz) = g.dx.size, g.cover.shape
        results = (
            np.zeros((n, columns, ny, nz, 8)),
            np.zeros((n, g.boxes, ny, nz, 4)),
            np.zeros((n, columns, nz, 4)),
            np.zeros((n, columns, ny, 4)),
            np.zeros((n, g.boxes, ny, nz, 4)),
        )
        sweep(*(*self._fixed, self.faces(drive), drive.room, self.passes, moments, walls, results))
        new, end, side, outer, vane = (part.sum(axis=0) for part in results)
        new[..., 4] *= 2.0 / 3.0
        return new, Incoming(end, (side, outer), vane)
