"""Templates and static files: our own, from this package, and nothing from elsewhere."""

from __future__ import annotations

import hashlib
import json
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Any

from jinja2 import Environment
from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from edgewind.cautions import DEFER, HAZARDS
from edgewind.report.page import strict_environment
from edgewind.report.palette import DARK, LIGHT, css_of
from edgewind.units import to_si

_KINDS = {".css": "text/css", ".js": "text/javascript", ".svg": "image/svg+xml"}
# Units that people choose among, by what they measure; the first is what a new visitor sees.
UNITS = {"pressure": ("Pa", "mTorr", "mbar"), "angular speed": ("rpm", "rad/s")}
TABS = (
    ("bench", "At the bench"),
    ("question", "The question"),
    ("gas", "The gas itself"),
    ("books", "The books"),
)


@lru_cache(maxsize=1)
def static_files() -> dict[str, tuple[bytes, str]]:
    """Every static file, by name, with its media type; the colours are those of the report."""
    folder = files("edgewind.web") / "static"
    found = {
        entry.name: (entry.read_bytes(), _KINDS[Path(entry.name).suffix])
        for entry in folder.iterdir()
        if Path(entry.name).suffix in _KINDS
    }
    light, dark = css_of(LIGHT), css_of(DARK)
    colours = (
        f":root {{ color-scheme: light; {light} }}\n"
        f"@media (prefers-color-scheme: dark) {{ :root:not([data-theme=light]) {{ color-scheme: dark; {dark} }} }}\n"
        f":root[data-theme=dark] {{ color-scheme: dark; {dark} }}\n"
    )
    return found | {"colours.css": (colours.encode(), "text/css")}


@lru_cache(maxsize=1)
def _mark() -> str:
    """Changes when a static file does, so that browsers may keep them for good."""
    digest = hashlib.sha256()
    for name, (content, _) in sorted(static_files().items()):
        digest.update(name.encode() + content)
    return digest.hexdigest()[:12]


async def static(request: Request) -> Response:
    """Answer with a static file; modules name each other without a mark, so they are asked for again each time."""
    found = static_files().get(request.path_params["path"])
    if found is None:
        return Response("There is no such file.", 404, media_type="text/plain")
    content, kind = found
    headers = {"cache-control": "no-cache", "etag": f'"{_mark()}"'}
    if request.headers.get("if-none-match") == headers["etag"]:
        return Response(status_code=304, headers=headers)
    return Response(content, media_type=f"{kind}; charset=utf-8", headers=headers)


@lru_cache(maxsize=1)
def _environment() -> Environment:
    environment = strict_environment("edgewind.web")
    environment.filters["address"] = _address
    environment.globals |= {
        "hazards": HAZARDS, "defer": DEFER, "tabs": TABS, "units": UNITS, "data": _data, "unit_sizes": _unit_sizes(),
    }  # fmt: skip
    return environment


def _address(text: str) -> str:
    from urllib.parse import quote

    return quote(text, safe="")


def _data(value: Any) -> Markup:
    """JSON that may stand inside a script element."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False)
    return Markup(text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029"))


def _unit_sizes() -> dict[str, dict[str, float]]:
    """Size in SI of every unit that the pages offer, from the one registry of the program."""
    return {kind: {unit: float(to_si(1.0, unit, kind)) for unit in names} for kind, names in UNITS.items()}


def page(request: Request, name: str, status: int = 200, *, title: str, **values: Any) -> Response:
    """Return a page made from a template."""
    parts = request.url.path.strip("/").split("/")
    tab = parts[0] if parts[0] in dict(TABS) else ""
    here = parts[1:3] if len(parts) >= 3 and tab != "gas" else []
    text = _environment().get_template(name).render(
        title=title, tab=tab, here="/".join(_address(_unquoted(part)) for part in here), mark=_mark(), **values
    )  # fmt: skip
    return HTMLResponse(text, status)


def _unquoted(part: str) -> str:
    from urllib.parse import unquote

    return unquote(part)
