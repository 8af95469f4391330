"""The pages: routes, and nothing that is not a route."""

from __future__ import annotations

import asyncio
import contextlib
import json
import tempfile
import threading
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

from starlette.applications import Starlette
from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Mount, Route, WebSocketRoute
from starlette.types import ExceptionHandler
from starlette.websockets import WebSocket, WebSocketDisconnect

from edgewind.book import Book, LockedBookError, export_folder, import_folder, open_book, read_part
from edgewind.errors import EdgewindError, InputError
from edgewind.web import page, reading_form, whatif
from edgewind.web.app_state import Pages, body_of, one_of, pages_of, text_of
from edgewind.web.catalog import NotHereError
from edgewind.web.catalog_views import catalog_listing, experiment_page, unused_name
from edgewind.web.gas_pictures import choices
from edgewind.web.job_routes import MOST_SUBJECTS, rotor_of, work_routes
from edgewind.web.jobs import zip_folder
from edgewind.web.live_updates import Subscriber
from edgewind.web.new_experiment import template_bench, titles_for
from edgewind.web.next_pressure import next_pressure
from edgewind.web.security import AccessPolicy, Guard, TooLargeError
from edgewind.web.sweeps import request_of
from edgewind.web.views import bench_view, source_views, trace_picture

_ALIVE_S = 2.0


def make_app(root: str | Path, door: AccessPolicy | None = None) -> Starlette:
    """Return the pages as an application for a server.

    Parameters
    ----------
    root : path or str
        Folder with lab books and experiment folders, or one lab book, as file or URL.
    door : AccessPolicy, optional
        Who is let in; only this machine where absent.

    Raises
    ------
    InputError
        There is nothing at `root`.
    """
    pages = Pages(root)

    @contextlib.asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        threading.Thread(target=_warm, name="warm up", daemon=True).start()
        yield
        await run_in_threadpool(pages.close)

    handlers: dict[Any, ExceptionHandler] = {
        EdgewindError: _refused,
        TooLargeError: _too_large,
        HTTPException: _plain_error,
        Exception: _broken,
    }
    app = Starlette(
        routes=_routes(),
        lifespan=lifespan,
        middleware=[Middleware(Guard, door=door or AccessPolicy())],
        exception_handlers=handlers,
    )
    app.state.pages = pages
    return app


def _warm() -> None:
    """Compile and load what a first look at the question would wait for."""
    from edgewind.bench import parse_bench

    with contextlib.suppress(EdgewindError):
        whatif.what_if(parse_bench(template_bench()), {})


def _routes() -> list[Route | WebSocketRoute | Mount]:
    one = "{slug}/{experiment}"
    return [
        Route("/", _home),
        Route("/books", _books_page),
        Route(f"/books/{one}", _experiment_page),
        Route("/bench", _bench_chooser),
        Route(f"/bench/{one}", _bench_page),
        Route("/question", _question_chooser),
        Route(f"/question/{one}", _question_page),
        Route("/gas", _gas_page),
        Route("/static/{path:path}", page.static),
        Route("/api/catalog", _catalog),
        Route(f"/api/readings/{one}", _readings),
        Route(f"/api/readings/{one}", _store, methods=["POST"]),
        Route(f"/api/exclude/{one}", _exclude, methods=["POST"]),
        Route(f"/api/correct/{one}", _correct, methods=["POST"]),
        Route(f"/api/trace/{one}/{{number:int}}", _trace),
        Route(f"/api/next/{one}", _next),
        Route(f"/api/what-if/{one}", _what_if),
        Route("/api/experiments", _new_experiment, methods=["POST"]),
        Route("/api/take-in", _take_in, methods=["POST"]),
        Route("/api/gas", _gas_state),
        Route("/api/gas/picture", _gas_picture),
        Route("/gas/still", _gas_still),
        Route("/api/sweeps", _prepare_sweep, methods=["POST"]),
        Route("/api/sweeps/{sweep}/{command}", _command_sweep, methods=["POST"]),
        *work_routes(),
        Route(f"/export/{one}.zip", _export),
        WebSocketRoute(f"/live/{one}", _live),
    ]


# Errors


async def _refused(request: Request, error: Exception) -> Response:
    status = 404 if isinstance(error, NotHereError) else 503 if isinstance(error, LockedBookError) else 400
    problem, fix = (error.problem, error.fix) if isinstance(error, InputError) else (str(error), None)
    if request.url.path.startswith(("/api/", "/live/")):
        field = getattr(error, "field", None)
        return JSONResponse({"problem": problem, "fix": fix, "field": field, "text": str(error)}, status)
    return page.page(request, "refused.html", status, title="That cannot be shown", problem=problem, fix=fix)


async def _too_large(request: Request, error: Exception) -> Response:
    return JSONResponse({"problem": "that is more than a page may send", "fix": None, "field": None}, 413)


async def _broken(request: Request, error: Exception) -> Response:
    # The server's own log holds the whole of it.
    told = f"an error in the program ({type(error).__name__})"
    return JSONResponse({"problem": told, "fix": "what was stored before is whole", "field": None}, 500)


async def _plain_error(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    if request.url.path.startswith("/api/"):
        return JSONResponse({"problem": "there is nothing at this address", "fix": None, "field": None}, status)
    fix = "choose from the books page"
    return page.page(
        request, "refused.html", status, title="Not here", problem="There is nothing at this address", fix=fix
    )


# Pages


async def _home(request: Request) -> Response:
    return RedirectResponse("/books", 303)


async def _books_page(request: Request) -> Response:
    pages = pages_of(request)
    listing = await run_in_threadpool(catalog_listing, pages.catalog)
    return page.page(
        request, "books.html", title="The books", listing=listing, root=pages.name, template=template_bench()
    )


async def _experiment_page(request: Request) -> Response:
    slug, experiment = one_of(request)
    found = await run_in_threadpool(experiment_page, pages_of(request).catalog, slug, experiment)
    return page.page(request, "experiment.html", title=experiment, **found)


async def _bench_chooser(request: Request) -> Response:
    lead = "Choose the experiment that readings go to."
    pages = pages_of(request)
    listing = await run_in_threadpool(catalog_listing, pages.catalog)
    benches = await run_in_threadpool(pages.sweeps.benches)
    return page.page(
        request, "bench-choose.html", title="At the bench", listing=listing, folders=False, lead=lead, benches=benches
    )


async def _bench_page(request: Request) -> Response:
    slug, experiment = one_of(request)
    pages = pages_of(request)

    def gather() -> dict[str, Any]:
        found = experiment_page(pages.catalog, slug, experiment)
        if found["kind"] != "book":
            raise NotHereError(f"'{found['place']}' is a folder", fix="take it into a book, on the books page")
        bout = pages.sweeps.of(slug, experiment)
        sweep = {
            "waiting": pages.sweeps.waiting(slug, experiment),
            "running": bout is not None and bout.running,
            "id": bout.id if bout is not None and bout.running else "",
        }
        return found | {"benches": pages.sweeps.benches(), "sweep": sweep}

    return page.page(request, "bench.html", title=f"At the bench: {experiment}", **await run_in_threadpool(gather))


async def _question_chooser(request: Request) -> Response:
    lead = "Choose the experiment to ask about."
    listing = await run_in_threadpool(catalog_listing, pages_of(request).catalog)
    return page.page(request, "question-choose.html", title="The question", listing=listing, folders=True, lead=lead)


async def _question_page(request: Request) -> Response:
    slug, experiment = one_of(request)
    catalog = pages_of(request).catalog

    def gather() -> dict[str, Any]:
        found = experiment_page(catalog, slug, experiment)
        bench = catalog.bench(slug, experiment)
        compared = [_subject_name(text) for text in request.query_params.getlist("with")][: MOST_SUBJECTS - 1]
        return found | {"sliders": whatif.sliders_of(bench), "gases": _gases(bench), "compared": compared}

    return page.page(request, "question.html", title=f"The question: {experiment}", **await run_in_threadpool(gather))


def _gases(bench: Any) -> list[str]:
    own = bench.gas.species
    return [own if isinstance(own, str) else "", *(gas for gas in whatif.GASES if gas != own)]


async def _gas_page(request: Request) -> Response:
    return page.page(request, "gas.html", title="The gas itself", **await run_in_threadpool(choices))


# Readings


async def _catalog(request: Request) -> Response:
    return JSONResponse({"places": await run_in_threadpool(catalog_listing, pages_of(request).catalog)})


async def _readings(request: Request) -> Response:
    slug, experiment = one_of(request)

    def read() -> dict[str, Any]:
        source = pages_of(request).catalog.source(slug, experiment)
        return {"bench": bench_view(source.bench()), "rows": source_views(source)}

    return JSONResponse(await run_in_threadpool(read))


async def _store(request: Request) -> Response:
    slug, experiment = one_of(request)
    body = await body_of(request)
    names = ("pressure", "pressure_as", "speed", "speed_as", "lamp", "sweep", "envelope", "note")
    typed = {name: text_of(body, name) for name in names if name in body}
    key = text_of(body, "key", most=60)
    if not key:
        raise InputError("the entry has no key", fix="use the pages")
    pages = pages_of(request)

    def store() -> int:
        book = pages.catalog.book(slug, write=True)
        return reading_form.store_typed(book, experiment, typed, key=f"typed {key}", made_by="typed at the bench")

    number = await run_in_threadpool(store)
    pages.feeds.kick(slug, experiment)
    return JSONResponse({"reading": number})


async def _exclude(request: Request) -> Response:
    slug, experiment = one_of(request)
    body = await body_of(request)
    reading, why, undo = body.get("reading"), " ".join(text_of(body, "why").split()), bool(body.get("undo"))
    if type(reading) is not int:
        raise InputError("which reading is not said", fix="use the pages")
    if not why:
        raise reading_form.FieldError("why", "no reason is given", fix="say why, in a few words")
    pages = pages_of(request)

    def change() -> None:
        book = pages.catalog.book(slug, write=True)
        already = reading_form.excluded(book, experiment, reading)
        if undo and not already:
            raise InputError(f"reading {reading} is not excluded", fix="somebody may have taken it back already")
        if not undo and already:
            raise InputError(f"reading {reading} is excluded already: {already}", fix="take that back first")
        (book.reinstate if undo else book.exclude)(experiment, reading, why, made_by="at the pages")

    await run_in_threadpool(change)
    pages.feeds.kick(slug, experiment)
    return JSONResponse({"reading": reading})


async def _correct(request: Request) -> Response:
    slug, experiment = one_of(request)
    body = await body_of(request)
    reading, cell = body.get("reading"), text_of(body, "cell", most=60)
    value, why = text_of(body, "value"), " ".join(text_of(body, "why").split())
    if type(reading) is not int:
        raise InputError("which reading is not said", fix="use the pages")
    if not why:
        raise reading_form.FieldError("why", "no reason is given", fix="say why, in a few words")
    pages = pages_of(request)

    def change() -> None:
        try:
            pages.catalog.book(slug, write=True).correct(experiment, reading, cell, value, why, made_by="at the pages")
        except InputError as error:
            if error.column is None:
                raise
            raise reading_form.FieldError("value", error.problem, fix=error.fix) from error

    await run_in_threadpool(change)
    pages.feeds.kick(slug, experiment)
    return JSONResponse({"reading": reading})


async def _trace(request: Request) -> Response:
    slug, experiment = one_of(request)
    number = request.path_params["number"]

    def read() -> dict[str, Any]:
        part = read_part(pages_of(request).catalog.book(slug), experiment, after=number - 1, most=1)
        if not part.numbers:
            raise NotHereError(f"there is no reading {number}")
        return trace_picture(part)

    return JSONResponse(await run_in_threadpool(read))


async def _next(request: Request) -> Response:
    slug, experiment = one_of(request)
    pages = pages_of(request)

    def choose() -> dict[str, Any]:
        bench = pages.catalog.bench(slug, experiment)
        rows = pages.feeds.of(slug, experiment, lambda: pages.catalog.book(slug)).rows()
        return next_pressure(bench, rows)

    return JSONResponse(await run_in_threadpool(choose))


async def _live(socket: WebSocket) -> None:
    slug, experiment = one_of(socket)
    pages = pages_of(socket)
    try:
        book = await run_in_threadpool(pages.catalog.book, slug)
        if experiment not in await run_in_threadpool(book.experiments):
            raise NotHereError(f"the book holds no experiment '{experiment[:80]}'")
    except EdgewindError as error:
        await socket.accept()
        await socket.send_text(json.dumps({"kind": "gone", "text": str(error)}))
        await socket.close(4404)
        return
    await socket.accept()
    watch = pages.feeds.of(slug, experiment, lambda: pages.catalog.book(slug))
    listener = Subscriber(asyncio.get_running_loop())
    revision = socket.query_params.get("revision", "0")
    watch.add(listener, run=socket.query_params.get("run", ""), revision=int(revision) if revision.isdecimal() else 0)
    bout = await run_in_threadpool(pages.sweeps.of, slug, experiment)
    for message in bout.hello() if bout is not None else ():
        listener.put(message)
    hearing = asyncio.create_task(_hear(socket, listener))
    try:
        while (text := await listener.next(_ALIVE_S)) is not None:
            await socket.send_text(text or '{"kind": "alive"}')
        await socket.close(1012)
    except (WebSocketDisconnect, RuntimeError, OSError):
        pass
    finally:
        hearing.cancel()
        watch.remove(listener)


async def _hear(socket: WebSocket, listener: Subscriber) -> None:
    """Pages say nothing here; this notices when one is gone."""
    try:
        while True:
            await socket.receive_text()
    except (WebSocketDisconnect, RuntimeError, KeyError):
        listener.put(None)


# The question


async def _what_if(request: Request) -> Response:
    slug, experiment = one_of(request)
    changes = {key: value[:60] for key, value in request.query_params.items() if value}
    study = changes.pop("study", "")

    def predict() -> dict[str, Any]:
        return whatif.what_if(rotor_of(pages_of(request), slug, experiment, study), changes)

    return JSONResponse(await run_in_threadpool(predict))


def _subject_name(text: str) -> dict[str, str]:
    slug, _, experiment = text.partition("/")
    return {"slug": slug, "experiment": experiment}


# The gas itself


def _gas_ways(request: Request) -> dict[str, str]:
    names = ("shape", "drive", "quantity", "theme", "size", "kind")
    return {name: request.query_params[name][:40] for name in names if name in request.query_params}


def _knudsen(request: Request) -> float:
    try:
        return float(request.query_params.get("knudsen", ""))
    except ValueError:
        problem = "that is not a Knudsen number"
        raise reading_form.FieldError("knudsen", problem, fix="choose one with the slider") from None


async def _gas_state(request: Request) -> Response:
    ways = _gas_ways(request)
    return JSONResponse(
        await run_in_threadpool(pages_of(request).gas.state, ways.get("shape", "strip"), ways.get("drive", "thermal"))
    )


async def _gas_picture(request: Request) -> Response:
    picture, words = await run_in_threadpool(pages_of(request).gas.picture, _gas_ways(request), _knudsen(request))
    return Response(picture, media_type="image/png", headers={"x-words": quote(words)})


async def _gas_still(request: Request) -> Response:
    ways, knudsen = _gas_ways(request), _knudsen(request)
    content, kind = await run_in_threadpool(pages_of(request).gas.still, ways, knudsen)
    name = f"gas-{ways.get('shape', 'strip')}-{ways.get('quantity', 'temperature')}-Kn-{knudsen:.3g}.{kind}"
    media = {"png": "image/png", "svg": "image/svg+xml"}[kind]
    return Response(content, media_type=media, headers={"content-disposition": f'attachment; filename="{name}"'})


# Sweeps


async def _prepare_sweep(request: Request) -> Response:
    body = await body_of(request)
    pages = pages_of(request)
    names = ("pressures", "up_and_down", "coast_downs", "adaptive", "target")
    typed = {name: text_of(body, name) for name in names if name in body}
    resume = bool(body.get("resume"))

    def ready() -> dict[str, Any]:
        if not resume:
            request_of(typed)  # a form that cannot be used leaves no book behind
        slug, _ = _book_to_write(pages, body)
        return pages.sweeps.prepare(
            text_of(body, "folder", most=400), slug, text_of(body, "name", most=200), typed, resume=resume
        ).as_plain()

    return JSONResponse(await run_in_threadpool(ready))


async def _command_sweep(request: Request) -> Response:
    body = await body_of(request)
    sweep, command = request.path_params["sweep"], request.path_params["command"]
    desk, text, run, of = pages_of(request).sweeps, text_of(body, "text"), text_of(body, "run", most=60), body.get("of")
    if not (of is None or type(of) is int):
        raise InputError("which step, reading or question is meant is not said by its number", fix="use the pages")

    def obey() -> None:
        if command == "start":
            desk.own(sweep).start()
        elif command == "drop":
            desk.drop(sweep)
        else:
            desk.command(sweep, command, text, of=of, run=run)

    await run_in_threadpool(obey)
    return JSONResponse({})


# The books


async def _export(request: Request) -> Response:
    slug, experiment = one_of(request)
    book = await run_in_threadpool(pages_of(request).catalog.book, slug)
    holder = tempfile.TemporaryDirectory(prefix="edgewind-export-", ignore_cleanup_errors=True)

    def write() -> Path:
        # The names of experiments are checked when they are made: none holds a slash or begins with a point.
        folder = export_folder(book, experiment, Path(holder.name) / "folder")
        return zip_folder(folder, Path(holder.name) / "folder.zip")

    try:
        made = await run_in_threadpool(write)
    except BaseException:
        holder.cleanup()
        raise
    name = f"attachment; filename*=UTF-8''{quote(experiment)}.zip"
    return FileResponse(
        made, media_type="application/zip", headers={"content-disposition": name},
        background=BackgroundTask(holder.cleanup),
    )  # fmt: skip


def _book_to_write(pages: Pages, body: dict[str, Any]) -> tuple[str, Book]:
    """Return the book that a form names: one that is there, or a new one in the folder of the catalog."""
    slug, new = text_of(body, "book", most=200), text_of(body, "new_book", most=200)
    if slug:
        return slug, pages.catalog.book(slug, write=True)
    path = unused_name(pages.catalog, new)
    open_book(path, make=True).close()
    pages.catalog.entries(fresh=True)
    return path.name, pages.catalog.book(path.name, write=True)


async def _new_experiment(request: Request) -> Response:
    body = await body_of(request)
    name, text = text_of(body, "name", most=200), body.get("bench")
    pages = pages_of(request)
    if not isinstance(text, str) or not text.strip():
        raise reading_form.FieldError("bench", "the bench is not described", fix="fill in the template")

    def make() -> str:
        titles = titles_for(text, text_of(body, "pressure_unit", most=20), text_of(body, "speed_unit", most=20))
        slug, book = _book_to_write(pages, body)
        try:
            book.add_experiment(name, text.encode(), titles, made_by="at the pages")
        except InputError as error:
            raise reading_form.FieldError("bench" if error.line or error.key else "name", str(error)) from error
        return slug

    return JSONResponse({"slug": await run_in_threadpool(make), "experiment": name})


async def _take_in(request: Request) -> Response:
    body = await body_of(request)
    pages = pages_of(request)

    def take() -> dict[str, Any]:
        place = pages.catalog.entry(text_of(body, "folder", most=400))
        if place.kind != "folder":
            raise InputError("that is a book already")
        slug, book = _book_to_write(pages, body)
        done = import_folder(book, place.target, text_of(body, "name", most=200) or None, made_by="at the pages")
        left_out = [{"path": path, "why": why} for path, why in done.left_out]
        return {"slug": slug, "experiment": done.experiment, "readings": done.readings, "left_out": left_out}

    return JSONResponse(await run_in_threadpool(take))
