"""Work in processes of this machine, each a program of its own with pipes for requests and answers.

Unlike a worker of `multiprocessing`, a process never imports the calling program, so that any script, page, notebook or
thread can start work.
"""

from __future__ import annotations

import os
import pickle
import queue
import subprocess
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import edgewind
from edgewind.memory import kept_memory_variables
from edgewind.runner.base import Job, JobFailedError, Listener, Runner

# Time for a process to clean up before it is killed, s.
_GRACE_S = 5.0


def processors() -> int:
    """Return how many processors this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on every system
        return os.cpu_count() or 1


class LocalRunner(Runner):
    """Processes of this machine, started as they are needed and kept until the runner is closed.

    Parameters
    ----------
    processes : int, optional
        Number of parallel jobs; default: number of processors.
    nice : int
        Niceness of the processes, where the system supports it.
    attempts : int
        Number of starts of a job whose process dies without an answer.
    """

    def __init__(self, processes: int | None = None, *, nice: int = 0, attempts: int = 3) -> None:
        self._most = max(1, processors() if processes is None else processes)
        self._nice, self._attempts = nice, attempts
        self._queue: queue.SimpleQueue[tuple[Job, bytes] | None] = queue.SimpleQueue()
        self._lock = threading.Lock()
        self._threads: list[threading.Thread] = []
        self._idle = 0
        self._open: set[Job] = set()
        self._closed = False

    @property
    def at_once(self) -> int:
        """How many jobs run at the same time."""
        return self._most

    @property
    def process_ids(self) -> list[int]:
        """Return the ids of the running processes."""
        with self._lock:
            return [thread.worker.pid for thread in self._workers() if thread.worker is not None]

    def submit(self, function: Callable[..., Any], *arguments: Any, on_message: Listener | None = None) -> Job:
        """Start work as soon as a process is free."""
        job = Job(on_message)
        request = pickle.dumps((function, arguments), protocol=5)  # an argument that cannot be sent fails here
        with self._lock:
            if self._closed:
                raise RuntimeError("the runner is closed")
            self._open.add(job)
            self._queue.put((job, request))
            if len(self._open) > len(self._threads) < self._most:
                thread = _WorkerThread(self._queue, self._nice, self._attempts, self._forget)
                self._threads.append(thread)
                thread.start()
        return job

    def close(self) -> None:
        """Cancel unfinished jobs and end the processes."""
        with self._lock:
            if self._closed:
                return
            self._closed = True
            jobs, threads = list(self._open), list(self._threads)
        for job in jobs:
            job.cancel()
        for _ in threads:
            self._queue.put(None)
        for thread in threads:
            thread.join()

    def _workers(self) -> list[_WorkerThread]:
        return [thread for thread in self._threads if isinstance(thread, _WorkerThread)]

    def _forget(self, job: Job) -> None:
        with self._lock:
            self._open.discard(job)


class _WorkerThread(threading.Thread):
    """One process, and the thread that communicates with it."""

    def __init__(
        self,
        jobs: queue.SimpleQueue[tuple[Job, bytes] | None],
        nice: int,
        attempts: int,
        forget: Callable[[Job], None],
    ) -> None:
        super().__init__(daemon=True, name="edgewind runner")
        self._jobs, self._nice, self._attempts, self._forget = jobs, nice, attempts, forget
        self.worker: subprocess.Popen[bytes] | None = None

    def run(self) -> None:
        while (item := self._jobs.get()) is not None:
            job, request = item
            try:
                self._work_off(job, request)
            except Exception as error:  # a fault of the runner ends the job, not the thread
                job.settle(error=JobFailedError(f"the job could not be run: {error}"))
                self._end()
            finally:
                self._forget(job)
        self._end()

    def _work_off(self, job: Job, request: bytes) -> None:
        for _ in range(self._attempts):
            worker = self._process()
            if not job.begin(lambda worker=worker: _terminate(worker)):  # type: ignore[misc]
                return
            if self._answered(worker, job, request):
                if job.state == "cancelled":
                    self._end()
                return
            self._end()
            if job.settled:
                return
        job.settle(
            error=JobFailedError(
                f"the process of this job died {self._attempts} times without an answer; "
                "it may need more memory than there is"
            )
        )

    def _answered(self, worker: subprocess.Popen[bytes], job: Job, request: bytes) -> bool:
        """Send a request to the process, and return whether it answered; False if it died."""
        assert worker.stdin is not None
        assert worker.stdout is not None
        try:
            worker.stdin.write(request)
            worker.stdin.flush()
            while True:
                kind, value = pickle.load(worker.stdout)
                if kind == "message":
                    job.message(*value)
                elif kind == "error":
                    job.settle(error=value)
                    return True
                else:
                    job.settle(result=value)
                    return True
        except (EOFError, OSError, pickle.UnpicklingError):
            return False

    def _process(self) -> subprocess.Popen[bytes]:
        if self.worker is None or self.worker.poll() is not None:
            self._end()
            self.worker = subprocess.Popen(
                [sys.executable, "-m", "edgewind.runner.worker", str(self._nice)],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                env=worker_environment(),
            )
        return self.worker

    def _end(self) -> None:
        """End the process and wait until it has ended."""
        worker, self.worker = self.worker, None
        if worker is None:
            return
        for stream in (worker.stdin, worker.stdout):
            with suppress(OSError):
                if stream is not None:
                    stream.close()  # an idle process ends at the end of its input
        try:
            worker.wait(0.5)
        except subprocess.TimeoutExpired:
            _terminate(worker)
            try:
                worker.wait(_GRACE_S)
            except subprocess.TimeoutExpired:
                worker.kill()
                worker.wait()


def _terminate(worker: subprocess.Popen[bytes]) -> None:
    with suppress(OSError):
        worker.terminate()


def worker_environment() -> dict[str, str]:
    """Return the environment of a process: the same package, one thread of linear algebra, freed memory kept."""
    package = str(Path(edgewind.__file__).parents[1])
    known = os.environ.get("PYTHONPATH", "")
    threads = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    known_or_ours = kept_memory_variables() | os.environ | threads
    return known_or_ours | {"PYTHONPATH": os.pathsep.join(part for part in (package, known) if part)}
