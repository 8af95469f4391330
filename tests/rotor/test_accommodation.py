"""Faces that accommodate unequally: closed forms, reciprocity, and what a bench may state."""

import numpy as np
import pytest

from edgewind.errors import InputError
from edgewind.rotor import face_heat, parameters_of, response_for, steady_faces, steady_state
from edgewind.rotor.drives import DRIVES, Conditions

PRESSURES = np.geomspace(0.005, 30, 12)


@pytest.fixture
def rotor(make_bench):
    return parameters_of(make_bench(rotor={"dark_accommodation": "0.95", "bright_accommodation": "0.85"}))


def gas_torque(rotor, response, pressure, dark_k, bright_k):
    gas = response.at(rotor.knudsen(pressure), rotor.accommodation)
    at = Conditions(pressure, rotor.knudsen(pressure), gas, np.asarray(dark_k), np.asarray(bright_k), rotor)
    return DRIVES["thermal_force"](at) + DRIVES["unequal_accommodation"](at)


def test_force_in_free_flight_has_its_closed_form(rotor):
    """(p A/4) [a dT + da (Tm - T0)] / T0: the momentum of the diffuse fluxes that leave the faces, to first order."""
    t0, pressure = rotor.gas_temperature_k, np.array([1e-7])
    found = gas_torque(rotor, response_for(8.0), pressure, t0 + 23.5, t0 + 22.5)
    force = pressure * rotor.vane_area_m2 / 4 * (0.9 * 1.0 + 0.1 * 23.0) / t0
    assert found == pytest.approx(rotor.vanes * rotor.arm_m * force, rel=2e-3)


def test_difference_of_a_twentieth_doubles_the_torque_of_faces_one_kelvin_apart(rotor):
    rotor = rotor.with_(accommodation_difference=0.05)
    t0, pressure = rotor.gas_temperature_k, np.array([1e-3])
    both = gas_torque(rotor, response_for(8.0), pressure, t0 + 23.5, t0 + 22.5)
    alone = gas_torque(rotor.with_(accommodation_difference=0.0), response_for(8.0), pressure, t0 + 23.5, t0 + 22.5)
    assert float(both[0] / alone[0]) == pytest.approx(1 + 0.05 * 23 / 0.9, rel=0.03)


def test_a_cold_vane_is_driven_backwards_and_equal_faces_are_not_driven(rotor):
    t0 = rotor.gas_temperature_k
    for warmer in (-5.0, 5.0):
        found = gas_torque(rotor, response_for(8.0), PRESSURES, t0 + warmer, t0 + warmer)
        assert np.all(np.sign(found) == np.sign(warmer))
    equal = rotor.with_(accommodation_difference=0.0)
    assert np.all(gas_torque(equal, response_for(8.0), PRESSURES, t0 + 5.0, t0 + 5.0) == 0)


def test_the_force_falls_faster_towards_dense_gas_than_the_thermal_force():
    """Against ourselves: force per difference over thermal force in a room of 4 widths at accommodation 0.9, by the
    solver with unequal faces.
    """
    found = response_for(4.0).at(np.array([10.0, 1.0, 0.3, 0.1, 0.05]), 0.9)
    ratio = found.accommodation_force / found.thermal_force
    assert ratio == pytest.approx([1.09, 0.96, 0.75, 0.47, 0.32], abs=0.015)


def test_steady_faces_balance_and_the_better_face_is_cooled_more(rotor):
    gas = response_for(8.0).at(rotor.knudsen(PRESSURES), rotor.accommodation)
    faces = {}
    for difference in (0.0, 0.1):
        of = rotor.with_(accommodation_difference=difference)
        faces[difference] = dark, bright = steady_faces(PRESSURES, 3.0, gas, of)
        flows = face_heat(dark, bright, PRESSURES, 3.0, gas, of)
        assert np.max(np.abs(flows.surplus)) < 1e-6 * np.max(flows.absorbed_dark)
    assert np.all(np.subtract(*faces[0.1]) < np.subtract(*faces[0.0]))


def test_heat_moved_by_motion_is_reciprocal_to_both_forces(rotor):
    """Onsager-Casimir: what both faces give off together per U/v0 is the force per warmth of the vane, and what they
    give off apart is the thermal force.
    """
    t0, pressure, speed = rotor.gas_temperature_k, np.array([0.5]), 7.0
    gas = response_for(8.0).at(rotor.knudsen(pressure), rotor.accommodation)
    still, moving = (face_heat(t0, t0, pressure, w, gas, rotor) for w in (0.0, speed))
    dark, bright = moving.to_gas_dark - still.to_gas_dark, moving.to_gas_bright - still.to_gas_bright
    per_speed = pressure * speed * rotor.arm_m
    assert dark + bright == pytest.approx(per_speed * gas.accommodation_force * rotor.accommodation_difference)
    assert (dark - bright) / 2 == pytest.approx(per_speed * gas.thermal_force)


def test_prediction_lists_unequal_accommodation_as_a_separate_drive(rotor, standin):
    state = steady_state(PRESSURES, rotor, standin)
    assert np.all(state.torque["unequal_accommodation"] > 0)
    assert state.net_torque == pytest.approx(sum(state.torque.values()))


@pytest.mark.parametrize(
    ("stated", "key"),
    [
        ({"dark_accommodation": "0.9"}, "rotor.bright_accommodation"),
        ({"bright_accommodation": "0.9"}, "rotor.dark_accommodation"),
        ({"accommodation": "0.9", "dark_accommodation": "0.9", "bright_accommodation": "0.8"}, "rotor.accommodation"),
    ],
)
def test_accommodation_of_one_face_only_or_stated_twice_is_refused(make_bench, stated, key):
    with pytest.raises(InputError) as caught:
        make_bench(rotor=stated)
    assert key in str(caught.value)


def test_stated_faces_give_mean_and_difference_with_their_uncertainty(make_bench):
    stated = {"dark_accommodation": "0.95 +/- 0.03", "bright_accommodation": "0.80 +/- 0.04"}
    rotor = make_bench(rotor=stated).rotor
    assert rotor.mean_accommodation.value == pytest.approx(0.875)
    assert rotor.mean_accommodation.u == pytest.approx(0.025)
    assert rotor.accommodation_difference.value == pytest.approx(0.15)
    assert rotor.accommodation_difference.u == pytest.approx(0.05)
    assert make_bench().rotor.accommodation_difference is None
