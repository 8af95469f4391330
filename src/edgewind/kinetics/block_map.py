"""Linear maps between unknowns of two grids, block by block, as a small matrix for each axis of a block."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

Floats = NDArray[np.float64]
# Larger matrices stay sparse; they may stand on the first axis only.
LARGEST_DENSE_AXIS = 300


def kronecker(left: sparse.csr_array, right: sparse.csr_array) -> sparse.csr_array:
    """Return the Kronecker product of two matrices by rows: SciPy's takes longer, and may store zeros."""
    rows, columns = right.shape
    in_left, in_right = np.diff(left.indptr), np.diff(right.indptr)
    ends = np.concatenate([[0], np.cumsum(np.multiply.outer(in_left, in_right))])
    # Of each number of a matrix: its row, and how many stand before it there.
    row, of = np.repeat(np.arange(left.shape[0]), in_left), np.repeat(np.arange(rows), in_right)
    before, ahead = np.arange(left.nnz) - left.indptr[row], np.arange(right.nnz) - right.indptr[of]
    places = ends[row[:, None] * rows + of] + before[:, None] * in_right[of] + ahead
    data, indices = np.empty(places.size), np.empty(places.size, np.int32)
    data[places], indices[places] = left.data[:, None] * right.data, left.indices[:, None] * columns + right.indices
    found = sparse.csr_array((data, indices, ends), shape=(left.shape[0] * rows, left.shape[1] * columns))
    found.sort_indices()
    return found


@dataclass(frozen=True, eq=False)
class Block:
    """A map of one block of unknowns.

    Parameters
    ----------
    axes : tuple
        For each axis of the block a sparse matrix, or the length of an unchanged axis.
    mask : array, optional
        Factor for the output, flat.
    """

    axes: tuple[sparse.csr_array | int, ...]
    mask: Floats | None = None

    @cached_property
    def source(self) -> tuple[int, ...]:
        """Shape of the input."""
        return tuple(axis if isinstance(axis, int) else axis.shape[1] for axis in self.axes)

    @cached_property
    def _steps(self) -> list[tuple[Any, int, int, int]]:
        """For each changed axis: its matrix, and the number of values before, on and after it."""
        steps, before, after = [], 1, math.prod(self.source)
        for axis, length in zip(self.axes, self.source, strict=True):
            after //= length
            if isinstance(axis, int):
                before *= axis
                continue
            matrix = axis if max(axis.shape) > LARGEST_DENSE_AXIS else axis.toarray()
            steps.append((np.ascontiguousarray(matrix.T) if after == 1 < before else matrix, before, length, after))
            before *= axis.shape[0]
        return steps

    def matrix(self, axes: int) -> sparse.csr_array:
        """Return the map along the first axes as one sparse matrix; the others must be unchanged."""
        found = sparse.csr_array(np.ones((1, 1)))
        for axis in self.axes[:axes]:
            found = kronecker(found, sparse.eye_array(axis, format="csr") if isinstance(axis, int) else axis)
        if self.mask is not None:
            found = sparse.csr_array(sparse.diags_array(self.mask.reshape(found.shape[0], -1)[:, 0]) @ found)
        return found

    def __matmul__(self, values: Floats) -> Floats:
        """Map the values of the block, given and returned flat."""
        found = values
        for matrix, before, length, after in self._steps:
            if before == 1:
                found = matrix @ found.reshape(length, after)
            elif after == 1:
                found = found.reshape(before, length) @ matrix
            else:
                found = np.matmul(matrix, found.reshape(before, length, after))
        found = found.reshape(-1)
        return found if self.mask is None else found * self.mask


@dataclass(frozen=True, eq=False)
class BlockMap:
    """A map of all unknowns.

    Parameters
    ----------
    blocks : tuple of Block
        The maps of the blocks, in their order.
    """

    blocks: tuple[Block, ...]

    @cached_property
    def _ends(self) -> list[int]:
        """First index of each block in the input, and the total number."""
        return list(accumulate((math.prod(block.source) for block in self.blocks), initial=0))

    def __matmul__(self, values: Floats) -> Floats:
        """Map the values of all blocks; later values are left out."""
        places = zip(self.blocks, self._ends[:-1], self._ends[1:], strict=True)
        return np.concatenate([block @ values[a:b] for block, a, b in places])
