"""Coarse levels handed to compiled code: their arrays laid out flat, and records that say where each begins."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from edgewind.kinetics.block_map import BlockMap
from edgewind.kinetics.sweeps import compiled

if TYPE_CHECKING:
    from edgewind.kinetics.levels import Level

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class SweepParts:
    """What compiled code sweeps a coarse operator with, all walls at rest.

    Parameters
    ----------
    kind : str
        ``rotor`` or ``space``.
    plain : mapping
        Integers and numbers, by their names in the records of `cycle_kernel`.
    arrays : mapping
        Arrays, by their names there.
    sums : int
        Number of sums of a sweep.
    own, image : arrays of int (unknowns,)
        Which sum each unknown is, and which is that of its mirror image.
    factor : array (unknowns,)
        Factor of the sum.
    sign : float
        Factor of the image; 0 without one.
    """

    kind: str
    plain: Mapping[str, float]
    arrays: Mapping[str, NDArray[Any]]
    sums: int
    own: NDArray[np.int64]
    image: NDArray[np.int64]
    factor: Floats
    sign: float


class _Store:
    """Arrays of one kind, one after the other."""

    def __init__(self, kind: type) -> None:
        self.kind, self.parts, self.size = kind, list[NDArray[Any]](), 0

    def put(self, array: Any) -> int:
        """Append an array; return where it begins."""
        flat, begins = np.ravel(np.asarray(array, dtype=self.kind)), self.size
        self.parts.append(flat)
        self.size += flat.size
        return begins

    def all(self) -> NDArray[Any]:
        """Return the arrays as one."""
        return np.concatenate([*self.parts, np.zeros(1, self.kind)])


class Cycle:
    """A level whose solver is a polynomial, and all levels below it, as one compiled function.

    Parameters
    ----------
    top : Level
        The level; the polynomials of all but the lowest are known.
    """

    def __init__(self, top: Level) -> None:
        self._solve, kernel = compiled("cycle_kernel", "solve"), compiled_module()
        levels: list[Level] = [top]
        while levels[-1].below is not None:
            levels.append(levels[-1].below)
        *upper, lowest = levels
        numbers, integers, flags = _Store(float), _Store(np.int64), _Store(np.bool_)
        stores = {"f": numbers, "i": integers, "b": flags}
        rows = np.zeros(len(levels), kernel.LEVEL)
        maps = np.zeros((len(upper), 2), kernel.MAP)
        sweeps = {"rotor": np.zeros(len(upper), kernel.ROTORS), "space": np.zeros(len(upper), kernel.SPACES)}
        for number, level in enumerate(upper):
            parts: SweepParts = level.operator.sweep_parts
            row, sweep = rows[number], sweeps[parts.kind][number]
            row["kind"], row["number"] = (kernel.ROTOR if parts.kind == "rotor" else kernel.SPACE), number
            row["size"], row["sums"], row["sign"] = level.operator.size, parts.sums, parts.sign
            row["own"], row["image"] = integers.put(parts.own), integers.put(parts.image)
            row["factor"] = numbers.put(parts.factor)
            steps = steps_of(level.roots)
            row["steps"], row["first"] = len(steps), numbers.put(steps)
            assert level.below is not None
            for name, size in (
                *((name, level.operator.size) for name in ("left", "step", "more", "swept")),
                *((name, level.below.operator.size) for name in ("coarse", "below")),
                ("raw", parts.sums),
            ):
                row[name] = numbers.put(np.zeros(size))
            for name, value in parts.plain.items():
                sweep[name] = value
            for name, array in parts.arrays.items():
                sweep[name] = stores[array.dtype.kind].put(array)
            for way, between in enumerate((level.restrict, level.prolong)):
                _describe(maps[number, way], between, numbers, integers)
        rows[-1]["size"], rows[-1]["inverse"] = lowest.operator.size, numbers.put(lowest.inverse)
        self._about = (
            rows, maps, sweeps["rotor"], sweeps["space"], numbers.all(), integers.all(), flags.all()
        )  # fmt: skip

    def __call__(self, r: Floats) -> Floats:
        """Return the loose solution of ``(1 - K) x = r``, in unknowns without a scale."""
        x = np.empty_like(r)
        self._solve(0, self._about, r, x)
        return x


def compiled_module() -> Any:
    """Return the module of the compiled function."""
    from edgewind.kinetics import cycle_kernel

    return cycle_kernel


def steps_of(roots: Sequence[complex]) -> Floats:
    """Return the steps of a polynomial, shape (n, 2): 1/root and 0; for a pair 1/|root|^2 and twice the real part."""
    steps, number = [], 0
    while number < len(roots):
        root = roots[number]
        steps.append((1.0 / abs(root) ** 2, 2.0 * root.real) if root.imag else (1.0 / root.real, 0.0))
        number += 2 if root.imag else 1
    return np.array(steps)


def _describe(row: Any, between: BlockMap, numbers: _Store, integers: _Store) -> None:
    """Fill the record of a map between two levels."""
    moments, *walls = between.blocks
    cells = moments.matrix(len(moments.axes) - 1)
    sides = sparse.csr_array(sparse.block_diag([wall.matrix(len(wall.axes)) for wall in walls]))
    before = math.prod(moments.source)
    for name, matrix, shift in (("cell", cells, 0), ("wall", sides, before)):
        row[f"{name}s"] = matrix.shape[0]
        row[f"{name}_ends"] = integers.put(matrix.indptr)
        row[f"{name}_from"] = integers.put(matrix.indices.astype(np.int64) + shift)
        row[f"{name}_share"] = numbers.put(matrix.data)
