"""Version 1: experiments with their benches, readings, changes and files; append-only.

A released step never changes: it states its tables itself, independent of the present schema.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from edgewind.book.triggers import postgresql_triggers, sqlite_triggers

_CELLS = (
    "time", "gauge", "pressure", "pressure_uncertainty", "trace", "speed", "speed_uncertainty", "lamp", "sweep",
    "envelope_temperature", "note", "exclude",
)  # fmt: skip
_KEYS = {
    "experiments": (("id",), ("name",)),
    "columns": (("experiment", "number"),),
    "benches": (("experiment", "number"),),
    "files": (("experiment", "number"), ("experiment", "path")),
    "pieces": (("experiment", "file", "number"),),
    "readings": (("experiment", "number"), ("experiment", "key")),
    "changes": (("experiment", "number"),),
}


def _text(*names: str) -> list[sa.Column[str]]:
    return [sa.Column(name, sa.Text(), nullable=False) for name in names]


def _stamp(*names: str) -> list[sa.Column[str]]:
    return [sa.Column(name, sa.String(32), nullable=False) for name in names]


def _experiment() -> sa.Column[str]:
    return sa.Column("experiment", sa.String(32), sa.ForeignKey("experiments.id"), primary_key=True)


def _number(name: str = "number") -> sa.Column[int]:
    return sa.Column(name, sa.Integer(), primary_key=True, autoincrement=False)


def _sha(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.String(64), nullable=False)


def _bytes() -> sa.Column[bytes]:
    return sa.Column("content", sa.LargeBinary(), nullable=False)


def _file(name: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint(["experiment", name], ["files.experiment", "files.number"])


def upgrade(connection: sa.Connection) -> None:
    """Create the tables, and the triggers that keep them append-only."""
    tables = sa.MetaData()

    def make(name: str, *parts: Any) -> None:
        sa.Table(name, tables, *parts, _sha("checksum"), sqlite_with_rowid=False).create(connection)

    make(
        "experiments",
        sa.Column("id", sa.String(32), primary_key=True),
        sa.Column("name", sa.Text(), nullable=False, unique=True),
        sa.Column("delimiter", sa.String(1), nullable=False),
        sa.Column("newline", sa.String(2), nullable=False),
        *_text("before_titles", "titles"),
        *_stamp("made_at"),
        *_text("made_by"),
    )
    make("columns", _experiment(), _number(), *_text("title", "unit"))
    make("benches", _experiment(), _number(), _bytes(), *_text("why"), *_stamp("made_at"), *_text("made_by"))
    make(
        "files",
        _experiment(),
        _number(),
        *_text("path"),
        sa.Column("size", sa.BigInteger(), nullable=False),
        _sha("sha256"),
        *_stamp("made_at"),
        sa.UniqueConstraint("experiment", "path"),
    )
    make("pieces", _experiment(), _number("file"), _number(), _bytes(), _file("file"))
    make(
        "readings",
        _experiment(),
        _number(),
        _sha("key"),
        *_text(*_CELLS),
        sa.Column("trace_file", sa.Integer(), nullable=True),
        *_text("lines_before", "line_as_written", "lines_after"),
        *_stamp("made_at"),
        *_text("made_by"),
        sa.UniqueConstraint("experiment", "key"),
        _file("trace_file"),
        sa.Index("readings_time", "experiment", "time"),
    )
    make(
        "changes",
        _experiment(),
        _number(),
        sa.Column("reading", sa.Integer(), nullable=False),
        *_text("cell", "before", "after", "why"),
        sa.Column("trace_file", sa.Integer(), nullable=True),
        *_stamp("made_at"),
        *_text("made_by"),
        sa.ForeignKeyConstraint(["experiment", "reading"], ["readings.experiment", "readings.number"]),
        _file("trace_file"),
    )
    postgresql = connection.dialect.name == "postgresql"
    for statement in (postgresql_triggers if postgresql else sqlite_triggers)(_KEYS):
        connection.execute(sa.text(statement))
