"""Runs through a change: prepared, and drawn again from the book."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from edgewind.book import read_part
from edgewind.serialize import to_plain
from edgewind.signals import read_experiment
from edgewind.web.app_state import ONE, one_of, pages_of
from edgewind.web.bodies import body_of
from edgewind.web.errors import NotFoundError
from edgewind.web.run_form import RunForm, run_from_form


def routes() -> list[Route]:
    """Return the routes of this file."""
    return [
        Route("/api/runs", plan_run, methods=["POST"]),
        Route(f"/api/runs/{ONE}/{{number:int}}", stored),
    ]


def plan_run(request: Request) -> Response:
    """Check a run and return what it will move; nothing is written, not even a new book."""
    pages, form = pages_of(request), body_of(request, RunForm)
    asked = run_from_form(form)
    slug, book = pages.place_for(form)
    return JSONResponse(pages.sweeps.plan(asked, form.folder, form.name, slug, book).to_dict())


def stored(request: Request) -> Response:
    """Return the run of a reading in the book, in the form of its recorder."""
    slug, experiment = one_of(request)
    number = request.path_params["number"]
    part = read_part(pages_of(request).catalog.book(slug), experiment, after=number - 1, most=1)
    found = read_experiment(part.source).runs.get(0) if part.numbers else None
    if found is None:
        raise NotFoundError(f"Reading {number} is not a run")
    lamp = [
        "on" if share == 1 else "off" if share == 0 else f"{100 * share:g} %" for share in found.lamp_share.tolist()
    ]
    rows = zip(
        to_plain(found.time_s), to_plain(found.speed_rad_s), to_plain(found.envelope_k), lamp,
        to_plain(found.pressure_pa), found.notes or [""] * len(lamp), strict=True,
    )  # fmt: skip
    return JSONResponse({"rows": [list(row) for row in rows], "signed": found.signed})
