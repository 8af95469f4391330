"""Long work of the pages, as functions for a runner in a process beside the server."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from edgewind.runner import report

if TYPE_CHECKING:
    from edgewind.bench import Bench
    from edgewind.evidence import RotorDraws


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
class FilmChoices:
    """Choices of a film."""

    shape: str
    drive: str
    quantity: str
    theme: str
    size: str
    seconds: float
    mark: str = ""


def make_study(subjects: Sequence[Subject], out: Path, fit: bool) -> dict[str, Any]:
    """Make a study with its report; send the draws of each fit as the message ``kept``.

    Parameters
    ----------
    subjects : sequence of Subject
        The experiments, the main one first.
    out : Path
        Folder of the report.
    fit : bool
        Whether mechanisms are judged by a fit.

    Returns
    -------
    dict
        ``summary`` as in ``study.json``, ``curves`` and ``no_fit`` for each subject.
    """
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
            for subject in subjects
            if subject.kind == "book"
        }
        sources: list[ExperimentSource] = [
            BookSource(books[subject.target], subject.experiment)
            if subject.kind == "book"
            else FolderSource(Path(subject.target))
            for subject in subjects
        ]
        made = study_sources(
            sources,
            str(out),
            root=", ".join(dict.fromkeys(_name(subject) for subject in subjects)),
            command=_command(subjects),
            fit=fit,
            progress=lambda what, done, total: report("progress", (what, done, total)),
        )
    explained = [found.explanation for found in made.findings]
    fits = [None if one is None else one.fit for one in explained]
    report("kept", tuple(None if fitted is None else draws_of(fitted) for fitted in fits))
    curves = []
    for found in made.findings:
        table = curve_table(found)
        curves.append(None if table is None else {name: _rounded(table[name]) for name in table.columns})
    no_fit = ["" if one is None else one.no_fit for one in explained]
    return {"summary": made.summary, "curves": curves, "no_fit": no_fit}


def compute_gas(shape: str, drive: str) -> dict[str, Any]:
    """Compute the gas at the usual Knudsen numbers of a shape; the message ``part`` lists those that are ready."""
    from edgewind.report.film import gas_series

    solved: list[float] = []

    def progress(done: int, total: int, field: Any) -> None:
        solved.append(float(field.knudsen))
        report("progress", ("computing the gas", done, total))
        report("part", list(solved))

    gas_series(shape, drive=drive, progress=progress)
    return {"solved": solved}


def make_gas_film(film: FilmChoices, out: Path) -> dict[str, Any]:
    """Make a film of the gas."""
    from edgewind.report.film import gas_series, make_film, mark_of, shipped_rotor_fields

    def computing(done: int, total: int, field: Any) -> None:
        report("progress", ("computing the gas", done, total))

    def drawing(done: int, total: int) -> None:
        report("progress", ("drawing frames", done, total))

    out.mkdir(parents=True, exist_ok=True)
    path = str(out / "film.mp4")
    how: dict[str, Any] = {"quantity": film.quantity, "theme": film.theme, "size": film.size}
    how["mark"] = mark_of(film.mark)
    gas = (
        shipped_rotor_fields(film.drive)
        if film.shape == "rotor"
        else gas_series(film.shape, drive=film.drive, progress=computing)
    )
    made = make_film(path, gas, seconds=film.seconds, progress=drawing, **how)
    return {"frames": made.frames, "width": made.width, "height": made.height, "bytes": made.bytes}


def find_intervals(rotor: Bench | RotorDraws, changes: Mapping[str, str]) -> dict[str, Any]:
    """Return the change of both optima, with intervals."""
    from edgewind.web.whatif import optima_intervals

    return optima_intervals(rotor, changes)


def _rounded(values: Any) -> list[float]:
    return [float(f"{value:.6g}") for value in values]


def _name(subject: Subject) -> str:
    # A report may be passed on: it names the database, but not its host or user.
    if "://" in subject.target:
        return f"postgresql://…/{subject.target.rpartition('/')[2].partition('?')[0]}"
    return Path(subject.target).resolve().name


def _command(subjects: Sequence[Subject]) -> str:
    """Return the command that makes the report again."""
    first = subjects[0]
    if len(subjects) == 1 and first.kind == "folder":
        return shlex.join(["edgewind", "study", _name(first), "--out", "report-folder"])
    lines = [
        shlex.join(["edgewind", "export", _name(one), f"rotors/{one.experiment}", "--name", one.experiment])
        if one.kind == "book"
        else shlex.join(["cp", "-r", _name(one), "rotors/"])
        for one in subjects
    ]
    return "\n".join(["mkdir rotors", *lines, "edgewind study rotors --out report-folder"])
