"""Loops that Numba compiles where it is installed; where it is not, the same functions run as they are written."""

from __future__ import annotations

from importlib.util import find_spec
from typing import Any

from edgewind.extras import need

COMPILED = find_spec("numba") is not None


def njit(**options: Any) -> Any:
    """Return the decorator ``numba.njit`` with these options, or one that leaves a function as it is."""
    if not COMPILED:
        return lambda function: function
    import numba

    return numba.njit(**options)


def need_compiled(purpose: str) -> None:
    """Refuse what would take hours where nothing is compiled.

    Raises
    ------
    MissingExtraError
        Numba is not installed; the message holds the command that installs it.
    """
    if not COMPILED:
        need("numba", extra="solve", purpose=purpose)
