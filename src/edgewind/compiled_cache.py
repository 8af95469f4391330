"""Compiled functions that Numba keeps on disk, until a source that they were compiled from changes.

Numba itself looks at the file of a function alone. A function that calls one of another file keeps what it was compiled
from there, and a stored signature that names a class which has since been renamed cannot be read at all.
"""

# mypy: disable-error-code=no-untyped-call

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from types import FunctionType
from typing import Any

from numba.core.caching import FunctionCache

_IMPORTED = re.compile(r"^from ([.\w]+) import", re.MULTILINE)


class KernelCache(FunctionCache):
    """The stored forms of one compiled function."""

    def __init__(self, function: FunctionType) -> None:
        super().__init__(function)
        self._cache_file._source_stamp = (self._cache_file._source_stamp, stamp_of(function.__module__))

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        """Return the stored form for a signature; None where it has to be compiled anew."""
        try:
            return super().load_overload(sig, target_context)
        except (AttributeError, ImportError):  # it names a class or a module that no longer exists
            self.flush()
            return None


def stamp_of(module: str) -> tuple[tuple[str, int, int], ...]:
    """Return name, time and size of every file that the compiled functions of a module draw on.

    Parameters
    ----------
    module : str
        Name of the module, which is imported: the files are those of the modules that it imports from its own package,
        and of those that modules with compiled functions among them import.
    """
    return tuple(sorted(_stamps(module, set())))


def _stamps(module: str, seen: set[str]) -> Iterator[tuple[str, int, int]]:
    seen.add(module)
    name = getattr(sys.modules.get(module), "__file__", None)
    try:
        path = Path(name or "")
        found = path.stat()
        text = _text(path, found.st_mtime_ns)
    except OSError:  # within an archive, or without a file: Numba's own stamp has to do
        return
    yield module, found.st_mtime_ns, found.st_size
    if "njit" in text:
        package = module.partition(".")[0]
        for other in _IMPORTED.findall(text):
            if other.partition(".")[0] == package and other not in seen:
                yield from _stamps(other, seen)


@cache
def _text(path: Path, _changed: int) -> str:
    return path.read_text(encoding="utf-8")
