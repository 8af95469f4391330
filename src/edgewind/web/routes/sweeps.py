"""Sweeps: planned, started, steered."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from edgewind.web.app_state import pages_of
from edgewind.web.bodies import SweepCommand, SweepForm, body_of
from edgewind.web.sweeps import request_of


def routes() -> list[Route]:
    """Return the routes of this file."""
    return [
        Route("/api/sweeps", plan_sweep, methods=["POST"]),
        Route("/api/sweeps/{sweep}/{command}", steer, methods=["POST"]),
    ]


def plan_sweep(request: Request) -> Response:
    """Check a sweep and return what it will move; nothing is written, not even a new book."""
    pages, form = pages_of(request), body_of(request, SweepForm)
    asked = None if form.resume else request_of(form)
    slug, book = pages.place_for(form)
    return JSONResponse(pages.sweeps.plan(asked, form.folder, form.name, slug, book).to_dict())


def steer(request: Request) -> Response:
    """Start or drop a planned sweep, or send a command to a running one."""
    sweep, command = request.path_params["sweep"], request.path_params["command"]
    sweeps, body = pages_of(request).sweeps, body_of(request, SweepCommand)
    if command == "start":
        sweeps.start(sweep)
    elif command == "drop":
        sweeps.drop(sweep)
    else:
        sweeps.command(sweep, command, body.text, of=body.of, run=body.run)
    return JSONResponse({})
