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
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.constants import Stefan_Boltzmann
from scipy.interpolate import PchipInterpolator
from threadpoolctl import ThreadpoolController

from edgewind.bench.vane import AREA_SHARE, MEAN_SQUARE_OFFSET, VaneShape, vane_rim
from edgewind.errors import OutOfRangeError
from edgewind.kinetics import ResponseTable, RotorRatios, chamber_ratios, thickness_ratios, wall_law_error
from edgewind.kinetics.hard_spheres import equation_error
from edgewind.kinetics.internal_energy import internal_energy_error
from edgewind.kinetics.rotor_table import ARMS, ASPECTS, CHAMBERS, DIFFUSE, VANES, place_of
from edgewind.rotor.drag import FREE_MOLECULAR_DRAG
from edgewind.rotor.film import second_order_error
from edgewind.rotor.neighbours import UNCERTAIN, lost
from edgewind.rotor.parameters import Number, RotorParameters
from edgewind.rotor.response import KINETIC, TableResponse, response_for
from edgewind.rotor.solved import NODES, SOLVED, OwnRotor, kept_answer

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
_NAMES = ("thermal_force", "drag", "heat", "loss")


@dataclass(frozen=True)
class _Table:
    """Coefficients over accommodation and Knudsen number, shapes (m, n); the last column is free flight."""

    values: dict[str, Array]
    share: Array
    error: Array


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
    long = _at_nodes(strip)
    part, fading = aspect**-_ASPECT_POWER, 4 / aspect * (1 - 1 / aspect)
    beside = {key: fading * _beside(key, tuple(kn)) for key in _NAMES}
    values = {
        key: np.exp((1 - part) * np.log(long.values[key]) + part * np.log(finite.values[key]) + beside[key])
        for key in _NAMES
    }
    share = (1 - part) * long.share + part * finite.share
    both = [np.abs(np.log(finite.values[key] / long.values[key]))[-1, :-1] for key in ("thermal_force", "drag")]
    between = _ASPECT_ERROR * 4 * part * (1 - part) * min(1.0, 2 * abs(math.log2(aspect) - 1))
    error = np.hypot(finite.error, between * np.maximum(*both))
    good = 100 * float(np.max(error[kn > 0.05]))
    size = f"{1e3 * width_m:.4g} by {1e3 * height_m:.4g} mm"
    found = TableResponse(
        kn,
        alphas,
        {key: value[:, :-1] for key, value in values.items()} | {"area_share": share[:, :-1]},
        {key: value[:, -1] for key, value in values.items()} | {"area_share": share[:, -1]},
        error,
        source=(
            f"edgewind.kinetics, Shakhov model, Maxwell walls: a {shape} of {size} by the tables of {name} and strip, "
            f"in a chamber {room:.3g} times as wide; good to {good:.2g} % above Kn 0.05"
        ),
    )
    found = _as_built(found, thickness_m / length, rim, chamber, room, faces)
    return _over_width(found, length / width_m, found.source)


def _as_built(
    found: TableResponse, thickness: float, rim: float, chamber: float, room: float, share: float
) -> TableResponse:
    """Return the response with the thickness of the vane and the accommodation of the chamber."""
    if thickness == 0.0 and chamber == 1.0:
        return found
    kn, alphas = found.knudsen, found.accommodation
    table = _at_nodes(found)
    at = (alphas[:, None], np.append(kn, np.inf)[None, :])
    thick = thickness_ratios(thickness, *at, rim=rim)
    mirrored = (
        dict.fromkeys(KINETIC.values(), np.ones((1, kn.size + 1)))
        if chamber == 1.0
        else chamber_ratios(chamber, *at, room=room, share=share)
    )
    values = {key: table.values[key] * thick[of] * mirrored[of] for key, of in KINETIC.items() if key in _NAMES}
    unsure = [
        part * np.max([np.abs(np.log(ratios[KINETIC[key]])) for key in ("thermal_force", "drag")], axis=(0, 1))[:-1]
        for part, ratios in ((_THICKNESS_ERROR * min(rim - 1.0, 1.0), thick), (_CHAMBER_ERROR, mirrored))
    ]
    return TableResponse(
        kn,
        alphas,
        {key: value[:, :-1] for key, value in values.items()} | {"area_share": table.share[:, :-1]},
        {key: value[:, -1] for key, value in values.items()} | {"area_share": table.share[:, -1]},
        np.sqrt(table.error**2 + unsure[0] ** 2 + unsure[1] ** 2 + (_CHAMBER_LEAST * (1.0 / chamber - 1.0)) ** 2),
        source=f"{found.source}; {thickness:.3g} times as thick as wide, accommodation of the chamber {chamber:.3g}",
    )


@lru_cache(maxsize=8)
def _beside(key: str, kn: tuple[float, ...]) -> Array:
    """Return the logarithm of the table of aspect 2 over that power law; free flight last."""
    strip, square, twice = (
        np.log(ResponseTable.standard(name, room=_ROOM, aspect=aspect).coefficient(KINETIC[key], np.array([*kn, 1e12])))
        for name, aspect in (("strip", 1.0), ("square", 1.0), ("rectangle", 2.0))
    )
    part = 2.0**-_ASPECT_POWER
    return np.asarray(twice - (1 - part) * strip - part * square)


def _finite(name: str, room: float, kn: Array, alphas: Array) -> _Table:
    """Return a square, disc or diamond in a cube of `room` times its length."""
    table = _of_shape(name, tuple(kn), tuple(alphas))
    moved = _to_room(table.values, np.append(kn, 1e12), room, math.pi / 4 if name == "disc" else 1.0)
    change = np.abs(np.log(moved["drag"] / table.values["drag"]))[-1, :-1]
    return _Table(moved, table.share, np.hypot(table.error, _ROOM_ERROR * change))


# A search, or a slider of the pages, needs one shape at the same places thousands of times.
@lru_cache(maxsize=16)
def _of_shape(name: str, kn: tuple[float, ...], alphas: tuple[float, ...]) -> _Table:
    """Return a square, disc or diamond in the room of its table."""
    tables = [ResponseTable.standard(name, room=_ROOM, accommodation=alpha) for alpha in alphas]
    at, finite = np.array([*kn, 1e12]), np.array(kn)
    values = {key: np.array([table.coefficient(KINETIC[key], at) for table in tables]) for key in _NAMES}
    known = [
        table.error(KINETIC[key], finite) / one[:-1]
        for key in _NAMES
        for table, one in zip(tables, values[key], strict=True)
    ]
    return _Table(values, np.array([table.area_share(at) for table in tables]), np.max(known, axis=0))


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


def _at_nodes(response: TableResponse) -> _Table:
    """Return a response at its nodes, with free flight as the last column."""
    at = response.nodes()
    return _Table({key: at[key] for key in _NAMES}, at["area_share"], response.relative_error(response.knudsen))


def _over_width(found: TableResponse, ratio: float, source: str) -> TableResponse:
    """Return the response over the Knudsen number of the width; `ratio` is the table's length over the width."""
    if ratio == 1.0 and source == found.source:
        return found
    kn, alphas = found.knudsen, found.accommodation
    table = _at_nodes(found)
    values = table.values | {"area_share": table.share}
    return TableResponse(
        kn * ratio,
        alphas,
        {key: value[:, :-1] for key, value in values.items()},
        {key: value[:, -1] for key, value in values.items()},
        table.error,
        source=source,
    )


def rotor_response(
    shape: VaneShape,
    width_m: float,
    height_m: float,
    room_m: float,
    vanes: int,
    arm_m: float,
    *,
    thickness_m: float = 0.0,
    chamber_accommodation: float = 1.0,
    chamber_height_m: float | None = None,
) -> TableResponse:
    """Return the response of the gas for one vane of a rotor, all vanes and the chamber taken together.

    Two to four rectangular vanes of height/width 0.5 to 2 and arms up to six widths have the coefficients of whole
    rotors, computed as such (see `RotorRatios`), three from those of two and four. A rotor outside the tables that was
    solved (:mod:`edgewind.rotor.solved`) has its own. Others have those of the lone vane with the correction of
    `neighbours`, half of which is in their error.

    Parameters
    ----------
    shape, width_m, height_m, thickness_m, chamber_accommodation
        As for :func:`shaped_response`.
    room_m : float
        Width of the chamber, m; where `chamber_height_m` is left out, its height, too.
    vanes : int
        Number of vanes; 1 is the lone vane.
    arm_m : float
        From the axis to the middle of a vane, m.
    chamber_height_m : float, optional
        Height of the chamber, m.
    """
    height = room_m if chamber_height_m is None else chamber_height_m
    own = None
    if vanes in SOLVED and shape != "diamond":
        own = OwnRotor(shape, vanes, arm_m / width_m, height_m / width_m, room_m / width_m, height / width_m)
    # Whether it was solved is part of the key, since it may be solved later.
    solved = own is not None and own.why_outside() is not None and kept_answer(own) is not None
    about = (shape, width_m, height_m, room_m, vanes, arm_m, thickness_m, chamber_accommodation, height)
    found = _rotor_response(*about, own if solved else None)
    if abs(math.log(height / room_m)) > _BULB_HEIGHT:
        return found

    def bulb() -> dict[str, Array]:
        return bulb_error(shape, width_m, height_m, room_m, vanes, arm_m, chamber_height_m=height)

    return found.less_certain(bulb, together=True)


# A sphere has 2/3 of the volume of a cylinder as wide and as high, but it lacks the corners, farthest from the
# vanes: it acts as a cylinder narrower by half of that. Stokes flow by finite elements about four vanes in both (arm of
# 1.5 widths, 1.25 times as wide as the rotor; benchmarks/bench_dense_gas.py): 6.4 % more drag, and 8 % by this rule.
_BULB = (2.0 / 3.0) ** (1.0 / 6.0)
# Chambers about as high as wide may be bulbs; the bench does not say.
_BULB_HEIGHT = 0.1
# Largest change of the drag by a sphere, free flight by rays about rotors of four in three spheres; force and heat
# depend on the vanes alone there.
_BULB_FREE = 0.014


def bulb_error(
    shape: VaneShape,
    width_m: float,
    height_m: float,
    room_m: float,
    vanes: int,
    arm_m: float,
    *,
    chamber_height_m: float | None = None,
) -> dict[str, Array]:
    """Return the relative error of taking a bulb for a cylinder as wide and as high, over the nodes of the response.

    It is the difference of the coefficients in a chamber 7 % wider, by kinetic name, shapes (n,); of the drag at least
    the result of rays about rotors in spheres in free flight.

    Parameters
    ----------
    shape, width_m, height_m, room_m, vanes, arm_m, chamber_height_m
        As for :func:`rotor_response`.
    """
    height = room_m if chamber_height_m is None else chamber_height_m
    arm, aspect = arm_m / width_m, height_m / width_m
    kn = shaped_response(shape, width_m, height_m, min(room_m, height)).knudsen

    def within(size: float) -> dict[str, Array]:
        if _in_tables(shape, vanes, arm, aspect):
            lengths = (size * room_m / width_m, size * height / width_m)
            whole = _of_tables(vanes, arm, aspect, *lengths, kn, np.ones(1))
            return {key: whole[key][0, :-1] for key in _NAMES}
        found = _rotor_response(
            shape, width_m, height_m, size * room_m, vanes, arm_m, 0.0, 1.0, size * height, None
        ).at(kn, 1.0)  # fmt: skip
        return {key: getattr(found, key) for key in _NAMES}

    # wider, since a chamber may be too narrow for its rotor otherwise
    here, wider = within(1.0), within(1.0 / _BULB)
    moved = {KINETIC[key]: np.abs(np.log(here[key] / wider[key])) for key in _NAMES}
    moved["drag"] = np.maximum(moved["drag"], _BULB_FREE)
    return moved


@lru_cache(maxsize=64)
def _rotor_response(
    shape: VaneShape,
    width_m: float,
    height_m: float,
    room_m: float,
    vanes: int,
    arm_m: float,
    thickness_m: float,
    chamber_accommodation: float,
    height: float,
    own: OwnRotor | None,
) -> TableResponse:
    about = (shape, width_m, height_m, min(room_m, height))
    alone = shaped_response(*about, thickness_m=thickness_m, chamber_accommodation=chamber_accommodation)
    kn, alphas = alone.knudsen, alone.accommodation
    table = _at_nodes(alone)
    values = table.values | {"area_share": table.share}
    arm, aspect = arm_m / width_m, height_m / width_m
    errors: Array | Callable[[], Array] = table.error
    source = alone.source
    if vanes < 2:
        pass
    elif own is not None:
        plain = _at_nodes(shaped_response(*about))
        whole, error = _own(own, plain, kn)
        values |= {key: whole[key] * table.values[key] for key in _NAMES}
        errors = np.hypot(error, np.abs(np.log(table.values["drag"] / plain.values["drag"]))[-1, :-1] * _CARRIED)
        source = f"edgewind.kinetics, Shakhov model, Maxwell walls: this rotor of {vanes} vanes, solved for itself"
    elif _in_tables(shape, vanes, arm, aspect):
        plain = _at_nodes(shaped_response(*about))
        described = (vanes, arm, aspect, room_m / width_m, height / width_m, kn, alphas)
        whole = _of_tables(*described)
        values |= {key: whole[key] * table.values[key] / plain.values[key] for key in _NAMES}
        carried = np.abs(np.log(table.values["drag"] / plain.values["drag"]))[-1, :-1] * _CARRIED

        def error_of_rotor() -> Array:
            # The part of the lone vane's error due to its room does not apply to the rotor.
            return np.asarray(np.hypot(_error_of_tables(*described), carried))

        errors = error_of_rotor
        between = ", interpolated between those of 2 and 4," if vanes not in VANES else ""
        rotor = f"a whole rotor of {vanes} vanes{between} in a round chamber"
        source = f"edgewind.kinetics, Shakhov model, Maxwell walls: {rotor}"
    else:
        force, drag = lost(np.append(kn, 1e12), vanes, arm)
        values |= {"thermal_force": values["thermal_force"] * (1 - force), "drag": values["drag"] * (1 - drag)}
        errors = np.hypot(table.error, UNCERTAIN * np.maximum(force, drag)[:-1])
        source = f"{alone.source}; one of {vanes} vanes, what the others take corrected for and half of it uncertain"
    return TableResponse(
        kn,
        alphas,
        {key: value[:, :-1] for key, value in values.items()},
        {key: value[:, -1] for key, value in values.items()},
        errors,
        source=source,
    ).less_certain(lambda: equation_error(kn))


def _in_tables(shape: VaneShape, vanes: int, arm: float, aspect: float) -> bool:
    """Return whether rotors of these vanes are in the tables of whole rotors; lengths over the width."""
    return shape == "rectangle" and 2 <= vanes <= 4 and arm <= _LONGEST_ARM and ASPECTS[0] <= aspect <= ASPECTS[1]


@cache
def _linear_algebra() -> ThreadpoolController:
    """Return the handle on the threads of linear algebra: to find them takes longer than the computation."""
    return ThreadpoolController()


def _of_tables(
    vanes: int, arm: float, aspect: float, width: float, height: float, kn: Array, alphas: Array
) -> dict[str, Array]:
    """Return the coefficients as in :func:`_whole`, also for three vanes."""
    about = (arm, aspect, width, height, kn, alphas)
    # The matrices are small: threads of the linear algebra would slow each other down.
    with _linear_algebra().limit(limits=1, user_api="blas"):
        if vanes in VANES:
            return _whole(vanes, *about)
        two, four = (_whole(number, *about) for number in VANES)
    dense = 1.0 / (1.0 + np.append(kn, np.inf) / _THREE_BEND)
    shares = {key: free + (thick - free) * dense for key, (free, thick) in _OF_FOUR.items()}
    return {key: value * np.exp(shares[key] * np.log(four[key] / value)) for key, value in two.items()}


# Three vanes lie between two and four: the share of four in the logarithm of each coefficient, in free flight and in
# dense gas, and the Knudsen number in the middle. From rotors of two, three and four by rays in free flight, which it
# meets within 0.5 %, and solved on the coarsest level at Kn 1 to 0.04 in two chambers, within 1.4 %; and the share
# of the difference of two and four that is taken as the error, our judgement.
_OF_FOUR = {"thermal_force": (0.25, 0.54), "drag": (0.4, 0.53), "heat": (0.3, 0.35), "loss": (0.3, 0.45)}
_THREE_BEND = 0.8
_THREE_ERROR = 0.1


def _error_of_tables(
    vanes: int, arm: float, aspect: float, width: float, height: float, kn: Array, alphas: Array
) -> Array:
    """Return the relative error (n,) of :func:`_of_tables`, which costs more than the coefficients."""
    about = (arm, aspect, width, height, kn, alphas)
    with _linear_algebra().limit(limits=1, user_api="blas"):
        if vanes in VANES:
            return _whole_error(vanes, *about)
        two, four = (_whole(number, *about) for number in VANES)
        worst = np.maximum(*(_whole_error(number, *about) for number in VANES))
    most = np.max([np.abs(np.log(four[key] / two[key])).max(axis=0) for key in two], axis=0)
    return np.asarray(np.hypot(worst, _THREE_ERROR * most[:-1]))


# Error of applying ratios at full accommodation to lower ones, and of the cubic between the nodes. Our judgement.
_OWN_ERROR = 0.01


def _own(own: OwnRotor, plain: _Table, kn: Array) -> tuple[dict[str, Array], Array]:
    """Return the ratios of a solved rotor to the lone vane, shapes (n + 1,), and their error (n,)."""
    answer = kept_answer(own)
    assert answer is not None
    nodes, at = place_of(np.array(NODES)), place_of(np.append(kn, np.inf))
    order = np.argsort(nodes)
    lone = {key: PchipInterpolator(at, np.log(plain.values[key][-1])) for key in _NAMES}
    square = MEAN_SQUARE_OFFSET["disc" if own.shape == "disc" else "rectangle"] / own.arm**2
    whole, worst = {}, np.zeros(at.size)
    for key, name in _ROTOR.items():
        logs = np.log(answer[name]) - lone[key](np.clip(nodes, at[0], at[-1]))
        if key == "drag":
            logs = logs - np.log(1.0 + square)
        curve = PchipInterpolator(nodes[order], logs[order])
        # Beyond the densest solved gas the ratio is constant; half of its change over the solved range is its error.
        inside = np.maximum(at, nodes[order][0])
        whole[key] = np.exp(curve(inside))
        below = np.maximum(inside - at, 0.0) * abs(float(curve(nodes[order][0], 1)))
        own_error = np.interp(inside, nodes[order], answer[f"{name}_error"][order])
        worst = np.maximum(worst, np.hypot(own_error, 0.5 * below))
    return whole, np.hypot(worst, _OWN_ERROR)[:-1]


# Share of the effect of thickness and specular chamber walls on the drag of a rotor that is taken as its error: both
# were computed for lone vanes.
_CARRIED = 0.25
# A chamber of another height than width acts on torque and drag as one of width^(5/6) height^(1/6), on heat as one of
# width^(2/3) height^(1/3): four square vanes, arm 1.5, computed in chambers 5 and 8 wide and half as high.
_HEIGHT_POWER = {"torque": 1.0 / 6.0, "drag": 1.0 / 6.0, "heat_apart": 1.0 / 3.0, "loss": 1.0 / 3.0}
_HEIGHT_ERROR = 0.5
_ROTOR = {"thermal_force": "torque", "drag": "drag", "heat": "heat_apart", "loss": "loss"}


def _whole(
    vanes: int, arm: float, aspect: float, width: float, height: float, kn: Array, alphas: Array
) -> dict[str, Array]:
    """Return the coefficients of a whole rotor, shapes (m, n + 1) with free flight last.

    The drag is per unit of the mean square of the radius instead of that of the middle, as for the lone vane.
    """
    square = _of_shape("square", tuple(kn), tuple(alphas))
    diffuse, place = _diffuse(alphas)
    whole = {
        key: _ratio(name, vanes, arm, aspect, width, height, kn, diffuse)[place] * square.values[key]
        for key, name in _ROTOR.items()
    }
    whole["drag"] = whole["drag"] / (1.0 + 1.0 / (12.0 * _inside(arm, ARMS) ** 2))
    return whole


def _whole_error(vanes: int, arm: float, aspect: float, width: float, height: float, kn: Array, alphas: Array) -> Array:
    """Return the relative error (n,) of the coefficients of a whole rotor."""
    ratios = RotorRatios.standard(vanes)
    wide = width / (2.0 * arm + 1.0)
    taken, chamber = _inside(arm, ARMS), _inside(wide, CHAMBERS)
    # Arms and chambers beyond the tables have the last values, with an error by their distance.
    beyond = _BEYOND_ERROR * math.hypot(math.log(arm / taken), math.log(wide / chamber))
    at, (diffuse, _) = np.append(kn, np.inf)[None, :], _diffuse(alphas)
    worst = np.zeros(kn.size)
    for name in _ROTOR.values():
        own = ratios.error(taken, chamber, aspect, at, diffuse[:, None], (name,))[name]
        if height != width:
            tall, low = (_ratio(name, vanes, arm, aspect, width, one, kn, diffuse) for one in (height, width))
            own = np.hypot(own, _HEIGHT_ERROR * np.log(tall / low))
        worst = np.maximum(worst, np.hypot(own, beyond).max(axis=0)[:-1])
    return worst


def _ratio(
    name: str, vanes: int, arm: float, aspect: float, width: float, height: float, kn: Array, diffuse: Array
) -> Array:
    """Return a coefficient of a rotor over that of the lone vane, a row for each accommodation, free flight last."""
    wide = width / (2.0 * arm + 1.0) * (height / width) ** _HEIGHT_POWER[name]
    taken, chamber, at = _inside(arm, ARMS), _inside(wide, CHAMBERS), np.append(kn, np.inf)[None, :]
    return np.asarray(RotorRatios.standard(vanes).at(taken, chamber, aspect, at, diffuse[:, None], (name,))[name])


def _inside(value: float, ends: tuple[float, ...]) -> float:
    return min(max(value, ends[0]), ends[1])


def _diffuse(alphas: Array) -> tuple[Array, NDArray[np.intp]]:
    """Return accommodations that are in the tables, and the place of each of `alphas` among them.

    Accommodations below the tables change the ratios as little as those within.
    """
    return np.unique(np.maximum(alphas, DIFFUSE[0]), return_inverse=True)


# Relative error per unit of the logarithm of an arm or a chamber beyond the ranges of the tables. Our judgement.
_BEYOND_ERROR = 0.3
_LONGEST_ARM = 6.0


def response_of(rotor: RotorParameters) -> TableResponse:
    """Return the response of the gas for the vanes of a rotor in its chamber, by :func:`rotor_response`."""
    width, height, room, tall, arm, thickness, chamber = (
        float(np.mean(np.asarray(value)))
        for value in (
            rotor.vane_width_m,
            rotor.vane_height_m,
            rotor.chamber_width_m,
            rotor.chamber_height_m,
            rotor.arm_m,
            rotor.vane_thickness_m,
            rotor.chamber_accommodation,
        )
    )
    found = rotor_response(
        rotor.vane_shape, width, height, room, int(rotor.vanes), arm, thickness_m=thickness,
        chamber_accommodation=chamber, chamber_height_m=tall,
    )  # fmt: skip
    # The law of the walls is not known: further error of the force at the measured heat. The
    # tables are those of a monatomic gas.
    kn = found.knudsen
    found = found.less_certain(lambda: wall_law_error(float(np.mean(np.asarray(rotor.accommodation))), kn))
    found = found.less_certain(lambda: internal_energy_error(float(np.mean(np.asarray(rotor.internal_heat))), kn))
    return found.less_certain(lambda: second_order_error(_warmth(rotor, found), kn))


def _warmth(rotor: RotorParameters, response: TableResponse) -> Array:
    """Estimate the excess temperature of the lit vanes over that of the gas at the table's Knudsen numbers (n,). From
    the balance of both faces together, with radiation linear about the envelope; used for an error.
    """

    def mean(value: Number) -> float:
        return float(np.mean(np.asarray(value)))

    gas = response.at(response.knudsen, mean(rotor.accommodation))
    te, v0 = mean(rotor.envelope_temperature_k), mean(rotor.most_probable_speed_m_s)
    pressure = mean(rotor.knudsen(1.0)) / response.knudsen
    light = mean(rotor.irradiance_w_m2 * (rotor.dark_absorptance + rotor.bright_absorptance))
    radiated = 4 * Stefan_Boltzmann * te**3 * mean(rotor.dark_emissivity + rotor.bright_emissivity)
    to_gas = 2 * pressure * v0 / te * gas.loss
    return np.asarray(light * rotor.turn_mean_irradiance / (radiated + to_gas) / te)
