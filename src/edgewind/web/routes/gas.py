"""The gas itself: progress of the computation, and pictures."""

from __future__ import annotations

from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from edgewind.web.app_state import pages_of
from edgewind.web.errors import FieldError
from edgewind.web.gas_pictures import ROTOR

_CHOICES = ("shape", "drive", "quantity", "theme", "size", "kind", "mark")


def routes() -> list[Route]:
    """Return the routes of this file."""
    return [Route("/api/gas", progress), Route("/api/gas/picture", picture), Route("/gas/still", still)]


def progress(request: Request) -> Response:
    """Return the computed Knudsen numbers, and start the others."""
    chosen = _chosen(request)
    return JSONResponse(pages_of(request).gas.state(chosen.get("shape", ROTOR), chosen.get("drive", "thermal")))


def picture(request: Request) -> Response:
    """Return a picture for the page, with its alternative text."""
    content, words = pages_of(request).gas.picture(_chosen(request), _knudsen(request))
    return Response(content, media_type="image/png", headers={"x-words": quote(words)})


def still(request: Request) -> Response:
    """Return a picture as a file."""
    chosen, knudsen = _chosen(request), _knudsen(request)
    content, kind = pages_of(request).gas.still(chosen, knudsen)
    name = f"gas-{chosen.get('shape', 'strip')}-{chosen.get('quantity', 'temperature')}-Kn-{knudsen:.3g}.{kind}"
    media = {"png": "image/png", "svg": "image/svg+xml"}[kind]
    return Response(content, media_type=media, headers={"content-disposition": f'attachment; filename="{name}"'})


def _chosen(request: Request) -> dict[str, str]:
    return {name: request.query_params[name][:80] for name in _CHOICES if name in request.query_params}


def _knudsen(request: Request) -> float:
    text = request.query_params.get("knudsen", "")
    try:
        return float(text)
    except ValueError:
        problem = f"'{text[:20]}' is not a Knudsen number"
        raise FieldError("knudsen", problem, fix="choose one with the slider") from None
