"""`bench.toml`: its values, its defaults and its errors."""

import pytest
import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from edgewind.bench import Bench, parse_bench, read_bench
from edgewind.errors import InputError


def problem_of(text):
    with pytest.raises(InputError) as raised:
        parse_bench(text)
    return raised.value


def changed(text, old, new):
    assert text.count(old) == 1
    return text.replace(old, new)


def line_of(text, part):
    return next(number for number, line in enumerate(text.splitlines(), start=1) if part in line)


def test_quantities_are_read_in_si_with_their_uncertainty(bench_text):
    bench = parse_bench(bench_text)
    assert bench.rotor.vane_width == (pytest.approx(0.012), pytest.approx(0.0001))
    assert bench.gas.temperature.value == pytest.approx(295.15)
    assert bench.light.irradiance == (800.0, 80.0)
    assert bench.gauge.noise.value == pytest.approx(0.002)
    assert bench.gas.gas.name == "N2"


def test_keys_left_out_have_a_default(bench_text):
    bench = parse_bench(bench_text)
    assert (bench.study.level, bench.study.seed) == (0.90, 1)
    assert bench.rotor.dark_absorptance.value > bench.rotor.bright_absorptance.value
    assert bench.gauge.principle == "thermal-conductivity"
    assert bench.envelope_temperature == bench.gas.temperature


def test_the_envelope_may_have_its_own_temperature(make_bench):
    assert make_bench(chamber={"envelope_temperature": "2 degC"}).envelope_temperature.value == pytest.approx(275.15)


def test_mean_square_arm_is_the_integral_over_the_vane(make_bench):
    """``(1/W) Int r^2 dr`` from ``arm - W/2`` to ``arm + W/2`` is ``(b^3 - a^3) / (3 W)``."""
    rotor = make_bench().rotor
    inner, outer = 0.020 - 0.006, 0.020 + 0.006
    assert rotor.mean_square_arm_m2 == pytest.approx((outer**3 - inner**3) / (3 * 0.012))
    assert rotor.vane_area_m2 == pytest.approx(0.012**2)


# Errors: each names line, key, value and a correction


@pytest.mark.parametrize(
    ("old", "new", "key", "said"),
    [
        ('vane_height = "12 mm"', 'vane_height = "12"', "rotor.vane_height", "'12' has no unit"),
        ('vane_height = "12 mm"', "vane_height = 12", "rotor.vane_height", "write a number and a unit"),
        ('vane_height = "12 mm"', 'vane_height = "12 mTorr"', "rotor.vane_height", "not a unit of length"),
        ('vane_height = "12 mm"', 'vane_height = "twelve mm"', "rotor.vane_height", "'twelve mm' is not a length"),
        ('vane_height = "12 mm"', 'vane_height = "-12 mm"', "rotor.vane_height", "'-12 mm' is too small"),
        ('vane_height = "12 mm"', "vane_height = true", "rotor.vane_height", "True is not a length"),
        ('vane_height = "12 mm"', "vane_height = [1]", "rotor.vane_height", "[1] is not a length"),
        ('vane_height = "12 mm"', "vane_height = 1979-05-27", "rotor.vane_height", "is not a length"),
        (
            'vane_height = "12 mm"',
            'vane_height = "12 mm"\ndark_absorptance = 1.2',
            "rotor.dark_absorptance",
            "at most 1",
        ),
        (
            'vane_height = "12 mm"',
            'vane_height = "12 mm"\ndark_absorptance = 0.1',
            "rotor.dark_absorptance",
            "greater absorptance",
        ),
        (
            'vane_height = "12 mm"',
            'vane_height = "120 mm"',
            "chamber.height",
            "the vanes are 120 mm high and the chamber 100 mm",
        ),
        (
            'arm = "20.0(2) mm"',
            'arm = "50 mm"',
            "chamber.width",
            "sweeps a circle of 112 mm and the chamber is 100 mm wide",
        ),
        ('arm = "20.0(2) mm"', 'arm = "5 mm"', "rotor.arm", "shorter than half of a vane's width (6 mm)"),
        ("vanes = 4", "vanes = 0", "rotor.vanes", "0 cannot be used"),
        ("vanes = 4", 'vanes = "four"', "rotor.vanes", "'four' cannot be used"),
        (
            'leading_face = "bright"',
            'leading_face = "white"',
            "rotor.leading_face",
            "'bright', 'dark' or 'not observed'",
        ),
        ('species = "N2"', 'species = "N3"', "gas.species", "unknown gas 'N3'; did you mean"),
        ('species = "N2"', "species = { He = 0.9, Ne = 0.2 }", "gas.species", "must sum to 1, not 1.1"),
        ('species = "N2"', "species = 2", "gas.species", "2 is not a gas; write 'N2', or mole fractions"),
        ('species = "N2"', 'species = { He = "all" }', "gas.species", "'all' is not a mole fraction of He"),
        ("marks = 4", "marks = 4\nchannel = 1.5", "tachometer.channel", "1.5 cannot be used"),
        ('temperature = "22 degC"', 'temperature = "-300 degC"', "gas.temperature", "below absolute zero"),
        (
            'kind = "log-linear"',
            'kind = "log-lin"',
            "gauge.kind",
            "unknown kind of gauge 'log-lin'; write one of 'linear'",
        ),
        ('kind = "log-linear"', "kind = 3", "gauge.kind", "unknown kind of gauge 3"),
        ('signal_low = "1 V"', 'signal_low = "7 V"', "gauge.signal_low", "signal_low is 7 V and signal_high 6 V"),
        ('noise = "2 mV"', 'noise = "-2 mV"', "gauge.noise", "at least 0"),
        ('noise = "2 mV"', 'noise = "2 mV"\nprinciple = "magic"', "gauge.principle", "'magic' cannot be used"),
        ("marks = 4", "marks = 4\nmains_frequency = '0 Hz'", "tachometer.mains_frequency", "'0 Hz' is too small"),
        ("marks = 4", "marks = 4\n[study]\nlevel = 1.5", "study.level", "1.5 cannot be used"),
        ("marks = 4", "marks = 4\n[study]\nseed = -1", "study.seed", "-1 cannot be used"),
    ],
)
def test_an_invalid_value_is_refused_with_its_line_and_key(bench_text, old, new, key, said):
    text = changed(bench_text, old, new)
    error = problem_of(text)
    assert said in str(error)
    assert error.key == key
    section, name = key.split(".")
    assert text.splitlines()[error.line - 1].strip().startswith((f"{name} =", f"[{section}]"))
    assert f"bench.toml, line {error.line}, key {key}: " in str(error)


@pytest.mark.parametrize(
    ("old", "new", "key", "near"),
    [
        ("vane_height =", "vane_heigth =", "rotor.vane_heigth", "vane_height"),
        ('title = "Invented"', 'titel = "Invented"', "experiment.titel", "title"),
        ("voltage_per_decade", "volts_per_decade", "gauge.volts_per_decade", "voltage_per_decade"),
        ("[tachometer]", "[tacho]", "tacho", "tachometer"),
        ("marks = 4", "marks = 4\n[study]\nlevels = 0.9", "study.levels", "level"),
        ("marks = 4", "marks = 4\n[gauge.correction]\nfaktor = 1.1", "gauge.correction.faktor", "factor"),
    ],
)
def test_an_unknown_key_is_an_error_with_the_nearest_known_one(bench_text, old, new, key, near):
    text = changed(bench_text, old, new)
    error = problem_of(text)
    assert f"key {key}: unknown key; did you mean '{near}'? known keys are " in str(error)
    assert error.line == line_of(text, new.splitlines()[-1])


def test_an_unknown_key_without_a_near_match_lists_the_known_keys(bench_text):
    error = problem_of(changed(bench_text, "marks = 4", "marks = 4\nqqq = 1"))
    assert "unknown key; known keys are marks, channel" in str(error)


@pytest.mark.parametrize(
    ("line", "key", "section"),
    [
        ('arm = "20.0(2) mm"   # axis to the middle of a vane\n', "rotor.arm", "[rotor]"),
        ('noise = "2 mV"\n', None, None),
    ],
)
def test_a_missing_key_is_named_with_its_section(bench_text, line, key, section):
    text = changed(bench_text, line, "")
    if key is None:
        assert parse_bench(text).gauge.noise.value == 0.0
        return
    error = problem_of(text)
    assert f"key {key}: this key is missing; add it to {section}" in str(error)
    assert error.line == line_of(text, section)


def test_a_missing_section_is_named(bench_text):
    error = problem_of(changed(bench_text, "[tachometer]\nmarks = 4\n", ""))
    assert "key tachometer: this key is missing; add a section [tachometer]" in str(error)


def test_a_gauge_that_is_not_a_table_is_named(bench_text):
    start = bench_text.index("[gauge]")
    text = 'gauge = "a good one"\n' + bench_text[:start] + "[tachometer]\nmarks = 4\n"
    error = problem_of(text)
    assert (error.key, error.line) == ("gauge", 1)
    assert "write a table [gauge] with kind = one of 'linear'" in str(error)


def test_rows_of_a_calibration_table_are_not_read_as_sections(bench_text):
    """The key below a table of points over several lines is still found in its own line."""
    start, end = bench_text.index("[gauge]"), bench_text.index("[tachometer]")
    gauge = """[gauge]
kind = "table"
points = [
  ["1 V", "1 Pa"],
  ["2 V", "10 Pa"]
]
signal_low = "1 V"
signal_high = "2 mm"
transfer_uncertainty = "5 %"

"""
    text = bench_text[:start] + gauge + bench_text[end:]
    assert problem_of(text).line == line_of(text, 'signal_high = "2 mm"')


def test_errors_of_dotted_keys_name_their_line(bench_text):
    text = changed(bench_text, "[tachometer]\nmarks = 4\n", "")
    text = "tachometer.marks = 0\n" + text
    assert problem_of(text).line == 1


@pytest.mark.parametrize(
    ("text", "line"),
    [("[gas\n", 1), ("[gas]\nspecies = \n", 2), ("[gas]\nspecies = 'N2'\nspecies = 'He'\n", None), ("= 3", 1)],
)
def test_text_that_is_not_toml_is_refused_with_its_line(text, line):
    error = problem_of(text)
    assert "not valid TOML" in str(error)
    assert line is None or error.line == line


def test_an_empty_file_is_refused_with_the_first_missing_section():
    assert "key experiment: this key is missing; add a section [experiment]" in str(problem_of(""))


# Whole files


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"\xff\xfe[\x00g\x00", "byte 1 is not UTF-8 text"),
        (b"[experiment]\ntitle = 'caf\xe9'\n", "byte 26 is not UTF-8 text"),
        (b"\x00\x01\x02\x03", "not valid TOML"),
        (b"# " + b"x" * 1_000_001, "too large"),
    ],
)
def test_a_file_that_is_not_a_bench_is_refused_by_name(tmp_path, content, said):
    path = tmp_path / "bench.toml"
    path.write_bytes(content)
    with pytest.raises(InputError) as raised:
        read_bench(path)
    assert str(raised.value).startswith(str(path))
    assert said in str(raised.value)


def test_a_missing_file_and_a_folder_are_refused(tmp_path):
    for path in (tmp_path / "bench.toml", tmp_path):
        with pytest.raises(InputError, match="there is no such file"):
            read_bench(path)


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("end", [b"\n", b"\r\n"])
def test_byte_order_mark_and_line_endings_do_not_matter(tmp_path, bench_text, mark, end):
    path = tmp_path / "bench.toml"
    path.write_bytes(mark + bench_text.encode().replace(b"\n", end))
    assert read_bench(path) == parse_bench(bench_text)


def test_the_same_text_makes_the_same_bench(bench_text):
    assert parse_bench(bench_text) == parse_bench(bench_text)
    assert isinstance(parse_bench(bench_text), Bench)


# Any other content


@given(st.binary(max_size=300))
def test_any_bytes_give_a_bench_or_an_input_error(tmp_path_factory, content):
    path = tmp_path_factory.mktemp("fuzz", numbered=True) / "bench.toml"
    path.write_bytes(content)
    with pytest.raises(InputError):
        read_bench(path)


toml_values = st.recursive(
    st.one_of(
        st.text(max_size=8),
        st.sampled_from(["12 mm", "2 V", "1 mTorr", "5 %", "N2", "table", "linear", "22 degC"]),
        st.sampled_from(["1e999 mm", "3 dB", "1(9)e999 V"]),
        st.integers(-(2**63), 2**63 - 1),
        st.floats(),
        st.booleans(),
        st.dates(),
    ),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(st.text(max_size=6), inner, max_size=3)),
    max_leaves=6,
)  # fmt: skip


@settings(max_examples=200)
@given(data=st.data())
def test_any_valid_toml_gives_a_bench_or_an_input_error(bench_text, data):
    table = tomlkit.parse(bench_text).unwrap()
    for _ in range(data.draw(st.integers(1, 3))):
        section = data.draw(st.sampled_from(sorted(table)))
        inside = isinstance(table[section], dict) and table[section] and data.draw(st.booleans())
        target, key = (
            (table[section], data.draw(st.sampled_from(sorted(table[section])))) if inside else (table, section)
        )
        target[key] = data.draw(toml_values)
    try:
        parse_bench(tomlkit.dumps(table))
    except InputError as error:
        assert error.fix or "TOML" in error.problem


@settings(max_examples=200)
@given(data=st.data())
def test_any_damaged_text_gives_a_bench_or_an_input_error(bench_text, data):
    text = bench_text
    for _ in range(data.draw(st.integers(1, 3))):
        place = data.draw(st.integers(0, len(text)))
        cut = data.draw(st.integers(0, 12))
        text = text[:place] + data.draw(st.text(max_size=6)) + text[place + cut :]
    try:
        parse_bench(text)
    except InputError as error:
        assert error.file == "bench.toml"


@pytest.mark.parametrize("quote", ['"', "'"])
def test_an_unclosed_quote_is_refused_with_its_line(bench_text, quote):
    text = bench_text + f"\n[more]\ntitle = {quote}my rotor  # open\n"
    with pytest.raises(InputError, match="the quote opened on this line is not closed") as caught:
        parse_bench(text)
    assert caught.value.line == text.rstrip().count("\n") + 1
