"""Date-time stamps and footers of loggers: read as seconds with every digit kept, or refused with the line named."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from edgewind.errors import InputError
from edgewind.signals.trace import Trace, read_trace
from edgewind.signals.trace_stamps import replace_stamps

RELAXED = settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def read(folder: Path, text: str, **options: float) -> Trace:
    path = folder / "logger.csv"
    path.write_text(text)
    return read_trace(path, **options)  # type: ignore[arg-type]


FORMATS = {
    "2026-03-14 15:09:26.123": "%Y-%m-%d %H:%M:%S.%f",
    "2026-03-14T15:09:26.123": "%Y-%m-%dT%H:%M:%S.%f",
    "2026-03-14T15:09:26.123Z": "%Y-%m-%dT%H:%M:%S.%fZ",
    "2026-03-14T15:09:26.123+01:00": "%Y-%m-%dT%H:%M:%S.%f+01:00",
    "2026/03/14 15:09:26.123": "%Y/%m/%d %H:%M:%S.%f",
    "14/03/2026 15:09:26,123": "%d/%m/%Y %H:%M:%S,%f",
    "14.03.2026 15:09:26,123": "%d.%m.%Y %H:%M:%S,%f",
    "14-03-26 15:09:26.123": "%d-%m-%y %H:%M:%S.%f",
    "03/14/2026 03:09:26.123 PM": "%m/%d/%Y %I:%M:%S.%f %p",
    "15:09:26.123": "%H:%M:%S.%f",
    "15:09:26:123": "%H:%M:%S:%f",
    "in two columns": "%Y-%m-%d{}%H:%M:%S.%f",
    "in two columns, time first": "%H:%M:%S.%f{}%d/%m/%Y",
}
HEADERS = {"in two columns": "Date{}Time{}CH1 (V)", "in two columns, time first": "Time{}Date{}CH1 (V)"}


@RELAXED
@given(
    name=st.sampled_from(list(FORMATS)),
    separator=st.sampled_from([";", "\t", ",", ", "]),
    volts=st.lists(st.integers(-9999, 9999).map(lambda n: n / 1000), min_size=3, max_size=20),
    step_us=st.integers(50, 900_000),
    headed=st.booleans(),
    quoted=st.booleans(),
)
def test_stamps_of_every_kind_are_read_as_seconds_from_the_first(
    tmp_path: Path, name: str, separator: str, volts: list[float], step_us: int, headed: bool, quoted: bool
) -> None:
    begin = datetime(2026, 3, 14, 15, 9, 26, 123_000)
    lines = ["Logger 7", HEADERS.get(name, "Date/Time{}CH1 (V)").replace("{}", separator)] if headed else []
    mark = '"' if quoted or "," in name else ""
    for i, volt in enumerate(volts):
        stamp = (begin + timedelta(microseconds=i * step_us)).strftime(FORMATS[name])
        lines.append(f"{mark}{stamp.replace('{}', mark + separator + mark)}{mark}{separator}{volt:.3f}")
    trace = read(tmp_path, "\n".join(lines) + "\n")
    assert trace.voltage_v == pytest.approx(volts)
    assert trace.interval_s == pytest.approx(step_us * 1e-6, rel=1e-6)


@pytest.mark.parametrize(
    "text",
    [
        "Date Time CH1\n" + "".join(f"2026-03-14 15:09:26.{i:03} {i}.5\n" for i in range(9)),
        "Timestamp CH1\n" + "".join(f"2026-03-14 15:09:26.{i:03} {i}.5\n" for i in range(9)),
        "Stamp;CH1\n" + "".join(f"14.03.2026 15:09:26,{i:03};{i},5\n" for i in range(9)),
        "Stamp\tCH1\n" + "".join(f"14/03/2026 15:09:26,{i:03}\t{i},5\n" for i in range(9)),
        "Stamp,CH1\n" + "".join(f"14/03/2026 15:09:26,{i:03},{i}.5\n" for i in range(9)),
        "Date;Time;CH1\n" + "".join(f"14/03/2026;15:09:26,{i:03};{i},5\n" for i in range(9)),
        "No,Time,CH1\n" + "".join(f"{i},15:09:26.{i:03},{i}.5\n" for i in range(9)),
        "CH1;Time\n" + "".join(f"{i}.5;15:09:26.{i:03}\n" for i in range(9)),
        "Stamp,CH1\n" + "".join(f"2026-03-14T15:09:26.{i:03}Z,{i}.5\n" for i in range(9)) + "END\n",
        "# begun 2026-03-14 15:00:00\n2026-03-14 15:00:00\nt,CH1\n"
        + "".join(f"15:0:1.{i:03},{i}.5\n" for i in range(9)),
    ],
)
def test_stamps_are_read_in_any_column_and_with_any_decimal_mark(tmp_path: Path, text: str) -> None:
    trace = read(tmp_path, text)
    assert trace.voltage_v == pytest.approx(np.arange(9) + 0.5)
    assert trace.interval_s == pytest.approx(1e-3)
    assert trace.channel == "CH1"


def test_every_digit_below_the_second_is_kept(tmp_path: Path) -> None:
    rows = "".join(f"2026-03-14 15:09:26.{100_000_000 + 17 * i:09};{i}\n" for i in range(5))
    assert read(tmp_path, rows).interval_s == pytest.approx(17e-9)


def test_a_comma_after_whole_seconds_that_do_not_repeat_separates_columns(tmp_path: Path) -> None:
    trace = read(tmp_path, "Time,A,B\n15:09:26,512,7\n15:09:27,498,8\n15:09:28,505,9\n")
    assert trace.voltage_v.tolist() == [512, 498, 505] and trace.interval_s == 1.0
    assert read(tmp_path, "Time,A\n15:09:26,5\n15:09:27,4\n15:09:28,5\n").voltage_v.tolist() == [5, 4, 5]


def test_a_time_of_day_is_continued_past_midnight_with_a_note(tmp_path: Path) -> None:
    trace = read(tmp_path, "t;v\n23:59:59.0;1\n23:59:59.5;2\n00:00:00.0;3\n00:00:00.5;4\n")
    assert trace.interval_s == pytest.approx(0.5) and trace.samples == 4
    assert any("past midnight" in note for note in trace.notes)


@pytest.mark.parametrize(
    ("first", "second", "told"),
    [
        ("03/04/2026", "04/04/2026", "day/month"),
        ("04/03/2026", "04/04/2026", "month/day"),
        ("30/04/2026", "01/05/2026", None),
        ("2026-04-30", "2026-05-01", None),
        ("03.04.2026", "04.04.2026", None),
    ],
)
def test_order_of_day_and_month_is_noted_only_if_it_matters(
    tmp_path: Path, first: str, second: str, told: str | None
) -> None:
    rows = f"{first} 23:59:59.0;1\n{first} 23:59:59.5;2\n{second} 00:00:00.0;3\n"
    trace = read(tmp_path, "t;v\n" + rows)
    assert trace.interval_s == pytest.approx(0.5)
    notes = [note for note in trace.notes if "span of the two orders" in note]
    assert len(notes) == (told is not None)
    assert all(f"taken as {told}" in note and first in note for note in notes)


def test_an_ambiguous_date_that_stays_the_same_needs_no_note(tmp_path: Path) -> None:
    trace = read(tmp_path, "t;v\n03/04/2026 10:00:00.0;1\n03/04/2026 10:00:00.5;2\n")
    assert trace.interval_s == pytest.approx(0.5) and not any("03/04" in note for note in trace.notes)


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (
            ["15:09:26.1;1", "15:09:26.2;2", "15:09:26.2;3", "15:09:26.3;4"] + [f"15:09:27.{i};1" for i in range(10)],
            r"line 4, column 't': time repeats: '15:09:26.2' after '15:09:26.2'",
        ),
        (
            ["2026-03-14 15:09:26.1;1", "2026-03-14 15:09:26.2;2", "2026-03-14 15:09:25.9;3"],
            r"line 4, column 't': time runs backwards: '2026-03-14 15:09:25.9' after '2026-03-14 15:09:26.2'",
        ),
        (
            [f"15:09:{26 + i // 4};{i}" for i in range(20)],
            r"line 3, column 't': 15 of 20 stamps repeat .* such as '15:09:26': written to 1 s .*; export the stamps "
            r"with more digits below the second, or the time in seconds, or give the interval",
        ),
        (
            [f"15:09:26.{i // 4:03};{i}" for i in range(20)],
            r"15 of 20 stamps repeat .* written to 0.001 s they do not tell the samples apart",
        ),
        (["31/02/2026 10:00:00;1", "31/02/2026 10:00:01;2"], r"line 2: '31/02/2026' is not a date"),
        (
            ["15:09:26.1;1", "15:09:26.2;2", "15:09:2x;3", "15:09:26.4;4"],
            r"line 4, column 1: '15:09:2x' is not a date-time stamp; write one such as",
        ),
        (["15:09:26.1;1", "15:09:26.2;x", "15:09:26.3;4"], r"line 3, column 2: 'x' is not a finite number"),
    ],
)
def test_invalid_stamps_are_refused_with_their_line(tmp_path: Path, rows: list[str], message: str) -> None:
    with pytest.raises(InputError, match=message):
        read(tmp_path, "\n".join(["t;v", *rows]))


def test_stamps_in_whole_seconds_are_read_if_the_interval_is_known(tmp_path: Path) -> None:
    rows = "".join(f"15:09:{26 + i // 4};{i}\n" for i in range(20))
    assert read(tmp_path, "t;v\n" + rows, interval_s=0.25).interval_s == 0.25
    trace = read(tmp_path, "Sample rate: 4 Hz\nt;v\n" + rows)
    assert trace.interval_s == 0.25 and any("do not tell the samples apart" in note for note in trace.notes)
    with pytest.raises(InputError, match="15 of 20 stamps repeat"):
        read(tmp_path, "Sample rate: 100 Hz\nt;v\n" + rows)


def test_a_time_in_seconds_beside_stamps_is_preferred(tmp_path: Path) -> None:
    rows = "".join(f"15:09:26;{i * 0.25};{i}\n" for i in range(4))
    trace = read(tmp_path, "Clock;Elapsed (s);CH1\n" + rows)
    assert trace.interval_s == 0.25 and trace.voltage_v.tolist() == [0, 1, 2, 3]
    with pytest.raises(InputError, match="choose one of CH1, or"):
        read_trace(tmp_path / "logger.csv", channel="Clock")


def test_times_rounded_to_their_digits_give_the_interval_of_the_straight_line(tmp_path: Path) -> None:
    """The line through rounded times errs by sqrt(12 / n) 0.29 ms / T, far less than the last time less the first."""
    times = np.round(np.arange(2000) / 300.0 + 4e-4, 3)
    rows = "".join(f"{int(t // 60):02}:{t % 60:06.3f};{i % 7}\n" for i, t in enumerate(times))
    trace = read(tmp_path, "t;v\n" + "".join(f"15:{row}\n" for row in rows.splitlines()))
    assert trace.samples == 2000
    assert trace.interval_s == pytest.approx(1 / 300, rel=1e-5)


@settings(max_examples=300, deadline=None)
@given(st.lists(st.text(alphabet='0123456789:/-.,; TZ"apm\t+', max_size=30), max_size=8))
def test_any_text_like_stamps_gives_a_trace_or_an_input_error(lines: list[str]) -> None:
    try:
        stamped = replace_stamps(lines)
    except InputError as error:
        assert "is not a date" in str(error)
    else:
        assert stamped is None or len(stamped.lines) == len(lines)


@pytest.mark.parametrize(
    "footer",
    ["END", "\n\n  \n", "\nMean: 1.25 V\nMax: 2 V\n\n", "END,,", "Average,1.5", "# done\nEnd of data\n", "time_s,v"],
)
def test_text_after_the_numbers_is_left_out_with_a_note(tmp_path: Path, footer: str) -> None:
    trace = read(tmp_path, "time_s,v\n0,1\n1,2\n2,3\n" + footer)
    assert trace.voltage_v.tolist() == [1, 2, 3] and trace.interval_s == 1.0
    notes = [note for note in trace.notes if "after the numbers left out" in note]
    assert len(notes) == (footer.strip() != "")
    first = next((i for i, line in enumerate(footer.split("\n")) if line.strip() and line[0] != "#"), 0)
    assert all(f"line {5 + first}, " in note for note in notes)


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ("0,1\n1,2\nEND\n2,3\n", r"line 4, column 1: 'END' is not a finite number"),
        ("0,1\n1,2\n2,oops\n", r"line 4, column 2: 'oops' is not a finite number"),
        ("0,1\n1,2\n2\n", r"line 4, column 2: the row '2' ends before it"),
        ("0,1\n1,2\nEND\nMean\n2,3\nEND\n", r"line 4, column 1: 'END' is not a finite number"),
        ("0,1\n1,2\n" + "never ends\n" * 150, r"line 4, column 1: 'never ends' is not a finite number"),
    ],
)
def test_text_between_the_numbers_and_broken_last_rows_are_errors(tmp_path: Path, rows: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        read(tmp_path, "time_s,v\n" + rows)
