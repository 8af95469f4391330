"""Readings of an experiment: listed, typed, excluded, corrected, followed."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Mapping

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from edgewind.book import TraceFile, read_part
from edgewind.errors import EdgewindError, InputError
from edgewind.units import parse_measured
from edgewind.web import reading_form
from edgewind.web.app_state import ONE, Pages, one_of, pages_of
from edgewind.web.bodies import CellCorrection, Exclusion, TypedReading, body_of
from edgewind.web.dropped import book_path
from edgewind.web.errors import DoubtError, FieldError, NotFoundError
from edgewind.web.live_updates import Subscriber
from edgewind.web.next_pressure import next_pressure
from edgewind.web.views import bench_view, source_views, trace_picture

# Interval of keep-alive messages to a page, s.
_ALIVE_S = 2.0


def routes() -> list[Route | WebSocketRoute]:
    """Return the routes of this file."""
    return [
        Route(f"/api/readings/{ONE}", readings),
        Route(f"/api/readings/{ONE}", store_typed, methods=["POST"]),
        Route(f"/api/exclude/{ONE}", exclude, methods=["POST"]),
        Route(f"/api/correct/{ONE}", correct, methods=["POST"]),
        Route(f"/api/trace/{ONE}/{{number:int}}", trace_paths),
        Route(f"/api/next/{ONE}", choose_next),
        WebSocketRoute(f"/live/{ONE}", live),
    ]


def readings(request: Request) -> Response:
    """Return every reading, and the bench."""
    source = pages_of(request).catalog.source(*one_of(request))
    return JSONResponse({"bench": bench_view(source.bench()), "rows": source_views(source)})


def store_typed(request: Request) -> Response:
    """Store a typed reading, once for each key."""
    slug, experiment = one_of(request)
    pages, body = pages_of(request), body_of(request, TypedReading)
    if not body.key:
        raise InputError("The entry has no key", fix="use the pages")
    book = pages.catalog.book(slug, write=True)
    typed = body.typed()
    if not body.sure and book.find_by_key(experiment, f"typed {body.key}") is None:
        _ask_about(pages, slug, experiment, typed, traced=bool(body.drop))
    trace = None
    if body.drop:
        dropped = pages.dropped.get(body.drop)
        assert dropped.path is not None
        trace = TraceFile(book_path(dropped.name, dropped.path), dropped.path)
    made_by = "dropped on the page" if body.drop else "typed at the bench"
    number = reading_form.store_typed(book, experiment, typed, key=f"typed {body.key}", made_by=made_by, trace=trace)
    if body.drop:
        pages.dropped.forget(body.drop)
    pages.feeds.kick(slug, experiment)
    return JSONResponse({"reading": number})


def _ask_about(pages: Pages, slug: str, experiment: str, typed: Mapping[str, str], *, traced: bool) -> None:
    """Refuse a likely mistake once; with a confirmation, it is stored."""
    form = reading_form.form_of(pages.catalog.book(slug), experiment)
    cells = reading_form.cells_of(form, typed, traced=traced)
    bench = pages.catalog.bench(slug, experiment)
    values = reading_form.values_of(bench, form, cells)
    rows = pages.feeds.of(slug, experiment, lambda: pages.catalog.book(slug)).rows()
    doubt = reading_form.doubt_about(values, rows, lamp=cells.get("lamp", "on"), bench=bench, typed="pressure" in cells)
    if doubt is not None:
        raise DoubtError(doubt[0], doubt[1].rstrip("."), fix="store it again if it is right")


def exclude(request: Request) -> Response:
    """Exclude a reading, or use it again; each is a further row of the book."""
    slug, experiment = one_of(request)
    pages, body = pages_of(request), body_of(request, Exclusion)
    why = body.reason()
    book = pages.catalog.book(slug, write=True)
    already = reading_form.excluded(book, experiment, body.reading)
    if body.undo and not already:
        raise InputError(f"Reading {body.reading} is not excluded", fix="it may already have been restored")
    if not body.undo and already:
        raise InputError(f"Reading {body.reading} is already excluded: {already}", fix="restore it first")
    (book.reinstate if body.undo else book.exclude)(experiment, body.reading, why, made_by="at the pages")
    pages.feeds.kick(slug, experiment)
    return JSONResponse({"reading": body.reading})


def correct(request: Request) -> Response:
    """Correct a cell of a reading; the earlier value stays in the book."""
    slug, experiment = one_of(request)
    pages, body = pages_of(request), body_of(request, CellCorrection)
    why = body.reason()
    try:
        pages.catalog.book(slug, write=True).correct(
            experiment, body.reading, body.cell, body.value, why, made_by="at the pages"
        )
    except InputError as error:
        if error.column is None:
            raise
        raise FieldError("value", error.problem, fix=error.fix) from error
    pages.feeds.kick(slug, experiment)
    return JSONResponse({"reading": body.reading})


def trace_paths(request: Request) -> Response:
    """Return the trace of one reading, as paths to draw."""
    slug, experiment = one_of(request)
    number = request.path_params["number"]
    part = read_part(pages_of(request).catalog.book(slug), experiment, after=number - 1, most=1)
    if not part.numbers:
        raise NotFoundError(f"There is no reading {number}")
    return JSONResponse(trace_picture(part))


def choose_next(request: Request) -> Response:
    """Return the pressure to measure next, and why."""
    slug, experiment = one_of(request)
    pages = pages_of(request)
    bench = pages.catalog.bench(slug, experiment)
    feed = pages.feeds.of(slug, experiment, lambda: pages.catalog.book(slug))
    typed = request.query_params.get("lowest", "").strip()[:40]
    try:
        lowest = parse_measured(typed, "pressure").value if typed else None
        if lowest is not None and not lowest > 0:
            raise InputError(f"'{typed}' is not above zero", fix="type the lowest pressure that the pump reaches")
    except InputError as error:
        raise FieldError("lowest", error.problem, fix=error.fix) from error
    return JSONResponse(next_pressure(bench, feed.rows(), lowest))


async def live(socket: WebSocket) -> None:
    """Send new rows, and the state of the sweep."""
    slug, experiment = one_of(socket)
    pages = pages_of(socket)
    try:
        book = await run_in_threadpool(pages.catalog.book, slug)
        if experiment not in await run_in_threadpool(book.experiments):
            raise NotFoundError(f"the book holds no experiment '{experiment[:80]}'")
    except EdgewindError as error:
        await socket.accept()
        await socket.send_text(json.dumps({"kind": "missing", "text": str(error)}))
        await socket.close(4404)
        return
    await socket.accept()
    feed = pages.feeds.of(slug, experiment, lambda: pages.catalog.book(slug))
    subscriber = Subscriber(asyncio.get_running_loop())
    revision = socket.query_params.get("revision", "0")
    feed.add(subscriber, run=socket.query_params.get("run", ""), revision=int(revision) if revision.isdecimal() else 0)
    sweep = await run_in_threadpool(pages.sweeps.of, slug, experiment)
    for message in sweep.hello() if sweep is not None else ():
        subscriber.put(message)
    closing = asyncio.create_task(_until_closed(socket, subscriber))
    try:
        while (text := await subscriber.next(_ALIVE_S)) is not None:
            await socket.send_text(text or '{"kind": "alive"}')
        await socket.close(1012)
    except (WebSocketDisconnect, RuntimeError, OSError):
        pass
    finally:
        closing.cancel()
        feed.remove(subscriber)


async def _until_closed(socket: WebSocket, subscriber: Subscriber) -> None:
    """Notice when a page disconnects; pages send nothing here."""
    try:
        while True:
            await socket.receive_text()
    except (WebSocketDisconnect, RuntimeError, KeyError):
        subscriber.put(None)
