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
from scipy.linalg import lu_factor, lu_solve

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

    def transfer(self, coarse: Any) -> tuple[sparse.csr_array, sparse.csr_array]:
        """Matrices that take unknowns to an operator on a coarser grid, and back."""


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
    restrict, prolong : sparse arrays, optional
        Scaled unknowns to the level below and back; without them the unknowns are the same.
    tolerance : float
        Relative residual at which a loose solve stops.
    limit : int
        Most sweeps of a loose solve.
    """

    operator: LinearOperator
    below: Level | None = None
    restrict: sparse.csr_array | None = None
    prolong: sparse.csr_array | None = None
    tolerance: float = 0.0
    limit: int = 0
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
        coarse = self.restrict @ r
        # 1 - K is near 1 for what the coarse grid cannot see: that part of r is its own correction.
        return np.asarray(r + self.prolong @ (self.below.solve(coarse) - coarse))

    def solve(self, r: Floats) -> Floats:
        """Loose solution of ``(1 - K) e = r``; exact at the bottom."""
        if self.below is None:
            return self._solve_dense(r)
        return fgmres(self.product, r, self.precondition, tolerance=self.tolerance, limit=self.limit).x

    def _solve_dense(self, r: Floats) -> Floats:
        if self._factors is None:
            size = self.operator.size
            matrix = np.empty((size, size))
            unit = np.zeros(size)
            for k in range(size):
                unit[k] = 1.0
                matrix[:, k] = self.operator.apply(unit)
                unit[k] = 0.0
            scale = self.operator.scale
            matrix *= scale[:, None] / scale[None, :]
            null, mass = self.operator.null
            matrix += np.outer(scale * null, mass / scale)
            self._factors = lu_factor(matrix, overwrite_a=True, check_finite=False)
        return np.asarray(lu_solve(self._factors, r, check_finite=False))


def ladder(fine: LinearOperator, rough: LinearOperator, patience: int = 6) -> Level:
    """Levels from `fine` through `rough`, the same grid with few velocities, down to what a dense solve takes.

    `patience` is the number of sweeps that the levels with merged cells may take at a time.
    """
    top = Level(fine)
    if fine.size > rough.size:
        # What walls of other laws keep stands last; below all walls are Maxwell's.
        first = sparse.eye_array(rough.size, fine.size)
        top.restrict, top.prolong = sparse.csr_array(first), sparse.csr_array(first.T)
    level = top.below = Level(rough, tolerance=0.1, limit=20)
    while level.operator.size > LARGEST_DENSE:
        coarse = level.operator.coarser()
        down, up = level.operator.transfer(coarse)
        scale, scale_below = sparse.diags_array(level.operator.scale), sparse.diags_array(coarse.scale)
        level.restrict = sparse.csr_array(scale_below @ down @ sparse.diags_array(1.0 / level.operator.scale))
        level.prolong = sparse.csr_array(scale @ up @ sparse.diags_array(1.0 / coarse.scale))
        level.below = Level(coarse, tolerance=0.3, limit=patience)
        level = level.below
    return top
