"""The mean free path in its three definitions, and the numbers made from it."""

import numpy as np
import pytest
from ambiance import Atmosphere
from hypothesis import given
from hypothesis import strategies as st
from scipy.constants import N_A, R
from scipy.constants import k as BOLTZMANN

from edgewind.gas import (
    AIR_DIAMETER_M,
    REGIME_BORDERS,
    GasState,
    equivalent_free_path,
    find_gas,
    mean_free_path,
    mean_free_path_fixed_diameter,
    mean_free_path_variable_hard_sphere,
    most_probable_speed,
    rarefaction,
    regime,
)

positive = st.floats(1e-3, 1e3)

# Altitude km, temperature K, pressure Pa, mean free path m, mean speed m/s.
STANDARD_ATMOSPHERE = [
    (0, 288.150, 1.0132e5, 6.6332e-8, 458.94),
    (5, 255.676, 5.4048e4, 1.1034e-7, 432.31),
    (10, 223.252, 2.6500e4, 1.9651e-7, 403.97),
    (20, 216.650, 5.5293e3, 9.1393e-7, 397.95),
    (30, 226.509, 1.1970e3, 4.4137e-6, 406.91),
    (50, 270.650, 7.9779e1, 7.9130e-5, 444.79),
]


@pytest.mark.parametrize(("altitude", "temperature", "pressure", "path", "speed"), STANDARD_ATMOSPHERE)
def test_mean_free_path_matches_standard_atmosphere(published, altitude, temperature, pressure, path, speed):
    """Source: U.S. Standard Atmosphere, 1976 (NOAA, NASA, USAF), tables I and II, as recomputed by R. Carmichael,
    Tables of the U.S. Standard Atmosphere 1976, tables 1 and 2 (SI), to five digits.
    """
    found = mean_free_path_fixed_diameter(pressure, temperature, AIR_DIAMETER_M)
    published(f"mean free path of air at {altitude} km", found, path, rel=1e-4, unit="m")


def test_sea_level_mean_free_path_of_the_standard_atmosphere(published):
    """Source: U.S. Standard Atmosphere, 1976, section 1.3.9 and table 2: 6.6332e-8 m at sea level, with a Boltzmann
    constant of 8.31432/6.022169e23 J/K, which is lower than today's by 2 in 100 000.
    """
    state = GasState(find_gas("air"), 101325.0, 288.15)
    in_1976 = state.mean_free_path_m("fixed-diameter") * (8.31432 / 6.022169e23) / BOLTZMANN
    published("mean free path of air at sea level", in_1976, 6.6332e-8, abs=0.5e-12, unit="m")


@pytest.mark.parametrize("altitude_km", [0, 5, 11, 20, 32, 47, 60, 75, 80])
def test_mean_free_path_matches_a_second_library(published, altitude_km):
    """Source: the `ambiance` library, after ICAO Doc 7488, 3rd ed. (1993), which takes the same diameter.

    It keeps the older Boltzmann and Avogadro constants, so four digits agree.
    """
    level = Atmosphere(1000.0 * altitude_km)
    pressure, temperature = float(level.pressure[0]), float(level.temperature[0])
    found = mean_free_path_fixed_diameter(pressure, temperature, AIR_DIAMETER_M)
    published(f"mean free path of air at {altitude_km} km", found, float(level.mean_free_path[0]), rel=2e-4, unit="m")


@pytest.mark.parametrize(("altitude", "temperature", "pressure", "path", "speed"), STANDARD_ATMOSPHERE)
def test_most_probable_speed_matches_the_mean_speed_of_the_standard_atmosphere(
    published, altitude, temperature, pressure, path, speed
):
    """Source: as above, table 2: the mean speed is ``2 / sqrt(pi)`` times the most probable one (Maxwell)."""
    found = most_probable_speed(temperature, find_gas("air").molecular_mass_kg)
    published(f"mean molecular speed of air at {altitude} km", 2 / np.sqrt(np.pi) * found, speed, rel=1e-4, unit="m/s")


def test_most_probable_speed_of_nitrogen_by_hand():
    """``sqrt(2 R T / M)`` with R = 8.31446 J/(mol K), M = 28.0134 g/mol and T = 300 K: 421.99 m/s."""
    assert most_probable_speed(300.0, 28.0134e-3 / N_A) == pytest.approx(np.sqrt(2 * R * 300 / 28.0134e-3))
    assert most_probable_speed(300.0, 28.0134e-3 / N_A) == pytest.approx(421.99, abs=0.01)


# Relations between the definitions


@given(positive, positive, positive)
def test_mean_free_path_is_the_equivalent_one_times_half_root_pi(viscosity, pressure, temperature):
    """Source: F. Sharipov and V. Seleznev, Data on internal rarefied gas flows, J. Phys. Chem. Ref. Data 27, 657
    (1998).
    """
    arguments = (1e-6 * viscosity, pressure, temperature, 4.65e-26)
    assert mean_free_path(*arguments) == pytest.approx(np.sqrt(np.pi) / 2 * equivalent_free_path(*arguments))


def test_hard_sphere_path_agrees_with_hard_sphere_viscosity_to_first_approximation():
    """With the first-approximation viscosity of hard spheres, ``mu = (5/16) sqrt(pi m k T) / (pi d^2)``, the path from
    the viscosity is ``5 pi / 16`` of the kinetic one, by algebra.
    """
    m, t, p, d = 4.65e-26, 295.0, 1.0, 3.7e-10
    viscosity = 5 / 16 * np.sqrt(np.pi * m * BOLTZMANN * t) / (np.pi * d**2)
    kinetic = mean_free_path_fixed_diameter(p, t, d)
    assert mean_free_path(viscosity, p, t, m) == pytest.approx(5 * np.pi / 16 * kinetic)
    assert mean_free_path_variable_hard_sphere(viscosity, p, t, m, 0.5) == pytest.approx(kinetic)


def test_variable_hard_spheres_at_an_exponent_of_one_half_are_hard_spheres():
    """Source: G. A. Bird, Molecular Gas Dynamics and the Direct Simulation of Gas Flows (1994), eq. 4.65."""
    arguments = (1.8e-5, 1.0, 295.0, 4.65e-26)
    ratio = mean_free_path_variable_hard_sphere(*arguments, 0.5) / mean_free_path(*arguments)
    assert ratio == pytest.approx(16 / (5 * np.pi))


def test_variable_hard_sphere_path_equals_its_equation():
    """Source: as above: ``lambda = (2 mu / 15) (7 - 2 w)(5 - 2 w) / (rho sqrt(2 pi R T))``, nitrogen with w = 0.74."""
    mu, p, t, m, w = 1.656e-5, 10.0, 273.0, 46.5e-27, 0.74
    specific = R / N_A / m
    written = 2 * mu / 15 * (7 - 2 * w) * (5 - 2 * w) / (p / (specific * t) * np.sqrt(2 * np.pi * specific * t))
    assert mean_free_path_variable_hard_sphere(mu, p, t, m, w) == pytest.approx(written)


@given(positive, positive)
def test_path_falls_as_one_over_pressure(pressure, factor):
    near, far = mean_free_path(1.8e-5, [pressure, factor * pressure], 295.0, 4.65e-26)
    assert near == pytest.approx(factor * far)


# Orders of magnitude


def test_path_in_air_at_a_few_millitorr_is_of_the_order_of_a_centimetre():
    """Common practice, no source."""
    path = GasState(find_gas("air"), 5e-3 * 133.322, 295.0).mean_free_path_m()
    assert 0.003 < path < 0.03


def test_path_in_air_at_ambient_pressure_is_of_the_order_of_100_nm():
    """Common practice, no source."""
    assert 3e-8 < GasState(find_gas("air"), 101325.0, 295.0).mean_free_path_m() < 3e-7


# Rarefaction and regime


@given(positive)
def test_rarefaction_is_half_root_pi_over_knudsen(knudsen):
    assert rarefaction(knudsen) * knudsen == pytest.approx(np.sqrt(np.pi) / 2)


@pytest.mark.parametrize(
    ("knudsen", "name"),
    [
        (1e-4, "continuum"),
        (0.009, "continuum"),
        (0.011, "slip"),
        (0.09, "slip"),
        (0.11, "transitional"),
        (9.0, "transitional"),
        (11.0, "free-molecular"),
    ],
)
def test_regimes_have_their_usual_names(knudsen, name):
    """Common practice, no source; the borders are conventional."""
    assert regime(knudsen) == name


def test_a_knudsen_number_on_a_boundary_belongs_to_the_more_rarefied_regime():
    assert [regime(border) for border in REGIME_BORDERS] == ["slip", "transitional", "free-molecular"]


def test_functions_take_arrays_of_any_shape():
    pressures = np.geomspace(0.01, 10, 6).reshape(2, 3)
    assert mean_free_path(1.8e-5, pressures, 295.0, 4.65e-26).shape == (2, 3)
    assert mean_free_path_fixed_diameter(pressures, 295.0, AIR_DIAMETER_M).shape == (2, 3)
    assert rarefaction(pressures).shape == (2, 3)
