"""Traces written as text: find where the numbers begin and how they are written, then read them in bulk."""

from __future__ import annotations

import codecs
import csv
import io
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from edgewind.errors import InputError
from edgewind.signals.trace_cells import plain_cells
from edgewind.signals.trace_header import (
    COMMENT_MARKS,
    IS_NUMBER,
    SECONDS,
    UNIT_ALONE,
    Header,
    is_layout,
    names_time,
    read_header,
    split_row,
)
from edgewind.signals.trace_stamps import Stamped, replace_stamps
from edgewind.signals.trace_table import Table, TraceColumn

FloatArray = NDArray[np.float64]

OVER_RANGE = re.compile(
    r"^[+]?(inf(inity)?|∞|1\.#inf|ol|o\.l\.?|overload|over|overflow|ovfl?|ovld|over-?range|clip(ped|ping)?)$", re.I
)
UNDER_RANGE = re.compile(
    r"^-(inf(inity)?|∞|1\.#inf|ol|o\.l\.?|overload|over|overflow|ovfl?|ovld)$|^under-?range$", re.I
)
NO_SAMPLE = re.compile(r"^[+-]?nan$|^(na|n/a|#n/a|null|none|nil|1\.#qnan|-{2,}|\*+|missing|invalid)$", re.I)
BULK_WORDS = ("", "nan", "NaN", "NAN", "-nan", "NA", "N/A", "#N/A", "null", "NULL", "None", "--", "---", "----")
SCPI_OVER, SCPI_NONE = 9.9e37, 9.91e37
"""What SCPI (Syntax and Style, 1999, 7.2.1.4 and 7.2.1.5) writes for infinity and for not a number."""
PROBE = 200
MOST_FOOTER_LINES = 100
MOST_FIELDS, MOSTLY_NUMBERS = 512, 0.8
"""Cells of a row beyond which it is a whole trace in one line, and the share of them that are numbers then."""
DATE_OR_CLOCK = re.compile(r"^\d{1,4}([/:-])\d{1,2}\1\d{1,4}(\.\d+)?$")
GROUPED_DIGITS = re.compile(r"\d[,'_ \u00a0\u2007\u2009\u202f]\d{3}(?!\d)|\d\.\d{3}(?:\.\d{3})*,\d+\s*(?:[;\t]|$)")
RULE = re.compile(r"^\W*\*{3}.*\*{3}\W*$")


@dataclass(frozen=True)
class Dialect:
    """How a file writes its rows.

    Attributes
    ----------
    separator : str or None
        Between fields; None for runs of blanks.
    decimal : str
        Decimal mark.
    fields : tuple of int
        Which fields hold the numbers, counted from zero.
    """

    separator: str | None
    decimal: str
    fields: tuple[int, ...] = ()

    def split(self, line: str) -> list[str]:
        """Return the fields of a line without blanks and quotes."""
        if self.separator is None:
            return [field.strip("\"'") for field in line.split()]
        if '"' in line:
            try:
                row = next(csv.reader([line], delimiter=self.separator, skipinitialspace=True), [])
            except csv.Error:
                row = line.split(self.separator)
        else:
            row = line.split(self.separator)
        return [field.strip().strip("'") for field in row]

    def number(self, field: str) -> float | None:
        """Return the number that a field holds, or None."""
        text = field if self.decimal == "." else field.replace(",", ".") if "." not in field else ""
        if not IS_NUMBER.match(text):
            return None
        value = float(text)
        return value if math.isfinite(value) else None

    def value(self, field: str) -> float | None:
        """Return the value of a field: a number, infinity for out of range, nan for none; None for text."""
        number = self.number(field)
        if number is not None:
            return (
                math.nan
                if abs(number) >= SCPI_NONE
                else math.copysign(math.inf, number)
                if abs(number) >= SCPI_OVER
                else number
            )
        return self.mark(field)

    def mark(self, field: str) -> float | None:
        """Return the same of a field that holds no number."""
        if not field or NO_SAMPLE.match(field):
            return math.nan
        if OVER_RANGE.match(field):
            return math.inf
        return -math.inf if UNDER_RANGE.match(field) else None

    def values(self, line: str) -> list[float | None]:
        """Return the values of the number fields of a line; None if one is text or missing."""
        row = self.split(line)
        return [self.value(row[field]) if field < len(row) else None for field in self.fields]

    def holds_row(self, line: str) -> bool:
        """Return whether a line is a row: every number field holds a number or a mark of a missing one."""
        found = self.values(line)
        numbers = sum(value is not None and math.isfinite(value) for value in found)
        return bool(found) and None not in found and 2 * numbers >= len(found)

    def begins_row(self, line: str) -> bool:
        """Return whether the first field that should hold a number does."""
        row = self.split(line)
        first = row[self.fields[0]] if len(row) > self.fields[0] else ""
        return bool(first) and self.value(first) is not None


DIALECTS = (
    Dialect(";", "."), Dialect(";", ","), Dialect("\t", "."), Dialect("\t", ","), Dialect(",", "."), Dialect(None, "."),
    Dialect(None, ","), Dialect(",", ","),
)  # fmt: skip


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
    probe = _probe(lines)
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
        raise _no_numbers(written)
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
                f"column '{title[:40]}' holds no plain numbers, such as {_shown(shown)}",
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


def text_beside(lines: list[str], start: int, dialect: Dialect) -> list[str]:
    """Return the text before the numbers in the first rows, if a file writes its header beside them."""
    if not dialect.fields[0] or dialect.separator is None:
        return []
    found = []
    for line in lines[start : start + PROBE]:
        cells = dialect.split(line)[: dialect.fields[0]]
        if any(cells) and re.search("[A-Za-z]", cells[0]):
            found.append(dialect.separator.join(cells))
    return found if len(found) < 0.5 * len(lines[start:]) or len(found) < PROBE / 2 else []


def end_of_segment(lines: list[str], start: int, dialect: Dialect) -> tuple[int, tuple[str, ...]]:
    """Return where the first of several segments ends, and a note; a segment begins with a header of its own.

    A header is two lines of text or more that do not all stand above the first segment, with a cell for each column in
    one of them, or one that ends in a rule; with rows of numbers below it.
    """
    above = {line.strip() for line in lines[:start] if not is_layout(line)}
    keyed = _holds_key(lines[start], dialect)
    stop, segments = len(lines), 1
    block: list[int] = []
    for i in range(start, len(lines)):
        line = lines[i]
        if is_layout(line) or line.lstrip().startswith("#"):
            continue
        key = not keyed and _holds_key(line, dialect)
        if key or (not dialect.begins_row(line) and not dialect.holds_row(line)):
            block.append(i)
            continue
        texts = {lines[k].strip() for k in block}
        wide = any(len(dialect.split(text)) > dialect.fields[-1] for text in texts)
        if any(RULE.match(text) for text in texts) or (len(block) > 1 and wide and not texts <= above):
            stop = min(stop, block[0])
            segments += 1
        block = []
    if segments == 1:
        return len(lines), ()
    return stop, (f"{segments} segments, each with a header of its own: the first is used",)


def _holds_key(line: str, dialect: Dialect) -> bool:
    """Return whether a word stands before the numbers of a line."""
    return any(re.search(r"[^\W\d]", cell) for cell in dialect.split(line)[: dialect.fields[0]])


def words_beside(lines: list[str], dialect: Dialect) -> tuple[str, ...]:
    """Return a note on the columns of words among and behind the numbers of the first rows; empty without them.

    Raises
    ------
    InputError
        They are units that change from row to row; names them.
    """
    words: dict[int, dict[str, None]] = {}
    for line in lines[:PROBE]:
        if not is_layout(line) and not line.lstrip().startswith("#"):
            for place, cell in enumerate(dialect.split(line)):
                if place > dialect.fields[0] and place not in dialect.fields and re.search(r"[^\W\d]|\d[/:-]\d", cell):
                    words.setdefault(place, {})[cell] = None
    for place, seen in words.items():
        if len(seen) > 1 and all(UNIT_ALONE.match(cell) for cell in seen):
            raise InputError(
                f"the unit changes from row to row: {', '.join(seen)}",
                column=place + 1,
                fix="export the numbers in one unit",
            )
    if not words:
        return ()
    shown = ", ".join(_shown(next(iter(seen))) for seen in list(words.values())[:4])
    return (f"words beside the numbers are left out, such as {shown}",)


def stamp_place(stamped: Stamped | None, lines: list[str], start: int, dialect: Dialect) -> int | None:
    """Return which column of numbers holds the date-time stamps, by the text before them in a row."""
    if stamped is None:
        return None
    for i, _ in _filled(lines, start):
        if stamped.shown(i):
            field = len(dialect.split(stamped.before(i) + "0")) - 1
            return dialect.fields.index(field) if field in dialect.fields else None
    return None


def _stamp_column(column: TraceColumn) -> TraceColumn:
    """Return a column of stamps in seconds; the part of its name taken for a unit, as in 'Date/Time', is given back."""
    name = f"{column.name}/{column.unit}" if column.unit.lower() in ("time", "date") else column.name
    return TraceColumn(name if column.named else "time", "s", column.values * 1e-9, column.named, stamped=True)


def cut_footer(lines: list[str], start: int, dialect: Dialect) -> tuple[int, tuple[str, ...]]:
    """Return where the rows end, and a note on the lines of text behind them.

    A line that begins with a number is a broken row rather than a footer, and so is text with rows behind it.
    """
    footer: list[int] = []
    end = len(lines)
    while end > start:
        line = lines[end - 1]
        if line.strip() and not line.lstrip().startswith("#"):
            if dialect.holds_row(line.split("#")[0]):
                break
            if is_layout(line):
                end -= 1
                continue
            if dialect.begins_row(line) or len(footer) == MOST_FOOTER_LINES:
                return len(lines), ()
            footer.append(end - 1)
        end -= 1
    if not footer:
        return len(lines), ()
    what = f"{len(footer)} lines" if len(footer) > 1 else "1 line"
    return end, (f"{what} of text after the numbers left out: line {footer[-1] + 1}, {_shown(lines[footer[-1]])}",)


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


def find_dialect(lines: list[str], stamped: bool = False) -> tuple[Dialect, tuple[str, ...]] | None:
    """Find how the rows are written, from lines of the middle and the end, where headers do not reach.

    None where no line holds numbers that follow one another.
    """
    probe = _probe(lines)
    text = "\n".join(probe)
    quoted, tried = '"' in text or "'" in text, set()
    best: tuple[int, int, Dialect] | None = None
    for dialect in DIALECTS:
        if dialect.separator == "," == dialect.decimal and '"' not in text:
            continue
        if not quoted and not _separates(dialect, probe):  # a line without separators is one field
            if dialect.decimal in tried:
                continue
            tried.add(dialect.decimal)
        rows = [dialect.split(line) for line in probe]
        counts = _numeric_fields(rows, dialect)
        if counts and (best is None or counts[0] * len(counts[1]) > best[0] * best[1]):
            best = counts[0], len(counts[1]), replace(dialect, fields=counts[1])
    if best is None:
        return None
    dialect = best[2]
    if not stamped and dialect.separator == "," and dialect.decimal == "." and _is_decimal_comma(probe, dialect, lines):
        only = replace(dialect, separator=";", decimal=",", fields=(0,))
        return only, ("one column with a decimal comma assumed",)
    return dialect, ()


def _separates(dialect: Dialect, lines: list[str]) -> bool:
    """Return whether any line has more than one field, or may have."""
    if dialect.separator is None:
        return any(len(line.split(None, 1)) != 1 for line in lines)
    return any(dialect.separator in line for line in lines)


def _probe(lines: list[str]) -> list[str]:
    """Return lines that are likely to be rows of numbers."""
    middle = range(len(lines) // 2, min(len(lines), len(lines) // 2 + PROBE))
    chosen = [lines[i] for i in middle] + lines[-PROBE:]
    return [
        line.split("#")[0]
        for line in chosen
        if (line.strip() and line.strip()[0] not in COMMENT_MARKS) or line.strip()[:1] == ";"
    ]


def _numeric_fields(rows: list[list[str]], dialect: Dialect) -> tuple[int, tuple[int, ...]] | None:
    """Return how many rows hold numbers, and in which fields at least half of them do.

    A field that is often blank counts as well, where it holds numbers only and beside numbers: a channel that was
    sampled less often.
    """
    width = max((len(row) for row in rows), default=0)
    if width > MOST_FIELDS:
        return None
    numbers = [[dialect.number(field) is not None for field in row] for row in rows]
    hits = [
        [is_number or (bool(field) and dialect.mark(field) is not None) for field, is_number in zip(*both, strict=True)]
        for both in zip(rows, numbers, strict=True)
    ]
    most = max((sum(row) for row in hits), default=0)
    if most == 0:
        return None
    rich = [i for i, row in enumerate(hits) if sum(row) * 2 >= most]

    def often(i: int) -> bool:
        holding = [k for k in rich if len(rows[k]) > i and hits[k][i]]
        if 2 * len(holding) > len(rich):
            return True
        filled = [k for k in rich if len(rows[k]) > i and rows[k][i]]
        beside = all(all(hits[k][j] or not rows[k][j] for j in range(i)) for k in holding)
        return len(holding) > max(2, 0.05 * len(rich)) and len(filled) == len(holding) and beside

    fields = tuple(i for i in range(width) if often(i))
    fields = tuple(i for i in fields if any(len(row) > i and row[i] for row in numbers))
    if not fields:
        return None

    # text may stand before the numbers, as metadata beside them, and words of their own columns among and behind them;
    # text with digits among them indicates another separator
    def is_beside(i: int, field: str) -> bool:
        words = not re.search(r"\d", field) or bool(DATE_OR_CLOCK.match(field))
        return words and i not in fields and (i > fields[-1] or dialect.separator is not None)

    full = sum(
        all(hit or not field or is_beside(i, field) for i, (hit, field) in enumerate(both) if i >= fields[0])
        and 2 * sum(len(row_hits) > i and row_hits[i] for i in fields) >= len(fields)
        and len(row) > fields[0]
        for row, row_hits in zip(rows, hits, strict=True)
        for both in [list(zip(row_hits, row, strict=True))]
    )
    return (full, fields) if full else None


def _is_decimal_comma(probe: list[str], dialect: Dialect, lines: list[str]) -> bool:
    """Return whether '1,25' is one number and not two: no titles for two, and first parts that do not count up."""
    probe = [line for line in probe if not re.search(r"[^\W\d_]", line)]  # of a short file it holds the header as well
    rows = [row for row in map(dialect.split, probe) if len(row) == 2]
    if not rows or len(rows) < len(probe) or not all(field.lstrip("+-").isdigit() for row in rows for field in row):
        return False
    begin = next((i for i, line in enumerate(lines) if dialect.holds_row(line)), 0)
    header = [line for line in lines[:begin] if line.strip()]
    if any(len(dialect.split(line)) == 2 and not re.search(r"\d", line) for line in header[-2:]):
        return False
    first = [int(row[0]) for row in rows if len(row[0]) < 18]
    return any(later <= earlier for earlier, later in pairwise(first)) or len(first) < 2


def _no_numbers(lines: list[str]) -> InputError:
    """Return the error for a text without rows of numbers, pointing at the first line that is not blank."""
    filled = [i for i, line in enumerate(lines) if line.strip()]
    if not filled:
        return InputError("the file holds only blank lines", fix="export the trace again")
    text = _shown(lines[filled[-1]])
    cells = [cell.strip(" \"'") for cell in re.split(r"[,;\t]", lines[filled[-1]])]
    numbers = [i for i, cell in enumerate(cells) if IS_NUMBER.match(cell)]
    if len(numbers) > MOST_FIELDS and len(numbers) > MOSTLY_NUMBERS * len(cells):
        return InputError(
            f"{len(numbers)} numbers stand in one line, {text}",
            line=filled[-1] + 1,
            fix="write one sample to a line: its time and its voltage",
        )
    if numbers and any(re.match(r"[^\W\d]", cell) for cell in cells[: numbers[-1]]):
        return InputError(
            f"words stand before or between the numbers of a row, as in {text}",
            line=filled[-1] + 1,
            fix="leave the columns of words out: export or keep those of time and voltage alone",
        )
    return InputError(
        f"no row of numbers found; the last line is {text}",
        line=filled[-1] + 1,
        fix="rows of numbers must follow the header, such as '0.001;1.25'",
    )


def first_row(lines: list[str], dialect: Dialect) -> int:
    """Return the index of the first row of numbers that no header line follows."""
    candidate: int | None = None
    for i, line in enumerate(lines):
        if is_layout(line) or line.lstrip().startswith("#"):
            continue
        if dialect.holds_row(line.split("#")[0]):
            if candidate is not None and not _stands_in_header(lines, candidate, dialect):
                return candidate
            candidate = i
        elif candidate is not None:
            # a row with a fault in it begins as a row does; a header does not
            if dialect.begins_row(line) or not any(dialect.holds_row(other.split("#")[0]) for other in lines[i + 1 :]):
                return candidate
            candidate = None
    if candidate is None:
        raise _no_numbers(lines)
    return candidate


def _stands_in_header(lines: list[str], place: int, dialect: Dialect) -> bool:
    """Return whether a line of numbers behind a key belongs to a header, since lines of words behind keys follow it."""
    if not dialect.fields[0]:
        return False
    for line in lines[place : place + PROBE]:
        cells = dialect.split(line)
        if not cells or not re.search("[A-Za-z]", cells[0]):
            return False
        beside = [cells[field] if field < len(cells) else "" for field in dialect.fields]
        if all(cell and dialect.value(cell) is None for cell in beside):
            return True
    return False


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
    filled = list(_filled(lines, start))
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
        raise _no_numbers(lines)
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
            f"the row {_shown(line)} ends before it",
            line=index + 1,
            column=column,
            fix=f"write {len(dialect.fields)} number{'s' * (len(dialect.fields) != 1)} in every row",
        )
    shown = _shown(row[field]) if row[field] else "an empty field"
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


def _filled(lines: list[str], start: int) -> Iterator[tuple[int, str]]:
    for i in range(start, len(lines)):
        if not is_layout(lines[i]) and not lines[i].lstrip().startswith("#"):
            yield i, lines[i]


def line_numbers(lines: list[str], start: int, dialect: Dialect, known: list[int] | None) -> list[int]:
    """Return the line, counted from one, of every row."""
    return known if known is not None else [i + 1 for i, _ in _filled(lines, start)]


def _shown(text: str, limit: int = 40) -> str:
    """Return text in quotes, shortened, for a message."""
    clean = "".join(letter if letter.isprintable() else "?" for letter in text.strip())
    return f"'{clean}'" if len(clean) <= limit else f"'{clean[: limit - 1]}…'"
