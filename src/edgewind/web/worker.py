"""The process that does what takes long, so that the pages stay quick meanwhile."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from edgewind.bench import Bench
    from edgewind.evidence import RotorDraws

_NICE = 10


@dataclass(frozen=True)
class Subject:
    """An experiment to study: a folder, or one experiment of a book.

    Attributes
    ----------
    kind : {"book", "folder"}
        What `target` is.
    target : str
        Path or URL.
    experiment : str
        Name of the experiment.
    """

    kind: str
    target: str
    experiment: str


@dataclass(frozen=True)
class StudyOrder:
    """A study to make: of what, where to, and whether to fit."""

    subjects: tuple[Subject, ...]
    out: str
    fit: bool


@dataclass(frozen=True)
class GasOrder:
    """The gas to compute at the usual Knudsen numbers of a shape, into the folder where what is computed is kept."""

    shape: str
    drive: str


@dataclass(frozen=True)
class FilmOrder:
    """A film to make."""

    shape: str
    drive: str
    quantity: str
    theme: str
    size: str
    seconds: float
    out: str


@dataclass(frozen=True)
class IntervalOrder:
    """How far a change moves both optima: of a rotor as its bench describes it, or as a study fitted it."""

    rotor: Bench | RotorDraws
    changes: dict[str, str]


Order = StudyOrder | GasOrder | FilmOrder | IntervalOrder


def work(line: Connection) -> None:
    """Do all that is ordered, one after the other; the answers are tuples that begin with a word."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the server, which ends this process
    signal.signal(signal.SIGTERM, _end)
    with contextlib.suppress(AttributeError, OSError):
        os.nice(_NICE)  # a reading that is to be shown comes first
    try:
        _serve(line)
    except SystemExit as end:  # every block is left; what else Python does before it ends takes long and serves nobody
        os._exit(int(end.code or 0))


def _serve(line: Connection) -> None:
    from edgewind.errors import EdgewindError

    while True:
        try:
            order: Order | None = line.recv()
        except EOFError:
            return
        if order is None:
            return
        try:
            line.send(("done", _done(order, line)))
        except EdgewindError as error:
            line.send(("refused", str(error)))
        except (BrokenPipeError, KeyboardInterrupt):
            return
        except Exception as error:  # the server tells it; the next order may be a better one
            line.send(("refused", f"it failed: {error!r}"))


def _end(number: int, frame: object) -> None:
    """End by leaving every block that was entered: no half of a file stays, and no process that was begun."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (1, 2):  # some libraries tell at length of being cut off
        os.dup2(nowhere, stream)
    sys.exit(128 + number)


def _done(order: Order, line: Connection) -> dict[str, Any]:
    if isinstance(order, StudyOrder):
        return _study(order, line)
    if isinstance(order, GasOrder):
        return _gas(order, line)
    if isinstance(order, FilmOrder):
        return _film(order, line)
    from edgewind.web.whatif import interval_of

    return interval_of(order.rotor, order.changes)


def _gas(order: GasOrder, line: Connection) -> dict[str, Any]:
    from edgewind.report.film import gas_series

    solved: list[float] = []

    def tell(done: int, total: int, field: Any) -> None:
        solved.append(float(field.knudsen))
        line.send(("progress", ("computing the gas", done, total)))
        line.send(("part", list(solved)))

    gas_series(order.shape, drive=order.drive, progress=tell)
    return {"solved": solved}


def _film(order: FilmOrder, line: Connection) -> dict[str, Any]:
    from edgewind.report.film import gas_series, make_film

    def computing(done: int, total: int, field: Any) -> None:
        line.send(("progress", ("computing the gas", done, total)))

    def drawing(done: int, total: int) -> None:
        line.send(("progress", ("drawing frames", done, total)))

    series = gas_series(order.shape, drive=order.drive, progress=computing)
    Path(order.out).parent.mkdir(exist_ok=True)
    made = make_film(
        order.out, series, quantity=order.quantity, theme=order.theme, size=order.size, seconds=order.seconds,
        progress=drawing,
    )  # fmt: skip
    return {"frames": made.frames, "width": made.width, "height": made.height, "bytes": made.bytes}


def _study(order: StudyOrder, line: Connection) -> dict[str, Any]:
    from contextlib import ExitStack

    from edgewind.book import BookSource, open_book
    from edgewind.evidence import draws_of
    from edgewind.report.tables import curve_table
    from edgewind.signals import ExperimentSource, FolderSource
    from edgewind.study import study_sources

    with ExitStack() as stack:
        books = {
            subject.target: stack.enter_context(
                open_book(subject.target if "://" in subject.target else Path(subject.target))
            )
            for subject in order.subjects
            if subject.kind == "book"
        }
        sources: list[ExperimentSource] = [
            BookSource(books[subject.target], subject.experiment)
            if subject.kind == "book"
            else FolderSource(Path(subject.target))
            for subject in order.subjects
        ]
        made = study_sources(
            sources,
            order.out,
            root=_roots(order.subjects),
            command=_command(order.subjects),
            fit=order.fit,
            progress=lambda what, done, total: line.send(("progress", (what, done, total))),
        )
    explained = [found.explanation for found in made.findings]
    fits = [None if one is None else one.fit for one in explained]
    line.send(("kept", tuple(None if fit is None else draws_of(fit) for fit in fits)))
    curves = []
    for found in made.findings:
        table = curve_table(found)
        curves.append(None if table is None else {name: _plain(table[name]) for name in table.columns})
    no_fit = ["" if one is None else one.no_fit for one in explained]
    return {"summary": made.summary, "curves": curves, "no_fit": no_fit}


def _plain(values: Any) -> list[float]:
    return [float(f"{value:.6g}") for value in values]


def _name(subject: Subject) -> str:
    # A report may travel: it names the database, and neither its host nor its user.
    return (
        f"postgresql://…/{subject.target.rpartition('/')[2].partition('?')[0]}"
        if "://" in subject.target
        else (Path(subject.target).resolve().name)
    )


def _roots(subjects: Sequence[Subject]) -> str:
    return ", ".join(dict.fromkeys(_name(subject) for subject in subjects))


def _command(subjects: Sequence[Subject]) -> str:
    """What to type to make the report again, where one command does."""
    first = subjects[0]
    if len(subjects) == 1 and first.kind == "folder":
        return f"edgewind study {_name(first)} --out report-folder"
    lines = [
        f"edgewind export {_name(one)} rotors/{one.experiment} --name {one.experiment}"
        if one.kind == "book"
        else f"cp -r {_name(one)} rotors/"
        for one in subjects
    ]
    return "mkdir rotors\n" + "\n".join(lines) + "\nedgewind study rotors --out report-folder"
