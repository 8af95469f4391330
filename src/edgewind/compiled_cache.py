"""Compiled functions that Numba keeps on disk, until a source that they were compiled from changes.

Numba itself looks at the file of a function alone. A function that calls one of another file keeps what it was compiled
from there, and a stored signature that names a class which has since been renamed cannot be read at all.

Programs that start at the same time without stored functions compile each function once: the first locks it, the others
wait for what it stores. Where files cannot be locked, each compiles its own, as Numba itself does.
"""

# mypy: disable-error-code=no-untyped-call

from __future__ import annotations

import re
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from functools import cache
from importlib import import_module
from pathlib import Path
from types import FunctionType
from typing import IO, Any

from numba.core.caching import FunctionCache
from numba.core.compiler_lock import global_compiler_lock

fcntl: Any = None
with suppress(ImportError):
    fcntl = import_module("fcntl")

LONGEST_WAIT_S = 120.0
"""How long a function that another program is compiling is waited for; after that this program waits for none."""

_IMPORTED = re.compile(r"^from ([.\w]+) import", re.MULTILINE)


class KernelCache(FunctionCache):
    """The stored forms of one compiled function."""

    def __init__(self, function: FunctionType) -> None:
        super().__init__(function)
        self._cache_file._source_stamp = (self._cache_file._source_stamp, stamp_of(function.__module__))
        self._lock = FunctionLock(Path(self._cache_file._index_path).with_suffix(".lock"))

    def attach(self, dispatcher: Any) -> None:
        """Let a compiled function store its forms here."""
        dispatcher._cache = self
        dispatcher.compile = self._unlocking(dispatcher.compile)

    def _unlocking(self, compile_form: Callable[[Any], Any]) -> Callable[[Any], Any]:
        def compiled(sig: Any) -> Any:
            with global_compiler_lock:  # so that no other thread of this program compiles the function meanwhile
                held = self._lock.held
                try:
                    return compile_form(sig)
                finally:
                    if not held:  # a function that calls itself keeps the lock until its outermost call is compiled
                        self._lock.release()

        return compiled

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        """Return the stored form for a signature; None where it has to be compiled anew.

        In that case the function is locked until it is stored; another program that is compiling it is waited for.
        """
        stored = self._load(sig, target_context)
        if stored is None and not self._lock.held and self._lock.acquire():
            stored = self._load(sig, target_context)  # another program may have stored it since
        return stored

    def _load(self, sig: Any, target_context: Any) -> Any:
        try:
            return super().load_overload(sig, target_context)
        except (AttributeError, ImportError):  # it names a class or a module that no longer exists
            self.flush()
            return None


class FunctionLock:
    """A lock between programs, which the system releases if its holder dies.

    A POSIX record lock: the children of a process do not inherit it.

    Attributes
    ----------
    waits : bool
        Whether to wait for another program: not after one wait was too long, because that program is stopped, say.
    """

    waits = True

    def __init__(self, path: Path) -> None:
        self._path = path
        self._stream: IO[bytes] | None = None

    @property
    def held(self) -> bool:
        """Whether this program holds it."""
        return self._stream is not None

    def acquire(self) -> bool:
        """Wait for the lock; return False at once if files cannot be locked here, or after too long a wait."""
        if fcntl is None or not FunctionLock.waits:
            return False
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            stream = self._path.open("ab")
        except OSError:  # the folder is read-only
            return False
        try:
            locked = _lock(stream)
        except BaseException:  # the user ends the wait
            stream.close()
            raise
        if locked:
            self._stream = stream
        else:
            stream.close()
        return locked

    def release(self) -> None:
        """Release the lock, if it is held."""
        if self._stream is not None:
            self._stream.close()
            self._stream = None


def _lock(stream: IO[bytes]) -> bool:
    begun = time.monotonic()
    pause_s = 0.01
    while True:
        try:
            fcntl.lockf(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except (BlockingIOError, PermissionError):  # another program holds it
            if time.monotonic() - begun > LONGEST_WAIT_S:
                FunctionLock.waits = False
                return False
            time.sleep(pause_s)
            pause_s = min(2 * pause_s, 0.2)
        except OSError:  # a network folder without locks
            return False
        else:
            return True


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
