"""The command `edgewind predict`."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from edgewind.cli.base import AsJson, Cluster, Solve, app, indented, print_json, progress_bar
from edgewind.cli.described import BenchPath, bench_beside_readings, has_readings, with_start
from edgewind.cli.solving import solve_outside
from edgewind.errors import InputError

if TYPE_CHECKING:
    import pandas as pd

    from edgewind.evidence import Scaling, WhatIf
    from edgewind.evidence.fit import Fit
    from edgewind.evidence.fitted_bench import FittedBench
    from edgewind.rotor import Prediction, WarmStart

_PRESSURES, _PRESSURES_IN_TIME = "0.02Pa:20Pa:40", "0.1Pa:10Pa:5"
_WIDTH = 100
# Of the default pressures, every third one is printed.
_ROWS_APART = 3
# Largest number of pressures of a run in time.
_MOST_STARTS = 12


@app.command()
def predict(
    bench: BenchPath,
    pressures: Annotated[
        str | None,
        typer.Option(
            help="Low, high and number, or a list: '1 Pa, 7 mTorr'. Default: 0.02Pa:20Pa:40, every third one printed."
        ),
    ] = None,
    changes: Annotated[
        list[str] | None, typer.Option("--set", help="What if: 'rotor.vane_width=30 mm', 'gas.species=He'; repeatable.")
    ] = None,
    plot: Annotated[
        Path | None, typer.Option(help="Write a figure, with the readings beside bench.toml: a .png or .svg file.")
    ] = None,
    scaling: Annotated[
        Path | None, typer.Option(help="Write a figure of both optima against the width of the vane: .png or .svg.")
    ] = None,
    fit: Annotated[
        bool | None,
        typer.Option(
            "--fit/--no-fit",
            help="Start from a fit of the readings beside bench.toml, which gives intervals and takes ten seconds or "
            "more, or from bench.toml alone. Default: the values that the readings make most probable; with --set, a "
            "fit.",
        ),
    ] = None,
    vane_at_start: Annotated[
        str | None,
        typer.Option(
            help="Initial temperature of the vanes, with the rotor at rest: '22 degC'. Prints which face leads first, "
            "the greatest speed, when the speed passes zero and when it has settled."
        ),
    ] = None,
    solve: Solve = False,
    cluster: Cluster = None,
    as_json: AsJson = False,
) -> None:
    """Predict the speed curve of this rotor from first principles.

    With --set or --fit, also print how both optima move, with intervals over draws of the fit or of the priors. The
    answer comes first, the table after it.
    """
    from edgewind.pressures import parse_pressures
    from edgewind.rotor import changed_bench, parse_bench_changes, parse_vane_temperature, predict_rotor, predict_whole
    from edgewind.rotor.words import answer_lines, table_lines

    if plot is not None or scaling is not None:
        from edgewind.report.figures.file import figure_kind

        for name in (plot, scaling):
            if name is not None:
                figure_kind(name)
    asked, wanted = parse_bench_changes(changes or []), parse_pressures(pressures or _PRESSURES)
    vane_k = None if vane_at_start is None else parse_vane_temperature(vane_at_start)
    if vane_k is not None and len(wanted) > _MOST_STARTS:
        if pressures is not None:
            raise InputError(
                f"{len(wanted)} pressures are too many for runs in time",
                fix=f"ask for {_MOST_STARTS} or fewer with --pressures",
            )
        wanted = parse_pressures(_PRESSURES_IN_TIME)
    alone = bench_beside_readings(bench, fit=False)
    changed_bench(alone.bench, asked)  # impossible values are refused before a fit
    fitted, why_not, readings = None, "", None
    if fit or (fit is None and asked and has_readings(bench)):
        fitted, why_not, readings = _fitted(bench)
        if fitted is None and fit:
            raise InputError(f"no fit could be made: {why_not}", file=bench, fix="leave out --fit")
    start = bench_beside_readings(bench, fit=True) if fit is None and not asked else alone
    described = start.bench
    readings = start.readings if readings is None else readings
    moved = drawn = None
    if asked or fitted is not None:
        from edgewind.evidence import draws_of

        drawn = draws_of(described if fitted is None else fitted)
    notes = solve_outside([described, changed_bench(described, asked)], solve=solve, cluster=cluster)
    if why_not and fitted is None:
        notes = [*notes, f"The readings beside bench.toml are not used: {why_not}."]
    if drawn is not None and fitted is not None:
        of_fit = drawn.moved(asked)
        found = predict_rotor(of_fit.bench, of_fit.rotor, of_fit.gas, wanted)
    else:
        found = predict_whole(described, wanted, changes=asked, parameters=start.parameters)
    if drawn is not None and found.table["pressure_pa"].size > 1:
        from edgewind.evidence import what_if

        moved = what_if(drawn, asked, found.table["pressure_pa"], level=described.study.level)
    if moved is None:
        from edgewind.evidence.predicted import with_model_error

        found = with_model_error(found, level=described.study.level)
    if plot is not None:
        from edgewind.report import plot_prediction, plot_what_if

        if moved is None:
            plot_prediction(found, plot, readings)
        else:
            plot_what_if(moved, found.bench, plot, readings)
    starts = [] if vane_k is None else _starts(found, vane_k)
    laws = [] if scaling is None else _scaling(found.bench, scaling, drawn)
    if as_json:
        print_json(_result(found, laws, moved, start, starts))
        return
    units = found.bench.shown
    if moved is not None:
        from edgewind.evidence.words import what_if_lines

        for line in what_if_lines(moved):
            print(units.text(line))
        print()
    if start.sentence:
        print(indented(units.text(start.sentence), 0))
    if asked:
        said = " and ".join(f"{key} = {value}" for key, value in asked.items())
        by = "bench.toml alone" if fitted is None else "one draw of the fit"
        print(indented(f"Single values below are for the bench as changed ({said}), computed from {by}.", 0))
    for one in starts:
        print(indented(units.text(one.sentence), 0))
    for line in answer_lines(found):
        print(line if len(line) <= _WIDTH else indented(line, 0))
    for law in laws:
        print(indented(units.text(law.sentence), 0))
    print()
    every = _ROWS_APART if pressures is None and vane_k is None else 1
    for line in table_lines(found, every=every):
        print(line)
    if every > 1:
        print(f"every third pressure: --pressures {_PRESSURES} prints all, --json as well")
    if fitted is not None:
        print("the table is for one draw of the fit: the one whose speeds are nearest to the median of all draws")
    for note in notes:
        print(indented(note, 0))


def _starts(found: Prediction, vane_k: float) -> list[WarmStart]:
    from edgewind.rotor import response_of, warm_start

    response = response_of(found.parameters)
    return [warm_start(found.parameters, response, float(p), vane_k) for p in found.table["pressure_pa"]]


def _result(
    found: Prediction, laws: list[Scaling], moved: WhatIf | None, start: FittedBench, starts: list[WarmStart]
) -> dict[str, Any]:
    """Return the JSON output, SI: the prediction and further results.

    Returns
    -------
    scaling : list of edgewind.evidence.scaling.ScalingResult
        Change of both optima with the width of the vane; empty without `--scaling`.
    what_if : edgewind.evidence.WhatIfResult or None
        Change of both optima with the change of the bench, over draws; null without `--set` or `--fit`.
    starts : list of edgewind.rotor.WarmStart
        Motion from rest with vanes of the given temperature; empty without `--vane-at-start`.
    """
    what_if = None if moved is None else moved.to_result()
    return with_start(
        found.to_result(), start, scaling=[law.to_result() for law in laws], what_if=what_if, starts=starts
    )


def _fitted(path: Path) -> tuple[Fit | None, str, pd.DataFrame]:
    """Fit every drive to the readings of a folder and return them, too; None and the reason if that is impossible."""
    from edgewind.evidence import explain
    from edgewind.signals import read_experiment

    with progress_bar() as bar:
        task = bar.add_task("fitting", total=100)
        tell: Callable[[str, int, float], None] = lambda model, done, left: bar.update(  # noqa: E731
            task, completed=round(100 * (1 - left))
        )
        experiment = read_experiment(path if path.is_dir() else path.parent)
        explanation = explain(experiment, models=("all",), progress=tell)
    return explanation.fit, explanation.no_fit, experiment.readings


def _scaling(bench: Any, figure: Path, drawn: Any) -> list[Any]:
    """Return both optima against the width of the vane, by the bench as described or by a fit to its readings."""
    from edgewind.evidence import both_laws
    from edgewind.report import plot_scaling

    laws, left_out = both_laws(bench, drawn)
    if left_out:
        print(f"edgewind: {left_out}; the greatest speed alone is drawn", file=sys.stderr)
    plot_scaling(laws, figure, bench.shown)
    return laws
