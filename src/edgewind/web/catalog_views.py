"""Lists of the catalog and of an experiment for the pages."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from edgewind.bench import BENCH_FILE, parse_bench, read_bench
from edgewind.book import BookSource, changes_of, marks, read_part
from edgewind.errors import InputError
from edgewind.web.catalog import NONE_AFTER, Catalog, CatalogEntry
from edgewind.web.errors import FieldError, NotFoundError
from edgewind.web.reading_form import form_of
from edgewind.web.views import bench_view


def catalog_listing(catalog: Catalog) -> list[dict[str, Any]]:
    """Return every entry with its experiments, or the reason why it cannot be opened."""
    return [_place(catalog, place) for place in catalog.entries(fresh=True)]


def _place(catalog: Catalog, place: CatalogEntry) -> dict[str, Any]:
    view: dict[str, Any] = {
        "slug": place.slug, "kind": place.kind, "name": place.name, "problem": "", "experiments": [],
    }  # fmt: skip
    try:
        if place.kind == "folder":
            bench = read_bench(Path(place.target) / BENCH_FILE)
            name = Path(place.target).resolve().name
            view["experiments"] = [{"name": name, "title": bench.experiment.title, "readings": None, "last": None}]
        else:
            book = catalog.book(place.slug)
            view["experiments"] = [
                _experiment(BookSource(book, name), name, found.readings) for name, found in marks(book).items()
            ]
    except InputError as error:
        view["problem"] = str(error)
    return view


def _experiment(source: BookSource, name: str, count: int) -> dict[str, Any]:
    last = read_part(source.book, name, after=max(count - 1, 0))
    bench = parse_bench(last.source.contents.bench.decode("utf-8-sig"))
    return {
        "name": name,
        "title": bench.experiment.title,
        "readings": count,
        "last": last.made_at[-1] if last.made_at else None,
    }


def experiment_page(catalog: Catalog, slug: str, experiment: str) -> dict[str, Any]:
    """Return the initial data of the pages about one experiment.

    Raises
    ------
    NotFoundError
        There is no such experiment.
    """
    place = catalog.entry(slug)
    others = [
        {"slug": one.slug, "experiment": found["name"]}
        for one in catalog.entries(fresh=True)
        for found in _place(catalog, one)["experiments"]
        if (one.slug, found["name"]) != (slug, experiment)
    ]
    view: dict[str, Any] = {"slug": slug, "kind": place.kind, "place": place.name, "experiment": experiment}
    view |= {"others": others}
    if place.kind == "folder":
        source = catalog.source(slug, experiment)
        return view | {
            "bench": bench_view(source.bench()), "form": None, "changes": [], "bench_text": "", "readings": None,
        }  # fmt: skip
    book = catalog.book(slug)
    if experiment not in book.experiments():
        raise NotFoundError(f"'{place.name}' holds no experiment '{experiment[:80]}'")
    part = read_part(book, experiment, after=NONE_AFTER)
    text = part.source.contents.bench.decode("utf-8-sig")
    return view | {
        "bench": bench_view(parse_bench(text)),
        "bench_text": text,
        "readings": marks(book)[experiment].readings,
        "form": form_of(book, experiment).model_dump(),
        "changes": [
            {"number": one.number, "reading": one.reading, "cell": one.cell, "before": one.before, "after": one.after,
             "why": one.why, "made_at": one.made_at, "made_by": one.made_by}
            for one in changes_of(book, experiment)
        ],
    }  # fmt: skip


def unused_name(catalog: Catalog, name: str) -> Path:
    """Return the path of a new book of that name.

    Raises
    ------
    FieldError
        There is no folder for it, or the name is invalid or taken.
    """
    folder = catalog.folder
    if folder is None:
        raise FieldError("new_book", "these pages were opened for one book only", fix="choose that book")
    name = name if name.endswith(".book") or not name else f"{name}.book"
    plain = name and not name.startswith(".") and name == Path(name).name and name.isprintable()
    if not plain or any(sign in name for sign in '/\\:*?"<>|~') or len(name.encode()) > 120:
        raise FieldError("new_book", f"'{name[:60]}' is not a name for a book", fix="write one like lab.book")
    if (folder / name).exists():
        raise FieldError("new_book", f"'{name}' already exists", fix="choose it, or write another name")
    return folder / name
