"""Work on a Dask cluster."""

from __future__ import annotations

import contextvars
import itertools
import pickle
import re
import threading
import uuid
from collections.abc import Callable
from typing import Any

from edgewind.errors import InputError
from edgewind.runner.base import Job, JobCancelledError, JobFailedError, Listener, Runner, reporting

_ADDRESS = re.compile(r"(tcp|tls|ws|wss)://[^\s/:]+(:\d+)/?$|(tcp|tls)://\[[0-9A-Fa-f:]+\]:\d+/?$")


class ClusterRunner(Runner):
    """A Dask cluster.

    If a worker dies, the scheduler runs its pieces again elsewhere. A job that is cancelled
    while it runs ends at its next message; one that sends none runs to its end, and its result is dropped.

    Parameters
    ----------
    address : str
        Address of the scheduler, ``tcp://host:8786``.
    timeout_s : float
        Timeout for an answer of the scheduler, s.

    Raises
    ------
    InputError
        The address is not one, no scheduler answers there, or the extra `cluster` is not installed.
    """

    def __init__(self, address: str, *, timeout_s: float = 10.0) -> None:
        if not _ADDRESS.match(address):
            raise InputError(
                f"'{address}' is not the address of a Dask scheduler", fix="write it as in tcp://host:8786"
            )
        try:
            import distributed
        except ImportError:
            raise InputError(
                "work on a Dask cluster needs the extra 'cluster'", fix='install it: pip install "edgewind[cluster]"'
            ) from None
        try:
            make: Any = distributed.Client
            self._client: Any = make(address, timeout=timeout_s, set_as_default=False, name="edgewind")
        except (OSError, TimeoutError, ValueError) as error:
            raise InputError(
                f"no Dask scheduler answers at {address} ({type(error).__name__})",
                fix="start one with 'dask scheduler', or leave out --cluster to use the processors of this machine",
            ) from None
        self._topic = f"edgewind-{uuid.uuid4().hex}"
        self._names = itertools.count()
        self._jobs: dict[str, Job] = {}
        self._lock = threading.Lock()
        self._client.subscribe_topic(self._topic, self._heard)

    @property
    def at_once(self) -> int:
        """How many jobs run at the same time: the threads of all workers."""
        return max(1, sum(int(threads) for threads in self._client.nthreads().values()))

    def submit(self, function: Callable[..., Any], *arguments: Any, on_message: Listener | None = None) -> Job:
        """Start work as soon as a worker is free."""
        job = Job(on_message)
        name = f"{self._topic}-{next(self._names)}"
        with self._lock:
            self._jobs[name] = job
        future = self._client.submit(_work, self._topic, name, function, arguments, key=name, pure=False)
        job.begin(lambda: future.cancel(force=True))
        future.add_done_callback(lambda ended: self._settle(name, ended))
        return job

    def close(self) -> None:
        """Cancel unfinished jobs and disconnect from the cluster."""
        with self._lock:
            jobs = list(self._jobs.values())
        for job in jobs:
            job.cancel()
        self._client.unsubscribe_topic(self._topic)
        self._client.close()

    def _settle(self, name: str, future: Any) -> None:
        with self._lock:
            job = self._jobs.pop(name, None)
        if job is None or job.settled:
            return
        if future.status == "finished":
            job.settle(result=future.result())
        elif future.status == "cancelled":
            job.settle(error=JobCancelledError("the job was cancelled"))
        else:
            job.settle(error=_error_of(future.exception()))

    def _heard(self, event: tuple[float, tuple[str, bytes]]) -> None:
        name, message = event[1]
        with self._lock:
            job = self._jobs.get(name)
        if job is not None:
            job.message(*pickle.loads(message))


def _error_of(error: BaseException | None) -> BaseException:
    """Return an error of the work as it is, and one of the cluster as a failed job."""
    if error is None:
        return JobFailedError("the job ended without a result")
    if type(error).__module__.partition(".")[0] in ("distributed", "dask"):
        return JobFailedError(f"the cluster could not run the job: {error}")
    return error


def _work(topic: str, name: str, function: Callable[..., Any], arguments: tuple[Any, ...]) -> Any:
    """Run one job on a worker; its messages go through the scheduler."""
    from distributed import get_worker

    worker = get_worker()

    def send(kind: str, value: Any) -> None:
        task = worker.state.tasks.get(name)
        if task is None or task.state in ("cancelled", "resumed"):
            raise JobCancelledError("the job was cancelled")
        worker.log_event(topic, (name, pickle.dumps((kind, value))))

    def run() -> Any:
        with reporting(send):
            return function(*arguments)

    return contextvars.copy_context().run(run)
