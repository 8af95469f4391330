"""Recorders of this user on this machine, found by their control sockets, watched and steered by another program."""

from __future__ import annotations

import contextlib
import json
import secrets
import socket
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from edgewind.clock import SystemClock
from edgewind.errors import InputError
from edgewind.live.control_socket import MOST_LINE, SPEAKS
from edgewind.live.local_endpoint import connect_to, endpoints

# Timeout of a recorder for its identity, and for the answer to a command, s.
HELLO_S = 2.0
ANSWER_S = 5.0
_AGAIN_S = 0.05
_CLOCK = SystemClock()  # deadlines are passed to the recorder, which reads the same clock of the machine


class RecorderNotFoundError(InputError):
    """The recorder is not running, or does not answer."""


@dataclass(frozen=True)
class Recorder:
    """A program that records a sweep.

    Attributes
    ----------
    path : Path
        Its control socket.
    run : str
        Identity of this recorder, different from that of another one that resumes the same sweep.
    sweep, experiment : str
        The sweep by its name in the book, and the experiment.
    book : str
        Identity of the experiment and its book: :meth:`edgewind.book.Book.identity`.
    made_by : str
        Name of the program.
    """

    path: Path
    run: str
    sweep: str
    experiment: str
    book: str
    made_by: str

    def command(self, name: str, text: str = "", *, of: int | None = None) -> None:
        """Give a command; see :meth:`edgewind.live.Sweep.command`. When this returns, it was accepted once.

        Raises
        ------
        InputError
            It was refused, and nothing was done.
        RecorderNotFoundError
            The recorder is not running or does not answer; the message states whether the command may have been carried
            out.
        """
        until = _CLOCK.monotonic() + ANSWER_S
        said = {"do": name, "text": text, "of": of, "run": self.run, "id": secrets.token_hex(8), "until": until}
        sent = False
        while True:
            try:
                with _Line(self.path, until + 1.0) as line:
                    _hello(line)
                    sent = True
                    line.send(said)
                    answer = line.next()
                break
            except (FileNotFoundError, ConnectionRefusedError):
                self.path.unlink(missing_ok=True)
                raise self._gone(sent=sent) from None
            except (OSError, ValueError):  # sent again: it is carried out once
                if _CLOCK.monotonic() > until:
                    raise self._silent() from None
                _CLOCK.sleep(_AGAIN_S)
        if answer.get("refused"):
            raise InputError(str(answer["refused"].get("problem")), fix=answer["refused"].get("fix"))

    def listen(self) -> Subscription:
        """Subscribe to the sweep: recent messages first, then new ones, until the recorder ends.

        Raises
        ------
        RecorderNotFoundError
            The recorder is not running.
        """
        try:
            line = _Line(self.path, _CLOCK.monotonic() + HELLO_S)
        except ConnectionRefusedError:
            self.path.unlink(missing_ok=True)
            raise self._gone() from None
        except (OSError, ValueError):
            raise self._gone() from None
        try:
            if _hello(line)["run"] != self.run:
                raise ValueError("another recorder")
            line.send({"do": "tell"})
        except (OSError, ValueError):
            line.close()
            raise self._gone() from None
        return Subscription(line)

    def _gone(self, *, sent: bool = False) -> RecorderNotFoundError:
        unsure = "; it is unknown whether the command was carried out" if sent else ", and nothing was done"
        return RecorderNotFoundError(
            f"the recorder of this sweep has stopped{unsure}",
            fix="unless the sweep has ended, lamp and valve may still be on: check them, then run its command again, "
            "which first switches both off",
        )

    def _silent(self) -> RecorderNotFoundError:
        return RecorderNotFoundError(
            "the recorder of this sweep does not answer, and will ignore this command later",
            fix="look at the terminal that it runs in",
        )


class Subscription:
    """Messages from a recorder, in order."""

    def __init__(self, line: _Line) -> None:
        self._line = line

    def next(self, wait_s: float) -> dict[str, Any] | None:
        """Return the next message; None after a timeout.

        Raises
        ------
        EOFError
            The recorder has ended, or :meth:`close` was called.
        """
        try:
            return self._line.next(_CLOCK.monotonic() + wait_s)
        except TimeoutError:
            return None
        except (OSError, ValueError):
            raise EOFError from None

    def close(self) -> None:
        """Close the subscription, from any thread."""
        self._line.abort()


def recorders() -> list[Recorder]:
    """Return the running recorders of this user; the endpoint of one that has ended is removed."""
    found = []
    for path in endpoints():
        with contextlib.suppress(RecorderNotFoundError):
            found.append(meet(path))
    return found


def meet(path: Path) -> Recorder:
    """Return the recorder at a control socket.

    Raises
    ------
    RecorderNotFoundError
        It is not running, or speaks another protocol; the endpoint of one that has ended is removed.
    """
    try:
        with _Line(path, _CLOCK.monotonic() + HELLO_S) as line:
            said = _hello(line)
        return Recorder(path, *(str(said[name]) for name in ("run", "sweep", "experiment", "book", "made_by")))
    except ConnectionRefusedError:
        path.unlink(missing_ok=True)
        raise RecorderNotFoundError("the recorder has stopped", file=path) from None
    except (OSError, ValueError, KeyError):
        raise RecorderNotFoundError("the recorder does not identify itself", file=path) from None


class _Line:
    """A connection to a control socket, read by lines, with a deadline on the machine's clock."""

    def __init__(self, path: Path, until: float) -> None:
        self._until, self._unread = until, b""
        self._link = connect_to(path, _left(until))

    def __enter__(self) -> _Line:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def send(self, message: dict[str, Any]) -> None:
        self._link.settimeout(_left(self._until))
        self._link.sendall(json.dumps(message).encode() + b"\n")

    def next(self, until: float | None = None) -> dict[str, Any]:
        while b"\n" not in self._unread:
            self._link.settimeout(_left(self._until if until is None else until))
            more = self._link.recv(MOST_LINE)
            if not more:
                raise ConnectionResetError("the other end has disconnected")
            self._unread += more
        line, _, self._unread = self._unread.partition(b"\n")
        found = json.loads(line)
        if not isinstance(found, dict):
            raise ValueError("not an object")
        return found

    def close(self) -> None:
        self._link.close()

    def abort(self) -> None:
        with contextlib.suppress(OSError):
            self._link.shutdown(socket.SHUT_RDWR)


def _left(until: float) -> float:
    left = until - _CLOCK.monotonic()
    if left <= 0:
        raise TimeoutError
    return left


def _hello(line: _Line) -> dict[str, Any]:
    said = line.next()
    if said.get("kind") != "hello" or said.get("speaks") != SPEAKS:
        raise ValueError("another protocol")
    return said
