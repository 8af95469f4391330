"""Long work asked for from the pages: done one at a time in a process beside the server, kept while it runs."""

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

from edgewind.web.worker import Order, work

_MOST_KEPT = 24
_WAIT_S = 0.25


@dataclass(eq=False)
class Job:
    """Work that was asked for.

    Attributes
    ----------
    key : tuple
        What it is, with all that its result depends on. Asked again, it is not done again.
    order : Order
        What the process beside the server is told.
    folder : Path
        What it may write lies in here.
    state : {"waiting", "working", "done", "refused", "given up"}
        How it stands.
    progress : tuple of (str, int, int)
        What is being done, how much of it is, and of how much.
    part : list of float
        What is ready already, where some of it can be used before the rest.
    """

    id: str
    key: tuple[Any, ...]
    order: Order
    folder: Path
    state: str = "waiting"
    progress: tuple[str, int, int] = ("waiting for its turn", 0, 1)
    problem: str = ""
    result: dict[str, Any] = field(default_factory=dict)
    part: list[float] = field(default_factory=list)
    seconds: float | None = None

    def as_plain(self) -> dict[str, Any]:
        """Plain types for a page."""
        what, done, total = self.progress
        told: dict[str, Any] = {
            "id": self.id, "state": self.state, "what": what, "done": done, "total": total, "problem": self.problem,
            "seconds": self.seconds,
        }  # fmt: skip
        return told | ({"result": self.result} if self.state == "done" else {})


class Jobs:
    """Does jobs; safe between threads."""

    def __init__(self) -> None:
        self._place = Path(tempfile.mkdtemp(prefix="edgewind-pages-"))
        self._lock = threading.Condition()
        self._all: dict[str, Job] = {}
        self._queue: list[Job] = []
        self._closing = False
        self._process: Any = None
        self._line: Any = None
        self._working: Job | None = None
        self._thread = threading.Thread(target=self._run, name="jobs", daemon=True)
        self._thread.start()

    def ask(self, key: tuple[Any, ...], order: Callable[[Path], Order]) -> Job:
        """Order work, or return the job that is the same.

        Parameters
        ----------
        key : tuple
            See :class:`Job`.
        order : callable
            Given the folder that it may write in, returns what the process is told.
        """
        with self._lock:
            for job in self._all.values():
                if job.key == key and job.state in ("waiting", "working", "done"):
                    return job
            new = uuid.uuid4().hex[:16]
            job = Job(new, key, order(self._place / new), self._place / new)
            self._all[job.id] = job
            self._queue.append(job)
            self._forget()
            self._lock.notify_all()
        return job

    def get(self, key: str) -> Job | None:
        """Return a job by its id."""
        with self._lock:
            return self._all.get(key)

    def give_up(self, key: str) -> None:
        """Do without a job that is waiting or being made."""
        with self._lock:
            job = self._all.get(key)
            if job is None or job.state not in ("waiting", "working"):
                return
            job.state = "given up"
            if job in self._queue:
                self._queue.remove(job)
            if job is self._working:
                self._end_process()

    def file(self, key: str, path: str) -> Path | None:
        """Return a file of a finished job; None where there is none, or it lies elsewhere."""
        job = self.get(key)
        if job is None or job.state != "done":
            return None
        root = job.folder.resolve()
        try:
            found = (root / path).resolve()
            return found if found.is_relative_to(root) and found.is_file() else None
        except (OSError, ValueError):
            return None

    def archive(self, key: str) -> Path | None:
        """Return a ZIP of everything that a finished job wrote, report and data package."""
        job = self.get(key)
        if job is None or job.state != "done":
            return None
        return zip_folder(job.folder, self._place / f"{job.id}.zip")

    def close(self) -> None:
        """Stop, and remove what was made."""
        with self._lock:
            self._closing = True
            self._end_process()
            self._lock.notify_all()
        self._thread.join(timeout=5)
        shutil.rmtree(self._place, ignore_errors=True)

    def _forget(self) -> None:
        finished = [job for job in self._all.values() if job.state not in ("waiting", "working")]
        for job in finished[: max(len(self._all) - _MOST_KEPT, 0)]:
            del self._all[job.id]
            shutil.rmtree(job.folder, ignore_errors=True)
            (self._place / f"{job.id}.zip").unlink(missing_ok=True)

    def _run(self) -> None:
        while True:
            with self._lock:
                while not self._queue and not self._closing:
                    self._lock.wait()
                if self._closing:
                    return
                job = self._working = self._queue.pop(0)
                job.state = "working"
                job.progress = ("getting ready", 0, 1)
            start = time.monotonic()
            try:
                self._make(job)
            except (EOFError, OSError):
                if job.state == "working":
                    job.problem, job.state = "it was cut off; ask for it again", "refused"
                self._end_process()
            job.seconds = time.monotonic() - start
            with self._lock:
                self._working = None

    def _make(self, job: Job) -> None:
        if self._process is None or not self._process.is_alive():
            context = multiprocessing.get_context("spawn")
            self._line, theirs = context.Pipe()
            self._process = context.Process(target=work, args=(theirs,), daemon=True, name="edgewind jobs")
            self._process.start()
            theirs.close()
        line = self._line
        line.send(job.order)
        while job.state == "working":
            if not line.poll(_WAIT_S):
                continue
            word, told = line.recv()
            if word == "progress":
                job.progress = told
            elif word == "part":
                job.part = told
            elif word == "done":
                job.result, job.state = told, "done"
            else:
                job.problem, job.state = told, "refused"

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
