"""The changes of an experiment as a table in its folder, so that an exported folder can be imported as it was."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from edgewind.book.checks import HISTORY
from edgewind.book.contents import BenchVersion, Contents
from edgewind.book.rows import Amendment
from edgewind.book.schema import BENCH_CELL
from edgewind.book.sheet import Sheet, SheetRow, with_new_cells
from edgewind.errors import InputError

_HEADS = ("reading", "cell", "before", "after", "why", "kept as", "made at", "made by")
_MARK = "# Written by `edgewind export`. What readings.csv and bench.toml held before, and why that changed.\n"


@dataclass(frozen=True)
class History:
    """History in a folder.

    Attributes
    ----------
    changes : tuple of Amendment
        In order.
    benches : tuple of BenchVersion
        All descriptions of the apparatus, the last being that of the folder.
    """

    changes: tuple[Amendment, ...]
    benches: tuple[BenchVersion, ...]


def bench_path(number: int) -> str:
    """Return the path of an earlier `bench.toml` in the folder."""
    return f"history/bench-{number}.toml"


def history_files(contents: Contents) -> dict[str, bytes]:
    """Return the files of the history of an experiment; none without changes."""
    if not contents.changes and len(contents.benches) == 1:
        return {}
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n", quoting=csv.QUOTE_ALL)
    writer.writerow(_HEADS)
    for change in contents.changes:
        writer.writerow(
            (change.reading, change.cell, change.before, change.after, change.why, change.trace_path or "",
             change.made_at, change.made_by)
        )  # fmt: skip
    for old, new in zip(contents.benches[:-1], contents.benches[1:], strict=True):
        writer.writerow(("", BENCH_CELL, bench_path(old.number), "", new.why, "", new.made_at, new.made_by))
    files = {bench_path(version.number): version.content for version in contents.benches[:-1]}
    return {HISTORY: (_MARK + stream.getvalue()).encode(), **files}


def read_history(text: str, bench: bytes, old_benches: Mapping[str, bytes], made_at: str, file: str) -> History:
    """Read that table.

    Raises
    ------
    InputError
        It is not such a table; names file and line.
    """
    if not text.startswith(_MARK):
        raise InputError("this is not a history that Edgewind wrote", file=file, fix="give the file another name")
    reader = csv.reader(io.StringIO(text[len(_MARK) :]))
    try:
        records = [(reader.line_num + 1, cells) for cells in reader]
    except csv.Error as error:
        raise InputError(f"not a table ({error})", file=file, line=reader.line_num + 1) from error
    if not records or tuple(records[0][1]) != _HEADS:
        raise InputError("the titles are not those of a history", file=file, line=2, fix=", ".join(_HEADS))
    changes: list[Amendment] = []
    contents, reasons = [], [("", made_at, "")]
    for line, cells in records[1:]:
        if len(cells) != len(_HEADS):
            raise InputError(f"{len(cells)} cells under {len(_HEADS)} titles", file=file, line=line)
        reading, cell, before, after, why, kept, at, by = cells
        if cell == BENCH_CELL:
            if before not in old_benches:
                raise InputError(f"'{before}' is not in the folder", file=file, line=line, column="before")
            contents.append(old_benches[before])
            reasons.append((why, at, by))
        elif not reading.isdecimal() or len(reading) > 9:
            raise InputError(f"'{reading[:40]}' is not the number of a reading", file=file, line=line, column="reading")
        else:
            number = len(changes) + 1
            changes.append(Amendment(number, int(reading), cell, before, after, why, kept or None, at, by))
    benches = (
        BenchVersion(number, content, *reason)
        for number, (content, reason) in enumerate(zip([*contents, bench], reasons, strict=True), start=1)
    )
    return History(tuple(changes), tuple(benches))


def undo(sheet: Sheet, rows: Sequence[SheetRow], changes: Sequence[Amendment], file: str) -> list[SheetRow]:
    """Return the readings before all changes. The line of a changed reading is rewritten, since its original form is
    unknown.

    Raises
    ------
    InputError
        The table does not match the last change.
    """
    cells = [dict(row.cells) for row in rows]
    for change in reversed(changes):
        if not 1 <= change.reading <= len(rows):
            raise InputError(f"there is no reading {change.reading}", file=file, fix="keep the history with its table")
        found = cells[change.reading - 1].get(change.cell, "")
        if found != change.after:
            raise InputError(
                f"reading {change.reading} has '{found[:40]}' under '{change.cell}', where the history left "
                f"'{change.after[:40]}'",
                file=file,
                fix="remove the history to import the present table",
            )
        cells[change.reading - 1][change.cell] = change.before
    return [with_new_cells(sheet, row, before) for row, before in zip(rows, cells, strict=True)]
