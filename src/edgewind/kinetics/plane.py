"""The operator of a strip in a rectangular room: two reduced distributions in a plane."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from edgewind.kinetics.quadrature import LANES
from edgewind.kinetics.room_operator import Incoming, RoomOperator, rim_drive
from edgewind.kinetics.sweeps import plane_sweep

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class PlaneOperator(RoomOperator):
    """Moments (columns, ny, 6): density, velocity x and y, temperature, heat flux x and y."""

    @cached_property
    def _scratch(self) -> tuple[Floats, ...]:
        g, n, s = self.grid, self.workers, LANES
        columns, ny = g.dx.size, g.cover.size
        return (
            np.zeros((n, g.boxes, 2, ny, 2, s)),
            np.zeros((n, 2, columns, 2, s)),
        )

    def _run(self, moments: Floats, walls: list[Floats], faces: Floats, room_tau: float) -> tuple[Floats, Incoming]:
        g, n = self.grid, self.workers
        columns, ny = g.dx.size, g.cover.size
        results = (
            np.zeros((n, columns, ny, 8)),
            np.zeros((n, g.boxes, ny, 4)),
            np.zeros((n, columns, 4)),
            np.zeros((n, g.boxes, ny, 4)),
            np.zeros((n, columns, 4)),
        )
        rim = np.zeros((columns, 2))
        if g.solid:
            # The slide of a face's own drive is along the face; the rim moves as the vane does.
            rim[:, 0], rim[:, 1] = rim_drive(g, self.parity, faces[0, 0], faces[-1, 0], faces[0, 1])
        else:
            walls = [*walls, np.zeros(columns)]
        workers, scratch, start, *about = self._fixed
        about = [workers, scratch, start, (g.solid, g.floor), *about, faces, rim, room_tau, self.passes]
        plane_sweep(*about, moments, walls, results)
        new, end, side, vane, onto_rim = (part.sum(axis=0) for part in results)
        new[..., 3] *= 2.0 / 3.0
        return new[..., :6], Incoming(end, (side,), vane, onto_rim if g.solid else None)
