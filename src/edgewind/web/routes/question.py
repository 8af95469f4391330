"""The question: predictions as the levers move."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from edgewind.web import whatif
from edgewind.web.app_state import ONE, one_of, pages_of
from edgewind.web.routes.jobs import rotor_of


def routes() -> list[Route]:
    """Return the routes of this file."""
    return [Route(f"/api/what-if/{ONE}", predict)]


def predict(request: Request) -> Response:
    """The prediction with some values of the bench changed."""
    slug, experiment = one_of(request)
    changes = {key: value[:60] for key, value in request.query_params.items() if value}
    study = changes.pop("study", "")
    return JSONResponse(whatif.what_if(rotor_of(pages_of(request), slug, experiment, study), changes))
