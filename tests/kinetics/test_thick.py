"""Strips of finite thickness: free flight by closed forms, reciprocity, balances, published sentences, own numbers."""

from __future__ import annotations

import numpy as np
import pytest

from edgewind.errors import InputError
from edgewind.kinetics import respond, thickness_ratios
from edgewind.kinetics.geometry import Room, Shape
from edgewind.kinetics.response import coefficients
from edgewind.kinetics.room_operator import Walls
from edgewind.kinetics.solve import Case, Resolution, solve

SQRT_PI = np.sqrt(np.pi)
NAMES = ("faces", "both", "motion")
ROUGH = Resolution(0.7, 14)


def solutions(knudsen, thickness, room=4.0, walls=Walls(), resolution=ROUGH):
    case = Case(Shape("strip"), Room(room, room), knudsen, walls, thickness)
    return dict(zip(NAMES, solve(case, resolution, NAMES, tolerance=1e-3), strict=True))


@pytest.mark.parametrize("alpha", [1.0, 0.5])
def test_free_flight_has_its_closed_forms(alpha):
    """No flux leaves any wall, so the gas that arrives is that of the room: force 1/4, heat by the area of faces and
    rim, the rim's weighted as it is shared, by 2 Int (x/t)^2 dx on each of its two sides (Knudsen 1910, 1911).
    """
    thickness = 0.3
    found = coefficients(solutions(np.inf, thickness, walls=Walls(alpha, alpha, 1.0)))
    assert found["thermal_force"] == pytest.approx(0.25 * alpha, rel=1e-9)
    assert found["loss_hot"] == pytest.approx(alpha * (1.0 + thickness) / SQRT_PI, rel=2e-3)
    assert found["heat_hot"] == pytest.approx(alpha * (0.5 + thickness / 6.0) / SQRT_PI, rel=2e-3)


def test_free_flight_drag_of_the_rim_adds_its_shear():
    """2/sqrt(pi) t U/v0 from both sides of the rim in an unbounded gas: from each of them U m times the molecules that
    arrive (Kennard 1938); the room's answer to it falls as its size.
    """
    rooms = np.array([8.0, 24.0])
    added = []
    for room in rooms:
        thick, thin = (coefficients(solutions(np.inf, t, room, resolution=Resolution(0.5, 40))) for t in (0.4, 0.0))
        added.append(thick["drag"] - thin["drag"])
    # The flow of momentum p0/sqrt(pi) U/v0 on an area of 2 t, per p0.
    unbounded = np.polyfit(1.0 / rooms, added, 1)[1]
    assert unbounded == pytest.approx(0.8 / SQRT_PI, rel=0.02)


@pytest.mark.parametrize("knudsen", [10.0, 0.1])
def test_reciprocity_and_balances_hold(knudsen):
    """Onsager-Casimir: heat that motion drives between the faces, rim included, is minus the thermal force."""
    found = solutions(knudsen, 0.1)
    numbers = coefficients(found)
    assert numbers["motion_heat_hot"] == pytest.approx(-numbers["thermal_force"], rel=1e-4)
    assert numbers["heat_cold"] == pytest.approx(-numbers["heat_hot"], rel=1e-9)
    for one in found.values():
        assert abs(one.mass_residual) < 1e-5
        assert abs(one.energy_residual) < 1e-5


def test_the_whole_domain_agrees_with_half_of_it():
    half = coefficients(solutions(0.5, 0.2))
    off = Walls(1.0, 1.0 - 1e-12, 1.0)
    whole = coefficients(solutions(0.5, 0.2, walls=off))
    for name in ("thermal_force", "drag", "heat_hot", "loss_hot", "loss_cold"):
        assert whole[name] == pytest.approx(half[name], rel=1e-4)


def test_shear_on_the_rim_opposes_the_thermal_force():
    """Published: the shear on the lateral side was found to decrease the total force (Selden et al., J. Fluid Mech.
    634, 2009, abstract); for a single vane it always reduces it (Ventura et al., J. Fluid Mech. 735, 2013, abstract).
    The abstracts give no rarefaction; here it turns slightly positive above Kn 0.5, where the total still falls.
    """
    shear = {kn: -solutions(kn, 0.2)["faces"].rim_force for kn in (0.1, 0.3, 1.0)}
    assert all(shear[kn] < 0.0 for kn in (0.1, 0.3))
    assert 0.0 < shear[1.0] < 0.001
    kn = np.geomspace(0.01, 2.0, 40)
    assert np.all(thickness_ratios(0.2, 1.0, kn)["thermal_force"] <= 1.0)


def test_force_of_thick_strips_falls_with_thickness_as_published():
    """Ventura et al., J. Fluid Mech. 735 (2013), abstract: near its maximum the force falls by only about 10 to 15 %
    when thickness over height goes from 0.5 to 2. An endless strip with a rim of linear temperature loses rather more
    here: 18 % at Kn 0.2, and 26 % at 0.1 in a room of six heights.
    """
    thin, thick = (-solutions(0.2, t, resolution=Resolution(0.5, 12))["faces"].force for t in (0.5, 2.0))
    assert 0.05 < 1.0 - thick / thin < 0.25


def test_the_table_agrees_with_an_earlier_computation():
    """Against ourselves: an earlier computation of strips in a room of four widths."""
    ratios = thickness_ratios(0.05, 1.0, np.array([0.1, 0.03]))
    assert ratios["thermal_force"] == pytest.approx([1 - 0.024, 1 - 0.10], abs=0.003)
    assert ratios["drag"][0] == pytest.approx(1.02, abs=0.005)
    ratios = thickness_ratios(0.2, 1.0, 0.1)
    assert float(ratios["thermal_force"]) == pytest.approx(0.90, abs=0.003)
    assert float(ratios["drag"]) == pytest.approx(1.10, abs=0.01)


@pytest.mark.parametrize(("knudsen", "thickness", "alpha"), [(0.1, 0.2, 1.0), (1.0, 0.05, 0.5)])
def test_the_table_agrees_with_the_solver(knudsen, thickness, alpha):
    thick, thin = (coefficients(solutions(knudsen, t, walls=Walls(alpha, alpha, 1.0))) for t in (thickness, 0.0))
    table = thickness_ratios(thickness, alpha, knudsen)
    for name, ratio in table.items():
        assert float(ratio) == pytest.approx(thick[name] / thin[name], rel=2e-3)


def test_the_table_is_smooth_from_zero_thickness_and_refused_beyond_its_end():
    kn = np.array([0.02, 0.2, 2.0, np.inf])
    assert all(np.all(ratio == 1.0) for ratio in thickness_ratios(0.0, 1.0, kn).values())
    slight, more = (thickness_ratios(t, 0.9, kn)["loss_hot"] - 1.0 for t in (0.005, 0.01))
    assert more == pytest.approx(2.0 * slight, rel=0.1)
    twice = thickness_ratios(0.05, 1.0, kn, rim=2.0)["drag"]
    assert twice == pytest.approx(thickness_ratios(0.05, 1.0, kn)["drag"] ** 2)
    with pytest.raises(InputError, match="thick"):
        thickness_ratios(0.6, 1.0, kn)


def test_respond_accepts_a_thickness_and_refuses_unsupported_cases(tmp_path):
    answer = respond("strip", 1.0, thickness=0.1, tolerance=2e-2, workers=1, cache=tmp_path)
    assert answer.reached
    assert answer.thickness == 0.1
    assert respond("strip", 1.0, thickness=0.1, tolerance=2e-2, cache=tmp_path).values == answer.values
    for wrong, about in (
        ("disc", {}),
        ("strip", {"thickness": 3.0}),
        ("strip", {"room": (0.3, 4.0), "thickness": 0.25}),
    ):
        with pytest.raises(InputError):
            respond(wrong, 1.0, **{"thickness": 0.1} | about, cache=False)
