"""The state behind the pages, and what a request asks of it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.websockets import WebSocket

from edgewind.book.connect import address_of
from edgewind.errors import InputError
from edgewind.web.catalog import Catalog
from edgewind.web.gas_pictures import GasPictures
from edgewind.web.jobs import Jobs
from edgewind.web.live_updates import ExperimentFeeds
from edgewind.web.reading_form import FieldError
from edgewind.web.sweeps import Sweeps


class Pages:
    """The catalog, what is followed, and what takes long: studies, films of the gas, and intervals of what if."""

    def __init__(self, root: str | Path) -> None:
        self.catalog = Catalog(root)
        self.feeds = ExperimentFeeds()
        # A queue each, so that an interval of a moment does not wait for a study of a minute.
        self.jobs = {name: Jobs() for name in ("studies", "films", "intervals")}
        self.gas = GasPictures(self.jobs["films"])
        self.sweeps = Sweeps(self.catalog, self.feeds)

    @property
    def name(self) -> str:
        """What the catalog is called on a page: without the password of a URL."""
        return address_of(str(self.catalog.root)).label

    def close(self) -> None:
        """Let go of everything; sweeps first, each in its safe state."""
        self.sweeps.close()
        self.feeds.close()
        for jobs in self.jobs.values():
            jobs.close()
        self.catalog.close()


def pages_of(request: Request | WebSocket) -> Pages:
    """Return the state behind the page that asks."""
    found: Pages = request.app.state.pages
    return found


def one_of(request: Request | WebSocket) -> tuple[str, str]:
    """Return the place and the experiment that an address names."""
    return request.path_params["slug"], request.path_params["experiment"]


async def body_of(request: Request) -> dict[str, Any]:
    """Return the JSON object that was sent.

    Raises
    ------
    InputError
        It is none.
    """
    try:
        found = json.loads(await request.body())
    except (ValueError, RecursionError):
        raise InputError("that is not JSON", fix="use the pages") from None
    if not isinstance(found, dict):
        raise InputError("that is not a JSON object", fix="use the pages")
    return found


def text_of(body: dict[str, Any], name: str, *, most: int = 2000) -> str:
    """Return a text that was sent, empty where it was not.

    Raises
    ------
    FieldError
        It is too long, or no text.
    """
    value = body.get(name, "")
    if not isinstance(value, str) or len(value) > most:
        raise FieldError(name, "too long, or no text", fix=f"write up to {most} signs")
    return value.strip()
