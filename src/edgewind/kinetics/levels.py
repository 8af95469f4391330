"""A ladder of coarser copies of an operator, and the preconditioner that climbs down and up.

The gas towards the continuum differs little from local equilibrium, so a few velocities carry the slow modes, those
that a fixed point is worst at: the first step down keeps the grid and drops to few velocities. The steps below merge
cells in pairs, and the lowest operator is small enough for a dense factorisation. Each level is solved loosely by
flexible GMRES with the next one as its preconditioner: W-cycles, whatever Kn.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Protocol, Self

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.linalg import lu_factor
from scipy.linalg.lapack import dgetrs

from edgewind.kinetics.krylov import fgmres

Floats = NDArray[np.float64]


class LinearOperator(Protocol):
    """What a level needs of an operator ``1 - K``: that of a vane in a room, or of a rotor in its chamber."""

    @property
    def size(self) -> int:
        """Number of unknowns."""

    @property
    def updates(self) -> int:
        """Cells times velocities of one sweep."""

    @property
    def scale(self) -> Floats:
        """Root of the share of the domain that each unknown stands for."""

    @property
    def null(self) -> tuple[Floats, Floats]:
        """Unknowns that nothing opposes, and the weights of what every sweep conserves."""

    def apply(self, y: Floats) -> Floats:
        """``(1 - K) y``."""

    def coarser(self) -> Self:
        """Return the same operator on the grid with cells merged in pairs."""

    def matrix(self, workers: int = 1) -> Floats:
        """``1 - K`` as a matrix, made by so many threads."""

    def transfer(self, coarse: Any) -> tuple[Any, Any]:
        """Maps that take unknowns to an operator on a coarser grid, and back: what has a product by `@`."""


# The bottom is factorised: a matrix of this size takes about a tenth of a second.
LARGEST_DENSE = 1000


@dataclass
class Level:
    """An operator with a loose solver.

    Parameters
    ----------
    operator : LinearOperator
        ``1 - K``.
    below : Level, optional
        The next coarser level; without one the operator is factorised.
    restrict, prolong : maps, optional
        Unknowns to the level below and back; without them the unknowns are the same.
    tolerance : float
        Relative residual at which a loose solve stops.
    limit : int
        Most sweeps of a loose solve.
    workers : int
        Threads that make the matrix of the lowest level.
    """

    operator: LinearOperator
    below: Level | None = None
    restrict: Any = None
    prolong: Any = None
    tolerance: float = 0.0
    limit: int = 0
    workers: int = 1
    sweeps: int = field(default=0, init=False)
    _factors: Any = field(default=None, init=False)

    def product(self, y: Floats) -> Floats:
        """Product with the operator, counted, in scaled unknowns."""
        self.sweeps += 1
        scale = self.operator.scale
        return scale * self.operator.apply(y / scale)

    def work(self, unit: LinearOperator) -> float:
        """Sweeps on this level and below, in sweeps of the operator `unit`."""
        own = self.sweeps * self.operator.updates / unit.updates
        return own + (self.below.work(unit) if self.below else 0.0)

    def coarse_work(self) -> float:
        """Sweeps below this level, in sweeps of this one."""
        return self.below.work(self.operator) if self.below else 0.0

    def precondition(self, r: Floats) -> Floats:
        """Approximate solution of ``(1 - K) e = r`` in scaled unknowns, from the level below."""
        if self.below is None:
            return r
        if self.restrict is None or self.prolong is None:
            return self.below.solve(r)
        scale, scale_below = self.operator.scale, self.below.operator.scale
        coarse = scale_below * (self.restrict @ (r / scale))
        # 1 - K is near 1 for what the coarse grid cannot see: that part of r is its own correction.
        return np.asarray(r + scale * (self.prolong @ ((self.below.solve(coarse) - coarse) / scale_below)))

    def solve(self, r: Floats) -> Floats:
        """Loose solution of ``(1 - K) e = r``; exact at the bottom."""
        if self.below is None:
            return self._solve_dense(r)
        return fgmres(self.product, r, self.precondition, tolerance=self.tolerance, limit=self.limit).x

    def _solve_dense(self, r: Floats) -> Floats:
        if self._factors is None:
            matrix, scale = self.operator.matrix(self.workers), self.operator.scale
            matrix *= scale[:, None] / scale[None, :]
            null, mass = self.operator.null
            matrix += np.outer(scale * null, mass / scale)
            self._factors = lu_factor(matrix, overwrite_a=True, check_finite=False)
        return np.asarray(dgetrs(*self._factors, r)[0])


def ladder(fine: LinearOperator, rough: LinearOperator, patience: int = 6, workers: int = 1) -> Level:
    """Levels from `fine` through `rough`, the same grid with few velocities, down to what a dense solve takes.

    `patience` is the number of sweeps that the levels with merged cells may take at a time, `workers` that of threads.
    """
    top = Level(fine)
    if fine.size > rough.size:
        # What walls of other laws keep stands last; below all walls are Maxwell's.
        first = sparse.eye_array(rough.size, fine.size)
        top.restrict, top.prolong = sparse.csr_array(first), sparse.csr_array(first.T)
    level = top.below = Level(rough, tolerance=0.1, limit=20, workers=workers)
    while level.operator.size > LARGEST_DENSE:
        coarse = level.operator.coarser()
        level.restrict, level.prolong = level.operator.transfer(coarse)
        level.below = Level(coarse, tolerance=0.3, limit=patience, workers=workers)
        level = level.below
    return top
