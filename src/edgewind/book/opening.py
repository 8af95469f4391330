"""Opening of a lab book: its file or database is checked, created or upgraded first."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Engine, text

from edgewind.book.book import Book
from edgewind.book.checks import check_place
from edgewind.book.connect import APPLICATION_ID, Address, address_of, begin_reading, begin_writing, engine_of
from edgewind.book.errors import BookError, NoBookError, as_book_errors
from edgewind.book.migrate import check_version, migrate, version_of

DEFAULT_WAIT_S = 10.0
# Older versions of the schema that can be read without an upgrade.
_READABLE = ("v1",)


def open_book(target: str | Path, *, write: bool = False, make: bool = False, wait_s: float = DEFAULT_WAIT_S) -> Book:
    """Open a lab book.

    Parameters
    ----------
    target : path or str
        A file, or ``postgresql://user@host/database``.
    write : bool
        Whether to open it for writing; an older book is then upgraded to the present schema in one transaction.
    make : bool
        Whether to create it if there is none; implies `write`.
    wait_s : float
        Longest wait for another program that is writing, s.

    Raises
    ------
    BookError
        It is missing, damaged, locked, read-only, not a lab book, or written by a newer Edgewind.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from importlib.resources import files
    >>> bench = (files("edgewind.bench") / "template_files" / "bench.toml").read_bytes()
    >>> with TemporaryDirectory() as folder, open_book(Path(folder) / "lab.book", make=True) as book:
    ...     book.add_experiment("rotor", bench, ["time [s]", "gauge [V]", "speed [rpm]"])
    ...     first = book.record("rotor", {"time": "0", "gauge": "3.21", "speed": "12.0"})
    ...     change = book.exclude("rotor", first, "the door stood open")
    ...     print(book.contents("rotor").table())
    time [s],gauge [V],speed [rpm],exclude
    0,3.21,12.0,the door stood open
    <BLANKLINE>
    """
    address = address_of(target)
    write = write or make
    check_place(address, write=write, make=make)
    engine = engine_of(address, write=write, make=make, wait_s=wait_s)
    try:
        with as_book_errors(address.label):
            if make and address.path is not None:
                _mark(engine)
            older = _bring_up(engine, address, write=write, make=make)
    except BaseException:
        # An unfinished file is left, since another program may be creating the book in it; the next call completes it.
        engine.dispose()
        raise
    return Book(address, engine, write=write, older=older)


def _mark(engine: Engine) -> None:
    """Mark a new file as a book, unless it is another database."""
    with begin_writing(engine) as connection, connection.begin():
        if not connection.execute(text("SELECT count(*) FROM sqlite_master")).scalar():
            connection.exec_driver_sql(f"PRAGMA application_id={APPLICATION_ID}")


def _bring_up(engine: Engine, address: Address, *, write: bool, make: bool) -> bool:
    """Check that the book can be used, and upgrade it for writing; return whether it stays at an older version."""
    label = address.label
    with begin_reading(engine) as connection, connection.begin():
        if address.path is not None:
            marked = connection.exec_driver_sql("PRAGMA application_id").scalar()
            if marked != APPLICATION_ID:
                raise BookError(
                    "this is a database, and not a lab book", file=label, fix="name a file made by `edgewind import`"
                )
        elif connection.exec_driver_sql("SHOW server_encoding").scalar() != "UTF8":
            raise BookError("the database is not in UTF-8", file=label, fix="make one with: createdb -E UTF8 NAME")
        ready, version = check_version(connection, label), version_of(connection)
    if ready:
        return False
    if version is None and not make:
        raise NoBookError("there is no lab book here yet", file=label, fix="make one with `edgewind import`")
    if not write and version in _READABLE:
        return True
    if not write:
        raise older_error(str(version), label)
    with begin_writing(engine) as connection, connection.begin():
        check_version(connection, label)
        migrate(connection)
    return False


def older_error(version: str, label: str) -> BookError:
    """Return the error that requires an upgrade of a book."""
    return BookError(
        f"the book is of the older version '{version}'", file=label,
        fix="bring it up to date with `edgewind check --upgrade`",
    )  # fmt: skip
