"""The command `edgewind dwell`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from edgewind.cli.base import AsJson, app, indented, print_json
from edgewind.cli.described import BenchPath, UseReadings, bench_beside_readings, with_start


@app.command()
def dwell(
    bench: BenchPath,
    pressures: Annotated[
        str, typer.Option(help="Low, high and number, or a list: '1 Pa, 7 mTorr'.")
    ] = "0.05Pa:20Pa:12",
    within: Annotated[
        float, typer.Option(help="Relative difference from the new steady speed at which the rotor counts as settled.")
    ] = 0.01,
    turns: Annotated[float, typer.Option(help="Turns in a reading, which takes at least 20 s.")] = 5.0,
    changes: Annotated[
        list[str] | None, typer.Option("--set", help="What if: 'rotor.vane_width=30 mm'; repeatable.")
    ] = None,
    fit: UseReadings = True,
    plot: Annotated[Path | None, typer.Option(help="Write a figure: a .png or .svg file.")] = None,
    as_json: AsJson = False,
) -> None:
    """Plan the time on the bench: chamber, heat, spin-up, and the quickest order."""
    from edgewind.plan import plan_time, time_plan_result
    from edgewind.plan.dwell_text import plan_lines
    from edgewind.pressures import parse_pressures
    from edgewind.rotor import changed_bench, parse_bench_changes

    asked, wanted = parse_bench_changes(changes or []), parse_pressures(pressures)
    if plot is not None:
        from edgewind.report import figure_kind

        figure_kind(plot)
    fitted = bench_beside_readings(bench, fit=fit)
    plan = plan_time(
        changed_bench(fitted.bench, asked), wanted, within=within, turns=turns, parameters=fitted.parameters
    )
    if plot is not None:
        from edgewind.report import plot_dwell

        plot_dwell(plan, plot)
    if as_json:
        print_json(with_start(time_plan_result(plan), fitted))
        return
    if fitted.sentence:
        print(indented(fitted.bench.shown.text(fitted.sentence), 0))
    for line in plan_lines(plan):
        print(line if line.startswith(" ") or not line[:1].isalpha() else indented(line, 0))
