"""A lock that one program at a time can hold on a file, and that the system releases when the program ends."""

from __future__ import annotations

import contextlib
import importlib
from pathlib import Path
from typing import IO, Any

fcntl: Any = None
msvcrt: Any = None
with contextlib.suppress(ImportError):
    fcntl = importlib.import_module("fcntl")
with contextlib.suppress(ImportError):  # Windows
    msvcrt = importlib.import_module("msvcrt")


class LockedError(Exception):
    """Another program holds the lock."""


def lock_file(path: Path) -> IO[bytes]:
    """Open a file, created if missing, and hold a lock on it until it is closed.

    Raises
    ------
    LockedError
        Another program holds it.
    OSError
        The file cannot be opened.
    """
    stream = path.open("ab")
    try:
        if fcntl is not None:
            fcntl.flock(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
        elif msvcrt is not None:
            stream.seek(0)
            msvcrt.locking(stream.fileno(), msvcrt.LK_NBLCK, 1)
    except OSError as error:  # BlockingIOError, or PermissionError on Windows
        stream.close()
        raise LockedError(str(path)) from error
    except BaseException:
        stream.close()
        raise
    return stream
