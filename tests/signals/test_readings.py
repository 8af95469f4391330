"""`readings.csv`: common notations are read, invalid cells refused with their place."""

import csv
import io
import math
import string

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edgewind.errors import InputError
from edgewind.signals import read_experiment, read_readings

MTORR = 101.325 / 760
RPM = 2 * math.pi / 60

PLAIN = """\
time [s],pressure [mTorr],pressure uncertainty [mTorr],speed [rpm],speed uncertainty [rpm],lamp,sweep,\
envelope temperature [degC],note,exclude
0,1.0,0.1,120,2,on,up,22.0,,
60,10,0.5,240,2,on,up,22.5,"steady, at last",
120,under-range,,0,1,off,up,,,door open
"""


@pytest.fixture
def write(tmp_path):
    def make(content, name="readings.csv"):
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return make


def error_of(path):
    with pytest.raises(InputError) as raised:
        read_readings(path)
    return raised.value


# What is read


def test_readings_are_in_si(write):
    frame = read_readings(write(PLAIN))
    assert frame["pressure_pa"].to_numpy() == pytest.approx([MTORR, 10 * MTORR, 0.0])
    assert frame["pressure_u_pa"].to_numpy()[:2] == pytest.approx([0.1 * MTORR, 0.5 * MTORR])
    assert frame["speed_rad_s"].to_numpy() == pytest.approx([120 * RPM, 240 * RPM, 0.0])
    assert frame["speed_u_rad_s"].to_numpy() == pytest.approx([2 * RPM, 2 * RPM, RPM])
    assert frame["envelope_k"].to_numpy() == pytest.approx([295.15, 295.65, np.nan], nan_ok=True)
    assert frame["time_s"].to_numpy() == pytest.approx([0, 60, 120])
    assert list(frame["lamp"]) == [True, True, False]
    assert list(frame["line"]) == [2, 3, 4]
    assert list(frame["note"]) == ["", "steady, at last", ""]
    assert list(frame["exclude"]) == ["", "", "door open"]
    assert frame["gauge_v"].isna().all()


def test_a_semicolon_as_separator_allows_a_decimal_comma(write):
    text = "pressure [mTorr];speed [rpm];note\n1,5;120,25;a, b\n2,5e-1;7;\n"
    frame = read_readings(write(text))
    assert frame["pressure_pa"].to_numpy() == pytest.approx([1.5 * MTORR, 0.25 * MTORR])
    assert frame["speed_rad_s"].iloc[0] == pytest.approx(120.25 * RPM)
    assert frame["note"].iloc[0] == "a, b"


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_separator_line_ending_and_byte_order_mark_do_not_matter(write, separator, end, mark):
    text = end.join(separator.join(row) for row in (["gauge [V]", "speed [rpm]"], ["1.5", "120"], ["2", "130"]))
    frame = read_readings(write(mark + (text + end).encode()))
    assert frame["gauge_v"].to_numpy() == pytest.approx([1.5, 2.0])
    assert list(frame["line"]) == [2, 3]


def test_blank_lines_comments_and_empty_columns_are_skipped(write):
    frame = read_readings(write("# my bench\n\ngauge [V],,speed [rpm]\n\n# first\n1.5,,120\n,,\n2,,130\n"))
    assert list(frame["line"]) == [6, 8]


def test_titles_are_read_without_regard_to_case_and_underscores(write):
    frame = read_readings(write("GAUGE [V],Speed_Uncertainty [rpm],speed [rpm]\n1,2,3\n"))
    assert frame["speed_u_rad_s"].iloc[0] == pytest.approx(2 * RPM)


def test_uncertainty_in_percent_is_relative(write):
    frame = read_readings(write("pressure [mTorr],pressure uncertainty [%],speed [rpm]\n10,5,120\n"))
    assert frame["pressure_u_pa"].iloc[0] == pytest.approx(0.5 * MTORR)


def test_without_an_uncertainty_the_last_digit_determines_it(write):
    """Source: JCGM 100:2008, F.2.2.1: a step d is a rectangular distribution with the standard deviation d/sqrt(12)."""
    frame = read_readings(write("pressure [mTorr],speed [rpm]\n7.0,120\n7,1.2e2\n"))
    assert frame["pressure_u_pa"].to_numpy() == pytest.approx(np.array([0.1, 1.0]) * MTORR / math.sqrt(12))
    assert frame["speed_u_rad_s"].to_numpy() == pytest.approx(np.array([1.0, 10.0]) * RPM / math.sqrt(12))


def test_a_gauge_out_of_range_may_be_noted_in_words(write):
    frame = read_readings(write("pressure [mTorr],speed [rpm]\nunder-range,1\nOver-Range,2\n"))
    assert list(frame["pressure_pa"]) == [0.0, math.inf]


def test_times_of_the_clock_count_from_the_first_reading_whatever_its_place(write):
    text = "time,gauge [V],speed [rpm]\n2026-03-14 15:10:00,1,1\n2026-03-14T15:09:00,2,2\n,3,3\n"
    assert read_readings(write(text))["time_s"].to_numpy() == pytest.approx([60, 0, np.nan], nan_ok=True)


def test_times_of_two_time_zones_are_compared_as_times(write):
    text = "time,gauge [V],speed [rpm]\n2026-03-14T15:00:00+01:00,1,1\n2026-03-14T14:30:00+00:00,2,2\n"
    assert read_readings(write(text))["time_s"].to_numpy() == pytest.approx([0, 1800])


def test_an_excluded_reading_may_lack_its_numbers(write):
    frame = read_readings(write("gauge [V],speed [rpm],exclude\n1,1,\n,,pump failed\n"))
    assert math.isnan(frame["gauge_v"].iloc[1]) and frame["exclude"].iloc[1] == "pump failed"


# What is refused, with its place


@pytest.mark.parametrize(
    ("text", "line", "column", "said"),
    [
        ("", None, None, "the file is empty"),
        ("\n\n", None, None, "the file is empty"),
        ("gauge [V],speed [rpm]\n", 1, None, "there are titles and no readings"),
        ("gauge [V],speed [rpm]\n1,abc\n", 2, "speed", "'abc' is not a number; write a number, such as 1.5"),
        ("gauge [V],speed [rpm]\nnan,1\n", 2, "gauge", "'nan' is not a number"),
        ("gauge [V],speed [rpm]\ninf,1\n", 2, "gauge", "'inf' is not a number"),
        ("gauge [V],speed [rpm]\n1,1\n0x10,1\n", 3, "gauge", "'0x10' is not a number"),
        ("gauge [V];speed [rpm]\n1.000,5;1\n", 2, "gauge", "'1.000,5' is not a number; write a number, such as 1,5"),
        ("gauge [V],speed [rpm]\n1e999,1\n", 2, "gauge", "'1e999' is too large a number"),
        ("pressure [mTorr],speed [rpm]\n-1,1\n", 2, "pressure", "'-1' mTorr is below zero; a pressure is above zero"),
        (
            "pressure [mTorr],pressure uncertainty [mTorr],speed [rpm]\n1,-1,1\n",
            2,
            "pressure uncertainty",
            "below zero",
        ),
        ("gauge [V],speed [rpm],speed uncertainty [rpm]\n1,1,-1\n", 2, "speed uncertainty", "below zero"),
        ("gauge [V],speed [rpm],envelope temperature [degC]\n1,1,-274\n", 2, "envelope temperature", "absolute zero"),
        ("gauge [V],speed [rpm],envelope temperature [K]\n1,1,0\n", 2, "envelope temperature", "absolute zero"),
        ("pressure [mTor],speed [rpm]\n1,1\n", 1, 1, "unknown unit 'mTor' for a pressure; did you mean 'mTorr'?"),
        ("pressure [mm],speed [rpm]\n1,1\n", 1, 1, "'mm' is not a unit of pressure"),
        ("gauge [V],speed [Hz]\n1,1\n", 1, 2, "does not say whether turns or radians are counted"),
        ("gauge [V],speed\n1,1\n", 1, 2, "the title 'speed' has no unit; write it in brackets, such as 'speed [rpm]'"),
        ("gauge [V],speed [rpm],note [V]\n1,1,1\n", 1, 3, "'note' takes no unit"),
        ("gauge [V],spead [rpm]\n1,1\n", 1, 2, "unknown title 'spead'; did you mean 'speed'?"),
        ("pressure (mbar),speed [rpm]\n1,1\n", 1, 1, "a unit stands in square brackets, 'pressure [unit]'"),
        ("gauge [V],speed [rpm\n1,1\n", 1, 2, "not a column title"),
        ("gauge [V],speed [rpm],gauge [mV]\n1,1,1\n", 1, 3, "the title 'gauge' is given twice"),
        ("speed [rpm]\n1\n", None, None, "no column holds a pressure; add 'gauge [V]'"),
        ("gauge [V]\n1\n", None, None, "no column holds a speed; add 'trace'"),
        ("gauge [V],speed [rpm]\n1,1,1\n", 2, None, "3 cells under 2 titles; where these are decimal commas"),
        ("gauge [V],speed [rpm],note\n1,5,80,5,a\n", 2, None, "5 cells under 3 titles; where these are decimal commas"),
        ("gauge [V],note\n1.5,warm, dark\n", 2, None, "3 cells under 2 titles; put text that holds the separator"),
        ("gauge [V],note\n1,a,b\n", 2, None, "2 titles; put text that holds the separator in quotes"),
        ("gauge [V],speed [rpm]\n,1\n", 2, None, "the reading has no pressure"),
        ("gauge [V],speed [rpm]\n1,\n", 2, None, "the reading has no speed"),
        ("gauge [V],speed [rpm]\n1\n", 2, None, "the reading has no speed"),
        ("gauge [V],pressure [Pa],speed [rpm]\n1,1,1\n", 2, None, "both a gauge voltage and a pressure are given"),
        ("gauge [V],speed [rpm],trace\n1,1,a.csv\n", 2, None, "both a trace and a typed speed are given"),
        ("gauge [V],speed [rpm],lamp\n1,1,maybe\n", 2, "lamp", "'maybe' does not say whether the lamp was on"),
        ("time [s],gauge [V],speed [rpm]\n0,1,1\n5,1,1\n0,1,1\n", 4, "time", "the time '0' stands in line 2 already"),
        ("time [s],gauge [V],speed [rpm]\n0,1,1\n0.0,1,1\n", 3, "time", "stands in line 2 already"),
        ("time,gauge [V],speed [rpm]\n2026-03-14 15:09,1,1\n2026-03-14T15:09:00,1,1\n", 3, "time", "in line 2 already"),
        ("time,gauge [V],speed [rpm]\nnoon,1,1\n", 2, "time", "'noon' is not a time; write it as 2026-03-14 15:09:26"),
        ("time [s],gauge [V],speed [rpm]\nnoon,1,1\n", 2, "time", "'noon' is not a number"),
        ("time [mTorr],gauge [V],speed [rpm]\n1,1,1\n", 1, 1, "'mTorr' is not a unit of time"),
    ],
)
def test_invalid_cells_are_refused_with_file_line_and_column(write, text, line, column, said):
    path = write(text)
    error = error_of(path)
    assert said in str(error)
    assert (error.file, error.line, error.column) == (str(path), line, column)


@pytest.mark.parametrize(
    ("content", "line", "said"),
    [
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", 3, "this is not text"),
        (b"gauge [V],speed [rpm]\n1,\xe9\n", 2, "byte 0xe9 is not UTF-8 text"),
        ("gauge [V],speed [rpm]\n".encode("utf-16"), 1, "this is not text"),
        (b"gauge [V],speed [rpm]\r1,1\r", 1, "not a table"),
        (b'gauge [V],speed [rpm]\n"' + b"9" * 200_000 + b'",1\n', 2, "not a table"),
    ],
)
def test_text_that_is_not_a_table_is_refused_with_its_line(write, content, line, said):
    error = error_of(write(content))
    assert said in str(error)
    assert error.line == line


def test_a_missing_file_and_a_folder_are_refused_by_name(tmp_path):
    for path in (tmp_path / "readings.csv", tmp_path):
        assert str(error_of(path)).startswith(f"{path}: there is no such file")


def test_a_file_too_large_for_a_table_is_refused_without_being_read(tmp_path):
    path = tmp_path / "readings.csv"
    with path.open("wb") as stream:
        stream.truncate(3_000_000_000)
    assert "3000 MB is too large for a table of readings" in str(error_of(path))


# Whatever else it may be


@given(st.binary(max_size=400))
def test_any_bytes_give_readings_or_an_input_error(tmp_path_factory, content):
    path = tmp_path_factory.mktemp("fuzz", numbered=True) / "readings.csv"
    path.write_bytes(content)
    with pytest.raises(InputError):
        read_readings(path)


@settings(max_examples=200)
@given(data=st.data())
def test_any_damaged_table_gives_readings_or_an_input_error(tmp_path_factory, data):
    text = PLAIN
    for _ in range(data.draw(st.integers(1, 3))):
        place = data.draw(st.integers(0, len(text)))
        text = text[:place] + data.draw(st.text(max_size=6)) + text[place + data.draw(st.integers(0, 12)) :]
    path = tmp_path_factory.mktemp("fuzz", numbered=True) / "readings.csv"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    try:
        frame = read_readings(path)
    except InputError as error:
        assert error.file == str(path)
    else:
        assert not (frame["pressure_pa"] < 0).any()


cells = st.sampled_from(
    ["", "1", "-1", "1.5", "1e5", "1e999", "1e-999", "nan", "on", "off", "under-range", "over-range", "a.csv", "12:00",
     "2026-01-01", "9" * 400, "٣", "1_0", "\u2028", '"', "1e308"]
)  # fmt: skip
heads = st.sampled_from(
    ["time [s]", "time", "time [h]", "gauge [V]", "pressure [Torr]", "pressure uncertainty [%]", "trace", "speed [rpm]",
     "speed uncertainty [rad/s]", "lamp", "sweep", "envelope temperature [degF]", "note", "exclude", "", "speed [dB]"]
)  # fmt: skip


@settings(max_examples=200)
@given(
    st.lists(heads, min_size=1, max_size=8), st.lists(st.lists(cells, max_size=8), max_size=4), st.sampled_from(",;\t")
)
def test_any_table_of_odd_cells_gives_readings_or_an_input_error(tmp_path_factory, titles, rows, separator):
    path = tmp_path_factory.mktemp("fuzz", numbered=True) / "readings.csv"
    path.write_text("\n".join(separator.join(row) for row in [titles, *rows]), encoding="utf-8")
    try:
        frame = read_readings(path)
    except InputError as error:
        assert error.file == str(path)
    else:
        assert np.isfinite(frame["speed_rad_s"].dropna()).all()
        assert np.isfinite(frame["time_s"].dropna()).all()


# Round trip

words = st.text(string.ascii_letters + string.digits + " ,;'\"äµ€", max_size=12).map(str.strip)
rows = st.fixed_dictionaries(
    {
        "gauge [mV]": st.floats(-1e4, 1e4),
        "speed [rad/s]": st.floats(-1e3, 1e3),
        "speed uncertainty [rad/s]": st.floats(1e-6, 10),
        "envelope temperature [K]": st.floats(1, 500),
        "lamp": st.sampled_from(["on", "off"]),
        "sweep": words,
        "note": words,
    }
)


@given(st.lists(rows, min_size=1, max_size=6), st.sampled_from(",;\t"))
def test_a_written_table_is_read_back(tmp_path_factory, written, separator):
    out = io.StringIO()
    writer = csv.DictWriter(out, fieldnames=list(written[0]), delimiter=separator)
    writer.writeheader()
    writer.writerows(written)
    path = tmp_path_factory.mktemp("round", numbered=True) / "readings.csv"
    path.write_text(out.getvalue(), encoding="utf-8", newline="")
    frame = read_readings(path)
    assert frame["gauge_v"].to_numpy() == pytest.approx([row["gauge [mV]"] / 1000 for row in written])
    assert frame["speed_rad_s"].to_numpy() == pytest.approx([row["speed [rad/s]"] for row in written])
    assert frame["speed_u_rad_s"].to_numpy() == pytest.approx([row["speed uncertainty [rad/s]"] for row in written])
    assert frame["envelope_k"].to_numpy() == pytest.approx([row["envelope temperature [K]"] for row in written])
    assert list(frame["lamp"]) == [row["lamp"] == "on" for row in written]
    assert list(frame["sweep"]) == [row["sweep"] for row in written]
    assert list(frame["note"]) == [row["note"] for row in written]


# Conditions of each reading


def row_of(write, titles, cells):
    return read_readings(write(f"{titles}\n{cells}\n")).iloc[0]


@pytest.mark.parametrize(
    ("speed", "face", "expected", "leads"),
    [
        ("12", "", 12, ""),
        ("-12", "", -12, "dark"),
        ("+12", "", 12, "bright"),
        ("12", "dark", -12, "dark"),
        ("-12", "dark", -12, "dark"),
        ("12", "not observed", 12, "not observed"),
        ("-0", "", 0, ""),
    ],
)
def test_the_sign_of_a_speed_or_the_leading_face_gives_the_direction(write, speed, face, expected, leads):
    row = row_of(write, "pressure [mTorr],speed [rpm],leading face", f"1,{speed},{face}")
    assert row["speed_rad_s"] == pytest.approx(expected * RPM)
    assert row["leading_face"] == leads


def test_lamp_side_gas_envelope_and_what_was_changed_are_read(write):
    titles = "pressure [mTorr],speed [rpm],lamp,lamp side,envelope temperature [degC],gas,changed"
    row = row_of(write, titles, "1,12,50 %,opposite beam,-20,0.9 He + 0.1 Ne,box turned")
    assert (row["lamp"], row["lamp_share"], row["lamp_side"]) == (True, 0.5, "opposite beam")
    assert row["envelope_k"] == pytest.approx(253.15)
    assert (row["gas"], row["changed"]) == ("0.9 He + 0.1 Ne", "box turned")


@pytest.mark.parametrize(("cell", "share"), [("on", 1), ("", 1), ("off", 0), ("0", 0), ("1.5", 1.5), ("0%", 0)])
def test_a_lamp_is_on_off_or_a_share(write, cell, share):
    row = row_of(write, "pressure [mTorr],speed [rpm],lamp", f"1,12,{cell}")
    assert (row["lamp_share"], row["lamp"]) == (share, share > 0)


def test_counted_turns_become_a_speed_with_the_uncertainty_of_a_stopwatch(write):
    row = row_of(write, "pressure [mTorr],turns,in [s],leading face", "1,20,40,dark")
    assert row["speed_rad_s"] == pytest.approx(-math.pi)
    assert row["speed_u_rad_s"] == pytest.approx(math.pi * 0.2 / 40)


def test_the_uncertainty_of_the_stopwatch_is_that_stated_in_the_bench(tmp_path, make_bench_text):
    for stated, u in (({}, 0.2), ({"stopwatch_uncertainty": "0.05 s"}, 0.05)):
        (tmp_path / "bench.toml").write_text(make_bench_text(tachometer=stated))
        (tmp_path / "readings.csv").write_text("gauge [V],turns,in [s]\n1.5,20,40\n")
        row = read_experiment(tmp_path).readings.iloc[0]
        assert row["speed_u_rad_s"] == pytest.approx(math.pi * u / 40)


@pytest.mark.parametrize(
    ("titles", "cells", "column", "problem"),
    [
        ("speed [rpm],leading face", "12,up", "leading face", "'up' is not a leading face"),
        ("speed [rpm],leading face", "-12,bright", "leading face", "the speed -12 has the dark face leading"),
        ("speed [rpm],leading face,exclude", ",dark,lost", "leading face", "a direction is given without a speed"),
        ("speed [rpm],lamp", "12,2.5", "lamp", "is not a share of the lamp between 0 and 2"),
        ("speed [rpm],lamp", "12,nan", "lamp", "is not a share of the lamp"),
        ("speed [rpm],lamp", "12,bright", "lamp", "does not say whether the lamp was on"),
        ("speed [rpm],lamp side", "12,left", "lamp side", "'left' is not a lamp side"),
        ("speed [rpm],envelope temperature [K]", "12,1501", "envelope temperature", "is above 1500 K"),
        ("speed [rpm],envelope temperature [degC]", "12,-274", "envelope temperature", "absolute zero"),
        ("speed [rpm],gas", "12,phlogiston", "gas", "phlogiston"),
        ("turns,in [s]", "20,", "in", "there are 'turns' without 'in'"),
        ("turns,in [s]", ",20", "turns", "there is a time without turns"),
        ("turns,in [s]", "20,0", "in", "not above zero"),
        ("turns,in [s],speed [rpm]", "20,10,3", "turns", "both turns and a typed speed"),
        ("turns,in [s],trace", "20,10,a.csv", None, "both a trace and counted turns"),
    ],
)
def test_invalid_conditions_are_refused_with_their_place(write, titles, cells, column, problem):
    error = error_of(write(f"pressure [mTorr],{titles}\n1,{cells}\n"))
    assert (error.line, error.column) == (2, column)
    assert problem in str(error)


def test_turns_need_their_time_and_take_no_unit(write):
    assert "a column 'turns' without 'in [s]'" in str(error_of(write("pressure [mTorr],turns\n1,2\n")))
    assert "'turns' takes no unit" in str(error_of(write("pressure [mTorr],turns [rpm],in [s]\n1,2,3\n")))
