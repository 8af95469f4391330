"""Updates of an experiment, read from its book and sent to every open page, from any program."""

from __future__ import annotations

import asyncio
import json
import threading
import time
import uuid
from collections.abc import Callable
from typing import Any

from edgewind.book import Book, Marks, marks, read_part
from edgewind.errors import EdgewindError
from edgewind.web.views import AT_ONCE, bench_view, part_views

# Interval at which a followed book is polled, s. A poll takes well under a millisecond.
ASK_EVERY_S = 0.04
# After an error.
TROUBLE_S = 1.0
_MOST_WAITING = 2000
RUN = uuid.uuid4().hex[:12]


class Subscriber:
    """One open page: messages wait in its queue. One that falls far behind is disconnected and reconnects."""

    def __init__(self, loop: asyncio.AbstractEventLoop) -> None:
        self._loop = loop
        self._queue: asyncio.Queue[str | None] = asyncio.Queue(_MOST_WAITING)

    def put(self, message: str | None) -> None:
        """Add a message, from any thread; None ends the page's connection."""

        def add() -> None:
            try:
                self._queue.put_nowait(message)
            except asyncio.QueueFull:
                while not self._queue.empty():
                    self._queue.get_nowait()
                self._queue.put_nowait(None)

        if not self._loop.is_closed():
            self._loop.call_soon_threadsafe(add)

    async def next(self, wait_s: float) -> str | None:
        """Wait for the next message: an empty one after `wait_s` without any, None at the end."""
        try:
            return await asyncio.wait_for(self._queue.get(), wait_s)
        except TimeoutError:
            return ""


class ExperimentFeed:
    """One experiment of a book, followed by a thread of its own while a page shows it.

    Parameters
    ----------
    open_one : callable
        Returns the open book; called again after an error.
    experiment : str
        Its name.
    """

    def __init__(self, open_one: Callable[[], Book], experiment: str) -> None:
        self._open, self.experiment = open_one, experiment
        self._lock = threading.RLock()
        self._rows: dict[int, dict[str, Any]] = {}
        self._bench: dict[str, Any] | None = None
        self._marks = Marks(0, 0, 0)
        self._revision = 0
        self._trouble = ""
        self._listeners: list[Subscriber] = []
        self._kick = threading.Event()
        self._thread: threading.Thread | None = None
        self._closing = False

    # For pages

    def add(self, listener: Subscriber, *, run: str = "", revision: int = 0) -> None:
        """Subscribe a page; it first receives everything new to it, by the run of the server and its revision."""
        with self._lock:
            known = revision if run == RUN else 0
            rows = [row for row in self._rows.values() if row["revision"] > known]
            listener.put(self._message(rows, whole=known == 0))
            if self._trouble:
                listener.put(json.dumps({"kind": "trouble", "text": self._trouble}))
            self._listeners.append(listener)
            if self._thread is None or not self._thread.is_alive():
                self._thread = threading.Thread(target=self._follow, name="follow a book", daemon=True)
                self._thread.start()

    def remove(self, listener: Subscriber) -> None:
        """Unsubscribe a page."""
        with self._lock:
            if listener in self._listeners:
                self._listeners.remove(listener)

    def kick(self) -> None:
        """Poll immediately, after a write of this server."""
        self._kick.set()

    def rows(self) -> list[dict[str, Any]]:
        """Return the present readings, in order."""
        with self._lock:
            return [self._rows[number] for number in sorted(self._rows)]

    def tell(self, message: dict[str, Any]) -> None:
        """Send a message to every page that shows the experiment."""
        text = json.dumps(message, ensure_ascii=False, allow_nan=False)
        with self._lock:
            for listener in self._listeners:
                listener.put(text)

    def close(self) -> None:
        """End the thread and every page's connection."""
        self._closing = True
        self._kick.set()
        with self._lock:
            for listener in self._listeners:
                listener.put(None)
        if self._thread is not None and self._thread is not threading.current_thread():
            self._thread.join(timeout=5)

    # The thread

    def _follow(self) -> None:
        while not self._closing:
            wait = ASK_EVERY_S
            try:
                self._look()
                self._set_trouble("")
            except Exception as error:  # the pages show any error until a later poll succeeds
                text = str(error) if isinstance(error, EdgewindError) else f"the book cannot be followed ({error!r})"
                self._set_trouble(text)
                wait = TROUBLE_S
            with self._lock:
                if not self._listeners:
                    self._thread = None
                    return
            self._kick.wait(wait)
            self._kick.clear()

    def _look(self) -> None:
        """Poll the book, and read new rows."""
        book = self._open()
        there = marks(book).get(self.experiment)
        if there is None:
            raise EdgewindError(f"the book no longer holds '{self.experiment}'")
        if there == self._marks:
            return
        known = self._marks
        if there.benches != known.benches or there.readings < known.readings or there.changes < known.changes:
            # Another bench changes every pressure; a book with fewer rows is another book.
            known = Marks(0, 0, 0)
            with self._lock:
                self._rows.clear()
                self._revision += 1
                part = read_part(book, self.experiment, after=there.readings)
                self._bench = bench_view(part.source.bench())
                self._tell_rows([], whole=True)
        after, changed_after = known.readings, known.changes
        while True:
            part = read_part(
                book, self.experiment, after=after, changed_after=changed_after if after == known.readings else None,
                most=AT_ONCE,
            )  # fmt: skip
            # A change may belong to a reading of a later part, with which it is then read.
            rows = part_views(part)
            with self._lock:
                self._revision += 1
                for row in rows:
                    self._rows[row["n"]] = row | {"revision": self._revision}
                self._tell_rows([self._rows[row["n"]] for row in rows])
            after += AT_ONCE
            if after >= there.readings:
                break
        self._marks = there

    def _tell_rows(self, rows: list[dict[str, Any]], *, whole: bool = False) -> None:
        if rows or whole:
            message = self._message(rows, whole=whole)
            for listener in self._listeners:
                listener.put(message)

    def _message(self, rows: list[dict[str, Any]], *, whole: bool) -> str:
        plain = {
            "kind": "rows", "run": RUN, "revision": self._revision, "whole": whole,
            "bench": self._bench if whole else None, "sent_at": time.time(), "rows": rows,
        }  # fmt: skip
        return json.dumps(plain, ensure_ascii=False, allow_nan=False)

    def _set_trouble(self, text: str) -> None:
        if text != self._trouble:
            self._trouble = text
            self.tell({"kind": "trouble", "text": text})


class ExperimentFeeds:
    """The feed of every experiment that a page has shown."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._of: dict[tuple[str, str], ExperimentFeed] = {}

    def of(self, slug: str, experiment: str, open_one: Callable[[], Book]) -> ExperimentFeed:
        """Return the feed of an experiment."""
        with self._lock:
            return self._of.setdefault((slug, experiment), ExperimentFeed(open_one, experiment))

    def kick(self, slug: str, experiment: str) -> None:
        """Poll immediately, if a page shows the experiment."""
        with self._lock:
            watch = self._of.get((slug, experiment))
        if watch is not None:
            watch.kick()

    def tell(self, slug: str, experiment: str, message: dict[str, Any]) -> None:
        """Send a message to every page that shows an experiment."""
        with self._lock:
            watch = self._of.get((slug, experiment))
        if watch is not None:
            watch.tell(message)

    def close(self) -> None:
        """End all of them."""
        with self._lock:
            for watch in self._of.values():
                watch.close()
