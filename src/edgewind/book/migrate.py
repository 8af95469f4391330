"""Versions of the schema: bring a book up to date in one transaction, and refuse one from a newer program."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, inspect, text

from edgewind.book.errors import BookError

if TYPE_CHECKING:
    from alembic.runtime.migration import MigrationContext
    from alembic.script import ScriptDirectory

# In the order of their steps, which Alembic reads from `migrations`: it is loaded only where a step has to be taken.
VERSIONS = ("v1", "v2")
VERSION_TABLE = "edgewind_version"
STEPS = Path(__file__).parent / "migrations"


def steps(places: tuple[Path, ...] | None = None) -> ScriptDirectory:
    """The steps from nothing to today's schema."""
    from alembic.script import ScriptDirectory

    places = (STEPS,) if places is None else places
    return ScriptDirectory(str(STEPS), version_locations=[str(place) for place in places])


def newest(script: ScriptDirectory | None = None) -> str:
    """Name of today's version."""
    return VERSIONS[-1] if script is None else str(script.get_current_head())


def version_of(connection: Connection) -> str | None:
    """Name of the version a book is at; None where there is no book yet."""
    if VERSION_TABLE not in inspect(connection).get_table_names():
        return None
    found = connection.execute(text(f"SELECT version_num FROM {VERSION_TABLE}")).scalars().all()
    return str(found[0]) if found else None


def check_version(connection: Connection, label: str, script: ScriptDirectory | None = None) -> bool:
    """Tell whether a book is at today's version; False where it is older or not there yet.

    Raises
    ------
    BookError
        A newer Edgewind has written it.
    """
    version = version_of(connection)
    known = VERSIONS if script is None else tuple(step.revision for step in script.walk_revisions())[::-1]
    if version is not None and version not in known:
        raise BookError(
            f"the book is of version '{version[:40]}', this program knows {', '.join(known)}",
            file=label,
            fix="a newer Edgewind wrote it: update this one; nothing was touched",
        )
    return version == newest(script)


def migrate(connection: Connection, script: ScriptDirectory | None = None) -> None:
    """Take every step that is missing, within the transaction of `connection`: all or none."""
    from alembic.config import Config
    from alembic.runtime.environment import EnvironmentContext

    script = script or steps()
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": 0x45444757})

    def up(revision: object, _context: MigrationContext) -> object:
        return script._upgrade_revs("head", revision)  # type: ignore[arg-type]

    with EnvironmentContext(Config(), script, fn=up) as environment:
        environment.configure(connection=connection, version_table=VERSION_TABLE, transactional_ddl=True)
        environment.run_migrations()
