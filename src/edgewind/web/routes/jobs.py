"""Long work of every kind: orders, progress, cancellation and files."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from edgewind.bench import BENCH_FILE, Bench
from edgewind.book import marks
from edgewind.errors import InputError
from edgewind.web import bodies
from edgewind.web.app_state import Pages, pages_of
from edgewind.web.bodies import Body, body_of
from edgewind.web.catalog import Catalog
from edgewind.web.errors import FieldError, NotFoundError
from edgewind.web.gas_pictures import check_ways
from edgewind.web.jobs import PageJob
from edgewind.web.security import REPORT_POLICY
from edgewind.web.work import FilmChoices, Subject, find_intervals, make_gas_film, make_study

if TYPE_CHECKING:
    from edgewind.evidence import RotorDraws

MOST_SUBJECTS = 8
_Found = TypeVar("_Found")


@dataclass(frozen=True)
class JobKind:
    """A kind of long work.

    Attributes
    ----------
    name : str
        Its name in addresses, and its queue among :attr:`Pages.jobs`.
    word : str
        Its name for display.
    body : type
        Model of the request.
    place : callable
        Orders it.
    """

    name: str
    word: str
    body: type[Body]
    place: Callable[[Pages, Any], PageJob]


def routes() -> list[Route]:
    """Return the routes of every kind, and those to their files."""
    return [
        *(route for kind in KINDS for route in _routes_of(kind)),
        Route("/films/{key}.mp4", _film_file),
        Route("/reports/{key}/all.zip", _report_zip),
        Route("/reports/{key}/{path:path}", _report),
    ]


def _routes_of(kind: JobKind) -> list[Route]:
    def order(request: Request) -> Response:
        return JSONResponse(kind.place(pages_of(request), body_of(request, kind.body)).to_dict())

    def look(request: Request) -> Response:
        job = pages_of(request).jobs[kind.name].get(request.path_params["key"])
        return JSONResponse(_kept(job, kind).to_dict())

    def cancel(request: Request) -> Response:
        job = pages_of(request).jobs[kind.name].get(request.path_params["key"])
        if job is not None:
            job.cancel()
        return JSONResponse({})

    at = f"/api/{kind.name}"
    return [
        Route(at, order, methods=["POST"]),
        Route(at + "/{key}", look),
        Route(at + "/{key}/cancel", cancel, methods=["POST"]),
    ]


def _kept(found: _Found | None, kind: JobKind) -> _Found:
    if found is None:
        raise NotFoundError(f"This {kind.word} has been deleted", fix="ask for it again")
    return found


def rotor_of(pages: Pages, slug: str, experiment: str, study: str = "") -> Bench | RotorDraws:
    """Return the rotor of a request: with the fit of a study if named, else as its bench describes it.

    Raises
    ------
    NotFoundError
        There is no such experiment, or the study has been deleted or has no fit of it.
    """
    if not study:
        return pages.catalog.bench(slug, experiment)
    job = _kept(pages.jobs["studies"].get(study), STUDY)
    subjects: tuple[Subject, ...] = job.arguments[0]
    known: dict[Subject, RotorDraws | None] = dict(zip(subjects, job.kept, strict=False))  # none before its end
    draws = known.get(_subject(pages.catalog, slug, experiment))
    if draws is None:
        raise NotFoundError("This study holds no fit of this rotor", fix="judge the mechanisms by a fit")
    return draws


# Orders


def _place_study(pages: Pages, body: bodies.StudyOrder) -> PageJob:
    if len(body.of) > MOST_SUBJECTS:
        raise InputError(f"{len(body.of)} experiments cannot be compared at once", fix=f"choose up to {MOST_SUBJECTS}")
    subjects, versions = [], []
    for one in body.of:
        pages.catalog.bench(one.slug, one.experiment)  # a missing one is refused before the study begins
        subjects.append(_subject(pages.catalog, one.slug, one.experiment))
        versions.append(_marks(pages.catalog, one.slug, one.experiment))
    of = tuple(subjects)
    return pages.jobs["studies"].ask((of, tuple(versions), body.fit), make_study, lambda out: (of, out, body.fit))


def _subject(catalog: Catalog, slug: str, experiment: str) -> Subject:
    place = catalog.entry(slug)
    return Subject(place.kind, str(place.target), experiment)


def _marks(catalog: Catalog, slug: str, experiment: str) -> tuple[Any, ...]:
    """Return the state of an experiment, whose change requires a new study."""
    place = catalog.entry(slug)
    if place.kind == "book":
        found = marks(catalog.book(slug))[experiment]
        return (found.readings, found.changes, found.benches)
    files = (Path(place.target) / name for name in (BENCH_FILE, "readings.csv"))
    return tuple((file.name, file.stat().st_mtime_ns if file.is_file() else 0) for file in files)


def _place_film(pages: Pages, body: bodies.FilmOrder) -> PageJob:
    chosen = body.model_dump(exclude={"seconds"})
    try:
        seconds = float(body.seconds)
    except ValueError:
        problem = f"'{body.seconds[:20]}' is not a number of seconds"
        raise FieldError("seconds", problem, fix="type one, such as 12") from None
    check_ways(chosen)
    if not 1 <= seconds <= 120:
        raise FieldError("seconds", f"A film cannot last {seconds:g} s", fix="choose 1 to 120 seconds")

    film = FilmChoices(**chosen, seconds=seconds)
    return pages.jobs["films"].ask(("film", film), make_gas_film, lambda out: (film, out))


def _place_interval(pages: Pages, body: bodies.IntervalOrder) -> PageJob:
    from edgewind.web import whatif

    changes = dict(body.changes)
    whatif.check_changes(changes)
    rotor = rotor_of(pages, body.slug, body.experiment, body.study)
    key = (rotor, *sorted(changes.items()))
    return pages.jobs["intervals"].ask(key, find_intervals, lambda out: (rotor, changes))


STUDY = JobKind("studies", "study", bodies.StudyOrder, _place_study)
FILM = JobKind("films", "film", bodies.FilmOrder, _place_film)
INTERVAL = JobKind("intervals", "interval", bodies.IntervalOrder, _place_interval)
KINDS = (STUDY, FILM, INTERVAL)


# Files


def _report(request: Request) -> Response:
    path = pages_of(request).jobs["studies"].file(request.path_params["key"], request.path_params["path"])
    return FileResponse(_kept(path, STUDY), headers={"content-security-policy": REPORT_POLICY})


def _report_zip(request: Request) -> Response:
    path = pages_of(request).jobs["studies"].archive(request.path_params["key"])
    return FileResponse(_kept(path, STUDY), filename="report-and-data.zip", media_type="application/zip")


def _film_file(request: Request) -> Response:
    path = pages_of(request).jobs["films"].file(request.path_params["key"], "film.mp4")
    return FileResponse(_kept(path, FILM), media_type="video/mp4", filename="gas.mp4")
