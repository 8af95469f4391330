"""Files dropped on a page, and rows of a sheet: read immediately, checked while typed, stored with their raw files."""

from __future__ import annotations

from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from edgewind.web import reading_form
from edgewind.web.app_state import ONE, one_of, pages_of
from edgewind.web.bodies import StatedKey, TypedReading, body_of
from edgewind.web.dropped import MOST_FILE
from edgewind.web.errors import TooLargeError
from edgewind.web.new_experiment import state_key


def routes() -> list[Route]:
    """Return the routes of this file."""
    return [
        Route(f"/api/files/{ONE}", take, methods=["POST"]),
        Route("/api/files/{key}", forget, methods=["DELETE"]),
        Route(f"/api/check/{ONE}", check_typed, methods=["POST"]),
        Route(f"/api/state-key/{ONE}", state, methods=["POST"]),
    ]


async def take(request: Request) -> Response:
    """Receive a file, its bytes as the body and its name in the address, as a stream in bounded memory."""
    pages = pages_of(request)
    slug, experiment = one_of(request)
    stated = request.headers.get("content-length", "")
    if stated.isdecimal() and int(stated) > MOST_FILE:
        raise TooLargeError(
            f"The file is too large ({int(stated) / 1e6:,.0f} MB; limit {MOST_FILE / 1e6:.0f} MB)",
            fix="shorten the recording",
        )
    bench = await run_in_threadpool(pages.catalog.bench, slug, experiment)
    path = pages.dropped.place()
    try:
        with path.open("wb") as file:
            async for block in request.stream():
                await run_in_threadpool(file.write, block)
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    name = request.query_params.get("name", "")
    found = await run_in_threadpool(pages.dropped.take, path, name, bench)
    return JSONResponse({"files": [one.to_dict() for one in found]})


def forget(request: Request) -> Response:
    """Remove a dropped file."""
    pages_of(request).dropped.forget(Path(request.path_params["key"]).name)
    return JSONResponse({})


def check_typed(request: Request) -> Response:
    """Check a typed row without storing it; return its values in SI and questions about it."""
    slug, experiment = one_of(request)
    pages, body = pages_of(request), body_of(request, TypedReading)
    book = pages.catalog.book(slug)
    cells = reading_form.cells_of(reading_form.form_of(book, experiment), body.typed(), traced=bool(body.drop))
    bench = pages.catalog.bench(slug, experiment)
    feed = pages.feeds.of(slug, experiment, lambda: pages.catalog.book(slug))
    values = reading_form.values_of(bench, reading_form.form_of(book, experiment), cells)
    doubt = reading_form.doubt_about(
        values, feed.rows(), lamp=cells.get("lamp", "on"), bench=bench, typed="pressure" in cells
    )
    return JSONResponse({"values": values, "doubt": doubt[1] if doubt else "", "field": doubt[0] if doubt else None})


def state(request: Request) -> Response:
    """State a guessed key of the tachometer, as a new version of the bench with a reason."""
    slug, experiment = one_of(request)
    pages, body = pages_of(request), body_of(request, StatedKey)
    state_key(pages.catalog.book(slug, write=True), experiment, body.key, body.value)
    pages.feeds.kick(slug, experiment)
    return JSONResponse({})
