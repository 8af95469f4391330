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
# How long a process has to put away what is half made before it is ended without asking, seconds.
_GRACE_S = 5.0


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
    kept : tuple
        What further orders may need of it, and no page is told.
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
    kept: tuple[Any, ...] = ()
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
        """Do without a job that is waiting or being made.

        The thread that waits for its process then ends it, and what it wrote is removed.
        """
        with self._lock:
            job = self._all.get(key)
            if job is not None and job.state in ("waiting", "working"):
                job.state = "given up"
                if job in self._queue:
                    self._queue.remove(job)

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
            self._lock.notify_all()
        self._thread.join(timeout=2 * _GRACE_S)
        shutil.rmtree(self._place, ignore_errors=True)

    def _forget(self) -> None:
        finished = [job for job in self._all.values() if job.state not in ("waiting", "working")]
        for job in finished[: max(len(self._all) - _MOST_KEPT, 0)]:
            del self._all[job.id]
            shutil.rmtree(job.folder, ignore_errors=True)
            (self._place / f"{job.id}.zip").unlink(missing_ok=True)

    def _run(self) -> None:
        while (job := self._next()) is not None:
            start = time.monotonic()
            try:
                self._make(job)
            except (EOFError, OSError):
                self._settle(job, "refused", problem="it was cut off; ask for it again")
                self._end_process()
            if job.state == "given up":
                self._end_process()
                shutil.rmtree(job.folder, ignore_errors=True)
            job.seconds = time.monotonic() - start
        self._end_process()

    def _next(self) -> Job | None:
        """The job whose turn it is; None at the end."""
        with self._lock:
            while not self._queue and not self._closing:
                self._lock.wait()
            if self._closing:
                return None
            job = self._queue.pop(0)
            job.state, job.progress = "working", ("getting ready", 0, 1)
            return job

    def _make(self, job: Job) -> None:
        if self._process is None or not self._process.is_alive():
            self._end_process()
            context = multiprocessing.get_context("spawn")
            self._line, theirs = context.Pipe()
            self._process = context.Process(target=work, args=(theirs,), daemon=True, name="edgewind jobs")
            self._process.start()
            theirs.close()
        line = self._line
        line.send(job.order)
        while job.state == "working" and not self._closing:
            if not line.poll(_WAIT_S):
                continue
            word, told = line.recv()
            if word in ("progress", "part", "kept"):
                setattr(job, word, told)
            elif word == "done":
                self._settle(job, "done", result=told)
            else:
                self._settle(job, "refused", problem=told)

    def _settle(self, job: Job, state: str, *, problem: str = "", result: dict[str, Any] | None = None) -> None:
        with self._lock:
            if job.state == "working":  # what was given up meanwhile stays so
                job.problem, job.result, job.state = problem, result or {}, state

    def _end_process(self) -> None:
        """End the process beside the server, and wait until it is gone; only the thread of the jobs does."""
        process, line = self._process, self._line
        self._process = self._line = None
        if process is not None:
            process.terminate()
            process.join(_GRACE_S)
            if process.is_alive():
                process.kill()
                process.join()
            process.close()
        if line is not None:
            line.close()


def zip_folder(folder: Path, out: Path) -> Path:
    """Write every file of a folder into a ZIP."""
    draft = out.with_suffix(".part")
    with zipfile.ZipFile(draft, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in sorted(folder.rglob("*")):
            if path.is_file():
                archive.write(path, path.relative_to(folder).as_posix())
    draft.replace(out)
    return out
