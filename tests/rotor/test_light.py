"""Light on the vanes over a turn, what it and the faces' own infrared press with, against independent computations."""

import numpy as np
import pytest
from scipy.constants import Stefan_Boltzmann, g, speed_of_light
from scipy.integrate import quad

from edgewind.rotor import DRIVES, parameters_of, steady_state
from edgewind.rotor.shade import turn_means


def lit_share(vanes, arm, steps=720, points=400):
    """Share of light that a face receives, by what the vanes hide of each other in a level beam along -x.

    Each vane is a line in the plane. From the light the nearest line is seen at every place across the beam: the light
    is sorted onto vanes place by place, with no ray followed from any vane.
    """
    across = (np.arange(points) + 0.5) / points * 2 * (arm + 0.5) - (arm + 0.5)
    open_light = lone_light = 0.0
    for turn in (np.arange(steps) + 0.5) / steps * 2 * np.pi / vanes:
        nearest, owner = np.full(points, -np.inf), np.full(points, -1)
        for vane in range(vanes):
            angle = turn + 2 * np.pi * vane / vanes
            inner, outer = ((arm + end) * np.array([np.cos(angle), np.sin(angle)]) for end in (-0.5, 0.5))
            if abs(outer[1] - inner[1]) < 1e-12:
                continue
            share = (across - inner[1]) / (outer[1] - inner[1])
            depth = inner[0] + share * (outer[0] - inner[0])
            seen = (share >= 0) & (share <= 1)
            lone_light += np.count_nonzero(seen)
            better = seen & (depth > nearest)
            nearest[better], owner[better] = depth[better], vane
        open_light += np.count_nonzero(owner >= 0)
    return open_light / lone_light


@pytest.mark.parametrize("vanes", [2, 3, 4, 6])
@pytest.mark.parametrize("arm", [1.0, 1.25, 2.0])
def test_shade_in_a_beam_is_the_area_that_vanes_hide_of_each_other(vanes, arm):
    assert turn_means("beam", vanes, arm).open_share == pytest.approx(lit_share(vanes, arm), abs=4e-3)


def test_light_on_a_lone_vane_equals_the_closed_forms():
    """In a beam ``cos`` over half of the turn, 1/pi, and ``cos^2``, 1/4; all round 1, and 2/3 from even radiance."""
    mean = quad(np.cos, -np.pi / 2, np.pi / 2)[0] / (2 * np.pi)
    pressed = quad(lambda phi: np.cos(phi) ** 2, -np.pi / 2, np.pi / 2)[0] / (2 * np.pi)
    beam, round_it = turn_means("beam", 1, 1.25), turn_means("all-round", 1, 1.25)
    assert (beam.irradiance, beam.push) == pytest.approx((mean, pressed), rel=1e-4)
    assert (round_it.irradiance, round_it.push) == pytest.approx((1, 2 / 3), rel=1e-3)
    assert beam.open_share == round_it.open_share == 1


def test_light_from_all_sides_is_shaded_by_neighbours_not_edge_on():
    assert turn_means("all-round", 2, 1.0).open_share == pytest.approx(1.0, abs=1e-9)
    assert turn_means("all-round", 4, 1.0).open_share < turn_means("all-round", 4, 3.0).open_share < 1


@pytest.mark.parametrize("shape", ["disc", "diamond"])
def test_vanes_that_narrow_to_their_ends_shade_less(shape):
    full = turn_means("beam", 4, 1.25).open_share
    assert full < turn_means("beam", 4, 1.25, 1.0, shape).open_share < 1


@pytest.mark.parametrize(("reflection", "factor"), [("mirror", 1 / 4), ("diffuse", 2 / 3 / np.pi)])
def test_pressure_of_reflected_light_depends_on_its_angle(make_bench, reflection, factor):
    """A mirror sends it back as it came, cos^2 over the turn; a diffuse face by Lambert's law, (2/3) cos."""
    rotor = parameters_of(
        make_bench(
            rotor={"vanes": 2, "dark_absorptance": "1", "bright_absorptance": "0.2", "bright_reflection": reflection}
        )
    )
    state = steady_state(np.array([1.0]), rotor, StandInFree(), drives=("light_pressure",))
    expected = -2 * rotor.arm_m * rotor.vane_area_m2 * rotor.irradiance_w_m2 / speed_of_light * 0.8 * factor
    assert state.torque["light_pressure"][0] == pytest.approx(expected, rel=1e-3)


class StandInFree:
    """The gas in free flight, whatever the pressure."""

    least_knudsen = 1e-9

    def at(self, knudsen, accommodation):
        from edgewind.rotor import response_for

        return response_for(8.0).at(np.full(np.shape(knudsen), np.inf), accommodation)


def test_infrared_recoil_drives_the_bright_face_forward_against_light_pressure(make_bench):
    """By hand: ``(2/3) (q_dark - q_bright)/c`` with the fluxes of the faces; where no heat goes through the gas or the
    vane, all that is absorbed is radiated by the face itself, and its recoil is of the size of light pressure.
    """
    rotor = parameters_of(
        make_bench(
            rotor={
                "dark_absorptance": "0.95", "dark_emissivity": "0.95", "bright_absorptance": "0.15",
                "bright_emissivity": "0.05", "vane_conductance": "1e-6 W/(m^2 K)", "dark_reflection": "diffuse",
                "bright_reflection": "diffuse",
            }
        )
    )  # fmt: skip
    state = steady_state(np.array([1e-7]), rotor, StandInFree())
    te, at = rotor.envelope_temperature_k, state.at
    flux = [e * Stefan_Boltzmann * (t**4 - te**4) for e, t in ((0.95, at.dark_k[0]), (0.05, at.bright_k[0]))]
    expected = rotor.vanes * rotor.arm_m * rotor.vane_area_m2 * 2 / 3 * (flux[0] - flux[1]) / speed_of_light
    assert state.torque["infrared_recoil"][0] == pytest.approx(expected, rel=1e-9)
    # absorbed (0.95 - 0.15) E/pi leaves with 2/3: the reflected (0.85 - 0.05) E 2/(3 pi) presses as much the other way
    assert state.torque["infrared_recoil"][0] == pytest.approx(-state.torque["light_pressure"][0], rel=0.02)
    assert list(DRIVES)[:2] == ["thermal_force", "light_pressure"]


def push_of(power_w, reflectance, make_bench, standin):
    """The push of a bright face beyond that of a black one as brightly lit, N: one vane that faces a beam, arm 1 m."""
    rotor = parameters_of(make_bench())
    facing = rotor.with_(
        vanes=1, arm_m=1.0, irradiance_w_m2=power_w / rotor.vane_area_m2, dark_absorptance=1.0,
        bright_absorptance=1.0 - reflectance, bright_reflected_push=1.0,
    )  # fmt: skip
    return -float(steady_state(np.array([1.0]), facing, standin).torque["light_pressure"][0])


def test_fifty_watts_on_a_mirror_press_by_seventeen_micrograms_force_more_than_on_a_black_face(make_bench, standin):
    """As 50 W fully absorbed press by about 17 (common practice, no source), and a mirror is pressed twice as hard."""
    assert push_of(50.0, 1.0, make_bench, standin) / g * 1e9 == pytest.approx(17.0, abs=0.05)


def test_light_pressure_on_a_mirror_is_twice_that_on_a_black_face(make_bench, standin, published):
    """Source: J. C. Maxwell, A Treatise on Electricity and Magnetism (1873), art. 792; E. F. Nichols and G. F. Hull,
    The pressure due to radiation, Phys. Rev. 17, 26 (1903): P/c on a black face, 2 P/c on a mirror.
    """
    on_black = 1.0 / speed_of_light
    for reflectance in (1.0, 0.4, 0.0):
        found = push_of(1.0, reflectance, make_bench, standin) + on_black
        expected = (1.0 + reflectance) / speed_of_light
        published(f"force of 1 W of light at a reflectance of {reflectance:g}", found, expected, rel=1e-9, unit="N")
