"""One case at one resolution: every drive through one operator, with the quality of the solution."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractContextManager
from dataclasses import dataclass, field, replace
from functools import cache, partial

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import ThreadpoolController

from edgewind.kinetics.drives import DRIVES, Drive
from edgewind.kinetics.fixed_point import FixedPoint, fixed_point
from edgewind.kinetics.geometry import Room, Shape, thick_strip_grid
from edgewind.kinetics.grid import Grid
from edgewind.kinetics.levels import Level, ladder
from edgewind.kinetics.plane import PlaneOperator
from edgewind.kinetics.polyatomic import InternalEnergy, PolyatomicPlane, PolyatomicSpace
from edgewind.kinetics.quadrature import PlaneVelocities, SpaceVelocities
from edgewind.kinetics.room_operator import RoomOperator, Walls
from edgewind.kinetics.space import SpaceOperator
from edgewind.kinetics.walls import FaceLoads

Floats = NDArray[np.float64]
# Below, in space: gas so near equilibrium that two angles each way suffice as preconditioner; and cells so thick that
# merged ones need more sweeps.
CONTINUAL, THICK = 0.09, 0.03
# Share of the specularly reflected gas that a preconditioner may neglect.
ROUGHLY_FORGOTTEN = 0.03
# Called with the number of the drive and the share of its iteration that is done.
Progress = Callable[[int, float], None]


@cache
def _libraries() -> ThreadpoolController:
    # Looked for once: in several threads at a time the loader, asked for them, may wait for Python and Python for it.
    return ThreadpoolController()


def one_blas_thread() -> AbstractContextManager[object]:
    """Return a context in which the linear algebra runs in one thread: more would only fight the kernels' own."""
    context: AbstractContextManager[object] = _libraries().limit(limits=1, user_api="blas")
    return context


@dataclass(frozen=True)
class Resolution:
    """Resolution of a case.

    Parameters
    ----------
    grid : float
        Cells per unit of the wanted density of cells; 2 halves every cell.
    azimuths : int
        Directions in a quadrant of the plane, or about the normal in an octant of space.
    polar : int
        Angles from the normal, in space.
    speeds : int
        Speeds; 8 leave an error of about 1e-6.
    refined : float
        How many times as many cells along every segment as `grid` gives.
    """

    grid: float
    azimuths: int
    polar: int = 0
    speeds: int = 8
    refined: float = 1.0

    def finer(self, factor: float) -> Resolution:
        """Refine cells and angles alike."""
        azimuths, polar = round(self.azimuths * factor), round(self.polar * factor)
        return Resolution(self.grid, azimuths, polar, self.speeds, self.refined * factor)

    def rough(self, knudsen: float) -> Resolution:
        """Few velocities for the level below; free flight needs more than a gas near equilibrium."""
        azimuths, polar = (8, 4) if knudsen > 0.5 else (4, 3)
        if self.polar:
            azimuths = 4 if knudsen > 0.5 else 3
            if knudsen < CONTINUAL:
                # With four speeds they fill one row of lanes.
                azimuths = polar = 2
        return Resolution(self.grid, min(azimuths, self.azimuths), min(polar, self.polar), 4, self.refined)


@dataclass(frozen=True)
class Case:
    """A vane in a room at one rarefaction.

    Parameters
    ----------
    shape : Shape
        Outline of the vane.
    room : Room
        The room.
    knudsen : float
        Hard-sphere mean free path over the width of the vane; infinite for free flight.
    walls : Walls
        Accommodation.
    thickness : float
        Thickness of a strip over its width; the temperature of its rim is linear from face to face.
    inner : InternalEnergy, optional
        Internal energy of the molecules; for thin vanes between Maxwell's walls only. None is a monatomic gas.
    """

    shape: Shape
    room: Room
    knudsen: float
    walls: Walls = field(default_factory=Walls)
    thickness: float = 0.0
    inner: InternalEnergy | None = None

    @property
    def delta(self) -> float:
        """Rarefaction parameter sqrt(pi) / (2 Kn)."""
        return float(np.sqrt(np.pi)) / (2.0 * self.knudsen)

    @property
    def symmetric(self) -> bool:
        """Whether front and back are mirror images, so that half of the domain will do."""
        alike = self.walls.front == self.walls.back and self.walls.laws[0] == self.walls.laws[1]
        return self.room.centred and alike

    def grid(self, resolution: Resolution, boxes: int) -> Grid:
        """Return the cells at a resolution, on one side of the vane's middle plane or on both."""
        about, refined = (self.room, self.knudsen, resolution.grid), resolution.refined
        if self.thickness:
            return thick_strip_grid(*about, self.thickness, boxes=boxes, refined=refined)
        return self.shape.grid(*about, boxes=boxes, refined=refined)

    def operator(
        self, resolution: Resolution, parity: float | None, workers: int, forgotten: float = 1e-5
    ) -> RoomOperator:
        """Return the operator for fields of one parity, or of none on the whole domain."""
        boxes = 1 if self.symmetric and parity is not None else 2
        grid = self.grid(resolution, boxes)
        about = (self.delta, self.walls, parity or 1.0, workers, forgotten)
        if self.shape.name == "strip":
            plane = PlaneVelocities(resolution.azimuths, resolution.speeds)
            if self.inner is not None:
                return PolyatomicPlane(grid, plane, *about, gas=self.inner)
            return PlaneOperator(grid, plane, *about)
        velocities = SpaceVelocities(resolution.polar, resolution.azimuths, resolution.speeds)
        if self.inner is not None:
            return PolyatomicSpace(grid, velocities, *about, gas=self.inner)
        return SpaceOperator(grid, velocities, *about)


@dataclass(frozen=True)
class Solution(FixedPoint):
    """The solution for one drive; moments have their own sign of x in the back box.

    Parameters
    ----------
    rim : FaceLoads, optional
        Loads of the rim of a thick vane, column by column; the shear is along x.
    """

    grid: Grid
    parity: float
    rim: FaceLoads | None = None

    def mean(self, what: str, face: int) -> float:
        """Mean over the vane of 'pressure', 'shear' or 'heat' on the front (0) or back (1) face."""
        weight = self.grid.face * self.grid.cover
        if face == 1 and self.grid.boxes == 1:
            return self.parity * self.mean(what, 0)
        return float(np.sum(getattr(self.loads[face], what) * weight) / np.sum(weight))

    def heat(self, face: int) -> float:
        """Heat that leaves the vane on the side of a face, over p0 v0 A.

        Heat from the rim of a thick vane is shared between the faces linearly, as its temperature: that is the heat
        driven by a difference of the faces, and reciprocal to the force.
        """
        heat = self.mean("heat", face)
        if self.rim is None:
            return heat
        for place, sign, flow in self._along_the_rim(self.rim.heat, self.parity):
            towards = sign if face == 0 else -sign
            heat += 2.0 * float(np.sum(flow * (0.5 + towards * place)))
        return heat

    def _along_the_rim(self, load: Floats, mirrored: float) -> list[tuple[Floats, float, Floats]]:
        """Place over the thickness, side of the middle plane, and load times area, for the front and the back half.

        Where the grid is one box, the load of the back half is that of the front times `mirrored`.
        """
        grid, halves = self.grid, []
        for b, sign in ((0, 1.0), (1, -1.0)):
            box = b if grid.boxes == 2 else 0
            part, nodes = slice(grid.start[box], grid.start[box] + grid.solid), grid.x[box]
            middle = 0.5 * (nodes[1 : grid.solid + 1] + nodes[: grid.solid]) / (2.0 * nodes[grid.solid])
            factor = mirrored if b == 1 and grid.boxes == 1 else 1.0
            halves.append((middle, sign, factor * load[part] * grid.dx[part]))
        return halves

    @property
    def rim_force(self) -> float:
        """Force of the shear on the rim of a thick vane along +x, over p0 A."""
        if self.rim is None:
            return 0.0
        # Shear along the x axis of a box, which points backwards in the back one.
        return 2.0 * float(
            sum(sign * np.sum(flow) for _, sign, flow in self._along_the_rim(self.rim.shear, self.parity))
        )

    @property
    def force(self) -> float:
        """Force along +x, over p0 A."""
        return self.mean("pressure", 1) - self.mean("pressure", 0) + self.rim_force

    @property
    def area_share(self) -> float:
        """Share of the force that the stress in the middle of the faces would give, acting on all of them.

        The rest is the edge's share. In free flight without drag it is 1; towards the continuum the stress retreats to
        the edge. Zero where there is no force.
        """
        middle = (0,) * self.grid.cover.ndim
        front = self.loads[0].pressure[middle]
        back = self.loads[1].pressure[middle] if self.grid.boxes == 2 else self.parity * front
        force = self.force
        return float(back - front) / force if force else 0.0


def iteration_tolerance(tolerance: float, knudsen: float) -> float:
    """Return the residual to reach: its effect on the coefficients grows with the slow modes, about as 1/Kn."""
    return max(0.01 * tolerance * min(1.0, 2.0 * knudsen), 1e-13)


def solve(
    case: Case,
    resolution: Resolution,
    drives: Iterable[str | Drive] = ("faces", "both", "motion"),
    *,
    tolerance: float = 1e-3,
    workers: int = 1,
    start: Sequence[Solution] = (),
    progress: Progress | None = None,
    operator_for: Callable[[RoomOperator], RoomOperator] = lambda operator: operator,
    side_by_side: bool = False,
) -> list[Solution]:
    """Solve a case for several drives at one resolution.

    Parameters
    ----------
    case, resolution
        The case, and its resolution.
    drives : iterable
        Names of drives, or drives.
    tolerance : float
        Relative error that the iteration may leave in the coefficients.
    workers : int
        Threads.
    start : sequence of Solution
        Solutions of the same drives at another resolution, to start from; without them it starts from rest.
    progress : callable, optional
        Called after every fine sweep with the number of the drive, and the share of its iteration that is done,
        0 to 1.
    operator_for : callable, optional
        Takes an operator and returns an equivalent one on another device, such as a GPU.
    side_by_side : bool
        Whether drives of different parity are solved side by side, in a thread each, unless `progress` is given;
        `workers` must then be 1.
    """
    with one_blas_thread():
        named = [DRIVES[name] if isinstance(name, str) else name for name in drives]
        parities = [drive.parity if case.symmetric else None for drive in named]
        ladders: dict[float | None, tuple[RoomOperator, Level]] = {}
        answers: dict[int, Solution] = {}

        def answer(numbers: Iterable[int]) -> None:
            for number in numbers:
                parity = parities[number]
                if parity not in ladders:
                    fine = operator_for(case.operator(resolution, parity, workers, 0.03 * tolerance))
                    simpler = replace(case, walls=case.walls.as_maxwell)
                    rough = operator_for(simpler.operator(resolution.rough(case.knudsen), parity, 1, ROUGHLY_FORGOTTEN))
                    thick = case.knudsen < THICK and case.shape.name != "strip"
                    ladders[parity] = fine, ladder(fine, rough, 12 if thick else 8, workers)
                told = None if progress is None else partial(progress, number)
                before = start[number] if start else None
                residual = iteration_tolerance(tolerance, case.knudsen)
                operator, top = ladders[parity]
                found, fallen = fixed_point(operator, top, named[number], residual, before, told)
                rim = operator.rim_loads(found.unknowns, fallen, named[number])
                answers[number] = Solution(**vars(found), rim=rim)

        if side_by_side and progress is None:
            alike = [[number for number, one in enumerate(parities) if one == parity] for parity in set(parities)]
            with ThreadPoolExecutor(len(alike)) as pool:
                list(pool.map(answer, alike))
        else:
            answer(range(len(named)))
        return [answers[number] for number in range(len(named))]
