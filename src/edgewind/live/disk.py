"""Files that are whole or not there, whatever happens to the program or the power."""

from __future__ import annotations

import os
from pathlib import Path


def write_whole(path: Path, content: bytes) -> None:
    """Write a file beside its place, see it onto the disk and put it there, the entry in its folder as well."""
    draft = path.with_name(path.name + ".new")
    with draft.open("wb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())
    draft.replace(path)
    if os.name == "nt":  # folders cannot be opened there
        return
    place = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(place)
    finally:
        os.close(place)
