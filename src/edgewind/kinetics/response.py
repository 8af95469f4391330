"""Entry of the solver: from a shape, a rarefaction and an accuracy to coefficients with errors."""

from __future__ import annotations

import inspect
import math
import os
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from dataclasses import asdict, dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from edgewind.errors import InputError
from edgewind.kinetics import store
from edgewind.kinetics.device import choose_device
from edgewind.kinetics.fixed_point import quality_of
from edgewind.kinetics.geometry import Room
from edgewind.kinetics.inputs import (
    Accommodation,
    check_accommodation,
    check_internal_energy,
    check_knudsen,
    check_room,
    check_shape,
    check_thick_room,
    check_thickness,
    check_thin_vane,
    check_tolerance,
)
from edgewind.kinetics.polyatomic import InternalEnergy
from edgewind.kinetics.result import Response
from edgewind.kinetics.room_operator import Walls
from edgewind.kinetics.solve import Case, Resolution, Solution, one_blas_thread, solve

Answer = TypeVar("Answer")

# Each level refines cells and angles by this factor. The scheme is of second order, so the difference of two
# levels is the error of the finer one. Where an outline cuts cells, the faces it shares make it about of order 3/2:
# there the values of two levels are extrapolated, and half of the change is taken for the error.
STEP = 2.0**0.5
ORDER, ORDER_CUT = 2.0, 1.5
# The cells of a thick vane stay multiples of eight: by less than a factor of two they would not all be refined.
STEP_THICK = 2.0
MOST_LEVELS = 8
# Coefficients whose relative error counts (that of the area share, a derived figure, does not), and the scale for
# those that may vanish by symmetry.
SCALE_OF = {
    "thermal_force": "thermal_force",
    "heat_hot": "heat_hot",
    "heat_cold": "heat_hot",
    "drag": "drag",
    "motion_heat_hot": "thermal_force",
    "motion_heat_cold": "thermal_force",
    "loss_hot": "loss_hot",
    "loss_cold": "loss_hot",
    "loss_force": "loss_hot",
}
# Knudsen numbers that are solved side by side with a GPU: more wait for each other, since Python runs one at a time.
MOST_SIDE_BY_SIDE = 4
DRIVES_SOLVED = ("faces", "both", "motion")


@dataclass(frozen=True)
class SolveProgress:
    """Progress of one solution.

    Parameters
    ----------
    level : int
        Current refinement, from 1.
    levels : int
        Refinements that will be needed, as far as known: two, or more once the error is known.
    drive : str
        Current drive.
    done : float
        Share of the whole work that is done, 0 to 1, each refinement counted by its cost; it may fall if an error needs
        one refinement more.
    """

    level: int
    levels: int
    drive: str
    done: float


def respond(
    shape: str,
    knudsen: float,
    *,
    aspect: float = 1.0,
    thickness: float = 0.0,
    room: float | Sequence[float] | Room = 4.0,
    position: float = 0.5,
    accommodation: Accommodation | Mapping[str, Accommodation] | Walls = 1.0,
    inner: InternalEnergy | None = None,
    tolerance: float = 1e-3,
    fields: bool = False,
    workers: int | None = None,
    device: str = "cpu",
    cache: bool | str | os.PathLike[str] = True,
    watch: Callable[[SolveProgress], None] | None = None,
) -> Response:
    """Compute force, drag and heat of a gas on a vane, to a given accuracy.

    Examples
    --------
    >>> answer = respond("strip", 10.0, room=4.0, tolerance=0.01, cache=False)
    >>> print(f"{answer.thermal_force:.3f}")
    0.250

    Parameters
    ----------
    shape : str
        ``strip`` (endless), ``square``, ``rectangle``, ``diamond`` (a square standing on its corner) or ``disc``;
        lengths are in its width: the side of a square, the diameter of a disc.
    knudsen : float
        Hard-sphere mean free path over the width of the vane; infinity for free flight.
    aspect : float
        Height over width of a rectangle.
    thickness : float
        Thickness of a strip over its width. The temperature of the rim is linear from face to face, and the heat that
        leaves it is shared between the faces in the same way.
    room : float, sequence of float or Room
        Sides of the closed room over the width of the vane: one ratio for all, or the length along the normal and then
        the sides across.
    position : float
        Place of the vane on the axis of the room: 0 at the back wall, 1 at the front wall, which the hot face faces.
    accommodation : float, CercignaniLampis or mapping
        Diffuse share of Maxwell's walls, or walls with two accommodations (of a strip only), for all of them or for
        ``hot``, ``cold`` and ``room``.
    inner : InternalEnergy, optional
        Internal energy of the molecules, round a thin vane between Maxwell's walls; default: a monatomic gas.
    tolerance : float
        Relative error to reach, between 1e-6 and 0.1.
    fields : bool
        Whether to keep the fields of the gas; they are not cached.
    workers : int, optional
        Threads; default: number of processors.
    device : str
        ``cpu``, ``gpu``, or ``auto``: a GPU where there is one, for flat vanes in space between diffuse walls.
    cache : bool or path
        Whether to read and store the solution on disk; a path names the folder.
    watch : callable, optional
        Called with a `SolveProgress` after every sweep at full resolution.

    Returns
    -------
    Response
        Coefficients with estimated errors; `reached` is whether all are within the tolerance, except the area share,
        which also has an error.

    Raises
    ------
    InputError
        A shape, room, accommodation, Knudsen number or tolerance that is meaningless or cannot be resolved, or too
        little memory.
    """
    case = vane_case(shape, knudsen, aspect, thickness, room, position, accommodation, inner)
    tolerance = check_tolerance(tolerance)
    question = _question(case, tolerance)
    folder = store.folder_of(cache)
    if folder is not None and not fields:
        found = store.fetch(folder, question)
        if found is not None:
            return Response.from_json(found)
    _, operator_for = choose_device(device)
    # Beside a card one processor is as fast as all.
    threads = 1 if _goes_to_a_card(case, operator_for) else workers or os.cpu_count() or 1
    answer = _refine(case, tolerance, threads, watch, operator_for)
    if folder is not None and answer.reached:
        store.keep_answer(folder, question, answer.to_json())
    return answer


def vane_case(
    shape: str,
    knudsen: float,
    aspect: float = 1.0,
    thickness: float = 0.0,
    room: float | Sequence[float] | Room = 4.0,
    position: float = 0.5,
    accommodation: Accommodation | Mapping[str, Accommodation] | Walls = 1.0,
    inner: InternalEnergy | None = None,
) -> Case:
    """Return the case that `respond` is asked for, if it is one."""
    outline = check_shape(shape, aspect)
    case = Case(
        outline,
        check_room(room, position, edges=outline.extents),
        check_knudsen(knudsen),
        check_accommodation(accommodation),
        check_thickness(thickness, outline),
        check_internal_energy(inner),
    )
    check_thick_room(case.room, case.thickness)
    check_thin_vane(case.walls, case.inner, outline, case.thickness)
    return case


def _goes_to_a_card(case: Case, operator_for: Callable[[Any], Any]) -> bool:
    """Return whether a GPU sweeps this case."""
    operator = case.operator(_first(case), 1.0 if case.symmetric else None, 1)
    return operator_for(operator) is not operator


def respond_to(question: Mapping[str, Any]) -> Response:
    """Run `respond` with keywords: one piece of work for a runner.

    The solutions are dropped unless fields are requested, so that a kilobyte is returned instead of a megabyte.
    """
    answer = respond(**question)
    return answer if question.get("fields") else replace(answer, solutions={})


def respond_curve(
    shape: str,
    knudsen: Iterable[float],
    *,
    progress: Callable[[int, int, Response], None] | None = None,
    watch: Callable[[int, SolveProgress], None] | None = None,
    **options: object,
) -> list[Response]:
    """Compute a response curve; results before an interruption stay cached.

    On the processors one Knudsen number is solved after the other, by all threads. With a GPU most of the time of a
    solve is that of one processor, so that some are solved side by side.

    Parameters
    ----------
    shape : str
        As for `respond`.
    knudsen : iterable of float
        Knudsen numbers.
    progress : callable, optional
        Called with the number done, the total number and the last response.
    watch : callable, optional
        Called after every sweep with the number of responses done and the progress of the next; not if they are
        solved side by side.
    **options
        As for `respond`.
    """
    answer_of: Callable[..., Response] = partial(respond, shape, **options)  # type: ignore[arg-type]
    numbers = [check_knudsen(kn) for kn in knudsen]
    threads = min(options.get("workers") or os.cpu_count() or 1, MOST_SIDE_BY_SIDE)  # type: ignore[call-overload]
    where, operator_for = choose_device(str(options.get("device", "cpu")))
    if where == "gpu" and threads > 1 and len(numbers) > 1:
        names = set(options) & set(inspect.signature(vane_case).parameters)
        case = vane_case(shape, numbers[0], **{name: options[name] for name in names})  # type: ignore[arg-type]
        if _goes_to_a_card(case, operator_for):
            return _side_by_side(answer_of, numbers, progress, threads)
    return along_knudsen(answer_of, numbers, progress, watch)


def _side_by_side(
    answer_of: Callable[..., Response],
    numbers: Sequence[float],
    progress: Callable[[int, int, Response], None] | None,
    threads: int,
) -> list[Response]:
    """Return the answer at each Knudsen number, so many at a time; dense gas, which takes longest, comes first."""
    with one_blas_thread(), ThreadPoolExecutor(threads) as pool:
        places = {pool.submit(answer_of, numbers[place]): place for place in np.argsort(numbers, kind="stable")}
        try:
            for done, future in enumerate(as_completed(places), 1):
                answer = future.result()
                if progress is not None:
                    progress(done, len(numbers), answer)
        except BaseException:
            pool.shutdown(cancel_futures=True)
            raise
    return [future.result() for future in sorted(places, key=places.__getitem__)]


def along_knudsen(
    answer_of: Callable[..., Answer],
    knudsen: Iterable[float],
    progress: Callable[[int, int, Answer], None] | None,
    watch: Callable[[int, SolveProgress], None] | None,
) -> list[Answer]:
    """Return the response at each Knudsen number, one after the other; all are validated before the first is computed.

    Parameters
    ----------
    answer_of : callable
        Takes a Knudsen number and, as `watch`, a function to call after every sweep.
    knudsen, progress, watch
        As for `respond_curve`.
    """
    numbers = [check_knudsen(kn) for kn in knudsen]
    answers: list[Answer] = []
    for kn in numbers:
        report = None if watch is None else partial(watch, len(answers))
        answers.append(answer_of(kn, watch=report))
        if progress is not None:
            progress(len(answers), len(numbers), answers[-1])
    return answers


def _sides(room: Room) -> tuple[float, ...]:
    return (room.length, room.width) if room.height is None else (room.length, room.width, room.height)


def _question(case: Case, tolerance: float) -> dict[str, object]:
    return {
        "shape": case.shape.name,
        "aspect": case.shape.aspect,
        "knudsen": repr(case.knudsen),
        "room": list(_sides(case.room)),
        "position": case.room.position,
        "accommodation": [case.walls.front, case.walls.back, case.walls.room],
        "tolerance": tolerance,
        **({"thickness": case.thickness} if case.thickness else {}),
        **({} if case.walls.maxwell else {"laws": _laws(case.walls)}),
        **({} if case.inner is None else {"inner": asdict(case.inner)}),
    }


def _laws(walls: Walls) -> dict[str, tuple[float, float]]:
    """Return the two accommodations of each wall that is not Maxwell's."""
    named = zip(("hot", "cold", "room"), walls.laws, strict=True)
    return {name: (law.tangential, law.normal) for name, law in named if law is not None}


def coefficients(solutions: Mapping[str, Solution]) -> dict[str, float]:
    """Return the coefficients from the solutions of the drives ``faces``, ``both`` and ``motion``."""
    faces, both, motion = (solutions[name] for name in ("faces", "both", "motion"))
    return {
        "thermal_force": -faces.force,
        "heat_hot": faces.heat(0),
        "heat_cold": faces.heat(1),
        "drag": -motion.force,
        "motion_heat_hot": motion.heat(0),
        "motion_heat_cold": motion.heat(1),
        "loss_hot": both.heat(0),
        "loss_cold": both.heat(1),
        "loss_force": both.force,
        "area_share": faces.area_share,
    }


def _first(case: Case) -> Resolution:
    """Return the initial resolution: within a per cent or so for every Knudsen number."""
    if case.shape.name != "strip":
        if case.knudsen <= 0.5:
            return Resolution(0.4, 5, 4)
        # Far from the continuum the shadow of the vane is sharp: angles matter more than cells. Specular walls reflect
        # the vane repeatedly along its normal: angles from the normal matter most.
        return Resolution(0.4, 8, 6 + round(20.0 * (1.0 - case.walls.room)))
    # The modes of walls that are not Maxwell's are polynomials of the speed.
    return Resolution(1.0 if case.knudsen < 0.02 else 0.7, 14, speeds=8 if case.walls.maxwell else 16)


def _tell(watch: Callable[[SolveProgress], None], case: Case, level: int, levels: int, drive: int, done: float) -> None:
    """Report progress with refinements weighted by their cost: cells and angles grow together."""
    growth = (STEP_THICK if case.thickness else STEP) ** (3 if case.shape.name == "strip" else 5)
    costs = [growth**k for k in range(max(levels, level + 1))]
    here = (drive + done) / len(DRIVES_SOLVED)
    share = (sum(costs[:level]) + here * costs[level]) / sum(costs)
    watch(SolveProgress(level + 1, len(costs), DRIVES_SOLVED[drive], share))


def check_memory(needed: float, walls: str) -> None:
    """Raise an error before a solution that would not fit into memory, B; `walls` are those to bring nearer."""
    available = _available_memory()
    if available is not None and needed > 0.8 * available:
        raise InputError(
            f"this accuracy needs {needed / 2**30:.1f} GiB of memory; {available / 2**30:.1f} GiB are free",
            key="tolerance",
            fix=f"choose a larger tolerance, or a smaller {walls}",
        )


def _available_memory() -> int | None:
    """Return the bytes of available memory, if the system reports them; else all there are, or None."""
    try:
        lines = Path("/proc/meminfo").read_text().splitlines()
        return 1024 * next(int(line.split()[1]) for line in lines if line.startswith("MemAvailable"))
    except (OSError, StopIteration, ValueError, IndexError):
        pass
    try:
        return os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    except (AttributeError, OSError, ValueError):
        return None


def _refine(
    case: Case,
    tolerance: float,
    workers: int,
    watch: Callable[[SolveProgress], None] | None,
    operator_for: Callable[[Any], Any],
) -> Response:
    """Refine until two levels agree to the tolerance, or report that they do not."""
    begun = time.perf_counter()
    resolution, before = _first(case), None
    side_by_side = _goes_to_a_card(case, operator_for)
    solutions: dict[str, Solution] = {}
    cuts = case.shape.cuts_cells
    step = STEP_THICK if case.thickness else STEP
    gained = step ** (ORDER_CUT if cuts else ORDER) - 1.0
    levels = 2
    for level in range(MOST_LEVELS):
        check_memory(case.operator(resolution, 1.0 if case.symmetric else None, workers).memory, "room")
        told = None if watch is None else partial(_tell, watch, case, level, levels)
        found = solve(
            case, resolution, DRIVES_SOLVED, tolerance=tolerance, workers=workers,
            start=tuple(solutions.values()), progress=told, operator_for=operator_for,
            side_by_side=side_by_side,
        )  # fmt: skip
        solutions = dict(zip(DRIVES_SOLVED, found, strict=True))
        raw = coefficients(solutions)
        if before is not None:
            missing = {name: (raw[name] - before[name]) / gained for name in raw}
            values = {name: value + missing[name] if cuts else value for name, value in raw.items()}
            errors = {name: abs(value) * (0.5 if cuts else 1.0) for name, value in missing.items()}
            excess = max(errors[name] / (tolerance * abs(values[scale]) + 1e-12) for name, scale in SCALE_OF.items())
            reached = excess <= 1.0
            if reached or level == MOST_LEVELS - 1:
                break
            levels = level + 1 + max(1, math.ceil(math.log(excess) / math.log(1.0 + gained)))
        resolution, before = resolution.finer(step), raw
    last = list(solutions.values())
    return Response(
        shape=case.shape.name,
        aspect=case.shape.aspect,
        thickness=case.thickness,
        knudsen=case.knudsen,
        rarefaction=case.delta,
        room=_sides(case.room),
        position=case.room.position,
        accommodation=(case.walls.front, case.walls.back, case.walls.room),
        laws=_laws(case.walls),
        inner={} if case.inner is None else asdict(case.inner),
        tolerance=tolerance,
        values=values,
        errors=errors,
        reached=reached,
        sweeps={name: solution.sweeps for name, solution in solutions.items()},
        seconds=time.perf_counter() - begun,
        solutions=solutions,
        **quality_of(last),
    )
