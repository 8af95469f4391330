"""An experiment of a lab book as a source of a study, like a folder."""

from __future__ import annotations

import hashlib
import posixpath
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cached_property
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from edgewind.bench import BENCH_FILE, Bench, parse_bench
from edgewind.book.book import Book
from edgewind.book.contents import Contents
from edgewind.errors import InputError
from edgewind.signals import READINGS_FILE, STOPWATCH_U_S, InputFile, parse_readings
from edgewind.signals.table import decode_table

if TYPE_CHECKING:
    import pandas as pd


class BookSource:
    """One experiment of an open book: see :class:`edgewind.signals.ExperimentSource`.

    It is a snapshot of the book at the first access; later readings are not in it.
    """

    def __init__(self, book: Book, experiment: str, contents: Contents | None = None) -> None:
        self.book, self.name, self._given = book, experiment, contents

    @cached_property
    def contents(self) -> Contents:
        """The rows of the experiment."""
        return self.book.contents(self.name) if self._given is None else self._given

    @cached_property
    def _table(self) -> bytes:
        return self.contents.table().encode()

    @property
    def place(self) -> Path:
        """The book."""
        return Path(self.book.label)

    def label(self, relative: str) -> str:
        """Return the book, the experiment and the file as in a folder."""
        return f"{self.book.label} ({self.name}): {relative}"

    def bench(self) -> Bench:
        """Return the apparatus."""
        return parse_bench(self.contents.bench.decode("utf-8-sig"), file=self.label(BENCH_FILE))

    def readings(self, stopwatch_u_s: float = STOPWATCH_U_S) -> pd.DataFrame:
        """Return the table of readings with every change applied."""
        if not self.contents.readings:
            raise InputError("it holds no reading yet", file=self.label(READINGS_FILE), fix="record some first")
        return parse_readings(decode_table(self._table), file=self.label(READINGS_FILE), stopwatch_u_s=stopwatch_u_s)

    def path_of(self, trace: str, line: int) -> str:
        """Return the path of the stored file of a reading."""
        known = self.contents.traces_now().get(trace)
        path = posixpath.normpath(trace) if known is None else known
        if path.startswith(("/", "../")) or path == "..":
            raise InputError(
                f"'{trace}' lies outside the experiment", file=self.label(READINGS_FILE), line=line, column="trace"
            )
        return path

    def require(self, relative: str, trace: str, line: int) -> None:
        """Check that the file is stored."""
        if relative not in self._sizes:
            raise InputError(
                f"there is no file '{trace}' in the book", file=self.label(READINGS_FILE), line=line, column="trace"
            )

    @cached_property
    def _sizes(self) -> dict[str, InputFile]:
        ours = {BENCH_FILE: self.contents.bench, READINGS_FILE: self._table}
        files = {kept.path: InputFile(kept.path, kept.sha256, kept.size) for kept in self.contents.files}
        return files | {
            path: InputFile(path, hashlib.sha256(data).hexdigest(), len(data)) for path, data in ours.items()
        }

    def input_file(self, relative: str) -> InputFile:
        """Return the size and SHA-256 of a file."""
        return self._sizes[relative]

    @contextmanager
    def opened(self, relative: str) -> Iterator[Path]:
        """Return a temporary copy of the file."""
        with tempfile.TemporaryDirectory(prefix="edgewind-") as folder:
            path = Path(folder) / PurePosixPath(relative).name
            with path.open("wb") as stream:
                self.book.copy_file(self.name, relative, stream)
            yield path


def sources(book: Book) -> list[BookSource]:
    """Return every experiment of a book, by name."""
    return [BookSource(book, name) for name in book.experiments()]
