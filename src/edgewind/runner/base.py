"""Base of all runners: jobs, their states and messages, and pieces run in parallel."""

from __future__ import annotations

import queue
import threading
from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TYPE_CHECKING, Any, Literal, Self, TypeVar

from edgewind.errors import EdgewindError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from edgewind.runner.keep import KeptResults

State = Literal["waiting", "running", "done", "failed", "cancelled"]
Listener = Callable[[str, Any], None]
Result = TypeVar("Result")

_listener: ContextVar[Listener | None] = ContextVar("edgewind_runner_listener", default=None)


class JobCancelledError(EdgewindError):
    """The job was cancelled before it had a result."""


class JobFailedError(EdgewindError):
    """The job ended without a result: its process died, or it raised an error that is not the user's."""


def report(kind: str, value: Any) -> None:
    """Send a message from running work to the listener of its job; without a runner, do nothing.

    Parameters
    ----------
    kind : str
        Kind of message, such as "progress".
    value : object
        Its content, which is pickled.
    """
    listener = _listener.get()
    if listener is not None:
        listener(kind, value)


@contextmanager
def reporting(listener: Listener | None) -> Iterator[None]:
    """Send the messages of :func:`report` in this block to a listener."""
    token = _listener.set(listener)
    try:
        yield
    finally:
        _listener.reset(token)


class Job:
    """Work that was submitted to a runner.

    Attributes
    ----------
    state : {"waiting", "running", "done", "failed", "cancelled"}
        Its state.
    messages : dict
        The latest message of each kind.
    """

    def __init__(self, on_message: Listener | None = None) -> None:
        self.state: State = "waiting"
        self.messages: dict[str, Any] = {}
        self._on_message = on_message
        self._result: Any = None
        self._error: BaseException | None = None
        self._settled = threading.Event()
        self._lock = threading.Lock()
        self._stop: Callable[[], None] | None = None
        self._after: list[Callable[[Job], None]] = []

    @property
    def settled(self) -> bool:
        """Whether the job has ended, with a result or without."""
        return self._settled.is_set()

    @property
    def error(self) -> BaseException | None:
        """The error that ended the job; None if there was none."""
        return self._error

    def wait(self, seconds: float | None = None) -> bool:
        """Wait until the job has ended, or for a number of seconds; return whether it has ended."""
        return self._settled.wait(seconds)

    def then(self, callback: Callable[[Job], None]) -> None:
        """Call a function with this job once it has ended; immediately if it has."""
        with self._lock:
            if not self._settled.is_set():
                self._after.append(callback)
                return
        callback(self)

    def result(self) -> Any:
        """Wait for the result and return it.

        Raises
        ------
        JobCancelledError
            The job was cancelled.
        JobFailedError
            Its process died, on every attempt.
        Exception
            The error that the work raised.
        """
        self._settled.wait()
        if self._error is not None:
            raise self._error
        return self._result

    def cancel(self) -> bool:
        """Cancel the job; return whether it had not ended before.

        Work in a process of this machine is ended through an exception, so that context managers clean up.
        """
        with self._lock:
            if self._settled.is_set():
                return False
            self.state = "cancelled"
            self._error = JobCancelledError("the job was cancelled")
            stop = self._stop
            self._settled.set()
        if stop is not None:
            stop()
        self._call_back()
        return True

    def begin(self, stop: Callable[[], None]) -> bool:
        """Note that a runner begins the job, and how to stop it; return False where it was cancelled before."""
        with self._lock:
            if self._settled.is_set():
                return False
            self.state, self._stop = "running", stop
            return True

    def message(self, kind: str, value: Any) -> None:
        """Receive a message of the running work."""
        if self.state == "running":
            self.messages[kind] = value
            if self._on_message is not None:
                self._on_message(kind, value)

    def settle(self, *, result: Any = None, error: BaseException | None = None) -> None:
        """End the job with a result or an error; a job that has ended stays as it is."""
        with self._lock:
            if self._settled.is_set():
                return
            self._result, self._error = result, error
            self.state = "done" if error is None else "failed"
            self._settled.set()
        self._call_back()

    def _call_back(self) -> None:
        for callback in self._after:
            callback(self)


class Runner(ABC):
    """A place where long work runs.

    Functions are sent by name, so they must be defined in a module that the other side can import; arguments and
    results are pickled.
    """

    @abstractmethod
    def submit(self, function: Callable[..., Any], *arguments: Any, on_message: Listener | None = None) -> Job:
        """Start work as soon as a worker is free, and return immediately.

        Parameters
        ----------
        function : callable
            The work; a function of a module.
        *arguments : object
            Its arguments.
        on_message : callable, optional
            Called with kind and value of each message that the work sends by :func:`report`, from a thread of the
            runner.
        """

    @abstractmethod
    def close(self) -> None:
        """Cancel unfinished jobs and release the processes."""

    @property
    @abstractmethod
    def at_once(self) -> int:
        """How many jobs run at the same time."""

    def __enter__(self) -> Self:
        """Return the runner itself."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close the runner."""
        self.close()

    def map(
        self,
        function: Callable[..., Result],
        pieces: Sequence[tuple[Any, ...]],
        *,
        keep: KeptResults | None = None,
        on_message: Callable[[int, str, Any], None] | None = None,
        on_result: Callable[[int, Result], None] | None = None,
    ) -> list[Result]:
        """Run a function on many pieces in parallel, and return its results in their order.

        Parameters
        ----------
        function : callable
            The work; a function of a module.
        pieces : sequence of tuple
            Arguments of each call.
        keep : KeptResults, optional
            Where results of finished pieces are kept; a piece that is kept there is not run again.
        on_message : callable, optional
            Called with the place of the piece, kind and value of its message; from one thread at a time.
        on_result : callable, optional
            Called with the place and the result of each piece as it ends, and of each that was kept; from this thread.

        Raises
        ------
        Exception
            The first error of a piece. The others are cancelled; results kept until then stay.
        """
        results: dict[int, Result] = {}
        jobs: dict[int, Job] = {}
        ended: queue.SimpleQueue[int] = queue.SimpleQueue()
        one_at_a_time = threading.Lock()

        def listener(place: int) -> Listener | None:
            if on_message is None:
                return None

            def pass_on(kind: str, value: Any) -> None:
                with one_at_a_time:
                    on_message(place, kind, value)

            return pass_on

        try:
            for place, arguments in enumerate(pieces):
                found = None if keep is None else keep.get(function, arguments)
                if found is not None:
                    results[place] = found[0]
                    if on_result is not None:
                        on_result(place, found[0])
                else:
                    jobs[place] = self.submit(function, *arguments, on_message=listener(place))
                    jobs[place].then(lambda _, place=place: ended.put(place))  # type: ignore[misc]
            while jobs:
                place = ended.get()
                results[place] = jobs.pop(place).result()
                if keep is not None:
                    keep.put(function, pieces[place], results[place])
                if on_result is not None:
                    on_result(place, results[place])
        finally:
            for job in jobs.values():
                job.cancel()
        return [results[place] for place in range(len(pieces))]
