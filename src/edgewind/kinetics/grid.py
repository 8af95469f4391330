"""Tensor grids with a node on the vane's edge, refined at edges and walls; coarser copies; interpolation."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

Floats = NDArray[np.float64]

# Cells grow away from an edge or a wall by this share of the distance; larger jumps would spoil the second
# order.
GROWTH = 0.3
# Every segment has a multiple of this many cells, so that a grid can be coarsened twice; half as many when refined.
MULTIPLE = 4


def graded(
    a: float,
    b: float,
    resolution: float,
    size_a: float,
    size_b: float,
    largest: float,
    refined: float = 1.0,
    multiple: int = MULTIPLE,
) -> Floats:
    """Return the nodes from a to b with cells of about `size_a` at a, `size_b` at b and at most `largest` between.

    The cell size h(x) wanted at unit resolution is harmonic in its three bounds, ``1/h = 1/(size_a + g (x-a)) +
    1/(size_b + g (b-x)) + 1/largest``; nodes stand at equal steps of ``Int dx/h``, so that refining keeps the shape.
    The number of cells is a multiple of `multiple`, and half of that where refined; where a thick vane must keep its
    outline on coarser grids, a greater one is kept throughout.

    Examples
    --------
    >>> graded(0.0, 1.0, 1.0, 0.1, 0.1, 0.5).size % MULTIPLE
    1
    """
    x = a + (b - a) * np.linspace(0.0, 1.0, 4001)
    density = 1.0 / (size_a + GROWTH * (x - a)) + 1.0 / (size_b + GROWTH * (b - x)) + 1.0 / largest
    count = np.concatenate([[0.0], np.cumsum(0.5 * (density[1:] + density[:-1]) * np.diff(x))])
    # Refinement applies to the rounded number: otherwise a segment of few cells might keep its number or double it, and
    # two levels would not give the error.
    cells = multiple * max(1, round(resolution * count[-1] / multiple))
    if refined != 1.0:
        least = 2 if multiple == MULTIPLE else multiple
        cells = least * max(1, round(cells * refined / least))
    nodes = np.interp(np.linspace(0.0, count[-1], cells + 1), count, x)
    nodes[0], nodes[-1] = a, b
    return nodes


def merge(nodes: Floats) -> Floats:
    """Return the nodes of the grid with cells merged in pairs; an odd one stays as it is."""
    return nodes[::2] if nodes.size % 2 else np.append(nodes[::2], nodes[-1])


def spread(coarse: Floats, fine: Floats) -> sparse.csr_array:
    """Return the matrix that interpolates cell values linearly from `coarse` to `fine` nodes, and on beyond the outer
    centres.
    """
    x, y = 0.5 * (coarse[1:] + coarse[:-1]), 0.5 * (fine[1:] + fine[:-1])
    if x.size == 1:
        return sparse.csr_array(np.ones((y.size, 1)))
    left = np.clip(np.searchsorted(x, y) - 1, 0, x.size - 2)
    share = (y - x[left]) / (x[left + 1] - x[left])
    rows = np.arange(y.size)
    matrix = sparse.coo_array(
        (np.r_[1.0 - share, share], (np.r_[rows, rows], np.r_[left, left + 1])), shape=(y.size, x.size)
    )
    return sparse.csr_array(matrix)


def average(coarse: Floats, fine: Floats) -> sparse.csr_array:
    """Return the matrix that averages cell values from `fine` nodes to `coarse` ones, a subset of them."""
    owner = np.searchsorted(coarse, 0.5 * (fine[1:] + fine[:-1])) - 1
    share = np.diff(fine) / np.diff(coarse)[owner]
    matrix = sparse.coo_array((share, (owner, np.arange(owner.size))), shape=(coarse.size - 1, fine.size - 1))
    return sparse.csr_array(matrix)


@dataclass(frozen=True)
class Grid:
    """Cells of one or two boxes that meet in the plane of the vane.

    Parameters
    ----------
    x : tuple of arrays
        For each box, nodes from the vane's plane to the end wall.
    across : tuple of arrays
        Nodes of the directions in the vane's plane, from the plane of symmetry to the side wall; shared by
        the boxes.
    cover : array
        Share of each face in the vane's plane that the vane covers.
    slab : bool
        Whether the gas is uniform across, without side walls: one infinite cell across.
    solid : int
        Columns of each box, from the vane's middle plane, that a thick vane fills as far out as it covers.
    """

    x: tuple[Floats, ...]
    across: tuple[Floats, ...]
    cover: Floats
    slab: bool = False
    solid: int = 0

    @property
    def boxes(self) -> int:
        """Number of boxes: one if the field is symmetric in the vane's plane, else two."""
        return len(self.x)

    @cached_property
    def start(self) -> NDArray[np.int64]:
        """First column of each box, and the number of columns."""
        return np.cumsum([0] + [nodes.size - 1 for nodes in self.x])

    @property
    def floor(self) -> int:
        """Cells from the plane of symmetry that a thick vane fills in its columns; 0 for a thin one."""
        return int(np.count_nonzero(self.cover)) if self.solid else 0

    @cached_property
    def filled(self) -> NDArray[np.bool_]:
        """Cells within a thick vane, where there is no gas."""
        inside = np.zeros((self.start[-1], *self.cover.shape), dtype=bool)
        for first in self.start[:-1]:
            inside[first : first + self.solid, : self.floor] = True
        return inside

    @cached_property
    def rim(self) -> Floats:
        """Areas of the rim of a thick vane in each column; zero beyond it."""
        return np.asarray(self.dx * self.filled.any(axis=tuple(range(1, self.filled.ndim))))

    @cached_property
    def dx(self) -> Floats:
        """Widths of the columns, box after box."""
        return np.concatenate([np.diff(nodes) for nodes in self.x])

    @cached_property
    def sides(self) -> tuple[Floats, ...]:
        """Widths of the cells in the other directions."""
        return tuple(np.diff(nodes) for nodes in self.across)

    @cached_property
    def face(self) -> Floats:
        """Areas of the faces in the vane's plane."""
        area = self.sides[0]
        for side in self.sides[1:]:
            area = np.multiply.outer(area, side)
        return area

    @cached_property
    def volume(self) -> Floats:
        """Volumes of the cells."""
        return np.multiply.outer(self.dx, self.face)

    @property
    def cells(self) -> int:
        """Number of cells."""
        return int(self.volume.size)

    def coarser(self) -> Grid:
        """Return the grid with cells merged in pairs along every axis."""
        across = tuple(merge(nodes) for nodes in self.across)
        cover = self.cover
        for axis, (coarse, fine) in enumerate(zip(across, self.across, strict=True)):
            cover = np.moveaxis(average(coarse, fine) @ np.moveaxis(cover, axis, 0), 0, axis)
        if self.solid % 2 or self.floor % 2:
            raise ValueError("cells of a thick vane cannot be merged with those of the gas")
        return Grid(tuple(merge(nodes) for nodes in self.x), across, cover, self.slab, self.solid // 2)
