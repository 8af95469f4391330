"""The command `edgewind next`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from edgewind.cli.base import AsJson, app, indented, print_json
from edgewind.errors import InputError

if TYPE_CHECKING:
    from edgewind.plan import Plan


@app.command(name="next")
def next_readings(
    path: Annotated[
        str, typer.Argument(help="Experiment folder, a folder that holds several, or a lab book (file or URL).")
    ],
    batch: Annotated[int, typer.Option(help="Number of readings to choose.")] = 1,
    target_interval: Annotated[
        str | None, typer.Option(help="Wanted width of the interval: '10%' of the pressure, or '0.1 Pa'.")
    ] = None,
    pressures: Annotated[
        str | None,
        typer.Option("--range", help="Range of pressures: '0.02Pa:20Pa'; default: the range of the gauge."),
    ] = None,
    plot: Annotated[
        Path | None, typer.Option(help="Write a figure: a .png or .svg file; for a single experiment.")
    ] = None,
    everything: Annotated[
        bool, typer.Option("--all", help="After 'Stop', print also the further measurements that are possible.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Choose the next pressures to measure, and say when to stop."""
    from edgewind.plan import parse_target
    from edgewind.plan.ranges import check_range
    from edgewind.plan.text import next_lines
    from edgewind.pressures import parse_pressure_range
    from edgewind.study import plan_next

    parse_target(target_interval)
    between = None if pressures is None else check_range(*parse_pressure_range(pressures))
    if plot is not None:
        from edgewind.report import figure_kind

        figure_kind(plot)
    plans = plan_next(path, batch=batch, target=target_interval, range_pa=between)
    if plot is not None:
        from edgewind.report import plot_plan

        if len(plans) != 1:
            raise InputError(
                f"--plot draws one experiment, and this holds {len(plans)}", file=path, fix="name one of them"
            )
        plot_plan(plans[0], plot)
    if as_json:
        print_json(plans[0].to_dict() if len(plans) == 1 else _several(plans))
        return
    for number, plan in enumerate(plans):
        if number:
            print()
        print(plan.name)
        for line in next_lines(plan, everything=everything):
            print(indented(line))


def _several(plans: tuple[Plan, ...]) -> dict[str, Any]:
    """Return the JSON output for several experiments.

    Returns
    -------
    experiments : list of edgewind.plan.PlanResult
        One for each experiment.
    """
    return {"experiments": [plan.to_dict() for plan in plans]}
