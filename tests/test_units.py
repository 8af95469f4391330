"""Units: conversion of input to SI, and of SI to output."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewind.errors import InputError
from edgewind.formatting import format_interval, format_measured, format_number
from edgewind.units import (
    KINDS,
    Measured,
    from_si,
    parse_header,
    parse_measured,
    parse_quantity,
    parse_unit,
    registry,
    to_si,
)

UNITS = {
    "pressure": ["Pa", "hPa", "mbar", "µbar", "Torr", "mTorr", "mmHg", "micron_Hg", "psi", "atm"],
    "length": ["m", "mm", "cm", "µm", "inch"],
    "temperature": ["K", "degC", "degF", "°C"],
    "angular speed": ["rad/s", "rpm", "turn/s", "deg/s", "turn/min"],
    "voltage": ["V", "mV"],
    "time": ["s", "ms", "min", "h"],
    "irradiance": ["W/m^2", "mW/cm^2"],
    "sensitivity": ["1/Pa", "1/Torr", "1/mbar"],
    "number": ["", "%", "percent"],
}
kinds_and_units = st.sampled_from([(kind, unit) for kind, units in UNITS.items() for unit in units])
numbers = st.floats(1e-9, 1e9)


# Known sizes of units


@pytest.mark.parametrize(
    ("text", "kind", "si"),
    [
        ("1 Torr", "pressure", 101325 / 760),
        ("1 mTorr", "pressure", 0.101325 / 0.760),
        ("1 mbar", "pressure", 100.0),
        ("1 atm", "pressure", 101325.0),
        ("60 rpm", "angular speed", 2 * math.pi),
        ("1 turn/s", "angular speed", 2 * math.pi),
        ("180 deg/s", "angular speed", math.pi),
        ("0 degC", "temperature", 273.15),
        ("32 degF", "temperature", 273.15),
        ("22 °C", "temperature", 295.15),
        ("1 inch", "length", 0.0254),
        ("2.7 g/cm^3", "density", 2700.0),
        ("3 l", "volume", 0.003),
        ("95 %", "number", 0.95),
    ],
)
def test_units_have_their_defined_size(published, text, kind, si):
    """Exact by definition. Degree of angle and litre: BIPM, The International System of Units, 9th ed. (2019), table 8,
    as npl.co.uk/si-units gives it. The torr is 101325/760 Pa: sizes.com/units/torr.htm and SciPy's constants; NIST SP
    811 (2008), appendix B.8, prints it rounded, 133.3224 Pa, and has the atmosphere and the bar. Inch, degree
    Fahrenheit and degree Celsius: SciPy's constants. A turn is 2 pi, and mega, milli and centi are SI prefixes.
    """
    published(text, parse_quantity(text, kind), si, rel=1e-12, unit="SI")


def test_a_millimetre_of_mercury_and_a_torr_differ_by_less_than_a_millionth(published):
    """Source: NIST SP 811 (2008), appendix B.8: 133.3224 Pa for both, as two copies of it print them."""
    assert parse_quantity("1 mmHg", "pressure") == pytest.approx(parse_quantity("1 Torr", "pressure"), rel=1e-6)
    published("1000 micron_Hg", parse_quantity("1000 micron_Hg", "pressure"), 133.3224, rel=1e-6, unit="Pa")


def test_every_kind_of_quantity_accepts_its_own_example():
    for kind in KINDS.values():
        assert math.isfinite(parse_quantity(kind.example, kind.name))


# Values with uncertainty


@pytest.mark.parametrize(
    "text", ["12.0(2) mm", "12.0 +/- 0.2 mm", "12.0 ± 0.2 mm", "12.0+-0.2mm", "1.20(2) cm", "1.20(2)e1 mm"]
)
def test_uncertainty_may_be_written_in_several_ways(text):
    value, u = parse_measured(text, "length")
    assert (value, u) == (pytest.approx(0.012), pytest.approx(0.0002))


def test_digits_in_brackets_count_in_the_last_place_as_in_the_gum(published):
    """Source: JCGM 100:2008, 7.2.2, form 2: ``m_S = 100,021 47(35) g`` has the standard uncertainty 0.35 mg."""
    value, u = parse_measured("100.02147(35) g", "mass")
    published("100.02147(35) g", value, 0.10002147, rel=1e-9, unit="kg")
    published("its standard uncertainty", u, 0.35e-6, rel=1e-9, unit="kg")


def test_an_exponent_before_the_brackets_scales_the_digits():
    assert parse_measured("1.20e3(5) m", "length") == Measured(pytest.approx(1200.0), pytest.approx(50.0))


def test_uncertainty_in_percent_is_relative():
    assert parse_measured("800 +/- 5 % W/m^2", "irradiance") == Measured(800.0, 40.0)


def test_uncertainty_of_a_temperature_has_no_offset():
    """20.0(5) degC is 293.15 K with 0.5 K, not with 273.65 K."""
    assert parse_measured("20.0(5) degC", "temperature") == Measured(293.15, 0.5)
    assert parse_measured("68.0(9) degF", "temperature") == Measured(293.15, pytest.approx(0.5))


def test_a_temperature_difference_has_no_offset():
    assert parse_quantity("5 degC", "temperature difference") == 5.0
    assert parse_quantity("9 degF", "temperature difference") == pytest.approx(5.0)


def test_relative_uncertainty_of_zero_is_infinite_unless_it_is_exact():
    assert Measured(2.0, 0.1).relative == 0.05
    assert Measured(-2.0, 0.1).relative == 0.05
    assert Measured(0.0, 0.0).relative == 0.0
    assert math.isinf(Measured(0.0, 0.1).relative)


# Errors that help


@pytest.mark.parametrize(
    ("text", "kind", "said"),
    [
        ("7", "pressure", "has no unit"),
        ("7 mTor", "pressure", "did you mean 'mTorr'?"),
        ("7 mm", "pressure", "not a unit of pressure"),
        ("seven mTorr", "pressure", "'seven mTorr' is not a pressure"),
        ("", "pressure", "write a number and a unit, such as '7 mTorr'"),
        ("nan Pa", "pressure", "not a pressure"),
        ("1e999 Pa", "pressure", "not a finite pressure"),
        ("-300 degC", "temperature", "below absolute zero"),
        ("0 K", "temperature", "below absolute zero"),
        ("3 blorp", "length", "unknown unit 'blorp' for a length; write a length with a unit, such as '12 mm'"),
        ("3 Hz", "angular speed", "does not say whether turns or radians are counted"),
        ("3 1/s", "angular speed", "write 'rpm', 'turn/s' or 'rad/s'"),
        ("3 dBm", "power", "not a unit of power"),
        ("3 dB*W", "power", "not a unit of power"),
        ("1(2)e999999 m", "length", "not a finite length"),
        ("1(" + "9" * 5000 + ") m", "length", "not a finite length"),
        (True, "number", "True is not a number"),
        (None, "length", "None is not a length"),
    ],
)
def test_invalid_quantities_are_refused_with_a_correction(text, kind, said):
    with pytest.raises(InputError) as raised:
        parse_measured(text, kind)
    assert said in str(raised.value)


def test_a_whole_number_of_thousands_of_digits_is_not_a_finite_number():
    with pytest.raises(InputError, match="not a finite number"):
        parse_measured(10**5000, "number")


def test_a_number_without_a_unit_is_accepted_only_for_a_pure_number():
    assert parse_quantity(0.95, "number") == 0.95
    with pytest.raises(InputError, match="has no unit"):
        parse_quantity(0.95, "length")


fragments = st.sampled_from(
    ["1", "1.5", "-2", "2", "0", "0.5", "٣", "1e5", "1e-999", "e", "e9999", "(2)", "(", ")", "[", "]", "+/-", "±", "%",
     ",", " ", "\n", "/", "*", "**", "^", "µ", "delta_", "mTorr", "Pa", "degC", "K", "m", "s", "rpm", "Hz", "rad",
     "W", "dB"]
)  # fmt: skip


@pytest.mark.parametrize("texts", [st.text(), st.lists(fragments, max_size=10).map("".join)], ids=["any", "near"])
@given(data=st.data(), kind=st.sampled_from(sorted(KINDS)))
def test_any_text_gives_a_quantity_or_an_input_error(texts, data, kind):
    text = data.draw(texts)
    try:
        value, u = parse_measured(text, kind)
    except InputError:
        return
    assert math.isfinite(value) and math.isfinite(u) and u >= 0


@given(st.one_of(st.text(), st.lists(fragments, max_size=6).map("".join)), st.sampled_from(sorted(KINDS)))
def test_a_unit_that_is_accepted_measures_its_kind(text, kind):
    try:
        unit = parse_unit(text, kind)
    except InputError:
        return
    assert unit.dimensionality == registry.Unit(KINDS[kind].unit).dimensionality


# Round trips


@given(numbers, kinds_and_units)
def test_a_value_written_in_a_unit_is_read_back(number, kind_and_unit):
    kind, unit = kind_and_unit
    si = parse_quantity(f"{number!r} {unit}", kind)
    again = float(from_si(si, unit, kind))
    # A temperature near zero loses digits to its offset, and parsing keeps 15 digits.
    assert again == pytest.approx(number, rel=1e-12, abs=1e-11 if kind == "temperature" else 0.0)


@given(st.lists(st.floats(-1e6, 1e6), max_size=5), kinds_and_units)
def test_arrays_keep_their_shape_and_are_converted_back(values, kind_and_unit):
    kind, unit = kind_and_unit
    si = to_si(values, unit, kind)
    assert si.shape == (len(values),)
    np.testing.assert_allclose(from_si(si, unit, kind), values, rtol=1e-12, atol=1e-9)


@given(st.floats(-1e12, 1e12), st.floats(1e-12, 1e9))
def test_the_short_form_reads_back_within_its_last_digit(value, u):
    read = parse_measured(format_measured(value, u), "number")
    assert read.u == pytest.approx(u, rel=0.15)
    assert abs(read.value - value) <= 0.5 * u * 1.001 + 1e-12 * abs(value)


@given(st.floats(1e-300, 1e300), st.integers(2, 8))
def test_a_formatted_number_is_the_number_to_its_digits(value, digits):
    for signed in (value, -value):
        assert float(format_number(signed, digits)) == pytest.approx(signed, rel=0.5 * 10.0 ** (1 - digits) * 1.001)


# Column titles


@given(
    st.text(st.characters(categories=["Ll", "Nd"]), min_size=1).filter(lambda text: text == text.lower()),
    st.text(st.characters(exclude_characters="[]"), min_size=1).map(str.strip),
)
def test_a_title_is_split_into_name_and_unit(name, unit):
    assert parse_header(f" {name}  [{unit}]") == (name, unit)
    assert parse_header(name) == (name, None)


def test_names_in_titles_are_read_without_regard_to_case_and_underscores():
    assert parse_header("Envelope_Temperature [degC]") == ("envelope temperature", "degC")


@given(st.text())
def test_any_title_gives_a_name_or_an_input_error(text):
    try:
        name, unit = parse_header(text)
    except InputError:
        return
    assert name == name.lower()
    assert unit is None or unit == unit.strip()


@pytest.mark.parametrize("text", ["speed [rpm", "speed rpm]", "speed [rpm] now", "[[rpm]]"])
def test_brackets_that_do_not_close_are_an_error(text):
    with pytest.raises(InputError, match="not a column title"):
        parse_header(text)


# Output


@pytest.mark.parametrize(
    ("value", "u", "text"),
    [
        (100.02147, 0.00012, "100.02147(12) g"),
        (100.02147, 0.00035, "100.0215(4) g"),
        (50.000838, 0.000032, "50.00084(3) g"),
        (1.25, 0.0, "1.25 g"),
        (-3.14159, 0.02, "-3.142(20) g"),
        (99.96, 0.04, "99.96(4) g"),
        (0.00042, 0.0001, "4.2(10)e-4 g"),
        (123456.0, 300.0, "1.235(3)e5 g"),
        (3521.0, 140.0, "3520(140) g"),
        (math.nan, 1.0, "none"),
    ],
)
def test_a_value_is_printed_to_the_digits_of_its_uncertainty(value, u, text):
    """The form of JCGM 100:2008, 7.2.2, number 2; one or two digits as 7.2.6 recommends."""
    assert format_measured(value, u, "g") == text


def test_examples_of_the_gum_are_read_and_printed_in_another_unit():
    """JCGM 100:2008, 7.2.2: the same result written in g and in mg."""
    mass = parse_measured("100.02147(12) g", "mass")
    in_mg = from_si([mass.value, mass.u], "mg", "mass")
    assert format_measured(*in_mg, "mg") == "1.0002147(12)e5 mg"


def test_numbers_are_printed_without_unnecessary_digits():
    assert [format_number(x) for x in (0.0, 7.0, 1234.5678, 0.1, 9999.96, 1e6, -2.5e-7, math.inf)] == [
        "0", "7", "1235", "0.1", "10000", "1e6", "-2.5e-7", "none",
    ]  # fmt: skip


def test_an_interval_has_both_ends_to_the_same_significance():
    assert format_interval(0.98765, 1.23456, "Pa") == "0.988 to 1.23 Pa"
