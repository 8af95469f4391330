"""A whole rotor in its chamber."""

from __future__ import annotations

import numpy as np
import pytest
from typer.testing import CliRunner

from edgewind.cli import app
from edgewind.errors import InputError
from edgewind.kinetics.geometry import Room, Shape
from edgewind.kinetics.rotor_grid import Rotor, rotor_grid
from edgewind.kinetics.rotor_operator import RotorDrive, RotorOperator, RotorVelocities, ThirdVelocities
from edgewind.kinetics.rotor_respond import check_rotor, coefficients, refine, respond_rotor
from edgewind.kinetics.rotor_solve import RotorCase, RotorResolution, solve_rotor
from edgewind.kinetics.solve import Case, Resolution, solve

SQUARE = Shape("square")
ROUGH = RotorResolution(4, 3, grid=0.3)
MAIN = ("torque", "drag", "heat_apart", "loss")


def answer(rotor, knudsen, level=ROUGH, *, leading=1.0, trailing=1.0, tolerance=1e-4):
    drives = ("faces", "both", RotorDrive(spin=1.0 / rotor.arm))
    solutions = solve_rotor(RotorCase(rotor, knudsen, leading, trailing), level, drives, tolerance=tolerance)
    return coefficients(*solutions), solutions


@pytest.mark.parametrize("vanes", [1, 2, 4])
def test_a_mirrored_domain_and_a_rotated_domain_agree(vanes):
    """Equal faces make the planes of the vanes planes of symmetry; a rotation by a quarter or a half does not use
    them, and sweeps other directions in another order. About a single vane both halves of the chamber are swept.
    """
    rotor = Rotor(SQUARE, vanes, 1.2, 4.6, 2.4)
    mirrored, _ = answer(rotor, 0.7, tolerance=1e-6)
    turned, _ = answer(rotor, 0.7, leading=1.0, trailing=1.0 - 1e-13, tolerance=1e-6)
    for name in MAIN:
        assert turned[name] == pytest.approx(mirrored[name], rel=1e-6)


@pytest.mark.parametrize(("vanes", "round_"), [(1, True), (2, True), (3, True), (4, True), (4, False)])
def test_uniform_gas_at_rest_is_a_fixed_point_of_the_sweep(vanes, round_):
    """A sweep leaves gas and walls at rest at one density unchanged, whatever cells the wall cuts."""
    grid = rotor_grid(Rotor(SQUARE, vanes, 1.2, 4.6, 2.4, round_), 1.0, 0.3)
    velocities, parity = (ThirdVelocities(3, 4, 4), None) if vanes == 3 else (RotorVelocities(3, 4, 4), 1.0)
    operator = RotorOperator(grid, velocities, 0.9, vanes, parity=parity)
    more, _ = operator.null
    np.testing.assert_allclose(operator.apply(more), 0.0, atol=1e-13)


def test_a_sweep_of_a_third_of_the_chamber_conserves_particles():
    """Whatever the gas is: axes at 120 degrees count the crossings of oblique faces."""
    grid = rotor_grid(Rotor(SQUARE, 3, 1.2, 4.6, 2.4, True), 1.0, 0.3)
    operator = RotorOperator(grid, ThirdVelocities(3, 4, 4), 0.9, 3, parity=None)
    more, mass = operator.null
    assert grid.volume.sum() == pytest.approx(np.pi * 2.3**2 / 3.0 * 1.2, rel=0.02)
    operator.split(more)[0][:] = grid.gas[..., None, None]
    unknowns = np.random.default_rng(3).normal(size=operator.size) * more
    assert abs(mass @ operator.apply(unknowns)) < 1e-12 * np.abs(mass * unknowns).sum()


@pytest.mark.parametrize(
    ("vanes", "round_", "faces", "knudsen"),
    [
        (4, False, (0.7, 0.9), 1.0),
        (2, True, (0.7, 0.9), 0.2),
        (4, True, (1.0, 1.0), 0.3),
        (1, True, (0.6, 0.9), 1.0),
        (3, True, (0.7, 0.9), 1.0),
    ],
)
def test_heat_by_rotation_is_reciprocal_to_the_torque_of_the_faces(vanes, round_, faces, knudsen):
    """Onsager-Casimir reciprocity, and balances of particles and energy."""
    rotor = Rotor(SQUARE, vanes, 1.2, 4.6, 2.4, round_)
    values, solutions = answer(rotor, knudsen, leading=faces[0], trailing=faces[1], tolerance=1e-5)
    carried = 0.5 * (values["spin_heat_trailing"] - values["spin_heat_leading"])
    assert carried == pytest.approx(values["torque"], rel=1e-5)
    assert values["torque"] > 0.0
    assert values["drag"] > 0.0
    for solution in solutions:
        assert abs(solution.mass_residual) < 1e-4
        assert abs(solution.energy_residual) < 1e-5


def test_unequal_accommodation_turns_a_rotor_of_uniform_temperature():
    """Vanes warmer than the chamber lose heat by both faces; the face that the gas takes more from is pushed harder."""
    values, _ = answer(Rotor(SQUARE, 4, 1.2, 4.6, 2.4), 5.0, leading=0.6, trailing=1.0)
    assert values["loss_torque"] > 0.02
    mirrored, _ = answer(Rotor(SQUARE, 4, 1.2, 4.6, 2.4), 5.0, leading=1.0, trailing=0.6)
    assert mirrored["loss_torque"] == pytest.approx(-values["loss_torque"], rel=1e-6)


def test_one_vane_far_from_axis_and_walls_is_the_lone_square():
    """The lone square by the solver of a vane in a room, another domain, grid and set of directions.

    The vane stands 3.5 widths from the outer wall and 18 from the inner: between rooms 8 and 22 widths across.
    """
    values, _ = answer(Rotor(SQUARE, 1, 7.0, 22.0, 7.0), 1.0, RotorResolution(6, 4, grid=0.35), tolerance=1e-3)
    near, far = (
        solve(Case(SQUARE, Room(22.0, across, 7.0), 1.0), Resolution(0.35, 5, 4), tolerance=1e-3)
        for across in (8.0, 22.0)
    )
    assert -0.99 * far[0].force < values["torque"] < -1.01 * near[0].force
    assert -0.99 * far[2].force < values["drag"] / (1.0 + 1.0 / 12.0 / 49.0) < -1.01 * near[2].force
    assert values["heat_apart"] == pytest.approx(near[0].mean("heat", 0), rel=0.005)
    assert values["loss"] == pytest.approx(near[1].mean("heat", 0), rel=0.005)


def test_vanes_on_long_arms_are_nearly_lone_vanes():
    """Six widths from the axis, in one chamber: heat stays what it is, and two vanes are within a per cent of one.

    Four stir each other's gas: finer levels give -2.5 per cent of the torque and -3.6 of the drag (whole-rotor.md has
    the series), this one -2.3 and -4.2.
    """
    resolution = RotorResolution(6, 4, grid=0.25)
    four, two, one = (answer(Rotor(SQUARE, vanes, 6.0, 17.0, 5.0), 1.0, resolution)[0] for vanes in (4, 2, 1))
    for name in ("heat_apart", "loss"):
        assert two[name] == pytest.approx(one[name], rel=1e-3), name
        assert four[name] == pytest.approx(one[name], rel=5e-3), name
    for name, lost in (("torque", 0.025), ("drag", 0.036)):
        assert 0.99 * one[name] < two[name] < one[name], name
        assert four[name] == pytest.approx((1.0 - lost) * one[name], rel=0.01), name


def test_free_flight_agrees_with_rays_between_faces(rays):
    """Torque, drag and heat of four vanes by chains of rays: no mesh, no set of directions (the drag to the noise of
    20 000 rays; benchmarks/bench_rotor_kinetics.py traces a million for three arms and two chambers).
    """
    case = RotorCase(Rotor(SQUARE, 4, 1.5, 6.0, 4.0), np.inf)
    found = coefficients(*solve_rotor(case, RotorResolution.level(1, np.inf),
                                      ("faces", "both", RotorDrive(spin=1.0 / 1.5))))  # fmt: skip
    traced = rays.free_flight(4, 1.5, 6.0, 4.0, rays=20_000, bounces=16)
    for name, rel in (("torque", 0.005), ("heat_apart", 0.005), ("loss", 0.005), ("drag", 0.03)):
        assert found[name] == pytest.approx(traced[name], rel=rel), name


def test_three_vanes_in_free_flight_agree_with_rays(rays):
    """By thirds of the chamber, along axes at 120 degrees; the rays know nothing of either."""
    case = RotorCase(Rotor(SQUARE, 3, 1.5, 6.0, 4.0, True), np.inf)
    found = coefficients(*solve_rotor(case, RotorResolution.level(1, np.inf),
                                      ("faces", "both", RotorDrive(spin=1.0 / 1.5))))  # fmt: skip
    traced = rays.free_flight(3, 1.5, 6.0, 4.0, is_round=True, rays=20_000, bounces=16)
    for name, rel in (("torque", 0.005), ("heat_apart", 0.005), ("loss", 0.005), ("drag", 0.03)):
        assert found[name] == pytest.approx(traced[name], rel=rel), name


def test_three_vanes_lie_between_two_and_four():
    """One arm, one chamber, one level, at Kn 0.5: neighbours reduce torque and drag, the more the more vanes."""
    two, three, four = (answer(Rotor(SQUARE, vanes, 1.2, 4.6, 3.0, True), 0.5)[0] for vanes in (2, 3, 4))
    for name in ("torque", "drag", "loss"):
        assert four[name] < three[name] < two[name], name
    assert two["heat_apart"] < three["heat_apart"] < four["heat_apart"]


def test_the_number_of_fine_sweeps_hardly_grows_towards_the_continuum():
    """Also where a round wall cuts the cells."""
    case = RotorCase(Rotor(SQUARE, 4, 0.7, 2.8, 1.5, True), 0.05)
    (faces,) = solve_rotor(case, RotorResolution(4, 3, grid=0.3), ("faces",))
    assert faces.sweeps <= 12
    assert faces.residual < 1e-6


def test_the_stated_error_covers_the_change_on_a_finer_level():
    case = RotorCase(Rotor(SQUARE, 2, 0.8, 3.2, 2.0), 0.5)
    rough = refine(case, 0.03, 1, "cpu", lambda operator: operator)
    (faces,) = solve_rotor(case, RotorResolution.level(2, 0.5), ("faces",))
    assert rough.reached
    for name, fine in (("torque", faces.torque), ("heat_apart", faces.mean("heat")[1])):
        assert abs(rough.values[name] - fine) <= 1.2 * rough.errors[name] + 1e-3 * fine


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"arm": 0.5}, "touches the other vanes"),
        ({"arm": 0.3, "vanes": 1}, "touches the axis"),
        ({"arm": 2.7}, "leave no gap to a wall"),
        ({"room": (6.0, 6.0, 1.0)}, "no gap to the ends"),
        ({"room": (6.0, 5.0, 4.0)}, "its base must be a square"),
        ({"room": (6.0,)}, "'6' are not the sides of a chamber"),
        ({"vanes": 3}, "three vanes are not alike in a box"),
        ({"vanes": 5}, "must be 1 to 4, not 5"),
        ({"shape": "strip"}, "endless strip"),
    ],
)
def test_an_impossible_rotor_is_refused_with_the_reason(wrong, says):
    given = {"shape": "square", "aspect": 1.0, "vanes": 4, "arm": 1.5, "room": (6.0, 6.0, 4.0)} | wrong
    with pytest.raises(InputError, match=says):
        check_rotor(**given)


@pytest.mark.parametrize("accommodation", [{"hot": 0.8, "room": 0.9}, (1.0, 0.9, 0.8)])
def test_a_specular_chamber_is_refused(accommodation):
    """The chamber of a rotor is computed with diffuse walls, and other walls are refused."""
    with pytest.raises(InputError, match=r"key accommodation: .* computed with diffuse walls.*chamber_ratios"):
        respond_rotor("square", 1.0, vanes=4, arm=1.5, room=(6, 6, 4), accommodation=accommodation, cache=False)


def test_fields_of_three_vanes_are_refused_before_they_are_solved():
    with pytest.raises(InputError, match="fields around three vanes cannot be kept"):
        respond_rotor("square", 1.0, vanes=3, arm=1.5, room=(6, 4), round=True, fields=True, cache=False)
    words = ["--knudsen", "1", "--vanes", "3", "--arm", "1.5", "--room", "6,4", "--round", "--picture", "three.png"]
    result = CliRunner().invoke(app, ["respond", "--shape", "square", *words])
    assert "three vanes" in str(result.exception)


def test_the_command_refuses_before_it_computes():
    runner = CliRunner()
    for words in (["--vanes", "4"], ["--arm", "1.5"], ["--vanes", "4", "--arm", "1.5", "--room", "4"]):
        result = runner.invoke(app, ["respond", "--shape", "square", "--knudsen", "1", *words])
        assert isinstance(result.exception, InputError)
