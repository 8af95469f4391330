"""Handwritten tables: titles with units in brackets, one row for each reading, CSV in any dialect.

Separators ``,``, ``;`` and tab are understood, with a decimal comma where the separator is not a comma. Every error
names line and column.
"""

from __future__ import annotations

import csv
import difflib
import io
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise, zip_longest
from pathlib import Path

from edgewind.errors import InputError
from edgewind.formatting import NUMBER
from edgewind.units import KINDS, parse_header, parse_unit, to_si

_MOST_BYTES = 20_000_000


@dataclass(frozen=True)
class Title:
    """A column that a table may have.

    Attributes
    ----------
    kind : str or None
        Kind of quantity (see :data:`edgewind.units.KINDS`); None for text.
    lowest, highest : float
        Least and greatest value allowed, SI.
    too_low, too_high, fix : str
        Messages for a value below or above that, and the right form.
    relative : bool
        Whether the unit may be ``%``.
    """

    kind: str | None = None
    lowest: float = -math.inf
    too_low: str = "below zero"
    fix: str = "write a number that is not below zero"
    relative: bool = False
    highest: float = math.inf
    too_high: str = "too large"


@dataclass(frozen=True)
class WrittenNumber:
    """A number in SI, and the standard uncertainty that its last written digit stands for (rectangular)."""

    value: float
    digit_u: float


EMPTY = WrittenNumber(math.nan, math.nan)


@dataclass(frozen=True)
class Row:
    """One row of a table, by title; missing titles read as empty cells."""

    line: int
    cells: Mapping[str, tuple[str, str | None]]
    titles: Mapping[str, Title]
    decimal_comma: bool

    def text(self, name: str) -> str:
        """Return the cell as text."""
        return self.cells.get(name, ("", None))[0]

    def unit(self, name: str) -> str | None:
        """Return the unit in the title, None where there is none."""
        return self.cells.get(name, ("", None))[1]

    def number(self, name: str, words: Mapping[str, float] | None = None) -> WrittenNumber:
        """Return the cell as a number in SI; `words` are texts that stand for a value.

        Raises
        ------
        InputError
            The cell is not a number, or lower than its title allows.
        """
        cell, unit = self.cells.get(name, ("", None))
        if words and cell.lower() in words:
            return WrittenNumber(words[cell.lower()], math.nan)
        try:
            return _number(cell, unit, self.titles[name], self.decimal_comma)
        except InputError as error:
            raise error.at(line=self.line, column=name) from None


class NoRowsError(InputError):
    """A table has titles and no rows: an experiment that has not begun."""


def read_rows(path: Path, titles: Mapping[str, Title], what: str) -> list[Row]:
    """Read the rows of a table whose titles are among `titles`.

    Parameters
    ----------
    path : Path
        The file.
    titles : mapping of str to Title
        Titles that are known.
    what : str
        Name of a row in messages: ``"reading"``.

    Raises
    ------
    InputError
        Names line and column (the caller adds the file).
    """
    return rows_of(decode_table(_bytes_of(path)), titles, what)


def rows_of(text: str, titles: Mapping[str, Title], what: str) -> list[Row]:
    """Read the rows of a table from its text; see :func:`read_rows`."""
    delimiter = delimiter_of(text)
    rows = csv.reader(io.StringIO(text), delimiter=delimiter)
    try:
        numbered = [
            (rows.line_num, cells)
            for cells in rows
            if any(cell.strip() for cell in cells) and not cells[0].startswith("#")
        ]
    except csv.Error as error:
        raise InputError(f"not a table ({error})", line=rows.line_num, fix="save the sheet as CSV") from error
    if not numbered:
        raise InputError("the file is empty", fix=f"write a row of titles and a row for each {what}")
    (head_line, heads), body = numbered[0], numbered[1:]
    columns = _columns(heads, head_line, titles)
    if not body:
        raise NoRowsError(f"there are titles and no {what}s", line=head_line, fix=f"write a row for each {what}")
    return [_row(line, cells, columns, titles, delimiter != ",") for line, cells in body]


def _bytes_of(path: Path) -> bytes:
    try:
        if not path.is_file():
            sheets = sorted(one.name for one in path.parent.glob("*.[xX][lL][sS]*")) if path.parent.is_dir() else []
            raise InputError(
                "there is no such file",
                fix=f"save {sheets[0]} as CSV in UTF-8 under this name"
                if sheets
                else f"a table named {path.name} is needed there",
            )
        if path.stat().st_size > _MOST_BYTES:
            raise InputError(
                f"{path.stat().st_size / 1e6:.0f} MB is too large for a table of readings",
                fix="keep raw traces in files of their own",
            )
        return path.read_bytes()
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}") from error


def decode_table(data: bytes) -> str:
    """Return the text of a table, UTF-8 with or without a byte order mark.

    Raises
    ------
    InputError
        Names the line that is not text.
    """
    if b"\x00" in data:
        line = data[: data.index(b"\x00")].count(b"\n") + 1
        raise InputError("this is not text (it holds a zero byte)", line=line, fix="save the sheet as CSV in UTF-8")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise InputError(
            f"byte 0x{data[error.start]:02x} is not UTF-8 text", line=line, fix="save the sheet as CSV in UTF-8"
        ) from error


def delimiter_of(text: str) -> str:
    """Return the separator of the cells, by the row of titles."""
    head = next((line for line in text.splitlines() if line.strip() and not line.startswith("#")), "")
    return max((",", ";", "\t"), key=head.count)


def _columns(heads: list[str], line: int, titles: Mapping[str, Title]) -> list[tuple[str, str | None] | None]:
    """Return name and unit of each column; None for a column without a title."""
    found: list[tuple[str, str | None] | None] = []
    for number, head in enumerate(heads, start=1):
        if not head.strip():
            found.append(None)
            continue
        try:
            name, unit = parse_header(head)
            _check_title(name, unit, titles)
        except InputError as error:
            raise error.at(line=line, column=number) from None
        if any(known and known[0] == name for known in found):
            raise InputError(
                f"the title '{name}' is given twice", line=line, column=number, fix="keep one of the two columns"
            )
        found.append((name, unit))
    return found


def _check_title(name: str, unit: str | None, titles: Mapping[str, Title]) -> None:
    if name not in titles:
        near = difflib.get_close_matches(name, titles, n=1, cutoff=0.5)
        hint = f"did you mean '{near[0]}'? " if near else ""
        if near and name.endswith(")"):
            hint += f"a unit stands in square brackets, '{near[0]} [unit]'; "
        raise InputError(f"unknown title '{name}'", fix=f"{hint}known are {', '.join(titles)}")
    title = titles[name]
    if title.kind in (None, "number"):
        if unit is not None:
            raise InputError(f"'{name}' takes no unit", fix=f"write the title '{name}'")
    elif unit is None:
        if name != "time":
            usual = KINDS[title.kind].example.split()[-1]
            raise InputError(f"the title '{name}' has no unit", fix=f"write it in brackets, such as '{name} [{usual}]'")
    elif not (title.relative and unit == "%"):
        parse_unit(unit, title.kind)


def _row(
    line: int,
    cells: list[str],
    columns: list[tuple[str, str | None] | None],
    titles: Mapping[str, Title],
    decimal_comma: bool,
) -> Row:
    if len(cells) > len(columns) and any(cell.strip() for cell in cells[len(columns) :]):
        # In a table that commas separate, a decimal comma takes a number apart into two cells of digits.
        halves = sum(
            bool(re.fullmatch(r"\s*[-+]?\d+", one) and re.fullmatch(r"\d+\s*", other)) for one, other in pairwise(cells)
        )
        commas = "where these are decimal commas, separate the columns by semicolons or write decimal points"
        quotes = "put text that holds the separator in quotes"
        if decimal_comma or halves < len(cells) - len(columns):
            fix = quotes
        elif all(re.fullmatch(r"[-+\d.eE\s]*", cell) for cell in cells):
            fix = commas
        else:
            fix = f"{commas}; {quotes}"
        raise InputError(f"{len(cells)} cells under {len(columns)} titles", line=line, fix=fix)
    named = {
        column[0]: ((cell or "").strip(), column[1])
        for column, cell in zip_longest(columns, cells)
        if column is not None
    }
    return Row(line, named, titles, decimal_comma)


def _number(cell: str, unit: str | None, title: Title, decimal_comma: bool) -> WrittenNumber:
    if not cell:
        return EMPTY
    plain = cell.replace(",", ".") if decimal_comma else cell
    right = f"write a number, such as {'1,5' if decimal_comma else '1.5'}, or leave the cell empty"
    if not re.fullmatch(NUMBER, plain):
        raise InputError(f"'{cell[:60]}' is not a number", fix=right)
    mantissa, _, exponent = plain.lower().partition("e")
    kind = "number" if unit == "%" else str(title.kind)
    scale = "percent" if unit == "%" else str(unit or "")
    digit = float(f"1e{int(exponent or 0) - len(mantissa.partition('.')[2])}")
    value, next_value = (float(number) for number in to_si([float(plain), float(plain) + digit], scale, kind))
    if not math.isfinite(next_value):
        raise InputError(f"'{cell[:60]}' is too large a number", fix=right)
    if not title.lowest <= value <= title.highest:
        written = f"'{cell}' {unit}" if unit else f"'{cell}'"
        raise InputError(f"{written} is {title.too_low if value < title.lowest else title.too_high}", fix=title.fix)
    return WrittenNumber(value, abs(next_value - value) / math.sqrt(12))
