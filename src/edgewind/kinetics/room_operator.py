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

from edgewind.kinetics.drives import Drive
from edgewind.kinetics.grid import Grid, average, spread
from edgewind.kinetics.quadrature import PlaneVelocities, SpaceVelocities
from edgewind.kinetics.walls import FaceLoads, face_loads, half_flux

Floats = NDArray[np.float64]

REST = Drive()


@dataclass(frozen=True)
class Walls:
    """Accommodation of the front and back face and of the room: the diffuse share of Maxwell's walls."""

    front: float = 1.0
    back: float = 1.0
    room: float = 1.0


@dataclass(frozen=True)
class Incoming:
    """What falls on the walls in one sweep: flux, pressure, shear, energy on the last axis.

    Parameters
    ----------
    end, vane : arrays (boxes, ..., 4)
        End walls, and the vane's plane.
    sides : tuple of arrays
        Side walls across each axis.
    rim : array (columns, 4), optional
        Rim of a thick vane.
    """

    end: Floats
    sides: tuple[Floats, ...]
    vane: Floats
    rim: Floats | None = None


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
        Share of the mirrored gas that may be left out; less than a fortieth of it tells on a coefficient.
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
        """Shapes of the unknowns: moments, end walls, side walls, faces, rim."""
        return ((*self.grid.volume.shape, self.kinds), *(area.shape for area in self._areas))

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
    def _run(self, moments: Floats, walls: list[Floats], faces: Floats, room_tau: float) -> tuple[Floats, Incoming]:
        """Sweep once: moments, and what falls on the walls, summed over workers."""

    @cached_property
    def _fixed(self) -> tuple[Any, ...]:
        """What every sweep of this operator is called with."""
        g = self.grid
        alpha_vane = np.array([self.walls.front, self.walls.back][: g.boxes])
        about = (g.start, (g.dx, *g.sides), self.velocities.rows, self.delta, g.cover, self.parity)
        return (self.workers, self._scratch, *about, alpha_vane, self.walls.room)

    @cached_property
    def passes(self) -> int:
        """Rounds after which gas that only mirrors at the room is forgotten.

        Each round trip keeps the mirrored share, dimmed on its way; a round more lets a corner mirror it
        twice.
        """
        if self.walls.room == 1.0:
            return 1
        rates = self.delta / self.velocities.speed

        def dimmed(widths: Floats) -> float:
            # What diamond differences keep of a straight flight through cells of thickness t: |2 - t| / (2 +
            # t) each.
            thickness = np.multiply.outer(rates, widths)
            return float(np.prod(np.abs(2.0 - thickness) / (2.0 + thickness), axis=1).max() ** 2)

        g = self.grid
        boxes = [g.dx[a:b] for a, b in zip(g.start[:-1], g.start[1:], strict=True)]
        kept = (1.0 - self.walls.room) * max(dimmed(widths) for widths in [*boxes, *g.sides])
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
        return np.asarray(np.sqrt(np.concatenate([np.ravel(part) for part in parts])))

    @cached_property
    def null(self) -> tuple[Floats, Floats]:
        """More gas everywhere, which nothing opposes, and the number of particles, which every sweep
        conserves.

        Both are zero where the field is odd in the vane's plane.
        """
        more, mass = np.zeros(self.size), np.zeros(self.size)
        if self.grid.boxes == 2 or self.parity > 0.0:
            moments, *densities = self.split(more)
            moments[..., 0] = ~self.grid.filled
            for density in densities:
                density[:] = 1.0
            faces = 1 + len(self.grid.sides)
            densities[faces][:] = self.grid.cover > 0.0
            for density in densities[faces + 1 :]:
                density[:] = self.grid.rim > 0.0
            moments, *densities = self.split(mass)
            moments[..., 0] = self.delta * self.grid.volume * ~self.grid.filled
            for density, flux, area in zip(densities, self._fluxes, self._areas, strict=True):
                density[:] = flux * area
            mass /= mass.sum()
        return more, mass

    def sweep(self, y: Floats, drive: Drive = REST, source: Floats | None = None) -> tuple[Floats, Incoming]:
        """One sweep: the new unknowns, and what fell on the walls.

        `source` are moments that scatter besides those of `y`: a body force, or a gradient along a channel.
        """
        moments, *densities = self.split(y)
        if source is not None:
            moments = moments + source
        faces = np.array(
            [[drive.front, drive.speed, drive.slide], [drive.back, -drive.speed, drive.slide]][: self.grid.boxes]
        )
        new, incoming = self._run(moments, densities, faces, drive.room)
        end, sides, vane, rim = incoming.end, incoming.sides, incoming.vane, incoming.rim
        fluxes = self._fluxes
        push = 0.5 * faces[:, 1].reshape(-1, *[1] * len(self.grid.sides))
        parts = [
            new,
            end[..., 0] / fluxes[0],
            *(side[..., 0] * (0.0 if self.grid.slab else 1.0 / j) for side, j in zip(sides, fluxes[1:], strict=False)),
            (vane[..., 0] + push) * (self.grid.cover > 0.0) / fluxes[0],
            *([] if rim is None else [rim[..., 0] * (self.grid.rim > 0.0) / fluxes[1]]),
        ]
        return np.concatenate([part.ravel() for part in parts]), incoming

    def apply(self, y: Floats) -> Floats:
        """``(1 - K) y``."""
        return y - self.sweep(y)[0]

    def loads(self, y: Floats, incoming: Incoming, drive: Drive) -> tuple[list[FaceLoads], float, float]:
        """Return the loads of the faces, and how far particles and energy that leave all walls are from zero,
        relatively.
        """
        g, fluxes = self.grid, self._fluxes
        _, *densities = self.split(y)
        vane_nu = densities[1 + len(g.sides)]
        faces = [(self.walls.front, drive.front, drive.speed), (self.walls.back, drive.back, -drive.speed)]
        loads = [
            face_loads(self.velocities, incoming.vane[b], vane_nu[b], alpha, tau=tau, speed=speed, slide=drive.slide)
            for b, (alpha, tau, speed) in enumerate(faces[: g.boxes])
        ]
        push = np.array([speed for _, _, speed in faces[: g.boxes]]).reshape(-1, *[1] * len(g.sides))
        # An odd field flows through the open part of the vane's plane into its mirror image.
        open_part = (1.0 - self.parity) * (1.0 - g.cover) if g.boxes == 1 else np.zeros_like(g.cover)
        areas = [*self._areas, g.face * open_part]
        onto = [incoming.end, *incoming.sides]
        energy = [
            self.walls.room * (2.0 * j * (nu + drive.room) - falls[..., 3])
            for j, nu, falls in zip(fluxes, densities, onto, strict=False)
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

    def rim_loads(self, y: Floats, incoming: Incoming, drive: Drive) -> FaceLoads | None:
        """Return the loads of the rim of a thick vane by columns, with the shear along x; None for a thin one."""
        if incoming.rim is None:
            return None
        tau, slide = rim_drive(self.grid, self.parity, drive.front, drive.back, drive.speed)
        return face_loads(
            self.velocities, incoming.rim, self.split(y)[-1], self.walls.front, tau=tau, slide=slide, axis=1
        )

    def coarser(self) -> Self:
        """Return the same operator on the grid with cells merged in pairs."""
        return replace(self, grid=self.grid.coarser(), workers=1)

    def carry(self, y: Floats, grid: Grid) -> Floats:
        """Return unknowns of the same case on another grid, interpolated to this one."""
        return np.asarray(_unknowns(grid, self.grid, self.kinds, spread) @ y)

    def transfer(self, coarse: Self) -> tuple[sparse.csr_array, sparse.csr_array]:
        """Matrices that take unknowns to an operator on a coarser grid, by averages, and back, by
        interpolation.
        """
        return (
            _unknowns(self.grid, coarse.grid, self.kinds, lambda fine, rough: average(rough, fine)),
            _unknowns(coarse.grid, self.grid, self.kinds, spread),
        )


def rim_drive(grid: Grid, parity: float, front: float, back: float, speed: float) -> tuple[Floats, Floats]:
    """Temperature of the rim of a thick vane, which goes linearly from face to face, and its velocity along x.

    In the back box x points the other way. Where the grid is one box, the back face follows from the parity.
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


def _unknowns(
    source: Grid, target: Grid, kinds: int, matrix: Callable[[Floats, Floats], sparse.csr_array]
) -> sparse.csr_array:
    """Matrix on all unknowns from one for the cells of each axis."""
    along = sparse.block_diag([matrix(a, b) for a, b in zip(source.x, target.x, strict=True)])
    axes = [matrix(a, b) for a, b in zip(source.across, target.across, strict=True)]

    def product(*factors: Any) -> sparse.csr_array:
        result = sparse.csr_array(factors[0])
        for factor in factors[1:]:
            result = sparse.csr_array(sparse.kron(result, sparse.csr_array(factor)))
        return result

    inside = sparse.diags_array(np.repeat(~target.filled.ravel(), kinds).astype(float)) if target.solid else None
    faces = product(sparse.eye_array(source.boxes), *axes)
    sides = [product(along, *(other for k, other in enumerate(axes) if k != axis)) for axis in range(len(axes))]
    cells = product(along, *axes, sparse.eye_array(kinds))
    if inside is None:
        return sparse.csr_array(sparse.block_diag([cells, faces, *sides, faces]))
    rim = sparse.diags_array((target.rim > 0.0).astype(float)) @ along
    return sparse.csr_array(sparse.block_diag([inside @ cells, faces, *sides, faces, rim]))
