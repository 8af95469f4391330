"""The numbers of a trace from its rows: in bulk, or row by row with the line of each error."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgewind.errors import InputError
from edgewind.signals.trace_dialect import SCPI_NONE, SCPI_OVER, Dialect, no_numbers_error, shown_cell
from edgewind.signals.trace_header import is_layout
from edgewind.signals.trace_stamps import Stamped

FloatArray = NDArray[np.float64]
BULK_WORDS = ("", "nan", "NaN", "NAN", "-nan", "NA", "N/A", "#N/A", "null", "NULL", "None", "--", "---", "----")


@dataclass(frozen=True)
class Rows:
    """Rows of numbers.

    Attributes
    ----------
    values : array, shape (rows, columns)
        The numbers; nan for a sample that is missing, infinity for one out of range.
    lines : list of int or None
        The line of each row, counted from one; None where every filled line from the first on is a row.
    notes : tuple of str
        What was left out.
    """

    values: FloatArray
    lines: list[int] | None = None
    notes: tuple[str, ...] = ()


def read_trace_rows(
    lines: list[str], start: int, dialect: Dialect, names: list[str], stamp_place: int | None = None
) -> Rows:
    """Read the rows from `start` on one by one, to find and name the first fault; repeated headers are skipped."""
    headers = {line.strip() for line in lines[:start] if line.strip()}
    rows: list[list[float]] = []
    numbers: list[int] = []
    skipped = 0
    filled = list(filled_lines(lines, start))
    for i, line in filled:
        text = line.split("#")[0]
        found = dialect.values(text)
        if None in found:
            if line.strip() in headers:
                skipped += 1
                continue
            raise _bad_row(dialect.split(text), found, line, i, dialect, names, stamp_place)
        rows.append([value for value in found if value is not None])
        numbers.append(i + 1)
    if not rows:
        raise no_numbers_error(lines)
    notes = (f"{skipped} repeated header line{'s' * (skipped != 1)} among the numbers skipped",) if skipped else ()
    return Rows(np.array(rows, dtype=np.float64), numbers, notes)


def read_bulk(lines: list[str], dialect: Dialect) -> FloatArray | None:
    """Return rows as an array; None where any field is neither a number, nor blank, nor a mark of a missing sample.

    A row that ends early is such a fault too, since its missing cells are unknown.
    """
    body = "\n".join(lines)
    if "'" in body or "_" in body:
        return None
    values = _plain_numbers(body, lines, dialect)
    if values is not None:
        return _without_marks(values)
    import pandas as pd  # on first use: most traces hold nothing but numbers, and do without

    try:
        frame = pd.read_csv(
            io.StringIO(body),
            sep=dialect.separator or r"\s+",
            decimal=dialect.decimal,
            header=None,
            usecols=list(dialect.fields),
            dtype=np.float64,
            comment="#",
            skipinitialspace=True,
            keep_default_na=False,
            na_values=list(BULK_WORDS),
            engine="c",
        )
    except (ValueError, pd.errors.ParserError, OverflowError, TypeError, IndexError):
        return None
    values = np.array(frame.to_numpy(dtype=np.float64))
    if values.ndim != 2 or not values.size:
        return None
    if len(dialect.fields) > 1 and not np.all(np.isfinite(values)):
        filled = [line for line in lines if line.strip() and not line.lstrip().startswith("#")]
        if len(filled) != len(values):
            return None
        for row in np.flatnonzero(np.isnan(values).any(axis=1)).tolist():
            if is_layout(filled[row]):
                continue
            if len(dialect.split(filled[row])) <= dialect.fields[-1]:
                return None
        values = values[[not is_layout(line) for line in filled]]
    return _without_marks(values)


def _without_marks(values: FloatArray) -> FloatArray:
    """Return rows with the numbers that stand for a missing or an overflowing sample taken out."""
    finite = np.isfinite(values)
    values[finite & (np.abs(values) >= SCPI_NONE)] = np.nan
    over = np.isfinite(values) & (np.abs(values) >= SCPI_OVER)
    values[over] = np.copysign(np.inf, values[over])
    return values


# Characters of numbers and their separators.
_PLAIN_TEXT = frozenset("0123456789eE+-.,; \t\n|")


def _plain_numbers(body: str, lines: list[str], dialect: Dialect) -> FloatArray | None:
    """Return rows of text that holds complete rows of numbers and nothing else; None for any other."""
    separator = dialect.separator or None
    widths = {
        len(line.split()) if separator is None else line.count(separator)
        for line in lines
        if line and not line.isspace()
    }
    if len(widths) != 1 or not set(body) <= _PLAIN_TEXT or (dialect.decimal == "," and separator == ","):
        return None
    plain = body.replace(",", ".") if dialect.decimal == "," else body
    try:
        return np.loadtxt(io.StringIO(plain), delimiter=separator, usecols=list(dialect.fields), ndmin=2)
    except (ValueError, IndexError):
        return None


def _bad_row(
    row: list[str],
    found: list[float | None],
    line: str,
    index: int,
    dialect: Dialect,
    names: list[str],
    stamp_place: int | None,
) -> InputError:
    """Return the error for the first field of a row that is not a number."""
    place = found.index(None)
    field = dialect.fields[place]
    column: str | int = field + 1
    if field >= len(row):
        return InputError(
            f"the row {shown_cell(line)} ends before it",
            line=index + 1,
            column=column,
            fix=f"write {len(dialect.fields)} number{'s' * (len(dialect.fields) != 1)} in every row",
        )
    shown = shown_cell(row[field]) if row[field] else "an empty field"
    if place == stamp_place:
        return InputError(
            f"{shown} is not a date-time stamp",
            line=index + 1,
            column=column,
            fix="write one such as '2026-03-14 15:09:26.123' as in the other rows, or cut the row out",
        )
    return InputError(
        f"{shown} is not a finite number" + (f" ({names[place]})" if names[place] != str(column) else ""),
        line=index + 1,
        column=column,
        fix=f"write a number such as 1{dialect.decimal}25, or cut the row out",
    )


def filled_lines(lines: list[str], start: int) -> Iterator[tuple[int, str]]:
    """Yield the lines with numbers from a place on, and their places; empty lines and comments are left out."""
    for i in range(start, len(lines)):
        if not is_layout(lines[i]) and not lines[i].lstrip().startswith("#"):
            yield i, lines[i]


def line_numbers(lines: list[str], start: int, dialect: Dialect, known: list[int] | None) -> list[int]:
    """Return the line, counted from one, of every row."""
    return known if known is not None else [i + 1 for i, _ in filled_lines(lines, start)]


def stamp_place(stamped: Stamped | None, lines: list[str], start: int, dialect: Dialect) -> int | None:
    """Return which column of numbers holds the date-time stamps, by the text before them in a row."""
    if stamped is None:
        return None
    for i, _ in filled_lines(lines, start):
        if stamped.shown(i):
            field = len(dialect.split(stamped.before(i) + "0")) - 1
            return dialect.fields.index(field) if field in dialect.fields else None
    return None
