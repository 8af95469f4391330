"""Studies asked for from the pages: made one at a time in a process beside the server, kept while it runs."""

from __future__ import annotations

import multiprocessing
import shutil
import tempfile
import threading
import time
import uuid
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from edgewind.web.worker import Order, Subject, work

_MOST_KEPT = 24
_WAIT_S = 0.25


@dataclass(eq=False)
class Study:
    """A study that was asked for.

    Attributes
    ----------
    key : tuple
        What it is of: subjects with how far each had come, and whether it is fitted. Asked again, it is not made again.
    state : {"waiting", "working", "done", "refused", "given up"}
        How it stands.
    progress : tuple of (str, int, int)
        What is being done, how much of it is, and of how much.
    """

    id: str
    key: tuple[Any, ...]
    subjects: tuple[Subject, ...]
    fit: bool
    folder: Path
    state: str = "waiting"
    progress: tuple[str, int, int] = ("waiting for its turn", 0, 1)
    problem: str = ""
    result: dict[str, Any] = field(default_factory=dict)
    seconds: float | None = None

    def as_plain(self) -> dict[str, Any]:
        """Plain types for a page."""
        what, done, total = self.progress
        told: dict[str, Any] = {
            "id": self.id, "state": self.state, "what": what, "done": done, "total": total, "problem": self.problem,
            "fit": self.fit, "seconds": self.seconds,
        }  # fmt: skip
        return told | ({"result": self.result} if self.state == "done" else {})


class Studies:
    """Makes studies; safe between threads."""

    def __init__(self) -> None:
        self._place = Path(tempfile.mkdtemp(prefix="edgewind-pages-"))
        self._lock = threading.Condition()
        self._all: dict[str, Study] = {}
        self._queue: list[Study] = []
        self._listeners: list[Callable[[Study], None]] = []
        self._closing = False
        self._process: Any = None
        self._line: Any = None
        self._working: Study | None = None
        self._thread = threading.Thread(target=self._run, name="studies", daemon=True)
        self._thread.start()

    def ask(self, subjects: tuple[Subject, ...], marks: tuple[Any, ...], *, fit: bool) -> Study:
        """Order a study, or return the one that was made of the same."""
        key = (subjects, marks, fit)
        with self._lock:
            for study in self._all.values():
                if study.key == key and study.state in ("waiting", "working", "done"):
                    return study
            new = uuid.uuid4().hex[:16]
            study = Study(new, key, subjects, fit, self._place / new)
            self._all[study.id] = study
            self._queue.append(study)
            self._forget()
            self._lock.notify_all()
        return study

    def get(self, key: str) -> Study | None:
        """Return a study by its id."""
        with self._lock:
            return self._all.get(key)

    def give_up(self, key: str) -> None:
        """Do without a study that is waiting or being made."""
        with self._lock:
            study = self._all.get(key)
            if study is None or study.state not in ("waiting", "working"):
                return
            study.state = "given up"
            if study in self._queue:
                self._queue.remove(study)
            if study is self._working:
                self._end_process()

    def file(self, key: str, path: str) -> Path | None:
        """Return a file of a finished study; None where there is none, or it lies elsewhere."""
        study = self.get(key)
        if study is None or study.state != "done":
            return None
        root = study.folder.resolve()
        try:
            found = (root / path).resolve()
            return found if found.is_relative_to(root) and found.is_file() else None
        except (OSError, ValueError):
            return None

    def archive(self, key: str) -> Path | None:
        """Return a ZIP of everything that a finished study wrote, report and data package."""
        study = self.get(key)
        if study is None or study.state != "done":
            return None
        return zip_folder(study.folder, self._place / f"{study.id}.zip")

    def close(self) -> None:
        """Stop, and remove what was made."""
        with self._lock:
            self._closing = True
            self._end_process()
            self._lock.notify_all()
        self._thread.join(timeout=5)
        shutil.rmtree(self._place, ignore_errors=True)

    def _forget(self) -> None:
        finished = [study for study in self._all.values() if study.state not in ("waiting", "working")]
        for study in finished[: max(len(self._all) - _MOST_KEPT, 0)]:
            del self._all[study.id]
            shutil.rmtree(study.folder, ignore_errors=True)
            (self._place / f"{study.id}.zip").unlink(missing_ok=True)

    def _run(self) -> None:
        while True:
            with self._lock:
                while not self._queue and not self._closing:
                    self._lock.wait()
                if self._closing:
                    return
                study = self._working = self._queue.pop(0)
                study.state = "working"
                study.progress = ("getting ready", 0, 1)
            start = time.monotonic()
            try:
                self._make(study)
            except (EOFError, OSError):
                if study.state == "working":
                    study.problem, study.state = "the study was cut off; ask for it again", "refused"
                self._end_process()
            study.seconds = time.monotonic() - start
            with self._lock:
                self._working = None

    def _make(self, study: Study) -> None:
        if self._process is None or not self._process.is_alive():
            context = multiprocessing.get_context("spawn")
            self._line, theirs = context.Pipe()
            self._process = context.Process(target=work, args=(theirs,), daemon=True, name="edgewind studies")
            self._process.start()
            theirs.close()
        line = self._line
        line.send(Order(study.subjects, str(study.folder), study.fit))
        while study.state == "working":
            if not line.poll(_WAIT_S):
                continue
            word, told = line.recv()
            if word == "progress":
                study.progress = told
            elif word == "done":
                study.result, study.state = told, "done"
            else:
                study.problem, study.state = told, "refused"

    def _end_process(self) -> None:
        if self._process is not None and self._process.is_alive():
            self._process.terminate()
        if self._line is not None:
            self._line.close()
        self._process = self._line = None


def zip_folder(folder: Path, out: Path) -> Path:
    """Write every file of a folder into a ZIP."""
    draft = out.with_suffix(".part")
    with zipfile.ZipFile(draft, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in sorted(folder.rglob("*")):
            if path.is_file():
                archive.write(path, path.relative_to(folder).as_posix())
    draft.replace(out)
    return out
