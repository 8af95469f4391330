"""Sweeps from the pages: planned here, run by a recorder program, steered over its control socket.

The server holds no instrument. A recorder continues when the server ends, and any server of the same user finds it
again, so that the failure of a server leaves no lamp without a program that can switch it off.
"""

from __future__ import annotations

import os
import secrets
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

from edgewind.clock import Clock, SystemClock
from edgewind.errors import InputError
from edgewind.live import (
    SweepRequest,
    Unfinished,
    cautions_of,
    check_request,
    moves_of,
    parse_targets,
    read_plan,
    unfinished,
)
from edgewind.web.bodies import SweepForm
from edgewind.web.catalog import Catalog
from edgewind.web.errors import FieldError, NotFoundError
from edgewind.web.live_updates import ExperimentFeeds
from edgewind.web.remote_sweeps import RecorderWatcher, RemoteSweep

MADE_BY = "these pages"
_ROLES = ("gauge", "valve", "lamp", "tachometer", "thermometer", "thermostat")
# Timeout for the control socket of a recorder, and interval of the search for it, s.
_START_S = 120.0
_LOOK_S = 0.1
_MOST_PLANNED = 50


@dataclass(frozen=True)
class PlannedSweep:
    """A checked sweep, which moves nothing until it is started.

    Attributes
    ----------
    id : str
        Its name until it is started, and then the ``run`` of its recorder.
    slug, experiment : str
        The experiment of a book into which it will record.
    folder : Path
        Holds the bench.
    book : str
        Path or URL of the book.
    request : SweepRequest or None
        The request; None to continue the unfinished sweep.
    moves, cautions : tuple of str
        What will move, and cautions, to show before the start.
    waiting : tuple of Unfinished
        Unfinished sweeps of the experiment, to be continued, or discarded by a new one.
    """

    id: str
    slug: str
    experiment: str
    folder: Path
    book: str
    request: SweepRequest | None
    moves: tuple[str, ...]
    cautions: tuple[str, ...]
    waiting: tuple[Unfinished, ...] = field(default=())

    def to_dict(self) -> dict[str, Any]:
        """Return the plan for a page, before the start."""
        resumed = self.request is None
        last = self.waiting[-1] if self.waiting else None
        steps = last.total if resumed and last else len(self.request.steps()) if self.request else 0
        discards = "" if resumed or last is None else f"{last.done} of {last.total} steps"
        return {
            "id": self.id, "slug": self.slug, "experiment": self.experiment, "moves": list(self.moves),
            "cautions": list(self.cautions), "steps": steps, "done": last.done if resumed and last else 0,
            "resumed": resumed, "discards": discards,
            "run": "" if self.request is None or self.request.run is None else self.request.run.words,
        }  # fmt: skip

    def command(self) -> list[str]:
        """Return the command that runs it."""
        asked: list[str] = ["--resume"]
        if self.request is not None:
            pressures = ", ".join(f"{pressure!r} Pa" for pressure in self.request.pressures_pa)
            asked = [f"--coast-downs={self.request.coast_downs}", "--new-sweep"]
            asked += [f"--pressures={pressures}"] if pressures else []
            asked += [f"--run={self.request.run.text}"] if self.request.run is not None else []
            asked += ["--up-and-down"] if self.request.up_and_down else []
            if self.request.adaptive:
                asked += ["--adaptive", f"--most={self.request.adaptive}", f"--target-interval={self.request.target}"]
        return [
            sys.executable, "-m", "edgewind", "record", *asked, f"--name={self.experiment}", "--remote",
            f"--by={MADE_BY}", f"--identity={self.id}", "--", str(self.folder), self.book,
        ]  # fmt: skip


class Sweeps:
    """Every sweep on the pages: those planned here, and those of recorders of this user.

    Parameters
    ----------
    catalog : Catalog
        Books and benches.
    feeds : ExperimentFeeds
        Open pages, by experiment.
    launch : callable
        Starts a command and returns its process, with the file of its standard error.
    clock : Clock
        Waits for a recorder to open its control socket.
    """

    def __init__(
        self,
        catalog: Catalog,
        feeds: ExperimentFeeds,
        *,
        launch: Callable[[Sequence[str], IO[bytes]], subprocess.Popen[bytes]] | None = None,
        clock: Clock | None = None,
    ) -> None:
        self._catalog = catalog
        self._launch = launch or _launch
        self._clock = clock or SystemClock()
        self._lock = threading.RLock()
        self._planned: dict[str, PlannedSweep] = {}
        self._watcher = RecorderWatcher(catalog, feeds)

    def benches(self) -> list[dict[str, Any]]:
        """Return the folders whose `bench.toml` can be used for recording, and their roles with an instrument."""
        found = []
        for entry in self._catalog.entries():
            if entry.kind == "folder":
                view: dict[str, Any] = {
                    "slug": entry.slug, "name": entry.name, "problem": "", "wires": [], "title": "",
                }  # fmt: skip
                try:
                    bench = read_plan(Path(entry.target))
                    view["title"] = bench.experiment.title
                    if bench.instruments is not None:
                        view["wires"] = [role for role in _ROLES if getattr(bench.instruments, role, None) is not None]
                except InputError as error:
                    view["problem"] = str(error)
                found.append(view)
        return sorted(found, key=lambda one: not one["wires"])

    def waiting(self, slug: str, experiment: str) -> list[dict[str, Any]]:
        """Return the unfinished sweeps of an experiment, except the running one."""
        entry = self._catalog.entry(slug)
        if entry.kind != "book":
            return []
        running = self.of(slug, experiment)
        return [
            {"id": one.id, "done": one.done, "total": one.total, "open": one.done < one.total}
            for one in unfinished("", entry.target, experiment)
            if running is None or one.id != running.id
        ]

    def of(self, slug: str, experiment: str) -> RemoteSweep | None:
        """Return the sweep of an experiment: the running one, else the last one."""
        return _latest([one for one in self._watcher.all() if (one.slug, one.experiment) == (slug, experiment)])

    def plan(
        self, request: SweepRequest | None, bench_slug: str, name: str, slug: str, book: str | Path
    ) -> PlannedSweep:
        """Check a sweep and store it until it is started; nothing is opened, moved or written.

        Parameters
        ----------
        request : SweepRequest or None
            The request; None to continue the unfinished sweep.
        bench_slug : str
            The folder of the bench in the catalog.
        name : str
            The experiment in the book.
        slug : str
            The book in the catalog, or the one that the recorder will create.
        book : str or Path
            Where it is.

        Raises
        ------
        FieldError
            A field that cannot be used.
        InputError
            The bench cannot be used for recording, a sweep of this experiment is running, or there is none to continue.
        """
        entry = self._catalog.entry(bench_slug)
        if entry.kind != "folder":
            raise FieldError("folder", "A sweep needs a folder with a bench.toml", fix="choose a bench")
        if not name:
            raise FieldError("name", "The experiment has no name", fix="write one, such as vane-12mm")
        running = self.of(slug, name)
        if running is not None and running.running:
            raise InputError("A sweep of this experiment is running", fix="stop it first")
        folder = Path(entry.target)
        bench = read_plan(folder)
        if request is not None:
            check_request(request, bench, str(folder / "bench.toml"))
        waiting = tuple(unfinished(folder, book, name))
        if request is None and not waiting:
            raise InputError(f"No sweep of '{name}' is unfinished", fix="begin a new one")
        made = PlannedSweep(
            secrets.token_hex(8), slug, name, folder, str(book), request, tuple(moves_of(bench)),
            tuple(cautions_of(bench, None if request is None else request.run)), waiting,
        )  # fmt: skip
        with self._lock:
            self._planned[made.id] = made
            while len(self._planned) > _MOST_PLANNED:
                self._planned.pop(next(iter(self._planned)))
        return made

    def drop(self, key: str) -> None:
        """Discard a planned sweep."""
        self._take(key)

    def start(self, key: str) -> None:
        """Start the recorder of a planned sweep, and wait until it can be steered or has ended.

        Raises
        ------
        NotFoundError
            It was not planned on this server, or has already been started.
        InputError
            The recorder refused; with its own message.
        """
        planned = self._take(key)
        with tempfile.TemporaryFile(prefix="edgewind-recorder-") as said:
            process = self._launch(planned.command(), said)
            threading.Thread(target=process.wait, name="wait for a recorder", daemon=True).start()
            until = self._clock.monotonic() + _START_S
            while not any(one.run == planned.id for one in self._watcher.all()):
                if process.poll() is not None:
                    if process.returncode == 0:
                        return  # a short sweep may end before it is found; its readings are in the book
                    raise InputError(_last_words(said), fix="nothing was started")
                if self._clock.monotonic() > until:
                    raise InputError(
                        "The recorder was started and does not answer yet", fix="reload the page to see its state"
                    )
                self._clock.sleep(_LOOK_S)

    def _take(self, key: str) -> PlannedSweep:
        with self._lock:
            found = self._planned.pop(key, None)
        if found is None:
            raise NotFoundError("This sweep was not prepared on this server", fix="prepare it again")
        return found

    def command(self, key: str, name: str, text: str, *, of: int | None = None, run: str = "") -> None:
        """Send a command to the recorder of a sweep.

        Parameters
        ----------
        key, name, text : str
            Id of the sweep in its book, and the command.
        of : int, optional
            The step, reading or question that the page showed.
        run : str
            The recorder that the page showed; empty for any.

        Raises
        ------
        NotFoundError
            No such sweep is running.
        InputError
            It was refused.
        """
        found = _latest([one for one in self._watcher.all() if one.id == key])
        if found is None:
            raise NotFoundError("No sweep of that name is running", fix="reload the page of its experiment")
        if run and run != found.run:
            raise InputError("The recorder has stopped; another one has resumed this sweep", fix="check its state")
        found.command(name, text, of)

    def close(self) -> None:
        """Stop monitoring; every recorder continues."""
        self._watcher.close()


def _latest(found: Sequence[RemoteSweep]) -> RemoteSweep | None:
    return next((one for one in reversed(found) if one.running), found[-1] if found else None)


def _launch(command: Sequence[str], said: IO[bytes]) -> subprocess.Popen[bytes]:
    """Start a recorder in its own session, so that it continues when the server or its terminal ends."""
    apart: dict[str, Any] = {"start_new_session": True}
    if sys.platform == "win32":
        apart = {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}
    return subprocess.Popen(
        command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=said, env=os.environ.copy(), **apart
    )


def _last_words(said: IO[bytes]) -> str:
    said.seek(0)
    lines = [line for line in said.read().decode("utf-8", "replace").splitlines() if line.strip()]
    return (lines[-1] if lines else "The recorder ended without a message").removeprefix("edgewind: ")


def request_of(form: SweepForm) -> SweepRequest:
    """Return the sweep request of a form.

    Raises
    ------
    FieldError
        A field that cannot be used.
    """
    try:
        pressures = parse_targets(form.pressures)
    except InputError as error:
        raise FieldError("pressures", error.problem, fix="write 0.02Pa:20Pa:12, or 1 Pa, 3 Pa") from error
    counts = {}
    for name in ("coast_downs", "adaptive"):
        text = getattr(form, name) or "0"
        if not (text.isascii() and text.isdigit() and len(text) < 5):
            raise FieldError(name, f"'{text[:20]}' is not a count", fix="type a number, such as 3")
        counts[name] = int(text)
    try:
        return SweepRequest(pressures, form.up_and_down == "on", counts["coast_downs"], counts["adaptive"], form.target)
    except InputError as error:
        words = {"target": "target", "adaptive": "adaptive", "coast": "coast_downs"}
        text = f"{error.problem} {error.fix or ''}"
        field_name = next((name for word, name in words.items() if word in text), "pressures")
        raise FieldError(field_name, error.problem, fix=(error.fix or "").replace("--", "")) from error
