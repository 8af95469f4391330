"""Response of the gas for one vane of a rotor, all vanes and the chamber taken together."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import cache, lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.constants import Stefan_Boltzmann
from scipy.interpolate import PchipInterpolator
from threadpoolctl import ThreadpoolController

from edgewind.bench.vane import MEAN_SQUARE_OFFSET, VaneShape
from edgewind.kinetics import RotorRatios, wall_law_error
from edgewind.kinetics.hard_spheres import equation_error
from edgewind.kinetics.internal_energy import internal_energy_corrections
from edgewind.kinetics.rotor_table import ARMS, ASPECTS, CHAMBERS, DIFFUSE, VANES, place_of
from edgewind.rotor.film import second_order_error
from edgewind.rotor.neighbours import UNCERTAIN, lost
from edgewind.rotor.parameters import Number, RotorParameters
from edgewind.rotor.response import KINETIC, UNEQUAL, TableResponse
from edgewind.rotor.shapes import COEFFICIENTS, NodeTable, at_nodes, of_shape, shaped_response
from edgewind.rotor.solved import NODES, SOLVED, OwnRotor, kept_answer

Array = NDArray[np.float64]


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
        Height of the chamber, m. It is a cylinder, or a cube about a lone vane.
    """
    height = room_m if chamber_height_m is None else chamber_height_m
    own = None
    if vanes in SOLVED and shape != "diamond":
        own = OwnRotor(shape, vanes, arm_m / width_m, height_m / width_m, room_m / width_m, height / width_m)
    # Whether it was solved is part of the key, since it may be solved later.
    solved = own is not None and own.why_outside() is not None and kept_answer(own) is not None
    about = (shape, width_m, height_m, room_m, vanes, arm_m, thickness_m, chamber_accommodation, height)
    return _rotor_response(*about, own if solved else None)


def _bulb_or_cylinder(
    found: TableResponse,
    shape: VaneShape,
    width_m: float,
    height_m: float,
    room_m: float,
    vanes: int,
    arm_m: float,
    height: float,
) -> TableResponse:
    """Return a response half way from a chamber of these measures to a bulb, if it may be one."""
    likely = float(np.clip(2.0 - abs(math.log(height / room_m)) / _BULB_HEIGHT, 0.0, 1.0))
    if likely == 0.0:
        return found
    narrowing = _narrowing(shape, width_m, height_m, room_m, vanes, arm_m, height)
    half = {name: 0.5 * likely * np.log(one) for name, one in narrowing.items()}
    errors = {name: np.abs(one[:-1]) for name, one in half.items()}
    errors["drag"] = np.maximum(errors["drag"], likely * _BULB_FREE)
    moved = found.times({name: np.exp(one) for name, one in half.items()})
    moved.source = f"{found.source}, between a cylinder and a bulb"
    return moved.less_certain(errors, together=True)


# A sphere has 2/3 of the volume of a cylinder as wide and as high, but it lacks the corners, farthest from the
# vanes: it acts as a cylinder narrower by half of that. Stokes flow by finite elements about four vanes in both (arm of
# 1.5 widths, 1.25 times as wide as the rotor; benchmarks/bench_dense_gas.py): 6.4 % more drag, and 8 % by this rule.
_BULB = (2.0 / 3.0) ** (1.0 / 6.0)
# Chambers as high as wide, within this logarithm, may be bulbs or cylinders; the bench does not say. The response is
# that half way between, and the distance from either is its error. Both fade out to twice the logarithm.
_BULB_HEIGHT = 0.1
# Largest change of the drag by a sphere, free flight by rays about rotors of four in three spheres; force and heat
# depend on the vanes alone there. Its sign differs, so it is an error of either chamber.
_BULB_FREE = 0.014


# A search, or a slider of the pages, asks again.
@lru_cache(maxsize=64)
def _narrowing(
    shape: VaneShape, width_m: float, height_m: float, room_m: float, vanes: int, arm_m: float, height: float
) -> dict[str, Array]:
    """Return the coefficients in a chamber over those in one 7 % wider and higher, which is as a bulb to a cylinder.

    By kinetic name, shapes (n + 1,) with free flight last. Wider, since a chamber may be too narrow for its rotor
    otherwise.
    """
    arm, aspect = arm_m / width_m, height_m / width_m
    kn = shaped_response(shape, width_m, height_m, min(room_m, height)).knudsen

    def within(size: float) -> dict[str, Array]:
        if _in_tables(shape, vanes, arm, aspect):
            lengths = (size * room_m / width_m, size * height / width_m)
            whole = _of_tables(vanes, arm, aspect, *lengths, kn, np.ones(1))
            return {key: whole[key][0] for key in COEFFICIENTS}
        found = _rotor_response(
            shape, width_m, height_m, size * room_m, vanes, arm_m, 0.0, 1.0, size * height, None
        ).nodes()  # fmt: skip
        return {key: found[key][-1] for key in COEFFICIENTS}

    here, wider = within(1.0), within(1.0 / _BULB)
    return {KINETIC[key]: here[key] / wider[key] for key in COEFFICIENTS}


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
    table = at_nodes(alone)
    values = dict(table.values)
    arm, aspect = arm_m / width_m, height_m / width_m
    errors: Array | Callable[[], Array] = table.error
    source = alone.source
    if vanes < 2:
        pass
    elif own is not None:
        plain = at_nodes(shaped_response(*about))
        whole, error = _own(own, plain, kn)
        values |= {key: whole[key] * table.values[key] for key in COEFFICIENTS}
        errors = np.hypot(error, np.abs(np.log(table.values["drag"] / plain.values["drag"]))[-1, :-1] * _CARRIED)
        source = f"edgewind.kinetics, Shakhov model, Maxwell walls: this rotor of {vanes} vanes, solved for itself"
    elif _in_tables(shape, vanes, arm, aspect):
        plain = at_nodes(shaped_response(*about))
        described = (vanes, arm, aspect, room_m / width_m, height / width_m, kn, alphas)
        whole = _of_tables(*described)
        values |= {key: whole[key] * table.values[key] / plain.values[key] for key in COEFFICIENTS}
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
    found = replace(table, values=values).response(kn, alphas, source, errors)
    return found.less_certain(lambda: equation_error(kn))


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


def _own(own: OwnRotor, plain: NodeTable, kn: Array) -> tuple[dict[str, Array], Array]:
    """Return the ratios of a solved rotor to the lone vane, shapes (n + 1,), and their error (n,)."""
    answer = kept_answer(own)
    assert answer is not None
    nodes, at = place_of(np.array(NODES)), place_of(np.append(kn, np.inf))
    order = np.argsort(nodes)
    lone = {key: PchipInterpolator(at, np.log(plain.values[key][-1])) for key in COEFFICIENTS}
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
    square = of_shape("square", tuple(kn), tuple(alphas))
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
    """Return the response of the gas for the vanes of a rotor in its chamber.

    That of :func:`rotor_response`, corrected for what a bench does not say or the tables lack: half way to a bulb if
    the chamber is as high as it is wide, and the internal energy of the molecules. Half of a correction is its error.
    """
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
    found = _bulb_or_cylinder(found, rotor.vane_shape, width, height, room, int(rotor.vanes), arm, tall)
    # The law of the walls is not known: further error of the force at the measured heat.
    kn, alpha = found.knudsen, float(np.mean(np.asarray(rotor.accommodation)))
    found = found.less_certain(lambda: wall_law_error(alpha, kn))
    # The tables are those of a monatomic gas.
    inner, eucken = (float(np.mean(np.asarray(one))) for one in (rotor.internal_heat, rotor.translational_eucken))
    if inner:
        logs = internal_energy_corrections(inner, eucken, np.append(kn, np.inf), found.accommodation[:, None])
        found = found.times({name: np.exp(log) for name, log in logs.items()})
        half = {name: 0.5 * np.abs(log) for name, log in internal_energy_corrections(inner, eucken, kn, alpha).items()}
        found = found.less_certain(half | {UNEQUAL: half["apparent"]})
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
