"""How the numbers of a trace are written: separator, decimal mark and marks, and where the numbers begin."""

from __future__ import annotations

import csv
import math
import re
from dataclasses import dataclass, replace
from itertools import pairwise

from edgewind.errors import InputError
from edgewind.signals.trace_header import COMMENT_MARKS, IS_NUMBER, is_layout

OVER_RANGE = re.compile(
    r"^[+]?(inf(inity)?|∞|1\.#inf|ol|o\.l\.?|overload|over|overflow|ovfl?|ovld|over-?range|clip(ped|ping)?)$", re.I
)
UNDER_RANGE = re.compile(
    r"^-(inf(inity)?|∞|1\.#inf|ol|o\.l\.?|overload|over|overflow|ovfl?|ovld)$|^under-?range$", re.I
)
NO_SAMPLE = re.compile(r"^[+-]?nan$|^(na|n/a|#n/a|null|none|nil|1\.#qnan|-{2,}|\*+|missing|invalid)$", re.I)
SCPI_OVER, SCPI_NONE = 9.9e37, 9.91e37
"""What SCPI (Syntax and Style, 1999, 7.2.1.4 and 7.2.1.5) writes for infinity and for not a number."""
PROBE = 200
MOST_FIELDS, MOSTLY_NUMBERS = 512, 0.8
"""Cells of a row beyond which it is a whole trace in one line, and the share of them that are numbers then."""
DATE_OR_CLOCK = re.compile(r"^\d{1,4}([/:-])\d{1,2}\1\d{1,4}(\.\d+)?$")


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


def find_dialect(lines: list[str], stamped: bool = False) -> tuple[Dialect, tuple[str, ...]] | None:
    """Find how the rows are written, from lines of the middle and the end, where headers do not reach.

    None where no line holds numbers that follow one another.
    """
    probe = probe_lines(lines)
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


def probe_lines(lines: list[str]) -> list[str]:
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


def no_numbers_error(lines: list[str]) -> InputError:
    """Return the error for a text without rows of numbers, pointing at the first line that is not blank."""
    filled = [i for i, line in enumerate(lines) if line.strip()]
    if not filled:
        return InputError("the file holds only blank lines", fix="export the trace again")
    text = shown_cell(lines[filled[-1]])
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
        raise no_numbers_error(lines)
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


def shown_cell(text: str, limit: int = 40) -> str:
    """Return text in quotes, shortened, for a message."""
    clean = "".join(letter if letter.isprintable() else "?" for letter in text.strip())
    return f"'{clean}'" if len(clean) <= limit else f"'{clean[: limit - 1]}…'"
