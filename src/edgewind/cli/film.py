"""The command `edgewind film`."""

from __future__ import annotations

from math import isnan
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from edgewind.cli.base import AsJson, app, print_json, print_pairs
from edgewind.errors import InputError

if TYPE_CHECKING:
    from edgewind.report.film import Film, GasSeries


@app.command()
def film(
    shape: Annotated[str, typer.Option(help="strip, square, rectangle, diamond or disc.")] = "strip",
    knudsen: Annotated[
        str | None,
        typer.Option(
            help="Knudsen numbers to solve, frames between them are interpolated: a list, '10,1,0.1', or low, high and "
            "how many, '0.01:10:19'. The first is where the film begins."
        ),
    ] = None,
    out: Annotated[Path | None, typer.Option(help="Write the film: FILE.mp4.")] = None,
    still: Annotated[Path | None, typer.Option(help="Write a still: FILE.png or FILE.svg.")] = None,
    at: Annotated[float | None, typer.Option(help="Knudsen number of the still, where --knudsen has several.")] = None,
    room: Annotated[float, typer.Option(help="Side of the closed room over the width of the vane.")] = 4.0,
    aspect: Annotated[float, typer.Option(help="Height over width of a rectangle.")] = 1.0,
    position: Annotated[float, typer.Option(help="Place of the vane on the axis of the room, 0 to 1.")] = 0.5,
    accommodation: Annotated[float, typer.Option(help="Diffuse share of all walls, 0 to 1.")] = 1.0,
    drive: Annotated[
        str, typer.Option(help="thermal: hot and cold face; flow: the vane moves; warm: both faces warm.")
    ] = "thermal",
    quantity: Annotated[
        str, typer.Option(help="What the colours show: temperature, density, pressure, speed or heat-flux.")
    ] = "temperature",
    size: Annotated[str, typer.Option(help="page (1280 by 720), 1080p or 4K.")] = "1080p",
    theme: Annotated[str, typer.Option(help="dark or light.")] = "dark",
    seconds: Annotated[float, typer.Option(help="How long the film is.")] = 12.0,
    fps: Annotated[int, typer.Option(help="Frames a second.")] = 30,
    specks: Annotated[bool, typer.Option(help="Let specks drift with the gas.")] = True,
    tolerance: Annotated[float, typer.Option(help="Relative error of the coefficients.")] = 5e-3,
    replace: Annotated[bool, typer.Option("--replace", help="Replace files that exist.")] = False,
    as_json: AsJson = False,
) -> None:
    """Draw the gas round a vane as a still or a film over the Knudsen number."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    from edgewind.kinetics import parse_knudsen
    from edgewind.report.film import (
        QUANTITIES,
        SIZES,
        THEMES,
        check_film,
        check_still,
        choose,
        gas_series,
        make_film,
        standard_knudsen,
        still_bytes,
        write_still,
    )  # fmt: skip # isort: skip

    if out is None and still is None:
        raise InputError("nothing to write", key="out", fix="give --out FILE.mp4, --still FILE.png or both")
    for table, name, key in ((QUANTITIES, quantity, "quantity"), (SIZES, size, "size"), (THEMES, theme, "theme")):
        choose(table, name, key)
    numbers = standard_knudsen(shape) if knudsen is None else parse_knudsen(knudsen)
    if out is not None:
        check_film(out, numbers, seconds=seconds, fps=fps, replace=replace)
    if still is not None:
        check_still(still, replace=replace)
        if out is None and at is not None and knudsen is None:
            numbers = [at]
        if at is None and len(numbers) > 1:
            raise InputError("which Knudsen number the still shows is not said", key="at", fix="give --at 0.1, say")
        at = numbers[0] if at is None else at
        if not min(numbers) <= at <= max(numbers):
            raise InputError(
                f"the still at a Knudsen number of {at:g} lies outside those that are solved", key="at",
                fix=f"stay within {min(numbers):g} and {max(numbers):g}, or solve more with --knudsen",
            )  # fmt: skip
    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.completed}/{task.total}"),
               TimeRemainingColumn())  # fmt: skip
    drawn: tuple[Path, float, int] | None = None
    made: Film | None = None
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
        solving = bar.add_task("solving the gas", total=len(numbers))
        series = gas_series(
            shape, numbers, room=room, aspect=aspect, position=position, accommodation=accommodation, drive=drive,
            tolerance=tolerance, progress=lambda done, total, field: bar.update(solving, completed=done),
        )  # fmt: skip
        if still is not None and at is not None:
            content = still_bytes(series, still.suffix, knudsen=at, size=size, theme=theme, quantity=quantity)
            write_still(still, content, replace=replace)
            drawn = (still, at, len(content))
        if out is not None:
            drawing = bar.add_task("drawing the film", total=max(2, round(seconds * fps)))
            made = make_film(
                out, series, quantity=quantity, theme=theme, size=size, seconds=seconds, fps=fps, specks=specks,
                dense_first=numbers[0] < numbers[-1], replace=replace,
                progress=lambda done, total: bar.update(drawing, completed=done),
            )  # fmt: skip
    if as_json:
        print_json(_plain(series, quantity, drawn, made))
        return
    rows = []
    if drawn is not None:
        rows.append(("still", f"{drawn[0]}, Kn {drawn[1]:g}, {drawn[2] / 1e6:.2f} MB"))
    if made is not None:
        rows.append(
            ("film", f"{made.path}, {made.width} x {made.height}, {made.frames} frames, {made.seconds:g} s, "
             f"{made.bytes / 1e6:.2f} MB")
        )  # fmt: skip
    rows.append(("solved", f"{len(series.fields)} Knudsen numbers, {series.low:g} to {series.high:g}"))
    print_pairs(rows)


def _plain(
    series: GasSeries, quantity: str, still: tuple[Path, float, int] | None, film: Film | None
) -> dict[str, Any]:
    """Plain types for JSON.

    Returns
    -------
    still : dict
        The still; the key is left out where none was written.
    still.path : str
        File of the still.
    still.knudsen : float
        Knudsen number that it shows.
    still.bytes : int
        Size of the file.
    film : dict
        The film; the key is left out where none was written.
    film.path : str
        File of the film.
    film.frames : as in edgewind.report.film.Film
    film.frames_per_second : int
        Frames shown in a second.
    film.duration_s : float
        Length of the film, s.
    film.width_px : int
        Width of a frame in pixels.
    film.height_px : int
        Height of a frame in pixels.
    film.bytes, film.knudsen_first, film.knudsen_last : as in edgewind.report.film.Film
    shape, drive : as in edgewind.report.film.GasField
    quantity : str
        What the colours show.
    nodes : list of dict
        Knudsen numbers that were solved.
    nodes[].knudsen, nodes[].coefficient : as in edgewind.report.film.GasField
    nodes[].error : float or None
        Estimated error of the coefficient; null where it was not computed.
    nodes[].area_share, nodes[].edge_share, nodes[].mass_residual : as in edgewind.report.film.GasField
    """
    first = series.fields[0]
    told: dict[str, Any] = {}
    if still is not None:
        told["still"] = {"path": str(still[0]), "knudsen": still[1], "bytes": still[2]}
    if film is not None:
        told["film"] = {
            "path": str(film.path), "frames": film.frames, "frames_per_second": film.fps, "duration_s": film.seconds,
            "width_px": film.width, "height_px": film.height, "bytes": film.bytes,
            "knudsen_first": film.knudsen_first, "knudsen_last": film.knudsen_last,
        }  # fmt: skip
    keys = ("knudsen", "coefficient", "area_share", "edge_share", "mass_residual")
    nodes = [
        {key: getattr(field, key) for key in keys} | {"error": None if isnan(field.error) else field.error}
        for field in series.fields
    ]
    return told | {"shape": first.shape, "drive": first.drive, "quantity": quantity, "nodes": nodes}
