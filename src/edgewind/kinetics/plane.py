"""The operator of a strip in a rectangular room: two reduced distributions in a plane."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from edgewind.kinetics.drives import Drive
from edgewind.kinetics.quadrature import LANES
from edgewind.kinetics.room_operator import Besides, Incoming, RoomOperator, rim_drive
from edgewind.kinetics.scattering import CercignaniLampis, ScatteringModes
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

    def _modes(self, law: CercignaniLampis, axis: int) -> ScatteringModes:
        """Return the modes of a wall across an axis, over the velocities in the order of the sweep."""
        ex, ey, speed, weight = np.moveaxis(self.velocities.rows, 1, 0)
        normal, tangent = (ex, ey) if axis == 0 else (ey, ex)
        both = np.ones((1, 2, 1))
        way = np.array([-1.0, 1.0])[None, :, None]
        return ScatteringModes(
            law, normal[:, None] * both, tangent[:, None] * way, speed[:, None] * both, weight[:, None] * both
        )

    @cached_property
    def _laws(self) -> list[tuple[str, int, ScatteringModes]]:
        """Walls that are not Maxwell's: the faces by their box, then ends and side, with their modes."""
        front, back, room = self.walls.laws
        found = [("face", b, self._modes(law, 0)) for b, law in enumerate((front, back)[: self.grid.boxes]) if law]
        if room is not None:
            found += [("end", b, self._modes(room, 0)) for b in range(self.grid.boxes)]
            found += [] if self.grid.slab else [("side", 0, self._modes(room, 1))]
        return found

    @cached_property
    def memories(self) -> tuple[tuple[int, ...], ...]:
        """Amounts of the modes on each wall that is not Maxwell's, (cells, modes)."""
        along = {"face": self.grid.cover.size, "end": self.grid.cover.size, "side": self.grid.dx.size}
        return tuple((along[place], modes.count) for place, _, modes in self._laws)

    def _apart(self, kept: list[Floats], drive: Drive) -> list[Floats]:
        """Return the amounts kept less those of the walls' own Maxwellians."""
        found = []
        for (place, b, modes), amounts in zip(self._laws, kept, strict=True):
            if place == "face":
                tau, speed = ((drive.front, drive.speed), (drive.back, -drive.speed))[b]
                own = modes.of_wall(tau, speed, drive.slide)
                found.append((amounts - own) * (self.grid.cover > 0.0)[:, None])
            else:
                found.append(amounts - modes.of_wall(drive.room))
        return found

    def loads_besides(self, kept: list[Floats], drive: Drive) -> Besides:
        """Return the loads of non-diffuse walls beyond those of diffuse ones."""
        besides = super().loads_besides(kept, drive)
        ends = np.zeros((self.grid.boxes, self.grid.cover.size))
        for (place, b, modes), amounts in zip(self._laws, self._apart(kept, drive), strict=True):
            pressure, along, energy = modes.loads_of(amounts)
            if place == "face":
                besides.vane[b] = (pressure, -along, energy)
            elif place == "end":
                ends[b] = energy
                besides.room[0] = ends
            else:
                besides.room[1] = energy
        return besides

    def _scattered(self, kept: list[Floats], drive: Drive) -> tuple[Floats, Floats, Floats, Floats]:
        """Return the non-diffuse emission of walls, and arrays for the fluxes onto them, as input of the sweep."""
        g, rows = self.grid, self.velocities.rows.shape[0] if self._laws else 0
        plane = np.zeros((rows, 2, g.boxes, 2, g.cover.size, 2, LANES))
        side = np.zeros((rows, g.dx.size, 2, 2, LANES))
        for (place, b, modes), amounts in zip(self._laws, self._apart(kept, drive), strict=True):
            for k, h in enumerate(modes.kept_of(amounts)):
                if place == "side":
                    side[..., k, :] = h.transpose(1, 0, 2, 3)
                else:
                    plane[:, int(place == "end"), b, :, :, k] = h.transpose(1, 2, 0, 3)
        return plane, side, np.zeros_like(plane), np.zeros_like(side)

    def _amounts(self, plane: Floats, side: Floats) -> tuple[Floats, ...]:
        """Return the amounts of the modes in the fluxes onto the walls."""
        found = []
        for place, b, modes in self._laws:
            if place == "side":
                both = [side[..., k, :].transpose(1, 0, 2, 3) for k in (0, 1)]
            else:
                both = [plane[:, int(place == "end"), b, :, :, k].transpose(2, 0, 1, 3) for k in (0, 1)]
            amounts = modes.amounts(*both)
            found.append(amounts * (self.grid.cover > 0.0)[:, None] if place == "face" else amounts)
        return tuple(found)

    def _run(self, moments: Floats, walls: list[Floats], kept: list[Floats], drive: Drive) -> tuple[Floats, Incoming]:
        g, n = self.grid, self.workers
        columns, ny = g.dx.size, g.cover.size
        faces = self.faces(drive)
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
        about = [workers, scratch, start, (g.solid, g.floor), *about, faces, rim, drive.room, self.passes]
        scattered = self._scattered(kept, drive)
        plane_sweep(*about, moments, walls, scattered, results)
        new, end, side, vane, onto_rim = (part.sum(axis=0) for part in results)
        new[..., 3] *= 2.0 / 3.0
        amounts = self._amounts(*scattered[2:])
        return new[..., :6], Incoming(end, (side,), vane, onto_rim if g.solid else None, amounts)
