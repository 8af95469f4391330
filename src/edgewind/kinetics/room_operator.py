"""The linear operator of a vane in a room, in plane or space: unknowns in, one sweep, unknowns out.

The unknowns are the moments that scatter, cell by cell, and the densities that the walls send back: end walls, side
walls (one block for each axis across), faces of the vane, rim of a thick vane. One sweep maps them to new ones; the
answer is their fixed point ``y = K y + d``, with d from the drive.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from edgewind.kinetics.block_map import Block, BlockMap
from edgewind.kinetics.cycle import SweepParts
from edgewind.kinetics.drives import Drive
from edgewind.kinetics.grid import Grid, average, spread
from edgewind.kinetics.quadrature import PlaneVelocities, SpaceVelocities
from edgewind.kinetics.scattering import CercignaniLampis
from edgewind.kinetics.walls import FaceLoads, face_loads, half_flux

Floats = NDArray[np.float64]

REST = Drive()
# In free flight nothing collides, and moments would not count among the unknowns.
LEAST_DELTA = 0.1


@dataclass(frozen=True)
class Walls:
    """Accommodation of energy of the front and back face and of the room, and the law of each.

    Parameters
    ----------
    front, back, room : float
        Accommodation; for walls of Maxwell's law the share that is re-emitted diffusely.
    laws : tuple of CercignaniLampis or None
        Of front, back and room; None is Maxwell's law.
    """

    front: float = 1.0
    back: float = 1.0
    room: float = 1.0
    laws: tuple[CercignaniLampis | None, CercignaniLampis | None, CercignaniLampis | None] = (None, None, None)

    @classmethod
    def of(
        cls,
        front: float | CercignaniLampis = 1.0,
        back: float | CercignaniLampis = 1.0,
        room: float | CercignaniLampis = 1.0,
    ) -> Walls:
        """Return walls each of which is Maxwell's, by a number, or that of Cercignani and Lampis."""
        numbers = [wall.energy if isinstance(wall, CercignaniLampis) else wall for wall in (front, back, room)]
        laws = [wall if isinstance(wall, CercignaniLampis) else None for wall in (front, back, room)]
        return cls(numbers[0], numbers[1], numbers[2], (laws[0], laws[1], laws[2]))

    @property
    def diffuse(self) -> tuple[float, float, float]:
        """Share of front, back and room that is not reflected specularly: re-emitted diffusely or by another law."""
        numbers = (self.front, self.back, self.room)
        front, back, room = (1.0 if law else number for number, law in zip(numbers, self.laws, strict=True))
        return front, back, room

    @property
    def maxwell(self) -> bool:
        """Whether all walls are Maxwell's."""
        return not any(self.laws)

    @property
    def as_maxwell(self) -> Walls:
        """The Maxwell walls that a preconditioner uses instead."""
        return self if self.maxwell else Walls(self.front, self.back, self.diffuse[2])


@dataclass(frozen=True)
class Incoming:
    """Incidence on the walls in one sweep: flux, pressure, shear, energy on the last axis.

    Parameters
    ----------
    end, vane : arrays (boxes, ..., 4)
        End walls, and the vane's plane.
    sides : tuple of arrays
        Side walls across each axis.
    rim : array (columns, 4), optional
        Rim of a thick vane.
    amounts : tuple of arrays
        Modes incident on walls that are not Maxwell's, shaped as `RoomOperator.memories`.
    """

    end: Floats
    sides: tuple[Floats, ...]
    vane: Floats
    rim: Floats | None = None
    amounts: tuple[Floats, ...] = ()


@dataclass(frozen=True)
class Besides:
    """Loads of walls that are not Maxwell's beyond those of diffuse ones.

    Parameters
    ----------
    vane : list of (pressure, shear, heat)
        For each face of the grid.
    room : list of arrays or floats
        Energy that leaves the end walls, and the side walls across each axis.
    """

    vane: list[tuple[Floats, Floats, Floats]]
    room: list[Floats | float]


@dataclass(frozen=True)
class RoomOperator(ABC):
    """The fixed point of a vane in a room; `PlaneOperator` and `SpaceOperator` add the sweep.

    Parameters
    ----------
    grid : Grid
        Cells.
    velocities : PlaneVelocities or SpaceVelocities
        Discrete velocities.
    delta : float
        Rarefaction parameter.
    walls : Walls
        Accommodation.
    parity : float
        How the field continues behind the vane's plane, where the grid is one box.
    workers : int
        Threads.
    forgotten : float
        Share of the specularly reflected gas that may be neglected; less than a fortieth of it affects a coefficient.
    """

    grid: Grid
    velocities: PlaneVelocities | SpaceVelocities
    delta: float
    walls: Walls
    parity: float
    workers: int = 1
    forgotten: float = 1e-5

    @property
    def kinds(self) -> int:
        """Moments of a cell: density, velocity, temperature, heat flux."""
        return 4 + 2 * len(self.grid.across)

    @property
    def kind_weights(self) -> list[float]:
        """Mean square of the disturbance of one unit of each moment."""
        return moment_weights(1 + len(self.grid.across))

    @cached_property
    def _areas(self) -> list[Floats]:
        """Areas of the walls, block by block: end, sides, vane, and the rim of a thick vane."""
        g = self.grid
        sides = []
        for axis in range(len(g.sides)):
            area = g.dx
            for other, widths in enumerate(g.sides):
                if other != axis:
                    area = np.multiply.outer(area, widths)
            sides.append(area)
        boxes = np.ones(g.boxes)
        vane = np.multiply.outer(boxes, g.face * g.cover)
        return [np.multiply.outer(boxes, g.face), *sides, vane, *([g.rim] if g.solid else [])]

    @cached_property
    def _fluxes(self) -> list[float]:
        """Flux of a unit Maxwellian onto the walls, block by block."""
        across = [half_flux(self.velocities, 1 + axis) for axis in range(len(self.grid.sides))]
        end = half_flux(self.velocities, 0)
        return [end, *across, end, *([across[0]] if self.grid.solid else [])]

    @cached_property
    def shapes(self) -> tuple[tuple[int, ...], ...]:
        """Shapes of the unknowns: moments, end walls, side walls, faces, rim, and modes of other laws."""
        return ((*self.grid.volume.shape, self.kinds), *(area.shape for area in self._areas), *self.memories)

    @property
    def memories(self) -> tuple[tuple[int, ...], ...]:
        """Shapes of the modes that walls other than Maxwell's keep of the incident gas."""
        return ()

    def parts(self, y: Floats) -> tuple[Floats, list[Floats], list[Floats]]:
        """Return views of the moments, of the densities of the walls, and of the modes of other laws."""
        moments, *rest = self.split(y)
        walls = len(self._areas)
        return moments, rest[:walls], rest[walls:]

    @cached_property
    def _places(self) -> tuple[tuple[tuple[int, ...], int, int], ...]:
        ends = np.cumsum([0] + [int(np.prod(shape)) for shape in self.shapes]).tolist()
        return tuple(zip(self.shapes, ends[:-1], ends[1:], strict=True))

    @cached_property
    def size(self) -> int:
        """Number of unknowns."""
        return self._places[-1][2]

    def split(self, y: Floats) -> list[Floats]:
        """Return views of the unknowns by kind."""
        return [y[a:b].reshape(shape) for shape, a, b in self._places]

    @property
    def updates(self) -> int:
        """Cells times velocities of one sweep."""
        return self.grid.cells * self.velocities.count

    @property
    def memory(self) -> int:
        """Bytes that a solve takes at most: Krylov vectors, sums of the workers, scratch."""
        vectors = 2 * 30 + 4 * self.workers
        return 8 * (vectors * self.size + sum(part.size for part in self._scratch))

    @property
    @abstractmethod
    def _scratch(self) -> tuple[Floats, ...]:
        """Working arrays of the workers."""

    @abstractmethod
    def _run(self, moments: Floats, walls: list[Floats], kept: list[Floats], drive: Drive) -> tuple[Floats, Incoming]:
        """Sweep once; return moments and incidence on the walls, summed over workers."""

    @cached_property
    def _fixed(self) -> tuple[Any, ...]:
        """Arguments common to all sweeps of this operator."""
        g = self.grid
        front, back, room = self.walls.diffuse
        alpha_vane = np.array([front, back][: g.boxes])
        about = (g.start, (g.dx, *g.sides), self.velocities.rows, self.delta, g.cover, self.parity)
        return (self.workers, self._scratch, *about, alpha_vane, room)

    @cached_property
    def passes(self) -> int:
        """Rounds after which specularly reflected gas is neglected.

        Each round trip keeps the specular share, attenuated on its way; one more round allows for two reflections at a
        corner.
        """
        room = self.walls.diffuse[2]
        if room == 1.0:
            return 1
        rates = self.delta / self.velocities.speed

        def dimmed(widths: Floats) -> float:
            # Attenuation by diamond differences in cells of thickness t: |2 - t| / (2 + t) each.
            thickness = np.multiply.outer(rates, widths)
            return float(np.prod(np.abs(2.0 - thickness) / (2.0 + thickness), axis=1).max() ** 2)

        g = self.grid
        boxes = [g.dx[a:b] for a, b in zip(g.start[:-1], g.start[1:], strict=True)]
        kept = (1.0 - room) * max(dimmed(widths) for widths in [*boxes, *g.sides])
        return 1 + int(np.ceil(np.log(self.forgotten) / np.log(kept)))

    @cached_property
    def scale(self) -> Floats:
        """Root of the share of the domain that each unknown stands for: norms then approximate integrals."""
        g = self.grid
        face = g.face / g.face.sum()
        boxes = np.ones(g.boxes)
        parts = [
            np.repeat((g.volume / g.volume.sum())[..., None], self.kinds, axis=-1),
            np.multiply.outer(boxes, face),
            *(area / area.sum() for area in self._areas[1 : 1 + len(g.sides)]),
            np.multiply.outer(boxes, np.maximum(g.cover, 1e-3) * face),
            *([np.maximum(g.rim / g.rim.sum(), 1e-6)] if g.solid else []),
        ]
        parts += [np.full(shape, 1.0 / np.prod(shape[:-1])) for shape in self.memories]
        return np.asarray(np.sqrt(np.concatenate([np.ravel(part) for part in parts])))

    @cached_property
    def dissipation(self) -> Floats:
        """Root of the weight of each unknown in what collisions and walls dissipate."""
        weights = self.scale.copy()
        moments, walls, _ = self.parts(weights)
        moments[:] = np.sqrt(max(self.delta, LEAST_DELTA) * self.grid.volume[..., None] * np.array(self.kind_weights))
        for density, area, flux in zip(walls, self._areas, self._fluxes, strict=True):
            # Without a wall, unknowns stay zero, but they are divided by this.
            density[:] = np.sqrt(flux * np.maximum(area, 1e-3 * (area.max() or 1.0)))
        return weights / float(np.linalg.norm(weights))

    @cached_property
    def null(self) -> tuple[Floats, Floats]:
        """Uniform density, the null space, and the number of particles, which every sweep conserves.

        Both are zero where the field is odd in the vane's plane.
        """
        more, mass = np.zeros(self.size), np.zeros(self.size)
        if self.grid.boxes == 2 or self.parity > 0.0:
            moments, densities, _ = self.parts(more)
            moments[..., 0] = ~self.grid.filled
            for density in densities:
                density[:] = 1.0
            faces = 1 + len(self.grid.sides)
            densities[faces][:] = self.grid.cover > 0.0
            for density in densities[faces + 1 :]:
                density[:] = self.grid.rim > 0.0
            moments, densities, _ = self.parts(mass)
            moments[..., 0] = self.delta * self.grid.volume * ~self.grid.filled
            for density, flux, area in zip(densities, self._fluxes, self._areas, strict=True):
                density[:] = flux * area
            mass /= mass.sum()
        return more, mass

    def faces(self, drive: Drive) -> Floats:
        """Return temperature, normal and tangential velocity of the faces of the grid, (boxes, 3)."""
        both = [[drive.front, drive.speed, drive.slide], [drive.back, -drive.speed, drive.slide]]
        return np.array(both[: self.grid.boxes])

    def sweep(self, y: Floats, drive: Drive = REST, source: Floats | None = None) -> tuple[Floats, Incoming]:
        """Sweep once; return the new unknowns and the incidence on the walls.

        `source` are further moments that scatter: a body force, or a gradient along a channel.
        """
        moments, densities, kept = self.parts(y)
        if source is not None:
            moments = moments + source
        new, incoming = self._run(moments, densities, kept, drive)
        return self._gather(new, incoming, drive), incoming

    def _gather(self, new: Floats, incoming: Incoming, drive: Drive) -> Floats:
        """Return the new unknowns from the sums of a sweep, or of many: those count the sweeps on a first axis."""
        faces, many = self.faces(drive), new.shape[: new.ndim - len(self.shapes[0])]
        end, sides, vane, rim = incoming.end, incoming.sides, incoming.vane, incoming.rim
        fluxes = self._fluxes
        push = 0.5 * faces[:, 1].reshape(-1, *[1] * len(self.grid.sides))
        parts = [
            new,
            end[..., 0] / fluxes[0],
            *(side[..., 0] * (0.0 if self.grid.slab else 1.0 / j) for side, j in zip(sides, fluxes[1:], strict=False)),
            (vane[..., 0] + push) * (self.grid.cover > 0.0) / fluxes[0],
            *([] if rim is None else [rim[..., 0] * (self.grid.rim > 0.0) / fluxes[1]]),
            *incoming.amounts,
        ]
        return np.concatenate([part.reshape(*many, -1) for part in parts], axis=-1)

    def apply(self, y: Floats) -> Floats:
        """``(1 - K) y``."""
        return y - self.sweep(y)[0]

    @property
    def sweep_parts(self) -> SweepParts | None:
        """Input of compiled code for this operator; None if not supported."""
        return None

    def matrix(self, workers: int = 1) -> Floats:
        """Return ``1 - K`` as a matrix, its columns shared by threads if the sweep supports that."""
        return np.array([self.apply(unit) for unit in np.eye(self.size)]).T

    def loads(self, y: Floats, incoming: Incoming, drive: Drive) -> tuple[list[FaceLoads], float, float]:
        """Return the loads of the faces, and how far particles and energy that leave all walls are from zero,
        relatively.
        """
        g, fluxes = self.grid, self._fluxes
        _, densities, kept = self.parts(y)
        vane_nu = densities[1 + len(g.sides)]
        front, back, room = self.walls.diffuse
        faces = [(front, drive.front, drive.speed), (back, drive.back, -drive.speed)]
        loads = [
            face_loads(self.velocities, incoming.vane[b], vane_nu[b], alpha, tau=tau, speed=speed, slide=drive.slide)
            for b, (alpha, tau, speed) in enumerate(faces[: g.boxes])
        ]
        besides = self.loads_besides(kept, drive)
        loads = [
            FaceLoads(*(own + more for own, more in zip((load.pressure, load.shear, load.heat), extra, strict=True)))
            for load, extra in zip(loads, besides.vane, strict=True)
        ]
        push = np.array([speed for _, _, speed in faces[: g.boxes]]).reshape(-1, *[1] * len(g.sides))
        # An odd field flows through the open part of the vane's plane into its mirror image.
        open_part = (1.0 - self.parity) * (1.0 - g.cover) if g.boxes == 1 else np.zeros_like(g.cover)
        areas = [*self._areas, g.face * open_part]
        onto = [incoming.end, *incoming.sides]
        energy = [
            room * (2.0 * j * (nu + drive.room) - falls[..., 3]) + more
            for j, nu, falls, more in zip(fluxes, densities, onto, besides.room, strict=False)
        ]
        energy.append(np.array([load.heat for load in loads]) + 2.5 * push)
        flux = [j * nu - falls[..., 0] for j, nu, falls in zip(fluxes, densities, onto, strict=False)]
        flux.append(fluxes[0] * vane_nu - incoming.vane[..., 0] + 0.5 * push)
        onto.append(incoming.vane)
        rim = self.rim_loads(y, incoming, drive)
        if rim is not None and incoming.rim is not None:
            energy.append(rim.heat)
            flux.append(fluxes[1] * densities[-1] - incoming.rim[..., 0])
            onto.append(incoming.rim)
        energy.append(-incoming.vane[..., 3])
        flux.append(-incoming.vane[..., 0])
        gross = [*(falls[..., 0] for falls in onto), incoming.vane[..., 0]]
        return loads, _imbalance(flux, areas, gross), _imbalance(energy, areas, energy)

    def loads_besides(self, kept: list[Floats], drive: Drive) -> Besides:
        """Return the loads of non-diffuse walls beyond those of diffuse ones."""
        none = np.zeros(self.grid.cover.shape)
        return Besides([(none, none, none)] * self.grid.boxes, [0.0] * (1 + len(self.grid.sides)))

    def rim_loads(self, y: Floats, incoming: Incoming, drive: Drive) -> FaceLoads | None:
        """Return the loads of the rim of a thick vane by columns, with the shear along x; None for a thin one."""
        if incoming.rim is None:
            return None
        tau, slide = rim_drive(self.grid, self.parity, drive.front, drive.back, drive.speed)
        return face_loads(
            self.velocities, incoming.rim, self.parts(y)[1][-1], self.walls.front, tau=tau, slide=slide, axis=1
        )

    def coarser(self) -> Self:
        """Return the same operator on the grid with cells merged in pairs."""
        return replace(self, grid=self.grid.coarser(), workers=1)

    def carry(self, y: Floats, grid: Grid) -> Floats:
        """Return unknowns of the same case on another grid, interpolated to this one."""
        before = _unknowns(grid, self.grid, self.kinds, spread)
        # Modes of walls of other laws are restored in the first sweep.
        kept = sum(int(np.prod(shape)) for shape in self.memories)
        return np.concatenate([before @ y, np.zeros(kept)])

    def transfer(self, coarse: Self) -> tuple[BlockMap, BlockMap]:
        """Maps that take unknowns to an operator on a coarser grid, by averages, and back, by interpolation."""
        return (
            _unknowns(self.grid, coarse.grid, self.kinds, lambda fine, rough: average(rough, fine)),
            _unknowns(coarse.grid, self.grid, self.kinds, spread),
        )


def moment_weights(dimensions: int) -> list[float]:
    """Return the mean squares of 1, 2 c_x, c^2 - 3/2 and (4/5) c_x (c^2 - 5/2), in the order of the moments."""
    return [1.0, *[2.0] * dimensions, 1.5, *[0.8] * dimensions]


def rim_drive(grid: Grid, parity: float, front: float, back: float, speed: float) -> tuple[Floats, Floats]:
    """Return the temperature of the rim of a thick vane, linear from face to face, and its velocity along x.

    In the back box x has the opposite direction. If the grid is one box, the back face follows from the parity.
    """
    tau, slide = np.zeros(grid.dx.size), np.zeros(grid.dx.size)
    if grid.boxes == 1:
        back = parity * front
    for b, (first, nodes) in enumerate(zip(grid.start[:-1], grid.x, strict=True)):
        part, sign = slice(first, first + grid.solid), 1.0 - 2.0 * b
        middle = 0.5 * (nodes[1 : grid.solid + 1] + nodes[: grid.solid])
        tau[part] = 0.5 * (front + back) + sign * (front - back) * middle / (2.0 * nodes[grid.solid])
        slide[part] = sign * speed
    return tau, slide


def _imbalance(flows: list[Floats], areas: list[Floats], sizes: list[Floats]) -> float:
    """Sum of flows through all walls over the sum of their magnitudes; 0 where nothing but rounding flows."""
    net = sum(float(np.sum(flow * area)) for flow, area in zip(flows, areas, strict=True))
    gross = sum(float(np.sum(np.abs(flow) * area)) for flow, area in zip(sizes, areas, strict=True))
    return net / gross if gross > 1e-13 * sum(float(np.sum(area)) for area in areas) else 0.0


def _unknowns(source: Grid, target: Grid, kinds: int, matrix: Callable[[Floats, Floats], sparse.csr_array]) -> BlockMap:
    """Map of all unknowns from a matrix for the cells of each axis."""
    along = sparse.csr_array(sparse.block_diag([matrix(a, b) for a, b in zip(source.x, target.x, strict=True)]))
    axes = [matrix(a, b) for a, b in zip(source.across, target.across, strict=True)]
    faces = Block((source.boxes, *axes))
    sides = [Block((along, *(other for k, other in enumerate(axes) if k != axis))) for axis in range(len(axes))]
    if not target.solid:
        return BlockMap((Block((along, *axes, kinds)), faces, *sides, faces))
    inside = np.repeat(~target.filled.ravel(), kinds).astype(float)
    rim = Block((along,), (target.rim > 0.0).astype(float))
    return BlockMap((Block((along, *axes, kinds), inside), faces, *sides, faces, rim))
