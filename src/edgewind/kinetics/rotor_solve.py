"""One rotor at one rarefaction and one resolution: every drive through one operator."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from edgewind.kinetics.fixed_point import FixedPoint, fixed_point
from edgewind.kinetics.levels import Level, ladder
from edgewind.kinetics.rotor_grid import Rotor, RotorGrid, rotor_grid
from edgewind.kinetics.rotor_operator import ROTOR_DRIVES, RotorDrive, RotorOperator, RotorVelocities, ThirdVelocities
from edgewind.kinetics.solve import CONTINUAL, THICK, iteration_tolerance, one_blas_thread

Floats = NDArray[np.float64]
Progress = Callable[[int, float], None]
# Number of azimuths in a quadrant and of polar angles in an octant, level by level.
AZIMUTHS, POLAR = (6, 8, 12, 16, 24, 32, 48), (4, 6, 8, 12, 16, 24, 32)


@dataclass(frozen=True)
class RotorCase:
    """A rotor in its chamber at one rarefaction.

    Parameters
    ----------
    rotor : Rotor
        Geometry.
    knudsen : float
        Hard-sphere mean free path over the width of a vane; infinite for free flight.
    leading, trailing : float
        Accommodation of the faces of the vanes. The chamber is diffuse.
    """

    rotor: Rotor
    knudsen: float
    leading: float = 1.0
    trailing: float = 1.0

    @property
    def delta(self) -> float:
        """Rarefaction parameter sqrt(pi) / (2 Kn)."""
        return float(np.sqrt(np.pi)) / (2.0 * self.knudsen)

    @property
    def mirrored(self) -> bool:
        """Whether the planes of the vanes mirror the gas. Three vanes are always turned."""
        return self.leading == self.trailing and self.rotor.vanes != 3

    def operator(self, level: RotorResolution, parity: float | None, workers: int) -> RotorOperator:
        """Return the operator for fields of one parity, or of none."""
        grid = rotor_grid(self.rotor, self.knudsen, level.grid, level.refined, whole=parity is None)
        velocities = RotorVelocities(level.polar, level.azimuths, level.speeds)
        if self.rotor.vanes == 3:
            velocities = ThirdVelocities(level.polar, -(-2 * level.azimuths // 3), level.speeds)
        return RotorOperator(
            grid, velocities, self.delta, self.rotor.vanes, self.leading, self.trailing, parity, workers
        )  # fmt: skip


@dataclass(frozen=True)
class RotorResolution:
    """Resolution of a case.

    Parameters
    ----------
    azimuths : int
        Directions in a quadrant about the axis, even.
    polar : int
        Angles from the axis in an octant.
    speeds : int
        Speeds; 8 leave an error of about 1e-6.
    grid, refined : float
        Cells per unit of the wanted density of cells, and how many times as many along every segment.
    """

    azimuths: int
    polar: int
    speeds: int = 8
    grid: float = 0.4
    refined: float = 1.0

    @classmethod
    def level(cls, number: int, knudsen: float) -> RotorResolution:
        """Return the resolution of a level, 0 the coarsest; far from the continuum shadows need more angles."""
        angles = min(number + (1 if knudsen > 0.5 else 0), len(AZIMUTHS) - 1)
        return cls(AZIMUTHS[angles], POLAR[angles], refined=2.0 ** (0.5 * number))

    def rough(self, knudsen: float) -> RotorResolution:
        """Few velocities for the level below."""
        # Two azimuths would also suffice in dense gas, with two more fine sweeps.
        azimuths, polar = (4, 4) if knudsen > 0.5 else (4, 3) if knudsen > CONTINUAL else (4, 2)
        return RotorResolution(min(azimuths, self.azimuths), min(polar, self.polar), 4, self.grid, self.refined)


@dataclass(frozen=True)
class RotorSolution(FixedPoint):
    """The solution for one drive, with the loads of the faces in the planes y = 0 and x = 0.

    Parameters
    ----------
    case : RotorCase
        The case.
    """

    grid: RotorGrid
    parity: float | None
    case: RotorCase

    def faces(self, what: str) -> tuple[Floats, Floats]:
        """'pressure', 'shear' or 'heat' on the leading and on the trailing face of a vane: (radii, nz) each."""
        leading = np.asarray(getattr(self.loads[0], what))
        if self.parity is not None:
            return leading, self.parity * leading
        if self.case.rotor.vanes > 2:
            return leading, np.asarray(getattr(self.loads[1], what))
        return leading, leading[::-1]

    @property
    def _weight(self) -> Floats:
        """Area of the first vane in each face of the plane y = 0."""
        return np.asarray(self.grid.faces[0] * self.grid.cover_y * (self.grid.x[1:] > 0.0)[:, None])

    def mean(self, what: str) -> tuple[float, float]:
        """Mean over the leading and over the trailing face."""
        weight = self._weight / self._weight.sum()
        leading, trailing = (float(np.sum(part * weight)) for part in self.faces(what))
        return leading, trailing

    @property
    def torque(self) -> float:
        """Torque on a vane towards its leading face, over p0 A R."""
        weight = self._weight / self._weight.sum()
        leading, trailing = self.faces("pressure")
        return float(np.sum((trailing - leading) * weight * self.grid.along[:, None])) / self.case.rotor.arm


def solve_rotor(
    case: RotorCase,
    level: RotorResolution,
    drives: Sequence[str | RotorDrive] = ("faces", "both", "spin"),
    *,
    tolerance: float = 1e-3,
    workers: int = 1,
    start: Sequence[RotorSolution] = (),
    progress: Progress | None = None,
    operator_for: Callable[[RotorOperator], RotorOperator] = lambda operator: operator,
) -> list[RotorSolution]:
    """Solve a case for several drives at one resolution.

    Parameters
    ----------
    case, level
        The case, and its resolution.
    drives : sequence
        Names of drives, or drives.
    tolerance : float
        Relative error that the iteration may leave in the coefficients.
    workers : int
        Threads.
    start : sequence of RotorSolution
        Solutions of the same drives at another resolution, to start from.
    progress : callable, optional
        Called after every fine sweep with the number of the drive, and the share of its iteration that is done.
    operator_for : callable, optional
        Takes an operator and returns an equivalent one on another device, such as a GPU.
    """
    answers: list[RotorSolution] = []
    ladders: dict[float | None, tuple[RotorOperator, Level]] = {}
    with one_blas_thread():
        for number, name in enumerate(drives):
            drive = ROTOR_DRIVES[name] if isinstance(name, str) else name
            key = drive.parity if case.mirrored else None
            if key not in ladders:
                fine = operator_for(case.operator(level, key, workers))
                rough = operator_for(case.operator(level.rough(case.knudsen), key, workers))
                ladders[key] = fine, ladder(fine, rough, 12 if case.knudsen < THICK else 8, workers)
            operator, top = ladders[key]
            told = None if progress is None else partial(progress, number)
            asked = iteration_tolerance(tolerance, case.knudsen)
            found, _ = fixed_point(operator, top, drive, asked, start[number] if start else None, told)
            answers.append(RotorSolution(**vars(found), case=case))
    return answers
