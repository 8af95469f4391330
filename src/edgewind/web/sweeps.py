"""Sweeps that are steered from the pages, here or in another program; every page that shows one hears of it."""

from __future__ import annotations

import contextlib
import json
import threading
import uuid
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from edgewind.errors import InputError
from edgewind.live import ControlSocket, Event, Sweep, SweepRequest, parse_targets, prepare, read_plan, unfinished
from edgewind.live.control_socket import TELL_EVERY_S
from edgewind.live.messages import QUIET, events_message, recent_events, status_message
from edgewind.live.sweep_log import abandon, unfinished_of
from edgewind.web.catalog import Catalog, NotHereError
from edgewind.web.live_updates import ExperimentFeeds
from edgewind.web.reading_form import FieldError
from edgewind.web.remote_sweeps import RecorderWatcher, RemoteSweep


class LocalSweep:
    """A sweep that was made ready from the pages.

    Attributes
    ----------
    slug, experiment : str
        The experiment of a book that it records into.
    """

    def __init__(self, slug: str, experiment: str, sweep: Sweep, feeds: ExperimentFeeds, own: set[str]) -> None:
        self.slug, self.experiment, self.sweep = slug, experiment, sweep
        self.run = uuid.uuid4().hex[:16]
        self._feeds, self._own = feeds, own
        self._channel: ControlSocket | None = None
        self._over = threading.Event()
        self._leave = sweep.subscribe(self._heard)
        self._thread: threading.Thread | None = None

    @property
    def id(self) -> str:
        """Its name, as in the book."""
        return self.sweep.id

    @property
    def running(self) -> bool:
        """Whether it was started and has not ended."""
        return self._thread is not None and not self._over.is_set()

    def as_plain(self) -> dict[str, Any]:
        """What a person should know before it starts."""
        return {
            "id": self.id, "slug": self.slug, "experiment": self.experiment, "moves": list(self.sweep.moves),
            "cautions": list(self.sweep.cautions), "steps": len(self.sweep.steps), "done": len(self.sweep.done),
            "resumed": self.sweep.resumed,
        }  # fmt: skip

    def start(self) -> None:
        """Begin; from here on things move."""
        self.sweep.start()
        self._own.add(self.run)
        with contextlib.suppress(InputError):  # another server of this user may steer it too; where not, this one does
            self._channel = ControlSocket(self.sweep, "other pages", run=self.run)
        self._thread = threading.Thread(target=self._tell, name="tell of a sweep", daemon=True)
        self._thread.start()

    def hello(self) -> list[str]:
        """What a page that opens now should hear first."""
        events = events_message(recent_events(self.sweep), self.run)
        return [_text(events), _text(status_message(self.sweep, self.run))]

    def command(self, name: str, text: str, of: int | None = None) -> None:
        """Give a command; see :class:`edgewind.live.Sweep`."""
        if not self.running:
            raise InputError("this sweep is over", fix="begin another")
        self.sweep.command(name, text, of=of)

    def abandon(self) -> None:
        """Note that a sweep which was made ready here will not be begun, so that it does not count as cut off."""
        if self._thread is None and not self.sweep.resumed:
            mine = [one for one in unfinished_of(self.sweep.book, self.experiment) if one.id == self.id]
            abandon(self.sweep.book, self.experiment, mine, "it was made ready and not begun")

    def close(self) -> None:
        """Stop, wait for the safe state, and let go of instruments and book."""
        self._leave()
        self.sweep.close()
        self._over.set()
        self._close_channel()
        if self._thread is not None and self._thread is not threading.current_thread():
            self._thread.join(timeout=5)

    def _heard(self, event: Event) -> None:
        # In the thread of the sweep: hand over and return.
        if event.kind == "stored":
            self._feeds.kick(self.slug, self.experiment)
        if event.kind not in QUIET:
            self._feeds.tell(self.slug, self.experiment, events_message([event], self.run))

    def _tell(self) -> None:
        while True:
            ended = self.sweep.join(TELL_EVERY_S) or self._over.is_set()
            self._feeds.tell(self.slug, self.experiment, status_message(self.sweep, self.run))
            if ended:
                break
        if not self._over.is_set():
            self._over.set()
            self._close_channel()
            self.sweep.close()  # others may record now

    def _close_channel(self) -> None:
        if self._channel is not None:
            self._channel.close()


def _text(message: dict[str, Any]) -> str:
    return json.dumps(message, ensure_ascii=False, allow_nan=False)


class Sweeps:
    """Every sweep of this server; one at a time for an experiment, and one for a bench."""

    def __init__(self, catalog: Catalog, feeds: ExperimentFeeds) -> None:
        self._catalog, self._feeds = catalog, feeds
        self._lock = threading.RLock()
        self._bouts: dict[str, LocalSweep] = {}
        self._own: set[str] = set()
        self._watcher = RecorderWatcher(catalog, feeds, self._own)

    def benches(self) -> list[dict[str, Any]]:
        """Folders whose `bench.toml` can be recorded with, and what of each is on a wire."""
        found = []
        for place in self._catalog.entries():
            if place.kind == "folder":
                told: dict[str, Any] = {"slug": place.slug, "name": place.name, "problem": "", "wires": [], "title": ""}
                try:
                    bench = read_plan(Path(place.target))
                    told["title"] = bench.experiment.title
                    section = bench.instruments
                    if section is not None:
                        roles = ("gauge", "valve", "lamp", "tachometer", "thermometer")
                        told["wires"] = [role for role in roles if getattr(section, role, None) is not None]
                except InputError as error:
                    told["problem"] = str(error)
                found.append(told)
        return sorted(found, key=lambda one: not one["wires"])

    def waiting(self, slug: str, experiment: str) -> list[dict[str, Any]]:
        """Sweeps of an experiment that were cut off."""
        place = self._catalog.entry(slug)
        if place.kind != "book":
            return []
        running = self.of(slug, experiment)
        return [
            {"id": one.id, "done": one.done, "total": one.total, "open": one.done < one.total}
            for one in unfinished("", place.target, experiment)
            if running is None or one.id != running.id
        ]

    def of(self, slug: str, experiment: str) -> LocalSweep | RemoteSweep | None:
        """The sweep of an experiment, run here or by another program: the one that runs, else one that has ended."""
        return _latest([one for one in self._all() if (one.slug, one.experiment) == (slug, experiment)])

    def _all(self) -> list[LocalSweep | RemoteSweep]:
        elsewhere = self._watcher.all()
        with self._lock:
            return [*elsewhere, *self._bouts.values()]

    def own(self, key: str) -> LocalSweep:
        """A sweep that was made ready here, by its id.

        Raises
        ------
        NotHereError
            There is none.
        """
        with self._lock:
            if key not in self._bouts:
                raise NotHereError("that sweep was not made ready here", fix="open the page of its experiment anew")
            return self._bouts[key]

    def command(self, key: str, name: str, text: str, *, of: int | None = None, run: str = "") -> None:
        """Give a command to a sweep by its id, wherever it runs.

        Parameters
        ----------
        key, name, text : str
            Id of the sweep, and what is commanded.
        of : int, optional
            The step, reading or question that the person had before them.
        run : str
            The recorder that they had before them; not asked for where empty.

        Raises
        ------
        NotHereError
            No such sweep runs.
        InputError
            It was refused.
        """
        one = _latest([found for found in self._all() if found.id == key])
        if one is None:
            raise NotHereError(
                "no sweep of that name runs here or in another program of yours",
                fix="open the page of its experiment anew",
            )
        if run and run != one.run:
            raise InputError(
                "the recorder that was meant is gone, and another has taken up the sweep", fix="see how it stands now"
            )
        one.command(name, text, of)

    def prepare(self, folder: str, slug: str, experiment: str, typed: Mapping[str, str], *, resume: bool) -> LocalSweep:
        """Make a sweep ready; nothing moves.

        Parameters
        ----------
        folder : str
            The bench: a folder of the catalog.
        slug, experiment : str
            Where the readings go.
        typed : mapping of str to str
            ``pressures``, ``up_and_down``, ``coast_downs``, ``adaptive``, ``target``.
        resume : bool
            Whether to go on with the unfinished sweep of the experiment; what is typed is then not asked for.
        """
        place, book = self._catalog.entry(folder), self._catalog.entry(slug)
        if place.kind != "folder" or book.kind != "book":
            raise InputError("a sweep needs a folder with a bench and a book")
        there = self.of(slug, experiment)
        if there is not None and there.running:
            raise InputError("a sweep of this experiment is running", fix="stop it first")
        request = None if resume else request_of(typed)
        sweep = prepare(place.target, book.target, request, name=experiment, resume=resume)
        bout = LocalSweep(slug, experiment, sweep, self._feeds, self._own)
        with self._lock:
            self._bouts[bout.id] = bout
        return bout

    def drop(self, key: str) -> None:
        """Do without a sweep that was made ready and not started."""
        bout = self.own(key)
        if bout.running:
            raise InputError("this sweep is running", fix="stop it")
        with self._lock:
            self._bouts.pop(key, None)
        bout.abandon()
        bout.close()

    def close(self) -> None:
        """Stop every sweep that runs here, each in its safe state; those of other programs go on."""
        self._watcher.close()
        with self._lock:
            bouts = list(self._bouts.values())
        for bout in bouts:
            bout.close()


def _latest(found: Sequence[LocalSweep | RemoteSweep]) -> LocalSweep | RemoteSweep | None:
    return next((one for one in reversed(found) if one.running), found[-1] if found else None)


def request_of(typed: Mapping[str, str]) -> SweepRequest:
    """Return the sweep that a form asks for.

    Raises
    ------
    FieldError
        A field that cannot be used.
    """
    try:
        pressures = parse_targets(typed.get("pressures", ""))
    except InputError as error:
        raise FieldError("pressures", error.problem, fix="write 0.02Pa:20Pa:12, or 1 Pa, 3 Pa") from error
    counts = {}
    for name in ("coast_downs", "adaptive"):
        text = typed.get(name, "").strip() or "0"
        if not (text.isascii() and text.isdigit() and len(text) < 5):
            raise FieldError(name, f"'{text[:20]}' is not a count", fix="type a number, such as 3")
        counts[name] = int(text)
    try:
        return SweepRequest(
            pressures, typed.get("up_and_down") == "on", counts["coast_downs"], counts["adaptive"],
            typed.get("target", "").strip(),
        )  # fmt: skip
    except InputError as error:
        words = {"target": "target", "adaptive": "adaptive", "coast": "coast_downs"}
        told = f"{error.problem} {error.fix or ''}"
        field = next((name for word, name in words.items() if word in told), "pressures")
        raise FieldError(field, error.problem, fix=(error.fix or "").replace("--", "")) from error
