"""The process that makes studies, so that the pages stay quick while one is being made."""

from __future__ import annotations

import signal
from collections.abc import Sequence
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any


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
class Order:
    """A study to make: of what, where to, and whether to fit."""

    subjects: tuple[Subject, ...]
    out: str
    fit: bool


def work(line: Connection) -> None:
    """Make every study that is ordered, one after the other; the answers are tuples that begin with a word."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the server, which ends this process
    from edgewind.errors import EdgewindError

    while True:
        try:
            order: Order | None = line.recv()
        except EOFError:
            return
        if order is None:
            return
        try:
            line.send(("done", _study(order, line)))
        except EdgewindError as error:
            line.send(("refused", str(error)))
        except (BrokenPipeError, KeyboardInterrupt):
            return
        except Exception as error:  # the server tells it; the next order may be a better one
            line.send(("refused", f"the study failed: {error!r}"))


def _study(order: Order, line: Connection) -> dict[str, Any]:
    from contextlib import ExitStack

    from edgewind.book import BookSource, open_book
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
    curves = []
    for found in made.findings:
        table = curve_table(found)
        curves.append(None if table is None else {name: _plain(table[name]) for name in table.columns})
    return {"summary": made.summary, "curves": curves, "answers": [list(found.answer) for found in made.findings]}


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
