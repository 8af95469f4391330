"""A hierarchy of coarser copies of an operator, and the multilevel preconditioner on it.

Near the continuum the gas is close to local equilibrium, so a few velocities represent the slow modes, which converge
worst: the first coarsening keeps the grid and reduces the velocities. The steps below merge cells in pairs, and the
lowest operator is small enough for a dense factorisation. Each level is solved loosely with the next one as its
preconditioner: W-cycles, whatever Kn.

The level of few velocities is solved by flexible GMRES. Those below apply a polynomial of their preconditioned operator
that is found once, as the one by which GMRES solves for noise (N. M. Nachtigal, L. Reichel and L. N. Trefethen, SIAM J.
Matrix Anal. Appl. 13, 796, 1992). Everything below is then one linear map. Nested GMRES is not linear: in dense gas it
amplifies rounding by four to ten orders, so that sums in another order, or on a GPU, gave coefficients that differed by
as much as the residual of the outermost iteration.

Levels measure residuals by what the equation itself dissipates: moments by the collisions that they take part in,
densities of walls by the flux onto them. Noise is then a representative sample, which it is not if walls have the same
weight as all the gas.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Protocol, Self

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from edgewind.kinetics.cycle import Cycle, Stage, SweepParts
from edgewind.kinetics.krylov import apply_polynomial, fgmres, residual_roots

Floats = NDArray[np.float64]


class LinearOperator(Protocol):
    """Protocol of an operator ``1 - K``: that of a vane in a room, or of a rotor in its chamber."""

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
    def dissipation(self) -> Floats:
        """Root of the weight of each unknown in what collisions and walls dissipate."""

    @property
    def null(self) -> tuple[Floats, Floats]:
        """Null space of the operator, and the weights of the quantity that every sweep conserves."""

    @property
    def sweep_parts(self) -> SweepParts | None:
        """What compiled code sweeps this operator with; None where it cannot."""

    def apply(self, y: Floats) -> Floats:
        """``(1 - K) y``."""

    def coarser(self) -> Self:
        """Return the same operator on the grid with cells merged in pairs."""

    def matrix(self, workers: int = 1) -> Floats:
        """Return ``1 - K`` as a matrix, made by a number of threads."""

    def transfer(self, coarse: Any) -> tuple[Any, Any]:
        """Return maps of unknowns to an operator on a coarser grid, and back, with a product by `@`."""


# The bottom is factorised: a matrix of this size takes about a tenth of a second.
LARGEST_DENSE = 1000
# Of a polynomial: noise contains little of the few slow modes, which need more products (with 4 a rotor in a box took
# 17 fine sweeps at Kn 0.02, with 8 it takes 9).
LEAST_SWEEPS = 8


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
    scale : array
        Factor of the unknowns that the level is solved in.
    tolerance : float
        Relative residual at which a loose solve stops, or of its polynomial for noise.
    limit : int
        Most sweeps of a loose solve.
    flexible : bool
        Whether a loose solve is GMRES; else it is a polynomial found once.
    workers : int
        Threads that make the matrix of the lowest level.
    """

    operator: LinearOperator
    scale: Floats
    below: Level | None = None
    restrict: Any = None
    prolong: Any = None
    tolerance: float = 0.0
    limit: int = 0
    flexible: bool = False
    workers: int = 1
    sweeps: int = field(default=0, init=False)
    _roots: list[complex] = field(default_factory=list, init=False)
    _cycle: Cycle | None = field(default=None, init=False)

    def product(self, y: Floats) -> Floats:
        """Product with the operator, counted, in scaled unknowns."""
        self.sweeps += 1
        return self.scale * self.operator.apply(y / self.scale)

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
        scale, scale_below = self.scale, self.below.scale
        if self.restrict is None or self.prolong is None:
            ratio = scale / scale_below
            return np.asarray(ratio * self.below.solve(r / ratio))
        coarse = scale_below * (self.restrict @ (r / scale))
        # 1 - K is near 1 for components that the coarse grid lacks: that part of r is its own correction.
        return np.asarray(r + scale * (self.prolong @ ((self.below.solve(coarse) - coarse) / scale_below)))

    def solve(self, r: Floats) -> Floats:
        """Loose solution of ``(1 - K) e = r``; exact at the bottom."""
        if self.below is None:
            return np.asarray(self.scale * (self.inverse @ (r / self.scale)))
        if self.flexible:
            return fgmres(self.product, r, self.precondition, tolerance=self.tolerance, limit=self.limit).x
        if not self._roots:
            self._roots = self._find_roots()
            stages = self._stages()
            self._cycle = None if stages is None else Cycle(*stages)
        if self._cycle is None:
            return apply_polynomial(self.product, r, self.precondition, self._roots)
        self._count()
        return np.asarray(self.scale * self._cycle(r / self.scale))

    def _stages(self) -> tuple[list[Stage], Floats] | None:
        """Return this level and those below it as input of compiled code; None if it does not support all of them."""
        if self.below is None:
            return [], self.inverse
        parts, lower = self.operator.sweep_parts, self.below._stages()
        if parts is None or lower is None:
            return None
        return [Stage(parts, self._roots, self.restrict, self.prolong), *lower[0]], lower[1]

    def _count(self, times: int = 1) -> None:
        """Count the sweeps of a number of solutions by compiled code."""
        if self.below is not None:
            # Between its roots, and within each pair of complex ones, a polynomial sweeps.
            self.sweeps += times * (len(self._roots) - 1)
            self.below._count(times * len(self._roots))

    def _find_roots(self) -> list[complex]:
        null, mass = self.operator.null
        noise = np.random.default_rng(0).normal(size=self.scale.size)
        # A conserved quantity is never a residual.
        noise -= self.scale * null * (mass / self.scale @ noise)
        return residual_roots(
            lambda r: self.product(self.precondition(r)),
            noise,
            tolerance=self.tolerance,
            limit=self.limit,
            least=LEAST_SWEEPS,
        )

    @cached_property
    def inverse(self) -> Floats:
        """Inverse of the operator, in unknowns without a scale; its null space is fixed by the weights."""
        matrix, (null, mass) = self.operator.matrix(self.workers), self.operator.null
        matrix += np.outer(null, mass)
        return np.asarray(np.linalg.inv(matrix))


def ladder(fine: LinearOperator, rough: LinearOperator, patience: int = 8, workers: int = 1) -> Level:
    """Return the levels from `fine` through `rough`, the same grid with few velocities, down to a dense solve.

    `patience` is the number of sweeps allowed on the levels with merged cells, `workers` that of threads.
    """
    top = Level(fine, fine.scale)
    if fine.size > rough.size:
        # Unknowns of walls of other laws are last; below, all walls are Maxwell's.
        first = sparse.eye_array(rough.size, fine.size)
        top.restrict, top.prolong = sparse.csr_array(first), sparse.csr_array(first.T)
    level = top.below = Level(rough, rough.dissipation, tolerance=0.1, limit=20, flexible=True, workers=workers)
    while level.operator.size > LARGEST_DENSE:
        coarse = level.operator.coarser()
        level.restrict, level.prolong = level.operator.transfer(coarse)
        level.below = Level(coarse, coarse.dissipation, tolerance=0.3, limit=patience, workers=workers)
        level = level.below
    return top
