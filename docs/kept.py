"""Output made for the manual, stored where the tests and the build of the manual both find it."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from pathlib import Path

from edgewind.files import replacing


def kept(key: str, make: Callable[[], str]) -> str:
    """Return the output of a key, from the folder EDGEWIND_MANUAL_RUNS if that is set and holds it.

    The tests and the manual run the same commands and notebooks; each is run once.
    """
    place = os.environ.get("EDGEWIND_MANUAL_RUNS")
    if not place:
        return make()
    file = Path(place) / f"{hashlib.sha256(key.encode()).hexdigest()}.txt"
    if not file.is_file():
        made = make()
        with replacing(file) as draft:
            draft.write_text(made, encoding="utf-8")
    return file.read_text(encoding="utf-8")
