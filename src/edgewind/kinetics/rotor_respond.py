"""From a rotor, a chamber, a rarefaction and an accuracy to torque, drag and heat with error bars."""

from __future__ import annotations

import math
import numbers
import os
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
from pydantic import Field, PrivateAttr

from edgewind.errors import InputError, OutOfRangeError
from edgewind.extras import need
from edgewind.frozen_model import FrozenModel
from edgewind.kinetics import store
from edgewind.kinetics.device import choose_device
from edgewind.kinetics.fixed_point import quality_of
from edgewind.kinetics.inputs import check_knudsen, check_shape, check_tolerance
from edgewind.kinetics.response import SolveProgress, along_knudsen, check_memory
from edgewind.kinetics.result import labelled
from edgewind.kinetics.rotor_grid import Rotor
from edgewind.kinetics.rotor_operator import RotorDrive, RotorOperator
from edgewind.kinetics.rotor_solve import AZIMUTHS, RotorCase, RotorResolution, RotorSolution, solve_rotor

if TYPE_CHECKING:
    import xarray as xr

# Gain of the scheme from one level to the next: of second order, each level refines by the root of two. The
# staircase of a round wall and an outline that cuts cells make it about of first order.
GAINED, GAINED_CUT = 1.0, 2.0**0.5 - 1.0
DRIVES_SOLVED = ("faces", "both", "spin")
# Scale of the relative error of each coefficient.
SCALE_OF = {
    "torque": "torque",
    "drag": "drag",
    "heat_apart": "heat_apart",
    "loss": "loss",
    "heat_trailing": "heat_apart",
    "heat_leading": "heat_apart",
    "loss_trailing": "loss",
    "loss_leading": "loss",
    "loss_torque": "loss",
}
MAIN = ("torque", "drag", "heat_apart", "loss")
NARROWEST_GAP = 0.05


class RotorResponse(FrozenModel):
    """Coefficients of a rotor in its chamber at one Knudsen number; dimensionless, per unit of each drive."""

    shape: str = Field(description="Outline of the vanes.")
    aspect: float = Field(description="Height over width of a vane.")
    vanes: int = Field(description="Number of vanes.")
    arm: float = Field(description="From the axis to the middle of a vane, over the width of a vane.")
    room: tuple[float, float] = Field(description="Width and height of the chamber over the width of a vane.")
    round: bool = Field(description="Whether the chamber is a cylinder; else a box with a square base.")
    knudsen: float = Field(description="Mean free path over the width of a vane.")
    rarefaction: float = Field(description="Rarefaction parameter, sqrt(pi)/2 over the Knudsen number.")
    accommodation: tuple[float, float] = Field(description="Diffuse share of the trailing and of the leading faces.")
    tolerance: float = Field(description="Requested relative error.")
    torque: float = Field(
        description="Torque/(N p0 A R) per dT/T0, the trailing faces warmer by dT, towards the leading faces."
    )
    drag: float = Field(description="Torque/(N p0 A R) per Omega R/v0, against the rotation.")
    heat_apart: float = Field(
        description="Heat that leaves a warm face /(p0 v0 A) per dT/T0, the faces at +1/2 and -1/2; half of the "
        "difference of both where their accommodation differs."
    )
    loss: float = Field(description="Heat that leaves a face /(p0 v0 A), both faces warmer than the chamber by T0.")
    values: dict[str, float] = Field(description="All coefficients, those of each face among them.")
    errors: dict[str, float] = Field(description="Estimated absolute error of each coefficient.")
    reached: bool = Field(description="Whether torque, drag, heat_apart and loss are within the tolerance.")
    sweeps: int = Field(description="Fine sweeps of the drive that took the most, at the finest resolution.")
    coarse_sweeps: float = Field(description="Work of the coarse levels in fine sweeps.")
    residual: float = Field(description="Largest relative residual of the unknowns.")
    reciprocity: float = Field(description="Heat transported by rotation from face to face, over the torque, less 1.")
    mass_residual: float = Field(description="Largest relative sum of particles that leave all walls.")
    energy_residual: float = Field(description="Largest relative sum of heat that leaves all walls.")
    seconds: float = Field(description="Time that the solution took, s.")
    cells: int = Field(description="Cells of the finest grid.")
    velocities: int = Field(description="Discrete velocities of the finest grid.")
    device: str = Field(default="cpu", description="Device of the sweeps: cpu or gpu.")
    _solutions: dict[str, RotorSolution] = PrivateAttr(default_factory=dict)

    def row(self) -> dict[str, Any]:
        """Return one row of a response curve, with its errors.

        Returns
        -------
        knudsen : float or None
            Mean free path over the width of a vane; null for free flight.
        torque, drag, heat_apart, loss, sweeps, seconds, rarefaction, reached : as in RotorResponse
        errors : as in RotorResponse
        device : as in RotorResponse
        """
        kept = ("knudsen", *MAIN, "errors", "sweeps", "seconds", "rarefaction", "reached", "device")
        return {name: getattr(self, name) for name in kept}

    def to_dataset(self) -> xr.Dataset:
        """Fields of the gas for each drive, and stress and heat along the faces, on cell centres of the part computed.

        The rest follows from symmetry: see `RotorGrid`. Cells outside the chamber hold NaN.
        """
        arrays = need("xarray", extra="notebook", purpose="for labelled arrays")

        if not self._solutions:
            raise InputError("this response holds no fields", key="fields", fix="compute it with fields=True")
        parts = [_fields(solution) for solution in self._solutions.values()]
        data: xr.Dataset = arrays.concat(parts, dim=arrays.DataArray(list(self._solutions), dims="drive", name="drive"))
        plain = self.model_dump(exclude={"values", "errors", "reached", "round", "device"})
        data.attrs = {name: list(value) if isinstance(value, tuple) else value for name, value in plain.items()}
        data.attrs["round"] = int(self.round)
        return data


def _fields(solution: RotorSolution) -> xr.Dataset:
    g = solution.grid
    x, y, z = (0.5 * (nodes[1:] + nodes[:-1]) for nodes in (g.x, g.y, g.z))
    kinds = ["density", *(f"velocity_{a}" for a in "xyz"), "temperature", *(f"heat_flux_{a}" for a in "xyz")]
    moments = np.where(g.gas[..., None, None], solution.moments, np.nan)
    on_vane = np.where((g.cover_y > 0.0) & (x > 0.0)[:, None], 1.0, np.nan)
    faces = {what: np.array(solution.faces(what)[::-1]) * on_vane for what in ("pressure", "shear", "heat")}
    if g.offset:
        # The two halves of the chamber, the second rotated back by half a turn.
        ahead = (x > 0.0) & (np.abs(g.along) < 0.5 * solution.case.rotor.width)
        turned = moments[ahead[::-1]][::-1, ::-1] * np.array([1.0, -1.0, -1.0, 1.0, 1.0, -1.0, -1.0, 1.0])
        moments = np.concatenate([turned, moments[ahead]], axis=1)
        faces = {what: load[:, ahead] for what, load in faces.items()}
        x, y = g.along[ahead], np.concatenate([-y[::-1], y])
    data: dict[str, Any] = {kind: (("x", "y", "z"), moments[..., k]) for k, kind in enumerate(kinds)}
    data |= {f"face_{what}": (("face", "x", "z"), load) for what, load in faces.items()}
    return labelled(data, {"x": x, "y": y, "z": z}, ["trailing", "leading"])


def check_rotor(
    shape: str, aspect: float, vanes: int, arm: float, room: Sequence[float], *, round: bool = False
) -> Rotor:
    """Return a rotor that can be resolved.

    Parameters
    ----------
    shape, aspect
        Outline of a vane, as for a lone one; not a strip.
    vanes : int
        1 to 4; three in a cylinder.
    arm : float
        From the axis to the middle of a vane, over its width.
    room : sequence of float
        Sides of a box (two equal ones across the axis, and its height), or diameter and height of a cylinder.
    round : bool
        Whether the chamber is a cylinder.
    """
    outline = check_shape(shape, aspect)
    if outline.name == "strip":
        raise InputError(
            "a rotor cannot have vanes that are endless strips",
            key="shape",
            fix="choose square, rectangle, diamond or disc",
        )
    if vanes not in (1, 2, 3, 4):
        raise InputError(f"the number of vanes must be 1 to 4, not {vanes}", key="vanes", fix="choose one of these")
    if vanes == 3 and not round:
        raise InputError("three vanes are not alike in a box with a square base", key="room",
                         fix="give diameter and height of a cylinder, with --round")  # fmt: skip
    width, height = outline.extents
    if not (math.isfinite(arm) and arm > 0.5 * width):
        touch = "touches the axis" if vanes == 1 else "touches the other vanes at the axis"
        raise OutOfRangeError(
            f"an arm of {arm:g} is not above half of a vane's width ({0.5 * width:g}): a vane {touch}",
            key="arm",
            fix="give the distance from the axis to the middle of a vane over its width",
        )
    if vanes > 1 and arm - 0.5 * width < 0.5 * NARROWEST_GAP:
        raise OutOfRangeError(
            f"vanes {2.0 * (arm - 0.5 * width):g} apart at the axis cannot be resolved",
            key="arm",
            fix=f"make the arm {0.5 * (width + NARROWEST_GAP):g} or longer",
        )
    sides = [float(side) for side in room]
    wanted = 2 if round else 3
    if len(sides) == 3 and sides[0] == sides[1] and round:
        sides = [sides[0], sides[2]]
    if len(sides) != wanted or not all(math.isfinite(side) and side > 0.0 for side in sides):
        raise InputError(
            f"'{','.join(f'{side:g}' for side in sides)}' are not the sides of a chamber",
            key="room",
            fix="give diameter and height of a cylinder" if round else "give width, width and height of a box",
        )
    if not round and sides[0] != sides[1]:
        raise InputError(
            f"a box {sides[0]:g} wide and {sides[1]:g} deep is not computed for a rotor: its base must be a square",
            key="room",
            fix="give two equal sides, or a cylinder",
        )
    tip = arm + 0.5 * width
    if 0.5 * sides[0] < tip + NARROWEST_GAP:
        raise OutOfRangeError(
            f"vanes that reach {tip:g} from the axis leave no gap to a wall at {0.5 * sides[0]:g}",
            key="room",
            fix=f"make the chamber {2.0 * (tip + NARROWEST_GAP):g} widths across or wider, or the arm shorter",
        )
    if sides[-1] < height + 2.0 * NARROWEST_GAP:
        raise OutOfRangeError(
            f"vanes {height:g} high leave no gap to the ends of a chamber {sides[-1]:g} high",
            key="room",
            fix=f"make the chamber {height + 2.0 * NARROWEST_GAP:g} widths high or higher",
        )
    if max(sides) > 200.0:
        raise OutOfRangeError(
            f"a chamber must be up to 200 widths of a vane across, not {max(sides):g}",
            key="room",
            fix="make it smaller",
        )
    return Rotor(outline, vanes, float(arm), sides[0], sides[-1], round)


def respond_rotor(
    shape: str,
    knudsen: float,
    *,
    vanes: int,
    arm: float,
    room: Sequence[float],
    round: bool = False,
    aspect: float = 1.0,
    accommodation: float | tuple[float, float] = 1.0,
    tolerance: float = 1e-2,
    fields: bool = False,
    workers: int | None = None,
    device: str = "cpu",
    cache: bool | str | os.PathLike[str] = True,
    watch: Callable[[SolveProgress], None] | None = None,
) -> RotorResponse:
    """Compute torque, drag and heat of a gas on a rotor in its chamber, to a given accuracy.

    Examples
    --------
    >>> answer = respond_rotor("square", 10.0, vanes=4, arm=1.5, room=(6, 6, 4), tolerance=0.1, cache=False)
    >>> 0.22 < answer.torque < 0.25
    True

    Parameters
    ----------
    shape : str
        ``square``, ``rectangle``, ``diamond`` or ``disc``; lengths are in its width.
    knudsen : float
        Hard-sphere mean free path over the width of a vane; infinity for free flight.
    vanes, arm, room, round, aspect
        As for `check_rotor`.
    accommodation : float or tuple of float
        Diffuse share of the faces: of all, or of the trailing (warm) and of the leading ones. The chamber is diffuse.
    tolerance : float
        Relative error to reach, between 1e-6 and 0.1.
    fields : bool
        Whether to keep the fields of the gas; they are not cached.
    workers : int, optional
        Threads; default: number of processors.
    device : str
        ``cpu``, ``gpu``, or ``auto``: a GPU where there is one.
    cache : bool or path
        Whether to read and store the solution on disk; a path names the folder.
    watch : callable, optional
        Called with a `SolveProgress` after every sweep at full resolution.

    Raises
    ------
    InputError
        Vanes that touch or leave the chamber, or a value that is meaningless or cannot be resolved.
    """
    rotor = check_rotor(shape, aspect, vanes, arm, room, round=round)
    if fields and vanes == 3:
        raise InputError("the fields around three vanes cannot be kept", key="fields", fix="choose 1, 2 or 4 vanes")
    both = _faces(accommodation)
    case = RotorCase(rotor, check_knudsen(knudsen), leading=both[1], trailing=both[0])
    tolerance = check_tolerance(tolerance)
    question: dict[str, object] = {
        "rotor": [rotor.shape.name, rotor.shape.aspect, vanes, rotor.arm, rotor.width, rotor.height, rotor.round],
        "knudsen": repr(case.knudsen),
        "accommodation": list(both),
        "tolerance": tolerance,
    }
    folder = store.folder_of(cache)
    if folder is not None and not fields:
        found = store.fetch(folder, question)
        if found is not None:
            return RotorResponse(**{**found, "knudsen": case.knudsen})
    where, operator_for = choose_device(device)
    answer = refine(case, tolerance, workers or os.cpu_count() or 1, where, operator_for, watch)
    if folder is not None and answer.reached:
        store.keep_answer(folder, question, answer.model_dump(mode="json"))
    return answer


def _faces(accommodation: float | tuple[float, float]) -> tuple[float, float]:
    """Return the accommodation of the trailing and the leading faces."""
    given = accommodation if isinstance(accommodation, tuple) else (accommodation,) * 2
    if len(given) != 2 or not all(isinstance(value, numbers.Real) for value in given):
        raise InputError(
            f"accommodation of a rotor must be one number or two, of the trailing and of the leading faces, not "
            f"{accommodation}: its chamber is computed with diffuse walls",
            key="accommodation",
            fix="leave the chamber out; `chamber_ratios` of lone vanes give the effect of a specular share",
        )
    for value in given:
        if not 0.0 <= value <= 1.0:
            raise OutOfRangeError(f"the accommodation must be between 0 and 1, not {value:g}", key="accommodation",
                                  fix="choose one in that range")  # fmt: skip
    return float(given[0]), float(given[1])


def coefficients(faces: RotorSolution, both: RotorSolution, spin: RotorSolution) -> dict[str, float]:
    """Return the coefficients from the solutions of the three drives, `spin` per Omega R/v0."""
    heat_leading, heat_trailing = faces.mean("heat")
    loss_leading, loss_trailing = both.mean("heat")
    moved_leading, moved_trailing = spin.mean("heat")
    return {
        "torque": faces.torque,
        "drag": -spin.torque,
        "heat_apart": 0.5 * (heat_trailing - heat_leading),
        "loss": 0.5 * (loss_leading + loss_trailing),
        "heat_trailing": heat_trailing,
        "heat_leading": heat_leading,
        "loss_trailing": loss_trailing,
        "loss_leading": loss_leading,
        "loss_torque": both.torque,
        "spin_heat_trailing": moved_trailing,
        "spin_heat_leading": moved_leading,
    }


def refine(
    case: RotorCase,
    tolerance: float,
    workers: int,
    device: str,
    operator_for: Callable[[RotorOperator], RotorOperator],
    watch: Callable[[SolveProgress], None] | None = None,
) -> RotorResponse:
    """Refine until two levels agree to the tolerance, or report that they do not."""
    begun = time.perf_counter()
    drives = ("faces", "both", RotorDrive(spin=1.0 / case.rotor.arm))
    cut = case.rotor.round or case.rotor.shape.cuts_cells
    gained = GAINED_CUT if cut else GAINED
    before: dict[str, float] | None = None
    solutions: list[RotorSolution] = []
    levels, most = 2, len(AZIMUTHS) - 1
    for number in range(most):
        level = RotorResolution.level(number, case.knudsen)
        check_memory(case.operator(level, 1.0 if case.mirrored else None, workers).memory, "chamber")

        def tell(drive: int, done: float, number: int = number, levels: int = levels) -> None:
            if watch is not None:
                costs = [2.0 ** (2.5 * k) for k in range(max(levels, number + 1))]
                share = (sum(costs[:number]) + (drive + done) / 3.0 * costs[number]) / sum(costs)
                watch(SolveProgress(number + 1, len(costs), DRIVES_SOLVED[drive], share))

        solutions = solve_rotor(
            case, level, drives, tolerance=tolerance, workers=workers, start=solutions, progress=tell,
            operator_for=operator_for,
        )  # fmt: skip
        raw = coefficients(*solutions)
        if before is not None:
            # One level alone may agree by chance: the scale of the main coefficients' change is a floor.
            errors = {name: abs(raw[name] - before[name]) / gained for name in raw}
            excess = max(errors[name] / (tolerance * abs(raw[of]) + 1e-12) for name, of in SCALE_OF.items())
            if excess <= 1.0:
                break
            levels = number + 1 + max(1, math.ceil(math.log(excess) / math.log(1.0 + gained)))
            levels = min(levels, most)
        before = raw
    faces, _, spin = solutions
    return _response(case, tolerance, raw, errors, excess, solutions, device, time.perf_counter() - begun,
                     _reciprocity(faces, spin))  # fmt: skip


def _reciprocity(faces: RotorSolution, spin: RotorSolution) -> float:
    leading, trailing = spin.mean("heat")
    return 0.5 * (trailing - leading) / faces.torque - 1.0 if faces.torque else 0.0


def _response(
    case: RotorCase,
    tolerance: float,
    values: dict[str, float],
    errors: dict[str, float],
    excess: float,
    solutions: list[RotorSolution],
    device: str,
    seconds: float,
    reciprocity: float,
) -> RotorResponse:
    rotor = case.rotor
    answer = RotorResponse(
        shape=rotor.shape.name,
        aspect=rotor.shape.aspect,
        vanes=rotor.vanes,
        arm=rotor.arm,
        room=(rotor.width, rotor.height),
        round=rotor.round,
        knudsen=case.knudsen,
        rarefaction=case.delta,
        accommodation=(case.trailing, case.leading),
        tolerance=tolerance,
        values=values,
        errors=errors,
        reached=excess <= 1.0,
        sweeps=max(solution.sweeps for solution in solutions),
        reciprocity=reciprocity,
        seconds=seconds,
        device=device,
        **quality_of(solutions) | {name: values[name] for name in MAIN},
    )
    answer._solutions.update(zip(DRIVES_SOLVED, solutions, strict=True))
    return answer


def respond_rotor_to(question: Mapping[str, Any]) -> RotorResponse:
    """Run `respond_rotor` with keywords: one piece of work for a runner.

    The solutions are dropped unless fields are requested.
    """
    answer = respond_rotor(**question)
    if not question.get("fields"):
        answer._solutions.clear()
    return answer


def respond_rotor_curve(
    shape: str,
    knudsen: Iterable[float],
    *,
    progress: Callable[[int, int, RotorResponse], None] | None = None,
    watch: Callable[[int, SolveProgress], None] | None = None,
    **options: Any,
) -> list[RotorResponse]:
    """Compute a response curve of a rotor, one Knudsen number after the other; finished results stay cached.

    Parameters
    ----------
    shape, knudsen, **options
        As for `respond_rotor`, with Knudsen numbers.
    progress : callable, optional
        Called with the number done, the total number and the last response.
    watch : callable, optional
        Called after every sweep with the number of responses done and the progress of the next.
    """
    return along_knudsen(partial(respond_rotor, shape, **options), knudsen, progress, watch)
