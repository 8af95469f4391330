"""Walls of Cercignani and Lampis, sampled, against their closed forms; and what they change against Maxwell's."""

from __future__ import annotations

from importlib import resources

import numpy as np
import pandas as pd
import pytest

from edgewind.kinetics import CercignaniLampis, respond
from edgewind.kinetics.wall_law import UNEQUAL_IN_FREE_FLIGHT, unequal_wall_law_error, wall_law_error, wall_law_ratios


def energy_accommodation(tangential, normal):
    """Of the whole kinetic energy: a flux carries k T along the normal and k T along the wall (C. Cercignani and
    M. Lampis, Transp. Theory Stat. Phys. 1, 101, 1971).
    """
    return 0.5 * (normal + tangential * (2.0 - tangential))


def thermal_force_in_free_flight(normal):
    """F/(p0 A) per dT/T0 in an unbounded gas: what leaves is Gaussian along the normal with the temperature
    ``a_n T_wall + (1 - a_n) T0``, so that each face adds a_n/8 and both a_n/4.
    """
    return 0.25 * normal


def scattered(incoming, tangential, normal, wall, random):
    """Velocities that leave a wall of Cercignani and Lampis, by the algorithm of Lord (Phys. Fluids A 3, 706, 1991):
    along the wall a Gaussian about (1 - s) of what came, along the normal the length of a vector in a plane.
    """
    root = np.sqrt(wall)
    out = np.empty_like(incoming)
    spread = np.sqrt(0.5 * tangential * (2.0 - tangential)) * root
    for axis in (1, 2):
        out[:, axis] = (1.0 - tangential) * incoming[:, axis] + spread * random.standard_normal(len(incoming))
    share = np.sqrt(1.0 - normal) * incoming[:, 0]
    x, y = np.sqrt(0.5 * normal) * root * random.standard_normal((2, len(incoming)))
    out[:, 0] = np.hypot(share + x, y)
    return out


@pytest.mark.parametrize(("tangential", "normal"), [(1.0, 1.0), (0.9, 0.81), (0.5, 0.9), (1.0, 0.3)])
def test_sampled_walls_have_the_closed_forms(tangential, normal):
    """In units of v0 of the gas; the wall is warmer by a fifth. Momentum and energy are those of a flux that arrives as
    often as it leaves.
    """
    random, count, warmer = np.random.default_rng(7), 400_000, 0.2
    arriving = np.sqrt(0.5) * random.standard_normal((count, 3))
    arriving[:, 0] = np.sqrt(-np.log(random.uniform(size=count)))
    hot, even = (
        scattered(arriving, tangential, normal, wall, np.random.default_rng(8)) for wall in (1.0 + warmer, 1.0)
    )
    # Pressure of what leaves over p0: the flux is n0 v0 / (2 sqrt(pi)), and p0 = n0 m v0^2 / 2.
    pressure = (hot[:, 0].mean() - even[:, 0].mean()) / np.sqrt(np.pi)
    expected = 0.5 * (np.sqrt(1.0 + normal * warmer) - 1.0)
    assert pressure == pytest.approx(expected, rel=0.01)
    assert pressure / warmer == pytest.approx(float(thermal_force_in_free_flight(normal)), rel=0.06)
    # A flux carries 2 k T: in units of m v0^2 / 2 that is 2, and so is each unit of T.
    energy = ((hot**2).sum(axis=1).mean() - (even**2).sum(axis=1).mean()) / (2.0 * warmer)
    assert energy == pytest.approx(float(energy_accommodation(tangential, normal)), rel=0.01)


def test_at_equal_heat_and_tangential_momentum_the_force_is_less_than_maxwells():
    """a^2/4 instead of a/4 in an unbounded gas in free flight; in a room of four widths the walls take more of it."""
    a = np.array([0.5, 0.8, 0.9, 1.0])
    normal = 2.0 * a - a * (2.0 - a)
    assert energy_accommodation(a, normal) == pytest.approx(a)
    assert thermal_force_in_free_flight(normal) == pytest.approx(0.25 * a * a)
    ratio = wall_law_ratios(a, np.inf)["thermal_force"]
    assert np.all(ratio[:3] < a[:3])
    assert 1.0 - ratio == pytest.approx(1.22 * (1.0 - a), rel=0.05)


def test_rays_and_solver_give_the_strip_the_same_force(rays):
    """In free flight in a room of four widths, the strip as a tall vane between far ends."""
    pushed, u = rays.warm_vane(1, 0.0, 4.0, 60.0, 0.25, 0.5, vane_height=60.0, rays=100_000)
    assert u < 0.03 * 0.125
    assert pushed / 0.125 == pytest.approx(float(wall_law_ratios(0.5, np.inf)["thermal_force"]), abs=3 * u / 0.125)


def test_rays_with_maxwells_law_give_the_known_values(rays):
    """A quarter of the accommodation for a lone vane in any closed room; the torque of four by other rays."""
    alone, u = rays.warm_vane(1, 0.0, 4.0, 4.0, 0.8, rays=100_000)
    assert alone == pytest.approx(0.2, abs=3 * u)
    four, u = rays.warm_vane(4, 1.25, 4.4, 4.4, 1.0, rays=100_000)
    assert four == pytest.approx(rays.free_flight(4, 1.25, 4.4, 4.4, rays=100_000)["torque"], abs=3.5 * u)


@pytest.mark.parametrize(("vanes", "arm", "room"), [(1, 0.0, 4.0), (4, 1.25, 4.4)])
@pytest.mark.parametrize(("tangential", "normal"), [(0.7, 0.49), (1.0, 0.6)])
def test_the_stated_error_covers_squares_and_rotors_in_free_flight(rays, vanes, arm, room, tangential, normal):
    """Walls of Cercignani and Lampis about a square and about four, for which the strip stands."""
    a = round(energy_accommodation(tangential, normal), 12)
    other, u = rays.warm_vane(vanes, arm, room, room, normal, tangential, rays=100_000)
    maxwell, v = (0.25 * a, 0.0) if vanes == 1 else rays.warm_vane(vanes, arm, room, room, a, rays=100_000)
    ratio, ratio_u = other / maxwell, np.hypot(u / maxwell, v * other / maxwell**2)
    strip = float(wall_law_ratios(normal / a, np.inf)["thermal_force"])
    # As far from 1 as the strip, or a little less: in an unbounded gas it would be a_n/a.
    assert strip - 3 * ratio_u < ratio < normal / a + 3 * ratio_u
    if tangential == a:  # the law of which half of the difference is stated
        assert 0.5 * (1.0 - ratio) < float(wall_law_error(a, 1e4)["thermal_force"]) + 1.5 * ratio_u


def test_half_of_the_difference_is_the_stated_error_and_the_law_hardly_matters_in_dense_gas():
    kn = np.array([0.01, 0.1, 1.0, 10.0, 1e4])
    error, ratios, thinner = wall_law_error(0.8, kn), wall_law_ratios(0.8, kn), wall_law_ratios(0.8, 2.0 * kn)
    for name, ratio in ratios.items():
        half = 0.5 * np.maximum(np.abs(1.0 - ratio), np.abs(1.0 - thinner[name]))
        assert error[name] == pytest.approx(half)
    assert np.all(np.diff(error["thermal_force"]) > 0.0)
    assert all(np.all(error[name] < 0.01) for name in ("drag", "heat_hot", "loss_hot"))
    assert all(np.all(one == 0.0) for name, one in wall_law_error(1.0, kn).items() if name != "unequal_force")


@pytest.fixture(scope="module")
def unlike():
    """What the other law does to the force on faces that accommodate unequally, over free flight."""
    with (resources.files("edgewind.kinetics") / "unequal_wall_law.csv").open() as file:
        return pd.read_csv(file, comment="#").set_index(["accommodation", "differ", "knudsen"])


def test_the_stated_error_covers_half_the_effect_of_the_law_on_unlike_faces(unlike):
    """At the nodes it is half of the greater difference; between and beyond them not less than at the next denser."""
    over = unlike["over_thermal_force"].unstack("knudsen").abs()
    for mean in over.index.levels[0]:
        stated = unequal_wall_law_error(mean, over.columns.to_numpy())
        assert stated == pytest.approx(0.5 * over.loc[mean].max().to_numpy())
    kn = np.geomspace(1e-3, 1e3, 60)
    for mean in (0.2, 0.6, 0.8, 1.0):
        assert np.all(np.diff(unequal_wall_law_error(mean, kn)) <= 0.0)
    assert np.all(np.diff(unequal_wall_law_error([0.2, 0.5, 0.8, 0.95, 1.0], 0.1)) <= 0.0)
    # Free flight is where it is counted from.
    assert unequal_wall_law_error(0.9, np.inf) == 0.0
    assert np.all(wall_law_error(0.9, kn)["unequal_force"] == unequal_wall_law_error(0.9, kn))


def test_in_free_flight_unlike_faces_have_up_to_twice_maxwells_force():
    """At equal difference in the accommodation of energy: a_n/8 of each face's warmth is its share of the force."""
    step, a = 1e-4, np.array([0.6, 0.8, 1.0])

    def force_per_energy(tangential_step, normal_step, tangential, normal):
        energy = energy_accommodation(tangential + tangential_step, normal + normal_step)
        return thermal_force_in_free_flight(normal_step) / (energy - energy_accommodation(tangential, normal))

    maxwell = 0.25
    normal_alone = force_per_energy(0.0, -step, a, a * a) / maxwell
    both = force_per_energy(-step, -2 * a * step, a, a * a) / maxwell
    assert normal_alone == pytest.approx(1.0 + UNEQUAL_IN_FREE_FLIGHT)
    assert both == pytest.approx(2.0 * a, rel=1e-3)
    assert np.all(both <= 2.0)


def test_the_shipped_force_on_unlike_faces_agrees_with_the_solver(unlike):
    """Against ourselves, faces a half further apart: the force is straight in their difference."""

    def force(knudsen, hot, cold):
        asked = {"room": 4.0, "tolerance": 5e-3, "workers": 1, "cache": False}
        return respond("strip", knudsen, accommodation={"hot": hot, "cold": cold}, **asked).values["loss_force"]

    other = (CercignaniLampis(0.9, 0.81 + 0.075), CercignaniLampis(0.9, 0.81 - 0.075))
    ratio = {kn: force(kn, *other) / force(kn, 0.9375, 0.8625) for kn in (0.3, np.inf)}
    assert np.log(ratio[0.3] / ratio[np.inf]) == pytest.approx(unlike["force"][0.9, "normal", 0.3], abs=0.01)


def test_the_shipped_ratios_agree_with_the_solver():
    """Against ourselves, between the nodes of the table and with all of the momentum along the wall accommodated: the
    share of the force that is lacking goes as 1 - a_n/a.
    """
    asked = {"room": 4.0, "tolerance": 2e-2, "workers": 1, "cache": False}
    maxwell = respond("strip", 0.5, accommodation={"hot": 0.8, "cold": 0.8}, **asked)
    law = CercignaniLampis(1.0, 0.6)
    found = respond("strip", 0.5, accommodation={"hot": law, "cold": law}, **asked)
    ratios = wall_law_ratios(law.normal / 0.8, 0.5)
    assert found.thermal_force / maxwell.thermal_force == pytest.approx(float(ratios["thermal_force"]), abs=0.015)
    assert found.drag / maxwell.drag == pytest.approx(1.0, abs=0.02)
