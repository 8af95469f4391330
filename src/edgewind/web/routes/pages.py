"""The pages themselves: one function a page."""

from __future__ import annotations

from typing import Any

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from edgewind.report.words import FLAGS, VERDICTS
from edgewind.web.app_state import ONE, one_of, pages_of
from edgewind.web.catalog_views import catalog_listing, experiment_page
from edgewind.web.errors import NotFoundError
from edgewind.web.gas_pictures import choices
from edgewind.web.new_experiment import template_bench
from edgewind.web.page import page
from edgewind.web.routes.jobs import MOST_SUBJECTS
from edgewind.web.run_form import CHOICES


def routes() -> list[Route]:
    """Return the routes of this file."""
    return [
        Route("/", home),
        Route("/books", books_page),
        Route(f"/books/{ONE}", experiment),
        Route("/bench", bench_chooser),
        Route(f"/bench/{ONE}", bench_page),
        Route("/question", question_chooser),
        Route(f"/question/{ONE}", question_page),
        Route("/gas", gas_page),
    ]


def home(request: Request) -> Response:
    """Redirect to the first page."""
    return RedirectResponse("/books", 303)


def books_page(request: Request) -> Response:
    """Return the page of books and folders, and the form that begins an experiment."""
    pages = pages_of(request)
    listing = catalog_listing(pages.catalog)
    return page(request, "books.html", title="The books", listing=listing, root=pages.name, template=template_bench())


def experiment(request: Request) -> Response:
    """Return the page of an experiment: its readings, its changes and its bench."""
    slug, name = one_of(request)
    return page(request, "experiment.html", title=name, **experiment_page(pages_of(request).catalog, slug, name))


def bench_chooser(request: Request) -> Response:
    """Choose the experiment that readings go to, or begin a sweep."""
    pages = pages_of(request)
    return page(
        request, "bench-choose.html", title="At the bench", listing=catalog_listing(pages.catalog), folders=False,
        lead="Choose the experiment that readings go to.", benches=pages.sweeps.benches(),
    )  # fmt: skip


def bench_page(request: Request) -> Response:
    """Return the page of the bench: present values, typed readings, the sweep."""
    slug, name = one_of(request)
    pages = pages_of(request)
    found = experiment_page(pages.catalog, slug, name)
    if found["kind"] != "book":
        raise NotFoundError(f"'{found['place']}' is a folder", fix="import it into a book, on the books page")
    running = pages.sweeps.of(slug, name)
    sweep = {
        "waiting": pages.sweeps.waiting(slug, name),
        "running": running is not None and running.running,
        "id": running.id if running is not None and running.running else "",
    }
    title = f"At the bench: {name}"
    return page(request, "bench.html", title=title, benches=pages.sweeps.benches(), sweep=sweep, flags=FLAGS,
                run_choices=CHOICES, **found)  # fmt: skip


def question_chooser(request: Request) -> Response:
    """Choose the experiment to ask about."""
    return page(
        request, "question-choose.html", title="The question", listing=catalog_listing(pages_of(request).catalog),
        folders=True, lead="Choose the experiment to ask about.",
    )  # fmt: skip


def question_page(request: Request) -> Response:
    """Return the page of the question: mechanisms, and what if."""
    from edgewind.web import chill, whatif

    slug, name = one_of(request)
    catalog = pages_of(request).catalog
    found = experiment_page(catalog, slug, name)
    bench = catalog.bench(slug, name)
    compared = [_experiment_of(text) for text in request.query_params.getlist("with")][: MOST_SUBJECTS - 1]
    return page(
        request, "question.html", title=f"The question: {name}", sliders=whatif.sliders_of(bench),
        gases=_gases(bench), compared=compared, cold=chill.COLD_C, chilled=chill.CHILLED_C, means=VERDICTS,
        **found,
    )  # fmt: skip


def gas_page(request: Request) -> Response:
    """Return the page of the gas."""
    return page(request, "gas.html", title="The gas itself", **choices())


def _gases(bench: Any) -> list[str]:
    from edgewind.web import whatif

    own = bench.gas.species
    return [own if isinstance(own, str) else "", *(gas for gas in whatif.GASES if gas != own)]


def _experiment_of(text: str) -> dict[str, str]:
    slug, _, name = text.partition("/")
    return {"slug": slug, "experiment": name}
