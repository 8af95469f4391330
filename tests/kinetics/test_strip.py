"""A strip in a rectangular room: exact limits, conservation, reciprocity, symmetries, and the accuracy asked
for.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from edgewind.kinetics.drives import DRIVES
from edgewind.kinetics.geometry import Room, Shape
from edgewind.kinetics.response import coefficients, respond
from edgewind.kinetics.room_operator import Walls
from edgewind.kinetics.solve import Case, Resolution, solve

SQRT_PI = np.sqrt(np.pi)
STRIP = Shape("strip")
ROUGH = Resolution(0.7, 12)


def solve_by_name(case, resolution=ROUGH, names=("faces", "both", "motion"), tolerance=1e-4, **options):
    return dict(zip(names, solve(case, resolution, names, tolerance=tolerance, **options), strict=True))


# Free flight --------------------


def test_free_flight_thermal_force_and_heat_are_exact_in_any_closed_room(published):
    """F = 1/4 p0 A dT/T0, heat 1/(2 sqrt(pi)) of each face at +-1/2: no flux leaves, so no wall answers
    (Knudsen 1910).
    """
    case = Case(STRIP, Room(2.0, 3.0), np.inf)
    answer = coefficients(solve_by_name(case))
    published("thermal force of a strip in free flight", answer["thermal_force"], 0.25, rel=1e-9, unit="p0 A dT/T0")
    # The half-range sum over 12 azimuths stands for 1/(2 sqrt(pi)).
    published("heat of a face", answer["heat_hot"], 0.5 / SQRT_PI, rel=1e-3, unit="p0 v0 dT/T0")
    assert answer["loss_hot"] == pytest.approx(1.0 / SQRT_PI, rel=1e-3)


@pytest.mark.parametrize("alpha", [0.0, 0.3, 0.8])
def test_free_flight_force_and_heat_are_proportional_to_accommodation(alpha):
    """Only the diffuse share knows the temperature of the face (Knudsen 1911, accommodation coefficient)."""
    case = Case(STRIP, Room(3.0, 3.0), np.inf, Walls(alpha, alpha, 1.0))
    answer = coefficients(solve_by_name(case))
    assert answer["thermal_force"] == pytest.approx(0.25 * alpha, rel=1e-9, abs=1e-12)
    assert answer["heat_hot"] == pytest.approx(0.5 * alpha / SQRT_PI, rel=1e-3, abs=1e-12)


def traced_drag(length, width, patches=48, rays=600):
    """Drag of a diffuse strip in free flight inside a diffuse closed room, by rays between patches of its
    walls.

    The unknown is the density nu that each patch sends back; a patch sees along a ray of angle t from its
    normal
    another patch, or the moving vane with its extra 2 c.U, so that with the integrals over speeds done by
    hand
    nu = (1/2) Int cos t nu' dt + (2/sqrt(pi)) Int cos t (e.U) dt  [+ sqrt(pi) U.n on the vane], and the
    pressure is (1/pi) Int cos^2 t nu' dt + (3/(2 sqrt(pi))) Int cos^2 t (e.U) dt + nu/2 + 2 U.n / sqrt(pi).
    """
    a, b = 0.5 * length, 0.5 * width

    def segment(start, end, normal, count):
        # Midpoints that crowd at the ends, where the density changes fast.
        edges = 0.5 - 0.5 * np.cos(np.pi * np.arange(count + 1) / count)
        middle = 0.5 * (edges[1:] + edges[:-1])
        points = np.outer(1.0 - middle, start) + np.outer(middle, end)
        return points, np.tile(normal, (count, 1)), np.diff(edges), edges

    walls = [
        segment((a, -b), (a, b), (-1.0, 0.0), patches),
        segment((-a, -b), (-a, b), (1.0, 0.0), patches),
        segment((-a, b), (a, b), (0.0, -1.0), patches),
        segment((-a, -b), (a, -b), (0.0, 1.0), patches),
        segment((0.0, -0.5), (0.0, 0.5), (1.0, 0.0), patches),
        segment((0.0, -0.5), (0.0, 0.5), (-1.0, 0.0), patches),
    ]
    points, normals = (np.concatenate([wall[k] for wall in walls]) for k in (0, 1))
    edges = walls[0][3]
    # Equal steps of sin t: each carries the same flux.
    sine = (np.arange(rays) + 0.5) * 2.0 / rays - 1.0
    cosine = np.sqrt(1.0 - sine**2)
    tangents = np.stack([-normals[:, 1], normals[:, 0]], axis=1)
    e = cosine[None, :, None] * normals[:, None, :] + sine[None, :, None] * tangents[:, None, :]
    with np.errstate(divide="ignore", invalid="ignore"):
        to_x = np.where(e[..., 0] > 0.0, a - points[:, None, 0], a + points[:, None, 0]) / np.abs(e[..., 0])
        to_y = np.where(e[..., 1] > 0.0, b - points[:, None, 1], b + points[:, None, 1]) / np.abs(e[..., 1])
        to_vane = -points[:, None, 0] / e[..., 0]
    y_vane = points[:, None, 1] + to_vane * e[..., 1]
    on_vane = (np.abs(points[:, 0]) > 1e-12)[:, None] & (to_vane > 0.0) & (np.abs(y_vane) < 0.5)
    on_end = ~on_vane & (to_x < to_y)
    distance = np.where(on_vane, to_vane, np.minimum(to_x, to_y))
    hit = points[:, None, :] + distance[..., None] * e
    wall = np.where(
        on_vane,
        np.where(e[..., 0] < 0.0, 4, 5),
        np.where(on_end, np.where(e[..., 0] > 0.0, 0, 1), np.where(e[..., 1] > 0.0, 2, 3)),
    )
    along = np.where(
        on_vane, hit[..., 1] + 0.5, np.where(on_end, (hit[..., 1] + b) / width, (hit[..., 0] + a) / length)
    )
    target = wall * patches + np.clip(np.searchsorted(edges, along) - 1, 0, patches - 1)
    count = points.shape[0]
    rows = np.broadcast_to(np.arange(count)[:, None], target.shape)
    matrix = np.zeros((count, count))
    np.add.at(matrix, (rows, target), 1.0 / rays)
    # Rays arrive along -e, so a molecule from the vane flies along -e: its e.U is -ex.
    push = np.where(on_vane, -e[..., 0], 0.0)
    own = np.where(np.arange(count) >= 4 * patches, normals[:, 0], 0.0)
    cause = (2.0 / SQRT_PI) * push.sum(axis=1) * 2.0 / rays + SQRT_PI * own
    # More gas everywhere solves the equation without a cause: take the smallest solution.
    nu = np.linalg.lstsq(np.eye(count) - matrix, cause, rcond=1e-10)[0]
    step = 2.0 / rays
    pressure = (
        (cosine * nu[target]).sum(axis=1) * step / np.pi
        + 1.5 / SQRT_PI * (cosine * push).sum(axis=1) * step
        + 0.5 * nu
        + 2.0 * own / SQRT_PI
    )
    share = walls[4][2]
    return float(share @ (pressure[4 * patches : 5 * patches] - pressure[5 * patches :]))


@pytest.mark.parametrize(("length", "width"), [(4.0, 4.0), (2.0, 3.0)])
def test_free_flight_drag_in_a_closed_room_matches_traced_rays(length, width):
    """An integral equation over the walls, written here and nowhere else, gives the same drag."""
    motion = solve(Case(STRIP, Room(length, width), np.inf), Resolution(1.0, 64), ("motion",), tolerance=1e-4)[0]
    assert -motion.force == pytest.approx(traced_drag(length, width), rel=1.5e-3)


def test_free_flight_drag_grows_to_that_of_an_unbounded_gas_with_the_room(published):
    """Drag -> 4/sqrt(pi) + sqrt(pi) (both sides, diffuse; Kennard 1938): a closed room adds a share that
    falls as 1/size.
    """
    unbounded = 4.0 / SQRT_PI + SQRT_PI
    drag = [
        -solve(Case(STRIP, Room(r, r), np.inf), Resolution(1.0, 48), ("motion",))[0].force for r in (8.0, 16.0, 32.0)
    ]
    gap = np.array(drag) - unbounded
    assert np.all(gap > 0.0)
    # First order in 1/size, so two rooms give the limit.
    published(
        "drag of a strip in free flight, room grown", 2.0 * drag[2] - drag[1], unbounded, rel=4e-3, unit="p0 A U/v0"
    )
    assert gap[1] / gap[2] == pytest.approx(2.0, abs=0.4)


# Conservation and reciprocity --------------------


@pytest.mark.parametrize("knudsen", [10.0, 0.3, 0.05])
@pytest.mark.parametrize(
    ("room", "walls"), [(Room(4.0, 4.0), Walls()), (Room(3.0, 2.5, position=0.35), Walls(0.6, 0.9, 0.8))]
)
def test_particles_and_energy_are_conserved(knudsen, room, walls):
    for solution in solve_by_name(Case(STRIP, room, knudsen, walls)).values():
        assert abs(solution.mass_residual) < 1e-6
        assert abs(solution.energy_residual) < 1e-6


@pytest.mark.parametrize("knudsen", [10.0, 0.1])
@pytest.mark.parametrize("walls", [Walls(), Walls(0.7, 0.7, 0.9)])
def test_heat_of_the_motion_is_minus_the_thermal_force(knudsen, walls):
    """Onsager-Casimir: heat from cold to hot face per U/v0 equals minus the force per dT/T0, to the
    iteration's error.
    """
    answer = coefficients(solve_by_name(Case(STRIP, Room(4.0, 3.0), knudsen, walls), tolerance=1e-5))
    carried = 0.5 * (answer["motion_heat_hot"] - answer["motion_heat_cold"])
    assert carried == pytest.approx(-answer["thermal_force"], rel=3e-6)


def test_reciprocity_holds_without_any_symmetry():
    case = Case(STRIP, Room(3.0, 2.5, position=0.35), 0.5, Walls(0.6, 0.9, 0.8))
    answer = coefficients(solve_by_name(case, tolerance=1e-6))
    carried = 0.5 * (answer["motion_heat_hot"] - answer["motion_heat_cold"])
    assert carried == pytest.approx(-answer["thermal_force"], rel=1e-6)
    # The vane is lighter on its cold side: warm all over, it is pushed, and moving it carries heat away.
    total = answer["motion_heat_hot"] + answer["motion_heat_cold"]
    assert total == pytest.approx(answer["loss_force"], rel=1e-5)
    assert abs(total) > 1e-3


def test_warming_the_room_is_the_opposite_of_warming_the_vane():
    """A gas and all walls warmed together are in equilibrium, so the two drives cancel."""
    case = Case(STRIP, Room(3.0, 2.5, position=0.35), 0.4, Walls(0.8, 1.0, 0.9))
    found = solve_by_name(case, names=("both", "room"), tolerance=1e-5)
    for face in (0, 1):
        assert found["room"].mean("heat", face) == pytest.approx(-found["both"].mean("heat", face), rel=1e-5)
    assert found["room"].force == pytest.approx(-found["both"].force, rel=1e-4)


# Symmetry --------------------


@pytest.mark.parametrize("name", ["faces", "both", "motion"])
def test_half_of_a_symmetric_domain_agrees_with_the_whole(name):
    case = Case(STRIP, Room(3.0, 3.0), 0.3, Walls(0.8, 0.8, 0.9))
    half = solve(case, ROUGH, (name,), tolerance=1e-6)[0]
    # A room longer by rounding has no symmetry to use.
    whole = solve(replace(case, room=Room(3.0, 3.0, position=0.5 + 1e-15)), ROUGH, (name,), tolerance=1e-6)[0]
    assert half.grid.boxes == 1
    assert whole.grid.boxes == 2
    for what in ("pressure", "heat"):
        offset = 0.0 if name != "both" or what == "heat" else half.mean(what, 0) - whole.mean(what, 0)
        assert whole.mean(what, 0) + offset == pytest.approx(half.mean(what, 0), rel=1e-6)
    assert whole.force == pytest.approx(half.force, rel=1e-6, abs=1e-9)


def test_reflecting_the_room_reflects_the_answer():
    left = coefficients(
        solve_by_name(Case(STRIP, Room(3.0, 2.5, position=0.3), 0.2, Walls(0.6, 0.9, 1.0)), tolerance=1e-5)
    )
    right = coefficients(
        solve_by_name(Case(STRIP, Room(3.0, 2.5, position=0.7), 0.2, Walls(0.9, 0.6, 1.0)), tolerance=1e-5)
    )
    assert right["thermal_force"] == pytest.approx(left["thermal_force"], rel=1e-5)
    assert right["drag"] == pytest.approx(left["drag"], rel=1e-5)
    assert right["heat_hot"] == pytest.approx(-left["heat_cold"], rel=1e-5)
    assert right["loss_hot"] == pytest.approx(left["loss_cold"], rel=1e-5)
    assert right["loss_force"] == pytest.approx(-left["loss_force"], rel=1e-4)


def test_the_number_of_workers_does_not_change_the_answer():
    case = Case(STRIP, Room(4.0, 4.0), 0.3)
    one, two = (coefficients(solve_by_name(case, workers=n)) for n in (1, 2))
    assert two == pytest.approx(one, rel=1e-9)


# Accuracy --------------------


@pytest.mark.parametrize("knudsen", [10.0, 0.1])
def test_the_accuracy_asked_for_is_reached(knudsen, tmp_path):
    """Against a run with twice the cells along each axis and more than twice the directions."""
    answer = respond("strip", knudsen, tolerance=1e-3, cache=False, workers=1)
    assert answer.reached
    fine = coefficients(solve_by_name(Case(STRIP, Room(4.0, 4.0), knudsen), Resolution(2.0, 48), tolerance=1e-4))
    for name in ("thermal_force", "heat_hot", "drag", "loss_hot"):
        assert answer.values[name] == pytest.approx(fine[name], rel=1e-3)
        # The error bar is honest to a factor two, the finer run's own error allowed for.
        assert abs(answer.values[name] - fine[name]) < 2.0 * answer.errors[name] + 2e-4 * abs(fine[name])


def test_the_number_of_fine_sweeps_hardly_grows_towards_the_continuum():
    for knudsen in (100.0, 1.0, 0.03):
        found = solve(Case(STRIP, Room(4.0, 4.0), knudsen), ROUGH, tolerance=1e-3)
        assert max(solution.sweeps for solution in found) <= 12
        assert max(solution.residual for solution in found) < 1e-4


def test_the_force_is_greatest_near_knudsen_one_tenth():
    """F ~ thermal_force / Kn at a fixed size: greatest near Kn 0.1 (Selden et al., Phys. Rev. E 79, 041201,
    2009).
    """
    numbers = np.array([0.03, 0.07, 0.14, 0.3, 0.6])
    force = [-solve(Case(STRIP, Room(8.0, 8.0), kn), ROUGH, ("faces",))[0].force / kn for kn in numbers]
    best = int(np.argmax(force))
    assert 0.05 <= numbers[best] <= 0.2


def test_drives_match_the_table_of_drives():
    assert DRIVES["faces"].parity == DRIVES["motion"].parity == -1.0
    assert DRIVES["both"].parity == DRIVES["room"].parity == 1.0
    assert replace(DRIVES["faces"], back=0.0).parity is None
