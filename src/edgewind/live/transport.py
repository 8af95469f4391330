"""A connection to an instrument: queries, answers, and recovery from mismatched ones.

After any trouble the connection is closed, opened anew and drained, and the instrument has to answer its check question
as it did at the beginning before its next answer is believed. So an answer that comes late is never taken for that of
a later question. Everything is tried a bounded number of times.
"""

from __future__ import annotations

import threading
from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import TypeVar

from edgewind.clock import Clock, Event, SystemClock
from edgewind.live.errors import DisconnectedError, GarbledError, InstrumentError, NoAnswerError

T = TypeVar("T")

_MOST_BLOCK = 1 << 31
_MOST_ERRORS = 30
SEE = "see that it is switched on and that its cable is in place"
_REST_S = 0.05  # between two attempts; doubled each time
_LONGEST_REST_S = 1.0


class Transport(ABC):
    """One connection; its kinds are in `transport_tcp`, `transport_serial` and `transport_visa`.

    Threads may share it: a question and its answer are never mixed with those of another thread.

    Parameters
    ----------
    address : str
        What is opened.
    timeout_s : float
        Longest wait for an answer, s.
    retries : int
        Attempts beyond the first.
    termination : str
        What ends a line.
    check : str
        The question whose answer never changes, or empty.
    clock : Clock, optional
        What waits between attempts; that of the machine otherwise.
    """

    def __init__(
        self, address: str, *, timeout_s: float = 2.0, retries: int = 2, termination: str = "\n", check: str = "",
        clock: Clock | None = None,
    ) -> None:  # fmt: skip
        self.clock: Clock = clock or SystemClock()
        self.address, self.timeout_s, self.retries = address, timeout_s, retries
        self.termination, self.check = termination.encode(), check
        self.on_trouble: Callable[[str], None] = lambda _: None
        self.identity: bytes | None = None
        self.lock = threading.RLock()
        self._opened = False
        self._troubled = False
        self._breaks: tuple[type[Exception], ...] = (OSError,)

    # What a kind of connection has to do. Each raises an InstrumentError or an OSError.

    @abstractmethod
    def _open(self) -> None:
        """Open the connection."""

    @abstractmethod
    def _shut(self) -> None:
        """Close it; may be called when it is closed."""

    @abstractmethod
    def _send(self, data: bytes) -> None:
        """Send bytes."""

    @abstractmethod
    def _read_line(self, timeout_s: float) -> bytes:
        """Return the next line without its termination; raise NoAnswerError where none is complete in time."""

    @abstractmethod
    def _read_exactly(self, count: int, timeout_s: float) -> bytes:
        """Return so many bytes; raise NoAnswerError where they do not come in time."""

    @abstractmethod
    def _pending(self) -> bool:
        """Return whether something has come that was not read."""

    @abstractmethod
    def _drain(self) -> None:
        """Throw away what has come and is still coming."""

    # What callers use

    def write(self, command: str, *, errors: str = "") -> None:
        """Send a command that nothing answers, and see that the connection carried it.

        Parameters
        ----------
        command : str
            The command.
        errors : str
            The question that is answered with 0 where it was understood, or empty; the check question is asked in its
            place, since a command that went before an answered question has arrived.

        Raises
        ------
        InstrumentError
            It could not be sent, or was not understood, in all attempts.
        """

        def once() -> None:
            self._send(command.encode() + self.termination)
            if errors:
                said = self._ask(errors, self.timeout_s)
                if not _is_none(said):
                    for _ in range(_MOST_ERRORS):  # of commands before it, and of what was garbled on its way
                        if _is_none(self._ask(errors, self.timeout_s)):
                            break
                    raise GarbledError(self.address, f"'{command}' was refused: {_shown(said)}")
            elif self.check:
                self._see_identity()

        self._attempt(once, self.retries)

    def write_only(self, command: str) -> None:
        """Send a command and ask nothing after it."""
        self._attempt(lambda: self._send(command.encode() + self.termination), self.retries)

    def query(
        self, question: str, parse: Callable[[str], T], *, timeout_s: float | None = None, retries: int | None = None
    ) -> T:
        """Ask a question and return what `parse` makes of its answer; `parse` raises ValueError for what is none.

        Raises
        ------
        InstrumentError
            No answer that can be used came in all attempts.
        """

        def once() -> T:
            said = self._ask(question, self.timeout_s if timeout_s is None else timeout_s)
            try:
                return parse(said.decode("ascii"))
            except ValueError:
                raise GarbledError(self.address, f"'{question}' was answered with {_shown(said)}") from None

        return self._attempt(once, self.retries if retries is None else retries)

    def query_block(self, question: str, *, timeout_s: float | None = None, retries: int | None = None) -> bytes:
        """Ask for a definite-length block (IEEE 488.2-1992, 8.7.9): ``#``, one digit n, n digits of length, bytes.

        Raises
        ------
        InstrumentError
            No whole block came in all attempts.
        """
        limit = self.timeout_s if timeout_s is None else timeout_s

        def once() -> bytes:
            self._send_question(question)
            return self._block(question, limit)

        return self._attempt(once, self.retries if retries is None else retries)

    def _block(self, question: str, limit: float) -> bytes:
        head = self._read_exactly(2, limit)
        if head[:1] != b"#" or not head[1:].isdigit() or head[1:] == b"0":
            raise GarbledError(self.address, f"'{question}' was answered with {_shown(head)}…, not a block")
        digits = self._read_exactly(int(head[1:]), limit)
        if not digits.isdigit() or int(digits) > _MOST_BLOCK:
            raise GarbledError(self.address, f"'{question}' was answered with a block of length {_shown(digits)}")
        content = self._read_exactly(int(digits), limit)
        end = self._read_exactly(len(self.termination), limit)
        if end != self.termination:
            raise GarbledError(self.address, f"the block that answers '{question}' is longer than its stated length")
        return content

    def query_while(self, question: str, attend: Callable[[Event, float], None], *, timeout_s: float) -> str:
        """Query, and attend to something else until the answer has come; nothing is tried again.

        Parameters
        ----------
        question : str
            The question.
        attend : callable
            Called until the answer is there with an event that is set by it and the seconds to wait for it at most.
            What it raises breaks the connection off, so that nothing else has to wait for the answer.
        timeout_s : float
            Longest wait for the answer, s.

        Raises
        ------
        InstrumentError
            No answer came.
        """
        found: list[str] = []
        errors: list[BaseException] = []
        over = threading.Event()

        def ask() -> None:
            try:
                found.append(self.query(question, lambda text: text, timeout_s=timeout_s, retries=0))
            except BaseException as error:
                errors.append(error)
            finally:
                over.set()

        asking = threading.Thread(target=ask, name="edgewind query", daemon=True)
        asking.start()
        try:
            while not over.is_set():
                attend(over, timeout_s)
        except BaseException:
            self.abort()
            raise
        if errors:
            raise errors[0]
        return found[0]

    def verify(self) -> None:
        """Check that questions and answers go together, where the instrument has a check question.

        Raises
        ------
        InstrumentError
            They do not, after all attempts to bring them together.
        """
        if self.check:
            self._attempt(self._see_identity, self.retries)

    def close(self) -> None:
        """Let go of the connection; the next question opens it again."""
        with self.lock:
            self._opened = False
            self._shut()

    def abort(self) -> None:
        """End another thread's wait for an answer with DisconnectedError, where this kind of connection can."""
        return

    # How trouble is met

    def _ask(self, question: str, timeout_s: float) -> bytes:
        self._send_question(question)
        return self._read_line(timeout_s)

    def _send_question(self, question: str) -> None:
        if self._pending():
            raise GarbledError(self.address, f"data arrived before '{question}' was sent")
        self._send(question.encode() + self.termination)

    def _attempt(self, once: Callable[[], T], retries: int) -> T:
        rest = _REST_S
        with self.lock:
            for left in range(retries, -1, -1):
                try:
                    self._ready()
                    return once()
                except InstrumentError as error:
                    found = error
                except self._breaks as error:
                    said = getattr(error, "strerror", None) or error
                    found = DisconnectedError(self.address, f"the connection broke ({said})", SEE)
                except BaseException:
                    # an answer may still come that is not waited for any more
                    self._troubled = True
                    self.close()
                    raise
                self._troubled = True
                self.close()
                self.on_trouble(f"{found}" + (f" ({left} more tries)" if left else ""))
                if left:
                    self.clock.sleep(rest)
                    rest = min(2 * rest, _LONGEST_REST_S)
        raise found

    def _ready(self) -> None:
        """Open the connection if need be; after trouble, see that questions and answers go together again."""
        if self._opened:
            return
        self._open()
        self._opened = True
        if self._troubled:
            self._drain()
        if self.check:
            if self.identity is None:
                first = self._ask(self.check, self.timeout_s)
                if not first.strip() or self._ask(self.check, self.timeout_s) != first:
                    raise GarbledError(self.address, f"'{self.check}' is not answered the same way twice")
                self.identity = first
            else:
                self._see_identity()
        self._troubled = False

    def _see_identity(self) -> None:
        said = self._ask(self.check, self.timeout_s)
        if self.identity is not None and said != self.identity:
            raise GarbledError(self.address, f"'{self.check}' was answered with {_shown(said)}")


def _is_none(said: bytes) -> bool:
    """Whether an answer says that there is no error: 0, or 0,"No error"."""
    return said.split(b",")[0].strip().lstrip(b"+-") == b"0"


def _shown(data: bytes) -> str:
    """What was said, short and printable, for messages."""
    text = data[:60].decode("ascii", errors="replace")
    return repr(text + ("…" if len(data) > 60 else ""))


def no_answer(address: str, timeout_s: float, got: bytes = b"") -> NoAnswerError:
    """Return the error of an answer that did not come, or came in part."""
    part = f", only {_shown(got)} came" if got else ""
    return NoAnswerError(
        address,
        f"no whole answer within {timeout_s:g} s{part}",
        SEE,
    )
