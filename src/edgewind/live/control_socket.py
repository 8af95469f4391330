"""The control socket of a running sweep: other programs of the same user on the same machine monitor and steer it.

It is a connection (:mod:`edgewind.live.local_endpoint`) and not rows of the book: the state of a recorder is known
immediately, and a command reaches the named recorder or none, so that no pending command can steer the next one.

Each side sends lines of JSON. The recorder begins with its identity; ``{"do": "tell"}`` asks for events and state from
now on; a command has an ``id`` of its own, by which it is carried out once however often it comes, the ``run`` that it
is for, and ``until``, the time on the machine's clock after which it is not carried out any more.
"""

from __future__ import annotations

import json
import os
import queue
import secrets
import select
import socket
import threading
from collections import OrderedDict
from collections.abc import Callable
from pathlib import Path
from typing import Any

from edgewind.clock import Clock, SystemClock
from edgewind.errors import InputError
from edgewind.live.commands import COMMANDS
from edgewind.live.events import SweepEvent
from edgewind.live.local_endpoint import Listener, endpoint_folder
from edgewind.live.messages import QUIET, events_message, recent_events, run_message, status_message
from edgewind.live.sweep import Sweep

SPEAKS = 1
MOST_LINE = 65_536
# Interval of state messages, s.
TELL_EVERY_S = 0.2
_MOST_CLIENTS = 32
_MOST_WAITING = 5000
_KEPT_ANSWERS = 1000
_SLOW_S = 5.0
_ROWS_AT_ONCE = 500


class ControlSocket:
    """Endpoint through which other programs monitor and steer a sweep while it is open.

    Parameters
    ----------
    sweep : Sweep
        What is steered.
    made_by : str
        Name of the program that runs it, for display.
    run : str, optional
        Identity of this recorder; default: a new one.
    folder : path, optional
        Folder of the endpoint; default: :func:`edgewind.live.local_endpoint.endpoint_folder`.
    clock : Clock, optional
        The clock of the machine, by which commands expire.

    Raises
    ------
    InputError
        It cannot be opened here; the sweep can run without it.
    """

    def __init__(
        self,
        sweep: Sweep,
        made_by: str,
        *,
        run: str | None = None,
        folder: Path | None = None,
        clock: Clock | None = None,
    ) -> None:
        self._sweep, self.run, self._clock = sweep, run or secrets.token_hex(8), clock or SystemClock()
        self._hello = {
            "kind": "hello", "speaks": SPEAKS, "run": self.run, "sweep": sweep.id, "experiment": sweep.experiment,
            "book": sweep.book.identity(sweep.experiment), "made_by": made_by, "pid": os.getpid(),
        }  # fmt: skip
        self._lock = threading.Lock()
        self._answers: OrderedDict[str, dict[str, Any]] = OrderedDict()
        self._closing = threading.Event()
        self._clients: set[threading.Thread] = set()
        self._listener = Listener(endpoint_folder() if folder is None else folder)
        self._thread = threading.Thread(target=self._accept, name="edgewind control socket", daemon=True)
        self._thread.start()

    def __enter__(self) -> ControlSocket:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Accept no further command, after subscribers have received the end of the sweep."""
        self._closing.set()
        self._thread.join()
        self._listener.close()
        for client in tuple(self._clients):
            client.join(timeout=2)

    def _accept(self) -> None:
        while not self._closing.is_set():
            try:
                link = self._listener.accept()
            except TimeoutError:
                continue
            except OSError:  # probably too many open files: the client tries again
                self._clock.wait(self._closing, 0.2)
                continue
            if len(self._clients) >= _MOST_CLIENTS:
                link.close()
                continue
            client = threading.Thread(target=self._serve, args=(link,), name="edgewind control client", daemon=True)
            self._clients.add(client)
            client.start()

    def _serve(self, link: socket.socket) -> None:
        try:
            with link:
                if self._listener.admits(link):
                    _Client(link, self._sweep, self._hello, self._obey, self._closing, self._clock).serve()
        except (OSError, ValueError):
            pass  # it has disconnected or sent an invalid message: the sweep continues
        finally:
            self._clients.discard(threading.current_thread())

    def _obey(self, said: dict[str, Any]) -> dict[str, Any]:
        """Carry out a command once and return the answer; a repeated command gets the same answer."""
        key = str(said.get("id", ""))[:64]
        with self._lock:
            if key in self._answers:
                return self._answers[key]
            answer: dict[str, Any] = {"kind": "answer", "id": key, "refused": None}
            try:
                self._give(said)
            except InputError as error:
                answer["refused"] = {"problem": error.problem, "fix": error.fix}
            self._answers[key] = answer
            while len(self._answers) > _KEPT_ANSWERS:
                self._answers.popitem(last=False)
        return answer

    def _give(self, said: dict[str, Any]) -> None:
        name, text, of, until = (said.get(key) for key in ("do", "text", "of", "until"))
        if said.get("run") != self.run:
            raise InputError("the command was for a recorder that has stopped", fix="look at the sweep's state now")
        if not isinstance(until, int | float) or self._clock.monotonic() > until:
            raise InputError("the command arrived too late and was ignored", fix="look at the state of the sweep now")
        if name not in COMMANDS or not isinstance(text, str) or not (of is None or type(of) is int):
            raise InputError(f"'{str(name)[:40]}' is not a command", fix=", ".join(COMMANDS))
        self._sweep.command(name, text, of=of, who="from the pages")


class _Client:
    """One connection, in a thread of its own: a slow one does not delay the sweep."""

    def __init__(
        self,
        link: socket.socket,
        sweep: Sweep,
        hello: dict[str, Any],
        obey: Callable[[dict[str, Any]], dict[str, Any]],
        closing: threading.Event,
        clock: Clock,
    ) -> None:
        self._clock = clock
        self._link, self._sweep, self._hello, self._obey, self._closing = link, sweep, hello, obey, closing
        self._events: queue.Queue[SweepEvent] = queue.Queue(_MOST_WAITING)
        self._unsaid = b""
        self._told_at = 0.0
        self._run, self._rows = "", 0
        self._leave: Callable[[], None] | None = None

    def serve(self) -> None:
        self._link.settimeout(_SLOW_S)
        self._send(self._hello)
        try:
            while not self._closing.is_set():
                if not self._hear(0.05 if self._leave else 0.2):
                    return
                self._tell()
            self._hear(0.0)
            self._tell(last=True)
        finally:
            if self._leave is not None:
                self._leave()

    def _hear(self, wait_s: float) -> bool:
        """Wait for messages and carry them out; return False once the client has disconnected."""
        if not select.select([self._link], [], [], wait_s)[0]:
            return True
        more = self._link.recv(MOST_LINE)
        if not more:
            return False
        *lines, self._unsaid = (self._unsaid + more).split(b"\n")
        if len(self._unsaid) > MOST_LINE:
            return False
        for line in lines:
            said = json.loads(line)
            if not isinstance(said, dict):
                return False
            if said.get("do") == "tell":
                self._begin_to_tell()
            else:
                self._send(self._obey(said))
        return True

    def _begin_to_tell(self) -> None:
        if self._leave is None:
            self._leave = self._sweep.subscribe(self._events.put_nowait)  # one that falls far behind is dropped
            self._send(events_message(recent_events(self._sweep), self._hello["run"]))

    def _tell(self, *, last: bool = False) -> None:
        if self._leave is None:
            return
        events = []
        while not self._events.empty():
            event = self._events.get_nowait()
            if event.kind not in QUIET:
                events.append(event)
        if events:
            self._send(events_message(events, self._hello["run"]))
        self._tell_run()
        if last or events or self._clock.monotonic() - self._told_at > TELL_EVERY_S:
            self._told_at = self._clock.monotonic()
            self._send(status_message(self._sweep, self._hello["run"], self._hello["made_by"]))

    def _tell_run(self) -> None:
        """Send the new rows of a run, at most with every state."""
        if self._clock.monotonic() - self._told_at <= TELL_EVERY_S and not self._closing.is_set():
            return
        key, first, moments = self._sweep.run_since(self._run, self._rows)
        for place in range(0, len(moments), _ROWS_AT_ONCE):
            part = moments[place : place + _ROWS_AT_ONCE]
            self._send(run_message(key, first + place, part, self._hello["run"]))
        self._run, self._rows = key, first + len(moments)

    def _send(self, message: dict[str, Any]) -> None:
        self._link.sendall(json.dumps(message, ensure_ascii=False, allow_nan=False).encode() + b"\n")
