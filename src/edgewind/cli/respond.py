"""The command `edgewind respond`."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from edgewind.cli.base import AsJson, Cluster, app, print_json, progress_bar
from edgewind.errors import InputError

if TYPE_CHECKING:
    from edgewind.kinetics import Response, RotorResponse, SolveProgress


@app.command()
def respond(
    shape: Annotated[str, typer.Option(help="strip, square, rectangle, diamond or disc.")] = "strip",
    knudsen: Annotated[
        str, typer.Option(help="A list, '10,1,0.1', or low, high and number: '0.01:100:25'.")
    ] = "10,1,0.1",
    room: Annotated[
        str, typer.Option(help="Side of the closed room over the width of the vane; sides 'X,X,Z' about a rotor.")
    ] = "4",
    vanes: Annotated[int | None, typer.Option(help="Solve a rotor of 1 to 4 vanes about a vertical axis.")] = None,
    arm: Annotated[
        float | None, typer.Option(help="Distance from the axis to the middle of a vane over its width.")
    ] = None,
    round_: Annotated[
        bool, typer.Option("--round", help="The rotor's chamber is a cylinder: --room DIAMETER,HEIGHT.")
    ] = False,
    aspect: Annotated[float, typer.Option(help="Height over width of a rectangle.")] = 1.0,
    position: Annotated[float, typer.Option(help="Place of the vane on the axis of the room, 0 to 1.")] = 0.5,
    accommodation: Annotated[
        float, typer.Option(help="Diffuse share of all walls, 0 to 1; of a rotor's faces, whose chamber is diffuse.")
    ] = 1.0,
    tolerance: Annotated[
        float | None, typer.Option(help="Relative error to reach; default: 0.001, for a rotor 0.01.")
    ] = None,
    device: Annotated[str, typer.Option(help="Device for the computation: auto, cpu or gpu.")] = "auto",
    fields: Annotated[
        Path | None, typer.Option(help="Write the fields of the gas at one Knudsen number: FILE.nc.")
    ] = None,
    plot: Annotated[Path | None, typer.Option(help="Write a figure: a .png or .svg file.")] = None,
    picture: Annotated[
        Path | None,
        typer.Option(help="Draw the gas about the rotor from above at the first Knudsen number: FILE.png or FILE.svg."),
    ] = None,
    cluster: Cluster = None,
    as_json: AsJson = False,
) -> None:
    """Compute force, drag and heat of a vane in the gas, or torque, drag and heat of a rotor."""
    from edgewind.kinetics import parse_knudsen, respond_curve, respond_rotor_curve

    numbers = parse_knudsen(knudsen)
    sides = sides_of(room)
    if fields is not None and len(numbers) != 1:
        raise InputError(f"--fields writes the gas at one Knudsen number, not {len(numbers)}", fix="give one")
    rotor = vanes is not None or arm is not None or round_
    if picture is not None:
        from edgewind.report.film import check_still

        if not rotor:
            raise InputError(
                "--picture draws a rotor, not a lone vane", key="picture", fix="draw it with edgewind film --still FILE"
            )
        if vanes == 3:
            raise InputError("--picture cannot draw three vanes", key="picture", fix="leave --picture out")
        check_still(picture, replace=True)
    if rotor:
        _check_rotor_options(vanes, arm, room, position, plot)
    elif plot is not None:
        from edgewind.report import figure_kind

        figure_kind(plot)
    with progress_bar() as bar:
        task = bar.add_task("solving", total=len(numbers))

        def progress(done: int, total: int, answer: object) -> None:
            bar.update(task, completed=done)

        def watch(done: int, step: SolveProgress) -> None:
            doing = f"Kn {numbers[done]:.4g}, grid {step.level}: {step.drive}"
            bar.update(task, completed=done + step.done, description=doing)

        about: dict[str, Any] = {"shape": shape, "aspect": aspect, "accommodation": accommodation, "device": device,
                                 "fields": fields is not None}  # fmt: skip
        turning: list[RotorResponse] = []
        if rotor:
            about |= {"vanes": vanes or 1, "arm": arm, "room": sides, "round": round_, "tolerance": tolerance or 1e-2}
            if cluster is None:
                turning = respond_rotor_curve(knudsen=numbers, progress=progress, watch=watch, **about)
            else:
                turning = _on_cluster(cluster, "rotor", numbers, about, lambda done: bar.update(task, completed=done))
            if picture is not None:
                from edgewind.report.film import rotor_series, still_bytes, write_still

                bar.update(task, description="solving for the picture")
                drawn = rotor_series(numbers, vanes=vanes or 1, arm=arm, room=sides, round=round_, shape=shape,
                                     aspect=aspect, accommodation=accommodation)  # fmt: skip
                write_still(picture, still_bytes(drawn, picture.suffix, knudsen=numbers[0]), replace=True)
        else:
            room_sides = sides[0] if len(sides) == 1 else sides
            about |= {"room": room_sides, "position": position, "tolerance": tolerance or 1e-3}
            if cluster is None:
                answers = respond_curve(knudsen=numbers, progress=progress, watch=watch, **about)
            else:
                answers = _on_cluster(cluster, "vane", numbers, about, lambda done: bar.update(task, completed=done))
    if rotor:
        _print_rotor(turning, fields, as_json)
        return
    if fields is not None:
        answers[0].to_dataset().to_netcdf(fields)
    if plot is not None:
        from edgewind.report import plot_responses

        plot_responses(answers, plot)
    if as_json:
        print_json([answer.row() for answer in answers])
        return
    names = ("thermal_force", "drag", "heat_hot", "heat_cold")
    _print_table(
        names, [(one, [_with_error(one, name) for name in names], max(one.sweeps.values())) for one in answers]
    )


def _on_cluster(
    cluster: str, what: str, numbers: Sequence[float], about: dict[str, Any], progress: Callable[[int], None]
) -> list[Any]:
    """Compute each Knudsen number as a piece of work of a cluster."""
    from edgewind.kinetics.response import respond_to
    from edgewind.kinetics.rotor_respond import respond_rotor_to
    from edgewind.runner import open_runner

    ended = itertools.count(1)
    with open_runner(cluster) as runner:
        return runner.map(
            respond_rotor_to if what == "rotor" else respond_to, [({**about, "knudsen": kn},) for kn in numbers],
            on_result=lambda place, answer: progress(next(ended)),
        )  # fmt: skip


def _print_table(names: tuple[str, ...], rows: Iterable[tuple[Response | RotorResponse, list[str], int]]) -> None:
    """Print a line for each response: Knudsen number, values in the order of `names`, sweeps and time."""
    titles = (name.replace("_", " ") for name in names)
    print(f"{'Kn':>8}" + "".join(f"{title:>16}" for title in titles) + f"{'sweeps':>8}{'seconds':>9}")
    for answer, cells, sweeps in rows:
        short = "" if answer.reached else "  tolerance not reached"
        values = "".join(f"{cell:>16}" for cell in cells)
        print(f"{answer.knudsen:>8.4g}{values}{sweeps:>8}{answer.seconds:>9.1f}{short}")


def sides_of(text: str) -> list[float]:
    """Return the sides of a room from a text with commas."""
    try:
        return [float(part) for part in text.split(",")]
    except ValueError:
        raise InputError(
            f"'{text}' does not give the sides of a room", key="room", fix="write '4', or '6,6,4' about a rotor"
        ) from None


def _check_rotor_options(vanes: int | None, arm: float | None, room: str, position: float, plot: Path | None) -> None:
    """Refuse missing options of a rotor, and options of a lone vane."""
    for name, given in (("vanes", vanes), ("arm", arm)):
        if given is None:
            raise InputError(f"a rotor needs --{name}", key=name, fix="write, say, --vanes 4 --arm 1.5 --room 6,6,4")
    if "," not in room:
        raise InputError(
            f"one side, {room}, does not describe a rotor's chamber", key="room",
            fix="write --room 6,6,4, or --round --room 6,4 for a cylinder",
        )  # fmt: skip
    if position != 0.5:
        raise InputError("a rotor must be in the middle of its chamber", key="position", fix="leave --position out")
    if plot is not None:
        raise InputError("--plot cannot draw the response of a rotor", key="plot", fix="leave --plot out")


def _print_rotor(answers: list[RotorResponse], fields: Path | None, as_json: bool) -> None:
    if fields is not None:
        answers[0].to_dataset().to_netcdf(fields)
    if as_json:
        print_json([answer.row() for answer in answers])
        return
    names = ("torque", "drag", "heat_apart", "loss")
    _print_table(names, [(one, [_with_error(one, name) for name in names], one.sweeps) for one in answers])


def _with_error(answer: Response | RotorResponse, name: str) -> str:
    from edgewind.formatting import format_measured

    value, error = answer.values[name], answer.errors[name]
    exact = error < 1e-9 * abs(value)  # rounding only, as in free flight
    return format_measured(value, 0.0 if exact else error)
