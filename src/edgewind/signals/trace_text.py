"""Traces written as text: find where the numbers begin and how they are written, then read them in bulk."""

from __future__ import annotations

import codecs
import re
from functools import cache

import numpy as np

from edgewind.errors import InputError
from edgewind.signals.trace_beside import cut_footer, end_of_segment, text_beside, words_beside
from edgewind.signals.trace_cells import plain_cells
from edgewind.signals.trace_dialect import (
    PROBE,
    Dialect,
    find_dialect,
    first_row,
    no_numbers_error,
    probe_lines,
    shown_cell,
)
from edgewind.signals.trace_header import SECONDS, Header, is_layout, names_time, read_header, split_row
from edgewind.signals.trace_rows import Rows, line_numbers, read_bulk, read_trace_rows, stamp_place
from edgewind.signals.trace_stamps import replace_stamps
from edgewind.signals.trace_table import Table, TraceColumn

GROUPED_DIGITS = re.compile(r"\d[,'_ \u00a0\u2007\u2009\u202f]\d{3}(?!\d)|\d\.\d{3}(?:\.\d{3})*,\d+\s*(?:[;\t]|$)")


def read_text(content: bytes) -> Table:
    """Read columns of numbers from the bytes of a text file of unknown dialect."""
    text, notes = decode(content)
    del content
    lines = text.split("\n")
    if _holds_more_plain(lines):
        plain = plain_cells(lines)
        if plain is not None:
            try:
                return _read_lines(plain[0], (*notes, *plain[1]))
            except InputError:
                return _read_lines(lines, notes)
    try:
        return _read_lines(lines, notes)
    except InputError as error:
        plain = plain_cells(lines)
        if plain is None:
            raise
        try:
            return _read_lines(plain[0], (*notes, *plain[1]))
        except InputError:
            raise error from None  # the fault of the unchanged text


def _holds_more_plain(lines: list[str]) -> bool:
    """Return whether rows hold more numbers once marks between thousands, and the like, are taken out.

    A column of which only some numbers have such marks would be read as rows between lines of words.
    """
    probe = probe_lines(lines)
    plain = plain_cells(probe) if any(map(GROUPED_DIGITS.search, probe)) else None
    if plain is None:
        return False
    return _numbers_in(plain[0]) > _numbers_in(probe) > 0


def _numbers_in(lines: list[str]) -> int:
    """Return how many numbers the rows among some lines hold."""
    found = find_dialect(lines)
    return 0 if found is None else len(found[0].fields) * sum(map(found[0].holds_row, lines))


def _read_lines(lines: list[str], notes: tuple[str, ...]) -> Table:
    """Read columns of numbers from the lines of a text."""
    written = lines
    stamped = replace_stamps(lines)
    if stamped is not None:
        lines = stamped.lines
        notes += stamped.notes
    lines, joined = join_decimal_commas(lines)
    found = find_dialect(lines, stamped is not None)
    if found is None:
        raise no_numbers_error(written)
    dialect, more = found
    start = first_row(lines, dialect)
    segments: tuple[str, ...] = ()
    end, footer = cut_footer(lines, start, dialect)
    bulk = read_bulk(lines[start:end], dialect)
    if bulk is None:
        stop, segments = end_of_segment(lines, start, dialect)
        if segments:
            end, footer = cut_footer(lines[:stop], start, dialect)
            bulk = read_bulk(lines[start:end], dialect)
    above, body = lines[:start], lines[:end]
    beside = text_beside(body, start, dialect)
    words = words_beside(body[start:], dialect)
    header = read_header([*beside, *above], dialect.separator, dialect.decimal, dialect.fields, lines[start])
    place = stamp_place(stamped, body, start, dialect)
    if place is None and header.interval is None:
        _check_times_are_numbers(above, lines[start : start + PROBE], dialect, header)
    names = [title.name for title in header.titles]
    rows = read_trace_rows(body, start, dialect, names, place) if bulk is None else Rows(bulk)
    columns = [
        TraceColumn(title.name, title.unit, np.ascontiguousarray(rows.values[:, i]), title.named, field=field + 1)
        for i, (title, field) in enumerate(zip(header.titles, dialect.fields, strict=True))
    ]
    if place is not None:
        columns[place] = _stamp_column(columns[place])

    @cache
    def row_lines() -> list[int]:
        return line_numbers(body, start, dialect, rows.lines)

    return Table(
        tuple(columns),
        None if header.interval is None else header.interval.seconds,
        (*notes, *joined, *more, *rows.notes, *segments, *words, *footer, *header.notes()),
        stated=header.interval,
        time_unit=header.time_unit,
        unused=header.unused,
        line_of=lambda row: row_lines()[row],
        stamp_of=lambda row: stamped.shown(row_lines()[row] - 1) if stamped is not None else "",
        stamp_step_s=stamped.resolution_s if stamped is not None and place is not None else 0.0,
    )


def _check_times_are_numbers(above: list[str], rows: list[str], dialect: Dialect, header: Header) -> None:
    """Refuse a table whose column of times holds something else than numbers, and which states no interval.

    Raises
    ------
    InputError
        It does; names the column and an example.
    """
    if any(title.unit.lower() in SECONDS or names_time(title.name) for title in header.titles):
        return
    titles = next((split_row(line, dialect.separator) for line in reversed(above) if not is_layout(line)), [])
    below = [dialect.split(row) for row in rows if not is_layout(row)]
    for place, title in enumerate(titles):
        cells = [row[place] for row in below if place < len(row)]
        if place not in dialect.fields and names_time(title) and cells:
            shown = next((cell for cell in cells if dialect.value(cell) is None), cells[-1])
            raise InputError(
                f"column '{title[:40]}' holds no plain numbers, such as {shown_cell(shown)}",
                column=title[:40],
                fix=f"write times such as 0{dialect.decimal}0015",
            )


def join_decimal_commas(lines: list[str]) -> tuple[list[str], tuple[str, ...]]:
    """Return rows that separate by commas and write decimal commas, unquoted, with semicolons between their numbers.

    Only where a row of titles has half as many cells as the rows of numbers, all of whole digits, is that certain.
    """
    filled = [line for line in lines if not is_layout(line)]
    probe = [line.rstrip(", ").split(",") for line in filled[len(filled) // 2 :][:PROBE]]
    width = len(probe[0]) if probe else 0
    if width < 4 or width % 2 or any(len(row) != width for row in probe):
        return lines, ()
    cells = [(i, cell.strip()) for row in probe for i, cell in enumerate(row)]
    if not all(re.fullmatch(r"\d+([eE][+-]?\d+)?" if i % 2 else r"[+-]?\d+", cell) for i, cell in cells):
        return lines, ()
    for line in filled[:PROBE]:
        titles = line.rstrip(", ").split(",")
        if len(titles) == width // 2 and all(re.search("[A-Za-z]", title) for title in titles):
            break
        if len(titles) == width:
            return lines, ()
    else:
        return lines, ()
    pair = re.compile(r"([^,]*),([^,]*)(,|$)")
    joined = [
        pair.sub(r"\1.\2;", line.rstrip(", ")).rstrip(";")
        if len(line.rstrip(", ").split(",")) == width and re.match(r"\s*[+-]?\d", line)
        else line.replace(",", ";")
        for line in lines
    ]
    return joined, ("commas are taken as decimal marks as well as between the columns, by the number of titles",)


def _stamp_column(column: TraceColumn) -> TraceColumn:
    """Return a column of stamps in seconds; the part of its name taken for a unit, as in 'Date/Time', is given back."""
    name = f"{column.name}/{column.unit}" if column.unit.lower() in ("time", "date") else column.name
    return TraceColumn(name if column.named else "time", "s", column.values * 1e-9, column.named, stamped=True)


def decode(content: bytes) -> tuple[str, tuple[str, ...]]:
    """Return the text of a file with plain line ends, by its byte-order mark, as UTF-8, or else as Latin-1."""
    notes: tuple[str, ...] = ()
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        text = content.decode("utf-16", errors="replace")
    elif content[:4000:2].count(0) > 0.8 * len(content[:4000:2]):
        text = content.decode("utf-16-be", errors="replace")
    elif content[1:4000:2].count(0) > 0.8 * len(content[1:4000:2]) > 0:
        text = content.decode("utf-16-le", errors="replace")
    else:
        try:
            text = content.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = content.decode("latin-1")
            notes = ("the text is not UTF-8: read as Latin-1",)
    sample = text[:20000]
    strange = sum(sample.count(one) for one in set(sample) if not (one.isprintable() or one.isspace()))
    if "\0" in sample or strange > 0.02 * len(sample):
        raise InputError("this is not text but binary data", fix="export the trace as CSV, or name it .npz or .wav")
    if not text.isascii():
        text = text.replace("\ufeff", "")  # of files put one behind the other
        text = text.replace("\u2212", "-")  # the minus of printed matter
    return text.replace("\r\n", "\n").replace("\r", "\n"), notes
