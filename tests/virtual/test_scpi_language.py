"""Messages are read as IEEE 488.2-1992 and SCPI-1999 say.

Sections of the standards as two open libraries name them beside their code (scpi-rs, libscpi), and as the contents list
of SCPI-1999, volume 1, has them. From memory, since no public source that could be searched names them: 7.7.2.4.2,
8.7.4 and 8.7.9.
"""

from __future__ import annotations

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewind.virtual.scpi import Choice, Command, Numeric, ScpiError, Switch, Unit, block, real, units
from edgewind.virtual.scpi.commands import find_command

VOLTS = Numeric("V", -10.0, 10.0, 1.0)
VOLTAGE = Command("[SOURce:]VOLTage[:LEVel][:IMMediate]", lambda *_: None, (VOLTS,))


def headers(message):
    return [unit.header for unit in units(message)]


@pytest.mark.parametrize(
    ("message", "paths"),
    [
        (b"FREQ:STAR 3;STOP 5", ["FREQ:STAR", "FREQ:STOP"]),
        (b"FREQ:STAR 3;:VOLT 5", ["FREQ:STAR", "VOLT"]),
        (b"FREQ:STAR 3;*OPC;STOP 5", ["FREQ:STAR", "*OPC", "FREQ:STOP"]),
        (b"A:B:C;D:E;F", ["A:B:C", "A:B:D:E", "A:B:D:F"]),
        (b":a;b", ["A", "B"]),
        (b"  *idn? ; *cls\r", ["*IDN", "*CLS"]),
    ],
)
def test_header_paths_are_resolved_by_the_standard(message, paths):
    """SCPI-1999, volume 1, 6.2.4: a common command leaves the path, a leading colon goes back to the root."""
    assert headers(message) == paths


def test_separators_inside_strings_do_not_separate():
    """IEEE 488.2-1992, 7.7.5: a doubled quote stands for one inside a string."""
    (unit,) = units(b"DISP:TEXT 'a;b,''c''', \"d;e\"")
    assert unit.arguments == ("'a;b,''c'''", '"d;e"')


@pytest.mark.parametrize("header", ["VOLT", "volt", "VOLTage", "SOUR:VOLT", "source:voltage:level", "VOLT:LEV:IMM"])
def test_short_and_long_forms_and_optional_nodes_are_accepted(header):
    """SCPI-1999, volume 1, 6.2.1, mnemonic generation rules: short or long form, in any case, nothing between."""
    assert VOLTAGE.matches(Unit(header.upper(), False, ())) == ()


@pytest.mark.parametrize("header", ["VOL", "VOLTA", "VOLTAGES", "SOURC:VOLT", "LEV", "VOLT:IMM:LEV", "SOUR", "VOLTLEV"])
def test_other_forms_are_not_headers(header):
    assert VOLTAGE.matches(Unit(header, False, ())) is None
    with pytest.raises(ScpiError) as error:
        find_command((VOLTAGE,), Unit(header, False, ()))
    assert error.value.code == -113


def test_numeric_suffixes_of_headers_are_read():
    """SCPI-1999, volume 1, 6.2.5.2: one where it is left out; outside of what there is, -114."""
    channel = Command("CHANnel<n>:RANGe", lambda instrument, number: str(number), greatest_suffix=2)
    assert channel.matches(Unit("CHAN:RANG", False, ())) == (1,)
    assert channel.matches(Unit("CHANNEL2:RANGE", False, ())) == (2,)
    with pytest.raises(ScpiError) as error:
        channel.run(None, (3,), Unit("CHAN3:RANG", False, ()))
    assert error.value.code == -114


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1", 1), ("+1.5", 1.5), (".5", 0.5), ("5.", 5),
        ("-2.5E-1", -0.25), ("1 e 0", 1), ("1500 mV", 1.5), ("1500MV", 1.5),
        ("2E-3kv", 2), ("5e6uV", 5), ("5e18aV", 5), ("MIN", -10), ("maximum", 10), ("DEF", 1),
    ],
)  # fmt: skip
def test_numbers_of_every_format_are_read(text, value):
    """IEEE 488.2-1992, 7.7.2 to 7.7.4 and table 7-2; MINimum and the like: SCPI-1999, volume 1, 7.2.1."""
    assert VOLTS.read(text) == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("10.1", -222), ("1e40", -222), ("1e400", -222), ("1e99999", -123), ("1e9999999", -123), ("1" * 300, -124),
        ("1 A", -131), ("1 mHz", -131), ("1V2", -131), ("1+2", -121), ("1;", -121), ("abc", -148), ("MINI", -148),
        ("'1'", -158), ("(1)", -178), ("#3ABC", -168), ("#HA", -168), ("--1", -104), ("e5", -148),
        ("nan", -148), ("inf", -148),
    ],
)  # fmt: skip
def test_text_that_is_not_a_number_is_refused(text, code):
    with pytest.raises(ScpiError) as error:
        VOLTS.read(text)
    assert error.value.code == code


def test_numbers_without_a_unit_take_no_suffix_and_whole_ones_are_rounded():
    """IEEE 488.2-1992, 7.7.2.4.2: a number is rounded where a whole one is required; -138 is SCPI's."""
    count = Numeric("", 0, 10, 0, whole=True)
    assert [count.read(text) for text in ("2.4", "2.5", "1e1")] == [2, 3, 10]
    with pytest.raises(ScpiError) as error:
        count.read("2 V")
    assert error.value.code == -138


def test_m_in_mhz_and_mohm_is_mega_and_not_milli():
    """HP 53131A operating guide, table 3-2: "1E6 MA (or M for OHM and HZ)", "MHZ and MOHM, are special cases"."""
    assert Numeric("Ohm", 0, 1e9, 0).read("3 MOHM") == 3e6
    assert Numeric("V", 0, 1e30, 0).read("2 EXV") == 2e18 and Numeric("V", 0, 1e30, 0).read("2 PEV") == 2e15
    assert Numeric("Hz", 0, 1e9, 0).read("3 MHZ") == 3e6
    assert Numeric("V", 0, 1e9, 0).read("3 MV") == 3e-3
    assert Numeric("V", 0, 1e9, 0).read("3 MAV") == 3e6


def test_switches_and_choices_are_read():
    """SCPI-1999, volume 1, 7.3: a number is on where it rounds to anything but zero."""
    on = [text for text in ("ON", "off", "1", "0", "0.4", "-3") if Switch().read(text)]
    assert on == ["ON", "1", "-3"]
    assert Choice(("NORMal", "SWAPped")).read("swapped") == "SWAP"
    for reader, text, code in (
        (Switch(), "MAYBE", -141),
        (Choice(("NORMal",)), "NOR", -141),
        (Choice(("A",)), "1", -104),
    ):
        with pytest.raises(ScpiError) as error:
            reader.read(text)
        assert error.value.code == code


@given(st.floats(-10, 10), st.sampled_from([("", 1.0), (" V", 1.0), ("mV", 1e-3), (" uV", 1e-6)]))
def test_every_number_written_is_read_back(value, suffix):
    text, factor = suffix
    assert VOLTS.read(f"{value!r}{text}".upper()) == pytest.approx(value * factor, rel=1e-14, abs=1e-300)


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=-9e37, max_value=9e37))
def test_answers_are_read_back(value):
    """IEEE 488.2-1992, 8.7.4: a number with exponent."""
    assert float(real(value)) == pytest.approx(value, rel=1e-9, abs=1e-300)


@given(st.binary(max_size=2000))
def test_blocks_state_their_length(data):
    """IEEE 488.2-1992, 8.7.9: '#', how many digits, the length in as many, the bytes."""
    made = block(data)
    digits = int(made[1:2])
    assert made[:1] == b"#" and int(made[2 : 2 + digits]) == len(data) and made[2 + digits :] == data


MNEMONIC = st.text(string.ascii_uppercase, min_size=1, max_size=12)


@given(
    st.lists(
        st.tuples(st.booleans(), st.lists(MNEMONIC, min_size=1, max_size=4), st.booleans()), min_size=1, max_size=6
    )
)
def test_paths_follow_the_rule_for_any_message(parts):
    """SCPI-1999, volume 1, 6.2.4, said again in other words: the last header's parents, unless a colon leads."""
    message = ";".join(
        (":" if rooted else "") + ":".join(names) + ("?" if query else "") for rooted, names, query in parts
    )
    parents, expected = [], []
    for rooted, names, _ in parts:
        whole = names if rooted else parents + names
        expected.append(":".join(whole))
        parents = whole[:-1]
    assert headers(message.encode()) == expected


@given(st.binary(max_size=120).filter(lambda data: b"\n" not in data))
def test_any_bytes_are_message_units_or_an_error_of_the_standard(data):
    try:
        for unit in units(data):
            assert unit.header
    except ScpiError as error:
        assert -200 < error.code <= -100
