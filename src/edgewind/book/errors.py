"""Errors of a book, with the place, the fault and the remedy."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from edgewind.errors import InputError


class BookError(InputError):
    """A lab book cannot be opened, read or written; acknowledged data are not affected."""


class NoBookError(BookError):
    """There is no lab book at that address."""


class LockedBookError(BookError):
    """Another program holds the book; the call can be repeated."""


class FullBookError(BookError):
    """The disk is full; nothing of the write was stored."""


class DamagedBookError(BookError):
    """The database reports damage."""


_CHECK = "keep a copy first, then list all damage with `edgewind check`"
_SQLITE: tuple[tuple[tuple[str, ...], type[BookError], str, str], ...] = (
    (
        ("SQLITE_BUSY", "SQLITE_LOCKED"),
        LockedBookError,
        "another program holds the book locked",
        "wait until it has finished, or close it, and try again; nothing was written",
    ),
    (
        ("SQLITE_FULL",),
        FullBookError,
        "the disk is full",
        "free some space and try again; this reading was not stored, all earlier ones are complete",
    ),
    (
        ("SQLITE_READONLY", "SQLITE_PERM", "SQLITE_AUTH"),
        BookError,
        "this book is read-only",
        "check the permissions of the file and of its folder; nothing was written",
    ),
    (
        ("SQLITE_CANTOPEN",),
        BookError,
        "the book cannot be opened",
        "check that the folder exists and that you may write in it",
    ),
    (("SQLITE_NOTADB",), BookError, "this is not a lab book", "name a file made by `edgewind import` or a recording"),
    (("SQLITE_CORRUPT",), DamagedBookError, "the file is damaged", _CHECK),
    (
        ("SQLITE_IOERR",),
        FullBookError,
        "the system could not write or read the file (disk full, a limit on its size, or a failing disk)",
        "free some space and try again; the interrupted write was not stored, all earlier readings are complete",
    ),
)
_POSTGRESQL: tuple[tuple[tuple[str, ...], type[BookError], str, str], ...] = (
    (
        ("55P03", "57014", "40P01", "40001"),
        LockedBookError,
        "another program holds the book locked",
        "wait until it has finished and try again; nothing was written",
    ),
    (
        ("53",),
        FullBookError,
        "the server has no space or no connection left",
        "free some and try again; this reading was not stored",
    ),
    (
        ("25006", "42501"),
        BookError,
        "this book is read-only",
        "ask the administrator of the database for write permission",
    ),
    (("28",), BookError, "the server refused the user or the password", "check user and password in the URL"),
    (("3D000",), BookError, "there is no such database", "make it first: createdb NAME"),
    (("XX001", "XX002"), DamagedBookError, "the server found damaged data", _CHECK),
)


@contextmanager
def as_book_errors(label: str) -> Iterator[None]:
    """Convert errors of the database to `BookError`s that name the book."""
    try:
        yield
    except SQLAlchemyError as error:
        raise as_book_error(error, label) from error
    except (sqlite3.Error, OSError, UnicodeError) as error:
        raise as_book_error(error, label) from error


def as_book_error(error: Exception, label: str) -> BookError:
    """Return the `BookError` for an error of the database."""
    cause = error.orig if isinstance(error, DBAPIError) and error.orig is not None else error
    said = str(cause).strip().split("\n")[0]
    if isinstance(cause, UnicodeError):
        return DamagedBookError("the database holds text that is not UTF-8", file=label, fix=_CHECK)
    if isinstance(cause, sqlite3.Error):
        name = getattr(cause, "sqlite_errorname", None) or ""
        if "database disk image is malformed" in said or "Could not decode" in said:
            name = "SQLITE_CORRUPT"
        for names, kind, problem, fix in _SQLITE:
            if name.startswith(names):
                return kind(problem, file=label, fix=fix)
        return BookError(f"the database refused ({said})", file=label, fix="nothing was written")
    state = getattr(cause, "sqlstate", None) or ""
    for names, kind, problem, fix in _POSTGRESQL:
        if state.startswith(names):
            return kind(f"{problem} ({said})", file=label, fix=fix)
    if isinstance(error, DBAPIError) and (not state or state.startswith(("08", "57P"))):
        return BookError(
            f"the server cannot be reached or has disconnected ({said})",
            file=label,
            fix="start it and record again with the same key: a reading that is already stored is not stored twice",
        )
    if isinstance(cause, OSError):
        return BookError(f"cannot be written or read: {cause.strerror or cause}", file=label)
    return BookError(f"the database refused ({said})", file=label, fix="nothing was written")
