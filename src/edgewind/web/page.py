"""Templates and static files, all of them from this package."""

from __future__ import annotations

import hashlib
import json
import mimetypes
from functools import lru_cache
from importlib.resources import files
from typing import Any
from urllib.parse import quote, unquote

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.templating import Jinja2Templates

from edgewind.cautions import DEFER, HAZARDS
from edgewind.report.environment import strict_environment
from edgewind.report.palette import DARK, LIGHT, css_of
from edgewind.units import to_si

# Some systems have other types for scripts, which browsers then refuse.
mimetypes.add_type("text/javascript", ".js")
# Units to choose from, by quantity; the first is the default.
UNITS = {"pressure": ("Pa", "mTorr", "mbar"), "angular speed": ("rpm", "rad/s")}
TABS = (
    ("bench", "At the bench"),
    ("question", "The question"),
    ("gas", "The gas itself"),
    ("books", "The books"),
)


def routes() -> list[Route | Mount]:
    """Return the routes to static files; the colours are generated from those of the report."""
    return [
        Route("/static/colours.css", _colours),
        Mount("/static", StaticFiles(packages=[("edgewind.web", "static")])),
    ]


def _colours(request: Request) -> Response:
    return Response(colours(), media_type="text/css")


@lru_cache(maxsize=1)
def colours() -> str:
    """Return the style sheet of the colours, light and dark."""
    light, dark = css_of(LIGHT), css_of(DARK)
    return (
        f":root {{ color-scheme: light; {light} }}\n"
        f"@media (prefers-color-scheme: dark) {{ :root:not([data-theme=light]) {{ color-scheme: dark; {dark} }} }}\n"
        f":root[data-theme=dark] {{ color-scheme: dark; {dark} }}\n"
    )


@lru_cache(maxsize=1)
def _mark() -> str:
    """Return a digest of the static files."""
    digest = hashlib.sha256(colours().encode())
    for entry in sorted((files("edgewind.web") / "static").iterdir(), key=lambda entry: entry.name):
        digest.update(entry.name.encode() + entry.read_bytes())
    return digest.hexdigest()[:12]


@lru_cache(maxsize=1)
def templates() -> Jinja2Templates:
    """Return the templates of the pages."""
    environment = strict_environment("edgewind.web")
    environment.filters["address"] = _address
    environment.globals |= {
        "hazards": HAZARDS, "defer": DEFER, "tabs": TABS, "units": UNITS, "data": _data, "unit_sizes": _unit_sizes(),
    }  # fmt: skip
    return Jinja2Templates(env=environment)


def _address(text: str) -> str:
    return quote(text, safe="")


def _data(value: Any) -> Markup:
    """Return JSON for the inside of a script element."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False)
    return Markup(text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029"))


def _unit_sizes() -> dict[str, dict[str, float]]:
    """Return the size in SI of every unit of the pages."""
    return {kind: {unit: float(to_si(1.0, unit, kind)) for unit in names} for kind, names in UNITS.items()}


def page(request: Request, name: str, status: int = 200, *, title: str, **values: Any) -> Response:
    """Return a page made from a template."""
    parts = request.url.path.strip("/").split("/")
    tab = parts[0] if parts[0] in dict(TABS) else ""
    here = parts[1:3] if len(parts) >= 3 and tab != "gas" else []
    shown = {"title": title, "tab": tab, "here": "/".join(_address(unquote(part)) for part in here), "mark": _mark()}
    return templates().TemplateResponse(request, name, shown | values, status)
