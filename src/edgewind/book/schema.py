"""The tables of a lab book, and the checksum that every row carries.

A cell of a reading is text as written, under the titles of `readings.csv`; the unit of each title is in `columns`. Rows
are never updated: a change of a reading is a row of `changes`.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import (
    BigInteger,
    Column,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

from edgewind.signals.columns import TITLES

# Cells of a reading: name of the database column, title in `readings.csv`. Those of version 1 are text, empty if not
# written; later ones are then NULL, so that rows of older books keep their checksums.
_FIRST = (
    "time", "gauge", "pressure", "pressure uncertainty", "trace", "speed", "speed uncertainty", "lamp", "sweep",
    "envelope temperature", "note", "exclude",
)  # fmt: skip
_FIRST_CELLS = {title.replace(" ", "_"): title for title in _FIRST}
LATER_CELLS = {title.replace(" ", "_"): title for title in TITLES if title not in _FIRST}
CELLS = {**_FIRST_CELLS, **LATER_CELLS}
# Another subject of a change than a cell: the description of the apparatus.
BENCH_CELL = "bench.toml"

metadata = MetaData()


def _table(name: str, *parts: Any) -> Table:
    # Without hidden row numbers no other program can replace a row through one.
    return Table(
        name, metadata, *parts, Column("checksum", String(64), nullable=False), sqlite_with_rowid=False
    )  # fmt: skip


def _experiment() -> Column[str]:
    return Column("experiment", String(32), ForeignKey("experiments.id"), primary_key=True)


def _number(name: str = "number") -> Column[int]:
    return Column(name, Integer, primary_key=True, autoincrement=False)


experiments = _table(
    "experiments",
    Column("id", String(32), primary_key=True),
    Column("name", Text, nullable=False, unique=True),
    Column("delimiter", String(1), nullable=False),
    Column("newline", String(2), nullable=False),
    Column("before_titles", Text, nullable=False),
    Column("titles", Text, nullable=False),
    Column("made_at", String(32), nullable=False),
    Column("made_by", Text, nullable=False),
)
columns = _table(
    "columns",
    _experiment(),
    _number(),
    Column("title", Text, nullable=False),
    Column("unit", Text, nullable=False),
)
benches = _table(
    "benches",
    _experiment(),
    _number(),
    Column("content", LargeBinary, nullable=False),
    Column("why", Text, nullable=False),
    Column("made_at", String(32), nullable=False),
    Column("made_by", Text, nullable=False),
)
files = _table(
    "files",
    _experiment(),
    _number(),
    Column("path", Text, nullable=False),
    Column("size", BigInteger, nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("made_at", String(32), nullable=False),
    UniqueConstraint("experiment", "path"),
)
pieces = _table(
    "pieces",
    _experiment(),
    _number("file"),
    _number(),
    Column("content", LargeBinary, nullable=False),
    ForeignKeyConstraint(["experiment", "file"], ["files.experiment", "files.number"]),
)
readings = _table(
    "readings",
    _experiment(),
    _number(),
    Column("key", String(64), nullable=False),
    *(Column(name, Text, nullable=False) for name in _FIRST_CELLS),
    Column("trace_file", Integer, nullable=True),
    Column("lines_before", Text, nullable=False),
    Column("line_as_written", Text, nullable=False),
    Column("lines_after", Text, nullable=False),
    Column("made_at", String(32), nullable=False),
    Column("made_by", Text, nullable=False),
    UniqueConstraint("experiment", "key"),
    *(Column(name, Text, nullable=True) for name in LATER_CELLS),
    Index("readings_time", "experiment", "time"),
    ForeignKeyConstraint(["experiment", "trace_file"], ["files.experiment", "files.number"]),
)
changes = _table(
    "changes",
    _experiment(),
    _number(),
    Column("reading", Integer, nullable=False),
    Column("cell", Text, nullable=False),
    Column("before", Text, nullable=False),
    Column("after", Text, nullable=False),
    Column("why", Text, nullable=False),
    Column("trace_file", Integer, nullable=True),
    Column("made_at", String(32), nullable=False),
    Column("made_by", Text, nullable=False),
    ForeignKeyConstraint(["experiment", "reading"], ["readings.experiment", "readings.number"]),
    ForeignKeyConstraint(["experiment", "trace_file"], ["files.experiment", "files.number"]),
)


def checksum(table: str, row: Mapping[str, Any]) -> str:
    """Return the SHA-256 of a row: of its table's name and of every value except the checksum itself, as canonical
    JSON.

    A cell of a later version is left out if it is NULL.

    Examples
    --------
    >>> checksum("columns", {"number": 1, "title": "gauge"}) == checksum("columns", {"title": "gauge", "number": 1})
    True
    """
    digest = hashlib.sha256()
    plain = {
        name: value
        for name, value in row.items()
        if name != "checksum" and not isinstance(value, bytes) and not (value is None and name in LATER_CELLS)
    }
    digest.update(json.dumps([table, plain], sort_keys=True, ensure_ascii=True).encode())
    for name in sorted(row):
        value = row[name]
        if isinstance(value, bytes):
            digest.update(f"\n{name} {len(value)}\n".encode())
            digest.update(value)
    return digest.hexdigest()


def sealed(table: Table, row: Mapping[str, Any]) -> dict[str, Any]:
    """Return the row with its checksum, ready to insert."""
    return {**row, "checksum": checksum(table.name, row)}
