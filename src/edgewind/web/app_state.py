"""State of the pages, and its lookup for a request."""

from __future__ import annotations

from pathlib import Path

from starlette.requests import Request
from starlette.websockets import WebSocket

from edgewind.book.connect import address_of
from edgewind.web.bodies import BookChoice
from edgewind.web.catalog import Catalog
from edgewind.web.catalog_views import unused_name
from edgewind.web.dropped import DroppedFiles
from edgewind.web.gas_pictures import GasPictures
from edgewind.web.jobs import Jobs
from edgewind.web.live_updates import ExperimentFeeds
from edgewind.web.sweeps import Sweeps

# Part of an address that names an experiment.
ONE = "{slug}/{experiment}"


class Pages:
    """Catalog, feeds, sweeps, and long work: studies, films of the gas, and intervals of what if."""

    def __init__(self, root: str | Path) -> None:
        self.catalog = Catalog(root)
        self.feeds = ExperimentFeeds()
        # A queue each, so that short intervals do not wait for a study of a minute.
        self.jobs = {name: Jobs() for name in ("studies", "films", "intervals")}
        self.gas = GasPictures(self.jobs["films"])
        self.sweeps = Sweeps(self.catalog, self.feeds)
        self.dropped = DroppedFiles()

    @property
    def name(self) -> str:
        """Name of the catalog on a page: a URL without its password."""
        root = self.catalog.root
        return address_of(str(root.absolute().name if root == Path() else root)).label

    def place_for(self, form: BookChoice) -> tuple[str, str | Path]:
        """Return the book that a form names, by its entry and its place; a new one is not created yet.

        Raises
        ------
        BookError
            It is read-only.
        FieldError
            The name of a new book cannot be used.
        """
        if form.book:
            self.catalog.book(form.book, write=True).must_be_writable()
            return form.book, self.catalog.entry(form.book).target
        made = unused_name(self.catalog, form.new_book)
        return made.name, made

    def close(self) -> None:
        """Release everything; sweeps continue in their recorders."""
        self.sweeps.close()
        self.feeds.close()
        self.dropped.close()
        for jobs in self.jobs.values():
            jobs.close()
        self.catalog.close()


def pages_of(request: Request | WebSocket) -> Pages:
    """Return the state of the application of a request."""
    found: Pages = request.app.state.pages
    return found


def one_of(request: Request | WebSocket) -> tuple[str, str]:
    """Return the entry of the catalog and the experiment that an address names."""
    return request.path_params["slug"], request.path_params["experiment"]
