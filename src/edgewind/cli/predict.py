"""The command `edgewind predict`."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated, Any

import typer

from edgewind.cli.base import AsJson, app, indented, print_json
from edgewind.errors import InputError


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
        bool, typer.Option("--fit", help="Fit the unknowns to the readings of the folder first, for --scaling.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Speed curve of this rotor from first principles: drive and drag apart, each mechanism on its own."""
    from edgewind.bench import BENCH_FILE, read_bench
    from edgewind.rotor import parse_changes, parse_pressures, predict_whole
    from edgewind.rotor.words import prediction_lines

    described = read_bench(bench / BENCH_FILE if bench.is_dir() else bench)
    found = predict_whole(described, parse_pressures(pressures), changes=parse_changes(changes or []))
    if plot is not None:
        from edgewind.report import plot_prediction

        plot_prediction(found, plot)
    laws = [] if scaling is None else _scaling(bench, found.bench, scaling, fit)
    if as_json:
        print_json(found.as_plain() | {"scaling": [law.as_plain() for law in laws]})
        return
    for line in prediction_lines(found):
        print(line)
    for law in laws:
        print(indented(law.sentence, 0))


def _scaling(path: Path, bench: Any, figure: Path, fit: bool) -> list[Any]:
    """Follow both optima over the width of the vane, by the bench as described or by a fit to its readings."""
    from edgewind.evidence import explain, scaling_of
    from edgewind.report import plot_scaling
    from edgewind.signals import read_experiment

    fitted = None
    if fit:
        explanation = explain(read_experiment(path if path.is_dir() else path.parent))
        if explanation.fit is None:
            raise InputError(f"no fit could be made: {explanation.no_fit}", file=path, fix="leave out --fit")
        fitted = explanation.fit
    laws = [scaling_of(bench, fitted=fitted, quantity="speed")]
    try:
        laws.append(scaling_of(bench, fitted=fitted, quantity="torque"))
    except InputError as error:
        print(f"edgewind: {error}; the greatest speed alone is drawn", file=sys.stderr)
    plot_scaling(laws, figure)
    return laws
