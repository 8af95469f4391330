"""Walls of Cercignani and Lampis: the kernel against its closed forms, in the solver against limits and reciprocity."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from edgewind.errors import InputError, OutOfRangeError
from edgewind.kinetics import CercignaniLampis, Response, Walls, respond
from edgewind.kinetics.drives import Drive
from edgewind.kinetics.geometry import Room, Shape
from edgewind.kinetics.grid import Grid, graded
from edgewind.kinetics.krylov import fgmres
from edgewind.kinetics.levels import ladder
from edgewind.kinetics.plane import PlaneOperator
from edgewind.kinetics.quadrature import PlaneVelocities
from edgewind.kinetics.response import coefficients
from edgewind.kinetics.scattering import ScatteringModes
from edgewind.kinetics.solve import Case, Resolution, solve

NAMES = ("faces", "both", "motion")


def modes(law, azimuths=14, speeds=16):
    e, w = PlaneVelocities(azimuths, speeds).directions, PlaneVelocities(azimuths, speeds).direction_weights
    s, ws = PlaneVelocities(azimuths, speeds).speed, PlaneVelocities(azimuths, speeds).speed_weights
    shape, way = (azimuths, 2, speeds), np.array([-1.0, 1.0])[None, :, None]
    normal = np.broadcast_to(e[:, 0, None, None], shape)
    return ScatteringModes(
        law, normal, e[:, 1, None, None] * way * np.ones(shape), np.broadcast_to(s, shape),
        np.broadcast_to(w[:, None, None] * ws, shape),
    )  # fmt: skip


def leaves(of, h1, h2):
    """All that leaves the wall when h1 and h2 fall on it, the diffuse part included."""
    flow = of.weight * of.speed * of.normal
    one, two = of.kept_of(of.amounts(h1, h2))
    return one + np.sum(flow * h1) / np.sum(flow), two


@pytest.mark.parametrize(("tangential", "normal"), [(0.8, 0.5), (1.0, 0.5), (0.5, 0.8), (1.2, 0.9)])
def test_averages_over_the_kernel_equal_their_closed_forms(tangential, normal):
    """Along the wall a Gaussian of variance s(2 - s)/2 about (1 - s) c_t; along the normal c_n^2 is distributed as the
    square of a vector in a plane about sqrt(1 - a) c_n with variance a/2 each way (Cercignani and Lampis 1971), so that
    the averages of cos(c_t) and exp(-b c_n^2) are known.
    """
    of, b = modes(CercignaniLampis(tangential, normal)), 0.3
    cn2, ct = (of.speed * of.normal) ** 2, of.speed * of.tangent
    found, second = leaves(of, np.cos(ct) * np.exp(-b * cn2), np.exp(-b * cn2))
    along_normal = np.exp(-b * (1.0 - normal) * cn2 / (1.0 + b * normal)) / (1.0 + b * normal)
    along_wall = np.exp(-tangential * (2.0 - tangential) / 4.0) * np.cos((1.0 - tangential) * ct)
    weight = of.weight * of.speed * of.normal
    for got, expected in ((found, along_normal * along_wall), (second, (1.0 - tangential) ** 2 * along_normal)):
        missed = np.sqrt(np.sum(weight * (got - expected) ** 2) / np.sum(weight))
        assert missed < 4e-3


def test_kernel_has_detailed_balance_and_both_accommodations():
    """What goes from one velocity to another goes back, in equilibrium; momentum along the wall and energy along the
    normal keep exactly their shares.
    """
    law = CercignaniLampis(0.7, 0.6)
    of = modes(law, 4, 6)
    flow = (of.weight * of.speed * of.normal).ravel()
    unit = np.eye(flow.size).reshape(flow.size, *of.speed.shape)
    matrix = np.array([leaves(of, one, 0.0 * one)[0].ravel() for one in unit])
    np.testing.assert_allclose(matrix * flow, (matrix * flow).T, atol=1e-14)
    np.testing.assert_allclose(leaves(of, np.ones_like(of.speed), np.zeros_like(of.speed))[0], 1.0, atol=1e-12)
    along, energy = of.speed * of.tangent, (of.speed * of.normal) ** 2
    energy = energy - np.sum(flow * energy.ravel()) / flow.sum()
    np.testing.assert_allclose(leaves(of, along, 0.0 * along)[0], 0.3 * along, atol=1e-12)
    np.testing.assert_allclose(leaves(of, energy, 0.0 * along)[0], 0.4 * energy, atol=1e-12)


def solved(knudsen, walls, room=4.0, resolution=Resolution(0.7, 14, speeds=16), tolerance=1e-3):
    case = Case(Shape("strip"), Room(room, room), knudsen, walls)
    return dict(zip(NAMES, solve(case, resolution, NAMES, tolerance=tolerance), strict=True))


def test_full_accommodation_is_a_diffuse_wall():
    full = CercignaniLampis(1.0, 1.0)
    one, other = (coefficients(solved(1.0, walls)) for walls in (Walls.of(full, full, full), Walls()))
    for name in ("thermal_force", "drag", "heat_hot", "loss_hot"):
        assert one[name] == pytest.approx(other[name], rel=1e-9)


def test_free_flight_tends_to_its_closed_form_as_the_room_grows():
    """a_n/4. Such a wall sends more molecules along the normal than by the cosine law, so that the room's walls send
    some back: the force in a closed room is less, as one over its size.
    """
    law = CercignaniLampis(0.8, 0.5)
    rooms = np.array([12.0, 40.0])
    force = [
        coefficients(solved(np.inf, Walls.of(law, law), room, Resolution(0.7, 30, speeds=16)))["thermal_force"]
        for room in rooms
    ]
    assert force[0] < force[1] < 0.125
    unbounded = np.polyfit(1.0 / rooms, force, 1)[1]
    assert unbounded == pytest.approx(0.125, rel=2e-3)


def test_reciprocity_and_balances_hold_between_unlike_walls():
    """Onsager-Casimir, front and back and room each with a law of its own."""
    walls = Walls.of(CercignaniLampis(0.8, 0.5), 0.7, CercignaniLampis(0.9, 0.7))
    found = solved(0.3, walls, tolerance=1e-4)
    numbers = coefficients(found)
    apart = 0.5 * (numbers["motion_heat_hot"] - numbers["motion_heat_cold"])
    assert apart == pytest.approx(-numbers["thermal_force"], rel=1e-4)
    for one in found.values():
        assert abs(one.mass_residual) < 1e-5
        assert abs(one.energy_residual) < 1e-5


@pytest.mark.parametrize("tangential", [1.0, 0.8, 0.5])
def test_viscous_slip_follows_the_published_fit(published, tangential):
    """sigma_P = 1.772/alpha_t - 0.754, S model with walls of Cercignani and Lampis, within 1 % for all alpha_n (F.
    Sharipov, Eur. J. Mech. B/Fluids 22, 133, 2003; the formula from memory: neither that paper nor its author's review
    of slip coefficients of 2004 could be opened as far as the formula). At full accommodation it is the 1.018 of
    Siewert and Sharipov, which an independent solution of the integral equation gives, too.
    """
    law, delta = CercignaniLampis(tangential, 1.0), 60.0
    nodes = graded(0.0, 1.0, 1.0, 0.3 / delta, 0.3 / delta, 0.5)
    across = Grid((nodes,), (np.array([0.0, 1e12]),), np.array([1.0]), slab=True)
    operator = PlaneOperator(across, PlaneVelocities(32, 12), delta, Walls.of(law, law, law), 1.0)
    rough = replace(operator, velocities=PlaneVelocities(4, 4), walls=operator.walls.as_maxwell)
    drive, top, scale = Drive(slide=1.0), ladder(operator, rough), operator.scale
    cause, _ = operator.sweep(np.zeros(operator.size), drive)
    y = fgmres(top.product, scale * cause, top.precondition, tolerance=1e-9, limit=60).x / scale
    new, incoming = operator.sweep(y, drive)
    stress = -operator.loads(new, incoming, drive)[0][0].shear[0]
    slip = 0.5 * (1.0 / stress - delta)
    published(f"viscous slip at alpha_t = {tangential:g}", slip, 1.772 / tangential - 0.754, rel=2e-3)


def test_respond_accepts_such_walls_and_stores_them_separately(tmp_path):
    law = CercignaniLampis(0.9, 0.81)
    asked = {"room": 4.0, "tolerance": 0.05, "workers": 1, "cache": tmp_path}
    mine = respond("strip", 3.0, accommodation={"hot": law, "cold": law}, **asked)
    again = respond("strip", 3.0, accommodation={"hot": law, "cold": law}, **asked)
    maxwell = respond("strip", 3.0, accommodation={"hot": 0.9, "cold": 0.9}, **asked)
    assert mine.accommodation == (0.9, 0.9, 1.0) == maxwell.accommodation
    assert again == mine == Response.from_json(mine.to_json())
    assert mine.laws == {"hot": (0.9, 0.81), "cold": (0.9, 0.81)}
    assert mine.thermal_force < 0.95 * maxwell.thermal_force


@pytest.mark.parametrize(
    ("shape", "law", "more", "says"),
    [
        ("square", (0.9, 0.9), {}, "not computed for a square"),
        ("strip", (0.9, 0.9), {"thickness": 0.1}, "not computed for a thick strip"),
        ("strip", (0.05, 0.9), {}, "0.05 of the tangential momentum"),
        ("strip", (0.9, 1.2), {}, "1.2 of the normal energy"),
    ],
)
def test_unsupported_cases_are_refused(shape, law, more, says):
    with pytest.raises((InputError, OutOfRangeError), match=says):
        respond(shape, 1.0, accommodation=CercignaniLampis(*law), cache=False, **more)
