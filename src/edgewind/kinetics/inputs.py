"""Validation of the input of the solver before any work is done."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from edgewind.errors import InputError, OutOfRangeError
from edgewind.kinetics.geometry import Room, Shape
from edgewind.kinetics.polyatomic import InternalEnergy
from edgewind.kinetics.room_operator import Walls
from edgewind.kinetics.scattering import CercignaniLampis

SHAPES = ("strip", "square", "rectangle", "diamond", "disc")
# Below, the grid no longer resolves the Knudsen layers in reasonable time; the continuum formulas take over
# there.
SMALLEST_KNUDSEN = 0.005
LARGEST_KNUDSEN = 1e6
FINEST_TOLERANCE = 1e-6
# The specular part of the room is iterated in rounds; below this accommodation there would be too many.
SMALLEST_ROOM_ACCOMMODATION = 0.1


def check_shape(shape: str | Shape, aspect: float = 1.0) -> Shape:
    """Return a known shape; only a rectangle has an aspect other than 1."""
    name = shape.name if isinstance(shape, Shape) else shape
    aspect = shape.aspect if isinstance(shape, Shape) else aspect
    if name not in SHAPES:
        raise InputError(f"'{name}' is not a known shape", key="shape", fix=f"choose one of {', '.join(SHAPES)}")
    if name != "rectangle" and aspect != 1.0:
        raise InputError(f"a {name} has no aspect ratio", key="aspect", fix="leave it out, or choose a rectangle")
    if not 0.1 <= aspect <= 20.0:
        raise OutOfRangeError(
            f"the aspect ratio of a rectangle must be between 0.1 and 20, not {aspect:g}",
            key="aspect",
            fix="choose one in that range",
        )
    return Shape(name, float(aspect))


def check_thickness(thickness: float, shape: Shape) -> float:
    """Return a thickness over the width; only a strip can have one."""
    value = float(thickness)
    if value == 0.0:
        return 0.0
    if shape.name != "strip":
        raise InputError(
            f"a {shape.name} of finite thickness is not computed",
            key="thickness",
            fix="leave the thickness out, or choose a strip; `thickness_ratios` converts its results to other shapes",
        )
    if not 0.005 <= value <= 2.0:
        raise OutOfRangeError(
            f"the thickness must be between 0.005 and 2 widths, not {thickness}",
            key="thickness",
            fix="choose one in that range, or 0 for an infinitely thin strip",
        )
    return value


def check_thick_room(room: Room, thickness: float) -> None:
    """Raise an error if a thick vane leaves no gap to the walls along its normal."""
    if thickness and min(room.reaches) - 0.5 * thickness < 0.05:
        raise OutOfRangeError(
            f"a vane {thickness:g} thick leaves no gap to a wall {min(room.reaches):g} from its middle",
            key="room",
            fix="make the room longer, or move the vane to its middle",
        )


def check_knudsen(knudsen: float) -> float:
    """Return a Knudsen number that can be resolved; infinity means free flight."""
    value = float(knudsen)
    if math.isnan(value) or value <= 0.0:
        raise OutOfRangeError(
            f"a Knudsen number must be above 0, not {knudsen}", key="knudsen", fix="give a positive number"
        )
    if value < SMALLEST_KNUDSEN or LARGEST_KNUDSEN < value < math.inf:
        raise OutOfRangeError(
            f"a Knudsen number must be between {SMALLEST_KNUDSEN:g} and {LARGEST_KNUDSEN:g}, not {value:g}",
            key="knudsen",
            fix="choose one in that range, or inf for free flight",
        )
    return value


def check_tolerance(tolerance: float) -> float:
    """Return a relative tolerance that the method can reach."""
    value = float(tolerance)
    if not FINEST_TOLERANCE <= value <= 0.1:
        raise OutOfRangeError(
            f"a tolerance of {tolerance} is out of reach"
            if value < FINEST_TOLERANCE
            else f"{tolerance} cannot be a tolerance",
            key="tolerance",
            fix=f"ask for a relative error between {FINEST_TOLERANCE:g} and 0.1",
        )
    return value


def check_room(room: float | Sequence[float] | Room, position: float, *, edges: tuple[float, ...]) -> Room:
    """Return the room, larger than a vane with these extents across its normal.

    Parameters
    ----------
    room : float, sequence or Room
        One ratio to the width of the vane for all sides, or (length along the normal, width[, height]).
    position : float
        Place of the vane on the axis, between 0 and 1.
    edges : tuple of float
        Extents of the vane in its plane.
    """
    if isinstance(room, Room):
        given, position = (room.length, room.width, room.height), room.position
        sides = [float(side) for side in given if side is not None]
    elif isinstance(room, Sequence):
        sides = [float(side) for side in room]
    else:
        sides = [float(room)] * (1 + len(edges))
    if len(sides) != 1 + len(edges):
        raise InputError(
            f"the room of this shape must have {1 + len(edges)} sides, not {len(sides)}",
            key="room",
            fix="give one ratio for all, or the length along the normal first and then the sides across",
        )
    if not all(math.isfinite(side) and side > 0.0 for side in sides):
        raise OutOfRangeError(
            f"the sides of a room must be finite and above 0, not {sides}",
            key="room",
            fix="give each side as a multiple of the width of the vane",
        )
    for side, edge in zip(sides[1:], edges, strict=True):
        if side <= edge * 1.01:
            raise OutOfRangeError(
                f"a room {side:g} wide leaves no gap around a vane {edge:g} wide",
                key="room",
                fix="make the room wider than the vane by one hundredth or more",
            )
    if not 0.0 < position < 1.0:
        raise OutOfRangeError(
            f"a vane at {position:g} of the room's length touches a wall",
            key="position",
            fix="give a place between 0 (back wall) and 1 (front wall)",
        )
    checked = Room(sides[0], sides[1], sides[2] if len(sides) > 2 else None, float(position))
    if min(checked.reaches) < 0.05 or max(sides) > 200.0:
        raise OutOfRangeError(
            f"walls {min(checked.reaches):g} from the vane, in a room {max(sides):g} wide, cannot be resolved",
            key="room",
            fix="keep every wall at least 0.05 and at most 200 widths away",
        )
    return checked


Accommodation = float | CercignaniLampis


def check_accommodation(accommodation: Accommodation | Mapping[str, Accommodation] | Walls) -> Walls:
    """Return the accommodation of the faces and of the room.

    Parameters
    ----------
    accommodation : float, CercignaniLampis, mapping of these or Walls
        One for all, or ``hot``, ``cold`` and ``room``; those left out are 1.
    """
    if isinstance(accommodation, Walls):
        walls = accommodation
    elif isinstance(accommodation, Mapping):
        unknown = set(accommodation) - {"hot", "cold", "room"}
        if unknown:
            raise InputError(
                f"unknown wall: {', '.join(sorted(unknown))}",
                key="accommodation",
                fix="use the names hot, cold and room",
            )
        walls = Walls.of(*(_wall(accommodation.get(name, 1.0)) for name in ("hot", "cold", "room")))
    else:
        walls = Walls.of(*[_wall(accommodation)] * 3)
    for law in walls.laws:
        if law is not None and not (0.1 <= law.tangential <= 1.9 and 0.1 <= law.normal <= 1.0):
            raise OutOfRangeError(
                f"a Cercignani-Lampis wall with accommodation {law.tangential:g} of the tangential momentum and "
                f"{law.normal:g} of the normal energy cannot be resolved",
                key="accommodation",
                fix="choose 0.1 to 1.9 for the momentum, and 0.1 to 1 for the energy",
            )
    for name, value in (("hot", walls.front), ("cold", walls.back), ("room", walls.room)):
        if not 0.0 <= value <= 1.0:
            raise OutOfRangeError(
                f"the accommodation of {name} must be between 0 and 1, not {value:g}",
                key="accommodation",
                fix="choose one in that range",
            )
    if walls.room == 0.0:
        raise OutOfRangeError(
            "specular walls never absorb heat: there is no steady state",
            key="accommodation",
            fix=f"give the room at least {SMALLEST_ROOM_ACCOMMODATION:g}",
        )
    if walls.room < SMALLEST_ROOM_ACCOMMODATION:
        raise OutOfRangeError(
            f"the accommodation of the room must be at least {SMALLEST_ROOM_ACCOMMODATION:g}, not {walls.room:g}",
            key="accommodation",
            fix=f"give the room at least {SMALLEST_ROOM_ACCOMMODATION:g}",
        )
    return walls


def _wall(given: Accommodation) -> Accommodation:
    return given if isinstance(given, CercignaniLampis) else float(given)


def check_internal_energy(inner: InternalEnergy | None) -> InternalEnergy | None:
    """Return the internal energy after checking its values, or None for a monatomic gas."""
    if inner is None:
        return None
    limits = {"heat": (0.0, 50.0), "exchange": (1.0, math.inf), "translational": (1.0, 5.0), "internal": (0.5, 5.0)}
    for name, (low, high) in limits.items():
        value = float(getattr(inner, name))
        if not low <= value <= high:
            raise OutOfRangeError(
                f"'{name}' of the internal energy must lie between {low:g} and {high:g}, not {value:g}",
                key="inner",
            )
    return inner


def check_thin_vane(walls: Walls, inner: InternalEnergy | None, shape: Shape, thickness: float) -> None:
    """Raise an error for walls other than Maxwell's, except round a thin strip in a monatomic gas, or for an internal
    energy round a thick vane.
    """
    body = f"{'thick ' if thickness else ''}{shape.name}"
    if not walls.maxwell and (body != "strip" or inner is not None):
        gas = " in a gas with internal energy" if inner is not None else ""
        raise InputError(
            f"Cercignani-Lampis walls are not computed for a {body}{gas}",
            key="accommodation",
            fix="choose an infinitely thin strip in a monatomic gas, or a number, which gives Maxwell walls",
        )
    if inner is not None and thickness:
        raise InputError(
            f"a gas with internal energy is not computed round a {body}",
            key="inner",
            fix="use an infinitely thin vane, or omit the internal energy",
        )


def parse_knudsen(text: str) -> list[float]:
    """Read Knudsen numbers: a list, or low, high and number, spaced evenly in the logarithm.

    Examples
    --------
    >>> parse_knudsen("10, 1, 0.1")
    [10.0, 1.0, 0.1]
    >>> [round(kn, 3) for kn in parse_knudsen("0.1:10:3")]
    [0.1, 1.0, 10.0]
    """
    right = "write a list such as '10,1,0.1', or low, high and number: '0.01:100:25'"
    try:
        if ":" in text:
            low, high, count = text.split(":")
            ends = [check_knudsen(float(low)), check_knudsen(float(high))]
            if not (math.isfinite(ends[1]) and 1 <= int(count) <= 1000):
                raise ValueError
            return [float(kn) for kn in np.geomspace(ends[0], ends[1], int(count))]
        return [check_knudsen(float(part)) for part in text.split(",")]
    except ValueError:
        raise InputError(f"'{text}' does not give Knudsen numbers", key="knudsen", fix=right) from None
