"""Rows of a book as values, and functions that read and add them."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, BinaryIO

from sqlalchemy import Connection, Table, func, inspect, null, select

from edgewind.book.errors import BookError, DamagedBookError
from edgewind.book.schema import CELLS, LATER_CELLS, changes, checksum, columns, files, pieces, readings, sealed
from edgewind.book.sheet import Sheet, SheetRow

PIECE_BYTES = 1 << 20
# Execution option of connections to a book of an older version, opened for reading.
OLDER = "edgewind_older"


@dataclass(frozen=True)
class TraceFile:
    """A raw trace to store: its path within the experiment, and its bytes or their file."""

    path: str
    content: bytes | Path = field(repr=False)


@dataclass(frozen=True)
class Reading:
    """A reading as recorded.

    Attributes
    ----------
    number : int
        Number within its experiment, from one.
    key : str
        Identifier by its writer, so that it is stored at most once.
    cells : mapping of str to str
        Text by title, as written; titles without a text are empty or missing.
    trace_path : str or None
        The stored file of ``cells["trace"]``.
    made_at, made_by : str
        When and by whom it was recorded.
    """

    number: int
    key: str
    cells: Mapping[str, str]
    trace_path: str | None
    made_at: str
    made_by: str
    row: SheetRow = field(repr=False)


@dataclass(frozen=True)
class Amendment:
    """A correction, an exclusion (cell ``exclude``) or its withdrawal, with its reading and reason."""

    number: int
    reading: int
    cell: str
    before: str
    after: str
    why: str
    trace_path: str | None
    made_at: str
    made_by: str


@dataclass(frozen=True)
class KeptFile:
    """A file in the book."""

    number: int
    path: str
    size: int
    sha256: str


def now() -> str:
    """Return the time, UTC, in the form of rows."""
    return datetime.now(UTC).isoformat(timespec="microseconds")


def insert_row(connection: Connection, table: Table, row: Mapping[str, Any]) -> None:
    """Insert a row with its checksum."""
    connection.execute(table.insert(), sealed(table, row))


def next_number(connection: Connection, table: Table, experiment: str) -> int:
    """Return the number after the last; the caller holds the write lock of the experiment."""
    last = connection.execute(select(func.max(table.c.number)).where(table.c.experiment == experiment)).scalar()
    return int(last or 0) + 1


def add_file(connection: Connection, experiment: str, number: int, trace: TraceFile, label: str) -> KeptFile:
    """Store a file in pieces, in bounded memory."""
    digest, size = hashlib.sha256(), 0
    for piece in _pieces(trace.content):
        digest.update(piece)
        size += len(piece)
    kept = KeptFile(number, trace.path, size, digest.hexdigest())
    row = {"experiment": experiment, "number": number, "path": trace.path, "size": size, "sha256": kept.sha256}
    insert_row(connection, files, {**row, "made_at": now()})
    again = hashlib.sha256()
    for part, piece in enumerate(_pieces(trace.content), start=1):
        again.update(piece)
        insert_row(connection, pieces, {"experiment": experiment, "file": number, "number": part, "content": piece})
    if again.digest() != digest.digest():
        raise BookError(f"'{trace.path}' changed while it was read", file=label, fix="try again once it is complete")
    return kept


def _pieces(content: bytes | Path) -> Iterator[bytes]:
    if isinstance(content, bytes):
        for start in range(0, len(content), PIECE_BYTES):
            yield content[start : start + PIECE_BYTES]
        return
    with content.open("rb") as stream:
        yield from iter(lambda: stream.read(PIECE_BYTES), b"")


def read_pieces(connection: Connection, experiment: str, number: int) -> Iterator[bytes]:
    """Return the bytes of a stored file in pieces."""
    part, where = 1, (pieces.c.experiment == experiment) & (pieces.c.file == number)
    while True:
        content = connection.execute(select(pieces.c.content).where(where & (pieces.c.number == part))).scalar()
        if content is None:
            return
        yield bytes(content)
        part += 1


def copy_file(connection: Connection, experiment: str, kept: KeptFile, stream: BinaryIO, label: str) -> None:
    """Write the bytes of a stored file to a stream, and verify them.

    Raises
    ------
    BookError
        They differ from the stored ones.
    """
    digest = hashlib.sha256()
    for piece in read_pieces(connection, experiment, kept.number):
        digest.update(piece)
        stream.write(piece)
    if digest.hexdigest() != kept.sha256:
        raise BookError(
            f"'{kept.path}' is damaged: its bytes differ from those that were stored",
            file=label,
            fix="run `edgewind check` to find the place",
        )


def add_reading(
    connection: Connection,
    experiment: str,
    number: int,
    row: SheetRow,
    *,
    key: str,
    trace_file: int | None,
    made_at: str,
    made_by: str,
) -> None:
    """Insert a reading."""
    insert_row(
        connection,
        readings,
        {
            "experiment": experiment,
            "number": number,
            "key": key,
            **cell_values(row.cells),
            "trace_file": trace_file,
            "lines_before": row.before,
            "line_as_written": row.line,
            "lines_after": row.after,
            "made_at": made_at,
            "made_by": made_by,
        },
    )


def cell_values(cells: Mapping[str, str]) -> dict[str, str | None]:
    """Return the cells of a reading by database column, as stored."""
    return {name: cells.get(title, "") or (None if name in LATER_CELLS else "") for name, title in CELLS.items()}


def add_change(connection: Connection, experiment: str, change: Amendment, trace_file: int | None) -> None:
    """Insert a change."""
    row = {name: getattr(change, name) for name in ("number", "reading", "cell", "before", "after", "why")}
    stamp = {"made_at": change.made_at, "made_by": change.made_by}
    insert_row(connection, changes, {"experiment": experiment, **row, "trace_file": trace_file, **stamp})


def add_columns(connection: Connection, experiment: str, sheet: Sheet) -> None:
    """Insert the titles and units of a table."""
    for number, (title, unit) in enumerate(sheet.columns, start=1):
        insert_row(connection, columns, {"experiment": experiment, "number": number, "title": title, "unit": unit})


def find_file(connection: Connection, experiment: str, path: str) -> int | None:
    """Return the number of the kept file of that path."""
    where = (files.c.experiment == experiment) & (files.c.path == path)
    return connection.execute(select(files.c.number).where(where)).scalar()


def file_in_the_way(connection: Connection, experiment: str, path: str) -> str | None:
    """Return the path of a stored file that conflicts with another: the same path, or a folder of the other."""
    parts = path.split("/")
    above = ["/".join(parts[:count]) for count in range(1, len(parts) + 1)]
    same = files.c.path.in_(above) | files.c.path.startswith(path + "/", autoescape=True)
    return connection.execute(select(files.c.path).where((files.c.experiment == experiment) & same)).scalar()


def whole(table: Table, row: Mapping[Any, Any]) -> dict[str, Any]:
    """Return the values of a row after verifying its checksum.

    Raises
    ------
    DamagedBookError
        The checksum does not match.
    """
    values: dict[str, Any] = {
        str(name): bytes(value) if isinstance(value, memoryview) else value for name, value in row.items()
    }
    if checksum(table.name, values) != values["checksum"]:
        number = values.get("number", values.get("name", ""))
        raise DamagedBookError(
            f"row {number} of {table.name} is damaged: it does not match its checksum",
            fix="run `edgewind check` to list all damage",
        )
    return values


def _columns(connection: Connection, table: Table) -> list[Any]:
    """Return the columns of a table, NULL for those that an older book lacks."""
    if table is not readings or not connection.get_execution_options().get(OLDER):
        return list(table.columns)
    there = {column["name"] for column in inspect(connection).get_columns(table.name)}
    return [column if column.name in there else null().label(column.name) for column in table.columns]


def stored_rows(connection: Connection, table: Table, experiment: str, *where: Any) -> list[dict[str, Any]]:
    """Return every row of an experiment in a table for which `where` holds, in order, each verified."""
    query = select(*_columns(connection, table)).where(table.c.experiment == experiment, *where)
    query = query.order_by(table.c.number)
    return [whole(table, row) for row in connection.execute(query).mappings()]


def read_files(connection: Connection, experiment: str, *where: Any) -> dict[int, KeptFile]:
    """Return every kept file for which `where` holds, by number."""
    found = stored_rows(connection, files, experiment, *where)
    return {row["number"]: KeptFile(row["number"], row["path"], row["size"], row["sha256"]) for row in found}


def stored_readings(
    connection: Connection, experiment: str, kept: Mapping[int, KeptFile], *where: Any
) -> list[Reading]:
    """Return every reading for which `where` holds, as recorded, in order."""
    return [_reading(row, kept) for row in stored_rows(connection, readings, experiment, *where)]


def _reading(row: Mapping[str, Any], kept: Mapping[int, KeptFile]) -> Reading:
    cells = {title: str(row[name] or "") for name, title in CELLS.items()}
    written = SheetRow(row["lines_before"], row["line_as_written"], row["lines_after"], cells)
    return Reading(row["number"], row["key"], cells, _path(row, kept), row["made_at"], row["made_by"], written)


def read_changes(connection: Connection, experiment: str, kept: Mapping[int, KeptFile], *where: Any) -> list[Amendment]:
    """Return every change for which `where` holds, in order."""
    names = ("number", "reading", "cell", "before", "after", "why", "made_at", "made_by")
    return [
        Amendment(trace_path=_path(row, kept), **{name: row[name] for name in names})
        for row in stored_rows(connection, changes, experiment, *where)
    ]


def _path(row: Mapping[str, Any], kept: Mapping[int, KeptFile]) -> str | None:
    number = row["trace_file"]
    if number is None:
        return None
    if number not in kept:
        raise DamagedBookError(f"file {number} is missing", fix="run `edgewind check` to list all damage")
    return kept[number].path
