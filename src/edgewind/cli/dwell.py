"""The command `edgewind dwell`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from edgewind.cli.base import AsJson, app, indented, print_json


@app.command()
def dwell(
    bench: Annotated[Path, typer.Argument(help="The bench.toml, or the folder that holds it.")],
    pressures: Annotated[
        str, typer.Option(help="Low, high and how many, or a list: '1 Pa, 7 mTorr'.")
    ] = "0.05Pa:20Pa:12",
    within: Annotated[float, typer.Option(help="Share of the new speed within which the rotor must have come.")] = 0.01,
    turns: Annotated[float, typer.Option(help="Turns of a reading, which takes 20 s at least.")] = 5.0,
    changes: Annotated[
        list[str] | None, typer.Option("--set", help="What if: 'rotor.vane_width=30 mm'; repeatable.")
    ] = None,
    plot: Annotated[Path | None, typer.Option(help="Write a figure: a .png or .svg file.")] = None,
    as_json: AsJson = False,
) -> None:
    """Plan the time on the bench: chamber, heat, spin-up, and the quickest order."""
    from edgewind.bench import BENCH_FILE, read_bench
    from edgewind.plan import plan_time
    from edgewind.plan.dwell_words import plan_lines
    from edgewind.pressures import parse_pressures
    from edgewind.rotor import changed_bench, parse_changes

    described = read_bench(bench / BENCH_FILE if bench.is_dir() else bench)
    described = changed_bench(described, parse_changes(changes or []))
    if plot is not None:
        from edgewind.report import figure_kind

        figure_kind(plot)
    plan = plan_time(described, parse_pressures(pressures), within=within, turns=turns)
    if plot is not None:
        from edgewind.report import plot_dwell

        plot_dwell(plan, plot)
    if as_json:
        print_json(plan.as_plain())
        return
    for line in plan_lines(plan):
        print(line if line.startswith(" ") or not line[:1].isalpha() else indented(line, 0))
