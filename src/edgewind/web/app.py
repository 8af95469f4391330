"""The pages as an application: state, routes, and handling of errors."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import AsyncIterator
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware

from edgewind.errors import EdgewindError
from edgewind.web import errors, page
from edgewind.web.app_state import Pages
from edgewind.web.new_experiment import template_bench
from edgewind.web.routes import begin, books, files, gas, jobs, pages, question, readings, runs, sweeps, tour
from edgewind.web.security import AccessPolicy, Guard


def make_app(root: str | Path, policy: AccessPolicy | None = None) -> Starlette:
    """Return the pages as an application for a server.

    Parameters
    ----------
    root : path or str
        Folder with lab books and experiment folders, or one lab book, as file or URL.
    policy : AccessPolicy, optional
        Access policy; default: this machine only.

    Raises
    ------
    InputError
        `root` does not exist.
    """
    state = Pages(root)

    @contextlib.asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        threading.Thread(target=_warm, args=(state,), name="warm up", daemon=True).start()
        yield
        await run_in_threadpool(state.close)

    app = Starlette(
        routes=[
            *pages.routes(), *readings.routes(), *question.routes(), *sweeps.routes(), *runs.routes(), *gas.routes(),
            *books.routes(), *jobs.routes(), *files.routes(), *begin.routes(), *tour.routes(), *page.routes(),
        ],
        lifespan=lifespan,
        middleware=[Middleware(Guard, policy=policy or AccessPolicy())],
        exception_handlers=errors.handlers(),
    )  # fmt: skip
    app.state.pages = state
    return app


def _warm(state: Pages) -> None:
    """Compile and load in advance the parts that the first visit of the question and of the gas needs."""
    from edgewind.bench import parse_bench
    from edgewind.web import whatif

    with contextlib.suppress(EdgewindError):
        whatif.predict_changed(parse_bench(template_bench()), {})
        state.gas.picture({}, 0.3)
