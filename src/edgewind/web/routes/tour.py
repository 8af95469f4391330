"""The tour: its invented example."""

from __future__ import annotations

import tempfile
from pathlib import Path

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from edgewind.bench import write_template
from edgewind.book import import_folder
from edgewind.web.app_state import pages_of
from edgewind.web.bodies import BookChoice
from edgewind.web.routes.books import book_to_write

EXAMPLE = "invented-example"


def routes() -> list[Route]:
    """Return the routes of this file."""
    return [Route("/api/tour", example, methods=["POST"])]


def example(request: Request) -> Response:
    """Create the invented example beside the other books, or return the existing one."""
    pages = pages_of(request)
    slug = f"{EXAMPLE}.book"
    if slug not in {one.slug for one in pages.catalog.entries(fresh=True)}:
        with (
            tempfile.TemporaryDirectory(prefix="edgewind-tour-") as holder,
            book_to_write(pages, BookChoice(new_book=slug)) as (slug, book),
        ):
            write_template(Path(holder) / EXAMPLE)
            import_folder(book, Path(holder) / EXAMPLE, made_by="the tour")
    return JSONResponse({"slug": slug, "experiment": EXAMPLE})
