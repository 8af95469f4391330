"""The command `edgewind rotor`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from edgewind.cli.base import AsJson, Solve, app, indented, print_json
from edgewind.cli.described import BenchPath, UseReadings, bench_beside_readings, with_start
from edgewind.cli.solving import solve_outside


@app.command()
def rotor(
    bench: BenchPath,
    goals: Annotated[
        list[str],
        typer.Option("--goal", help="fastest, light, quick or test; repeatable, the first is the vertical axis."),
    ],
    ranges: Annotated[
        list[str] | None,
        typer.Option("--range", help="Range that can be built: 'vane_width=6 mm:20 mm', 'vanes=2:6'; repeatable."),
    ] = None,
    gases: Annotated[str | None, typer.Option(help="Gases available: 'N2,He'.")] = None,
    between: Annotated[
        str, typer.Option(help="For the goal test: the two drives to distinguish.")
    ] = "thermal_force,light_pressure",
    trials: Annotated[int, typer.Option(help="Designs to try.")] = 600,
    seed: Annotated[int, typer.Option(help="Seed; the same seed tries the same designs.")] = 1,
    fit: UseReadings = True,
    solve: Solve = False,
    plot: Annotated[Path | None, typer.Option(help="Write a figure of the trade-off: a .png or .svg file.")] = None,
    as_json: AsJson = False,
) -> None:
    """Search for the next rotor within what you can build."""
    from edgewind.errors import InputError
    from edgewind.plan import rotor_search_result, search_rotor
    from edgewind.plan.rotor_text import search_lines

    drives = [part.strip() for part in between.split(",")]
    if len(drives) != 2:
        raise InputError(f"'{between}' does not name two drives", fix="write thermal_force,light_pressure")
    if plot is not None:
        from edgewind.report import figure_kind

        figure_kind(plot)
    fitted = bench_beside_readings(bench, fit=fit)
    found = search_rotor(
        fitted.bench,
        goals,
        ranges=dict(_range(text) for text in ranges or []),
        gases=None if gases is None else [part.strip() for part in gases.split(",")],
        between=(drives[0], drives[1]),
        trials=trials,
        seed=seed,
    )
    # Of hundreds of designs only the proposed ones are worth minutes each.
    notes = solve_outside(found.rotors((found.own, *found.picked())), solve=solve, cluster=None, strict=False)
    if solve:
        found = found.judged_anew()
    if plot is not None:
        from edgewind.report import plot_front

        plot_front(found, plot)
    if as_json:
        print_json(with_start(rotor_search_result(found), fitted))
        return
    if fitted.sentence_for_others:
        print(indented(fitted.bench.shown.text(fitted.sentence_for_others), 0))
    for line in search_lines(found):
        print(line if len(line) < 100 or line.startswith(" ") else indented(line, 0))
    for note in notes:
        print(indented(note, 0))


def _range(text: str) -> tuple[str, tuple[float, float]]:
    """Read ``vane_width=6 mm:20 mm`` or ``vanes=2:6``."""
    from edgewind.errors import InputError
    from edgewind.units import parse_quantity

    name, _, ends = text.partition("=")
    low, colon, high = ends.partition(":")
    if not name or not colon:
        raise InputError(f"'{text}' is not a range", fix="write 'vane_width=6 mm:20 mm'")
    if name.strip() == "vanes":
        if not (low.strip().isdecimal() and high.strip().isdecimal()):
            raise InputError(f"'{text}' is not a range of whole numbers", fix="write 'vanes=2:6'")
        return "vanes", (float(low), float(high))
    return name.strip(), (parse_quantity(low, "length"), parse_quantity(high, "length"))
