"""Solutions on disk, keyed by their input; files are written atomically."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from edgewind.files import cache_folder, write_whole

# Part of every key: a change of the method invalidates old solutions.
METHOD = 2


def default_folder() -> Path:
    """Return the folder for cached solutions: EDGEWIND_CACHE, or the user's cache folder."""
    return cache_folder() if os.environ.get("EDGEWIND_CACHE") else cache_folder() / "responses"


def folder_of(cache: bool | str | os.PathLike[str]) -> Path | None:
    """Return the folder that the argument `cache` of a computation names; None if nothing is stored."""
    return None if cache is False else default_folder() if cache is True else Path(cache)


def key_of(question: Mapping[str, Any]) -> str:
    """Return the name of the file of a solution, from its input."""
    text = json.dumps({"method": METHOD, **question}, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def fetch(folder: Path, question: Mapping[str, Any]) -> dict[str, Any] | None:
    """Return a stored solution, or None if there is none that can be read."""
    try:
        stored = json.loads((folder / f"{key_of(question)}.json").read_text())
        answer = stored["answer"]
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return answer if isinstance(answer, dict) else None


def keep_answer(folder: Path, question: Mapping[str, Any], answer: Mapping[str, Any]) -> None:
    """Store a solution atomically."""
    text = json.dumps({"question": dict(question), "answer": dict(answer)})
    folder.mkdir(parents=True, exist_ok=True)
    write_whole(folder / f"{key_of(question)}.json", text.encode())
