"""The command `edgewind film`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from edgewind.cli.base import AsJson, app, print_json, print_pairs
from edgewind.errors import InputError


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
    """The gas round a vane as a film over the Knudsen number, or as a still: fields from the kinetic solver."""
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
    result: dict[str, Any] = {}
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
        solving = bar.add_task("solving the gas", total=len(numbers))
        series = gas_series(
            shape, numbers, room=room, aspect=aspect, position=position, accommodation=accommodation, drive=drive,
            tolerance=tolerance, progress=lambda done, total, field: bar.update(solving, completed=done),
        )  # fmt: skip
        if still is not None:
            content = still_bytes(series, still.suffix, knudsen=at, size=size, theme=theme, quantity=quantity)
            write_still(still, content, replace=replace)
            result["still"] = {"path": str(still), "knudsen": at, "bytes": len(content)}
        if out is not None:
            drawing = bar.add_task("drawing the film", total=max(2, round(seconds * fps)))
            made = make_film(
                out, series, quantity=quantity, theme=theme, size=size, seconds=seconds, fps=fps, specks=specks,
                dense_first=numbers[0] < numbers[-1], replace=replace,
                progress=lambda done, total: bar.update(drawing, completed=done),
            )  # fmt: skip
            result["film"] = {
                "path": str(out), "frames": made.frames, "frames_per_second": made.fps, "duration_s": made.seconds,
                "width_px": made.width, "height_px": made.height, "bytes": made.bytes,
                "knudsen_first": made.knudsen_first, "knudsen_last": made.knudsen_last,
            }  # fmt: skip
    if as_json:
        nodes = [
            {"knudsen": field.knudsen, "coefficient": field.coefficient, "error": None if field.error != field.error
             else field.error, "area_share": field.area_share, "edge_share": field.edge_share,
             "mass_residual": field.mass_residual}
            for field in series.fields
        ]  # fmt: skip
        print_json(result | {"shape": shape, "drive": drive, "quantity": quantity, "nodes": nodes})
        return
    rows = []
    if "still" in result:
        rows.append(("still", f"{result['still']['path']}, Kn {at:g}, {result['still']['bytes'] / 1e6:.2f} MB"))
    if "film" in result:
        about = result["film"]
        rows.append(
            ("film", f"{about['path']}, {about['width_px']} x {about['height_px']}, {about['frames']} frames, "
             f"{about['duration_s']:g} s, {about['bytes'] / 1e6:.2f} MB")
        )  # fmt: skip
    rows.append(("solved", f"{len(series.fields)} Knudsen numbers, {series.low:g} to {series.high:g}"))
    print_pairs(rows)
