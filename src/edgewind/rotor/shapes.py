"""Response of the gas for a vane of any outline, from the tables of squares, discs, diamonds and the strip.

All are computed over accommodation and Knudsen number, the vanes of finite height in a room of four widths, a cube
that re-emits diffusely. They are converted to the chamber, its accommodation and the thickness of the vanes
(:mod:`edgewind.kinetics.ratios`). Free flight and dense gas are like two resistances in series, ``1/C = 1/C_free +
1/C_dense``, so a wall that changes one of them changes 1/C by as much:

- dense gas, drag: the walls of a container add ``k F/(6 pi mu U l)`` to the velocity that a force F makes (Brenner, J.
  Fluid Mech. 12, 35, 1962, for a particle of any shape far from the walls; Happel and Brenner, Low Reynolds Number
  Hydrodynamics, 1973, chapter 7), l half the width of the chamber, k of a cube;
- dense gas, heat: the potential at a charge in the middle of a grounded cube of side s is lower by 1.7476/s than
  without walls, since its images are the ions of rock salt (Madelung's constant);
- free flight: the drag added by the walls falls with the square of their distance;
- the thermal force goes as the drag, as the walls of dense gas change it, to the power 0.93 (reciprocal theorem: creep
  along the edge acts on the vane through the stress of its own motion there).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from edgewind.bench.vane import AREA_SHARE, VaneShape, vane_rim
from edgewind.errors import OutOfRangeError
from edgewind.kinetics import ResponseTable, chamber_ratios, thickness_ratios
from edgewind.rotor.drag import FREE_MOLECULAR_DRAG
from edgewind.rotor.response import KINETIC, TableResponse, response_for

Array = NDArray[np.float64]

# Room of the tables, sides over the width of the vane.
_ROOM = 4.0
# The laws above hold far from the walls; what follows is fitted to squares computed in a room of eight widths at
# Knudsen numbers of 0.1, 0.3 and 1 (tolerance 0.02), which they then meet within 1 %.
# Wall constant of a cube about half its side; far away a sphere about it has 9/4 and a square duct 1.90.
WALL_CONSTANT = 1.7
# Share of Madelung's constant that applies to a vane a quarter as wide as the cube.
HEAT_SHARE = 0.93
MADELUNG = 1.7475646
# Slip and jump at the walls act as a larger distance, in equivalent free paths (together, over the width of the room).
_SLIP, _JUMP = 1.6, 2.8
_FORCE_POWER = 0.93
# The logarithm of a coefficient of a rectangle lies between those of strip and square by short over long side to this
# power, and as much beside it as the table of aspect 2 does, fading out towards both.
_ASPECT_POWER = 0.62
# Shares of the corrections that are taken as their error: rectangles of aspect 1.4 and 4 compared with the solver; the
# accommodation of the chamber, squares in a cube; the thickness of a vane with corners or a round rim, our judgement.
_ROOM_ERROR, _ASPECT_ERROR, _CHAMBER_ERROR, _THICKNESS_ERROR = 0.1, 0.25, 0.5, 0.25
# Slip at the walls of the chamber, which squares in a cube of four feel more than strips do: per 1/accommodation - 1.
_CHAMBER_LEAST = 0.015
# Vanes longer than this against their shorter side are strips.
LONG = 20.0
_LEAST_ROOM = 2.5
COEFFICIENTS = ("thermal_force", "drag", "heat", "loss")


@dataclass(frozen=True)
class NodeTable:
    """Coefficients over accommodation and Knudsen number, shapes (m, n); the last column is free flight."""

    values: dict[str, Array]
    share: Array
    error: Array

    def response(
        self, kn: Array, alphas: Array, source: str, error: Array | Callable[[], Array] | None = None
    ) -> TableResponse:
        """Return the response over these Knudsen numbers and accommodations, with another error if it is given."""
        values = self.values | {"area_share": self.share}
        thick, free = ({key: value[:, part] for key, value in values.items()} for part in (slice(-1), -1))
        return TableResponse(kn, alphas, thick, free, self.error if error is None else error, source=source)


def shaped_response(
    shape: VaneShape,
    width_m: float,
    height_m: float,
    room_m: float,
    *,
    thickness_m: float = 0.0,
    chamber_accommodation: float = 1.0,
) -> TableResponse:
    """Return the response of the gas for a vane in a chamber, over the Knudsen number of the vane's width.

    Parameters
    ----------
    shape : {"rectangle", "disc", "diamond"}
        Its outline.
    width_m, height_m : float
        Extents across its middle, m; equal for a disc or diamond.
    room_m : float
        Width of the chamber, m, or its height if that is less.
    thickness_m : float
        Thickness of the vane, m.
    chamber_accommodation : float
        Share of molecules that the chamber re-emits diffusely.

    Raises
    ------
    OutOfRangeError
        A chamber little wider than the vane, a vane more than half as thick as wide, or an accommodation of the
        chamber outside its table.
    """
    return _shaped_response(shape, width_m, height_m, room_m, thickness_m, chamber_accommodation)


@lru_cache(maxsize=64)
def _shaped_response(
    shape: VaneShape, width_m: float, height_m: float, room_m: float, thickness_m: float, chamber: float
) -> TableResponse:
    if shape == "rectangle":
        length, aspect = min(width_m, height_m), max(width_m, height_m) / min(width_m, height_m)
        name = "square"
    else:
        length, aspect, name = width_m / (math.sqrt(2.0) if shape == "diamond" else 1.0), 1.0, shape
    room = room_m / length
    if room < _LEAST_ROOM * 0.8:
        raise OutOfRangeError(
            f"a chamber of {1e3 * room_m:.4g} mm is too narrow for a vane of {1e3 * length:.4g} mm",
            key="chamber.width",
            fix="describe a chamber of at least two widths of the vane",
        )
    strip = response_for(room)
    area = AREA_SHARE[shape] * width_m * height_m
    rim = 1.0 if aspect >= LONG else vane_rim(shape, width_m, height_m) * length / (2.0 * area)
    faces = 1.0 / (2.0 * room) if aspect >= LONG else area / (3.0 * room_m**2)
    if aspect >= LONG:
        found = _as_built(strip, thickness_m / length, rim, chamber, room, faces)
        return _over_width(found, length / width_m, found.source)
    kn, alphas = strip.knudsen, strip.accommodation
    finite = _finite(name, max(room, _LEAST_ROOM), kn, alphas)
    long = at_nodes(strip)
    part, fading = aspect**-_ASPECT_POWER, 4 / aspect * (1 - 1 / aspect)
    beside = {key: fading * _beside(key, tuple(kn)) for key in COEFFICIENTS}
    values = {
        key: np.exp((1 - part) * np.log(long.values[key]) + part * np.log(finite.values[key]) + beside[key])
        for key in COEFFICIENTS
    }
    share = (1 - part) * long.share + part * finite.share
    both = [np.abs(np.log(finite.values[key] / long.values[key]))[-1, :-1] for key in ("thermal_force", "drag")]
    between = _ASPECT_ERROR * 4 * part * (1 - part) * min(1.0, 2 * abs(math.log2(aspect) - 1))
    error = np.hypot(finite.error, between * np.maximum(*both))
    good = 100 * float(np.max(error[kn > 0.05]))
    size = f"{1e3 * width_m:.4g} by {1e3 * height_m:.4g} mm"
    found = NodeTable(values, share, error).response(kn, alphas, (
        f"edgewind.kinetics, Shakhov model, Maxwell walls: a {shape} of {size} by the tables of {name} and strip, "
        f"in a chamber {room:.3g} times as wide; good to {good:.2g} % above Kn 0.05"
    ))  # fmt: skip
    found = _as_built(found, thickness_m / length, rim, chamber, room, faces)
    return _over_width(found, length / width_m, found.source)


def _as_built(
    found: TableResponse, thickness: float, rim: float, chamber: float, room: float, share: float
) -> TableResponse:
    """Return the response with the thickness of the vane and the accommodation of the chamber."""
    if thickness == 0.0 and chamber == 1.0:
        return found
    kn, alphas = found.knudsen, found.accommodation
    table = at_nodes(found)
    at = (alphas[:, None], np.append(kn, np.inf)[None, :])
    thick = thickness_ratios(thickness, *at, rim=rim)
    mirrored = (
        dict.fromkeys(KINETIC.values(), np.ones((1, kn.size + 1)))
        if chamber == 1.0
        else chamber_ratios(chamber, *at, room=room, share=share)
    )
    values = {key: table.values[key] * thick[of] * mirrored[of] for key, of in KINETIC.items() if key in COEFFICIENTS}
    unsure = [
        part * np.max([np.abs(np.log(ratios[KINETIC[key]])) for key in ("thermal_force", "drag")], axis=(0, 1))[:-1]
        for part, ratios in ((_THICKNESS_ERROR * min(rim - 1.0, 1.0), thick), (_CHAMBER_ERROR, mirrored))
    ]
    error = np.sqrt(table.error**2 + unsure[0] ** 2 + unsure[1] ** 2 + (_CHAMBER_LEAST * (1.0 / chamber - 1.0)) ** 2)
    source = f"{found.source}; {thickness:.3g} times as thick as wide, accommodation of the chamber {chamber:.3g}"
    return NodeTable(values, table.share, error).response(kn, alphas, source)


@lru_cache(maxsize=8)
def _beside(key: str, kn: tuple[float, ...]) -> Array:
    """Return the logarithm of the table of aspect 2 over that power law; free flight last."""
    strip, square, twice = (
        np.log(ResponseTable.standard(name, room=_ROOM, aspect=aspect).coefficient(KINETIC[key], np.array([*kn, 1e12])))
        for name, aspect in (("strip", 1.0), ("square", 1.0), ("rectangle", 2.0))
    )
    part = 2.0**-_ASPECT_POWER
    return np.asarray(twice - (1 - part) * strip - part * square)


def _finite(name: str, room: float, kn: Array, alphas: Array) -> NodeTable:
    """Return a square, disc or diamond in a cube of `room` times its length."""
    table = of_shape(name, tuple(kn), tuple(alphas))
    moved = _to_room(table.values, np.append(kn, 1e12), room, math.pi / 4 if name == "disc" else 1.0)
    change = np.abs(np.log(moved["drag"] / table.values["drag"]))[-1, :-1]
    return NodeTable(moved, table.share, np.hypot(table.error, _ROOM_ERROR * change))


# A search, or a slider of the pages, needs one shape at the same places thousands of times.
@lru_cache(maxsize=16)
def of_shape(name: str, kn: tuple[float, ...], alphas: tuple[float, ...]) -> NodeTable:
    """Return a square, disc or diamond in the room of its table."""
    tables = [ResponseTable.standard(name, room=_ROOM, accommodation=alpha) for alpha in alphas]
    at, finite = np.array([*kn, 1e12]), np.array(kn)
    values = {key: np.array([table.coefficient(KINETIC[key], at) for table in tables]) for key in COEFFICIENTS}
    known = [
        table.error(KINETIC[key], finite) / one[:-1]
        for key in COEFFICIENTS
        for table, one in zip(tables, values[key], strict=True)
    ]
    return NodeTable(values, np.array([table.area_share(at) for table in tables]), np.max(known, axis=0))


def _to_room(values: dict[str, Array], kn: Array, room: float, area: float) -> dict[str, Array]:
    """Convert coefficients from the room of the tables to another; `area` is that of the vane over length squared."""
    ell = 2 / math.sqrt(math.pi) * kn

    def nearer(further: float) -> Array:
        return np.asarray(area * (1 / (_ROOM + further * ell) - 1 / (room + further * ell)))

    free = values["drag"][:, -1:]
    # For Maxwell walls with specular shares the excess over the unbounded vane is unknown: that of full
    # accommodation is moved.
    excess = float(values["drag"][-1, -1]) - FREE_MOLECULAR_DRAG
    free_moved = free + excess * ((_ROOM / room) ** 2 - 1)
    # 1/C of the drag grows by k/(3 pi) / ell; of each face's heat by 1.7476/(2 pi) over the conductivity, (15/8) ell.
    dense = 1 / (1 / values["drag"] + WALL_CONSTANT / (3 * math.pi) * nearer(_SLIP) / ell)
    drag = 1 / (1 / dense + 1 / free_moved - 1 / free)
    wall = HEAT_SHARE * MADELUNG / (2 * math.pi)
    loss = 1 / (1 / values["loss"] + wall * nearer(_JUMP) / (15 / 8 * ell))
    force = values["thermal_force"] * (dense / values["drag"]) ** _FORCE_POWER
    return {"thermal_force": force, "drag": drag, "heat": values["heat"], "loss": loss}


def at_nodes(response: TableResponse) -> NodeTable:
    """Return a response at its nodes, with free flight as the last column."""
    at = response.nodes()
    return NodeTable(
        {key: at[key] for key in COEFFICIENTS}, at["area_share"], response.relative_error(response.knudsen)
    )


def _over_width(found: TableResponse, ratio: float, source: str) -> TableResponse:
    """Return the response over the Knudsen number of the width; `ratio` is the table's length over the width."""
    if ratio == 1.0 and source == found.source:
        return found
    return at_nodes(found).response(found.knudsen * ratio, found.accommodation, source)
