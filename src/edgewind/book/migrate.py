"""Versions of the schema: upgrade of a book in one transaction, and refusal of one from a newer program."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

from sqlalchemy import Column, Connection, MetaData, PrimaryKeyConstraint, String, Table, inspect, text

from edgewind.book.errors import BookError
from edgewind.book.migrations import v1_first, v2_conditions

# The versions in order, each with the step from the one before.
STEPS: Mapping[str, Callable[[Connection], None]] = MappingProxyType(
    {"v1": v1_first.upgrade, "v2": v2_conditions.upgrade}
)
VERSION_TABLE = "edgewind_version"
_VERSIONS = Table(
    VERSION_TABLE,
    MetaData(),
    Column("version_num", String(32), nullable=False),
    PrimaryKeyConstraint("version_num", name=f"{VERSION_TABLE}_pkc"),
)


def newest() -> str:
    """Return the name of the present version."""
    return list(STEPS)[-1]


def version_of(connection: Connection) -> str | None:
    """Return the version of a book; None if there is no book."""
    if VERSION_TABLE not in inspect(connection).get_table_names():
        return None
    found = connection.execute(text(f"SELECT version_num FROM {VERSION_TABLE}")).scalars().all()
    return str(found[0]) if found else None


def check_version(connection: Connection, label: str) -> bool:
    """Return whether a book has the present version; False if it is older or does not exist.

    Raises
    ------
    BookError
        A newer Edgewind has written it.
    """
    version = version_of(connection)
    if version is not None and version not in STEPS:
        raise BookError(
            f"the book is of version '{version[:40]}', this program knows {', '.join(STEPS)}",
            file=label,
            fix="it was written by a newer Edgewind: update this one; nothing was changed",
        )
    return version == newest()


def migrate(connection: Connection) -> None:
    """Carry out every missing step within the transaction of `connection`, all or none."""
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": 0x45444757})
    _VERSIONS.create(connection, checkfirst=True)
    names, version = list(STEPS), version_of(connection)
    missing = names[0 if version is None else names.index(version) + 1 :]
    for name in missing:
        STEPS[name](connection)
    if missing:
        connection.execute(_VERSIONS.delete())
        connection.execute(_VERSIONS.insert(), {"version_num": missing[-1]})
