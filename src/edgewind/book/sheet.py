"""Splitting and joining of the text of a `readings.csv`, byte for byte if unchanged."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from edgewind.errors import InputError
from edgewind.signals.table import delimiter_of
from edgewind.units import parse_header

_MARK = "\ufeff"


@dataclass(frozen=True)
class Sheet:
    """Format of a table of readings.

    Attributes
    ----------
    delimiter, newline : str
        Between cells and between rows.
    before_titles : str
        Text before the row of titles: a byte order mark, comments, empty lines.
    titles : str
        The row of titles as written.
    columns : tuple of (str, str)
        Name and unit of each column; both empty for a column without a title.
    """

    delimiter: str
    newline: str
    before_titles: str
    titles: str
    columns: tuple[tuple[str, str], ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the columns that have one."""
        return tuple(name for name, _ in self.columns if name)


@dataclass(frozen=True)
class SheetRow:
    """One reading: its line as written, the text before it, and after it for the last one."""

    before: str
    line: str
    after: str
    cells: Mapping[str, str]


def new_sheet(titles: Sequence[str]) -> Sheet:
    """Return an empty table under `titles`, such as ``("time", "gauge [V]", "trace")``."""
    return Sheet(",", "\n", "", _written(titles, ",", "\n"), _columns(titles))


def take_apart(text: str) -> tuple[Sheet, list[SheetRow]]:
    r"""Split the text of a table that :func:`edgewind.signals.parse_readings` has accepted.

    Examples
    --------
    >>> sheet, rows = take_apart("# mine\ngauge [V],speed [rpm]\n1.50,7\n\n2,8")
    >>> sheet.columns, [row.line for row in rows], rows[1].before
    ((('gauge', 'V'), ('speed', 'rpm')), ['1.50,7\n', '2,8'], '\n')
    >>> put_together(sheet, [(row, {}) for row in rows])
    '# mine\ngauge [V],speed [rpm]\n1.50,7\n\n2,8'
    """
    mark, body = (_MARK, text[1:]) if text.startswith(_MARK) else ("", text)
    delimiter, lines = delimiter_of(body), list(io.StringIO(body))
    reader = csv.reader(iter(lines), delimiter=delimiter)
    records: list[tuple[str, str, list[str]]] = []
    start = taken = 0
    for cells in reader:
        if any(cell.strip() for cell in cells) and not cells[0].startswith("#"):
            records.append(("".join(lines[start:taken]), "".join(lines[taken : reader.line_num]), cells))
            start = reader.line_num
        taken = reader.line_num
    rest = "".join(lines[start:])
    (before, titles, heads), body_records = records[0], records[1:]
    newline = "\r\n" if titles.endswith("\r\n") else "\n"
    sheet = Sheet(delimiter, newline, mark + before, titles, _columns(heads))
    last = len(body_records) - 1
    rows = [
        SheetRow(before, line, rest if number == last else "", _named(sheet, cells))
        for number, (before, line, cells) in enumerate(body_records)
    ]
    return sheet, rows


def put_together(sheet: Sheet, rows: Iterable[tuple[SheetRow, Mapping[str, str]]]) -> str:
    """Return the text of a table: each row as written, except for its changed cells."""
    rows = list(rows)
    changed = dict.fromkeys(name for _, cells in rows for name in cells)
    extra = [name for name in changed if name not in sheet.names]
    titles = sheet.titles
    if extra:
        written = titles.rstrip("\r\n")
        titles = sheet.delimiter.join((written, *extra)) + (titles[len(written) :] or sheet.newline)
    columns = (*(name for name, _ in sheet.columns), *extra)
    parts = [sheet.before_titles, titles]
    for row, cells in rows:
        if not parts[-1].endswith("\n"):
            parts[-1] += sheet.newline
        line = row.line if row.line and not cells else _line(sheet, row, columns, cells)
        parts.append(row.before + line + row.after)
    return "".join(parts)


def with_new_cells(sheet: Sheet, row: SheetRow, cells: Mapping[str, str]) -> SheetRow:
    """Return a row of a file with other cells; its line is unchanged if they are the same."""
    changed = {name: cell for name, cell in cells.items() if cell != row.cells.get(name, "")}
    if not changed:
        return row
    line = _line(sheet, row, tuple(name for name, _ in sheet.columns), changed)
    return SheetRow(row.before, line, row.after, dict(cells))


def row_of(sheet: Sheet, cells: Mapping[str, str]) -> SheetRow:
    """Return a new row."""
    return SheetRow("", "", "", dict(cells))


def _line(sheet: Sheet, row: SheetRow, columns: Sequence[str], changed: Mapping[str, str]) -> str:
    if row.line:
        written = next(iter(csv.reader(io.StringIO(row.line), delimiter=sheet.delimiter)))
        ending = row.line[len(row.line.rstrip("\r\n")) :]
    else:
        written = [row.cells.get(name, "") for name in columns]
        ending = sheet.newline
    if not changed:
        return _written(written, sheet.delimiter, ending)
    padded = [*written, *("" for _ in columns[len(written) :])]
    for position, name in enumerate(columns):
        if name in changed:
            padded[position] = changed[name]
    # cells of a row beyond its titles are blank, and must not appear under an added title
    return _written(padded[: len(columns)], sheet.delimiter, ending)


def _written(cells: Sequence[str], delimiter: str, ending: str) -> str:
    stream = io.StringIO()
    csv.writer(stream, delimiter=delimiter, lineterminator="\r\n").writerow(cells)
    return stream.getvalue()[:-2] + ending


def _columns(heads: Sequence[str]) -> tuple[tuple[str, str], ...]:
    found = []
    for head in heads:
        name, unit = parse_header(head) if head.strip() else ("", None)
        found.append((name, unit or ""))
    if not any(name for name, _ in found):
        raise InputError("there are no titles", fix="name the columns, such as 'gauge [V]'")
    return tuple(found)


def _named(sheet: Sheet, cells: Sequence[str]) -> dict[str, str]:
    return {name: cell.strip() for (name, _), cell in zip(sheet.columns, cells, strict=False) if name}
