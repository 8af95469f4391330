"""Read `readings.csv`: what was noted at the bench, one row a reading, titles with units in brackets."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from edgewind.errors import InputError
from edgewind.signals.table import Row, Title, read_rows, rows_of

READINGS_FILE = "readings.csv"
_ON, _OFF = ("on", "1", "yes", "true"), ("off", "0", "no", "false")
# What a gauge that is out of its range may be noted as: no pressure, or more than it can show.
_GAUGE_WORDS = {"under-range": 0.0, "over-range": math.inf}

TITLES: dict[str, Title] = {
    "time": Title("time"),
    "gauge": Title("voltage"),
    "pressure": Title(
        "pressure",
        lowest=0.0,
        fix="a pressure is above zero; write under-range where the gauge showed nothing",
    ),
    "pressure uncertainty": Title("pressure", lowest=0.0, relative=True),
    "trace": Title(),
    "speed": Title("angular speed"),
    "speed uncertainty": Title("angular speed", lowest=0.0),
    "lamp": Title(),
    "sweep": Title(),
    "envelope temperature": Title(
        "temperature",
        lowest=1e-9,
        too_low="at or below absolute zero",
        fix="write a temperature such as 22 under 'envelope temperature [degC]'",
    ),
    "note": Title(),
    "exclude": Title(),
}


def read_readings(path: str | Path) -> pd.DataFrame:
    """Read the table of readings, as written, in SI.

    Each row holds a pressure (``gauge [V]`` or ``pressure [unit]``; the words ``under-range`` and ``over-range`` stand
    for what the gauge could not say) and a speed (``trace``, a file in the folder, or ``speed [unit]``), unless it is
    excluded.

    Returns
    -------
    DataFrame
        One row a reading: ``line, time, time_s, gauge_v, pressure_pa, pressure_u_pa, trace, speed_rad_s, speed_u_rad_s,
        lamp, sweep, envelope_k, note, exclude``. Missing numbers are nan; an over-range pressure is infinite and an
        under-range one zero. Where no uncertainty is written, that of the last digit stands (rectangular, JCGM
        100:2008, F.2.2.1).

    Raises
    ------
    InputError
        Names file, line and column, what is wrong and what would be right.
    """
    path = Path(path)
    try:
        return _frame(read_rows(path, TITLES, "reading"))
    except InputError as error:
        raise error.at(file=str(path)) from None


def parse_readings(text: str, *, file: str = READINGS_FILE) -> pd.DataFrame:
    """Read the text of a table of readings; see :func:`read_readings`."""
    try:
        return _frame(rows_of(text, TITLES, "reading"))
    except InputError as error:
        raise error.at(file=file) from None


def _frame(rows: list[Row]) -> pd.DataFrame:
    _check_titles(rows[0])
    frame = pd.DataFrame.from_records([_record(row) for row in rows])
    return frame.assign(time_s=_times(rows))


def _check_titles(row: Row) -> None:
    if not row.cells.keys() & {"gauge", "pressure"}:
        raise InputError("no column holds a pressure", fix="add 'gauge [V]' or 'pressure [mTorr]'")
    if not row.cells.keys() & {"trace", "speed"}:
        raise InputError("no column holds a speed", fix="add 'trace' (a file) or 'speed [rpm]'")


def _record(row: Row) -> dict[str, Any]:
    pressure, speed = row.number("pressure", _GAUGE_WORDS), row.number("speed")
    pressure_u, speed_u = row.number("pressure uncertainty").value, row.number("speed uncertainty").value
    if row.unit("pressure uncertainty") == "%":
        pressure_u *= pressure.value
    record = {
        "line": row.line,
        "time": row.text("time"),
        "gauge_v": row.number("gauge").value,
        "pressure_pa": pressure.value,
        "pressure_u_pa": pressure_u if math.isfinite(pressure_u) else pressure.digit_u,
        "trace": row.text("trace"),
        "speed_rad_s": speed.value,
        "speed_u_rad_s": speed_u if speed_u > 0 else speed.digit_u,
        "lamp": _lamp(row),
        "sweep": row.text("sweep"),
        "envelope_k": row.number("envelope temperature").value,
        "note": row.text("note"),
        "exclude": row.text("exclude"),
    }
    _check_record(record)
    return record


def _lamp(row: Row) -> bool:
    cell = row.text("lamp").lower()
    if cell in _OFF:
        return False
    if not cell or cell in _ON:
        return True
    raise InputError(
        f"'{cell[:60]}' does not say whether the lamp was on",
        line=row.line,
        column="lamp",
        fix="write 'on' or 'off'",
    )


def _check_record(record: dict[str, Any]) -> None:
    line = record["line"]
    has_gauge, has_pressure = not math.isnan(record["gauge_v"]), not math.isnan(record["pressure_pa"])
    has_trace, has_speed = bool(record["trace"]), not math.isnan(record["speed_rad_s"])
    if has_gauge and has_pressure:
        problem, fix = "both a gauge voltage and a pressure are given", "leave one of the two cells empty"
    elif has_trace and has_speed:
        problem, fix = "both a trace and a typed speed are given", "leave one of the two cells empty"
    elif not (has_gauge or has_pressure) and not record["exclude"]:
        problem = "the reading has no pressure"
        fix = "fill in the gauge voltage or the pressure, or give a reason under 'exclude'"
    elif not (has_trace or has_speed) and not record["exclude"]:
        problem, fix = (
            "the reading has no speed",
            "name a trace or type a speed, or give a reason under 'exclude'",
        )
    else:
        return
    raise InputError(problem, line=line, fix=fix)


def _times(rows: list[Row]) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Seconds from the first reading; the same time twice is refused."""
    times = np.array([_seconds(row) for row in rows])
    seen: dict[float, int] = {}
    for row, time in zip(rows, times, strict=True):
        if time in seen:
            raise InputError(
                f"the time '{row.text('time')}' stands in line {seen[time]} already",
                line=row.line, column="time", fix="give each reading its own time",
            )  # fmt: skip
        if math.isfinite(time):
            seen[float(time)] = row.line
    return times - (min(seen) if seen else 0.0)


def _seconds(row: Row) -> float:
    text = row.text("time")
    if row.unit("time") is not None or not text:
        return row.number("time").value
    try:
        moment = datetime.fromisoformat(text)
        return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()
    except (ValueError, OverflowError):
        raise InputError(
            f"'{text[:60]}' is not a time",
            line=row.line, column="time", fix="write it as 2026-03-14 15:09:26, or title the column 'time [s]'",
        ) from None  # fmt: skip
