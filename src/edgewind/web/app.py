"""The pages: routes, and nothing that is not a route."""

from __future__ import annotations

import asyncio
import contextlib
import json
import tempfile
import threading
from collections.abc import AsyncIterator, Awaitable, Callable
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

from edgewind.bench import BENCH_FILE
from edgewind.book import Book, LockedBookError, export_folder, import_folder, open_book, read_part
from edgewind.book.connect import address_of
from edgewind.errors import EdgewindError, InputError
from edgewind.web import entry, page, whatif
from edgewind.web.begin import template_bench, titles_for
from edgewind.web.desk import Desk, request_of
from edgewind.web.gas_room import GasRoom, check_ways, choices
from edgewind.web.guard import REPORT_POLICY, Door, Guard, TooLargeError
from edgewind.web.jobs import Job, Jobs, zip_folder
from edgewind.web.listing import experiment_page, shelf_listing, unused_name
from edgewind.web.proposal import next_pressure
from edgewind.web.shelf import NotHereError, Shelf
from edgewind.web.views import bench_view, source_views, trace_picture
from edgewind.web.watch import Listener, Watches
from edgewind.web.worker import FilmOrder, StudyOrder, Subject

Answer = Callable[[Request], Awaitable[Response]]
_ALIVE_S = 2.0
_MOST_SUBJECTS = 8


class Pages:
    """The state behind the pages: the shelf, what is followed, and the studies."""

    def __init__(self, root: str | Path) -> None:
        self.shelf = Shelf(root)
        self.watches = Watches()
        self.studies, self.pictures = Jobs(), Jobs()
        self.gas = GasRoom(self.pictures)
        self.desk = Desk(self.shelf, self.watches)

    def close(self) -> None:
        """Let go of everything; sweeps first, each in its safe state."""
        self.desk.close()
        self.watches.close()
        self.studies.close()
        self.pictures.close()
        self.shelf.close()


def make_app(root: str | Path, door: Door | None = None) -> Starlette:
    """Return the pages as an application for a server.

    Parameters
    ----------
    root : path or str
        Folder with lab books and experiment folders, or one lab book, as file or URL.
    door : Door, optional
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
        middleware=[Middleware(Guard, door=door or Door())],
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
        Route("/api/shelf", _shelf),
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
        Route("/api/films", _ask_film, methods=["POST"]),
        Route("/api/films/{film}", _film),
        Route("/api/films/{film}/give-up", _give_up_film, methods=["POST"]),
        Route("/films/{film}.mp4", _film_file),
        Route("/api/sweeps", _prepare_sweep, methods=["POST"]),
        Route("/api/sweeps/{sweep}/{command}", _command_sweep, methods=["POST"]),
        Route("/api/studies", _ask_study, methods=["POST"]),
        Route("/api/studies/{study}", _study),
        Route("/api/studies/{study}/give-up", _give_up, methods=["POST"]),
        Route("/reports/{study}/all.zip", _report_zip),
        Route("/reports/{study}/{path:path}", _report),
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


def _pages(request: Request | WebSocket) -> Pages:
    found: Pages = request.app.state.pages
    return found


def _one(request: Request | WebSocket) -> tuple[str, str]:
    return request.path_params["slug"], request.path_params["experiment"]


async def _home(request: Request) -> Response:
    return RedirectResponse("/books", 303)


async def _books_page(request: Request) -> Response:
    pages = _pages(request)
    listing = await run_in_threadpool(shelf_listing, pages.shelf)
    return page.page(
        request, "books.html", title="The books", listing=listing, root=_shown(pages), template=template_bench()
    )


def _shown(pages: Pages) -> str:
    """What the shelf is called on a page: without the password of a URL."""
    return address_of(str(pages.shelf.root)).label


async def _experiment_page(request: Request) -> Response:
    slug, experiment = _one(request)
    found = await run_in_threadpool(experiment_page, _pages(request).shelf, slug, experiment)
    return page.page(request, "experiment.html", title=experiment, **found)


async def _bench_chooser(request: Request) -> Response:
    lead = "Choose the experiment that readings go to."
    pages = _pages(request)
    listing = await run_in_threadpool(shelf_listing, pages.shelf)
    benches = await run_in_threadpool(pages.desk.benches)
    return page.page(
        request, "bench-choose.html", title="At the bench", listing=listing, folders=False, lead=lead, benches=benches
    )


async def _bench_page(request: Request) -> Response:
    slug, experiment = _one(request)
    pages = _pages(request)

    def gather() -> dict[str, Any]:
        found = experiment_page(pages.shelf, slug, experiment)
        if found["kind"] != "book":
            raise NotHereError(f"'{found['place']}' is a folder", fix="take it into a book, on the books page")
        bout = pages.desk.of(slug, experiment)
        sweep = {
            "waiting": pages.desk.waiting(slug, experiment),
            "running": bout is not None and bout.running,
            "id": bout.id if bout is not None and bout.running else "",
        }
        return found | {"benches": pages.desk.benches(), "sweep": sweep}

    return page.page(request, "bench.html", title=f"At the bench: {experiment}", **await run_in_threadpool(gather))


async def _question_chooser(request: Request) -> Response:
    lead = "Choose the experiment to ask about."
    listing = await run_in_threadpool(shelf_listing, _pages(request).shelf)
    return page.page(request, "question-choose.html", title="The question", listing=listing, folders=True, lead=lead)


async def _question_page(request: Request) -> Response:
    slug, experiment = _one(request)
    shelf = _pages(request).shelf

    def gather() -> dict[str, Any]:
        found = experiment_page(shelf, slug, experiment)
        bench = shelf.bench(slug, experiment)
        compared = [_subject_name(text) for text in request.query_params.getlist("with")][: _MOST_SUBJECTS - 1]
        return found | {"sliders": whatif.sliders_of(bench), "gases": _gases(bench), "compared": compared}

    return page.page(request, "question.html", title=f"The question: {experiment}", **await run_in_threadpool(gather))


def _gases(bench: Any) -> list[str]:
    own = bench.gas.species
    return [own if isinstance(own, str) else "", *(gas for gas in whatif.GASES if gas != own)]


async def _gas_page(request: Request) -> Response:
    return page.page(request, "gas.html", title="The gas itself", **await run_in_threadpool(choices))


# Readings


async def _body(request: Request) -> dict[str, Any]:
    try:
        found = json.loads(await request.body())
    except (ValueError, RecursionError):
        raise InputError("that is not JSON", fix="use the pages") from None
    if not isinstance(found, dict):
        raise InputError("that is not a JSON object", fix="use the pages")
    return found


def _text(body: dict[str, Any], name: str, *, most: int = 2000) -> str:
    value = body.get(name, "")
    if not isinstance(value, str) or len(value) > most:
        raise entry.FieldError(name, "too long, or no text", fix=f"write up to {most} signs")
    return value.strip()


async def _shelf(request: Request) -> Response:
    return JSONResponse({"places": await run_in_threadpool(shelf_listing, _pages(request).shelf)})


async def _readings(request: Request) -> Response:
    slug, experiment = _one(request)

    def read() -> dict[str, Any]:
        source = _pages(request).shelf.source(slug, experiment)
        return {"bench": bench_view(source.bench()), "rows": source_views(source)}

    return JSONResponse(await run_in_threadpool(read))


async def _store(request: Request) -> Response:
    slug, experiment = _one(request)
    body = await _body(request)
    names = ("pressure", "pressure_as", "speed", "speed_as", "lamp", "sweep", "envelope", "note")
    typed = {name: _text(body, name) for name in names if name in body}
    key = _text(body, "key", most=60)
    if not key:
        raise InputError("the entry has no key", fix="use the pages")
    pages = _pages(request)

    def store() -> int:
        book = pages.shelf.book(slug, write=True)
        return entry.store_typed(book, experiment, typed, key=f"typed {key}", made_by="typed at the bench")

    number = await run_in_threadpool(store)
    pages.watches.kick(slug, experiment)
    return JSONResponse({"reading": number})


async def _exclude(request: Request) -> Response:
    slug, experiment = _one(request)
    body = await _body(request)
    reading, why, undo = body.get("reading"), " ".join(_text(body, "why").split()), bool(body.get("undo"))
    if type(reading) is not int:
        raise InputError("which reading is not said", fix="use the pages")
    if not why:
        raise entry.FieldError("why", "no reason is given", fix="say why, in a few words")
    pages = _pages(request)

    def change() -> None:
        book = pages.shelf.book(slug, write=True)
        already = entry.excluded(book, experiment, reading)
        if undo and not already:
            raise InputError(f"reading {reading} is not excluded", fix="somebody may have taken it back already")
        if not undo and already:
            raise InputError(f"reading {reading} is excluded already: {already}", fix="take that back first")
        (book.reinstate if undo else book.exclude)(experiment, reading, why, made_by="at the pages")

    await run_in_threadpool(change)
    pages.watches.kick(slug, experiment)
    return JSONResponse({"reading": reading})


async def _correct(request: Request) -> Response:
    slug, experiment = _one(request)
    body = await _body(request)
    reading, cell = body.get("reading"), _text(body, "cell", most=60)
    value, why = _text(body, "value"), " ".join(_text(body, "why").split())
    if type(reading) is not int:
        raise InputError("which reading is not said", fix="use the pages")
    if not why:
        raise entry.FieldError("why", "no reason is given", fix="say why, in a few words")
    pages = _pages(request)

    def change() -> None:
        try:
            pages.shelf.book(slug, write=True).correct(experiment, reading, cell, value, why, made_by="at the pages")
        except InputError as error:
            if error.column is None:
                raise
            raise entry.FieldError("value", error.problem, fix=error.fix) from error

    await run_in_threadpool(change)
    pages.watches.kick(slug, experiment)
    return JSONResponse({"reading": reading})


async def _trace(request: Request) -> Response:
    slug, experiment = _one(request)
    number = request.path_params["number"]

    def read() -> dict[str, Any]:
        part = read_part(_pages(request).shelf.book(slug), experiment, after=number - 1, most=1)
        if not part.numbers:
            raise NotHereError(f"there is no reading {number}")
        return trace_picture(part)

    return JSONResponse(await run_in_threadpool(read))


async def _next(request: Request) -> Response:
    slug, experiment = _one(request)
    pages = _pages(request)

    def choose() -> dict[str, Any]:
        bench = pages.shelf.bench(slug, experiment)
        rows = pages.watches.of(slug, experiment, lambda: pages.shelf.book(slug)).rows()
        return next_pressure(bench, rows)

    return JSONResponse(await run_in_threadpool(choose))


async def _live(socket: WebSocket) -> None:
    slug, experiment = _one(socket)
    pages = _pages(socket)
    try:
        book = await run_in_threadpool(pages.shelf.book, slug)
        if experiment not in await run_in_threadpool(book.experiments):
            raise NotHereError(f"the book holds no experiment '{experiment[:80]}'")
    except EdgewindError as error:
        await socket.accept()
        await socket.send_text(json.dumps({"kind": "gone", "text": str(error)}))
        await socket.close(4404)
        return
    await socket.accept()
    watch = pages.watches.of(slug, experiment, lambda: pages.shelf.book(slug))
    listener = Listener(asyncio.get_running_loop())
    revision = socket.query_params.get("revision", "0")
    watch.add(listener, run=socket.query_params.get("run", ""), revision=int(revision) if revision.isdecimal() else 0)
    bout = await run_in_threadpool(pages.desk.of, slug, experiment)
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


async def _hear(socket: WebSocket, listener: Listener) -> None:
    """Pages say nothing here; this notices when one is gone."""
    try:
        while True:
            await socket.receive_text()
    except (WebSocketDisconnect, RuntimeError, KeyError):
        listener.put(None)


# The question


async def _what_if(request: Request) -> Response:
    slug, experiment = _one(request)
    changes = {key: value[:60] for key, value in request.query_params.items() if value}
    bench = await run_in_threadpool(_pages(request).shelf.bench, slug, experiment)
    return JSONResponse(await run_in_threadpool(whatif.what_if, bench, changes))


def _subject_name(text: str) -> dict[str, str]:
    slug, _, experiment = text.partition("/")
    return {"slug": slug, "experiment": experiment}


async def _ask_study(request: Request) -> Response:
    body = await _body(request)
    asked = body.get("of")
    if not isinstance(asked, list) or not 1 <= len(asked) <= _MOST_SUBJECTS:
        raise InputError("name one experiment or more", fix=f"up to {_MOST_SUBJECTS} at once")
    pages = _pages(request)

    def order() -> Job:
        subjects, came = [], []
        for one in asked:
            if not isinstance(one, dict):
                raise InputError("that is not an experiment", fix="use the pages")
            slug, experiment = str(one.get("slug", "")), str(one.get("experiment", ""))
            place = pages.shelf.place(slug)
            pages.shelf.bench(slug, experiment)  # an experiment that is not there is told before the study begins
            subjects.append(Subject(place.kind, str(place.target), experiment))
            came.append(_how_far(pages.shelf, slug, experiment))
        of, fit = tuple(subjects), bool(body.get("fit"))
        return pages.studies.ask((of, tuple(came), fit), lambda folder: StudyOrder(of, str(folder), fit))

    study = await run_in_threadpool(order)
    return JSONResponse(study.as_plain())


def _how_far(shelf: Shelf, slug: str, experiment: str) -> tuple[Any, ...]:
    """What changes when the experiment does, so that a study of it is made anew then and only then."""
    place = shelf.place(slug)
    if place.kind == "book":
        from edgewind.book import marks

        found = marks(shelf.book(slug))[experiment]
        return (found.readings, found.changes, found.benches)
    folder = Path(place.target)
    return tuple((name, (folder / name).stat().st_mtime_ns) for name in (BENCH_FILE, "readings.csv"))


async def _study(request: Request) -> Response:
    study = _pages(request).studies.get(request.path_params["study"])
    if study is None:
        raise NotHereError("that study is no longer kept", fix="ask for it again")
    return JSONResponse(study.as_plain())


async def _give_up(request: Request) -> Response:
    await run_in_threadpool(_pages(request).studies.give_up, request.path_params["study"])
    return JSONResponse({})


async def _report(request: Request) -> Response:
    found = _pages(request).studies.file(request.path_params["study"], request.path_params["path"])
    if found is None:
        raise NotHereError("that report is no longer kept", fix="ask for the study again")
    return FileResponse(found, headers={"content-security-policy": REPORT_POLICY})


async def _report_zip(request: Request) -> Response:
    study = request.path_params["study"]
    found = await run_in_threadpool(_pages(request).studies.archive, study)
    if found is None:
        raise NotHereError("that report is no longer kept", fix="ask for the study again")
    return FileResponse(found, filename="report-and-data.zip", media_type="application/zip")


# The gas itself


def _gas_ways(request: Request) -> dict[str, str]:
    names = ("shape", "drive", "quantity", "theme", "size", "kind")
    return {name: request.query_params[name][:40] for name in names if name in request.query_params}


def _knudsen(request: Request) -> float:
    try:
        return float(request.query_params.get("knudsen", ""))
    except ValueError:
        raise entry.FieldError("knudsen", "that is not a Knudsen number", fix="choose one with the slider") from None


async def _gas_state(request: Request) -> Response:
    ways = _gas_ways(request)
    return JSONResponse(
        await run_in_threadpool(_pages(request).gas.state, ways.get("shape", "strip"), ways.get("drive", "thermal"))
    )


async def _gas_picture(request: Request) -> Response:
    picture, words = await run_in_threadpool(_pages(request).gas.picture, _gas_ways(request), _knudsen(request))
    return Response(picture, media_type="image/png", headers={"x-words": quote(words)})


async def _gas_still(request: Request) -> Response:
    ways, knudsen = _gas_ways(request), _knudsen(request)
    content, kind = await run_in_threadpool(_pages(request).gas.still, ways, knudsen)
    name = f"gas-{ways.get('shape', 'strip')}-{ways.get('quantity', 'temperature')}-Kn-{knudsen:.3g}.{kind}"
    media = {"png": "image/png", "svg": "image/svg+xml"}[kind]
    return Response(content, media_type=media, headers={"content-disposition": f'attachment; filename="{name}"'})


async def _ask_film(request: Request) -> Response:
    body = await _body(request)
    ways = {name: _text(body, name, most=40) for name in ("shape", "drive", "quantity", "theme", "size")}
    try:
        seconds = float(_text(body, "seconds", most=10))
    except ValueError:
        raise entry.FieldError("seconds", "that is not a number of seconds", fix="type one, such as 12") from None
    jobs = _pages(request).pictures

    def order() -> Job:
        check_ways(ways)
        if not 1 <= seconds <= 120:
            raise entry.FieldError("seconds", f"{seconds:g} s is not a length for a film", fix="from 1 to 120 seconds")
        return jobs.ask(
            ("film", *sorted(ways.items()), seconds),
            lambda folder: FilmOrder(**ways, seconds=seconds, out=str(folder / "film.mp4")),
        )

    return JSONResponse((await run_in_threadpool(order)).as_plain())


async def _film(request: Request) -> Response:
    found = _pages(request).pictures.get(request.path_params["film"])
    if found is None:
        raise NotHereError("that film is no longer kept", fix="ask for it again")
    return JSONResponse(found.as_plain())


async def _give_up_film(request: Request) -> Response:
    await run_in_threadpool(_pages(request).pictures.give_up, request.path_params["film"])
    return JSONResponse({})


async def _film_file(request: Request) -> Response:
    found = _pages(request).pictures.file(request.path_params["film"], "film.mp4")
    if found is None:
        raise NotHereError("that film is no longer kept", fix="ask for it again")
    return FileResponse(found, media_type="video/mp4", filename="gas.mp4")


# Sweeps


async def _prepare_sweep(request: Request) -> Response:
    body = await _body(request)
    pages = _pages(request)
    names = ("pressures", "up_and_down", "coast_downs", "adaptive", "target")
    typed = {name: _text(body, name) for name in names if name in body}
    resume = bool(body.get("resume"))

    def ready() -> dict[str, Any]:
        if not resume:
            request_of(typed)  # a form that cannot be used leaves no book behind
        slug, _ = _book_to_write(pages, body)
        return pages.desk.prepare(
            _text(body, "folder", most=400), slug, _text(body, "name", most=200), typed, resume=resume
        ).as_plain()

    return JSONResponse(await run_in_threadpool(ready))


async def _command_sweep(request: Request) -> Response:
    body = await _body(request)
    sweep, command = request.path_params["sweep"], request.path_params["command"]
    desk, text, run, of = _pages(request).desk, _text(body, "text"), _text(body, "run", most=60), body.get("of")
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
    slug, experiment = _one(request)
    book = await run_in_threadpool(_pages(request).shelf.book, slug)
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
    """Return the book that a form names: one that is there, or a new one in the folder of the shelf."""
    slug, new = _text(body, "book", most=200), _text(body, "new_book", most=200)
    if slug:
        return slug, pages.shelf.book(slug, write=True)
    path = unused_name(pages.shelf, new)
    open_book(path, make=True).close()
    pages.shelf.places(fresh=True)
    return path.name, pages.shelf.book(path.name, write=True)


async def _new_experiment(request: Request) -> Response:
    body = await _body(request)
    name, text = _text(body, "name", most=200), body.get("bench")
    pages = _pages(request)
    if not isinstance(text, str) or not text.strip():
        raise entry.FieldError("bench", "the bench is not described", fix="fill in the template")

    def make() -> str:
        titles = titles_for(text, _text(body, "pressure_unit", most=20), _text(body, "speed_unit", most=20))
        slug, book = _book_to_write(pages, body)
        try:
            book.add_experiment(name, text.encode(), titles, made_by="at the pages")
        except InputError as error:
            raise entry.FieldError("bench" if error.line or error.key else "name", str(error)) from error
        return slug

    return JSONResponse({"slug": await run_in_threadpool(make), "experiment": name})


async def _take_in(request: Request) -> Response:
    body = await _body(request)
    pages = _pages(request)

    def take() -> dict[str, Any]:
        place = pages.shelf.place(_text(body, "folder", most=400))
        if place.kind != "folder":
            raise InputError("that is a book already")
        slug, book = _book_to_write(pages, body)
        done = import_folder(book, place.target, _text(body, "name", most=200) or None, made_by="at the pages")
        left_out = [{"path": path, "why": why} for path, why in done.left_out]
        return {"slug": slug, "experiment": done.experiment, "readings": done.readings, "left_out": left_out}

    return JSONResponse(await run_in_threadpool(take))
