"""A gas at one pressure and temperature."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewind.errors import InputError, OutOfRangeError
from edgewind.gas import DEFINITIONS, GasState, find_gas, rarefaction

AIR, NITROGEN = find_gas("air"), find_gas("N2")


def test_number_density_at_standard_conditions_is_that_of_loschmidt(published):
    """Source: CODATA 2018, Loschmidt constant at 273.15 K and 101.325 kPa: 2.686 780 111e25 1/m^3."""
    found = GasState(NITROGEN, 101325.0, 273.15).number_density_m3
    published("number density at standard conditions", found, 2.686780111e25, rel=1e-9, unit="1/m^3")


@given(st.floats(1e-4, 1e5), st.floats(210.0, 500.0))
def test_free_paths_and_speed_are_consistent(pressure, temperature):
    """``ell = mu v0 / p`` and ``delta = L / ell = sqrt(pi) / (2 Kn)``."""
    state = GasState(AIR, pressure, temperature)
    equivalent = state.viscosity_pa_s * state.most_probable_speed_m_s / pressure
    length = 0.012
    assert rarefaction(state.mean_free_path_m() / length) == pytest.approx(length / equivalent)


def test_the_three_definitions_agree_within_a_third_for_air():
    """They differ by convention, not by orders: common practice, no source."""
    state = GasState(AIR, 1.0, 295.0)
    paths = [state.mean_free_path_m(definition) for definition in DEFINITIONS]
    assert max(paths) / min(paths) < 1.35
    assert len(set(paths)) == 3


def test_viscosity_exponents_match_the_slope_of_the_crc_handbook(published):
    """Source: M. L. Huber and A. H. Harvey, Viscosity of gases, in CRC Handbook of Chemistry and Physics, section 6:
    slope of the logarithms between the viscosities at 200 and 400 K, whose last digit is worth 0.008 of it.
    """
    for gas, low, high in (("N2", 12.9, 22.2), ("He", 15.1, 24.3), ("Ar", 15.9, 28.6)):
        state = find_gas(gas)
        found = float(np.log(state.viscosity(400.0) / state.viscosity(200.0)) / np.log(2.0))
        published(f"viscosity exponent of {gas}, 200 to 400 K", found, np.log(high / low) / np.log(2.0), abs=0.01)
        local = [GasState(state, 1.0, t).viscosity_exponent for t in np.geomspace(202.0, 396.0, 41)]
        assert np.mean(local) == pytest.approx(found, abs=0.002)


def test_viscosity_exponent_is_defined_at_the_ends_of_the_range():
    assert 0.5 < GasState(NITROGEN, 1.0, 1000.0).viscosity_exponent < 1.1
    assert 0.5 < GasState(find_gas("CO2"), 1.0, 200.0).viscosity_exponent < 1.3


def test_conductivity_is_that_of_the_gas():
    assert GasState(NITROGEN, 1.0, 300.0).conductivity_w_m_k == pytest.approx(float(NITROGEN.conductivity(300.0)))


@pytest.mark.parametrize("pressure", [0.0, -1.0, 3e5, np.nan, np.inf])
def test_a_pressure_beyond_the_dilute_gas_is_an_error(pressure):
    with pytest.raises(OutOfRangeError, match="outside the range of a dilute gas; use a pressure above zero"):
        GasState(AIR, pressure, 295.0)


@pytest.mark.parametrize("temperature", [150.0, 1500.0, np.nan])
def test_a_temperature_outside_the_sources_is_an_error(temperature):
    with pytest.raises(OutOfRangeError, match="outside the range of its viscosity data"):
        GasState(AIR, 1.0, temperature)


def test_a_diameter_may_be_given_for_any_gas_and_is_required_except_for_air():
    state = GasState(NITROGEN, 101325.0, 288.15)
    with pytest.raises(InputError, match="no standard molecular diameter for N2"):
        state.mean_free_path_m("fixed-diameter")
    assert state.mean_free_path_m("fixed-diameter", 3.65e-10) == pytest.approx(6.6332e-8, rel=1e-4)
    with pytest.raises(InputError, match="give a diameter above zero"):
        state.mean_free_path_m("fixed-diameter", -1e-10)


def test_an_unknown_definition_is_an_error_with_those_that_are_known():
    with pytest.raises(InputError, match="use one of viscosity, fixed-diameter, variable-hard-sphere"):
        GasState(AIR, 1.0, 295.0).mean_free_path_m("mean")


def test_internal_heat_is_calorimetric():
    """Zero for monatomic gases, one for two rotations; the bending of CO2 adds its part at room temperature."""
    assert [GasState(find_gas(gas), 1.0, 300.0).internal_heat for gas in ("He", "Ne", "Ar", "Kr")] == 4 * [0.0]
    assert GasState(NITROGEN, 1.0, 300.0).internal_heat == pytest.approx(1.0, abs=0.005)
    assert GasState(find_gas("CO2"), 1.0, 300.0).internal_heat == pytest.approx(1.975, abs=0.01)
    assert GasState(find_gas("0.5 He + 0.5 N2"), 1.0, 300.0).internal_heat == pytest.approx(0.5, abs=0.003)
