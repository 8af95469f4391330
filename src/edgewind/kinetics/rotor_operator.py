"""The linear operator of a rotor in its chamber: unknowns in, one sweep, unknowns out.

The unknowns are the moments that scatter, cell by cell, and the densities that the walls send back: walls of the
chamber at the side, its top, the faces of the vanes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from edgewind.kinetics.block_map import BlockMap
from edgewind.kinetics.cycle import SweepParts
from edgewind.kinetics.quadrature import LANES, SpaceVelocities, _gauss_cosines, lane_rows
from edgewind.kinetics.room_operator import LEAST_DELTA, moment_weights
from edgewind.kinetics.rotor_grid import HALF, MIRRORED, OBLIQUE, QUARTER, THIRD, RotorGrid, unknowns_map
from edgewind.kinetics.sweeps import compiled
from edgewind.kinetics.walls import FaceLoads

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class RotorDrive:
    """Drive of the gas, small against T0 and v0.

    Parameters
    ----------
    leading, trailing, chamber : float
        Temperature of the faces of every vane and of the chamber, (T - T0) / T0.
    spin : float
        Velocity of a vane over v0 at one width from the axis: angular velocity times width over v0.
    """

    leading: float = 0.0
    trailing: float = 0.0
    chamber: float = 0.0
    spin: float = 0.0

    @property
    def parity(self) -> float | None:
        """+1 or -1 if the solution is even or odd in the planes of the vanes, else None."""
        if self.leading == self.trailing and self.spin == 0.0:
            return 1.0
        return -1.0 if self.leading == -self.trailing and self.chamber == 0.0 else None


REST = RotorDrive()
# Moments of a cell mirrored in the plane x = y.
SWAPPED = [0, 2, 1, 3, 4, 6, 5, 7]
ROTOR_DRIVES = {
    "faces": RotorDrive(leading=-0.5, trailing=0.5),
    "both": RotorDrive(leading=1.0, trailing=1.0),
    "chamber": RotorDrive(chamber=1.0),
    "spin": RotorDrive(spin=1.0),
}


@dataclass(frozen=True)
class RotorVelocities(SpaceVelocities):
    """Velocities of an octant with the polar axis along the axis of the rotor (z)."""

    @property
    def directions(self) -> Floats:
        """Unit vectors (x, y, z) in the first octant, shape (polar * azimuths, 3)."""
        return np.roll(super().directions, -1, axis=1)

    def sorted_rows(self, folded: bool, turned: bool) -> Floats:
        """Input of the kernel: (rows, bases, 5, lanes). If x and y are equivalent, only directions below the diagonal
        are swept, and the others are their images (`folded`) or their second base (`turned`).
        """
        e, w = self.directions, self.direction_weights
        if folded or turned:
            below = e[:, 0] > e[:, 1]
            e, w = e[below], w[below]
        rows = lane_rows(e, w, self.speed, self.speed_weights)[:, None]
        if not turned:
            return np.ascontiguousarray(rows)
        other = rows[:, :, [1, 0, 2, 3, 4]]
        return np.ascontiguousarray(np.concatenate([rows, other], axis=1))


@dataclass(frozen=True)
class ThirdVelocities(RotorVelocities):
    """Velocities of three vanes: `azimuths` in each of six sectors of 60 degrees about the axis of the rotor (z)."""

    @property
    def _polar_angles(self) -> tuple[Floats, Floats]:
        """Cosines of the angles from z, and the weight of a direction at each; all azimuths, up and down, give 1."""
        cosine, weights = _gauss_cosines(self.polar)
        return np.asarray(cosine), np.asarray(weights / (12.0 * self.azimuths))

    def _sectors(self, base: int, place: int) -> Floats:
        """Azimuths of one sector, the `place`-th after those along x, in degrees, shape (azimuths,)."""
        angle = (np.arange(self.azimuths) + 0.5) * (60.0 / self.azimuths)
        # The plane of a vane mirrors one base into the other.
        return np.asarray(60.0 * place + (angle[::-1] if base else angle))

    def _components(self, angle: Floats) -> Floats:
        """Along e1, e2 and z; along the normal and the second axis on x = 0, along the normal and the first on y = 0.

        Shape (polar, azimuths, 7).
        """
        cosine, turned = self._polar_angles[0][:, None], np.radians(angle)
        sine = np.sqrt(1.0 - cosine**2)
        x, y = sine * np.cos(turned), sine * np.sin(turned)
        second = y / OBLIQUE
        first, normal_x, along_second = x + 0.5 * second, OBLIQUE * x + 0.5 * y, OBLIQUE * y - 0.5 * x
        return np.stack(np.broadcast_arrays(first, second, cosine, normal_x, along_second, y, x), axis=-1)

    @property
    def directions(self) -> Floats:
        """Unit vectors that leave the plane x = 0 upwards: along its normal, along the second axis, along z.

        Their weights make of four times a sum over them the sum over all that leave it, up and down.
        """
        leaving = [self._components(self._sectors(0, place)) for place in (0, 1, 5)]
        return np.concatenate([part.reshape(-1, 7)[:, [3, 4, 2]] for part in leaving])

    @property
    def direction_weights(self) -> Floats:
        """Weights of :attr:`directions`; their sum is 1/8."""
        return np.tile(np.repeat(0.5 * self._polar_angles[1], self.azimuths), 3)

    @property
    def count(self) -> int:
        """Number of velocities, all sectors together."""
        return 12 * self.polar * self.azimuths * self.speeds

    def sorted_rows(self, folded: bool, turned: bool) -> Floats:
        """What the kernel sweeps: (rows, base + 2 (2 away + onward), 9, lanes), components along axes without signs."""
        weights, parts = np.repeat(self._polar_angles[1], self.azimuths), []
        # The sector of each pair of signs, -- +- -+ ++, of both bases; one that a base lacks is not swept.
        for places in ((4, 3), (5, 5), (2, 2), (0, 1)):
            for base, place in enumerate(places):
                found = self._components(self._sectors(base, place)).reshape(-1, 7)
                signs = np.sign(found[:, :2])
                found[:, [0, 1, 3, 5]] = np.abs(found[:, [0, 1, 3, 5]])
                found[:, [4, 6]] *= signs[:, ::-1]
                rows = lane_rows(found, weights, self.speed, self.speed_weights)
                parts.append(rows[:, [0, 1, 2, 7, 8, 3, 4, 5, 6]])
        return np.ascontiguousarray(np.stack(parts, axis=1))


@dataclass(frozen=True)
class Fallen:
    """Incidence on the walls in one sweep.

    Parameters
    ----------
    side, top : arrays (patches, nz, 2) and (nx, ny, 2)
        Flux and energy; at the side times the area across z.
    vane_y, vane_x : arrays (nx, nz, 4) and (ny, nz, 4)
        Flux, pressure, shear and energy on the planes y = 0 and x = 0.
    """

    side: Floats
    top: Floats
    vane_y: Floats
    vane_x: Floats


@dataclass(frozen=True)
class RotorOperator:
    """The fixed point of a rotor in its chamber.

    Parameters
    ----------
    grid : RotorGrid
        Cells.
    velocities : RotorVelocities
        Discrete velocities; an even number of azimuths.
    delta : float
        Rarefaction parameter.
    vanes : int
        1 to 4.
    leading, trailing : float
        Accommodation of the faces.
    parity : float or None
        +1 or -1 for a field that is even or odd in the planes of the vanes; None for any, by turning the domain.
    workers : int
        Threads.
    """

    grid: RotorGrid
    velocities: RotorVelocities
    delta: float
    vanes: int
    leading: float = 1.0
    trailing: float = 1.0
    parity: float | None = 1.0
    workers: int = 1

    @property
    def link(self) -> int:
        """How the open parts of the planes are linked."""
        if self.parity is not None:
            return MIRRORED
        return {3: THIRD, 4: QUARTER}.get(self.vanes, HALF)

    @property
    def folded(self) -> bool:
        """Whether only half of the directions are swept, the others by reflection in the diagonal."""
        return self.vanes == 4 and self.parity is not None

    @cached_property
    def _areas(self) -> list[Floats]:
        """Areas of the walls: side, top, faces in y = 0 and x = 0."""
        g = self.grid
        dz = g.widths[2]
        in_y, in_x, top = g.faces
        return [np.outer(g.walls[0] + g.walls[1], dz), top, in_y * g.cover_y, in_x * g.cover_x]

    @cached_property
    def _flux(self) -> tuple[float, float]:
        """Flux of a unit Maxwellian through a plane along the axis, and across it."""
        v = self.velocities
        mean = v.speed_weights @ v.speed
        across, along = (4.0 * v.direction_weights @ v.directions[:, k] * mean for k in (0, 2))
        return float(across), float(along)

    @cached_property
    def _fluxes(self) -> list[float]:
        across, along = self._flux
        return [across, along, across, across]

    @cached_property
    def shapes(self) -> tuple[tuple[int, ...], ...]:
        """Shapes of the unknowns: moments, side walls, top, faces in y = 0 and in x = 0."""
        return ((*self.grid.volume.shape, 8), *(area.shape for area in self._areas))

    @cached_property
    def _ends(self) -> list[int]:
        return [int(end) for end in np.cumsum([0] + [int(np.prod(shape)) for shape in self.shapes])]

    @property
    def size(self) -> int:
        """Number of unknowns."""
        return self._ends[-1]

    def split(self, y: Floats) -> list[Floats]:
        """Return views of the unknowns by kind."""
        return [y[a:b].reshape(s) for s, a, b in zip(self.shapes, self._ends[:-1], self._ends[1:], strict=True)]

    @property
    def updates(self) -> int:
        """Cells times velocities of one sweep."""
        return self.grid.cells * self.velocities.count // (2 if self.folded else 1)

    @cached_property
    def memory(self) -> int:
        """Bytes that a solve takes at most: Krylov vectors, sums of the workers, scratch."""
        return 8 * ((2 * 30 + 4 * self.workers) * self.size + sum(part.size for part in self._scratch))

    @cached_property
    def rows(self) -> Floats:
        """Velocities as input of the kernel."""
        return self.velocities.sorted_rows(self.folded, self.link == QUARTER)

    @cached_property
    def _scratch(self) -> tuple[Floats, ...]:
        nx, ny, nz = self.grid.volume.shape
        n, bases = self.workers, 2 if self.link in (QUARTER, THIRD) else 1
        return (
            np.zeros((n, 2, ny, nz, LANES)),
            np.zeros((n, 2, nz, LANES)),
            np.zeros((n, bases, 2, 2, ny, nz, LANES)),
            np.zeros((n, bases, 2, 2, nx, nz, LANES)),
        )

    @cached_property
    def _fixed(self) -> tuple[Any, ...]:
        g = self.grid
        return (*g.widths, g.gas, *g.patches, g.whole, self.rows, self.delta, g.cover_y, g.cover_x, self.link)

    def faces(self, drive: RotorDrive) -> tuple[tuple[Any, ...], tuple[Any, ...]]:
        """Accommodation, temperature and normal velocity of the faces in y = 0 (by x) and in x = 0 (by y)."""
        x, y = self.grid.along, 0.5 * (self.grid.y[1:] + self.grid.y[:-1])
        # The second of two vanes, and a rotated half, have the other face towards the domain.
        ahead = self.grid.x[1:] > 0.0
        first = (
            np.where(ahead, self.leading, self.trailing),
            np.where(ahead, drive.leading, drive.trailing),
            drive.spin * x,
        )
        return first, (self.trailing, drive.trailing, -drive.spin * y)

    def arguments(self, y: Floats, drive: RotorDrive) -> tuple[Any, ...]:
        """Variable arguments of a sweep."""
        parity = self.parity if self.parity is not None else 1.0
        # Between two vanes in one plane, and beside a single one, x = 0 is still a plane of symmetry.
        in_y, in_x = self.faces(drive)
        return (
            (parity, parity), in_y[0], in_x[0], in_y[1], in_x[1], in_y[2], in_x[2], drive.chamber, *self.split(y)
        )  # fmt: skip

    def _zeros(self, count: int) -> tuple[Floats, ...]:
        """Return zero arrays for the sums of a number of sweeps."""
        shapes = self.shapes
        kinds = (shapes[0], (*shapes[1], 2), (*shapes[2], 2), (*shapes[3], 4), (*shapes[4], 4))
        return tuple(np.zeros((count, *shape)) for shape in kinds)

    def _run(self, y: Floats, drive: RotorDrive) -> list[Floats]:
        results = self._zeros(self.workers)
        compiled("rotor_kernel")(self.workers, self._scratch, self._fixed, self.arguments(y, drive), results)
        return [part[0] if self.workers == 1 else part.sum(axis=0) for part in results]

    @cached_property
    def _image(self) -> NDArray[np.int64]:
        """Number of the mirror image of each wall in the diagonal plane x = y."""
        across_x, across_y = self.grid.patches
        image = np.zeros(self.grid.walls[0].size, dtype=np.int64)
        image[across_x[across_x >= 0]] = across_y.T[across_x >= 0]
        image[across_y[across_y >= 0]] = across_x.T[across_y >= 0]
        if self.grid.round:
            both = np.maximum(across_x, across_y)
            image[both[both >= 0]] = both.T[both >= 0]
        return image

    def _images(self, parts: Sequence[NDArray[Any]]) -> list[NDArray[Any]]:
        """Return the mirror images of the sums in the diagonal plane x = y."""
        new, side, top, vane_y, vane_x = parts
        return [new.transpose(1, 0, 2, 3)[..., SWAPPED], side[self._image], top.transpose(1, 0, 2), vane_x, vane_y]

    def _fold(self, parts: Sequence[Floats]) -> list[Floats]:
        """Add the mirror images of the sums in the diagonal plane x = y."""
        sign = 1.0 if self.parity is None else self.parity
        return [own + sign * image for own, image in zip(parts, self._images(parts), strict=True)]

    @cached_property
    def scale(self) -> Floats:
        """Root of the share of the domain that each unknown stands for: norms then approximate integrals."""
        g = self.grid
        volume = np.where(g.volume > 0.0, g.volume, g.volume.max() * 1e-3)
        side, top, *_ = self._areas
        in_y, in_x, _ = g.faces
        parts = [np.repeat((volume / volume.sum())[..., None], 8, axis=-1), side / side.sum()]
        parts.append(np.maximum(top, 1e-3 * top.max()) / top.sum())
        for area, cover in ((in_y, g.cover_y), (in_x, g.cover_x)):
            parts.append(np.maximum(cover, 1e-3) * area / area.sum())
        return np.asarray(np.sqrt(np.concatenate([np.ravel(part) for part in parts])))

    @cached_property
    def dissipation(self) -> Floats:
        """Root of the weight of each unknown in what collisions and walls dissipate."""
        weights = np.zeros(self.size)
        volume = np.maximum(self.grid.volume, 1e-3 * self.grid.volume.max())
        moments, *walls = self.split(weights)
        moments[:] = np.sqrt(max(self.delta, LEAST_DELTA) * volume[..., None] * np.array(moment_weights(3)))
        for density, area, flux in zip(walls, self._areas, self._fluxes, strict=True):
            # Without a wall, unknowns stay zero, but they are divided by this.
            density[:] = np.sqrt(flux * np.maximum(area, 1e-3 * (area.max() or 1.0)))
        return weights / float(np.linalg.norm(weights))

    @cached_property
    def null(self) -> tuple[Floats, Floats]:
        """Uniform density, the null space, and the number of particles; zero if the field is odd."""
        more, mass = np.zeros(self.size), np.zeros(self.size)
        if self.parity is None or self.parity > 0.0:
            g = self.grid
            moments, side, top, *faces = self.split(more)
            moments[..., 0] = g.gas[..., None]
            side[:], top[:] = 1.0, g.gas
            for density, cover in zip(faces, (g.cover_y, g.cover_x), strict=True):
                density[:] = cover > 0.0
            moments, *densities = self.split(mass)
            moments[..., 0] = self.delta * g.volume
            for density, flux, area in zip(densities, self._fluxes, self._areas, strict=True):
                density[:] = flux * area
            mass /= mass.sum()
        return more, mass

    def sweep(self, y: Floats, drive: RotorDrive = REST) -> tuple[Floats, Fallen]:
        """Sweep once; return the new unknowns and the incidence on the walls."""
        parts = self._run(y, drive)
        return self.gather(parts, drive)

    @staticmethod
    def _become(parts: Sequence[NDArray[Any]]) -> list[NDArray[Any]]:
        """Return those sums of a sweep that become unknowns."""
        new, *walls = parts
        return [new, *(wall[..., 0] for wall in walls)]

    @cached_property
    def _factors(self) -> list[Floats]:
        """Factors of the sums that become unknowns, each of as many axes as these."""
        g, (across, along) = self.grid, self._flux
        moments = np.ones(8)
        moments[4] = 2.0 / 3.0
        return [
            moments,
            1.0 / (across * (g.walls[0] + g.walls[1])[:, None]),
            np.full((1, 1), 1.0 / along),
            (g.cover_y > 0.0) / across,
            (g.cover_x > 0.0) / across,
        ]

    @cached_property
    def sweep_parts(self) -> SweepParts | None:
        """What compiled code sweeps this operator with; None where more than it knows is done in a sweep."""
        if type(self) is not RotorOperator or self.grid.oblique:
            return None
        g, (nx, ny, nz) = self.grid, self.grid.volume.shape
        shapes = [part.shape[1:] for part in self._zeros(1)]
        ends = np.cumsum([0] + [int(np.prod(shape)) for shape in shapes])
        places = [np.arange(a, b).reshape(shape) for a, b, shape in zip(ends[:-1], ends[1:], shapes, strict=True)]
        images = self._images(places) if self.folded else places
        factors = [np.broadcast_to(f, shape) for f, shape in zip(self._factors, self.shapes, strict=True)]

        def flat(parts: Sequence[NDArray[Any]]) -> NDArray[Any]:
            return np.concatenate([part.ravel() for part in parts])

        parity = 1.0 if self.parity is None else self.parity
        bounds = dict(zip(("xs", "ys", "low_x", "low_y"), (part[:1] for part in self._scratch), strict=True))
        return SweepParts(
            kind="rotor",
            plain={
                "nx": nx, "ny": ny, "nz": nz, "patches": g.walls[0].size, "bases": self.rows.shape[1],
                "rows": self.rows.shape[0], "whole": g.whole, "link": self.link, "delta": self.delta,
                "parity_x": parity, "parity_y": parity, "alpha_x": self.trailing,
            },
            arrays={
                **bounds, **dict(zip(("dx", "dy", "dz"), g.widths, strict=True)), "gas": g.gas,
                "patch_x": g.patches[0], "patch_y": g.patches[1], "velocities": self.rows, "cover_y": g.cover_y,
                "cover_x": g.cover_x, "alpha_y": self.faces(REST)[0][0], "zero": np.zeros(max(nx, ny)),
            },
            sums=int(ends[-1]),
            own=flat(self._become(places)),
            image=flat(self._become(images)),
            factor=flat(factors),
            sign=parity if self.folded else 0.0,
        )  # fmt: skip

    def gather(self, parts: list[Floats], drive: RotorDrive) -> tuple[Floats, Fallen]:
        """Turn the sums of a sweep into new unknowns."""
        if self.folded:
            parts = self._fold(parts)
        if self.grid.oblique:
            parts = [_lowered(parts[0]), *parts[1:]]
        in_y, in_x = self.faces(drive)
        unknowns = [factor * part for factor, part in zip(self._factors, self._become(parts), strict=True)]
        unknowns[3] += 0.5 * in_y[2][:, None] * self._factors[3]
        unknowns[4] += 0.5 * in_x[2][:, None] * self._factors[4]
        return np.concatenate([part.ravel() for part in unknowns]), Fallen(*parts[1:])

    def apply(self, y: Floats) -> Floats:
        """``(1 - K) y``."""
        return y - self.sweep(y)[0]

    def loads(self, y: Floats, fallen: Fallen, drive: RotorDrive) -> tuple[list[FaceLoads], float, float]:
        """Return the loads of the faces in y = 0 and x = 0, and how far particles and energy that leave all walls are
        from zero, relatively.
        """
        g, (across, along) = self.grid, self._flux
        _, nu_side, nu_top, *nu = self.split(y)
        dz = g.widths[2]
        loads, flux, energy = [], [], []
        v = self.velocities
        cubed = 4.0 * float(v.direction_weights @ v.directions[:, 0] ** 3) * float(v.speed_weights @ v.speed**3)
        planes = zip(self.faces(drive), (fallen.vane_y, fallen.vane_x), nu, g.faces[:2], (g.cover_y, g.cover_x),
                     strict=True)  # fmt: skip
        for (alpha, tau, push), falls, density, area, cover in planes:
            a, t, u = (np.broadcast_to(np.asarray(part, dtype=float), cover.shape[:1])[:, None]
                       for part in (alpha, tau, push))  # fmt: skip
            pressure = falls[..., 1] + a * (0.5 * density + 0.25 * t + 4.0 * cubed * u)
            pressure = pressure + (1.0 - a) * (falls[..., 1] + 8.0 * cubed * u)
            heat = a * (2.0 * across * (density + t) - 1.25 * u - falls[..., 3])
            loads.append(FaceLoads(pressure, a * falls[..., 2], heat))
            flux.append((area * cover, across * density - falls[..., 0] + 0.5 * u))
            energy.append((area * cover, heat + 2.5 * u))
            # Through the open part an odd field flows into its mirror image; rotated gas re-enters elsewhere.
            sign = self.parity if self.parity is not None else 1.0
            for sums, fall in ((flux, falls[..., 0]), (energy, falls[..., 3])):
                sums.append((area * (1.0 - cover) * (1.0 - sign), -fall))
        ones = np.ones_like(dz)
        out = across * np.outer(g.walls[0] + g.walls[1], dz)
        flux += [(np.outer(np.ones(out.shape[0]), ones), out * nu_side - fallen.side[..., 0] * dz)]
        energy += [(np.outer(np.ones(out.shape[0]), ones), 2.0 * out * (nu_side + drive.chamber)
                    - fallen.side[..., 1] * dz)]  # fmt: skip
        flux += [(g.faces[2], along * nu_top - fallen.top[..., 0])]
        energy += [(g.faces[2], 2.0 * along * (nu_top + drive.chamber) - fallen.top[..., 1])]
        gross = [(area * cover, np.abs(falls[..., 0]))
                 for area, cover, falls in zip(g.faces[:2], (g.cover_y, g.cover_x), (fallen.vane_y, fallen.vane_x),
                                               strict=True)]  # fmt: skip
        return loads, _imbalance(flux, [*gross, *flux]), _imbalance(energy, energy)

    def matrix(self, workers: int = 1) -> Floats:
        """Return ``1 - K`` as a matrix, its columns shared by threads."""
        size, results = self.size, self._zeros(self.size)
        scratch = replace(self, workers=workers)._scratch
        about = self.arguments(np.zeros(size), REST)[: -len(self.shapes)]
        ends = zip(self.shapes, self._ends[:-1], self._ends[1:], strict=True)
        unit = np.eye(size)
        given = (*about, *(np.ascontiguousarray(unit[:, a:b]).reshape(size, *s) for s, a, b in ends))
        compiled("rotor_kernel", "sweep_each")(workers, scratch, self._fixed, given, results)
        swept = [self.gather([part[k] for part in results], REST)[0] for k in range(size)]
        return unit - np.array(swept).T

    def coarser(self) -> RotorOperator:
        """Return the same operator on the grid with cells merged in pairs."""
        return replace(self, grid=self.grid.coarser(), workers=1)

    def carry(self, y: Floats, grid: RotorGrid) -> Floats:
        """Return unknowns of the same case on another grid, interpolated to this one."""
        return unknowns_map(grid, self.grid, finer=True) @ y

    def transfer(self, coarse: RotorOperator) -> tuple[BlockMap, BlockMap]:
        """Maps that take unknowns to an operator on a coarser grid, by averages, and back, by interpolation."""
        return (
            unknowns_map(self.grid, coarse.grid, finer=False),
            unknowns_map(coarse.grid, self.grid, finer=True),
        )


def _lowered(moments: Floats) -> Floats:
    """Return moments whose vectors are given along two axes at 120 degrees by their products with these axes."""
    lowered = moments.copy()
    for first, second in ((1, 2), (5, 6)):
        lowered[..., first] -= 0.5 * moments[..., second]
        lowered[..., second] -= 0.5 * moments[..., first]
    return lowered


def _imbalance(flows: list[tuple[Floats, Floats]], sizes: list[tuple[Floats, Floats]]) -> float:
    """Sum of flows through all walls over the sum of their magnitudes; 0 where nothing but rounding flows."""
    net = sum(float(np.sum(area * flow)) for area, flow in flows)
    gross = sum(float(np.sum(np.abs(area * flow))) for area, flow in sizes)
    return net / gross if gross > 1e-13 * sum(float(np.sum(area)) for area, _ in flows) else 0.0
