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
import pandas as pd
from numpy.typing import NDArray

from edgewind.errors import InputError
from edgewind.signals.trace_stamps import Stamped, replace_stamps
from edgewind.signals.trace_table import Column, Table

FloatArray = NDArray[np.float64]

NUMBER = re.compile(r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$")
NO_NUMBER = re.compile(r"^[+-]?(nan|inf(inity)?)$", re.I)
UNIT_IN_NAME = re.compile(
    r"^(?P<name>.*?)\s*[\[(/]\s*(?P<unit>[A-Za-zµμ%°]+)\s*[\])]?$|^(?P<name2>.+)_(?P<unit2>s|ms|us|v|mv|V|mV)$"
)
UNIT_ALONE = re.compile(
    r"^[\[(]?\s*(s|ms|us|µs|μs|ns|sec|secs|seconds?|min|msec|v|mv|uv|µv|μv|nv|kv|volts?|millivolts?|a|ma|ua|µa|hz|khz)"
    r"\s*[\])]?$",
    re.I,
)
COMMENT_MARKS = "#%!;*/"

QUANTITY = r"[\s\"'\])}:=,;]*(?P<number>[+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?)[\s\"';,]*(?P<unit>[A-Za-zµμ/]*)"
IN_BRACKETS = r"\s*(?:[\[({]\s*(?P<early>[A-Za-zµμ/]+)\s*[\])}])?"
INTERVAL = re.compile(
    r"(?:sampl\w*\s*_?(?:interval|period|spacing|time)|x\s*_?increment|time\s*_?(?:step|increment|interval|per sample)|"
    r"(?<![\w.])interval|(?<![\w.])delta\s*_?t|(?<![\w.])dt|(?<![\w.])ts)(?:_?(?P<tail>s|ms|us))?(?![A-Za-z])"
    + IN_BRACKETS
    + QUANTITY,
    re.I,
)
RATE = re.compile(
    r"(?:sampl\w*\s*_?(?:rate|frequency|freq)|samples\s*(?:per|/)\s*s\w*|(?<![\w.])fs|(?<![\w.])sr)(?:_?(?P<tail>hz|khz|mhz))?"
    r"(?![A-Za-z])" + IN_BRACKETS + QUANTITY,
    re.I,
)
SECONDS = {"": 1.0, "s": 1.0, "sec": 1.0, "second": 1.0, "seconds": 1.0, "ms": 1e-3, "msec": 1e-3, "us": 1e-6,
           "µs": 1e-6, "μs": 1e-6, "usec": 1e-6, "ns": 1e-9, "ps": 1e-12}  # fmt: skip
PREFIX = {"": 1.0, "k": 1e3, "m": 1e6, "g": 1e9}
PROBE = 200
MOST_FOOTER_LINES = 100


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
        if not NUMBER.match(text):
            return None
        value = float(text)
        return value if math.isfinite(value) else None

    def holds_row(self, line: str) -> bool:
        """Tell whether every field that should hold a number does."""
        row = self.split(line)
        return (
            bool(self.fields)
            and len(row) > self.fields[-1]
            and all(self.number(row[field]) is not None for field in self.fields)
        )

    def begins_row(self, line: str) -> bool:
        """Tell whether the first field that should hold a number does."""
        row = self.split(line)
        first = row[self.fields[0]] if len(row) > self.fields[0] else ""
        return self.number(first) is not None or bool(NO_NUMBER.match(first))


DIALECTS = (
    Dialect(";", "."), Dialect(";", ","), Dialect("\t", "."), Dialect("\t", ","), Dialect(",", "."), Dialect(None, "."),
    Dialect(None, ","), Dialect(",", ","),
)  # fmt: skip


def read_text(content: bytes) -> Table:
    """Read columns of numbers from the bytes of a text file of unknown dialect."""
    text, notes = decode(content)
    del content
    lines = text.split("\n")
    stamped = replace_stamps(lines)
    if stamped is not None:
        lines = stamped.lines
        notes += stamped.notes
    dialect, more = find_dialect(lines, stamped is not None)
    start = first_row(lines, dialect)
    end, footer = cut_footer(lines, start, dialect)
    header, body = lines[:start], lines[:end]
    names = name_columns(header, dialect)
    place = stamp_place(stamped, body, start, dialect)
    values, numbers, skipped = read_rows(body, start, dialect, [name for name, _, _ in names], place)
    if skipped:
        more = (*more, f"{skipped} repeated header line{'s' * (skipped != 1)} among the numbers skipped")
    columns = [
        Column(name, unit, np.ascontiguousarray(values[:, i]), named) for i, (name, unit, named) in enumerate(names)
    ]
    if place is not None:
        columns[place] = _stamp_column(columns[place])

    @cache
    def row_lines() -> list[int]:
        return line_numbers(body, start, dialect, numbers)

    return Table(
        tuple(columns),
        header_interval(header),
        (*notes, *more, *footer),
        line_of=lambda row: row_lines()[row],
        stamp_of=lambda row: stamped.shown(row_lines()[row] - 1) if stamped is not None else "",
        stamp_step_s=stamped.resolution_s if stamped is not None and place is not None else 0.0,
    )


def stamp_place(stamped: Stamped | None, lines: list[str], start: int, dialect: Dialect) -> int | None:
    """Return which of the columns of numbers holds the date-time stamps, by what stands before them in a row."""
    if stamped is None:
        return None
    for i, _ in _filled(lines, start):
        if stamped.shown(i):
            field = len(dialect.split(stamped.before(i) + "0")) - 1
            return dialect.fields.index(field) if field in dialect.fields else None
    return None


def _stamp_column(column: Column) -> Column:
    """Return a column of stamps in seconds; the part of its name taken for a unit, as in 'Date/Time', is given back."""
    name = f"{column.name}/{column.unit}" if column.unit.lower() in ("time", "date") else column.name
    return Column(name if column.named else "time", "s", column.values * 1e-9, column.named, stamped=True)


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
            if dialect.begins_row(line) or not line.strip(" \t;,\"'") or len(footer) == MOST_FOOTER_LINES:
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
    strange = sum(not (letter.isprintable() or letter in "\t\n\r\f\v") for letter in sample)
    if "\0" in sample or strange > 0.02 * len(sample):
        raise InputError("this is not text but binary data", fix="export the trace as CSV, or name it .npz or .wav")
    return text.replace("\r\n", "\n").replace("\r", "\n"), notes


def find_dialect(lines: list[str], stamped: bool = False) -> tuple[Dialect, tuple[str, ...]]:
    """Find how the rows are written, from lines of the middle and the end, where headers do not reach."""
    probe = _probe(lines)
    best: tuple[int, int, Dialect] | None = None
    for dialect in DIALECTS:
        if dialect.separator == "," == dialect.decimal and not any('"' in line for line in probe):
            continue
        rows = [dialect.split(line) for line in probe]
        counts = _numeric_fields(rows, dialect)
        if counts and (best is None or counts[0] * len(counts[1]) > best[0] * best[1]):
            best = counts[0], len(counts[1]), replace(dialect, fields=counts[1])
    if best is None:
        raise _no_numbers(lines)
    dialect = best[2]
    if not stamped and dialect.separator == "," and dialect.decimal == "." and _is_decimal_comma(probe, dialect, lines):
        only = replace(dialect, separator=";", decimal=",", fields=(0,))
        return only, ("one column with a decimal comma assumed",)
    return dialect, ()


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
    """Return how many rows hold numbers, and in which fields at least half of them do."""
    width = max((len(row) for row in rows), default=0)
    if width > 512:
        return None
    hits = [[dialect.number(field) is not None or bool(NO_NUMBER.match(field)) for field in row] for row in rows]
    most = max((sum(row) for row in hits), default=0)
    if most == 0:
        return None
    rich = [row for row in hits if sum(row) * 2 >= most]
    fields = tuple(i for i in range(width) if sum(len(row) > i and row[i] for row in rich) * 2 > len(rich))
    fields = tuple(i for i in fields if any(len(row) > i and dialect.number(row[i]) is not None for row in rows))
    if not fields:
        return None
    # text may stand before the numbers, as metadata beside them; text among them speaks for another separator
    full = sum(
        all(hit or not field for hit, field in zip(row_hits[fields[0] :], row[fields[0] :], strict=True))
        and all(len(row_hits) > i and row_hits[i] for i in fields)
        for row, row_hits in zip(rows, hits, strict=True)
    )
    return (full, fields) if full else None


def _is_decimal_comma(probe: list[str], dialect: Dialect, lines: list[str]) -> bool:
    """Tell '1,25' as one number from '1,25' as two: whole numbers, nameless, whose first does not count on."""
    rows = [row for row in map(dialect.split, probe) if len(row) == 2]
    if len(rows) < len(probe) or not all(field.lstrip("+-").isdigit() for row in rows for field in row):
        return False
    header = [line for line in lines[: PROBE // 4] if line.strip() and not dialect.holds_row(line)]
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
    return InputError(
        f"no row of numbers found; the last line is {text}",
        line=filled[-1] + 1,
        fix="rows of numbers must follow the header, such as '0.001;1.25'",
    )


def first_row(lines: list[str], dialect: Dialect) -> int:
    """Return the index of the first row of numbers that no header line follows."""
    candidate: int | None = None
    for i, line in enumerate(lines):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        if dialect.holds_row(line.split("#")[0]):
            if candidate is not None:
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


def read_rows(
    lines: list[str], start: int, dialect: Dialect, names: list[str], stamp_place: int | None = None
) -> tuple[FloatArray, list[int] | None, int]:
    """Read the rows from `start` on: in bulk if they are clean, else one by one to find and name the first fault."""
    clean = _read_bulk(lines, start, dialect)
    if clean is not None:
        return clean, None, 0
    headers = {line.strip() for line in lines[:start] if line.strip()}
    rows: list[list[float]] = []
    numbers: list[int] = []
    skipped = 0
    for i, line in _filled(lines, start):
        row = dialect.split(line.split("#")[0])
        found = [dialect.number(row[field]) if field < len(row) else None for field in dialect.fields]
        if None in found:
            if line.strip() in headers:
                skipped += 1
                continue
            raise _bad_row(row, found, line, i, dialect, names, stamp_place)
        rows.append([value for value in found if value is not None])
        numbers.append(i + 1)
    if not rows:
        raise _no_numbers(lines)
    return np.array(rows, dtype=np.float64), numbers, skipped


def _read_bulk(lines: list[str], start: int, dialect: Dialect) -> FloatArray | None:
    """Return the rows as an array, or None where any field is not a finite number."""
    body = "\n".join(lines[start:])
    if "'" in body or "_" in body:
        return None
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
            engine="c",
        )
    except (ValueError, pd.errors.ParserError, OverflowError, TypeError, IndexError):
        return None
    values = np.asarray(frame.to_numpy(dtype=np.float64))
    return values if values.ndim == 2 and values.size and bool(np.all(np.isfinite(values))) else None


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
        if lines[i].strip() and not lines[i].lstrip().startswith("#"):
            yield i, lines[i]


def line_numbers(lines: list[str], start: int, dialect: Dialect, known: list[int] | None) -> list[int]:
    """Return the line, counted from one, of every row."""
    return known if known is not None else [i + 1 for i, _ in _filled(lines, start)]


def name_columns(header: list[str], dialect: Dialect) -> list[tuple[str, str, bool]]:
    """Return name, unit, and whether the name is the file's own, for each column, from the last header lines."""
    rows = [dialect.split(line.strip().lstrip("#%")) for line in header if line.strip()][-4:]
    last = dialect.fields[-1]
    wide = [row for row in rows if len(row) > last and all(row[i] for i in dialect.fields)]
    if not wide or rows[-1] is not wide[-1]:
        wide = [row for row in wide if row is rows[-1]]
    units: list[str] = []
    if wide and all(UNIT_ALONE.match(wide[-1][i]) for i in dialect.fields):
        units = [wide[-1][i].strip("[](){} ") for i in dialect.fields]
        wide = [row for row in rows[:-1] if len(row) > last and all(row[i] for i in dialect.fields)][-1:]
        if wide and rows[-2] is not wide[-1]:
            wide = []
    named: list[tuple[str, str, bool]] = []
    for place, field in enumerate(dialect.fields):
        text = wide[-1][field] if wide else ""
        if dialect.number(text) is not None or re.search(r"[:=]", text) or INTERVAL.search(text) or RATE.search(text):
            text = ""
        parts = UNIT_IN_NAME.match(text)
        name = (parts["name"] or parts["name2"] or "") if parts else text
        unit = (parts["unit"] or parts["unit2"] or "") if parts else ""
        named.append((name.strip() or str(field + 1), units[place] if units else unit, bool(name.strip())))
    return named


def header_interval(header: list[str]) -> float | None:
    """Return the sample interval in seconds that a header line tells, as such or as a rate."""
    for line in header:
        for pattern, invert in ((INTERVAL, False), (RATE, True)):
            found = pattern.search(line)
            if found is None:
                continue
            unit = found["unit"] or found["early"] or found["tail"] or ""
            factor = _hertz(unit) if invert else SECONDS.get(unit.lower())
            number = float(found["number"].replace(",", "."))
            if factor is None or not (math.isfinite(number) and number > 0):
                continue
            value = 1 / (number * factor) if invert else number * factor
            if math.isfinite(value) and value > 0:
                return value
    return None


def _hertz(unit: str) -> float | None:
    """Return the factor from a unit of sample rate to hertz: Hz, kHz, S/s, kS/s, MSa/s."""
    found = re.match(r"^(?P<prefix>[kmg]?)(hz|s(a|amples|ps)?(/s(ec)?)?)?$", unit.lower())
    return PREFIX[found["prefix"]] if found else None


def _shown(text: str, limit: int = 40) -> str:
    """Return text in quotes, shortened, for a message."""
    clean = "".join(letter if letter.isprintable() else "?" for letter in text.strip())
    return f"'{clean}'" if len(clean) <= limit else f"'{clean[: limit - 1]}…'"
