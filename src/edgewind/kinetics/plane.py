"""The linear operator of a strip in a rectangular room: unknowns in, one sweep, unknowns out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from .drives import Drive
from .grid import Grid, average, spread
from .plane_kernel import sweep
from .quadrature import PlaneVelocities
from .walls import FaceLoads, face_loads, half_flux

Floats = NDArray[np.float64]

REST = Drive()
# Share of the mirrored gas that may be left out.
FORGOTTEN = 1e-7


@dataclass(frozen=True)
class Walls:
    """Accommodation of the front and back face and of the room: the diffuse share of Maxwell's walls."""

    front: float = 1.0
    back: float = 1.0
    room: float = 1.0


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
        return self._places[-1][2]

    def split(self, y: Floats) -> list[Floats]:
        """Views of the unknowns by kind."""
        return [y[a:b].reshape(shape) for shape, a, b in self._places]

    @cached_property
    def _places(self) -> tuple[tuple[tuple[int, ...], int, int], ...]:
        ends = np.cumsum([0] + [int(np.prod(shape)) for shape in self.shapes]).tolist()
        return tuple(zip(self.shapes, ends[:-1], ends[1:], strict=True))

    @cached_property
    def passes(self) -> int:
        """Rounds after which gas that only mirrors at the room is forgotten.

        Each round trip keeps the mirrored share, dimmed on its way; two rounds more let a corner mirror it twice.
        """
        if self.walls.room == 1.0:
            return 1
        rates = self.delta / self.velocities.speed

        def dimmed(widths: Floats) -> float:
            # What diamond differences keep of a straight flight through cells of thickness t: |2 - t| / (2 + t) each.
            thickness = np.multiply.outer(rates, widths)
            return float(np.prod(np.abs(2.0 - thickness) / (2.0 + thickness), axis=1).max() ** 2)

        g = self.grid
        boxes = [g.dx[a:b] for a, b in zip(g.start[:-1], g.start[1:], strict=True)]
        kept = (1.0 - self.walls.room) * max(dimmed(widths) for widths in [*boxes, *g.sides])
        return 2 + int(np.ceil(np.log(FORGOTTEN) / np.log(kept)))

    @property
    def memory(self) -> int:
        """Bytes that a solve takes at most: Krylov vectors, sums of the workers, scratch."""
        vectors = 2 * 30 + 4 * self.workers
        return 8 * (vectors * self.size + sum(part.size for part in self._scratch))

    @property
    def updates(self) -> int:
        """Cells times velocities of one sweep."""
        return self.grid.cells * self.velocities.count

    @cached_property
    def scale(self) -> Floats:
        """Root of the share of the domain that each unknown stands for: norms then approximate integrals."""
        g = self.grid
        parts = [
            np.repeat((g.volume / g.volume.sum())[..., None], 6, axis=-1),
            np.tile(g.face / g.face.sum(), (g.boxes, 1)),
            g.dx / g.dx.sum(),
            np.tile(np.maximum(g.cover, 1e-3) * g.face / g.face.sum(), (g.boxes, 1)),
        ]
        return np.sqrt(np.concatenate([np.ravel(part) for part in parts]))

    @cached_property
    def null(self) -> tuple[Floats, Floats]:
        """More gas everywhere, which nothing opposes, and the number of particles, which every sweep conserves.

        Both are zero where the field is odd in the vane's plane.
        """
        more, mass = np.zeros(self.size), np.zeros(self.size)
        if self.grid.boxes == 2 or self.parity > 0.0:
            g, (jx, jy) = self.grid, self._half_flux
            moments, end, side, vane = self.split(more)
            moments[..., 0] = end[:] = side[:] = 1.0
            vane[:] = g.cover > 0.0
            moments, end, side, vane = self.split(mass)
            moments[..., 0] = self.delta * g.volume
            end[:], side[:], vane[:] = jx * g.face, jy * g.dx, jx * g.face * g.cover
            mass /= mass.sum()
        return more, mass

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
            self.passes, moments, end_nu, side_nu, vane_nu, out, end, side, vane,
        )  # fmt: skip
        incoming = Incoming(vane.sum(axis=0), end.sum(axis=0), side.sum(axis=0))
        jx, jy = self._half_flux
        new = np.concatenate(
            [
                out.sum(axis=0).ravel(),
                incoming.end[..., 0].ravel() / jx,
                incoming.side[..., 0].ravel() * (0.0 if g.slab else 1.0 / jy),
                ((incoming.vane[..., 0] + 0.5 * faces[:, 1, None]) * (g.cover > 0.0) / jx).ravel(),
            ]
        )
        return new, incoming

    def apply(self, y: Floats) -> Floats:
        """``(1 - K) y``."""
        return y - self.sweep(y)[0]

    def loads(self, y: Floats, incoming: Incoming, drive: Drive) -> tuple[list[FaceLoads], float, float]:
        """Loads of the faces, and how far particles and energy that leave all walls are from zero, relatively."""
        g, (jx, jy) = self.grid, self._half_flux
        _, end_nu, side_nu, vane_nu = self.split(y)
        faces = [(self.walls.front, drive.front, drive.speed), (self.walls.back, drive.back, -drive.speed)]
        loads = [
            face_loads(self.velocities, incoming.vane[b], vane_nu[b], alpha, tau=tau, speed=speed, slide=drive.slide)
            for b, (alpha, tau, speed) in enumerate(faces[: g.boxes])
        ]
        push = np.array([speed for _, _, speed in faces[: g.boxes]])[:, None]
        # An odd field flows through the open part of the vane's plane into its mirror image.
        open_part = (1.0 - self.parity) * (1.0 - g.cover) if g.boxes == 1 else np.zeros_like(g.cover)
        area = [g.face, g.dx, g.face * g.cover, g.face * open_part]
        energy = [
            self.walls.room * (2.0 * jx * (end_nu + drive.room) - incoming.end[..., 3]),
            self.walls.room * (2.0 * jy * (side_nu + drive.room) - incoming.side[..., 3]),
            np.array([load.heat for load in loads]) + 2.5 * push,
            -incoming.vane[..., 3],
        ]
        flux = [
            jx * end_nu - incoming.end[..., 0],
            jy * side_nu - incoming.side[..., 0],
            jx * vane_nu - incoming.vane[..., 0] + 0.5 * push,
            -incoming.vane[..., 0],
        ]
        gross = [incoming.end[..., 0], incoming.side[..., 0], incoming.vane[..., 0], incoming.vane[..., 0]]
        return loads, _imbalance(flux, area, gross), _imbalance(energy, area, energy)

    def coarser(self) -> PlaneOperator:
        """Return the same operator on the grid with cells merged in pairs."""
        return replace(self, grid=self.grid.coarser())

    def transfer(self, coarse: PlaneOperator) -> tuple[sparse.csr_array, sparse.csr_array]:
        """Matrices that take unknowns to an operator on a coarser grid, by averages, and back, by linear interpolation."""
        return (
            _unknowns(self.grid, coarse.grid, lambda rough, fine: average(rough, fine), down=True),
            _unknowns(coarse.grid, self.grid, lambda rough, fine: spread(rough, fine), down=False),
        )


def _unknowns(
    source: Grid, target: Grid, matrix: Callable[[Floats, Floats], sparse.csr_array], *, down: bool
) -> sparse.csr_array:
    """Matrix on all unknowns from one for the cells of each axis."""

    def axis(a: Floats, b: Floats) -> sparse.csr_array:
        return matrix(b, a) if down else matrix(a, b)

    along = sparse.block_diag([axis(a, b) for a, b in zip(source.x, target.x, strict=True)])
    across = axis(source.across[0], target.across[0])
    boxes = sparse.eye_array(source.boxes)
    faces = sparse.kron(boxes, across)
    cells = sparse.kron(sparse.kron(along, across), sparse.eye_array(6))
    return sparse.csr_array(sparse.block_diag([cells, faces, along, faces]))


def _imbalance(flows: list[Floats], areas: list[Floats], sizes: list[Floats]) -> float:
    """Sum of flows through all walls over the sum of their magnitudes."""
    net = sum(float(np.sum(flow * area)) for flow, area in zip(flows, areas, strict=True))
    gross = sum(float(np.sum(np.abs(flow) * area)) for flow, area in zip(sizes, areas, strict=True))
    return net / gross if gross else 0.0
