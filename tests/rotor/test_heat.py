"""The heat balance of the faces against its limits in closed form and an independent solver."""

import numpy as np
import pytest
from scipy.constants import Stefan_Boltzmann
from scipy.optimize import fsolve

from edgewind.gas import GasState, find_gas
from edgewind.gas.constants import GAS_CONSTANT
from edgewind.rotor import face_heat, parameters_of, steady_faces, steady_state
from edgewind.rotor.heat import polyatomic_factor

PRESSURES = np.geomspace(1e-3, 50.0, 40)


@pytest.fixture
def rotor(make_bench):
    return parameters_of(make_bench(rotor={"bright_emissivity": "0.8", "vane_conductance": "60 W/(m^2 K)"}))


def test_balance_closes_to_1e_8_of_the_light(rotor, standin):
    state = steady_state(PRESSURES, rotor, standin)
    light = rotor.irradiance_w_m2 * rotor.turn_mean_irradiance
    for surplus in state.heat.surplus:
        assert np.max(np.abs(surplus)) < 1e-8 * light


def test_temperatures_agree_with_an_independent_solver(rotor, standin):
    for pressure in (0.01, 1.0, 30.0):
        gas = standin.at(rotor.knudsen(pressure), rotor.accommodation)

        def surplus(faces, pressure=pressure, gas=gas):
            return [float(x) for x in face_heat(faces[0], faces[1], pressure, 0.1, gas, rotor).surplus]

        expected = fsolve(surplus, [320.0, 310.0], xtol=1e-12)
        found = steady_faces(np.array([pressure]), np.array([0.1]), gas, rotor)
        assert np.allclose([found[0][0], found[1][0]], expected, rtol=1e-9)


def test_without_gas_each_face_radiates_what_it_absorbs(rotor, standin):
    alone = rotor.with_(vane_conductance_w_m2_k=0.0)
    gas = standin.at(rotor.knudsen(1e-12), 1.0)
    dark, bright = steady_faces(np.array([1e-12]), 0.0, gas, alone)
    light = rotor.irradiance_w_m2 * rotor.turn_mean_irradiance
    te4 = rotor.envelope_temperature_k**4
    for found, absorptance, emissivity in (
        (dark, rotor.dark_absorptance, rotor.dark_emissivity),
        (bright, rotor.bright_absorptance, rotor.bright_emissivity),
    ):
        assert found[0] == pytest.approx(
            (absorptance * light / (emissivity * Stefan_Boltzmann) + te4) ** 0.25, rel=1e-9
        )


def test_without_radiation_the_balance_is_linear(rotor, standin):
    cool = rotor.with_(dark_emissivity=0.0, bright_emissivity=0.0)
    gas = standin.at(rotor.knudsen(PRESSURES), rotor.accommodation)
    dark, bright = steady_faces(PRESSURES, 0.0, gas, cool)
    light, t0 = rotor.irradiance_w_m2 * rotor.turn_mean_irradiance, rotor.gas_temperature_k
    p_v0 = PRESSURES * rotor.most_probable_speed_m_s
    more = polyatomic_factor(rotor, PRESSURES)
    apart = (
        (rotor.dark_absorptance - rotor.bright_absorptance)
        * light
        / (2 * rotor.vane_conductance_w_m2_k + 2 * p_v0 * more * gas.heat / t0)
    )
    above = (rotor.dark_absorptance + rotor.bright_absorptance) * light / (2 * p_v0 * more * gas.loss / t0)
    assert np.allclose(dark - bright, apart, rtol=1e-8)
    assert np.allclose((dark + bright) / 2 - t0, above, rtol=1e-8)


def test_grey_faces_without_gas_are_equally_warm(rotor, standin):
    """Absorptance equal to emissivity on each face: a beam of light warms both alike (Kirchhoff), however they
    differ.
    """
    grey = rotor.with_(dark_emissivity=rotor.dark_absorptance, bright_emissivity=rotor.bright_absorptance)
    gas = standin.at(rotor.knudsen(1e-12), 1.0)
    dark, bright = steady_faces(np.array([1e-12]), 0.0, gas, grey)
    assert dark[0] == pytest.approx(bright[0], abs=1e-8)


def test_in_the_dark_everything_is_at_the_temperature_of_the_envelope(rotor, standin):
    state = steady_state(PRESSURES, rotor.lamp_off(), standin)
    assert np.allclose(state.at.dark_k, rotor.gas_temperature_k, atol=1e-9)
    assert np.max(np.abs(state.speed_rad_s)) < 1e-9


def test_heat_of_motion_is_reciprocal_to_the_thermal_force(rotor, standin):
    """Onsager-Casimir: torque per (T_dark - T_bright)/T0 equals the heat moved per speed, summed over the vanes."""
    pressure = 0.7
    gas = standin.at(rotor.knudsen(pressure), rotor.accommodation)
    still, moving = (face_heat(310.0, 305.0, pressure, speed, gas, rotor) for speed in (0.0, 1.0))
    moved = rotor.vanes * rotor.vane_area_m2 * (moving.to_gas_dark - still.to_gas_dark)
    per_difference = rotor.vanes * rotor.arm_m * rotor.vane_area_m2 * pressure * gas.thermal_force
    assert float(moved) == pytest.approx(float(per_difference), rel=1e-12)
    assert float(moving.to_gas_bright - still.to_gas_bright) == pytest.approx(
        -float(moved) / rotor.vanes / rotor.vane_area_m2
    )


@pytest.mark.parametrize(("gas", "inner"), [("N2", 1.0), ("Ar", 0.0), ("CO2", 1.96), ("H2O", 1.54)])
def test_internal_energy_adds_its_heat_in_free_flight_and_its_conductivity_in_dense_gas(make_bench, gas, inner):
    """3 kT a molecule of nitrogen in place of 2 kT in free flight; lambda / (15/4 mu R/M) in dense gas."""
    rotor = parameters_of(make_bench(gas={"species": gas}, gauge={"principle": "diaphragm"}))
    assert rotor.internal_heat == pytest.approx(inner, abs=0.03)
    assert polyatomic_factor(rotor, 1e-9) == pytest.approx(1 + rotor.internal_heat / 2, rel=1e-6)
    of = GasState(find_gas(gas), 1.0, rotor.gas_temperature_k)
    monatomic = 15 / 4 * of.viscosity_pa_s * GAS_CONSTANT / of.gas.molar_mass_kg_mol
    assert polyatomic_factor(rotor, 1e7) == pytest.approx(of.conductivity_w_m_k / monatomic, rel=1e-2)


def test_a_better_conductor_has_a_smaller_face_temperature_difference(rotor, standin):
    apart = [
        steady_state(PRESSURES, rotor.with_(vane_conductance_w_m2_k=g), standin).at.faces_apart
        for g in (30.0, 300.0, 3000.0)
    ]
    assert np.all(apart[0] > apart[1])
    assert np.all(apart[1] > apart[2])
