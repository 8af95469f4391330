"""Long work of the pages: run beside the server, and kept with its files while the server runs."""

from __future__ import annotations

import shutil
import tempfile
import threading
import uuid
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from edgewind.errors import EdgewindError
from edgewind.files import replacing
from edgewind.runner import Job, LocalRunner, Runner

_MOST_KEPT = 24
# The work yields to the pages, so that new readings are shown first.
_NICE = 10
_UNDER_WAY = ("waiting", "running")


class PageJob:
    """Work of the pages.

    Attributes
    ----------
    id : str
        Its name in addresses.
    key : tuple
        Everything that its result depends on. A repeated order is not done again.
    arguments : tuple
        Arguments of its function.
    folder : Path
        Its output folder.
    """

    def __init__(self, key: tuple[Any, ...], folder: Path, arguments: tuple[Any, ...], job: Job) -> None:
        self.id, self.key, self.folder, self.arguments, self._job = folder.name, key, folder, arguments, job

    @property
    def state(self) -> str:
        """Its state: waiting, running, done, failed or cancelled."""
        return self._job.state

    @property
    def under_way(self) -> bool:
        """Whether it has not ended."""
        return self.state in _UNDER_WAY

    @property
    def part(self) -> list[float]:
        """Partial results that can be used before the end."""
        return list(self._job.messages.get("part", ()))

    @property
    def kept(self) -> tuple[Any, ...]:
        """Results for further work, not shown on a page."""
        return tuple(self._job.messages.get("kept", ()))

    def wait(self, seconds: float | None = None) -> bool:
        """Wait until it has ended; return whether it has."""
        return self._job.wait(seconds)

    def cancel(self) -> bool:
        """Cancel it; return whether it had not ended before."""
        return self._job.cancel()

    def to_dict(self) -> dict[str, Any]:
        """Return its state, for a page."""
        waiting = ("waiting for its turn" if self.state == "waiting" else "getting ready", 0, 1)
        what, done, total = self._job.messages.get("progress", waiting)
        view = {
            "id": self.id, "state": self.state, "what": what, "done": done, "total": total, "problem": self._problem(),
        }  # fmt: skip
        return view | ({"result": self._job.result()} if self.state == "done" else {})

    def _problem(self) -> str:
        error = self._job.error if self.state == "failed" else None
        if error is None:
            return ""
        return str(error) if isinstance(error, EdgewindError) else f"it failed: {error!r}"


class Jobs:
    """A queue of long work, one job at a time; safe between threads.

    Parameters
    ----------
    runner : Runner, optional
        Where the work is done; default: one process of this machine.
    """

    def __init__(self, runner: Runner | None = None) -> None:
        self._folder = Path(tempfile.mkdtemp(prefix="edgewind-pages-"))
        self._runner = runner or LocalRunner(1, nice=_NICE)
        self._lock = threading.Lock()
        self._all: dict[str, PageJob] = {}

    def ask(
        self, key: tuple[Any, ...], function: Callable[..., Any], arguments: Callable[[Path], tuple[Any, ...]]
    ) -> PageJob:
        """Order work, or return the existing job with the same key.

        Parameters
        ----------
        key : tuple
            See :class:`PageJob`.
        function : callable
            The work.
        arguments : callable
            Returns the arguments of the function, given the output folder of the work.
        """
        with self._lock:
            for known in self._all.values():
                if known.key == key and known.state in (*_UNDER_WAY, "done"):
                    return known
            folder = self._folder / uuid.uuid4().hex[:16]
            called = arguments(folder)
            job = PageJob(key, folder, called, self._runner.submit(function, *called))
            self._all[job.id] = job
            self._forget()
        return job

    def get(self, key: str) -> PageJob | None:
        """Return a job by its id."""
        with self._lock:
            return self._all.get(key)

    def file(self, key: str, path: str) -> Path | None:
        """Return a file of a finished job; None if there is none, or if its path leads out of the job's folder."""
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
        """Return a ZIP of every file of a finished job."""
        job = self.get(key)
        if job is None or job.state != "done":
            return None
        return zip_folder(job.folder, self._folder / f"{job.id}.zip")

    def close(self) -> None:
        """Cancel unfinished jobs, and remove every file."""
        self._runner.close()
        shutil.rmtree(self._folder, ignore_errors=True)

    def _forget(self) -> None:
        ended = [job for job in self._all.values() if not job.under_way]
        for job in ended[: max(len(self._all) - _MOST_KEPT, 0)]:
            del self._all[job.id]
            shutil.rmtree(job.folder, ignore_errors=True)
            (self._folder / f"{job.id}.zip").unlink(missing_ok=True)


def zip_folder(folder: Path, out: Path) -> Path:
    """Write every file of a folder into a ZIP."""
    with replacing(out) as draft, zipfile.ZipFile(draft, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in sorted(folder.rglob("*")):
            if path.is_file():
                archive.write(path, path.relative_to(folder).as_posix())
    return out
