"""Grids of a whole rotor in its chamber: tensor cells without those outside a round chamber."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from edgewind.kinetics.block_map import Block, BlockMap
from edgewind.kinetics.geometry import THICKEST, Shape, _across, _finest, _largest, _normal, covered
from edgewind.kinetics.grid import average, graded, merge, spread

Floats = NDArray[np.float64]
# Cells between two halves of a chamber side by side, so that some remain after cells are merged in pairs four times.
GAP = 16
# How what leaves a rotor's domain enters it elsewhere: at the same place mirrored, or turned; see rotor_kernel.py.
MIRRORED, QUARTER, HALF, THIRD = 0, 1, 2, 3
# Area of a cell of unit sides along axes at 120 degrees.
OBLIQUE = 0.75**0.5


@dataclass(frozen=True)
class Rotor:
    """Equal flat vanes about a vertical axis in an upright chamber. Lengths in the width of a vane.

    Parameters
    ----------
    shape : Shape
        Outline of a vane; its width runs along the radius.
    vanes : int
        1, 2, 3 or 4.
    arm : float
        From the axis to the middle of a vane.
    width, height : float
        Sides of a box with a square base, or diameter and height of a cylinder.
    round : bool
        Whether the chamber is a cylinder.
    """

    shape: Shape
    vanes: int
    arm: float
    width: float
    height: float
    round: bool = False

    @property
    def tip(self) -> float:
        """Distance of the outer edge of a vane from the axis."""
        return self.arm + 0.5 * self.shape.extents[0]

    @property
    def root(self) -> float:
        """Distance of the inner edge of a vane from the axis."""
        return self.arm - 0.5 * self.shape.extents[0]


@dataclass(frozen=True)
class RotorGrid:
    """Cells of the part of the chamber that symmetry leaves: x >= 0 (two to four vanes), y >= 0 and z >= 0.

    The first vane stands in the plane y = 0 along +x, a second of three or four in the plane x = 0 along +y. The axes x
    and y of three vanes are at 120 degrees to each other, and so are the sides of their cells.

    Parameters
    ----------
    x, y, z : arrays
        Nodes.
    gas : array (nx, ny) of bool
        Whether a column of cells lies within the chamber.
    cover_y, cover_x : arrays (nx, nz) and (ny, nz)
        Share of each face in the planes y = 0 and x = 0 that a vane covers.
    whole : bool
        Whether x runs from wall to wall; else from the plane of symmetry x = 0.
    round : bool
        Whether the chamber is a cylinder: the faces of a cell towards the wall then share one density.
    offset : float
        Where the axis stands in x and, turned by a half, in -x, if both halves of a chamber lie side by side.
    oblique : bool
        Whether the axes x and y are at 120 degrees, not at right angles.
    """

    x: Floats
    y: Floats
    z: Floats
    gas: NDArray[np.bool_]
    cover_y: Floats
    cover_x: Floats
    whole: bool
    round: bool = False
    offset: float = 0.0
    oblique: bool = False

    @property
    def unit(self) -> float:
        """Area of a cell of unit sides across z."""
        return OBLIQUE if self.oblique else 1.0

    @cached_property
    def along(self) -> Floats:
        """Distance of the middles of the cells from the axis, along x."""
        x = 0.5 * (self.x[1:] + self.x[:-1])
        return np.asarray(x - np.sign(x) * self.offset)

    @cached_property
    def widths(self) -> tuple[Floats, Floats, Floats]:
        """Widths of the cells along each axis."""
        return np.diff(self.x), np.diff(self.y), np.diff(self.z)

    @cached_property
    def volume(self) -> Floats:
        """Volumes of the cells; zero outside the chamber."""
        dx, dy, dz = self.widths
        return np.asarray((self.unit * dx[:, None] * dy * self.gas)[..., None] * dz)

    @property
    def cells(self) -> int:
        """Number of cells within the chamber."""
        return int(self.gas.sum()) * (self.z.size - 1)

    @cached_property
    def patches(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Number of the wall that the faces of a column across x and across y belong to; -1 without a wall there."""
        gas = np.pad(self.gas, 1)
        if not self.whole:
            gas[0] = True
        gas[:, 0] = True
        across_x = self.gas & ~(gas[2:, 1:-1] & gas[:-2, 1:-1])
        across_y = self.gas & ~(gas[1:-1, 2:] & gas[1:-1, :-2])
        first, second = (np.full(self.gas.shape, -1, dtype=np.int64) for _ in range(2))
        if self.round:
            both = across_x | across_y
            first[both] = np.arange(both.sum())
            second[both] = first[both]
            first[~across_x], second[~across_y] = -1, -1
            return first, second
        first[across_x] = np.arange(across_x.sum())
        second[across_y] = np.arange(across_y.sum()) + across_x.sum()
        return first, second

    @cached_property
    def walls(self) -> tuple[Floats, Floats]:
        """For each patch, widths across x and across y of its faces together, shape (patches,)."""
        dx, dy, _ = self.widths
        gas = np.pad(self.gas, 1)
        if not self.whole:
            gas[0] = True
        gas[:, 0] = True
        faces_x = self.gas * (2.0 - gas[2:, 1:-1] - gas[:-2, 1:-1]) * dy
        faces_y = self.gas * (2.0 - gas[1:-1, 2:] - gas[1:-1, :-2]) * dx[:, None]
        count = int(max(part.max() for part in self.patches)) + 1

        def summed(patch: NDArray[np.int64], faces: Floats) -> Floats:
            on = patch >= 0
            return np.bincount(patch[on], faces[on], minlength=count).astype(float)

        return summed(self.patches[0], faces_x), summed(self.patches[1], faces_y)

    @cached_property
    def places(self) -> Floats:
        """Middle and direction of each patch: shape (patches, 3)."""
        dx, dy = self.widths[:2]
        x, y = self.x[:-1] + 0.5 * dx, self.y[:-1] + 0.5 * dy
        count = self.walls[0].size
        places = np.zeros((count, 3))
        for axis, patch in enumerate(self.patches):
            i, j = np.nonzero(patch >= 0)
            places[patch[i, j], 0], places[patch[i, j], 1] = x[i], y[j]
            if not self.round:
                # far away, so that walls match those of the same direction
                places[patch[i, j], 2] = 100.0 * axis + (-50.0 * (x[i] < 0.0) if axis == 0 else 0.0)
        return places

    @cached_property
    def faces(self) -> tuple[Floats, Floats, Floats]:
        """Areas of the faces in the planes y = 0 and x = 0, and of the top: (nx, nz), (ny, nz), (nx, ny)."""
        dx, dy, dz = self.widths
        return np.outer(dx, dz), np.outer(dy, dz), self.unit * np.outer(dx, dy) * self.gas

    def coarser(self) -> RotorGrid:
        """Return the grid with cells merged in pairs along every axis; a column with some gas is gas."""
        x, y, z = merge(self.x), merge(self.y), merge(self.z)
        along = [average(a, b) for a, b in ((x, self.x), (y, self.y), (z, self.z))]
        gas = along[0] @ self.gas.astype(float) @ along[1].T > 1e-9
        return RotorGrid(
            x, y, z, gas, along[0] @ self.cover_y @ along[2].T, along[1] @ self.cover_x @ along[2].T,
            self.whole, self.round, self.offset, self.oblique,
        )  # fmt: skip


def _towards(source: Floats, target: Floats, weights: Floats | None = None) -> sparse.csr_array:
    """Return the matrix from each of `source` places to the nearest of `target` places, as a weighted mean."""
    nearest = np.argmin(((source[:, None, :] - target[None, :, :]) ** 2).sum(axis=-1), axis=1)
    share = np.ones(source.shape[0]) if weights is None else weights
    return sparse.csr_array(
        sparse.coo_array((share, (nearest, np.arange(nearest.size))), shape=(target.shape[0], source.shape[0]))
    )


def _rows_to_one(matrix: sparse.csr_array) -> sparse.csr_array:
    total = np.asarray(matrix.sum(axis=1)).ravel()
    return sparse.csr_array(sparse.diags_array(1.0 / np.where(total > 1e-12, total, np.inf)) @ matrix)


def unknowns_map(source: RotorGrid, target: RotorGrid, *, finer: bool) -> BlockMap:
    """Return the map of moments and densities of the walls from one grid to another.

    `finer` interpolates to a finer grid; else cells are averaged to a coarser one.
    """
    axes = [
        spread(a, b) if finer else average(b, a)
        for a, b in ((source.x, target.x), (source.y, target.y), (source.z, target.z))
    ]
    x, y, z = axes
    ragged = source.round or source.offset > 0.0
    if ragged:
        # no extrapolation beyond the outermost cells
        x, y = (sparse.csr_array(axis.maximum(0.0)) for axis in (x, y))
    columns = sparse.csr_array(sparse.kron(x, y)) @ sparse.diags_array(source.gas.ravel().astype(float))
    if ragged:
        columns = _rows_to_one(sparse.csr_array(columns))
    columns = sparse.csr_array(sparse.diags_array(target.gas.ravel().astype(float)) @ columns)
    if finer:
        side = sparse.csr_array(_towards(target.places, source.places).T)
    else:
        side = _rows_to_one(_towards(source.places, target.places, source.walls[0] + source.walls[1]))
    blocks = ((columns, z, 8), (side, z), (columns,), (x, z), (y, z))
    return BlockMap(tuple(Block(axes) for axes in blocks))


def rotor_grid(rotor: Rotor, kn: float, resolution: float, refined: float = 1.0, *, whole: bool = False) -> RotorGrid:
    """Return the grid of a rotor: nodes on every edge of a vane, fine there and at the walls.

    `whole` has x run from wall to wall for two vanes, too. For a single one it contains both halves of the chamber,
    which need not be images of each other: y > 0, and to its left y < 0, rotated by a half turn, with a gap between
    them. Gas that leaves one half through y = 0 enters the other, as for two vanes it re-enters the same.
    """
    fine = (resolution, refined)
    edge = _finest(kn)
    half, extent = 0.5 * rotor.width, rotor.shape.extents[0]
    even = rotor.shape.cuts_cells
    from_edge = min(_largest(half - rotor.tip, kn, THICKEST), 0.02 + 2.0 * kn)

    def between(a: float, b: float, size_a: float, size_b: float, most: float) -> Floats:
        return graded(a, b, resolution, size_a, size_b, most, refined)

    vane = 2.0 * edge if even else edge
    along = between(rotor.root, rotor.tip, vane, vane, vane if even else min(0.25 * extent, THICKEST * kn))
    outside = between(rotor.tip, half, edge, from_edge, _largest(half - rotor.tip, kn, THICKEST))
    oblique = rotor.vanes == 3
    if oblique:
        # Along a vane's plane the wall is `half` away; in between it is farther in these axes.
        beyond = between(half, half / OBLIQUE, from_edge, from_edge, _largest(half - rotor.tip, kn, THICKEST))
        outside = np.concatenate([outside, beyond[1:]])
    largest = _largest(rotor.root, kn, THICKEST)
    normal = _normal(half, kn, fine, THICKEST)
    if rotor.vanes == 1:
        reach = half + rotor.root
        inside = between(-half, rotor.root, min(_largest(reach, kn, THICKEST), 0.02 + 2.0 * kn), edge,
                         _largest(reach, kn, THICKEST))  # fmt: skip
    else:
        inside = between(0.0, rotor.root, edge if rotor.vanes > 2 else largest, edge, largest)
    x = np.concatenate([inside, along[1:], outside[1:]])
    y = x if rotor.vanes > 2 else normal
    both, whole = whole and rotor.vanes == 1, rotor.vanes == 1 or (rotor.vanes == 2 and whole)
    if whole and rotor.vanes == 2:
        x = np.concatenate([-x[:0:-1], x])
    z = _across(0.5 * rotor.shape.extents[1], 0.5 * rotor.height, kn, fine, THICKEST, even=even)
    if rotor.round:
        u, v = 0.5 * (x[1:] + x[:-1]), 0.5 * (y[1:] + y[:-1])
        across = u[:, None] * v[None, :] if oblique else 0.0
        gas = u[:, None] ** 2 + v[None, :] ** 2 - across < half**2
    else:
        gas = np.ones((x.size - 1, y.size - 1), dtype=bool)
    cover = covered(lambda a, b: rotor.shape.contains(a - rotor.arm, b), x, z)
    offset = 0.0
    if both:
        offset = half + 0.5
        x = np.concatenate([-x[::-1] - offset, np.linspace(-0.5, 0.5, GAP + 1)[1:-1], x + offset])
        gas, cover = (
            np.concatenate([part[::-1], np.zeros((GAP, part.shape[1]), dtype=part.dtype), part])
            for part in (gas, cover)
        )
    elif whole and rotor.vanes == 2:
        cover = cover + cover[::-1]
    none = np.zeros((y.size - 1, z.size - 1))
    in_x = cover.copy() if rotor.vanes > 2 else none
    return RotorGrid(x, y, z, gas, cover, in_x, whole, rotor.round, offset, oblique)
