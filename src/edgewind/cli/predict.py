"""The command `edgewind predict`."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from edgewind.cli.base import AsJson, app, indented, print_json
from edgewind.errors import InputError

if TYPE_CHECKING:
    from edgewind.evidence import Scaling, WhatIf
    from edgewind.rotor import Prediction


@app.command()
def predict(
    bench: Annotated[Path, typer.Argument(help="The bench.toml, or the folder that holds it.")],
    pressures: Annotated[
        str, typer.Option(help="Low, high and how many, or a list: '1 Pa, 7 mTorr'.")
    ] = "0.02Pa:20Pa:40",
    changes: Annotated[
        list[str] | None, typer.Option("--set", help="What if: 'rotor.vane_width=30 mm', 'gas.species=He'; repeatable.")
    ] = None,
    plot: Annotated[Path | None, typer.Option(help="Write a figure: a .png or .svg file.")] = None,
    scaling: Annotated[
        Path | None, typer.Option(help="Write a figure of both optima against the width of the vane: .png or .svg.")
    ] = None,
    fit: Annotated[
        bool,
        typer.Option("--fit", help="Fit the unknowns to the readings of the folder first; takes ten seconds or more."),
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Predict the speed curve of this rotor from first principles.

    With --set or --fit, also how both optima move, with intervals over draws of the fit or of the priors.
    """
    from edgewind.bench import BENCH_FILE, read_bench
    from edgewind.pressures import parse_pressures
    from edgewind.rotor import parse_changes, predict_whole
    from edgewind.rotor.words import prediction_lines

    if plot is not None or scaling is not None:
        from edgewind.report.figures.file import figure_kind

        for name in (plot, scaling):
            if name is not None:
                figure_kind(name)
    described = read_bench(bench / BENCH_FILE if bench.is_dir() else bench)
    asked, wanted = parse_changes(changes or []), parse_pressures(pressures)
    fitted = _fitted(bench) if fit else None
    moved = drawn = None
    if asked or fit:
        from edgewind.evidence import draws_of

        drawn = draws_of(described if fitted is None else fitted)
    best = drawn.moved(asked).best if drawn is not None and fitted is not None else None
    found = predict_whole(described, wanted, changes=asked, parameters=best)
    if drawn is not None and found.table["pressure_pa"].size > 1:
        from edgewind.evidence import what_if

        moved = what_if(drawn, asked, found.table["pressure_pa"], level=described.study.level)
    if plot is not None:
        from edgewind.report import plot_prediction, plot_what_if

        if moved is None:
            plot_prediction(found, plot)
        else:
            plot_what_if(moved, found.bench.experiment.title, plot)
    laws = [] if scaling is None else _scaling(found.bench, scaling, drawn)
    if as_json:
        print_json(_plain(found, laws, moved))
        return
    for line in prediction_lines(found):
        print(line)
    if best is not None:
        print("the table is for the medians of the fit")
    if moved is not None:
        from edgewind.evidence.words import what_if_lines

        print()
        for line in what_if_lines(moved):
            print(line)
    for law in laws:
        print(indented(law.sentence, 0))


def _plain(found: Prediction, laws: list[Scaling], moved: WhatIf | None) -> dict[str, Any]:
    """Plain types for JSON, SI: those of the prediction, and what was asked for besides.

    Returns
    -------
    scaling : list of edgewind.evidence.Scaling
        How both optima move with the width of the vane; empty without `--scaling`.
    what_if : edgewind.evidence.WhatIf or None
        How both optima move with the change, over draws; null without `--set` or `--fit`.
    """
    return found.as_plain() | {
        "scaling": [law.as_plain() for law in laws],
        "what_if": None if moved is None else moved.as_plain(),
    }


def _fitted(path: Path) -> Any:
    """Fit every drive together to the readings of a folder."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    from edgewind.evidence import explain
    from edgewind.evidence.words import done_percent
    from edgewind.signals import read_experiment

    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("fitting", total=100)
        tell: Callable[[str, int, float], None] = lambda model, done, left: bar.update(  # noqa: E731
            task, completed=done_percent(left)
        )
        explanation = explain(
            read_experiment(path if path.is_dir() else path.parent), models=("all",), live_points=150, progress=tell
        )
    if explanation.fit is None:
        raise InputError(f"no fit could be made: {explanation.no_fit}", file=path, fix="leave out --fit")
    return explanation.fit


def _scaling(bench: Any, figure: Path, drawn: Any) -> list[Any]:
    """Follow both optima over the width of the vane, by the bench as described or by a fit to its readings."""
    from edgewind.evidence import both_laws
    from edgewind.report import plot_scaling

    laws, left_out = both_laws(bench, drawn)
    if left_out:
        print(f"edgewind: {left_out}; the greatest speed alone is drawn", file=sys.stderr)
    plot_scaling(laws, figure)
    return laws
