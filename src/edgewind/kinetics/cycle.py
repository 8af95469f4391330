"""Coarse levels handed to compiled code: their arrays laid out flat, and records that say where each begins."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib import import_module
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from edgewind.kinetics.block_map import BlockMap
from edgewind.kinetics.sweeps import compiled

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
        flat: NDArray[Any] = np.ravel(np.asarray(array, dtype=self.kind))
        begins = self.size
        self.parts.append(flat)
        self.size += flat.size
        return begins

    def all(self) -> NDArray[Any]:
        """Return the arrays as one."""
        return np.concatenate([*self.parts, np.zeros(1, self.kind)])


@dataclass(frozen=True)
class Stage:
    """A level that a polynomial solves.

    Parameters
    ----------
    sweep : SweepParts
        Its sweep.
    roots : sequence of complex
        Roots of the polynomial, as `krylov.residual_roots` orders them.
    down, up : BlockMap
        Maps of the unknowns to the level below and back.
    """

    sweep: SweepParts
    roots: Sequence[complex]
    down: BlockMap
    up: BlockMap


class Cycle:
    """Polynomials on some levels, one within the other, and a matrix below them, as one compiled function.

    Parameters
    ----------
    stages : sequence of Stage
        The levels, from the finest.
    inverse : array
        The inverse of the lowest one.
    """

    def __init__(self, stages: Sequence[Stage], inverse: Floats) -> None:
        kernel = import_module("edgewind.kinetics.cycle_kernel")
        self._descend = compiled("cycle_kernel", "descend")
        numbers, integers, flags = _Store(float), _Store(np.int64), _Store(np.bool_)
        stores = {"f": numbers, "i": integers, "b": flags}
        rows = np.zeros(len(stages) + 1, kernel.LEVEL)
        maps = np.zeros((len(stages), 2), kernel.MAP)
        sweeps = {"rotor": np.zeros(len(stages), kernel.ROTORS), "space": np.zeros(len(stages), kernel.SPACES)}
        rows["size"] = [*(stage.sweep.own.size for stage in stages), len(inverse)]
        for number, stage in enumerate(stages):
            parts, row = stage.sweep, rows[number]
            row["kind"] = kernel.ROTOR if parts.kind == "rotor" else kernel.SPACE
            row["sums"], row["sign"] = parts.sums, parts.sign
            row["own"], row["image"] = integers.put(parts.own), integers.put(parts.image)
            row["factor"] = numbers.put(parts.factor)
            steps = polynomial_steps(stage.roots)
            row["steps"], row["first"] = len(steps), numbers.put(steps)
            vectors = dict.fromkeys(("left", "step", "more", "swept"), row["size"]) | {"raw": parts.sums}
            for name, size in (vectors | dict.fromkeys(("coarse", "below"), rows["size"][number + 1])).items():
                row[name] = numbers.put(np.zeros(size))
            for name, value in parts.plain.items():
                sweeps[parts.kind][number][name] = value
            for name, array in parts.arrays.items():
                sweeps[parts.kind][number][name] = stores[array.dtype.kind].put(array)
            for way, between in enumerate((stage.down, stage.up)):
                _describe(maps[number, way], between, numbers, integers)
        rows[-1]["inverse"] = numbers.put(inverse)
        self._about = (
            rows, maps, sweeps["rotor"], sweeps["space"], numbers.all(), integers.all(), flags.all()
        )  # fmt: skip

    def __call__(self, r: Floats) -> Floats:
        """Return the loose solution of ``(1 - K) x = r``, in unknowns without a scale."""
        x = np.empty_like(r)
        self._descend(0, self._about, r, x)
        return x


def polynomial_steps(roots: Sequence[complex]) -> Floats:
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
