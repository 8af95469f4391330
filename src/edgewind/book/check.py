"""Verification of a lab book, row by row and byte by byte."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from sqlalchemy import Connection, Table, create_engine, func, select, text

from edgewind.book import rows
from edgewind.book.connect import address_of, begin_reading, engine_of
from edgewind.book.contents import Contents
from edgewind.book.errors import as_book_error, as_book_errors
from edgewind.book.migrate import migrate, version_of
from edgewind.book.opening import older_error, open_book
from edgewind.book.schema import checksum, experiments, files, metadata, pieces, readings
from edgewind.errors import InputError

_NUMBERED = ("columns", "benches", "files", "readings", "changes")


@dataclass(frozen=True)
class Damage:
    """One case of damage.

    Attributes
    ----------
    where : str
        Place in the book.
    what : str
        Description of the damage.
    """

    where: str
    what: str


@dataclass
class Health:
    """Result of a check.

    Attributes
    ----------
    version : str
        Version of the book's schema.
    experiments : int
        Number of experiments that were checked.
    readings : int
        Number of readings that were checked.
    files : int
        Number of files that were checked.
    bytes : int
        Number of bytes in those files.
    damage : list of Damage
        All damage found; empty if there is none.
    """

    version: str = ""
    experiments: int = 0
    readings: int = 0
    files: int = 0
    bytes: int = 0
    damage: list[Damage] = field(default_factory=list)

    @property
    def whole(self) -> bool:
        """Whether there is no damage."""
        return not self.damage


def check_book(target: str | Path, *, wait_s: float = 10.0) -> Health:
    """Verify a book: its file, its rules, every row, every byte of every trace.

    Raises
    ------
    BookError
        There is no book, or it is too damaged to be opened.
    """
    address = address_of(target)
    with open_book(target, wait_s=wait_s) as book, book.reading() as connection:
        if book.older:
            raise older_error(str(version_of(connection)), address.label)
    engine = engine_of(address, write=False, make=False, wait_s=wait_s, lenient=True)
    health = Health()
    try:
        with as_book_errors(address.label), begin_reading(engine) as connection, connection.begin():
            health.version = version_of(connection) or ""
            for part in (_check_database, _check_rules, _check_rows, _check_links, _check_files, _check_numbers):
                _gather(health, part(connection, health), part.__doc__ or "", address.label)
            names = _names(connection, health, address.label)
    finally:
        engine.dispose()
    for name in names:
        _gather(health, _check_study(target, name), f"experiment '{name}'", address.label)
    health.damage = list(dict.fromkeys(health.damage))
    return health


def _gather(health: Health, found: Iterator[Damage], what: str, label: str) -> None:
    """Collect the findings of a part of the check; an error of the part is a finding, too."""
    try:
        health.damage.extend(found)
    except InputError as error:
        health.damage.append(Damage(what.rstrip(".").lower(), error.problem))
    except Exception as error:  # a damaged database may return any value
        health.damage.append(Damage(what.rstrip(".").lower(), as_book_error(error, label).problem))


def _names(connection: Connection, health: Health, label: str) -> list[str]:
    try:
        return sorted(str(name) for name in connection.execute(select(experiments.c.name)).scalars())
    except Exception as error:
        health.damage.append(Damage("names of experiments", as_book_error(error, label).problem))
        return []


def _check_database(connection: Connection, _health: Health) -> Iterator[Damage]:
    """Check the database file."""
    if connection.dialect.name != "sqlite":
        return
    for (said,) in connection.exec_driver_sql("PRAGMA integrity_check"):
        if said != "ok":
            yield Damage("database file", str(said).replace("\n", " "))
    for row in connection.exec_driver_sql("PRAGMA foreign_key_check"):
        yield Damage(f"table {row[0]}", f"a row points to a row of {row[2]} that does not exist")


def _check_rules(connection: Connection, _health: Health) -> Iterator[Damage]:
    """Check the tables and their triggers."""
    if connection.dialect.name == "sqlite":
        model = create_engine("sqlite://")
        with model.connect() as fresh, fresh.begin():
            migrate(fresh)
            right = _sqlite_schema(fresh)
        model.dispose()
        there = _sqlite_schema(connection)
    else:
        right = {f"trigger {table}_{kind}": "A" for table in metadata.tables for kind in ("append_only", "no_truncate")}
        enabled = connection.execute(
            text(
                "SELECT tgname, tgenabled FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid "
                "WHERE NOT tgisinternal AND relnamespace = current_schema()::regnamespace"
            )
        )
        there = {f"trigger {name}": str(state) for name, state in enabled}
    for name, definition in right.items():
        if name not in there:
            yield Damage(name, "is missing: rows are no longer protected against changes")
        elif there[name] != definition:
            yield Damage(name, "differs from that of this version")
    if connection.dialect.name == "sqlite":
        for name in there.keys() - right.keys():
            yield Damage(name, "is not part of a lab book")


def _sqlite_schema(connection: Connection) -> dict[str, str]:
    found = connection.exec_driver_sql("SELECT type, name, tbl_name, sql FROM sqlite_master")
    return {f"{kind} {name}": f"{table} {sql}" for kind, name, table, sql in found if not name.startswith("sqlite_")}


def _check_rows(connection: Connection, health: Health) -> Iterator[Damage]:
    """Check the rows and their checksums."""
    for table in metadata.sorted_tables:
        yield from _check_table(connection, table, health)


def _check_table(connection: Connection, table: Table, health: Health) -> Iterator[Damage]:
    keys = [column.name for column in table.primary_key]
    result = connection.execution_options(yield_per=1 if table is pieces else 200).execute(
        select(table).order_by(*table.primary_key)
    )
    last = "its beginning"
    try:
        for row in result.mappings():
            plain = {name: bytes(value) if isinstance(value, memoryview) else value for name, value in row.items()}
            last = _place(table.name, {key: plain[key] for key in keys})
            if table is readings:
                health.readings += 1
            if table is experiments:
                health.experiments += 1
            if checksum(table.name, plain) != plain["checksum"]:
                yield Damage(last, "does not match its checksum")
    except Exception as error:  # see _gather
        yield Damage(f"table {table.name}", f"cannot be read beyond {last} ({as_book_error(error, '').problem})")
    finally:
        result.close()


def _place(table: str, key: dict[str, object]) -> str:
    if table == "experiments":
        return f"experiment {key['id']}"
    singular = {"benches": "bench"}.get(table, table.removesuffix("s"))
    file = f" of file {key['file']}" if "file" in key else ""
    return f"{singular} {key['number']}{file} of experiment {key['experiment']}"


def _check_links(connection: Connection, _health: Health) -> Iterator[Damage]:
    """Check the links between rows."""
    known = set(connection.execute(select(experiments.c.id)).scalars())
    for table in metadata.sorted_tables:
        if table is not experiments:
            for key in set(connection.execute(select(table.c.experiment).distinct()).scalars()) - known:
                yield Damage(f"table {table.name}", f"rows belong to an experiment {key!s:.40} that does not exist")


def _check_files(connection: Connection, health: Health) -> Iterator[Damage]:
    """Check the bytes of every stored file."""
    kept = connection.execute(
        select(files.c.experiment, files.c.number, files.c.path, files.c.size, files.c.sha256, experiments.c.name)
        .join(experiments, experiments.c.id == files.c.experiment)
        .order_by(experiments.c.name, files.c.number)
    ).all()
    for experiment, number, path, size, sha256, name in kept:
        where = f"'{path}' of '{name}'"
        digest, found = hashlib.sha256(), 0
        try:
            for piece in rows.read_pieces(connection, experiment, number):
                digest.update(piece)
                found += len(piece)
        except Exception as error:
            yield Damage(where, f"its bytes cannot be read ({as_book_error(error, '').problem})")
            continue
        health.files += 1
        health.bytes += found
        if found != size:
            yield Damage(where, f"has {found} bytes, and {size} were kept")
        elif digest.hexdigest() != sha256:
            yield Damage(where, "its bytes differ from those that were stored")


def _check_numbers(connection: Connection, _health: Health) -> Iterator[Damage]:
    """Check the numbers of rows, which must have no gaps."""
    for name in _NUMBERED:
        table = metadata.tables[name]
        counts = connection.execute(
            select(table.c.experiment, func.count(), func.min(table.c.number), func.max(table.c.number)).group_by(
                table.c.experiment
            )
        )
        for experiment, count, least, most in counts:
            if (least, most) != (1, count):
                yield Damage(f"{name} of experiment {experiment}", f"{count} rows are numbered {least} to {most}")


def _check_study(target: str | Path, name: str) -> Iterator[Damage]:
    """Check that an experiment can be assembled."""
    with open_book(target) as book:
        contents: Contents = book.contents(name)
        contents.table()
        if not contents.benches:
            yield Damage(f"'{name}'", "has no bench.toml")
        for reading in contents.readings:
            if reading.cells.get("trace") and reading.trace_path is None and not _is_excluded(contents, reading.number):
                yield Damage(
                    f"reading {reading.number} of '{name}'", f"its trace '{reading.cells['trace']}' is not kept"
                )


def _is_excluded(contents: Contents, number: int) -> bool:
    now = contents.cells_now()[number - 1]
    return bool(now.get("exclude")) or not now.get("trace")
