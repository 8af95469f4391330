"""Answers on disk, found again by what was asked; a file is there whole or not at all."""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

# Part of every key: a change of the method makes old answers unreachable.
METHOD = 2


def default_folder() -> Path:
    """Folder for cached answers: EDGEWIND_CACHE, or the user's cache folder."""
    named = os.environ.get("EDGEWIND_CACHE")
    if named:
        return Path(named)
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "edgewind" / "responses"


def key_of(question: Mapping[str, Any]) -> str:
    """Name of the file that answers a question, from its content."""
    text = json.dumps({"method": METHOD, **question}, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def fetch(folder: Path, question: Mapping[str, Any]) -> dict[str, Any] | None:
    """Return a stored answer, or None if there is none that can be read."""
    try:
        stored = json.loads((folder / f"{key_of(question)}.json").read_text())
        answer = stored["answer"]
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return answer if isinstance(answer, dict) else None


def keep(folder: Path, question: Mapping[str, Any], answer: Mapping[str, Any]) -> None:
    """Store an answer: written beside its place and moved there in one step, so an interruption leaves no
    half.
    """
    folder.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=folder, suffix=".part")
    try:
        with os.fdopen(handle, "w") as file:
            json.dump({"question": dict(question), "answer": dict(answer)}, file)
        Path(name).replace(folder / f"{key_of(question)}.json")
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
