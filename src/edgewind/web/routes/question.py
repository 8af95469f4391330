"""The question: predictions for the sliders."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from edgewind.web.app_state import ONE, one_of, pages_of
from edgewind.web.routes.jobs import rotor_of

if TYPE_CHECKING:
    from edgewind.bench import Bench
    from edgewind.evidence import RotorDraws


def routes() -> list[Route]:
    """Return the routes of this file."""
    return [
        Route(f"/api/what-if/{ONE}", predict),
        Route(f"/api/levers/{ONE}", levers),
        Route(f"/api/chilled/{ONE}", chilled_page),
    ]


def predict(request: Request) -> Response:
    """Return the prediction with some values of the bench changed."""
    rotor, changes = _asked(request)
    from edgewind.web import whatif  # imported at first use, here and below: it loads the physics

    return JSONResponse(whatif.predict_changed(rotor, changes))


def levers(request: Request) -> Response:
    """Return the levers by their effect."""
    rotor, _ = _asked(request)
    from edgewind.web import whatif

    return JSONResponse({"levers": whatif.weights_of(rotor)})


def chilled_page(request: Request) -> Response:
    """Return the motion of the rotor in the dark under another envelope, with some values of the bench changed."""
    rotor, changes = _asked(request)
    envelope, pressure = changes.pop("envelope", ""), changes.pop("pressure", "")
    from edgewind.web import chill

    return JSONResponse(chill.chilled(rotor, changes, envelope, pressure))


def _asked(request: Request) -> tuple[Bench | RotorDraws, dict[str, str]]:
    """Return the rotor of an address, and the changes of its query."""
    slug, experiment = one_of(request)
    changes = {key: value[:60] for key, value in request.query_params.items() if value}
    study = changes.pop("study", "")
    return rotor_of(pages_of(request), slug, experiment, study), changes
