"""Errors of the pages, and their responses: as JSON beside a field, or as a page."""

from __future__ import annotations

from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.types import ExceptionHandler

from edgewind.book import LockedBookError
from edgewind.errors import EdgewindError, InputError
from edgewind.errors import FieldError as FieldError


class DoubtError(FieldError):
    """A value may be a mistake: it is stored only if it is sent again with a confirmation."""


class NotFoundError(InputError):
    """The catalog has no entry of that name."""


class TooLargeError(InputError):
    """The body of a request is larger than its limit."""


_STATUS = ((NotFoundError, 404), (TooLargeError, 413), (LockedBookError, 503))


def handlers() -> dict[Any, ExceptionHandler]:
    """Return the handler of each kind of error."""
    return {
        EdgewindError: _refuse, HTTPException: _refuse_address, ClientDisconnect: _end, Exception: _report_fault,
    }  # fmt: skip


def _refuse(request: Request, error: Exception) -> Response:
    status = next((code for kind, code in _STATUS if isinstance(error, kind)), 400)
    problem, fix = (error.problem, error.fix) if isinstance(error, InputError) else (str(error), None)
    if request.url.path.startswith(("/api/", "/live/")):
        return _json(
            status,
            problem,
            fix,
            getattr(error, "field", None),
            str(error),
            getattr(error, "line", None),
            isinstance(error, DoubtError),
        )
    return _page(request, status, "This page cannot be shown", problem, fix)


def _refuse_address(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    problem = "Nothing was found at this address"
    if request.url.path.startswith("/api/"):
        return _json(status, problem)
    return _page(request, status, "Not found", problem, "choose from the books page")


def _end(request: Request, error: Exception) -> Response:
    # A page was left while it sent: no client receives this answer, and the program is not at fault.
    return Response(status_code=400)


def _report_fault(request: Request, error: Exception) -> Response:
    # The server's own log holds the traceback.
    return _json(500, f"Error in the program ({type(error).__name__})", "data already saved are not affected")


def _json(
    status: int,
    problem: str,
    fix: str | None = None,
    field: str | None = None,
    text: str = "",
    line: int | None = None,
    doubt: bool = False,
) -> Response:
    found = {
        "problem": problem, "fix": fix, "field": field, "text": text or problem, "line": line, "doubt": doubt,
    }  # fmt: skip
    return JSONResponse(found, status)


def _page(request: Request, status: int, title: str, problem: str, fix: str | None) -> Response:
    from edgewind.web.page import page

    return page(request, "refused.html", status, title=title, problem=problem, fix=fix)
