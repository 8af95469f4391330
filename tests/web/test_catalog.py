"""The catalog: entries are looked up among those found, and unreadable ones show the reason."""

from pathlib import Path

import pytest

from edgewind.book import open_book
from edgewind.errors import InputError
from edgewind.web import make_app, serve
from edgewind.web.catalog import Catalog
from edgewind.web.catalog_views import catalog_listing
from edgewind.web.errors import NotFoundError


@pytest.fixture
def root(tmp_path: Path, bench_text: str) -> Path:
    root = tmp_path / "lab"
    (root / "deep").mkdir(parents=True)
    (root / "rotor").mkdir()
    (root / "rotor" / "bench.toml").write_text(bench_text, encoding="utf-8")
    (root / "broken").mkdir()
    (root / "broken" / "bench.toml").write_text("[gas", encoding="utf-8")
    for path in (root / "lab.book", root / "deep" / "other.book"):
        with open_book(path, make=True) as book:
            book.add_experiment("typed", bench_text.encode(), ["time", "gauge [V]", "speed [rpm]"])
    (root / "notes.txt").write_text("no book")
    (root / ".hidden.book").write_bytes((root / "lab.book").read_bytes())
    outside = tmp_path / "outside.book"
    open_book(outside, make=True).close()
    (root / "link.book").symlink_to(outside)
    return root


def test_only_books_and_folders_are_found(root: Path) -> None:
    catalog = Catalog(root)
    assert [(place.kind, place.slug) for place in catalog.entries()] == [
        ("book", "deep~other.book"), ("book", "lab.book"), ("folder", "broken"), ("folder", "rotor"),
    ]  # fmt: skip
    told = {place["slug"]: place for place in catalog_listing(catalog)}
    assert "bench.toml" in told["broken"]["problem"]
    assert told["lab.book"]["experiments"][0]["name"] == "typed"
    assert told["rotor"]["experiments"][0]["title"] == "Invented"
    catalog.close()


@pytest.mark.parametrize(
    "slug", ["link.book", ".hidden.book", "../outside.book", "notes.txt", "", "/etc", "deep/other.book"]
)
def test_names_are_never_paths(root: Path, slug: str) -> None:
    catalog = Catalog(root)
    with pytest.raises(NotFoundError):
        catalog.book(slug)
    with pytest.raises(NotFoundError):
        catalog.source("rotor", "../lab")
    catalog.close()


def test_a_file_that_replaces_a_book_is_opened_again(root: Path, bench_text: str) -> None:
    catalog = Catalog(root)
    assert catalog.book("lab.book").experiments() == ["typed"]
    assert catalog.book("lab.book") is catalog.book("lab.book")
    new = root / "new.book"
    with open_book(new, make=True) as book:
        book.add_experiment("another", bench_text.encode(), ["time", "gauge [V]", "speed [rpm]"])
    new.replace(root / "lab.book")
    assert catalog.book("lab.book").experiments() == ["another"]
    catalog.close()


def test_the_catalog_may_be_limited_to_one_book(root: Path) -> None:
    catalog = Catalog(root / "lab.book")
    assert [place.slug for place in catalog.entries()] == ["lab.book"]
    assert catalog.folder is None
    catalog.close()


def test_paths_that_cannot_be_served_are_refused(root: Path) -> None:
    with pytest.raises(InputError, match="this path does not exist"):
        make_app(root / "missing")
    with pytest.raises(InputError, match="neither"):
        make_app(root / "notes.txt")
    with pytest.raises(InputError, match="not an address"):
        serve(root, host="no.such.host.invalid", port=0)
    import socket

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(InputError, match="Cannot listen"):
            serve(root, port=taken.getsockname()[1])
