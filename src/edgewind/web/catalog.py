"""Catalog of the lab books and experiment folders in the folder that the pages serve."""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Literal

from edgewind.bench import BENCH_FILE, Bench, parse_bench
from edgewind.book import Book, BookError, BookSource, is_book, open_book, read_part
from edgewind.errors import InputError
from edgewind.signals import ExperimentSource, FolderSource
from edgewind.web.errors import NotFoundError

_MOST_ENTRIES = 500
_RESCAN_S = 1.0
NONE_AFTER = 2**31 - 1  # a part of a book after this reading contains its bench and its table, but no reading


@dataclass(frozen=True)
class CatalogEntry:
    """A lab book or an experiment folder.

    Attributes
    ----------
    slug : str
        Its name in addresses. It is only looked up among the entries found, never joined to a path.
    kind : {"book", "folder"}
        What it is.
    target : str or Path
        Where it is.
    """

    slug: str
    kind: Literal["book", "folder"]
    target: str | Path

    @property
    def name(self) -> str:
        """Its name for display."""
        return self.slug.replace("~", "/")


class Catalog:
    """The lab books and experiment folders that may be shown, each opened once; safe between threads.

    Parameters
    ----------
    root : path or str
        A folder, a lab book, or the URL of one.

    Raises
    ------
    InputError
        The path does not exist.
    """

    def __init__(self, root: str | Path) -> None:
        self._by_url = isinstance(root, str) and "://" in root
        self.root: str | Path = str(root) if self._by_url else Path(root)
        if not self._by_url and not Path(root).exists():
            raise InputError("this path does not exist", file=root, fix="name a folder or a lab book")
        if not self._by_url and not Path(root).is_dir() and not is_book(root):
            raise InputError("this is neither a folder nor a lab book", file=root, fix="name a folder or a lab book")
        self._lock = threading.RLock()
        self._found: tuple[float, dict[str, CatalogEntry]] = (-_RESCAN_S, {})
        self._open: dict[tuple[str, bool], tuple[Book, tuple[int, int]]] = {}

    @property
    def folder(self) -> Path | None:
        """The folder of new books; None if a single book was named."""
        return self.root if isinstance(self.root, Path) and self.root.is_dir() else None

    def entries(self, *, fresh: bool = False) -> list[CatalogEntry]:
        """Return everything in the catalog, books first, by name."""
        with self._lock:
            seen_at, found = self._found
            if fresh or time.monotonic() - seen_at > _RESCAN_S:
                found = {place.slug: place for place in self._scan()}
                self._found = (time.monotonic(), found)
            return list(found.values())

    def _scan(self) -> Iterator[CatalogEntry]:
        if not isinstance(self.root, Path):
            yield CatalogEntry(self.root.rpartition("/")[2].partition("?")[0] or "book", "book", self.root)
            return
        if self.root.is_file():
            yield CatalogEntry(self.root.name, "book", self.root)
            return
        found: list[tuple[str, str, Path]] = []
        if (self.root / BENCH_FILE).is_file():
            found.append(("folder", self.root.resolve().name, self.root))
        for entry in _children(self.root):
            if entry.is_dir():
                if (entry / BENCH_FILE).is_file():
                    found.append(("folder", entry.name, entry))
                found += [
                    ("folder" if inner.is_dir() else "book", f"{entry.name}~{inner.name}", inner)
                    for inner in _children(entry)
                    if (inner / BENCH_FILE).is_file() or is_book(inner)
                ]
            elif is_book(entry):
                found.append(("book", entry.name, entry))
        for kind, slug, target in sorted(found)[:_MOST_ENTRIES]:
            yield CatalogEntry(slug, "book" if kind == "book" else "folder", target)

    def entry(self, slug: str) -> CatalogEntry:
        """Return the entry of a name.

        Raises
        ------
        NotFoundError
            There is none.
        """
        for fresh in (False, True):
            for place in self.entries(fresh=fresh):
                if place.slug == slug:
                    return place
        raise NotFoundError(f"nothing called '{slug[:80]}' is in the catalog", fix="choose from the books page")

    def book(self, slug: str, *, write: bool = False) -> Book:
        """Return an open book; it stays open for later requests.

        Raises
        ------
        NotFoundError
            No such book.
        BookError
            It cannot be opened.
        """
        place = self.entry(slug)
        if place.kind != "book":
            raise NotFoundError(f"'{place.name}' is a folder, not a lab book", fix="import it into a book first")
        mark = _identity(place.target)
        with self._lock:
            kept = self._open.get((slug, write))
            if kept is not None and kept[1] == mark:
                return kept[0]
            if kept is not None:
                kept[0].close()
            opened = open_book(place.target, write=write)
            self._open[slug, write] = (opened, mark)
            return opened

    def slug_of(self, experiment: str, identity: str) -> str | None:
        """Return the book with an experiment of that name and identity; None if it is not in the catalog."""
        mark = identity.rpartition(" ")[0]
        for place in self.entries(fresh=True):
            ours = place.kind == "book"
            if isinstance(place.target, Path):  # that of a file needs no opening
                ours = ours and mark == "file {}:{}".format(*_identity(place.target))
            if ours:
                with contextlib.suppress(BookError):
                    if self.book(place.slug).identity(experiment) == identity:
                        return place.slug
        return None

    def source(self, slug: str, experiment: str) -> ExperimentSource:
        """Return an experiment as input of a study."""
        place = self.entry(slug)
        if place.kind == "folder":
            source = FolderSource(Path(place.target))
            if source.name != experiment:
                raise NotFoundError(f"'{place.name}' holds no experiment '{experiment[:80]}'")
            return source
        return BookSource(self.book(slug), experiment)

    def bench(self, slug: str, experiment: str) -> Bench:
        """Return the present bench of an experiment, without its readings."""
        place = self.entry(slug)
        if place.kind == "folder":
            return self.source(slug, experiment).bench()
        part = read_part(self.book(slug), experiment, after=NONE_AFTER)
        return _parsed(part.source.contents.bench.decode("utf-8-sig"), f"{place.name} ({experiment}): {BENCH_FILE}")

    def close(self) -> None:
        """Close every book."""
        with self._lock:
            for book, _ in self._open.values():
                book.close()
            self._open.clear()


@lru_cache(maxsize=64)
def _parsed(text: str, file: str) -> Bench:
    """Read a `bench.toml` once; a slider needs the same many times a second."""
    return parse_bench(text, file=file)


def _children(folder: Path) -> list[Path]:
    """Return the contents of a folder, without hidden files and links out of it; empty if it cannot be read."""
    try:
        inside = sorted(entry for entry in folder.iterdir() if not entry.name.startswith("."))
        root = folder.resolve()
        return [entry for entry in inside if not entry.is_symlink() or entry.resolve().is_relative_to(root)]
    except OSError:
        return []


def _identity(target: str | Path) -> tuple[int, int]:
    """Return the identity of the file of a book, which changes when another file replaces it."""
    if not isinstance(target, Path):
        return (0, 0)
    try:
        found = target.stat()
    except OSError:
        return (-1, -1)
    return (found.st_dev, found.st_ino)
