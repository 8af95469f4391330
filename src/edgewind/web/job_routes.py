"""What takes long, as routes: order it, see how it stands, give it up, take what it made; alike for every kind."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from edgewind.bench import BENCH_FILE, Bench
from edgewind.errors import InputError
from edgewind.evidence import RotorDraws
from edgewind.web import whatif
from edgewind.web.app_state import Pages, body_of, pages_of, text_of
from edgewind.web.catalog import Catalog, NotHereError
from edgewind.web.gas_pictures import check_ways
from edgewind.web.jobs import Job
from edgewind.web.reading_form import FieldError
from edgewind.web.security import REPORT_POLICY
from edgewind.web.worker import FilmOrder, IntervalOrder, Order, StudyOrder, Subject

MOST_SUBJECTS = 8
_Found = TypeVar("_Found")


@dataclass(frozen=True)
class Kind:
    """A kind of long work.

    Attributes
    ----------
    name : str
        What addresses call it, and its queue among :attr:`Pages.jobs`.
    word : str
        What people call one.
    place : callable
        Places an order for what a page sent.
    """

    name: str
    word: str
    place: Callable[[Pages, dict[str, Any]], Job]


def work_routes() -> list[Route]:
    """Return the routes of every kind, and those to what was made."""
    return [
        *(route for kind in KINDS for route in _routes_of(kind)),
        Route("/films/{key}.mp4", _film_file),
        Route("/reports/{key}/all.zip", _report_zip),
        Route("/reports/{key}/{path:path}", _report),
    ]


def _routes_of(kind: Kind) -> list[Route]:
    async def order(request: Request) -> Response:
        job = await run_in_threadpool(kind.place, pages_of(request), await body_of(request))
        return JSONResponse(job.as_plain())

    async def look(request: Request) -> Response:
        return JSONResponse(_kept(pages_of(request).jobs[kind.name].get(request.path_params["key"]), kind).as_plain())

    async def give_up(request: Request) -> Response:
        await run_in_threadpool(pages_of(request).jobs[kind.name].give_up, request.path_params["key"])
        return JSONResponse({})

    at = f"/api/{kind.name}"
    return [
        Route(at, order, methods=["POST"]),
        Route(at + "/{key}", look),
        Route(at + "/{key}/give-up", give_up, methods=["POST"]),
    ]


def _kept(found: _Found | None, kind: Kind) -> _Found:
    if found is None:
        raise NotHereError(f"that {kind.word} is no longer kept", fix="ask for it again")
    return found


def rotor_of(pages: Pages, slug: str, experiment: str, study: str = "") -> Bench | RotorDraws:
    """Return the rotor that is asked about: as a study fitted it where one is named, else as its bench describes it.

    Raises
    ------
    NotHereError
        There is no such experiment, or the study is no longer kept or holds no fit of it.
    """
    if not study:
        return pages.catalog.bench(slug, experiment)
    job = _kept(pages.jobs["studies"].get(study), STUDY)
    subjects = job.order.subjects if isinstance(job.order, StudyOrder) else ()
    known: dict[Subject, RotorDraws | None] = dict(zip(subjects, job.kept, strict=False))  # none before it is done
    draws = known.get(_subject(pages.catalog, slug, experiment))
    if draws is None:
        raise NotHereError("that study holds no fit of this rotor", fix="weigh the mechanisms on a fit")
    return draws


# Orders


def _place_study(pages: Pages, body: dict[str, Any]) -> Job:
    asked = body.get("of")
    if not isinstance(asked, list) or not 1 <= len(asked) <= MOST_SUBJECTS:
        raise InputError("name one experiment or more", fix=f"up to {MOST_SUBJECTS} at once")
    subjects, came = [], []
    for one in asked:
        if not isinstance(one, dict):
            raise InputError("that is not an experiment", fix="use the pages")
        slug, experiment = str(one.get("slug", "")), str(one.get("experiment", ""))
        pages.catalog.bench(slug, experiment)  # an experiment that is not there is told before the study begins
        subjects.append(_subject(pages.catalog, slug, experiment))
        came.append(_how_far(pages.catalog, slug, experiment))
    of, fit = tuple(subjects), bool(body.get("fit"))
    return pages.jobs["studies"].ask((of, tuple(came), fit), lambda folder: StudyOrder(of, str(folder), fit))


def _subject(catalog: Catalog, slug: str, experiment: str) -> Subject:
    place = catalog.entry(slug)
    return Subject(place.kind, str(place.target), experiment)


def _how_far(catalog: Catalog, slug: str, experiment: str) -> tuple[Any, ...]:
    """What changes when the experiment does, so that a study of it is made anew then and only then."""
    place = catalog.entry(slug)
    if place.kind == "book":
        from edgewind.book import marks

        found = marks(catalog.book(slug))[experiment]
        return (found.readings, found.changes, found.benches)
    folder = Path(place.target)
    return tuple((name, (folder / name).stat().st_mtime_ns) for name in (BENCH_FILE, "readings.csv"))


def _place_film(pages: Pages, body: dict[str, Any]) -> Job:
    ways = {name: text_of(body, name, most=40) for name in ("shape", "drive", "quantity", "theme", "size")}
    try:
        seconds = float(text_of(body, "seconds", most=10))
    except ValueError:
        raise FieldError("seconds", "that is not a number of seconds", fix="type one, such as 12") from None
    check_ways(ways)
    if not 1 <= seconds <= 120:
        raise FieldError("seconds", f"{seconds:g} s is not a length for a film", fix="from 1 to 120 seconds")

    def order(folder: Path) -> Order:
        return FilmOrder(**ways, seconds=seconds, out=str(folder / "film.mp4"))

    return pages.jobs["films"].ask(("film", *sorted(ways.items()), seconds), order)


def _place_interval(pages: Pages, body: dict[str, Any]) -> Job:
    asked = body.get("changes")
    changes = {str(key): value for key, value in asked.items()} if isinstance(asked, dict) else {}
    changes = {key: text_of(changes, key, most=60) for key in changes}
    whatif.check_changes(changes)
    rotor = rotor_of(pages, text_of(body, "slug"), text_of(body, "experiment"), text_of(body, "study", most=40))
    key = (rotor, *sorted(changes.items()))
    return pages.jobs["intervals"].ask(key, lambda folder: IntervalOrder(rotor, changes))


STUDY = Kind("studies", "study", _place_study)
FILM = Kind("films", "film", _place_film)
INTERVAL = Kind("intervals", "interval", _place_interval)
KINDS = (STUDY, FILM, INTERVAL)


# What was made


async def _report(request: Request) -> Response:
    path = pages_of(request).jobs["studies"].file(request.path_params["key"], request.path_params["path"])
    return FileResponse(_kept(path, STUDY), headers={"content-security-policy": REPORT_POLICY})


async def _report_zip(request: Request) -> Response:
    path = await run_in_threadpool(pages_of(request).jobs["studies"].archive, request.path_params["key"])
    return FileResponse(_kept(path, STUDY), filename="report-and-data.zip", media_type="application/zip")


async def _film_file(request: Request) -> Response:
    path = pages_of(request).jobs["films"].file(request.path_params["key"], "film.mp4")
    return FileResponse(_kept(path, FILM), media_type="video/mp4", filename="gas.mp4")
