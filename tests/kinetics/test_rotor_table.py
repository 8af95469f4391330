"""The shipped surface through rotors, compared with rotors that it was not fitted to."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from edgewind.errors import InputError
from edgewind.kinetics import RotorRatios
from edgewind.kinetics.rotor_entries import COUNT, HELD_SEED, dense_entries, entries
from edgewind.kinetics.rotor_table import KEY, LONE, NAMES, SMALLEST, Surface, lone_square, read_answers

HELD = read_answers(Path(__file__).with_name("held_rotors.csv"))
DENSE = read_answers(Path(__file__).with_name("dense_rotors.csv"))


def place(data):
    return [data[name].to_numpy(float) for name in KEY[1:]]


@pytest.mark.parametrize("vanes", [2, 4])
def test_the_surface_agrees_with_random_solved_rotors_within_its_stated_error(vanes):
    """Rotors drawn at random, none of them in the table, solved one level more finely: 34 of four vanes, 24 of two.

    They are within 2 per cent, and nine of ten within two standard errors of surface and direct solution together.
    """
    held = HELD[HELD["vanes"] == vanes]
    where, ratios = place(held), RotorRatios.standard(vanes)
    lone = lone_square(where[3], where[4])
    found, stated = ratios.at(*where), ratios.error(*where)
    within = []
    for name in NAMES:
        direct = held[name].to_numpy(float)
        off = np.abs(np.log(found[name] * lone[name] / direct))
        assert np.max(off) < 0.02, name
        within.append(off <= 2.0 * np.hypot(stated[name], held[f"{name}_error"].to_numpy(float) / direct))
    assert np.mean(within) >= 0.9


def test_held_rotors_are_those_drawn_at_random():
    """The rotors were not selected by their results: they are the first of a seeded sequence."""
    drawn = list(entries(len(HELD), seed=HELD_SEED))
    kept = {tuple(round(float(row[name]), 4) for name in ("arm", "chamber", "aspect")) for _, row in HELD.iterrows()}
    assert kept <= {(e.arm, e.chamber, e.aspect) for e in entries(len(HELD) + 15, seed=HELD_SEED)}
    assert len(kept & {(e.arm, e.chamber, e.aspect) for e in drawn}) > 0.8 * len(kept)


def test_forces_of_a_rotor_over_those_of_four_lone_vanes_fall_in_denser_gas():
    """Neighbours reduce torque and drag, the more the denser the gas; in a chamber of equal relative width
    four vanes lose more than two.
    """
    kn = np.array([100.0, 3.0, 1.0, 0.3, 0.1])
    four, two = (RotorRatios.standard(vanes).at(1.25, 2.0, 1.0, kn, 1.0) for vanes in (4, 2))
    for name in ("torque", "drag"):
        assert np.all(np.diff(four[name]) < 0.0)
        assert np.all(four[name] < two[name])
        assert 0.5 < four[name][-1] < 0.85


def test_ratios_below_the_tables_become_constant_and_their_error_grows():
    ratios = RotorRatios.standard(4)
    kn = SMALLEST / np.array([1.0, 3.0, 30.0, 3000.0])
    found, error = ratios.at(1.5, 2.0, 1.0, kn, 1.0), ratios.error(1.5, 2.0, 1.0, kn, 1.0)
    for name in LONE:
        steps = np.abs(np.diff(np.log(found[name])))
        assert steps[2] < 0.05 * (steps[0] + steps[1])
        assert np.all(np.diff(error[name]) > 0.01)


@pytest.mark.parametrize("vanes", [2, 4])
def test_the_surface_agrees_with_random_rotors_in_dense_gas_within_its_stated_error(vanes):
    """Rotors of Kn 0.011 to 0.03, drawn at random, that the tables do not hold: within 2.5 per cent, nine of ten
    numbers within the standard error of surface and direct solution together, and all within twice that.
    """
    held = DENSE[DENSE["vanes"] == vanes]
    where, ratios = place(held), RotorRatios.standard(vanes)
    lone, found, stated = lone_square(where[3], where[4]), ratios.at(*where), ratios.error(*where)
    share = []
    for name in NAMES:
        direct = held[name].to_numpy(float)
        off = np.abs(np.log(found[name] * lone[name] / direct))
        assert np.max(off) < 0.025, name
        share.append(off / np.hypot(stated[name], held[f"{name}_error"].to_numpy(float) / direct))
    assert np.max(share) < 2.0
    assert np.mean(np.array(share) < 1.0) > 0.9


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"arm": 0.9}, "arm 0.9"),
        ({"chamber": 5.0}, "chamber 5"),
        ({"aspect": 3.0}, "aspect 3"),
        ({"knudsen": 0.0}, "above 0"),
        ({"accommodation": 0.3}, "accommodation 0.3"),
    ],
)
def test_rotors_outside_the_tables_are_reported(wrong, says):
    given = {"arm": 1.5, "chamber": 2.0, "aspect": 1.0, "knudsen": 1.0, "accommodation": 1.0} | wrong
    with pytest.raises(InputError, match=says):
        RotorRatios.standard(4).at(**given)


def test_the_rotors_of_the_tables_are_those_that_the_tool_selects():
    """`make tables` gives the shipped rotors again: no more, no fewer."""
    shipped = read_answers(files("edgewind.kinetics") / "rotor_tables.csv")
    kept = {tuple(float(f"{value:.6g}") for value in line) for line in shipped[list(KEY)].to_numpy(float)}
    ordered = [*entries(COUNT), *dense_entries()]
    assert {tuple(float(f"{getattr(one, name):.6g}") for name in KEY) for one in ordered} == kept
    held = {tuple(float(f"{value:.6g}") for value in line) for line in DENSE[list(KEY)].to_numpy(float)}
    assert not held & kept


def test_other_numbers_of_vanes_are_refused():
    with pytest.raises(InputError, match="6 vanes"):
        RotorRatios.standard(6)


def test_a_surface_passes_through_exact_values_and_states_its_error():
    """A smooth function in two dimensions, forty points, two hundred others."""
    rng = np.random.default_rng(4)
    points, others = rng.uniform(-1, 1, (40, 2)), rng.uniform(-1, 1, (200, 2))

    def truth(x):
        return 0.3 * x[:, 0] + 0.1 * np.sin(2.0 * x[:, 1]) * (1.0 + x[:, 0])

    surface = Surface.fitted(points, truth(points), np.full(40, 1e-5))
    found, spread = surface.mean(others), surface.deviation(others)
    assert np.max(np.abs(found - truth(others))) < 0.01
    assert np.mean(np.abs(found - truth(others)) < 2.0 * spread + 1e-5) > 0.9
    assert np.max(np.abs(surface.mean(points) - truth(points))) < 1e-3
