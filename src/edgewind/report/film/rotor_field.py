"""The gas about a whole rotor in the plane through the middle of its vanes, as seen from above.

The solver gives a quarter or half of the plane; the rest follows from its planes of symmetry. The field is stored on
evenly spaced points, so that fields of one rotor at several Knudsen numbers can be interpolated.
"""

from __future__ import annotations

import io
import json
import lzma
import os
import zipfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from dataclasses import fields as dataclass_fields
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator
from scipy.ndimage import distance_transform_edt

from edgewind.errors import InputError, OutOfRangeError
from edgewind.files import write_whole
from edgewind.kinetics import store
from edgewind.kinetics.rotor_respond import GAINED, GAINED_CUT, check_rotor, coefficients
from edgewind.kinetics.rotor_solve import RotorCase, RotorResolution, RotorSolution, solve_rotor
from edgewind.report.film.field import KINDS, MOST_KNUDSEN
from edgewind.report.film.words import DRIVES, option_of

Floats = NDArray[np.float64]

SOLVER = {"thermal": "faces", "flow": "spin", "warm": "both"}
COEFFICIENT = {"thermal": "torque", "flow": "drag", "warm": "loss"}
# Relative error of the iteration in a coefficient.
ITERATED = 3e-3
# Points along a side of the quarter; the stored error is 1/4096 of each moment's greatest value.
POINTS, STEPS = 112, 4095
LEAST_KNUDSEN = 0.03
# Part of the name of every stored field: a change of the stored content invalidates old ones.
KEPT = 1
# The rotor of the shipped fields: a usual glass bulb, a little wider than its rotor.
STANDARD: dict[str, Any] = {"vanes": 4, "arm": 1.5, "room": (5.5, 4.0), "round": True}
STANDARD_KNUDSEN = (10.0, 3.0, 1.0, 0.5, 0.25, 0.1, 0.05)


@dataclass(frozen=True, eq=False)
class RotorField:
    """The gas about a rotor in the plane through the middle of its vanes.

    Attributes
    ----------
    vanes : int
        1, 2 or 4; the first along +x, its leading face towards +y.
    arm : float
        From the axis to the middle of a vane; lengths are in the width of a vane.
    aspect : float
        Height over width of a vane.
    room : tuple of float
        Width and height of the chamber.
    round : bool
        Whether the chamber is a cylinder.
    knudsen : float
        Mean free path over the width of a vane.
    accommodation : float
        Diffuse share of the faces.
    drive : {"thermal", "flow", "warm"}
        Trailing faces warmer than leading ones, the rotor turning towards its leading faces, or all faces warm.
    moments : array of shape (6, n, n)
        Density, velocity x and y, temperature, heat flux x and y on points `places` along x and y, per unit of the
        drive (dT/T0, or Omega R/v0), over n0, v0, T0 and p0 v0; NaN outside the chamber.
    radii : array of shape (m,)
        Distances from the axis along a vane.
    stress : array of shape (m,)
        Mean over the height of the pressure on the trailing face less that on the leading one, over p0, per unit of the
        drive; for ``warm`` the heat that leaves both faces, over p0 v0.
    coefficient, error : float
        Torque or drag torque over N p0 A R, or heat loss of a face over p0 v0 A, and its estimated error.
    """

    vanes: int
    arm: float
    aspect: float
    room: tuple[float, float]
    round: bool
    knudsen: float
    accommodation: float
    drive: str
    moments: Floats
    radii: Floats
    stress: Floats
    coefficient: float
    error: float

    @property
    def places(self) -> Floats:
        """Points along each side of the plane, from wall to wall, shape (n,)."""
        n = self.moments.shape[1]
        return np.asarray(self.room[0] * ((np.arange(n) + 0.5) / n - 0.5))

    @property
    def parity(self) -> float:
        """+1 or -1: parity of the field in the planes of the vanes."""
        return 1.0 if self.drive == "warm" else -1.0

    def moment(self, name: str) -> Floats:
        """Return one of the moments by name, shape (n, n), x along the first axis."""
        return np.asarray(self.moments[KINDS.index(name)])

    @property
    def same(self) -> tuple[Any, ...]:
        """Properties that fields of one series have in common."""
        return (self.vanes, self.arm, self.aspect, self.room, self.round, self.accommodation, self.drive,
                self.moments.shape)  # fmt: skip


def _mirrored(quarter: Floats, parity: float, axis: int) -> Floats:
    """Return the mirror image beyond a plane of symmetry and the part itself; the normal is axis 0 (x) or 1 (y)."""
    across = ("_x", "_y")[axis]
    sign = np.array([-parity if kind.endswith(across) else parity for kind in KINDS])
    return np.concatenate([np.flip(quarter, 1 + axis) * sign[:, None, None], quarter], axis=1 + axis)


def _sampled(solution: RotorSolution, points: int) -> Floats:
    """Return the moments on even points: (6, points, points), or twice as many along x."""
    g = solution.grid
    names = ["density", "velocity_x", "velocity_y", "velocity_z", "temperature", "heat_flux_x", "heat_flux_y"]
    plane = np.stack([solution.moments[:, :, 0, names.index(kind)] for kind in KINDS], axis=-1)
    # Cells beyond a round wall have the value of their nearest neighbour, so that points at the wall have one.
    nearest = distance_transform_edt(~g.gas, return_distances=False, return_indices=True)
    plane = plane[tuple(nearest)]
    half = g.x[-1]
    y = half * (np.arange(points) + 0.5) / points
    x = np.concatenate([-y[::-1], y]) if g.whole else y
    centres = [0.5 * (nodes[1:] + nodes[:-1]) for nodes in (g.x, g.y)]
    sampler = RegularGridInterpolator(centres, plane, bounds_error=False, fill_value=None)
    found = np.moveaxis(sampler(np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1)), -1, 0)
    if g.round:
        found[:, x[:, None] ** 2 + y[None, :] ** 2 > half**2] = np.nan
    return np.asarray(found)


def rotor_field_of(
    solution: RotorSolution, *, drive: str, coefficient: float, error: float = float("nan"), points: int = POINTS
) -> RotorField:
    """Return the plane from above of a solution whose faces have one accommodation.

    Parameters
    ----------
    solution : RotorSolution
        Solution of the drive `drive`; a rotation per Omega R/v0, so with a spin of 1/arm.
    drive : str
        A key of `DRIVES`.
    coefficient, error : float
        Its coefficient with the error.
    points : int
        Points along half of a side.

    Raises
    ------
    InputError
        The faces differ in accommodation, so that the planes of the vanes are not planes of symmetry.
    """
    option_of(DRIVES, drive, "drive")
    case, parity = solution.case, solution.parity
    if parity is None:
        raise InputError(
            "a rotor whose faces differ in accommodation cannot be drawn",
            key="accommodation",
            fix="give both faces one accommodation",
        )
    part = _sampled(solution, points)
    if not solution.grid.whole:
        part = _mirrored(part, parity, 0)
    g = solution.grid
    leading, trailing = solution.faces("heat" if drive == "warm" else "pressure")
    acting = leading + trailing if drive == "warm" else trailing - leading
    x = 0.5 * (g.x[1:] + g.x[:-1])
    weight = g.cover_y * np.diff(g.z)
    on = (weight.sum(axis=1) > 0.0) & (x > 0.0)
    return RotorField(
        vanes=case.rotor.vanes,
        arm=case.rotor.arm,
        aspect=case.rotor.shape.aspect,
        room=(case.rotor.width, case.rotor.height),
        round=case.rotor.round,
        knudsen=case.knudsen,
        accommodation=case.leading,
        drive=drive,
        moments=_mirrored(part, parity, 1),
        radii=x[on],
        stress=np.asarray((acting * weight).sum(axis=1)[on] / weight.sum(axis=1)[on]),
        coefficient=coefficient,
        error=error,
    )


def rotor_fields(
    knudsen: float,
    *,
    vanes: int = 4,
    arm: float = 1.5,
    room: Sequence[float] = (5.5, 4.0),
    round: bool = True,
    shape: str = "square",
    aspect: float = 1.0,
    accommodation: float = 1.0,
    drives: Sequence[str] = ("thermal", "flow"),
    level: int = 2,
    points: int = POINTS,
    workers: int = 1,
) -> list[RotorField]:
    """Solve a rotor for a picture from above: two resolutions, the coarser one for the error.

    Parameters
    ----------
    knudsen : float
        Between 0.03 and 100.
    vanes, arm, room, round, shape, aspect
        As for `edgewind.kinetics.respond_rotor`.
    accommodation : float
        Diffuse share of the faces.
    drives : sequence of str
        Keys of `DRIVES`.
    level : int
        Number of the finer resolution; each refines by the root of two. A picture needs 2.
    points : int
        Points along half of a side of the plane.
    workers : int
        Threads.

    Raises
    ------
    InputError
        A rotor or a gas that cannot be drawn.
    """
    if not LEAST_KNUDSEN <= knudsen <= MOST_KNUDSEN:
        raise OutOfRangeError(
            f"the gas about a rotor at a Knudsen number of {knudsen:g} cannot be drawn",
            key="knudsen",
            fix=f"stay within {LEAST_KNUDSEN:g} and {MOST_KNUDSEN:g}",
        )
    rotor = check_rotor(shape, aspect, vanes, arm, room, round=round)
    if vanes == 3:
        raise InputError("a rotor of three vanes is not drawn", key="vanes", fix="draw 1, 2 or 4 vanes")
    case = RotorCase(rotor, knudsen, accommodation, accommodation)
    names = [SOLVER[drive] for drive in drives if option_of(DRIVES, drive, "drive")]
    found: dict[str, list[float]] = {}
    solutions: list[RotorSolution] = []
    for number in (max(level - 1, 0), level):
        # A picture shows ray effects that an average over a face hides: two steps more in angle than the coefficients
        # need.
        resolution = replace(
            RotorResolution.level(number + 2, knudsen), refined=RotorResolution.level(number, knudsen).refined
        )
        solutions = solve_rotor(case, resolution, names, tolerance=ITERATED, workers=workers, start=solutions)
        by = dict(zip(names, solutions, strict=True))
        of = coefficients(*(by.get(name, solutions[0]) for name in ("faces", "both", "spin")))
        for drive in drives:
            # The coefficient of drag is per Omega R/v0; that of a solution of unit spin per Omega L/v0.
            scale = 1.0 / arm if drive == "flow" else 1.0
            found.setdefault(drive, []).append(of[COEFFICIENT[drive]] * scale)
    gained = GAINED_CUT if rotor.round or rotor.shape.cuts_cells else GAINED
    fields = []
    for drive, solution in zip(drives, solutions, strict=True):
        before, value = found[drive]
        field = rotor_field_of(
            solution, drive=drive, coefficient=value, error=abs(value - before) / gained, points=points
        )
        if drive == "flow":
            field = replace(field, moments=field.moments / arm, stress=field.stress / arm)
        fields.append(field)
    return fields


def rotor_series(
    knudsen: Iterable[float] | None = None,
    *,
    drive: str = "thermal",
    progress: Callable[[int, int, RotorField], None] | None = None,
    cache: bool | str | os.PathLike[str] = True,
    **options: Any,
) -> list[RotorField]:
    """Return fields of a rotor at several Knudsen numbers: shipped, stored or computed.

    Parameters
    ----------
    knudsen : iterable of float, optional
        Knudsen numbers; default: `STANDARD_KNUDSEN`.
    drive : str
        ``thermal``, ``flow`` or ``warm``.
    progress : callable, optional
        Called with the number done, the total number and the last field.
    cache : bool or path
        Whether fields are stored on disk; a path names the folder.
    **options
        As for `rotor_fields`; default: the rotor of the shipped fields.

    Raises
    ------
    InputError
        As for `rotor_fields`.
    """
    option_of(DRIVES, drive, "drive")
    numbers = list(STANDARD_KNUDSEN if knudsen is None else knudsen)
    asked = {**STANDARD, **options}
    asked["room"] = tuple(asked["room"])
    ready = shipped_rotor_fields(drive) if {**asked, "workers": 1} == {**STANDARD, "workers": 1} else ()
    folder = store.folder_of(cache)
    fields = []
    for kn in numbers:
        field = next((one for one in ready if abs(one.knudsen / kn - 1.0) < 1e-9), None)
        question = {"rotor_picture": KEPT, "drive": drive, "knudsen": repr(float(kn))}
        question |= {name: value for name, value in asked.items() if name != "workers"}
        place = None if folder is None else folder / f"{store.key_of(question)}.npz"
        if field is None and place is not None:
            field = _read(place)
        if field is None:
            (field,) = rotor_fields(kn, drives=(drive,), **asked)
            if place is not None:
                _keep(place, field)
        fields.append(field)
        if progress is not None:
            progress(len(fields), len(numbers), field)
    return fields


def _keep(place: Path, field: RotorField) -> None:
    buffer = io.BytesIO()
    arrays: dict[str, Any] = {one.name: np.asarray(getattr(field, one.name)) for one in dataclass_fields(field)}
    np.savez_compressed(buffer, **arrays)
    place.parent.mkdir(parents=True, exist_ok=True)
    write_whole(place, buffer.getvalue())


def _read(place: Path) -> RotorField | None:
    """Return a stored field, or None if there is none that can be read."""
    try:
        with np.load(place, allow_pickle=False) as stored:
            kept: dict[str, Any] = {one.name: stored[one.name] for one in dataclass_fields(RotorField)}
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        return None
    plain = {name: value.item() for name, value in kept.items() if value.ndim == 0}
    return RotorField(**kept | plain | {"room": (float(kept["room"][0]), float(kept["room"][1]))})


# ---- what is shipped

_PLAIN = ("vanes", "arm", "aspect", "room", "round", "knudsen", "accommodation", "drive", "coefficient", "error")


def pack_rotor(fields: Sequence[RotorField]) -> bytes:
    """Return fields of rotors of two or four vanes in the form in which they are shipped: a quarter of the plane each.

    Each moment is stored as whole numbers, 4095 for its greatest value, along y as differences.
    """
    parts: list[dict[str, Any]] = []
    blobs: list[bytes] = []
    for field in sorted(fields, key=lambda one: one.knudsen):
        n = field.moments.shape[1] // 2
        quarter = field.moments[:, n:, n:]
        sizes = np.nanmax(np.abs(quarter), axis=(1, 2))
        steps = np.where(sizes > 0, sizes / STEPS, 1.0)
        whole = np.round(np.nan_to_num(quarter) / steps[:, None, None]).astype("<i2")
        blobs.append(np.diff(whole, axis=2, prepend=0).astype("<i2").tobytes())
        small = {name: [float(f"{value:.6g}") for value in getattr(field, name)] for name in ("radii", "stress")}
        parts.append({name: getattr(field, name) for name in _PLAIN} | small | {"steps": steps.tolist(), "points": n})
    head = json.dumps(parts).encode()
    return lzma.compress(len(head).to_bytes(4, "little") + head + b"".join(blobs), preset=9 | lzma.PRESET_EXTREME)


def unpack_rotor(content: bytes) -> list[RotorField]:
    """Return the fields of a shipped file."""
    whole = lzma.decompress(content)
    start = 4 + int.from_bytes(whole[:4], "little")
    found = []
    for part in json.loads(whole[4:start]):
        n = part.pop("points")
        end = start + 2 * 6 * n * n
        numbers = np.cumsum(np.frombuffer(whole[start:end], "<i2").reshape(6, n, n).astype(np.int64), axis=2)
        quarter = numbers * np.array(part.pop("steps"))[:, None, None]
        start = end
        if part["round"]:
            at = (np.arange(n) + 0.5) / n
            quarter[:, at[:, None] ** 2 + at[None, :] ** 2 > 1.0] = np.nan
        parity = 1.0 if part["drive"] == "warm" else -1.0
        part["moments"] = _mirrored(_mirrored(quarter, parity, 0), parity, 1)
        part |= {name: np.array(part[name]) for name in ("radii", "stress")}
        found.append(RotorField(**part | {"room": tuple(part["room"])}))
    return found


@lru_cache(maxsize=4)
def shipped_rotor_fields(drive: str = "thermal") -> tuple[RotorField, ...]:
    """Return the shipped fields of a rotor of four square vanes in a cylinder, the densest gas first.

    Its arm is 1.5 widths of a vane, its chamber 5.5 wide and 4 high. None are shipped for ``warm``.
    """
    option_of(DRIVES, drive, "drive")
    place = files("edgewind.report.film") / "fields" / f"rotor-{drive}.fields"
    return tuple(unpack_rotor(place.read_bytes())) if place.is_file() else ()
