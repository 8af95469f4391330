"""The solution for one drive: the fixed point of an operator, and the loads of the walls."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
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
    def grid(self) -> Any:
        """Cells."""

    @property
    def parity(self) -> Any:
        """How the field continues behind a plane of symmetry."""

    @property
    def velocities(self) -> Any:
        """Discrete velocities."""

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


@dataclass(frozen=True)
class FixedPoint:
    """The solution for one drive.

    Parameters
    ----------
    drive : Drive or RotorDrive
        The cause.
    grid : Grid or RotorGrid
        Cells.
    parity : float or None
        How the field continues behind a plane of symmetry.
    velocities : int
        Discrete velocities.
    unknowns : array
        Moments and densities of the walls in the form of the operator: the start of a finer resolution.
    moments : array (columns, ..., kinds)
        Density, velocity, temperature and heat flux, cell by cell, of one more sweep.
    loads : tuple of FaceLoads
        Loads of each face of the grid.
    sweeps, coarse_sweeps : int, float
        Sweeps at full resolution; work of the levels below in units of one of them.
    residual, mass_residual, energy_residual : float
        Of the unknowns, relative to the drive's; sums of particles and heat that leave all walls, relatively.
    seconds : float
        Time taken.
    reference : float
        Norm of the drive's right-hand side, the reference of the residual.
    """

    drive: Any
    grid: Any
    parity: Any
    velocities: int
    unknowns: Floats = field(repr=False)
    moments: Floats = field(repr=False)
    loads: tuple[FaceLoads, ...] = field(repr=False)
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
    start: FixedPoint | None = None,
    progress: Callable[[float], None] | None = None,
) -> tuple[FixedPoint, Any]:
    """Iterate one drive to a residual, from rest or from an earlier solution at another resolution.

    Returns the solution, and the fluxes onto the walls in its last sweep in the form of the operator.

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
    start : FixedPoint, optional
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

    answer = fgmres(top.product, residual, top.precondition, tolerance=tolerance, reference=reference, watch=watch)
    y = y + answer.x / scale
    new, fallen = operator.sweep(y, drive)
    loads, mass, energy = operator.loads(y, fallen, drive)
    found = FixedPoint(
        drive=drive,
        grid=operator.grid,
        parity=operator.parity,
        velocities=operator.velocities.count,
        unknowns=y,
        moments=operator.split(new)[0].copy(),
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
    return found, fallen
