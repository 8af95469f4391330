"""Sweeps that are steered from the pages: each in a thread of its own, and every page that shows it hears of it."""

from __future__ import annotations

import json
import math
import threading
from collections.abc import Mapping
from dataclasses import asdict, is_dataclass
from pathlib import Path
from typing import Any

from edgewind.errors import InputError
from edgewind.live import ENDED, Event, Sweep, SweepRequest, parse_pressures, prepare, read_plan, unfinished
from edgewind.live.journal import give_up, unfinished_of
from edgewind.web.entry import FieldError
from edgewind.web.shelf import NotHereError, Shelf
from edgewind.web.watch import Watches

# How often pages hear how a sweep stands, seconds.
TELL_EVERY_S = 0.2
_MOST_EVENTS = 60
_QUIET = ("observed", "steady")
COMMANDS = ("pause", "resume", "skip", "repeat", "stop", "note", "answer")


class Bout:
    """A sweep that was made ready from the pages.

    Attributes
    ----------
    slug, experiment : str
        The experiment of a book that it records into.
    """

    def __init__(self, slug: str, experiment: str, sweep: Sweep, watches: Watches) -> None:
        self.slug, self.experiment, self.sweep = slug, experiment, sweep
        self._watches = watches
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
        self._thread = threading.Thread(target=self._tell, name="tell of a sweep", daemon=True)
        self._thread.start()

    def hello(self) -> list[str]:
        """What a page that opens now should hear first."""
        events = [event for event in self.sweep.history() if event.kind not in _QUIET][-_MOST_EVENTS:]
        return [_text({"kind": "events", "events": [_event(event) for event in events]}), _text(self._status())]

    def command(self, name: str, text: str) -> None:
        """Give a command; see :class:`edgewind.live.Sweep`."""
        if name not in COMMANDS:
            raise InputError(f"'{name[:40]}' is no command", fix=", ".join(COMMANDS))
        if not self.running:
            raise InputError("this sweep is over", fix="begin another")
        if name == "note":
            if not text:
                raise FieldError("note", "empty", fix="write what is to be noted")
            self.sweep.note(text)
        elif name == "answer":
            self.sweep.answer(text)
        else:
            getattr(self.sweep, name)()

    def give_up(self) -> None:
        """Note that a sweep which was made ready here will not be begun, so that it does not count as cut off."""
        if self._thread is None and not self.sweep.resumed:
            mine = [one for one in unfinished_of(self.sweep.book, self.experiment) if one.id == self.id]
            give_up(self.sweep.book, self.experiment, mine, "it was made ready and not begun")

    def close(self) -> None:
        """Stop, wait for the safe state, and let go of instruments and book."""
        self._leave()
        self.sweep.close()
        self._over.set()
        if self._thread is not None and self._thread is not threading.current_thread():
            self._thread.join(timeout=5)

    def _heard(self, event: Event) -> None:
        # In the thread of the sweep: hand over and return.
        if event.kind == "stored":
            self._watches.kick(self.slug, self.experiment)
        if event.kind not in _QUIET:
            self._watches.tell(self.slug, self.experiment, {"kind": "events", "events": [_event(event)]})

    def _tell(self) -> None:
        while True:
            ended = self.sweep.join(TELL_EVERY_S) or self._over.is_set()
            self._watches.tell(self.slug, self.experiment, self._status())
            if ended:
                break
        if not self._over.is_set():
            self._over.set()
            self.sweep.close()  # others may record now

    def _status(self) -> dict[str, Any]:
        status = self.sweep.status()
        told = {name: _plain(value) for name, value in asdict(status).items()}
        steadiness = status.steadiness
        told["steadiness"] = None if steadiness is None else _steadiness(steadiness)
        return {"kind": "status", "id": self.id, "running": status.phase not in ENDED, **told}


def _steadiness(found: Any) -> dict[str, Any]:
    return {
        "steady": found.steady,
        "watched_s": _plain(found.watched_s),
        **{
            name: None if drift is None else _plain(asdict(drift)) | {"steady": drift.steady}
            for name, drift in (("pressure", found.pressure), ("speed", found.speed))
        },
    }


def _event(event: Event) -> dict[str, Any]:
    return {
        "number": event.number,
        "time": event.time,
        "what": event.kind,
        "text": event.text,
        "data": _plain(event.data),
    }


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return _plain(asdict(value))
    if isinstance(value, Mapping):
        return {str(key): _plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    if hasattr(value, "item"):
        value = value.item()
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _text(message: dict[str, Any]) -> str:
    return json.dumps(message, ensure_ascii=False, allow_nan=False)


class Desk:
    """Every sweep of this server; one at a time for an experiment, and one for a bench."""

    def __init__(self, shelf: Shelf, watches: Watches) -> None:
        self._shelf, self._watches = shelf, watches
        self._lock = threading.RLock()
        self._bouts: dict[str, Bout] = {}

    def benches(self) -> list[dict[str, Any]]:
        """Folders whose `bench.toml` can be recorded with, and what of each is on a wire."""
        found = []
        for place in self._shelf.places():
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
        place = self._shelf.place(slug)
        if place.kind != "book":
            return []
        running = self.of(slug, experiment)
        return [
            {"id": one.id, "done": one.done, "total": one.total}
            for one in unfinished("", place.target, experiment)
            if running is None or one.id != running.id
        ]

    def of(self, slug: str, experiment: str) -> Bout | None:
        """The sweep of an experiment: the one that runs, else the one that ran last."""
        with self._lock:
            found = [bout for bout in self._bouts.values() if (bout.slug, bout.experiment) == (slug, experiment)]
            return next((bout for bout in reversed(found) if bout.running), found[-1] if found else None)

    def get(self, key: str) -> Bout:
        """A sweep by its id."""
        with self._lock:
            if key not in self._bouts:
                raise NotHereError("that sweep is not run from here", fix="open the page of its experiment anew")
            return self._bouts[key]

    def prepare(self, folder: str, slug: str, experiment: str, typed: Mapping[str, str], *, resume: bool) -> Bout:
        """Make a sweep ready; nothing moves.

        Parameters
        ----------
        folder : str
            The bench: a folder of the shelf.
        slug, experiment : str
            Where the readings go.
        typed : mapping of str to str
            ``pressures``, ``up_and_down``, ``coast_downs``, ``adaptive``, ``target``.
        resume : bool
            Whether to go on with the unfinished sweep of the experiment; what is typed is then not asked for.
        """
        place, book = self._shelf.place(folder), self._shelf.place(slug)
        if place.kind != "folder" or book.kind != "book":
            raise InputError("a sweep needs a folder with a bench and a book")
        there = self.of(slug, experiment)
        if there is not None and there.running:
            raise InputError("a sweep of this experiment is running", fix="stop it first")
        request = None if resume else request_of(typed)
        sweep = prepare(place.target, book.target, request, name=experiment, resume=resume)
        bout = Bout(slug, experiment, sweep, self._watches)
        with self._lock:
            self._bouts[bout.id] = bout
        return bout

    def drop(self, key: str) -> None:
        """Do without a sweep that was made ready and not started."""
        bout = self.get(key)
        if bout.running:
            raise InputError("this sweep is running", fix="stop it")
        with self._lock:
            self._bouts.pop(key, None)
        bout.give_up()
        bout.close()

    def close(self) -> None:
        """Stop every sweep, each in its safe state."""
        with self._lock:
            bouts = list(self._bouts.values())
        for bout in bouts:
            bout.close()


def request_of(typed: Mapping[str, str]) -> SweepRequest:
    """Return the sweep that a form asks for.

    Raises
    ------
    FieldError
        A field that cannot be used.
    """
    try:
        pressures = parse_pressures(typed.get("pressures", ""))
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
