"""Sweeps in recorder programs of this user on this machine, monitored and steered from the pages."""

from __future__ import annotations

import contextlib
import json
import threading
import time
from collections import deque
from pathlib import Path
from typing import Any

from edgewind.errors import EdgewindError, InputError
from edgewind.live import Recorder, RecorderNotFoundError
from edgewind.live.client import meet
from edgewind.live.local_endpoint import endpoints
from edgewind.web.catalog import Catalog
from edgewind.web.live_updates import ExperimentFeeds

# Interval of the search for recorders, and pause before the next attempt with one that cannot be shown, s: short at
# first, since it may only have been slow to identify itself.
LOOK_EVERY_S = 0.4
_LEAVE_ALONE_S = (0.5, 5.0)
# A recorder sends its state five times a second; after so long without an update the page says so.
_SILENT_S = 3.0
_MOST_EVENTS = 60
_GONE = "Lamp and valve may still be on: check them. Then resume the sweep, which first makes both safe"


class RemoteSweep:
    """A sweep of another program.

    Attributes
    ----------
    slug, experiment : str
        The experiment of a book that it records into.
    recorder : Recorder
        The program.
    """

    def __init__(self, slug: str, recorder: Recorder, catalog: Catalog, feeds: ExperimentFeeds) -> None:
        self.slug, self.experiment, self.recorder = slug, recorder.experiment, recorder
        self._catalog, self._feeds = catalog, feeds
        self._lock = threading.Lock()
        self._events: deque[dict[str, Any]] = deque(maxlen=_MOST_EVENTS)
        self._through: dict[str, Any] = {}
        self._status: dict[str, Any] = {
            "kind": "status", "id": recorder.sweep, "run": recorder.run, "by": recorder.made_by, "running": True,
            "phase": "ready", "step": None, "done": 0, "total": 0, "question": "", "problem": "", "message": "",
        }  # fmt: skip
        self._closing = threading.Event()
        self._listening = recorder.listen()
        self._thread = threading.Thread(target=self._follow, name="hear of a sweep", daemon=True)
        self._thread.start()

    @property
    def id(self) -> str:
        """Its name, as in the book."""
        return self.recorder.sweep

    @property
    def run(self) -> str:
        """Identity of this recorder, different from that of one that resumes the sweep."""
        return self.recorder.run

    @property
    def running(self) -> bool:
        """Whether it has not ended."""
        return bool(self._status["running"])

    def hello(self) -> list[str]:
        """Return the first messages for a page that opens now."""
        with self._lock:
            messages = [{"kind": "events", "run": self.run, "events": list(self._events)}, self._status]
            if self._through:
                messages.append(self._through | {"rows": list(self._through["rows"])})
        return [json.dumps(message, ensure_ascii=False) for message in messages]

    def command(self, name: str, text: str, of: int | None = None) -> None:
        """Give a command; see :class:`edgewind.live.Sweep`.

        Raises
        ------
        InputError
            The sweep has ended, its recorder has stopped, or the command was refused.
        BookError
            The book is read-only here: steering requires write permission.
        """
        self._refuse_if_over()
        self._catalog.book(self.slug, write=True).must_be_writable()
        try:
            self.recorder.command(name, text, of=of)
        except RecorderNotFoundError:
            self._thread.join(timeout=0.5)  # a sweep that ended by itself has reported it by then
            self._refuse_if_over()
            raise

    def _refuse_if_over(self) -> None:
        if self._status["phase"] == "lost":
            raise RecorderNotFoundError(
                "The recorder of this sweep has stopped; the command was not carried out", fix=_GONE
            )
        if not self.running:
            raise InputError("This sweep has ended", fix="begin another, or resume it")

    def close(self) -> None:
        """Unsubscribe; the sweep continues."""
        self._closing.set()
        self._listening.close()
        if self._thread is not threading.current_thread():
            self._thread.join(timeout=5)

    def _follow(self) -> None:
        while not self._closing.is_set():
            try:
                message = self._listening.next(_SILENT_S)
            except EOFError:
                if self._closing.is_set() or not self.running or not self._connect():
                    break
                continue
            if message is None:
                self._tell(
                    self._status | {"problem": f"No update from {self.recorder.made_by}; values may be out of date."}
                )
            elif message.get("kind") == "status":
                with self._lock:
                    self._status = message
                self._tell(message)
            elif message.get("kind") == "run" and isinstance(message.get("rows"), list):
                self._heard_rows(message)
            elif message.get("kind") == "events" and isinstance(message.get("events"), list):
                self._heard(message)
        if self.running and not self._closing.is_set():
            self._tell_gone()

    def _connect(self) -> bool:
        """Reconnect, if the recorder still runs and only the connection was lost."""
        try:
            self._listening = self.recorder.listen()
        except RecorderNotFoundError:
            return False
        return True

    def _heard(self, message: dict[str, Any]) -> None:
        with self._lock:
            known = self._events[-1]["number"] if self._events else 0
            self._events.extend(event for event in message["events"] if event["number"] > known)
        if any(event["what"] == "stored" for event in message["events"]):
            self._feeds.kick(self.slug, self.experiment)
        self._tell(message)

    def _heard_rows(self, message: dict[str, Any]) -> None:
        """Store all rows of a run, for a page that opens later."""
        with self._lock:
            if message["first"] == 0:
                self._through = message | {"rows": []}
            if not self._through or len(self._through["rows"]) != message["first"]:
                return
            self._through["rows"] += message["rows"]
        if message["rows"]:
            self._tell(message)

    def _tell_gone(self) -> None:
        problem = f"The recorder ({self.recorder.made_by}) disconnected unexpectedly. {_GONE}."
        with self._lock:
            self._status = self._status | {
                "running": False, "phase": "lost", "message": "", "question": "", "problem": problem,
            }  # fmt: skip
        self._tell(self._status)

    def _tell(self, message: dict[str, Any]) -> None:
        self._feeds.tell(self.slug, self.experiment, message)


class RecorderWatcher:
    """Searches for recorders of this user and for their books in the catalog."""

    def __init__(self, catalog: Catalog, feeds: ExperimentFeeds) -> None:
        self._catalog, self._feeds = catalog, feeds
        self._lock = threading.RLock()
        self._found: dict[Path, RemoteSweep] = {}
        self._left_alone: dict[Path, tuple[float, float]] = {}  # end of the pause, and length of the next one
        self._closing = threading.Event()
        self._thread: threading.Thread | None = None

    def all(self) -> list[RemoteSweep]:
        """Search, then return all sweeps found, ended ones included, the latest last."""
        with self._lock:
            if self._thread is None:
                self._thread = threading.Thread(target=self._watch, name="look for recorders", daemon=True)
                self._thread.start()
            self.look()
            return list(self._found.values())

    def look(self) -> None:
        """Search for running recorders."""
        with self._lock:
            for path in endpoints():
                until, _ = self._left_alone.get(path, (0.0, 0.0))
                if path not in self._found and time.monotonic() > until:
                    self._meet(path)

    def close(self) -> None:
        """Stop searching; every sweep continues."""
        self._closing.set()
        with self._lock:
            for one in self._found.values():
                one.close()

    def _meet(self, path: Path) -> None:
        try:
            recorder = meet(path)
            slug = self._catalog.slug_of(recorder.experiment, recorder.book)
            if slug is not None:
                self._forget_earlier(slug, recorder.experiment)
                self._found[path] = RemoteSweep(slug, recorder, self._catalog, self._feeds)
                return
        except EdgewindError:
            pass
        shortest, longest = _LEAVE_ALONE_S
        _, wait_s = self._left_alone.get(path, (0.0, shortest))
        self._left_alone[path] = (time.monotonic() + wait_s, min(2 * wait_s, longest))

    def _forget_earlier(self, slug: str, experiment: str) -> None:
        for path, one in list(self._found.items()):
            if (one.slug, one.experiment) == (slug, experiment) and not one.running:
                del self._found[path]

    def _watch(self) -> None:
        while not self._closing.wait(LOOK_EVERY_S):
            with contextlib.suppress(EdgewindError, OSError):  # the next search may succeed
                self.look()
