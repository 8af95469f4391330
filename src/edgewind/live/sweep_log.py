"""Log of a sweep in the book beside its readings: plan, skipped steps, chosen targets, end.

Each is a small kept file under ``sweeps/ID/``: added, never altered, and exported with the experiment. The state of a
sweep follows from them and from the keys of the readings, ``ID/NNN/R``: step and repeat.
"""

from __future__ import annotations

import hashlib
import io
import json
import re
import secrets
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import Any

from edgewind.book import Book, Contents, TraceFile
from edgewind.live.sweep_request import Step, SweepRequest

JOIN = " / "  # between the notes of one reading
_TARGET = ("number", "kind", "pressure_pa", "direction", "why")
_PLAN = re.compile(r"sweeps/([^/]+)/plan\.json")


def new_id(request: SweepRequest) -> str:
    """Return a name for a sweep: its time, its digest, and four random characters."""
    began = datetime.now(UTC).strftime("%Y%m%dT%H%M%S")
    return f"{began}-{request.digest[:4]}{secrets.token_hex(2)}"


@dataclass(frozen=True)
class Unfinished:
    """A sweep that was begun and not ended."""

    id: str
    request: SweepRequest
    done: int
    total: int


class SweepLog:
    """The files of one sweep in one experiment of a book."""

    def __init__(self, book: Book, experiment: str, sweep: str) -> None:
        self._book, self._experiment, self.id = book, experiment, sweep

    def keep(self, name: str, content: Mapping[str, Any]) -> None:
        """Store a file; the same content is stored once."""
        data = json.dumps(content, ensure_ascii=False, indent=1).encode() + b"\n"
        self._book.keep_file(self._experiment, TraceFile(f"sweeps/{self.id}/{name}.json", data))

    def keep_target(self, step: Step) -> None:
        """Store a target that was chosen during the sweep."""
        self.keep(f"{step.number:04d}-target", asdict(step))

    def keep_skipped(self, step: Step, why: str) -> None:
        """Store that a step was skipped, and why."""
        self.keep(f"{step.number:04d}-skipped", {"why": why, "pressure_pa": step.pressure_pa})

    def keep_note(self, text: str) -> None:
        """Store a note that belongs to no reading."""
        mark = hashlib.sha256(text.encode()).hexdigest()[:12]
        self.keep(f"note-{mark}", {"note": text})

    def key(self, step: Step, turn: int) -> str:
        """Return the key of a reading."""
        return f"{self.id}/{step.number:04d}/{turn}"

    def last_reading(self, contents: Contents) -> int | None:
        """Return the number of the last reading of this sweep; None if it has none."""
        return max((reading.number for reading in contents.readings if _is_of(reading.key, self.id)), default=None)

    def turns(self, contents: Contents) -> dict[int, int]:
        """Return the number of readings of each step in the book."""
        keys = (reading.key for reading in contents.readings if _is_of(reading.key, self.id))
        return dict(Counter(int(key.split("/")[1]) for key in keys))

    def done(self, contents: Contents) -> set[int]:
        """Return the numbers of the steps that have a reading or were skipped."""
        found = {int(reading.key.split("/")[1]) for reading in contents.readings if _is_of(reading.key, self.id)}
        pattern = re.compile(rf"sweeps/{re.escape(self.id)}/(\d+)-skipped\.json")
        return found | {int(match[1]) for kept in contents.files if (match := pattern.fullmatch(kept.path))}

    def targets(self, contents: Contents) -> list[Step]:
        """Return the targets that were chosen during the sweep, in order."""
        pattern = re.compile(rf"sweeps/{re.escape(self.id)}/(\d+)-target\.json")
        paths = sorted(kept.path for kept in contents.files if pattern.fullmatch(kept.path))
        kept = (read_json(self._book, self._experiment, path) for path in paths)
        return [Step(**{name: one[name] for name in _TARGET if name in one}) for one in kept]


def attach_notes(book: Book, experiment: str, sweep: str, notes: Sequence[str]) -> None:
    """Attach notes to the last reading of a sweep, each once; without a reading they are stored beside its plan.

    Raises
    ------
    BookError
        The book cannot be written.
    """
    log, contents = SweepLog(book, experiment, sweep), book.contents(experiment)
    last = log.last_reading(contents)
    if last is None:
        for note in notes:
            log.keep_note(note)
        return
    now = contents.cells_now()[last - 1].get("note", "")
    new = [note for note in dict.fromkeys(notes) if f"{JOIN}{note}{JOIN}" not in f"{JOIN}{now}{JOIN}"]
    if new:
        book.change(experiment, last, {"note": JOIN.join(filter(None, (now, *new)))}, "noted at the bench")


def _is_of(key: str, sweep: str) -> bool:
    return bool(re.fullmatch(rf"{re.escape(sweep)}/\d+/\d+", key))


def read_json(book: Book, experiment: str, path: str) -> Any:
    """Read a stored file of the recorder."""
    stream = io.BytesIO()
    book.copy_file(experiment, path, stream)
    return json.loads(stream.getvalue())


def unfinished_of(book: Book, experiment: str) -> list[Unfinished]:
    """Return the sweeps of an experiment that were begun and not ended, the latest last."""
    contents = book.contents(experiment)
    paths = {kept.path for kept in contents.files}
    found = []
    for path in sorted(paths):
        match = _PLAN.fullmatch(path)
        if match is None or f"sweeps/{match[1]}/end.json" in paths:
            continue
        request = SweepRequest.of(read_json(book, experiment, path)["request"])
        done = SweepLog(book, experiment, match[1]).done(contents)
        found.append(Unfinished(match[1], request, len(done), len(request.steps()) or request.adaptive))
    return found


def abandon(book: Book, experiment: str, sweeps: Iterable[Unfinished], why: str) -> None:
    """Note of unfinished sweeps that they will not be resumed."""
    for one in sweeps:
        SweepLog(book, experiment, one.id).keep("end", {"phase": "given up", "why": why})
