"""The solution for one drive: the fixed point of an operator, and the loads of the walls."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from edgewind.kinetics.krylov import fgmres
from edgewind.kinetics.levels import Level
from edgewind.kinetics.walls import FaceLoads

Floats = NDArray[np.float64]


class Swept(Protocol):
    """Protocol of an operator: of a vane in a room, or of a rotor in its chamber."""

    @property
    def size(self) -> int:
        """Number of unknowns."""

    @property
    def scale(self) -> Floats:
        """Root of the share of the domain that each unknown stands for."""

    def sweep(self, y: Floats, drive: Any) -> tuple[Floats, Any]:
        """Sweep once; return the new unknowns and the fluxes onto the walls."""

    def loads(self, y: Floats, fallen: Any, drive: Any) -> tuple[list[FaceLoads], float, float]:
        """Loads of the faces, and balances of particles and energy."""

    def split(self, y: Floats) -> list[Floats]:
        """Views of the unknowns by kind."""

    def carry(self, y: Floats, grid: Any) -> Floats:
        """Unknowns of the same case on another grid, interpolated to this one."""


class Earlier(Protocol):
    """A solution of the same drive at another resolution."""

    @property
    def unknowns(self) -> Floats:
        """Moments and densities of the walls."""

    @property
    def grid(self) -> Any:
        """Cells."""

    @property
    def reference(self) -> float:
        """Norm of the drive's right-hand side."""


@dataclass(frozen=True)
class FixedPoint:
    """Result of the iteration.

    Parameters
    ----------
    unknowns : array
        Moments and densities of the walls.
    moments : array
        Density, velocity, temperature and heat flux, cell by cell, of one more sweep.
    fallen : object
        Fluxes onto the walls in that sweep, in the form of the operator.
    loads : tuple of FaceLoads
        Loads of the faces.
    sweeps, coarse_sweeps : int, float
        Sweeps at full resolution; work of the levels below in units of one of them.
    residual, mass_residual, energy_residual : float
        Of the unknowns, relative to the drive's; sums of particles and heat that leave all walls, relatively.
    seconds : float
        Time taken.
    reference : float
        Norm of the drive's right-hand side.
    """

    unknowns: Floats
    moments: Floats
    fallen: Any
    loads: tuple[FaceLoads, ...]
    sweeps: int
    coarse_sweeps: float
    residual: float
    mass_residual: float
    energy_residual: float
    seconds: float
    reference: float


def quality_of(solutions: Sequence[Any]) -> dict[str, Any]:
    """Return the quality of a result from its solutions: the worst of each, and the size of the last."""
    return {
        "coarse_sweeps": max(solution.coarse_sweeps for solution in solutions),
        "residual": max(solution.residual for solution in solutions),
        "mass_residual": max(abs(solution.mass_residual) for solution in solutions),
        "energy_residual": max(abs(solution.energy_residual) for solution in solutions),
        "cells": solutions[-1].grid.cells,
        "velocities": solutions[-1].velocities,
    }


def fixed_point(
    operator: Swept,
    top: Level,
    drive: Any,
    tolerance: float,
    start: Earlier | None = None,
    progress: Callable[[float], None] | None = None,
) -> FixedPoint:
    """Iterate one drive to a residual, from rest or from an earlier solution.

    Parameters
    ----------
    operator : Swept
        ``1 - K`` with its drive.
    top : Level
        The same with its coarser levels.
    drive : object
        The cause.
    tolerance : float
        Residual to reach, relative to the drive's right-hand side.
    start : Earlier, optional
        Where to start.
    progress : callable, optional
        Called after every fine sweep with the share of the iteration that is done, 0 to 1.
    """
    begun = time.perf_counter()
    scale = operator.scale
    before, coarse_before = top.sweeps, top.coarse_work()
    y = np.zeros(operator.size) if start is None else operator.carry(start.unknowns, start.grid)
    # From rest, the first residual is the drive's right-hand side itself.
    residual = scale * (operator.sweep(y, drive)[0] - y)
    reference = float(np.linalg.norm(residual)) if start is None else start.reference

    def watch(history: list[float]) -> None:
        if progress is not None:
            done = np.log(history[0] / history[-1]) / np.log(history[0] / tolerance) if history[0] > tolerance else 1.0
            progress(float(np.clip(done, 0.0, 1.0)))

    found = fgmres(top.product, residual, top.precondition, tolerance=tolerance, reference=reference, watch=watch)
    y = y + found.x / scale
    new, fallen = operator.sweep(y, drive)
    loads, mass, energy = operator.loads(y, fallen, drive)
    return FixedPoint(
        unknowns=y,
        moments=operator.split(new)[0].copy(),
        fallen=fallen,
        loads=tuple(loads),
        sweeps=top.sweeps - before + 2,
        coarse_sweeps=top.coarse_work() - coarse_before,
        # Specular faces have no temperature: such a drive has no effect.
        residual=float(np.linalg.norm(scale * (new - y))) / reference if reference else 0.0,
        mass_residual=mass,
        energy_residual=energy,
        seconds=time.perf_counter() - begun,
        reference=reference,
    )
