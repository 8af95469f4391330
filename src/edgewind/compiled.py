"""Loops that Numba compiles if it is installed; otherwise the same functions run in Python."""

from __future__ import annotations

from importlib.util import find_spec
from typing import Any

from edgewind.extras import need

COMPILED = find_spec("numba") is not None


def njit(**options: Any) -> Any:
    """Return the decorator ``numba.njit`` with these options, or one that leaves a function unchanged.

    With ``cache=True`` the compiled form is stored until a source that it was compiled from changes.
    """
    if not COMPILED:
        return lambda function: function
    import numba

    from edgewind.compiled_cache import KernelCache

    stored = options.pop("cache", False)

    def compiled(function: Any) -> Any:
        dispatcher = numba.njit(**options)(function)
        if stored and hasattr(dispatcher, "enable_caching"):  # NUMBA_DISABLE_JIT leaves the function unchanged
            KernelCache(function).attach(dispatcher)
        return dispatcher

    return compiled


def need_compiled(purpose: str) -> None:
    """Raise an error where uncompiled loops would take hours.

    Raises
    ------
    MissingExtraError
        Numba is not installed; the message holds the command that installs it.
    """
    if not COMPILED:
        need("numba", extra="solve", purpose=purpose)
