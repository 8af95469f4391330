"""External tables of readings: a CSV or a workbook, converted to rows of the form of typed readings."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from collections.abc import Sequence
from datetime import datetime, time
from pathlib import Path
from typing import Any

from edgewind.errors import InputError
from edgewind.extras import need
from edgewind.signals.table import decode_table, delimiter_of

_TITLE = re.compile(r"\s*(.*?)\s*(?:[\[(]\s*(.*?)\s*[\])])?\s*\Z")
# Usual titles, by the field of the form; those of readings.csv first.
FIELDS = {
    "pressure": ("pressure", "p"),
    "gauge": ("gauge", "gauge voltage", "voltage"),
    "speed": ("speed", "angular speed", "rotation", "rotational speed"),
    "period": ("period", "time of one turn"),
    "lamp": ("lamp",),
    "leading_face": ("leading face",),
    "sweep": ("sweep",),
    "envelope": ("envelope temperature",),
    "note": ("note", "notes", "remark", "comment"),
    "trace": ("trace", "file"),
}
_MOST_ROWS = 2000
_MOST_BYTES = 20_000_000
_MOST_UNPACKED = 200_000_000
_NUMBER = re.compile(r"[+-]?(\d+[.,]?\d*|[.,]\d+)([eE][+-]?\d+)?")


def rows_of_table(path: Path) -> dict[str, Any] | None:
    """Return the rows of a text file with a table of readings; None for any other file.

    Parameters
    ----------
    path : Path
        The file.
    """
    if path.stat().st_size > _MOST_BYTES:
        return None
    try:
        text = decode_table(path.read_bytes())
    except (InputError, UnicodeError):
        return None
    lines = [line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")]
    if not lines:
        return None
    delimiter = delimiter_of("\n".join(lines))
    cells = list(csv.reader(io.StringIO("\n".join(lines[: _MOST_ROWS + 1])), delimiter=delimiter))
    return rows_of_cells(cells) if is_table(cells[0]) else None


def is_table(titles: Sequence[str]) -> bool:
    """Return whether a row holds the titles of a table of readings: one of a pressure, and one of a speed or a trace.

    Examples
    --------
    >>> is_table(["pressure [Pa]", "speed [rpm]"]), is_table(["time", "CH1"])
    (True, False)
    """
    known = {field for field, _ in map(form_field_of, titles)}
    return bool(known & {"pressure", "gauge"}) and bool(known & {"speed", "period", "trace"})


def form_field_of(title: str) -> tuple[str, str]:
    """Return the field of the form for a title, empty if there is none, and its unit.

    Examples
    --------
    >>> form_field_of("Pressure (mTorr)"), form_field_of("Colour")
    (('pressure', 'mTorr'), ('', ''))
    """
    found = _TITLE.match(title)
    name, unit = (found[1].lower(), found[2] or "") if found else ("", "")
    field = next((field for field, names in FIELDS.items() if name in names), "")
    return (field, unit) if field else ("", "")


def rows_of_cells(cells: Sequence[Sequence[str]]) -> dict[str, Any]:
    """Return typed rows, omitted titles, and guesses, from the cells of a table.

    Parameters
    ----------
    cells : sequence of sequence of str
        Rows of cells; the first holds the titles.
    """
    titles = [form_field_of(title) for title in cells[0]]
    left_out = [
        title.strip() for title, (field, _) in zip(cells[0], titles, strict=True) if title.strip() and not field
    ]
    guessed = [
        f"no unit is given under '{title.strip()}': that of this experiment is used"
        for title, (field, unit) in zip(cells[0], titles, strict=True)
        if field in ("pressure", "gauge", "speed") and not unit
    ]
    rows = []
    for line in cells[1 : _MOST_ROWS + 1]:
        row: dict[str, str] = {}
        for (field, unit), cell in zip(titles, line, strict=False):
            text = " ".join(cell.split())
            if field and text:
                row |= _typed(field, unit, text)
        if row:
            rows.append(row)
    return {"rows": rows, "left_out": left_out, "guessed": guessed}


def _typed(field: str, unit: str, text: str) -> dict[str, str]:
    if unit and _NUMBER.fullmatch(text):
        text = f"{text} {unit}"
    if field in ("pressure", "gauge"):
        return {"pressure": text, "pressure_as": field}
    if field in ("speed", "period"):
        return {"speed": text, "speed_as": field}
    return {field: text}


def read_workbook(path: Path) -> dict[str, Any]:
    """Return the rows of the first sheet of a workbook that holds readings.

    Raises
    ------
    InputError
        It is not a workbook, links to other workbooks, is too large unpacked, or holds no table of readings.
    MissingExtraError
        The reader of workbooks is not installed.
    """
    need("openpyxl", extra="spreadsheet", purpose="to read a workbook (a CSV file needs nothing)")
    from openpyxl import load_workbook
    from openpyxl.utils.exceptions import InvalidFileException

    _check_workbook(path)
    content = io.BytesIO(path.read_bytes())
    try:
        book = load_workbook(content, read_only=True, data_only=True, keep_links=False)
    except (InvalidFileException, zipfile.BadZipFile, KeyError, ValueError, OSError) as error:
        raise InputError(
            f"this workbook cannot be read ({type(error).__name__})", fix="save it again as XLSX"
        ) from None
    try:
        for number, sheet in enumerate(book.worksheets):
            cells = [
                [_text(value) for value in row] for row in sheet.iter_rows(max_row=_MOST_ROWS + 1, values_only=True)
            ]
            cells = [row for row in cells if any(row)]
            if cells and is_table(cells[0]):
                found = rows_of_cells(cells)
                return found | {"guessed": [*found["guessed"], *_without_values(content, number)]}
    finally:
        book.close()
    raise InputError(
        "no sheet begins with titles of readings",
        fix="write titles such as 'pressure [Pa]' and 'speed [rpm]' in the first row",
    )


def _without_values(content: io.BytesIO, number: int) -> list[str]:
    """Return a note on cells with formulas saved without values, which read as empty."""
    from openpyxl import load_workbook

    valued, written = (
        load_workbook(content, read_only=True, data_only=data_only, keep_links=False) for data_only in (True, False)
    )
    try:
        sheets = [book.worksheets[number].iter_rows(max_row=_MOST_ROWS + 1) for book in (valued, written)]
        cells = [
            formula.coordinate
            for row, formulas in zip(*sheets, strict=True)
            for value, formula in zip(row, formulas, strict=True)
            if value.value is None and isinstance(formula.value, str) and formula.value.startswith("=")
        ]
    finally:
        valued.close(), written.close()
    if not cells:
        return []
    named = ", ".join(cells[:5]) + (" and others" if len(cells) > 5 else "")
    return [f"formulas without saved values read as empty ({named}): open the workbook in a spreadsheet and save it"]


def _check_workbook(path: Path) -> None:
    try:
        with zipfile.ZipFile(path) as archive:
            members = archive.infolist()
    except zipfile.BadZipFile:
        raise InputError("this is not a workbook", fix="save it again as XLSX") from None
    if path.stat().st_size > _MOST_BYTES:
        raise InputError("this workbook is larger than 20 MB", fix="save the readings in a workbook of their own")
    names = [member.filename for member in members]
    if any("externallinks/" in name.lower() for name in names):
        raise InputError("this workbook links to other workbooks", fix="paste their values and save it again")
    if any(name.lower().endswith("vbaproject.bin") for name in names):
        raise InputError("this workbook holds macros", fix="save it as XLSX without macros")
    grown = sum(member.file_size for member in members)
    if grown > _MOST_UNPACKED:
        raise InputError(
            f"this workbook unpacks to {grown / 1e6:,.0f} MB", fix="save the readings in a workbook of their own"
        )


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, datetime | time):
        return value.isoformat()
    if isinstance(value, float):
        return f"{value:.12g}"
    return str(value).strip()
