"""Results of finished pieces, stored in a folder so that interrupted work can resume."""

from __future__ import annotations

import hashlib
import os
import pickle
from collections.abc import Callable
from pathlib import Path
from typing import Any

import edgewind
from edgewind.files import write_whole


class KeptResults:
    """A folder with one file for each finished piece of long work.

    A result is found again by the function, its arguments and the version of this package. The files are pickles of
    this program's own: read only folders that you trust.

    Parameters
    ----------
    folder : path
        Folder of the files; created if it is missing.
    """

    def __init__(self, folder: str | os.PathLike[str]) -> None:
        self.folder = Path(folder)
        self.folder.mkdir(parents=True, exist_ok=True)

    def path(self, function: Callable[..., Any], arguments: tuple[Any, ...]) -> Path:
        """Return the file of a piece."""
        name = f"{function.__module__}.{function.__qualname__}"
        key = hashlib.sha256(pickle.dumps((edgewind.__version__, name, arguments), protocol=5)).hexdigest()
        return self.folder / f"{name.rpartition('.')[2]}-{key[:32]}.pickle"

    def get(self, function: Callable[..., Any], arguments: tuple[Any, ...]) -> tuple[Any] | None:
        """Return the result of a piece in a tuple of one; None where it is not kept, or its file is damaged."""
        try:
            return (pickle.loads(self.path(function, arguments).read_bytes()),)
        except (OSError, EOFError, pickle.UnpicklingError, AttributeError, ImportError, IndexError):
            return None

    def put(self, function: Callable[..., Any], arguments: tuple[Any, ...], result: Any) -> None:
        """Keep the result of a piece: whole, or not at all."""
        write_whole(self.path(function, arguments), pickle.dumps(result, protocol=5))
