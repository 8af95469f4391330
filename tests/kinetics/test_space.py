"""Vanes of finite outline in a box room."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from edgewind.kinetics.drives import Drive
from edgewind.kinetics.geometry import Room, Shape
from edgewind.kinetics.quadrature import SpaceVelocities
from edgewind.kinetics.response import coefficients
from edgewind.kinetics.room_operator import Walls
from edgewind.kinetics.solve import Case, Resolution, solve
from edgewind.kinetics.space import SpaceOperator

SQRT_PI = np.sqrt(np.pi)
NAMES = ("faces", "both", "motion")
ROUGH = Resolution(0.35, 4, 3)


def answer(shape, room, knudsen, walls=Walls(), resolution=ROUGH, tolerance=1e-4):
    solutions = solve(Case(shape, room, knudsen, walls), resolution, NAMES, tolerance=tolerance)
    return coefficients(dict(zip(NAMES, solutions, strict=True))), solutions


def plain_sweep(operator, y, drive):
    """One sweep in space as one would first write it: loops over octants and cells, in NumPy."""
    grid, v, walls = operator.grid, operator.velocities, operator.walls
    moments, end_nu, side_nu, outer_nu, vane_nu = operator.split(y)
    e = [v.directions[:, k, None] for k in range(3)]
    s = v.speed[None, :]
    weight = v.direction_weights[:, None] * v.speed_weights[None, :]
    columns, ny, nz = grid.volume.shape
    boxes = grid.boxes
    new = np.zeros_like(moments)
    falls = {
        "vane": np.zeros((boxes, ny, nz, 4)),
        "end": np.zeros((boxes, ny, nz, 4)),
        "side": np.zeros((columns, nz, 4)),
        "outer": np.zeros((columns, ny, 4)),
    }
    faces = [(walls.front, drive.front, drive.speed), (walls.back, drive.back, -drive.speed)]

    def emitted(h, alpha, nu, tau, push=0.0, bounce=0.0):
        return alpha * (nu + tau * (s**2 - 2.0) + push * s) + (1.0 - alpha) * (h + bounce * s)

    def tally(wall, h, normal, tangent):
        flow = weight * s * normal * h
        wall += [
            flow.sum(),
            2 * (flow * s * normal).sum(),
            2 * (flow * s * tangent).sum(),
            (flow * s**2).sum(),
        ]

    shape = weight.shape
    plane = np.zeros((boxes, 2, 2, ny, nz, *shape))
    top = np.zeros((2, 2, columns, nz, *shape))
    outer = np.zeros((2, 2, columns, ny, *shape))
    for round_ in range(operator.passes):
        last = round_ == operator.passes - 1
        for away in (0, 1):
            if away:
                leaving = plane.copy()
                for b, (alpha, tau, speed) in enumerate(faces[:boxes]):
                    for up, out, j, k in np.ndindex(2, 2, ny, nz):
                        h = leaving[b, up, out, j, k]
                        beyond = leaving[1 - b, up, out, j, k] if boxes == 2 else operator.parity * h
                        wall = emitted(h, alpha, vane_nu[b, j, k], tau, 2 * speed * e[0], 4 * speed * e[0])
                        share = grid.cover[j, k]
                        plane[b, up, out, j, k] = share * wall + (1.0 - share) * beyond
                        if last:
                            tally(falls["vane"][b, j, k], h, e[0], (2 * up - 1) * e[1])
            bottom = np.zeros((2, columns, nz, *shape))
            inner = np.zeros((2, columns, ny, *shape))
            for b, up, out in np.ndindex(boxes, 2, 2):
                c = [(2 * sign - 1) * unit for sign, unit in zip((away, up, out), e, strict=True)]
                if not away:
                    for j, k in np.ndindex(ny, nz):
                        plane[b, up, out, j, k] = emitted(
                            plane[b, up, out, j, k], walls.room, end_nu[b, j, k], drive.room
                        )
                order = range(grid.start[b], grid.start[b + 1])
                for i in order if away else reversed(order):
                    if up:
                        hy = bottom[out, i].copy()
                    else:
                        hy = np.array(
                            [emitted(top[away, out, i, k], walls.room, side_nu[i, k], drive.room) for k in range(nz)]
                        )
                    for j in range(ny) if up else reversed(range(ny)):
                        hz = (
                            inner[up, i, j]
                            if out
                            else emitted(outer[away, up, i, j], walls.room, outer_nu[i, j], drive.room)
                        )
                        for k in range(nz) if out else reversed(range(nz)):
                            nu, *u, tau, qx, qy, qz = moments[i, j, k]
                            cu = s * sum(a * b_ for a, b_ in zip(c, u, strict=True))
                            cq = s * sum(a * b_ for a, b_ in zip(c, (qx, qy, qz), strict=True))
                            source = nu + 2 * cu + tau * (s**2 - 1.5) + 4 / 15 * cq * (s**2 - 2.5)
                            widths = (grid.dx[i], grid.sides[0][j], grid.sides[1][k])
                            a = [2 * s * unit / width for unit, width in zip(e, widths, strict=True)]
                            hx = plane[b, up, out, j, k].copy()
                            h = (operator.delta * source + a[0] * hx + a[1] * hy[k] + a[2] * hz) / (
                                operator.delta + sum(a)
                            )
                            plane[b, up, out, j, k], hy[k], hz = 2 * h - hx, 2 * h - hy[k], 2 * h - hz
                            if last:
                                f = weight * h
                                heat = f * s * (s**2 - 2.5)
                                new[i, j, k] += [
                                    f.sum(), *((f * s * unit).sum() for unit in c),
                                    2 / 3 * (f * (s**2 - 1.5)).sum(), *((heat * unit).sum() for unit in c),
                                ]  # fmt: skip
                        if out:
                            outer[away, up, i, j] = hz
                            if last:
                                tally(falls["outer"][i, j], hz, e[2], c[0])
                        else:
                            inner[up, i, j] = hz
                    if up:
                        top[away, out, i] = hy
                        if last:
                            for k in range(nz):
                                tally(falls["side"][i, k], hy[k], e[1], c[0])
                    else:
                        bottom[out, i] = hy
                if away and last:
                    for j, k in np.ndindex(ny, nz):
                        tally(falls["end"][b, j, k], plane[b, up, out, j, k], e[0], c[1])
    return new, falls


@pytest.mark.parametrize(
    ("boxes", "parity", "walls"),
    [(1, -1.0, Walls()), (1, 1.0, Walls(0.8, 0.8, 0.9)), (2, 1.0, Walls(0.7, 0.9, 1.0))],
)
def test_kernel_agrees_with_the_plain_sweep(boxes, parity, walls):
    room = Room(2.5, 2.2, 2.6, position=0.4 if boxes == 2 else 0.5)
    grid = Shape("disc").grid(room, 1.0, 0.15, boxes=boxes)
    operator = SpaceOperator(grid, SpaceVelocities(2, 2, 4), 1.3, walls, parity)
    y = np.random.default_rng(5).normal(size=operator.size)
    drive = Drive(front=0.3, back=-0.7, room=0.2, speed=0.5)
    new, incoming = operator.sweep(y, drive)
    moments, falls = plain_sweep(operator, y, drive)
    np.testing.assert_allclose(operator.split(new)[0], moments, atol=1e-12)
    np.testing.assert_allclose(incoming.vane, falls["vane"], atol=1e-12)
    np.testing.assert_allclose(incoming.end, falls["end"], atol=1e-12)
    np.testing.assert_allclose(incoming.sides[0], falls["side"], atol=1e-12)
    np.testing.assert_allclose(incoming.sides[1], falls["outer"], atol=1e-12)


@pytest.mark.parametrize("name", ["square", "diamond", "disc"])
def test_free_flight_thermal_force_is_exact_for_every_outline(published, name):
    """A quarter of p0 A dT/T0, whatever the room: no news passes between the faces (Knudsen 1910)."""
    values, _ = answer(Shape(name), Room(3.0, 3.0, 3.0), np.inf)
    # The discrete angles stand for <c_n^2> of each half to rounding in azimuth, not in the polar angle.
    published(f"thermal force of a {name} in free flight", values["thermal_force"], 0.25, rel=1e-6, unit="p0 A dT/T0")
    assert values["heat_hot"] == pytest.approx(0.5 / SQRT_PI, rel=1e-6)


def test_free_flight_drag_grows_to_that_of_an_unbounded_gas_with_the_room(published):
    """Drag -> 4/sqrt(pi) + sqrt(pi); in space the room's share falls as the square of its size."""
    unbounded = 4.0 / SQRT_PI + SQRT_PI
    drag = {
        size: -solve(Case(Shape("square"), Room(size, size, size), np.inf), Resolution(0.4, 12, 10), ("motion",))[
            0
        ].force
        for size in (4.0, 8.0)
    }
    assert drag[4.0] > drag[8.0] > unbounded
    limit = (4.0 * drag[8.0] - drag[4.0]) / 3.0
    published("drag of a square in free flight, room grown", limit, unbounded, rel=0.01, unit="p0 A U/v0")


@pytest.mark.parametrize("knudsen", [10.0, 1.0, 0.1])
def test_reciprocity_and_balances_hold(knudsen):
    values, solutions = answer(
        Shape("disc"), Room(3.0, 3.5, 2.5, position=0.4), knudsen, Walls(0.7, 0.9, 1.0), tolerance=1e-5
    )
    carried = 0.5 * (values["motion_heat_hot"] - values["motion_heat_cold"])
    assert carried == pytest.approx(-values["thermal_force"], rel=1e-5)
    for solution in solutions:
        assert abs(solution.mass_residual) < 1e-6
        assert abs(solution.energy_residual) < 1e-6


def test_a_quarter_turn_about_its_normal_leaves_the_force_on_a_vane_unchanged():
    """Width and height change places: twice as high as wide, or half as high in a room half as large, at half
    Kn.
    """
    upright, _ = answer(Shape("rectangle", 2.0), Room(3.0, 2.0, 4.0), 0.6, resolution=Resolution(0.6, 6, 4))
    lying, _ = answer(Shape("rectangle", 0.5), Room(1.5, 2.0, 1.0), 0.3, resolution=Resolution(0.6, 6, 4))
    for name in ("thermal_force", "drag", "heat_hot"):
        assert lying[name] == pytest.approx(upright[name], rel=4e-3)


def test_half_of_a_symmetric_domain_agrees_with_the_whole():
    half, _ = answer(Shape("square"), Room(3.0, 3.0, 3.0), 0.5, tolerance=1e-5)
    whole, solutions = answer(Shape("square"), Room(3.0, 3.0, 3.0, position=0.5 + 1e-15), 0.5, tolerance=1e-5)
    assert solutions[0].grid.boxes == 2
    for name in ("thermal_force", "drag", "heat_hot", "loss_hot"):
        assert whole[name] == pytest.approx(half[name], rel=1e-5)


def test_a_long_rectangle_tends_to_the_strip():
    """Coefficients per area of rectangles ever longer, in rooms as much higher, close in on the endless
    strip's.
    """
    strip = solve(Case(Shape("strip"), Room(3.0, 3.0), 0.5), Resolution(0.5, 12), NAMES)
    strip = coefficients(dict(zip(NAMES, strip, strict=True)))
    short, long = (
        answer(Shape("rectangle", a), Room(3.0, 3.0, 2.0 + a), 0.5, resolution=Resolution(0.5, 8, 6))[0]
        for a in (4.0, 12.0)
    )
    for name in ("thermal_force", "drag", "heat_hot"):
        # The two ends matter as 1/length, which two lengths remove.
        assert (12.0 * long[name] - 4.0 * short[name]) / 8.0 == pytest.approx(strip[name], rel=8e-3)


def test_area_of_the_cell_mask_is_that_of_the_outline():
    """The edge of a disc cuts cells; the share it covers in each keeps the area to a thousandth."""
    for name, area in (("disc", np.pi / 4.0), ("diamond", 1.0)):
        grid = Shape(name).grid(Room(4.0, 4.0, 4.0), 1.0, 0.4, boxes=1)
        assert 4.0 * np.sum(grid.face * grid.cover) == pytest.approx(area, rel=1e-3)


@pytest.mark.parametrize(("knudsen", "most"), [(0.03, 12)])
def test_the_number_of_fine_sweeps_hardly_grows_towards_the_continuum(knudsen, most):
    (answer,) = solve(Case(Shape("square"), Room(2.0, 2.0, 2.0), knudsen), Resolution(0.4, 4, 3), ("faces",))
    assert answer.sweeps <= most
    assert answer.residual < 1e-6


@pytest.mark.parametrize("name", ["strip", "square", "disc"])
def test_every_refinement_divides_every_segment(name):
    """Two levels tell an error only if cells shrink everywhere, across the vane as well."""
    room = Room(4.0, 4.0) if name == "strip" else Room(4.0, 4.0, 4.0)
    grids = [Shape(name).grid(room, 0.3, 0.4, boxes=1, refined=2.0 ** (0.5 * level)) for level in range(5)]
    for coarse, fine in itertools.pairwise(grids):
        for a, b in zip((coarse.x[0], coarse.across[0]), (fine.x[0], fine.across[0]), strict=True):
            assert 1.2 < (b.size - 1) / (a.size - 1) < 1.6
        inner = [np.sum(grid.across[0] <= 0.5 + 1e-12) - 1 for grid in (coarse, fine)]
        assert 1.2 < inner[1] / inner[0] < 1.6
        assert np.any(np.isclose(fine.across[0], 0.5))
