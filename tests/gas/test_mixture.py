"""Mixtures: air, others, and their notation."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewind.errors import InputError, OutOfRangeError
from edgewind.gas import all_species, find_gas, find_species


def of_air(key: str, temperature: float) -> float:
    """A property of thin air as a fluid of its own; the library, whose import takes two seconds, is loaded here."""
    from CoolProp.CoolProp import PropsSI

    return PropsSI(key, "T", temperature, "Dmolar", 1e-4, "Air")


@pytest.mark.parametrize("temperature", [200, 250, 288.15, 300, 400, 500, 600])
def test_viscosity_of_air_as_a_mixture_matches_that_of_air_as_a_fluid(published, temperature):
    """Source: E. W. Lemmon and R. T. Jacobsen, Viscosity and thermal conductivity equations for nitrogen, oxygen,
    argon, and air, Int. J. Thermophys. 25, 21 (2004), as CoolProp's pseudo-pure air. Nitrogen, oxygen and argon are
    from the same source: this holds the rule of mixing, not the gases.
    """
    fluid = of_air("V", temperature)
    published(
        f"viscosity of air at {temperature} K", find_gas("air").viscosity(temperature), fluid, rel=0.002, unit="Pa s"
    )


@pytest.mark.parametrize("temperature", [200, 250, 300, 400, 500, 600])
def test_conductivity_of_air_as_a_mixture_matches_that_of_air_as_a_fluid(temperature):
    """Source: as above. The mixture comes out 1.5 % lower throughout: the remainder of Mason and Saxena's 1.065."""
    fluid = of_air("L", temperature)
    assert find_gas("air").conductivity(temperature) == pytest.approx(fluid, rel=0.018)


@pytest.mark.parametrize(("temperature", "micro"), [(200, 13.3), (300, 18.5), (400, 23.1), (500, 27.1)])
def test_viscosity_of_air_matches_the_crc_handbook(published, temperature, micro):
    """Source: M. L. Huber and A. H. Harvey, Viscosity of gases, in CRC Handbook of Chemistry and Physics, section 6."""
    found = 1e6 * float(find_gas("air").viscosity(temperature))
    published(f"viscosity of air at {temperature} K", found, micro, abs=0.08, unit="µPa s")


@pytest.mark.parametrize("nitrogen", [0.0, 0.2, 0.4, 0.6, 0.8])
def test_nitrogen_does_not_change_the_viscosity_of_oxygen_with_carbon_dioxide_eleven_to_eight(published, nitrogen):
    """Source: G. J. Gururaja, M. A. Tirunarayanan and A. Ramachandran, Dynamic viscosity of gas mixtures, J. Chem. Eng.
    Data 12, 562 (1967), abstract: measured at ambient temperature; such a mixture has the viscosity of nitrogen itself.
    """
    rest = 1 - nitrogen
    mixture = find_gas({"N2": nitrogen, "O2": rest * 11 / 19, "CO2": rest * 8 / 19})
    alone = float(find_species("N2").viscosity(297.0))
    published(
        f"viscosity of O2 with CO2, 11 to 8, {nitrogen:g} N2", mixture.viscosity(297.0), alone, rel=0.01, unit="Pa s"
    )


def test_helium_in_argon_raises_the_viscosity_above_both():
    """Independent computation, first-order Chapman and Enskog with Lennard-Jones collision integrals (Neufeld): 22.52
    µPa s for argon, 23.57 with a share of helium of 0.6, 19.76 for helium. The maximum is there, and within 2 %.
    """
    helium, argon = find_species("He").viscosity(298.15), find_species("Ar").viscosity(298.15)
    mixture = find_gas("0.6 He + 0.4 Ar").viscosity(298.15)
    assert mixture > max(helium, argon)
    assert mixture / argon == pytest.approx(23.57 / 22.52, rel=0.02)


@given(
    st.lists(st.sampled_from(["N2", "O2", "Ar", "He", "H2", "CO2"]), min_size=2, max_size=4, unique=True),
    st.lists(st.floats(0.05, 1.0), min_size=4, max_size=4),
    st.floats(220.0, 600.0),
)
def test_mixing_by_wilke_agrees_with_another_library(symbols, parts, temperature):
    """Source: C. R. Wilke, J. Chem. Phys. 18, 517 (1950), as the `chemicals` library writes it."""
    from chemicals.viscosity import Wilke

    shares = [part / sum(parts[: len(symbols)]) for part in parts[: len(symbols)]]
    gases = [find_species(symbol) for symbol in symbols]
    theirs = Wilke(
        shares,
        [float(gas.viscosity(temperature)) for gas in gases],
        [gas.molar_mass_kg_mol for gas in gases],
    )
    ours = find_gas(dict(zip(symbols, shares, strict=True))).viscosity([temperature, 300.0])
    assert ours.shape == (2,)
    assert ours[0] == pytest.approx(theirs, rel=1e-12)


def test_conductivity_of_helium_with_argon_equals_wassiljewas_sum():
    """Source: A. Wassiljewa, Phys. Z. 5, 737 (1904): ``k = sum_i x_i k_i / sum_j x_j phi_ij``, with the weights of
    C. R. Wilke, A viscosity equation for gas mixtures, J. Chem. Phys. 18, 517 (1950), eq. 14.
    """
    parts = [(0.6, find_species("He")), (0.4, find_species("Ar"))]

    def weight(one, other):
        mass = one.molar_mass_kg_mol / other.molar_mass_kg_mol
        viscosity = float(one.viscosity(300.0) / other.viscosity(300.0))
        return (1 + viscosity**0.5 * mass**-0.25) ** 2 / (8 * (1 + mass)) ** 0.5

    by_hand = sum(
        x * float(one.conductivity(300.0)) / sum(y * weight(one, other) for y, other in parts) for x, one in parts
    )
    mixture = find_gas("0.6 He + 0.4 Ar").conductivity(300.0)
    assert mixture == pytest.approx(by_hand)
    assert find_species("Ar").conductivity(300.0) < mixture < find_species("He").conductivity(300.0)


def test_molar_mass_of_dry_air_matches_the_standard_atmosphere(published):
    """Source: U.S. Standard Atmosphere, 1976, table 3 and eq. 2: 28.9644 g/mol."""
    published("molar mass of dry air", 1e3 * find_gas("air").molar_mass_kg_mol, 28.9644, rel=1e-4, unit="g/mol")


@given(st.floats(0.0, 1.0), st.sampled_from(sorted(all_species())))
def test_a_gas_mixed_with_itself_keeps_its_properties(share, symbol):
    mixed = find_gas({symbol: share, find_species(symbol).name: 1 - share})
    assert mixed.is_pure
    assert mixed.viscosity(300.0) == pytest.approx(float(find_species(symbol).viscosity(300.0)))


@given(st.floats(0.01, 0.99))
def test_the_order_of_the_parts_does_not_matter(x):
    one, other = find_gas({"He": x, "N2": 1 - x}), find_gas({"N2": 1 - x, "He": x})
    assert one.viscosity(300.0) == pytest.approx(float(other.viscosity(300.0)))
    assert one.conductivity(300.0) == pytest.approx(float(other.conductivity(300.0)))


def test_a_trace_of_another_gas_hardly_matters():
    pure, tainted = find_gas("N2"), find_gas({"N2": 1 - 1e-6, "He": 1e-6})
    assert tainted.viscosity(300.0) == pytest.approx(float(pure.viscosity(300.0)), rel=1e-5)
    assert tainted.conductivity(300.0) == pytest.approx(float(pure.conductivity(300.0)), rel=1e-4)


@pytest.mark.parametrize("text", ["0.9 He + 0.1 Ne", "0.9helium+0.1neon", "90 % He + 10 % Ne", "9e-1 He + 1e-1 Ne"])
def test_mixtures_are_read_in_common_notations(text):
    parts = {species.symbol: x for species, x in find_gas(text).fractions}
    assert parts == {"He": pytest.approx(0.9), "Ne": pytest.approx(0.1)}


@pytest.mark.parametrize(
    ("what", "said"),
    [
        ("0.9 He + 0.2 Ne", "must sum to 1, not 1.1"),
        ("1.2 He + -0.2 Ne", "not a part of a mixture"),
        ("He + Ne", "not a part of a mixture"),
        ("0.5.5 He + 0.5 Ne", "not a part of a mixture"),
        ("0.5 He + ", "not a part of a mixture"),
        ("0.5 He + 0.5 Nee", "unknown gas 'Nee'"),
        ({"He": 1.5, "Ne": -0.5}, "mole fraction of He cannot be 1.5"),
        ({"He": float("nan"), "Ne": 0.5}, "nan is not a mole fraction of He"),
        ({}, "must sum to 1, not 0;"),
        ("", "unknown gas ''"),
    ],
)
def test_an_invalid_mixture_is_refused_with_the_reason(what, said):
    with pytest.raises(InputError) as raised:
        find_gas(what)
    assert said in str(raised.value)


@given(st.text())
def test_any_text_gives_a_mixture_or_an_input_error(text):
    try:
        gas = find_gas(text)
    except InputError:
        return
    assert sum(x for _, x in gas.fractions) == pytest.approx(1)


def test_the_temperature_range_of_a_mixture_is_the_narrowest_of_its_parts():
    with pytest.raises(OutOfRangeError, match="water vapour"):
        find_gas("0.99 N2 + 0.01 H2O").viscosity(270.0)


def test_a_mixture_names_its_sources():
    sources = find_gas("air").sources
    assert any("Lemmon" in source for source in sources)
    assert any("Wilke" in source for source in sources)
    assert not any("Wilke" in source for source in find_gas("argon").sources)


def test_uncertain_fractions_are_kept_and_the_main_gas_balances_them():
    gas = find_gas({"N2": 0.97, "H2O": "0.03 +/- 0.02", "Ar": 0.0})
    assert gas.uncertain == (("H2O", 0.02),)
    assert gas.balance == "N2"
    wetter = gas.with_fraction("H2O", 0.05)
    assert (wetter.fraction("N2"), wetter.fraction("H2O")) == pytest.approx((0.95, 0.05))
    assert wetter.molar_mass_kg_mol < gas.molar_mass_kg_mol
    # Either of two gases may have it, and a gas of fraction zero stays in the mixture.
    assert find_gas({"He": "0.9 +/- 0.05", "Ne": 0.1}).uncertain == (("Ne", 0.05),)
    assert find_gas({"N2": 1.0, "H2O": "0 +/- 0.02"}).uncertain == (("H2O", 0.02),)


@pytest.mark.parametrize(
    ("what", "says"),
    [
        (
            {"He": "0.9 +/- 0.05", "Ne": "0.1 +/- 0.01"},
            "the uncertainty of He cannot be 0.05: it follows from those of the other gases, 0.01",
        ),
        ({"N2": "0.9 +/- 0.05", "H2O": 0.05, "Ar": 0.05}, "write the uncertainties of the other gases"),
        ({"N2": 0.97, "H2O": "three"}, "'three' is not a mole fraction of H2O"),
        ({"N2": 0.97, "H2O": "0.03 mm"}, "'0.03 mm' is not a mole fraction of H2O"),
        ({"N2": 0.97, "H2O": "0.03 +/- 0.7"}, "uncertainty of the mole fraction of H2O cannot be 0.7"),
        ({"N2": 0.97, "H2O": "0.02 +/- 0.01"}, "must sum to 1, not 0.99"),
    ],
)
def test_meaningless_uncertainties_are_refused(what, says):
    with pytest.raises(InputError, match=says):
        find_gas(what)


def test_fractions_that_exceed_one_are_refused():
    with pytest.raises(InputError, match="cannot be"):
        find_gas({"N2": 0.97, "H2O": "0.03 +/- 0.02"}).with_fraction("H2O", 1.1)
    with pytest.raises(InputError, match="other than N2"):
        find_gas({"N2": 0.97, "H2O": "0.03 +/- 0.02"}).with_fraction("N2", 0.5)
