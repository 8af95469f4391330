"""The operator of a flat vane of any outline in a box room."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from edgewind.kinetics.cycle import SweepParts
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
        """Return zero arrays for the sums of sweeps: moments, and incidence on end, side, outer walls and vane."""
        boxes, columns, (ny, nz) = self.grid.boxes, self.grid.dx.size, self.grid.cover.shape
        shapes = (columns, ny, nz, 8), (boxes, ny, nz, 4), (columns, nz, 4), (columns, ny, 4), (boxes, ny, nz, 4)
        return tuple(np.zeros((count, *shape)) for shape in shapes)

    def _run(self, moments: Floats, walls: list[Floats], kept: list[Floats], drive: Drive) -> tuple[Floats, Incoming]:
        results = self._zeros(self.workers)
        compiled("space_kernel")(*(*self._fixed, self.faces(drive), drive.room, self.passes, moments, walls, results))
        new, end, side, outer, vane = (part[0] if self.workers == 1 else part.sum(axis=0) for part in results)
        new[..., 4] *= 2.0 / 3.0
        return new, Incoming(end, (side, outer), vane)

    @cached_property
    def sweep_parts(self) -> SweepParts | None:
        """Input of compiled code for this operator; None if its sweep does more than that code supports."""
        if type(self) is not SpaceOperator:
            return None
        g, (columns, ny, nz) = self.grid, self.grid.volume.shape
        _, _, start, (dx, dy, dz), rows, delta, cover, parity, alpha_vane, room = self._fixed
        new, *walls = (part[0] for part in self._zeros(1))
        ends = np.cumsum([new.size] + [wall.size for wall in walls])
        own = [np.arange(new.size), *(np.arange(a, b, 4) for a, b in pairwise(ends))]
        new[:] = [1.0, 1.0, 1.0, 1.0, 2.0 / 3.0, 1.0, 1.0, 1.0]
        end, side, outer, vane = (np.ones_like(wall) for wall in walls)
        bounds = dict(zip(("plane", "tops", "outers", "bottoms"), (part[:1] for part in self._scratch), strict=True))
        return SweepParts(
            kind="space",
            plain={
                "boxes": g.boxes, "columns": columns, "ny": ny, "nz": nz, "rows": rows.shape[0],
                "passes": self.passes, "delta": delta, "parity": parity, "alpha_room": room,
            },
            arrays={
                **bounds, "start": start, "dx": dx, "dy": dy, "dz": dz, "velocities": rows, "cover": cover,
                "alpha_vane": alpha_vane, "zero": np.zeros(3 * g.boxes),
            },
            sums=int(ends[-1]),
            own=np.concatenate(own),
            image=np.concatenate(own),
            factor=self._gather(new, Incoming(end, (side, outer), vane), REST),
            sign=0.0,
        )  # fmt: skip

    def matrix(self, workers: int = 1) -> Floats:
        """Return ``1 - K`` as a matrix, its columns shared by threads."""
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
