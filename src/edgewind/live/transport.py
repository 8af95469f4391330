"""A connection to an instrument: queries, answers, and recovery from mismatched ones.

After any error the connection is closed, reopened and drained, and the instrument must answer its check query as at the
beginning before its next answer is accepted. So a late answer is never taken for that of a later query. The number of
attempts is bounded.
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
SEE = "check that it is switched on and that its cable is connected"
_REST_S = 0.05  # between two attempts; doubled each time
_LONGEST_REST_S = 1.0


class Transport(ABC):
    """One connection; its kinds are in `transport_tcp`, `transport_serial` and `transport_visa`.

    Threads may share it: a query and its answer are never mixed with those of another thread.

    Parameters
    ----------
    address : str
        Address of the connection.
    timeout_s : float
        Longest wait for an answer, s.
    retries : int
        Attempts beyond the first.
    termination : str
        Line terminator.
    check : str
        The query whose answer never changes, or empty.
    clock : Clock, optional
        Clock of the waits between attempts; default: that of the machine.
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

    # Methods of a kind of connection. Each raises an InstrumentError or an OSError.

    @abstractmethod
    def _open(self) -> None:
        """Open the connection."""

    @abstractmethod
    def _shut(self) -> None:
        """Close the connection; may be called when it is closed."""

    @abstractmethod
    def _send(self, data: bytes) -> None:
        """Send bytes."""

    @abstractmethod
    def _read_line(self, timeout_s: float) -> bytes:
        """Return the next line without its terminator; raise NoAnswerError if none is complete in time."""

    @abstractmethod
    def _read_exactly(self, count: int, timeout_s: float) -> bytes:
        """Return a number of bytes; raise NoAnswerError if they do not arrive in time."""

    @abstractmethod
    def _pending(self) -> bool:
        """Return whether unread data have arrived."""

    @abstractmethod
    def _drain(self) -> None:
        """Discard all data that have arrived and still arrive."""

    # What callers use

    def write(self, command: str, *, errors: str = "") -> None:
        """Send a command without an answer, and verify that it arrived.

        Parameters
        ----------
        command : str
            The command.
        errors : str
            The query that is answered with 0 if the command was understood, or empty; the check query is then sent
            instead, since a command before an answered query has arrived.

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
                    for _ in range(_MOST_ERRORS):  # errors of commands before it, and of garbled data
                        if _is_none(self._ask(errors, self.timeout_s)):
                            break
                    raise GarbledError(self.address, f"'{command}' was refused: {_shown(said)}")
            elif self.check:
                self._see_identity()

        self._attempt(once, self.retries)

    def write_only(self, command: str) -> None:
        """Send a command without a query after it."""
        self._attempt(lambda: self._send(command.encode() + self.termination), self.retries)

    def query(
        self, question: str, parse: Callable[[str], T], *, timeout_s: float | None = None, retries: int | None = None
    ) -> T:
        """Send a query and return its answer parsed by `parse`, which raises ValueError for an invalid answer.

        Raises
        ------
        InstrumentError
            No valid answer in any attempt.
        """

        def once() -> T:
            said = self._ask(question, self.timeout_s if timeout_s is None else timeout_s)
            try:
                return parse(said.decode("ascii"))
            except ValueError:
                raise GarbledError(self.address, f"'{question}' was answered with {_shown(said)}") from None

        return self._attempt(once, self.retries if retries is None else retries)

    def query_block(self, question: str) -> bytes:
        """Query a definite-length block (IEEE 488.2-1992, 8.7.9): ``#``, one digit n, n digits of length, bytes.

        Raises
        ------
        InstrumentError
            No complete block in any attempt.
        """

        def once() -> bytes:
            self._send_question(question)
            return self._block(question)

        return self._attempt(once, self.retries)

    def _block(self, question: str) -> bytes:
        limit = self.timeout_s
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
        """Query, and handle other tasks until the answer has arrived; without retries.

        Parameters
        ----------
        question : str
            The query.
        attend : callable
            Called until the answer has arrived, with an event that the answer sets and the longest wait in seconds. An
            error that it raises closes the connection, so that nothing else waits for the answer.
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
        """Check that queries and answers match, if the instrument has a check query.

        Raises
        ------
        InstrumentError
            They do not match after all attempts.
        """
        if self.check:
            self._attempt(self._see_identity, self.retries)

    def close(self) -> None:
        """Close the connection; the next query reopens it."""
        with self.lock:
            self._opened = False
            self._shut()

    def abort(self) -> None:
        """End another thread's wait for an answer with DisconnectedError, if this kind of connection supports it."""
        return

    # Recovery from errors

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
                    # an answer may still arrive after its timeout
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
        """Open the connection if necessary; after an error, check that queries and answers match again."""
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
    """Whether an answer means no error: 0, or 0,"No error"."""
    return said.split(b",")[0].strip().lstrip(b"+-") == b"0"


def _shown(data: bytes) -> str:
    """Return an answer, shortened and printable, for messages."""
    text = data[:60].decode("ascii", errors="replace")
    return repr(text + ("…" if len(data) > 60 else ""))


def no_answer(address: str, timeout_s: float, got: bytes = b"") -> NoAnswerError:
    """Return the error of a missing or incomplete answer."""
    part = f", only {_shown(got)} came" if got else ""
    return NoAnswerError(
        address,
        f"no complete answer within {timeout_s:g} s{part}",
        SEE,
    )
