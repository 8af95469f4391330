"""Viscosity and conductivity of the pure gases against handbooks and a second library."""

import numpy as np
import pytest
from chemicals.dippr import EQ102
from chemicals.thermal_conductivity import k_data_VDI_PPDS_10
from chemicals.viscosity import mu_data_Perrys_8E_2_312, mu_data_VDI_PPDS_8

from edgewind.errors import InputError, OutOfRangeError
from edgewind.gas import all_species, find_species

CAS = {
    "N2": "7727-37-9",
    "O2": "7782-44-7",
    "Ar": "7440-37-1",
    "He": "7440-59-7",
    "Ne": "7440-01-9",
    "H2": "1333-74-0",
    "CO2": "124-38-9",
    "H2O": "7732-18-5",
    "Kr": "7439-90-9",
    "Xe": "7440-63-3",
    "D2": "7782-39-0",
    "CH4": "74-82-8",
    "SF6": "2551-62-4",
    "R152a": "75-37-6",
}

# Viscosity in µPa s at 200, 300, 400 and 500 K.
CRC_VISCOSITY = {
    "Ar": (15.9, 22.7, 28.6, 33.9),
    "H2": (6.8, 8.9, 10.9, 12.8),
    "D2": (None, 12.6, 15.4, None),
    "H2O": (None, 9.8, 13.4, 17.3),
    "He": (15.1, 19.9, 24.3, 28.3),
    "Kr": (17.4, 25.5, 32.9, 39.6),
    "N2": (12.9, 17.9, 22.2, 26.1),
    "Ne": (24.1, 31.9, 38.6, 44.8),
    "O2": (14.7, 20.7, 25.8, 30.5),
    "Xe": (15.7, 23.2, 30.5, 37.2),
    "CO2": (10.1, 15.0, 19.7, 24.0),
    "CH4": (7.7, 11.1, 14.2, 17.0),
    "SF6": (None, 15.3, 19.7, 23.8),
}


@pytest.mark.parametrize("symbol", CRC_VISCOSITY)
def test_viscosity_matches_the_crc_handbook(published, symbol):
    """Source: M. L. Huber and A. H. Harvey, Viscosity of gases, in CRC Handbook of Chemistry and Physics, section 6; 3
    % is the uncertainty it states. Methane and those from older handbooks are within 2 %, all others within half a unit
    of its last digit or 0.5 %.
    """
    tolerance = 0.02 if symbol in ("Ne", "Kr", "Xe", "CH4") else 0.005
    for temperature, micro in zip((200, 300, 400, 500), CRC_VISCOSITY[symbol], strict=True):
        if micro is not None:
            found = 1e6 * float(find_species(symbol).viscosity(temperature))
            published(f"viscosity of {symbol} at {temperature} K", found, micro, rel=tolerance, abs=0.06, unit="µPa s")


def test_the_ratio_of_argon_to_helium_matches_the_best_measurement(published):
    """Source: E. F. May, M. R. Moldover, R. F. Berg and J. J. Hurly, Transport properties of argon at zero density from
    viscosity-ratio measurements, Metrologia 43, 247 (2006), abstract: 1.13800(18) at 298.15 K, and between 200 and 400
    K ``1.21167 - 0.82034 exp(-T/123.78 K)`` within 0.025 %.

    The equations for argon and helium in use here are 0.13 % above it at 298 K, and 0.64 % at 200 K.
    """
    argon, helium = find_species("Ar"), find_species("He")
    for temperature, tolerance in ((200.0, 0.0070), (250.0, 0.003), (298.15, 0.0015), (350.0, 0.0015), (400.0, 0.002)):
        ratio = float(argon.viscosity(temperature) / helium.viscosity(temperature))
        measured = 1.21167 - 0.82034 * np.exp(-temperature / 123.78)
        published(f"viscosity of Ar over that of He at {temperature:g} K", ratio, measured, rel=tolerance)
    assert 1.21167 - 0.82034 * np.exp(-298.15 / 123.78) == pytest.approx(1.13800, abs=1.8e-4)


@pytest.mark.parametrize("temperature", [250, 300, 350, 400, 500])
@pytest.mark.parametrize("symbol", ["N2", "O2", "Ar", "He", "H2", "CO2", "H2O", "CH4"])
def test_viscosity_matches_perry(published, symbol, temperature):
    """Source: Perry's Chemical Engineers' Handbook, 8th ed. (2008), table 2-312, through the `chemicals` library.

    Neon, deuterium and R152a are left out, which come from that table itself; krypton and xenon are not in it, and
    its sulfur hexafluoride is 2 to 4 % off the CRC Handbook. Perry's water vapour is 2 % off the formulation of
    Huber et al. (2009), with which the CRC Handbook agrees.
    """
    if symbol == "H2O" and temperature < 273.16:
        temperature = 280
    row = mu_data_Perrys_8E_2_312.loc[CAS[symbol]]
    perry = EQ102(temperature, *(float(row[name]) for name in ("C1", "C2", "C3", "C4")))
    tolerance = 0.022 if symbol == "H2O" else 0.01
    found = find_species(symbol).viscosity(temperature)
    published(f"viscosity of {symbol} at {temperature} K", found, perry, rel=tolerance, unit="Pa s")


@pytest.mark.parametrize("temperature", [250, 300, 350, 400, 500])
@pytest.mark.parametrize(
    "symbol", [symbol for symbol in CAS if symbol not in ("H2O", "Kr", "Xe", "D2", "R152a", "SF6")]
)
def test_viscosity_matches_vdi(published, symbol, temperature):
    """Source: VDI Heat Atlas, 2nd ed. (2010), part D, PPDS polynomials, through the `chemicals` library (no water;
    its sulfur hexafluoride is up to 5 % off the CRC Handbook).
    """
    row = mu_data_VDI_PPDS_8.loc[CAS[symbol]]
    vdi = sum(float(row[name]) * temperature**power for power, name in enumerate("ABCDE"))
    tolerance = 0.017 if symbol == "Ne" else 0.01
    found = find_species(symbol).viscosity(temperature)
    published(f"viscosity of {symbol} at {temperature} K", found, vdi, rel=tolerance, unit="Pa s")


@pytest.mark.parametrize(
    ("symbol", "milli"),
    [("N2", 26.0), ("O2", 26.3), ("Ar", 17.9), ("He", 156.7), ("Ne", 49.8), ("H2", 186.9), ("CO2", 16.8)],
)
def test_conductivity_at_300_k_matches_a_handbook(published, symbol, milli):
    """Source: the table Thermal conductivity of gases of an older edition of the CRC Handbook of Chemistry and Physics,
    as engineersedge.com gives it, mW/(m K) at 300 K. Handbooks differ by 1 % and more among themselves: neon, from
    Perry's viscosity by kinetic theory, is 2.2 % below.
    """
    found = 1e3 * float(find_species(symbol).conductivity(300.0))
    published(
        f"conductivity of {symbol} at 300 K", found, milli, rel=0.023 if symbol == "Ne" else 0.012, unit="mW/(m K)"
    )


def test_conductivity_of_the_new_handbook_gases_matches_the_other_handbook(published):
    """Source: VDI Heat Atlas, 2nd ed. (2010), part D, PPDS polynomials, through the `chemicals` library: for krypton
    and xenon its conductivity against the one that kinetic theory makes of its viscosity; for methane and sulfur
    hexafluoride against the formulation in use.
    """
    for symbol, tolerance in (("Kr", 0.015), ("Xe", 0.025), ("CH4", 0.02), ("SF6", 0.05)):
        row = k_data_VDI_PPDS_10.loc[CAS[symbol]]
        vdi = sum(float(row[name]) * 300.0**power for power, name in enumerate("ABCDE"))
        found = float(find_species(symbol).conductivity(300.0))
        published(f"conductivity of {symbol} at 300 K", found, vdi, rel=tolerance, unit="W/(m K)")


@pytest.mark.parametrize("symbol", ["N2", "O2", "CH4", "SF6", "R134a", "R152a"])
def test_conductivity_viscosity_and_heat_capacity_are_consistent(symbol):
    """The modified Eucken form, ``k M / (mu cv) = 1.32 + 1.77 R/cv`` (Poling, Prausnitz and O'Connell, The Properties
    of Gases and Liquids, 5th ed., 2001, section 10-3), holds within several percent: a rule, not a measurement. It
    showed that the viscosity of R152a of the property library is 10 % too high, so that of the handbook is used.
    """
    gas = find_species(symbol)
    cv = float(gas.heat_capacity(300.0)) - 8.314462618
    factor = float(gas.conductivity(300.0)) * gas.molar_mass_kg_mol / (float(gas.viscosity(300.0)) * cv)
    assert factor == pytest.approx(1.32 + 1.77 * 8.314462618 / cv, rel=0.07 if symbol == "SF6" else 0.05)


@pytest.mark.parametrize(
    ("symbol", "ratio"), [("He", 5 / 3), ("Xe", 5 / 3), ("N2", 1.400), ("O2", 1.395), ("CO2", 1.290), ("CH4", 1.304)]
)
def test_the_ratio_of_heat_capacities_is_that_of_spectroscopy(published, symbol, ratio):
    """Independent computation: rigid rotation (R, or 3 R/2 for a molecule that is not linear) and harmonic vibration at
    the fundamental wavenumbers: CH4 and CO2 of T. Shimanouchi, Tables of Molecular Vibrational Frequencies, NSRDS-NBS
    39 (1972), N2 and O2 as omega_e - 2 omega_e x_e of the NIST Chemistry WebBook (2358.57 and 14.324; 1580.161 and
    11.95127), all as public programs quote them; neither source was opened itself (2916.5 for CH4 is Minck et al.,
    Appl. Phys. Lett. 3, 181, 1963). One that is 2 % off moves a ratio by 0.0023 at most; 5/3 without internal energy.
    """
    waves = {
        "N2": (2330,), "O2": (1556,), "CO2": (667, 667, 1333, 2349),
        "CH4": (2917, 1534, 1534, 3019, 3019, 3019, 1306, 1306, 1306),
    }.get(symbol, ())  # fmt: skip
    x = 1.438777 * np.array(waves, dtype=float) / 300.0
    rotation = {"CH4": 1.5}.get(symbol, 1.0 if waves else 0.0)
    cv = 1.5 + rotation + float(np.sum(x**2 * np.exp(x) / np.expm1(x) ** 2))
    cp = float(find_species(symbol).heat_capacity(300.0)) / 8.314462618
    published(f"heat capacity of {symbol} at 300 K over R", cp, cv + 1, rel=0.005)
    assert cp / (cp - 1) == pytest.approx(ratio, abs=0.004)


@pytest.mark.parametrize("symbol", ["He", "Ar"])
def test_monatomic_gases_have_a_prandtl_number_of_two_thirds(published, symbol):
    """Source: Chapman and Cowling, The Mathematical Theory of Non-Uniform Gases, 3rd ed. (1970), 7.5 and 10.2: within 1
    % of ``Pr = cp mu / k = 2/3``, with ``cp = 5 R / (2 M)``. Neon, krypton and xenon have it by construction.
    """
    species = find_species(symbol)
    specific_heat = 2.5 * 8.314462618 / species.molar_mass_kg_mol
    for temperature in (250.0, 300.0, 400.0):
        prandtl = specific_heat * species.viscosity(temperature) / species.conductivity(temperature)
        published(f"Prandtl number of {symbol} at {temperature:g} K", prandtl, 2 / 3, rel=0.01)


@pytest.mark.parametrize(
    ("symbol", "grams"),
    [
        ("N2", 28.014),
        ("O2", 31.998),
        ("Ar", 39.95),
        ("He", 4.0026),
        ("Ne", 20.180),
        ("H2", 2.016),
        ("CO2", 44.009),
        ("H2O", 18.015),
        ("Kr", 83.798),
        ("Xe", 131.29),
        ("D2", 4.0282),
        ("CH4", 16.043),
        ("SF6", 146.05),
        ("R134a", 102.03),
        ("R152a", 66.05),
    ],
)
def test_molar_masses_are_those_of_iupac(published, symbol, grams):
    """Source: IUPAC, Standard atomic weights of the elements 2021, abridged (ciaaw.org and the `mendeleev` library for
    H, C, N, O, Ne, He, Ar; for Kr, Xe, F, S the table of 2013, DOI 10.1515/pac-2015-0305, as the library UnitfulMoles
    has it). Deuterium: CODATA's deuteron and electron.
    """
    published(f"molar mass of {symbol}", 1e3 * find_species(symbol).molar_mass_kg_mol, grams, rel=2e-4, unit="g/mol")


@pytest.mark.parametrize(
    ("symbol", "temperature"),
    [("H2O", 273.0), ("CO2", 199.9), ("N2", 63.0), ("He", 10.0), ("Ne", 29.0), ("Ar", 1000.1), ("O2", np.nan)],
)
def test_outside_the_range_of_the_source_is_an_error(symbol, temperature):
    species = find_species(symbol)
    with pytest.raises(OutOfRangeError) as raised:
        species.check_temperature([300.0, temperature])
    assert species.name in str(raised.value)
    assert f"use {species.t_min_k:.5g} K to" in str(raised.value)


def test_the_ends_of_the_range_are_within_it():
    for species in all_species().values():
        species.check_temperature([species.t_min_k, species.t_max_k])
        assert np.all(species.viscosity([species.t_min_k, species.t_max_k]) > 0)


def test_every_gas_covers_the_temperatures_of_a_bench():
    """200 K to 500 K, but for water, which freezes, and where the sources of deuterium and of refrigerants end."""
    narrow = {"H2O": (273.16, 500.0), "D2": (233.15, 480.0), "R134a": (230.0, 455.0), "R152a": (230.0, 500.0)}
    for species in all_species().values():
        low, high = narrow.get(species.symbol, (200.0, 500.0))
        assert species.t_min_k <= low and species.t_max_k >= high
        assert species.source


def test_viscosity_keeps_the_shape_of_the_temperatures():
    temperatures = np.linspace(280, 320, 6).reshape(2, 3)
    for species in all_species().values():
        assert species.viscosity(temperatures).shape == (2, 3)
        assert species.conductivity(temperatures).shape == (2, 3)
        assert species.viscosity(300.0).shape == ()


@pytest.mark.parametrize(
    ("name", "symbol"),
    [
        ("N2", "N2"),
        ("n2", "N2"),
        ("Nitrogen", "N2"),
        (" helium ", "He"),
        ("carbon dioxide", "CO2"),
        ("steam", "H2O"),
        ("CO₂", "CO2"),
    ],
)
def test_gases_are_found_by_symbol_and_by_name(name, symbol):
    assert find_species(name).symbol == symbol


def test_an_unknown_gas_is_an_error_with_the_nearest_known_one():
    with pytest.raises(InputError, match=r"unknown gas 'nitrogin'; did you mean 'nitrogen'\?"):
        find_species("nitrogin")
    with pytest.raises(InputError, match="known are air, N2"):
        find_species("phlogiston")
