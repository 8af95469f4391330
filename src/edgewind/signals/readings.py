"""Reader of `readings.csv`: one row for each reading, titles with units in brackets."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from edgewind.errors import InputError
from edgewind.gas import find_gas
from edgewind.signals.by_hand import STOPWATCH_U_S, speed_by_hand
from edgewind.signals.columns import FACES, LAMP_SIDES, MOST_LAMP, TITLES
from edgewind.signals.table import Row, read_rows, rows_of

if TYPE_CHECKING:
    import pandas as pd

READINGS_FILE = "readings.csv"
_ON, _OFF = ("on", "1", "yes", "true"), ("off", "0", "no", "false")
# Words for a gauge out of range: too low a pressure, or too high.
_GAUGE_WORDS = {"under-range": 0.0, "over-range": math.inf}


def read_readings(path: str | Path, *, stopwatch_u_s: float = STOPWATCH_U_S) -> pd.DataFrame:
    """Read the table of readings, as written, in SI.

    Each row holds a pressure (``gauge [V]`` or ``pressure [unit]``; ``under-range`` and ``over-range`` for a gauge out
    of range) and a speed (``trace``, a file in the folder, ``speed [unit]``, or ``turns`` counted ``in [s]``), unless
    it is excluded. A speed with a plus sign has the bright face leading, one with a minus sign the dark face; a speed
    without a sign is a size, and ``leading face`` gives the direction.

    Parameters
    ----------
    path : path
        The file.
    stopwatch_u_s : float
        Standard uncertainty of the time of counted turns, s.

    Returns
    -------
    DataFrame
        One row a reading, with the columns of :data:`edgewind.signals.columns.COLUMNS` that can be read from the table
        alone. Missing numbers are nan; an over-range pressure is infinite and an under-range one zero. A number without
        an uncertainty has that of its last digit (rectangular, JCGM 100:2008, F.2.2.1), counted turns that of the
        stopwatch. ``leading_face`` is empty where the row does not state it.

    Raises
    ------
    InputError
        The table cannot be used; names file, line and column, the fault and the right form.
    """
    path = Path(path)
    try:
        return _frame(read_rows(path, TITLES, "reading"), stopwatch_u_s)
    except InputError as error:
        raise error.at(file=str(path)) from None


def parse_readings(text: str, *, file: str = READINGS_FILE, stopwatch_u_s: float = STOPWATCH_U_S) -> pd.DataFrame:
    """Read the text of a table of readings; see :func:`read_readings`."""
    try:
        return _frame(rows_of(text, TITLES, "reading"), stopwatch_u_s)
    except InputError as error:
        raise error.at(file=file) from None


def _frame(rows: list[Row], stopwatch_u_s: float) -> pd.DataFrame:
    import pandas as pd  # a recorder, which makes no table, does not need it

    _check_titles(rows[0])
    frame = pd.DataFrame.from_records([_record(row, stopwatch_u_s) for row in rows])
    return frame.assign(time_s=_times(rows))


def _check_titles(row: Row) -> None:
    if not row.cells.keys() & {"gauge", "pressure"}:
        raise InputError("no column holds a pressure", fix="add 'gauge [V]' or 'pressure [mTorr]'")
    if not row.cells.keys() & {"trace", "speed", "turns"}:
        raise InputError("no column holds a speed", fix="add 'trace' (a file), 'speed [rpm]', or 'turns' and 'in [s]'")
    if ("turns" in row.cells) != ("in" in row.cells):
        there, missing = ("turns", "in [s]") if "turns" in row.cells else ("in [s]", "turns")
        raise InputError(f"there is a column '{there}' without '{missing}'", fix=f"add the column '{missing}'")


def _record(row: Row, stopwatch_u_s: float) -> dict[str, Any]:
    pressure = row.number("pressure", _GAUGE_WORDS)
    pressure_u = row.number("pressure uncertainty").value
    if row.unit("pressure uncertainty") == "%":
        pressure_u *= pressure.value
    share = lamp_share(row)
    record = {
        "line": row.line,
        "time": row.text("time"),
        "gauge_v": row.number("gauge").value,
        "pressure_pa": pressure.value,
        "pressure_u_pa": pressure_u if math.isfinite(pressure_u) else pressure.digit_u,
        "trace": row.text("trace"),
        **_speed(row, stopwatch_u_s),
        "lamp": share > 0,
        "lamp_share": share,
        "lamp_side": _choice(row, "lamp side", LAMP_SIDES),
        "sweep": row.text("sweep"),
        "envelope_k": row.number("envelope temperature").value,
        "gas": _gas(row),
        "changed": row.text("changed"),
        "note": row.text("note"),
        "exclude": row.text("exclude"),
    }
    _check_record(record)
    return record


def _speed(row: Row, stopwatch_u_s: float) -> dict[str, Any]:
    """Return the speed with its sign where the row states a direction, and how it was found."""
    typed, typed_u = row.number("speed"), row.number("speed uncertainty").value
    turns, seconds = row.number("turns").value, row.number("in").value
    if math.isfinite(turns) != math.isfinite(seconds):
        there, missing = ("turns", "in") if math.isfinite(turns) else ("in", "turns")
        raise InputError(
            f"there are '{there}' without '{missing}'" if there == "turns" else "there is a time without turns",
            line=row.line, column=missing, fix="fill in both cells, or neither",
        )  # fmt: skip
    if math.isfinite(turns) and math.isfinite(typed.value):
        raise InputError(
            "both turns and a typed speed are given", line=row.line, column="turns",
            fix="leave one of the two cells empty",
        )  # fmt: skip
    speed, u = typed.value, typed_u if typed_u > 0 else typed.digit_u
    if math.isfinite(turns):
        # a rotor that was not seen to turn may have turned by a part of a turn (rectangular)
        unseen = (0.0, 2 * math.pi / seconds / math.sqrt(12))
        speed, own_u = speed_by_hand(turns, seconds, stopwatch_u_s) if turns else unseen
        u = typed_u if typed_u > 0 else own_u
    face = _face(row)
    return {
        "speed_rad_s": -abs(speed) if face == "dark" else abs(speed),
        "speed_u_rad_s": u,
        "leading_face": face,
        "turns": turns,
        "turns_time_s": seconds,
    }


def _face(row: Row) -> str:
    """Return the leading face by the sign of the typed speed or by its own cell; empty if neither states it."""
    stated, text = _choice(row, "leading face", FACES), row.text("speed")
    signed = {"+": "bright", "-": "dark"}.get(text[:1], "") if row.number("speed").value else ""
    if stated and signed and stated != signed:
        raise InputError(
            f"the speed {text} has the {signed} face leading, and the leading face is given as '{stated}'",
            line=row.line, column="leading face",
            fix="write the speed without a sign, or with + where the bright face leads and - where the dark face leads",
        )  # fmt: skip
    if stated in ("bright", "dark") and not (text or row.text("trace") or row.text("turns")):
        raise InputError(
            "a direction is given without a speed",
            line=row.line, column="leading face", fix="write the speed, or leave the cell empty",
        )  # fmt: skip
    return signed or stated


def _choice(row: Row, title: str, known: tuple[str, ...]) -> str:
    cell = row.text(title).lower()
    if cell and cell not in known:
        *others, last = (f"'{name}'" for name in known)
        raise InputError(
            f"'{cell[:60]}' is not a {title}",
            line=row.line, column=title, fix=f"write {', '.join(others)} or {last}, or leave the cell empty",
        )  # fmt: skip
    return cell


def _gas(row: Row) -> str:
    cell = row.text("gas")
    if cell:
        try:
            find_gas(cell)
        except InputError as error:
            raise error.at(line=row.line, column="gas") from None
    return cell


def lamp_share(row: Row) -> float:
    """Return the share of the lamp's usual irradiance: 1 for on, 0 for off."""
    cell = row.text("lamp").lower()
    if cell in _OFF:
        return 0.0
    if not cell or cell in _ON:
        return 1.0
    percent, number = cell.endswith("%"), cell.removesuffix("%").strip()
    number = number.replace(",", ".") if row.decimal_comma else number
    fix = "write 'on', 'off', or the share of its usual irradiance such as 0.5 or 50 %"
    try:
        share = float(number) / (100 if percent else 1)
    except ValueError:
        raise InputError(
            f"'{cell[:60]}' does not say whether the lamp was on", line=row.line, column="lamp", fix=fix
        ) from None
    if not 0 <= share <= MOST_LAMP:
        raise InputError(
            f"'{cell[:60]}' is not a share of the lamp between 0 and {MOST_LAMP:g}",
            line=row.line, column="lamp", fix=fix,
        )  # fmt: skip
    return share


def _check_record(record: dict[str, Any]) -> None:
    line = record["line"]
    has_gauge, has_pressure = not math.isnan(record["gauge_v"]), not math.isnan(record["pressure_pa"])
    has_trace, has_speed = bool(record["trace"]), not math.isnan(record["speed_rad_s"])
    counted = math.isfinite(record["turns"])
    if has_gauge and has_pressure:
        problem, fix = "both a gauge voltage and a pressure are given", "leave one of the two cells empty"
    elif has_trace and has_speed:
        problem = f"both a trace and {'counted turns' if counted else 'a typed speed'} are given"
        fix = "leave one of the two cells empty"
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
    """Return the times in seconds from the first reading; equal times are refused."""
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
