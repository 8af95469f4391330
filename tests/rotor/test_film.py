"""The gas beside a vane that is warmer than it by more than a little, against closed forms in both limits."""

import numpy as np
import pytest

from edgewind.gas import GasState, find_gas
from edgewind.rotor import optima, parameters_of, response_of, steady, steady_state
from edgewind.rotor.film import diffuse_share, film_gas, film_knudsen, second_order_error

THIN, DENSE = 1e-6, 3e3


@pytest.fixture
def rotor(make_bench):
    extra = {"bright_emissivity": "0.8", "vane_conductance": "60 W/(m^2 K)", "accommodation": "1"}
    return parameters_of(make_bench(rotor=extra))


@pytest.mark.parametrize(("dark_k", "bright_k"), [(340.0, 320.0), (400.0, 340.0), (250.0, 262.0)])
def test_force_between_finite_temperatures_in_free_flight_is_the_closed_form(
    published, rotor, standin, dark_k, bright_k
):
    """Diffuse faces at T1, T2 in gas at T0: each is pressed by (p/2) (1 + sqrt(T/T0)) (Knudsen 1910)."""
    t0, mean = rotor.gas_temperature_k, (dark_k + bright_k) / 2
    found = float(film_gas(THIN, mean, rotor, standin).thermal_force) * (dark_k - bright_k) / t0
    exact = 0.5 * (np.sqrt(dark_k / t0) - np.sqrt(bright_k / t0))
    published("force between finite temperatures", found, exact, rel=((dark_k - bright_k) / mean) ** 2 / 16 + 1e-6)
    error = second_order_error(mean / t0 - 1, rotor.knudsen(THIN))
    assert abs(found / exact - 1) < float(error)
    assert abs(0.25 * (dark_k - bright_k) / t0 / exact - 1) > 2 * float(error)  # as the linear form is not


def test_force_of_unequal_accommodation_between_finite_temperatures_is_the_closed_form(rotor, standin):
    """A share da of the molecules leaves with the warmth of the vane: (p/2) da (sqrt(T/T0) - 1)."""
    t0 = rotor.gas_temperature_k
    for mean in (250.0, 330.0, 400.0):
        found = float(film_gas(THIN, mean, rotor, standin).accommodation_force) * (mean / t0 - 1)
        assert found == pytest.approx(0.5 * (np.sqrt(mean / t0) - 1), rel=1e-5)


def test_drag_of_a_warm_vane_in_free_flight_includes_the_warmth_of_re_emitted_molecules(rotor, standin):
    t0 = rotor.gas_temperature_k
    found = float(film_gas(THIN, 1.2 * t0, rotor, standin).drag)
    assert found == pytest.approx(4 / np.sqrt(np.pi) + np.sqrt(np.pi) * np.sqrt(1.2), rel=1e-5)
    # Specular faces give nothing of their own warmth away.
    assert diffuse_share(0.0) == 0


def test_in_dense_gas_force_drag_and_heat_scale_with_the_viscosity_at_the_film_temperature(rotor, standin):
    """mu(T)^2 dT/p, mu U and lambda(T) dT, whatever else is taken at T0."""
    t0 = rotor.gas_temperature_k
    cold, warm = (film_gas(DENSE, vane, rotor, standin) for vane in (t0, 1.2 * t0))
    gas = find_gas("air")
    ratio = GasState(gas, 1.0, 1.1 * t0).viscosity_pa_s / GasState(gas, 1.0, t0).viscosity_pa_s
    assert ratio > 1.07
    assert float(warm.thermal_force / cold.thermal_force) == pytest.approx(ratio**2, rel=5e-3)
    for name in ("drag", "heat", "loss"):
        assert float(getattr(warm, name) / getattr(cold, name)) == pytest.approx(ratio, rel=5e-3)


def test_a_vane_as_warm_as_the_gas_has_the_coefficients_of_the_table(rotor, standin):
    kn = rotor.knudsen(1.0)
    found = film_gas(1.0, rotor.gas_temperature_k, rotor, standin)
    assert film_knudsen(1.0, rotor.gas_temperature_k, rotor) == kn
    assert found.thermal_force == standin.at(kn, 1.0).thermal_force
    assert second_order_error(0.0, 1.0) == 0


def test_a_vane_colder_than_the_gas_at_the_end_of_the_table_has_its_last_coefficients(rotor):
    response = response_of(rotor)
    most = float(rotor.knudsen(1.0)) / response.least_knudsen
    found = film_gas(most, 0.9 * rotor.gas_temperature_k, rotor, response)
    assert found.heat == pytest.approx(float(response.at(response.least_knudsen, 1.0).heat), rel=1e-9)


def test_stated_error_of_the_response_has_the_second_order_of_the_lit_vanes(rotor):
    lit, dark = response_of(rotor), response_of(rotor.lamp_off())
    kn = lit.knudsen
    more = np.sqrt(lit.relative_error(kn) ** 2 - dark.relative_error(kn) ** 2)
    state = steady_state(rotor.knudsen(1.0) / kn, rotor, lit)
    warmth = (state.at.dark_k + state.at.bright_k) / (2 * rotor.gas_temperature_k) - 1
    own = second_order_error(warmth, kn)
    assert np.all(more > 0.8 * own - 1e-4)
    assert np.all(more < 1.6 * own + 1e-4)


def test_effect_of_the_film_is_that_stated_in_the_manual(make_bench, monkeypatch):
    """Square vanes of 12 mm in nitrogen, 800 W/m^2; a check against the same model at the gas's own temperature."""
    rotor = parameters_of(make_bench(rotor={"bright_emissivity": "0.8", "vane_conductance": "60 W/(m^2 K)"}))
    response, pressure = response_of(rotor), np.array([0.01, 1.0, 10.0])
    with_film, place = steady_state(pressure, rotor, response), optima(rotor, response, 0.05, 20)[0].pressure_pa
    monkeypatch.setattr(steady, "film_gas", lambda p, vane_k, of, gas: gas.at(of.knudsen(p), of.accommodation))
    without, before = steady_state(pressure, rotor, response), optima(rotor, response, 0.05, 20)[0].pressure_pa
    assert with_film.net_torque / without.net_torque - 1 == pytest.approx([-0.036, -0.002, 0.022], abs=2e-3)
    assert with_film.drag / without.drag - 1 == pytest.approx([0.014, 0.014, 0.017], abs=2e-3)
    assert with_film.speed_rad_s / without.speed_rad_s - 1 == pytest.approx([-0.049, -0.016, 0.005], abs=2e-3)
    assert (before, place) == pytest.approx((0.98, 1.12), abs=0.01)
