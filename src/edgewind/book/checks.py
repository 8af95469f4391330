"""Validation of input of a lab book: names, paths, titles, cells and descriptions of the apparatus."""

from __future__ import annotations

import os
import posixpath
import re

from edgewind.bench import parse_bench
from edgewind.book.connect import Address
from edgewind.book.errors import BookError, NoBookError, as_book_errors
from edgewind.book.sheet import Sheet, put_together, row_of
from edgewind.errors import InputError
from edgewind.signals import parse_readings

# Paths of an experiment folder that are made from other rows and are no stored files.
HISTORY = "history/changes.csv"
_RESERVED = re.compile(r"(bench\.toml|readings\.csv|history/changes\.csv|history/bench-\d+\.toml)(/.*)?|history")
_MOST_CELL = 50_000
_EFFECTIVE = os.access in os.supports_effective_ids


def read_bench_bytes(content: bytes, file: str) -> None:
    """Check that a `bench.toml` can be read."""
    try:
        parse_bench(content.decode("utf-8-sig"), file=file)
    except UnicodeDecodeError as error:
        raise InputError(f"byte {error.start + 1} is not UTF-8 text", file=file, fix="save it as UTF-8") from error


def check_path(path: str, label: str) -> None:
    """Refuse a path that is invalid in an experiment folder, or would replace its own files."""
    parts = path.split("/")
    wrong = (
        not path
        or path.startswith("/")
        or posixpath.normpath(path) != path
        or parts[0] in ("..", ".")
        or any(not part or len(part.encode(errors="replace")) > 255 for part in parts)
        or any(ord(character) < 32 or 0xD800 <= ord(character) < 0xE000 for character in path)
    )
    if wrong:
        raise BookError(f"'{path[:80]}' is not a path in a folder", file=label, fix="write traces/007.csv")
    if _RESERVED.fullmatch(path):
        raise BookError(f"'{path}' is a name that Edgewind writes itself", file=label, fix="write traces/007.csv")


def check_name(name: str, label: str) -> None:
    """Refuse an invalid name of an experiment or its folder."""
    if not name or name != name.strip() or name.startswith(".") or "/" in name or not name.isprintable():
        raise BookError(f"'{name[:80]}' is not a name for an experiment", file=label, fix="write one like 'vane-12mm'")
    if len(name.encode(errors="replace")) > 200:
        raise BookError(f"'{name[:40]}…' is too long a name", file=label, fix="use 200 characters at most")


def check_titles(sheet: Sheet, label: str) -> None:
    """Check that a table under these titles can be read."""
    cells = {name: "0" for name in sheet.names if name in ("gauge", "trace", "speed")}
    if "gauge" not in cells and "pressure" in sheet.names:
        cells["pressure"] = "1"
    if "trace" in cells:
        cells.pop("speed", None)
    parse_readings(put_together(sheet, [(row_of(sheet, cells), {})]), file=label)


def clean(title: str, cell: str) -> str:
    """Return the stripped text of a cell, or refuse it."""
    if not isinstance(cell, str):
        raise InputError(f"{cell!r} is not text", column=title, fix="give cells as they should be written")
    bad = next((c for c in cell if c == "\x00" or 0xD800 <= ord(c) < 0xE000), None)
    if bad is not None or len(cell) > _MOST_CELL:
        raise InputError(
            "the text of the cell contains NUL or invalid Unicode, or is too long",
            column=title,
            fix=f"write at most {_MOST_CELL} characters of plain text",
        )
    return cell.strip()


def check_place(address: Address, *, write: bool, make: bool) -> None:
    """Check that a book can be at an address, as a file.

    Raises
    ------
    BookError
        It is missing, read-only or a folder, or its folder does not exist.
    """
    if address.path is None:
        return
    with as_book_errors(address.label):
        if address.path.is_dir():
            raise BookError("this is a folder", file=address.label, fix="name the file of a lab book")
        if not address.path.exists() and not make:
            raise NoBookError("there is no such book", file=address.label, fix="make one with `edgewind import`")
        # SQLite would open it read-only without an error, and refuse only the first reading
        if write and address.path.exists() and not os.access(address.path, os.W_OK, effective_ids=_EFFECTIVE):
            raise BookError("this book is read-only", file=address.label, fix="check the permissions of the file")
        if make and not address.path.parent.is_dir():
            raise BookError("its parent folder does not exist", file=address.label, fix="make it first")
