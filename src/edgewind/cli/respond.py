"""The command `edgewind respond`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.console import Console

from edgewind.cli.base import AsJson, app, print_json
from edgewind.errors import InputError

if TYPE_CHECKING:
    from edgewind.kinetics import Response


@app.command()
def respond(
    shape: Annotated[str, typer.Option(help="strip, square, rectangle, diamond or disc.")] = "strip",
    knudsen: Annotated[
        str, typer.Option(help="A list, '10,1,0.1', or low, high and how many: '0.01:100:25'.")
    ] = "10,1,0.1",
    room: Annotated[float, typer.Option(help="Side of the closed room over the width of the vane.")] = 4.0,
    aspect: Annotated[float, typer.Option(help="Height over width of a rectangle.")] = 1.0,
    position: Annotated[float, typer.Option(help="Place of the vane on the axis of the room, 0 to 1.")] = 0.5,
    accommodation: Annotated[float, typer.Option(help="Diffuse share of all walls, 0 to 1.")] = 1.0,
    tolerance: Annotated[float, typer.Option(help="Relative error to reach.")] = 1e-3,
    fields: Annotated[
        Path | None, typer.Option(help="Write the fields of the gas at one Knudsen number: FILE.nc.")
    ] = None,
    plot: Annotated[Path | None, typer.Option(help="Write a figure: a .png or .svg file.")] = None,
    as_json: AsJson = False,
) -> None:
    """Compute thermal force, drag and heat coefficients of a vane in the gas."""
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    from edgewind.kinetics import parse_knudsen, respond_curve

    numbers = parse_knudsen(knudsen)
    if fields is not None and len(numbers) != 1:
        raise InputError(f"fields at {len(numbers)} Knudsen numbers", fix="give one Knudsen number with --fields")
    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("solving", total=len(numbers))
        answers = respond_curve(
            shape, numbers, aspect=aspect, room=room, position=position, accommodation=accommodation,
            tolerance=tolerance, fields=fields is not None,
            progress=lambda done, total, answer: bar.update(task, completed=done),
            watch=lambda done, step: bar.update(
                task, completed=done + step.done, description=f"Kn {numbers[done]:.4g}, grid {step.level}: {step.drive}"
            ),
        )  # fmt: skip
    if fields is not None:
        answers[0].to_dataset().to_netcdf(fields)
    if plot is not None:
        from edgewind.report import plot_responses

        plot_responses(answers, plot)
    if as_json:
        print_json([_plain(answer) for answer in answers])
        return
    titles = ("thermal force", "drag", "heat hot", "heat cold")
    print(f"{'Kn':>8}" + "".join(f"{title:>16}" for title in titles) + f"{'sweeps':>8}{'seconds':>9}")
    for answer in answers:
        cells = [_with_error(answer, name) for name in ("thermal_force", "drag", "heat_hot", "heat_cold")]
        short = "" if answer.reached else "  tolerance not reached"
        work = f"{max(answer.sweeps.values()):>8}{answer.seconds:>9.1f}"
        print(f"{answer.knudsen:>8.4g}" + "".join(f"{cell:>16}" for cell in cells) + work + short)


def _plain(answer: Response) -> dict[str, Any]:
    """Plain types for JSON: a row of the curve with its errors.

    Returns
    -------
    knudsen : float
        Mean free path over the width of the vane.
    rarefaction : float
        Rarefaction parameter, sqrt(pi)/2 over the Knudsen number.
    thermal_force, drag, heat_hot, heat_cold : as in edgewind.kinetics.Response
    sweeps : int
        Fine sweeps of the drive that took the most, at the finest resolution.
    seconds : float
        Time that the solution took, s.
    errors : dict of str to float
        Estimated absolute error of each coefficient, by its name.
    reached : as in edgewind.kinetics.Response
    """
    return answer.row() | {"errors": dict(answer.errors), "reached": answer.reached}


def _with_error(answer: Response, name: str) -> str:
    from edgewind.units import format_measured

    return format_measured(answer.values[name], answer.errors[name])
