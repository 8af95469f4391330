"""Begin an experiment: the bench as a form with a drawing, and its text, written by the form and editable."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from edgewind.bench import form
from edgewind.bench.faces import FACES
from edgewind.web import bench_form
from edgewind.web.app_state import pages_of
from edgewind.web.bodies import BenchText, body_of
from edgewind.web.catalog_views import catalog_listing
from edgewind.web.errors import FieldError
from edgewind.web.new_experiment import template_bench
from edgewind.web.page import page


def routes() -> list[Route]:
    """Return the routes of this file."""
    return [
        Route("/begin", begin_page),
        Route("/api/bench-form", write, methods=["POST"]),
        Route("/api/bench-decides", decides, methods=["POST"]),
    ]


def begin_page(request: Request) -> Response:
    """Return the page of the form."""
    books = [one for one in catalog_listing(pages_of(request).catalog) if one["kind"] == "book"]
    return page(
        request, "begin.html", title="Begin an experiment", books=books, template=template_bench(),
        groups=form.GROUPS, faces=[asdict(face) for face in FACES], gauges=list(form.GAUGES),
    )  # fmt: skip


def write(request: Request) -> Response:
    """Write fields into the text, and return text, fields and preview; an invalid value keeps both."""
    body = body_of(request, BenchText)
    text = body.bench
    if body.gauge:
        text = form.write_gauge(text, body.gauge)
    for key, value in body.changes.items():
        text = form.write_field(text, key, value)
    found: dict[str, Any] = {"bench": text, "fields": form.read_fields(text), "outlook": None, "refused": None}
    try:
        found["outlook"] = bench_form.outlook(text)
    except FieldError as error:
        # The typed text is kept: an invalid value is named beside its field.
        refused = {"field": error.field, "problem": error.problem, "fix": error.fix, "line": error.line}
        found["refused"] = refused
    return JSONResponse(found)


def decides(request: Request) -> Response:
    """Return the fields that decide the predicted answer."""
    from edgewind.plan.deciding import deciding  # imported at first use: it loads the physics

    text = body_of(request, BenchText).bench
    bench_form.outlook(text)
    return JSONResponse({"deciding": [asdict(one) | {"sentence": one.sentence} for one in deciding(text)]})
