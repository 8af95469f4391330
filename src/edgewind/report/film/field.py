"""The gas in the plane through the middle of the vane, solved at high resolution for one drive and stored on disk.

Coefficients with their errors come from `edgewind.kinetics.respond`; the fields from a further solution with more
directions and smaller cells than the coefficients need, since a picture shows ray effects in thin gas that an average
hides.
"""

from __future__ import annotations

import io
import os
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from edgewind.errors import InputError, OutOfRangeError
from edgewind.files import write_whole
from edgewind.kinetics import Response, respond, store
from edgewind.kinetics.inputs import check_knudsen
from edgewind.kinetics.response import vane_case
from edgewind.kinetics.solve import Case, Resolution, Solution, solve
from edgewind.report.film.words import DRIVES, option_of

Floats = NDArray[np.float64]

# Part of the name of every file: a change of the stored content invalidates old files.
KEPT = 1
KINDS = ("density", "velocity_x", "velocity_y", "temperature", "heat_flux_x", "heat_flux_y")
# In space a field below this takes minutes; the strip has the limits of the solver.
LEAST_IN_SPACE = 0.03
MOST_KNUDSEN = 100.0


@dataclass(frozen=True, eq=False)
class GasField:
    """The gas in the plane through the middle of the vane, its upper half: y = 0 is a plane of symmetry.

    Attributes
    ----------
    shape : str
        Name of the shape of the vane.
    knudsen : float
        Mean free path over the width of the vane.
    aspect, room, position, accommodation
        The case, as in `edgewind.kinetics.Response`.
    drive : {"thermal", "flow", "warm"}
        Drive of the gas: faces of two temperatures, the moving vane, or two warm faces.
    x, y : arrays of shape (nx + 1,), (ny + 1,)
        Edges of the cells along the normal, the vane at 0 and its hot side above, and across from the middle to the
        side wall; in widths of the vane.
    moments : array of shape (6, nx, ny)
        Density, velocity x and y, temperature, heat flux x and y, per unit of the drive, over n0, v0, T0 and p0 v0.
    edge : float
        Place of the edge of the vane.
    stress : array of shape (n,)
        Load along the face from its middle to its edge: difference of normal stress over p0, or heat over p0 v0.
    area_share : float
        Share of the mean over the face that the value in its middle, on all of it, would give.
    mean : float
        The mean over the face.
    coefficient : float
        Coefficient of the response if computed, else the mean over the face.
    error : float
        Estimated error of the coefficient; NaN where it was not computed.
    mass_residual : float
        Particles that leave all walls over the sum of the magnitudes.
    """

    shape: str
    aspect: float
    knudsen: float
    room: tuple[float, ...]
    position: float
    accommodation: tuple[float, float, float]
    drive: str
    x: Floats
    y: Floats
    moments: Floats
    edge: float
    stress: Floats
    area_share: float
    mean: float
    coefficient: float
    error: float
    mass_residual: float

    @property
    def edge_share(self) -> float:
        """The remaining share, due to the neighbourhood of the edge."""
        return 1.0 - self.area_share

    @property
    def stress_y(self) -> Floats:
        """Places of `stress`."""
        return 0.5 * (self.y[1:] + self.y[:-1])[: self.stress.size]

    @property
    def flat(self) -> bool:
        """Whether the flow stays in this plane, so that a stream function exists."""
        return self.shape == "strip"

    def moment(self, name: str) -> Floats:
        """Return one of the moments by name, shape (nx, ny)."""
        return np.asarray(self.moments[KINDS.index(name)])


def _resolution(case: Case) -> Resolution:
    """Return cells and directions fine enough for a picture; the page about films describes the choice."""
    kn = case.knudsen
    if case.shape.name == "strip":
        directions = int(np.clip(40.0 * kn**0.5 + 24.0, 24, 160))
        return Resolution(2.4 if kn > 0.04 else 1.6, directions)
    directions = int(np.clip(8.0 * kn**0.5 + 9.0, 10, 24))
    return Resolution(0.8 if kn > 0.1 else 0.65, directions, max(7, int(0.7 * directions)))


def field_of(solution: Solution, *, case: Case, drive: str, coefficient: float | None = None,
             error: float | None = None) -> GasField:  # fmt: skip
    """Return the plane through the middle of a solution.

    Parameters
    ----------
    solution : Solution
        Solution of the drive `drive`.
    case : Case
        What was solved.
    drive : str
        A key of `DRIVES`.
    coefficient, error : float, optional
        The coefficient of the response with its error.
    """
    words, grid = DRIVES[drive], solution.grid
    moments = solution.moments
    front, back = moments[: grid.start[1]], moments[grid.start[1] :]
    axes = len(grid.across)
    names = ["density", *(f"velocity_{a}" for a in "xyz"[: 1 + axes]), "temperature"]
    names += [f"heat_flux_{a}" for a in "xyz"[: 1 + axes]]
    sign = np.array([-1.0 if name.endswith("_x") else 1.0 for name in names])
    if grid.boxes == 1:
        back, x_back = solution.parity * front, grid.x[0]
    else:
        x_back = grid.x[1]
    whole = np.concatenate([(back * sign)[::-1], front])
    # In space, the row of cells along the plane of symmetry represents it, since fields are even there.
    plane = whole if axes == 1 else whole[:, :, 0, :]
    picked = np.stack([plane[..., names.index(kind)] for kind in KINDS])
    behind = 1.0 if grid.boxes == 2 else solution.parity
    load = [getattr(solution.loads[0], words.acts), behind * getattr(solution.loads[-1], words.acts)]
    acting = load[0] - load[1] if words.acts == "pressure" else load[0] + load[1]
    weight = grid.face * grid.cover
    inside = weight > 0.0
    cut, on_vane = (acting, inside) if axes == 1 else (acting[:, 0], inside[:, 0])
    mean = float(np.sum(acting * weight) / np.sum(weight))
    extent = 0.5 * case.shape.extents[0]
    return GasField(
        shape=case.shape.name,
        aspect=case.shape.aspect,
        knudsen=case.knudsen,
        room=tuple(s for s in (case.room.length, case.room.width, case.room.height) if s is not None),
        position=case.room.position,
        accommodation=(case.walls.front, case.walls.back, case.walls.room),
        drive=drive,
        x=np.concatenate([-x_back[:0:-1], grid.x[0]]),
        y=grid.across[0],
        moments=picked,
        edge=extent,
        stress=np.asarray(cut[on_vane]),
        area_share=float(acting[inside][0]) / mean,
        mean=mean,
        coefficient=mean if coefficient is None else coefficient,
        error=float("nan") if error is None else error,
        mass_residual=solution.mass_residual,
    )


def field_of_response(response: Response, drive: str = "thermal") -> GasField:
    """Return the plane through the middle of a response that was computed with ``fields=True``.

    Raises
    ------
    InputError
        The response holds no fields, or the drive is not known.
    """
    words = option_of(DRIVES, drive, "drive")
    if not response.solutions:
        raise InputError("this response holds no fields", fix="compute it with fields=True, or use gas_field")
    walls = dict(zip(("hot", "cold", "room"), response.accommodation, strict=True))
    about = (response.aspect, 0.0, response.room, response.position, walls)
    case = vane_case(response.shape, response.knudsen, *about)
    return field_of(response.solutions[words.solver], case=case, drive=drive, **_coefficient(response, drive))


def _coefficient(response: Response, drive: str) -> dict[str, float]:
    name = DRIVES[drive].coefficient
    if name == "heat_loss":
        error = response.errors["loss_hot"] + response.errors["loss_cold"]
        return {"coefficient": response.heat_loss, "error": error}
    return {"coefficient": response.values[name], "error": response.errors[name]}


def check_field_knudsen(shape: str, knudsen: float) -> float:
    """Return a Knudsen number whose fields can be shown.

    Raises
    ------
    OutOfRangeError
        It is meaningless, cannot be resolved, or has no visible flow.
    """
    value = check_knudsen(knudsen)
    least = 0.0 if shape == "strip" else LEAST_IN_SPACE
    if not least <= value <= MOST_KNUDSEN:
        lowest = LEAST_IN_SPACE if least else 0.005
        raise OutOfRangeError(
            f"the gas round a {shape} at a Knudsen number of {value:g} cannot be drawn",
            key="knudsen",
            fix=f"stay within {lowest:g} and {MOST_KNUDSEN:g}: "
            + ("thinner gas hardly flows" if value > MOST_KNUDSEN else "denser gas in space is not resolved"),
        )
    return value


def gas_field(
    shape: str = "strip",
    knudsen: float = 0.3,
    *,
    room: float | tuple[float, ...] = 4.0,
    aspect: float = 1.0,
    position: float = 0.5,
    accommodation: float | Mapping[str, float] = 1.0,
    drive: str = "thermal",
    tolerance: float = 5e-3,
    fineness: float = 1.0,
    workers: int | None = None,
    cache: bool | str | os.PathLike[str] = True,
) -> GasField:
    """Compute the gas round a vane, or read it from the folder of stored solutions.

    Parameters
    ----------
    shape, knudsen, room, aspect, position, accommodation, workers, cache
        As for `edgewind.kinetics.respond`.
    drive : str
        ``thermal``, ``flow`` or ``warm``.
    tolerance : float
        Relative error of the coefficients.
    fineness : float
        Cells and directions of the fields, 0.3 to 2 times as many as for a film along each axis.

    Raises
    ------
    InputError
        A case that is meaningless or cannot be resolved.
    """
    words = option_of(DRIVES, drive, "drive")
    case = vane_case(shape, check_field_knudsen(shape, knudsen), aspect, 0.0, room, position, accommodation)
    outline = case.shape
    if not 0.3 <= fineness <= 2.0:
        raise OutOfRangeError(f"{fineness:g} times as fine is not drawn", key="fineness", fix="stay between 0.3 and 2")
    resolution = _resolution(case).finer(fineness)
    question = {
        "picture": KEPT,
        "shape": outline.name,
        "aspect": outline.aspect,
        "knudsen": repr(case.knudsen),
        "room": [case.room.length, case.room.width, case.room.height],
        "position": case.room.position,
        "accommodation": [case.walls.front, case.walls.back, case.walls.room],
        "drive": drive,
        "tolerance": tolerance,
        "resolution": [
            resolution.grid,
            resolution.azimuths,
            resolution.polar,
            resolution.speeds,
            resolution.refined,
        ],
    }
    folder = store.folder_of(cache)
    place = None if folder is None else folder / f"{store.key_of(question)}.npz"
    if place is not None:
        found = _read(place)
        if found is not None:
            return found
    response = respond(
        outline.name, case.knudsen, aspect=outline.aspect, room=case.room, accommodation=case.walls,
        tolerance=tolerance, workers=workers, cache=cache,
    )  # fmt: skip
    threads = workers or os.cpu_count() or 1
    (solution,) = solve(case, resolution, (words.solver,), tolerance=0.4 * tolerance, workers=threads)
    field = field_of(solution, case=case, drive=drive, **_coefficient(response, drive))
    if place is not None:
        _write(place, field)
    return field


SCALARS = ("shape", "aspect", "knudsen", "position", "drive", "edge", "area_share", "mean", "coefficient", "error",
          "mass_residual")  # fmt: skip
_ARRAYS = ("room", "accommodation", "x", "y", "moments", "stress")


def _write(place: Path, field: GasField) -> None:
    """Store a field atomically."""
    buffer = io.BytesIO()
    arrays: dict[str, Any] = {name: np.asarray(getattr(field, name)) for name in (*SCALARS, *_ARRAYS)}
    np.savez_compressed(buffer, **arrays)
    place.parent.mkdir(parents=True, exist_ok=True)
    write_whole(place, buffer.getvalue())


def _read(place: Path) -> GasField | None:
    """Return a stored field, or None if there is none that can be read."""
    try:
        with np.load(place, allow_pickle=False) as stored:
            plain = {name: stored[name].item() for name in SCALARS}
            arrays = {name: stored[name] for name in _ARRAYS}
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        return None
    for name in ("room", "accommodation"):
        arrays[name] = tuple(float(value) for value in arrays[name])
    return GasField(**plain, **arrays)
