"""The books: experiments begun, folders imported, experiments exported."""

from __future__ import annotations

import contextlib
import secrets
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

from starlette.background import BackgroundTask
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from edgewind.bench.form import write_units
from edgewind.book import Book, export_folder, import_folder, open_book
from edgewind.errors import InputError
from edgewind.web.app_state import ONE, Pages, one_of, pages_of
from edgewind.web.bodies import BookChoice, Import, NewExperiment, body_of
from edgewind.web.catalog_views import catalog_listing, unused_name
from edgewind.web.errors import FieldError
from edgewind.web.jobs import zip_folder
from edgewind.web.new_experiment import titles_for, with_title


def routes() -> list[Route]:
    """Return the routes of this file."""
    return [
        Route("/api/catalog", listing),
        Route("/api/experiments", begin, methods=["POST"]),
        Route("/api/take-in", take_in, methods=["POST"]),
        Route(f"/export/{ONE}.zip", export),
    ]


def listing(request: Request) -> Response:
    """Return every book and folder, with its experiments."""
    return JSONResponse({"places": catalog_listing(pages_of(request).catalog)})


def begin(request: Request) -> Response:
    """Begin an experiment; a refused form leaves nothing behind, not even a new book."""
    pages, body = pages_of(request), body_of(request, NewExperiment)
    if not body.bench.strip():
        raise FieldError("bench", "The bench is not described", fix="fill in the template")
    titles = titles_for(body.bench, body.pressure_unit, body.speed_unit)
    text = write_units(with_title(body.bench, body.name), body.pressure_unit, body.speed_unit)
    with book_to_write(pages, body) as (slug, book):
        try:
            book.add_experiment(body.name, text.encode(), titles, made_by="at the pages")
        except InputError as error:
            field = "bench" if error.line or error.key else "name"
            raise FieldError(field, error.problem, fix=error.fix, line=error.line) from error
    return JSONResponse({"slug": slug, "experiment": body.name})


def take_in(request: Request) -> Response:
    """Import a folder into a book; the folder is unchanged."""
    pages, body = pages_of(request), body_of(request, Import)
    entry = pages.catalog.entry(body.folder)
    if entry.kind != "folder":
        raise InputError(f"'{entry.name}' is already a book", fix="choose a folder")
    with book_to_write(pages, body) as (slug, book):
        done = import_folder(book, entry.target, body.name or None, made_by="at the pages")
    left_out = [{"path": path, "why": why} for path, why in done.left_out]
    return JSONResponse({"slug": slug, "experiment": done.experiment, "readings": done.readings, "left_out": left_out})


def export(request: Request) -> Response:
    """Return an experiment of a book as a folder, in a ZIP."""
    slug, experiment = one_of(request)
    book = pages_of(request).catalog.book(slug)
    holder: Any = tempfile.TemporaryDirectory(prefix="edgewind-export-", ignore_cleanup_errors=True)
    try:
        # Names of experiments are validated at creation: none contains a slash or begins with a point.
        folder = export_folder(book, experiment, Path(holder.name) / "folder")
        made = zip_folder(folder, Path(holder.name) / "folder.zip")
    except BaseException:
        holder.cleanup()
        raise
    name = f"attachment; filename*=UTF-8''{quote(experiment)}.zip"
    return FileResponse(
        made, media_type="application/zip", headers={"content-disposition": name},
        background=BackgroundTask(holder.cleanup),
    )  # fmt: skip


@contextlib.contextmanager
def book_to_write(pages: Pages, body: BookChoice) -> Iterator[tuple[str, Book]]:
    """Yield the book that a form names, open for writing. A new one is written under a temporary name and renamed on
    success: a refused form leaves nothing behind.
    """
    if body.book:
        yield body.book, pages.catalog.book(body.book, write=True)
        return
    path = unused_name(pages.catalog, body.new_book)
    draft = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
    try:
        with open_book(draft, make=True) as book:
            yield path.name, book
        unused_name(pages.catalog, body.new_book)
        draft.rename(path)
    finally:
        for left in path.parent.glob(draft.name + "*"):
            left.unlink()
    pages.catalog.entries(fresh=True)
