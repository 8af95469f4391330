"""The command `edgewind film`."""

from __future__ import annotations

from collections.abc import Sequence
from math import isnan
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from edgewind.cli.base import AsJson, app, print_json, print_pairs, progress_bar
from edgewind.cli.respond import sides_of
from edgewind.errors import InputError

if TYPE_CHECKING:
    from edgewind.report.film import Film, GasField, GasSeries, RotorField


@app.command()
def film(
    shape: Annotated[str, typer.Option(help="strip, square, rectangle, diamond or disc.")] = "strip",
    knudsen: Annotated[
        str | None,
        typer.Option(
            help="Knudsen numbers to solve; frames between them are interpolated. A list, '10,1,0.1', or low, high and "
            "number, '0.01:10:19'; the film begins at the first."
        ),
    ] = None,
    out: Annotated[Path | None, typer.Option(help="Write the film: FILE.mp4.")] = None,
    still: Annotated[Path | None, typer.Option(help="Write a still: FILE.png or FILE.svg.")] = None,
    at: Annotated[float | None, typer.Option(help="Knudsen number of the still, if --knudsen has several.")] = None,
    room: Annotated[
        str | None,
        typer.Option(
            help="Side of the closed room over the width of the vane, default 4; for a rotor 'X,X,Z', or "
            "'DIAMETER,HEIGHT' with --round."
        ),
    ] = None,
    vanes: Annotated[int | None, typer.Option(help="Draw a rotor of 1, 2 or 4 vanes from above.")] = None,
    arm: Annotated[
        float | None, typer.Option(help="Distance from the axis to the middle of a vane over its width.")
    ] = None,
    round_: Annotated[bool, typer.Option("--round", help="The rotor's chamber is a cylinder.")] = False,
    aspect: Annotated[float, typer.Option(help="Height over width of a rectangle.")] = 1.0,
    position: Annotated[float, typer.Option(help="Place of the vane on the axis of the room, 0 to 1.")] = 0.5,
    accommodation: Annotated[float, typer.Option(help="Diffuse share of all walls, 0 to 1.")] = 1.0,
    drive: Annotated[
        str, typer.Option(help="thermal: hot and cold face; flow: the vane moves; warm: both faces warm.")
    ] = "thermal",
    quantity: Annotated[
        str, typer.Option(help="Quantity of the colours: temperature, density, pressure, speed or heat-flux.")
    ] = "temperature",
    size: Annotated[
        str, typer.Option(help="page (1280 by 720), 1080p, 4K, or vertical (1080 by 1920) for a phone.")
    ] = "1080p",
    theme: Annotated[str, typer.Option(help="dark or light.")] = "dark",
    seconds: Annotated[float, typer.Option(help="Duration of the film.")] = 12.0,
    fps: Annotated[int, typer.Option(help="Frames a second.")] = 30,
    footnote: Annotated[
        bool,
        typer.Option(
            "--footnote/--no-footnote",
            help="Footnote on the computed case and the method; never in a vertical picture.",
        ),
    ] = True,
    mark: Annotated[
        str, typer.Option(help="Mark a place on the curve: '0.2: my rotor, 20 mTorr', a Knudsen number and words.")
    ] = "",
    specks: Annotated[bool, typer.Option(help="Let specks drift with the gas.")] = True,
    tolerance: Annotated[float, typer.Option(help="Relative error of the coefficients.")] = 5e-3,
    replace: Annotated[bool, typer.Option("--replace", help="Replace files that exist.")] = False,
    as_json: AsJson = False,
) -> None:
    """Draw the gas round a vane, or about a rotor from above, as a still or a film over the Knudsen number."""
    from edgewind.kinetics import parse_knudsen
    from edgewind.report.film import (
        QUANTITIES,
        SIZES,
        THEMES,
        check_film,
        check_still,
        gas_series,
        make_film,
        mark_of,
        option_of,
        rotor_series,
        standard_knudsen,
        still_bytes,
        write_still,
    )  # fmt: skip # isort: skip
    from edgewind.report.film.rotor_field import STANDARD_KNUDSEN

    if out is None and still is None:
        raise InputError("nothing to write", key="out", fix="give --out FILE.mp4, --still FILE.png or both")
    for table, name, key in ((QUANTITIES, quantity, "quantity"), (SIZES, size, "size"), (THEMES, theme, "theme")):
        option_of(table, name, key)
    marked = mark_of(mark)
    rotor = _rotor_options(vanes, arm, room, round_=round_, shape=shape, aspect=aspect, position=position,
                           accommodation=accommodation)  # fmt: skip
    standard = list(STANDARD_KNUDSEN) if rotor is not None else standard_knudsen(shape)
    numbers = standard if knudsen is None else parse_knudsen(knudsen)
    if out is not None:
        check_film(out, numbers, seconds=seconds, fps=fps, replace=replace)
    if still is not None:
        check_still(still, replace=replace)
        # A single Knudsen number is solved, except for the shipped rotor, for which it is interpolated.
        if out is None and at is not None and knudsen is None and rotor != {"vanes": 4}:
            numbers = [at]
        if at is None and len(numbers) > 1:
            raise InputError("the Knudsen number of the still is not given", key="at", fix="give --at 0.1, say")
        at = numbers[0] if at is None else at
        if not min(numbers) <= at <= max(numbers):
            raise InputError(
                f"the still at a Knudsen number of {at:g} lies outside those that are solved", key="at",
                fix=f"stay within {min(numbers):g} and {max(numbers):g}, or solve more with --knudsen",
            )  # fmt: skip
    drawn: tuple[Path, float, int] | None = None
    made: Film | None = None
    with progress_bar(counted=True) as bar:
        solving = bar.add_task("solving the gas", total=len(numbers))

        def solved(done: int, total: int, field: object) -> None:
            bar.update(solving, completed=done)

        if rotor is None:
            gas: GasSeries | list[RotorField] = gas_series(
                shape, numbers, room=4.0 if room is None else _side(room), aspect=aspect, position=position,
                accommodation=accommodation, drive=drive, tolerance=tolerance, progress=solved,
            )  # fmt: skip
        else:
            gas = rotor_series(numbers, drive=drive, progress=solved, **rotor)
        look: dict[str, Any] = {"quantity": quantity, "size": size, "theme": theme, "footnote": footnote}
        look["mark"] = marked
        if still is not None and at is not None:
            content = still_bytes(gas, still.suffix, knudsen=at, **look)
            write_still(still, content, replace=replace)
            drawn = (still, at, len(content))
        if out is not None:
            drawing = bar.add_task("drawing the film", total=max(2, round(seconds * fps)))
            made = make_film(
                out, gas, seconds=seconds, fps=fps, specks=specks, dense_first=numbers[0] < numbers[-1],
                replace=replace, progress=lambda done, total: bar.update(drawing, completed=done), **look,
            )  # fmt: skip
    fields = gas if isinstance(gas, list) else gas.fields
    _say(fields, shape, quantity, drawn, made, as_json=as_json)


def _rotor_options(
    vanes: int | None, arm: float | None, room: str | None, *, round_: bool, shape: str, aspect: float,
    position: float, accommodation: float,
) -> dict[str, Any] | None:  # fmt: skip
    """Return the options of the rotor to draw that differ from the shipped fields; None for a lone vane."""
    if vanes is None:
        for name, given in (("arm", arm is not None), ("round", round_)):
            if given:
                raise InputError(f"--{name} applies to a rotor only", key="vanes", fix="add --vanes 4")
        return None
    if position != 0.5:
        raise InputError("a rotor must be in the middle of its chamber", key="position", fix="leave --position out")
    options: dict[str, Any] = {"vanes": vanes}
    if shape != "strip":
        options["shape"] = shape
    if aspect != 1.0:
        options |= {"shape": "rectangle" if shape == "strip" else shape, "aspect": aspect}
    if accommodation != 1.0:
        options["accommodation"] = accommodation
    if arm is not None:
        options["arm"] = arm
    if room is not None:
        options |= {"room": sides_of(room), "round": round_}
    elif arm is not None or vanes != 4:
        raise InputError("the chamber of the rotor is not given", key="room",
                         fix="write --room 6,6,4, or --round --room 6,4 for a cylinder")  # fmt: skip
    return options


def _side(room: str) -> float:
    sides = sides_of(room)
    if len(sides) != 1:
        raise InputError(f"'{room}' is the chamber of a rotor", key="vanes", fix="add --vanes 4, or give one side")
    return sides[0]


def _say(
    fields: Sequence[GasField | RotorField],
    shape: str,
    quantity: str,
    still: tuple[Path, float, int] | None,
    made: Film | None,
    *,
    as_json: bool,
) -> None:
    """Print the written files."""
    if as_json:
        print_json(_result(fields, shape, quantity, still, made))
        return
    rows = []
    if still is not None:
        rows.append(("still", f"{still[0]}, Kn {still[1]:g}, {still[2] / 1e6:.2f} MB"))
    if made is not None:
        rows.append(
            ("film", f"{made.path}, {made.width} x {made.height}, {made.frames} frames, {made.seconds:g} s, "
             f"{made.bytes / 1e6:.2f} MB")
        )  # fmt: skip
    numbers = [field.knudsen for field in fields]
    rows.append(
        ("solved", f"{len(numbers)} Knudsen numbers, {min(numbers):g} to {max(numbers):g}")
        if len(numbers) > 1
        else ("solved", f"one Knudsen number, {numbers[0]:g}")
    )
    print_pairs(rows)


def _result(
    fields: Sequence[GasField | RotorField],
    shape: str,
    quantity: str,
    still: tuple[Path, float, int] | None,
    film: Film | None,
) -> dict[str, Any]:
    """Return the JSON output.

    Returns
    -------
    still : dict
        The still; the key is absent if none was written.
    still.path : str
        File of the still.
    still.knudsen : float
        Knudsen number that it shows.
    still.bytes : int
        Size of the file.
    film : dict
        The film; the key is absent if none was written.
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
    shape : str
        Outline of the vane.
    drive : str
        Drive of the gas: thermal, flow or warm.
    quantity : str
        Quantity of the colours.
    nodes : list of dict
        Knudsen numbers that were solved.
    nodes[].knudsen, nodes[].coefficient : as in edgewind.report.film.GasField
    nodes[].error : float or None
        Estimated error of the coefficient; null if not computed.
    nodes[].area_share, nodes[].edge_share, nodes[].mass_residual : as in edgewind.report.film.GasField
        Left out for a rotor.
    """
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
        {key: getattr(field, key) for key in keys if hasattr(field, key)}
        | {"error": None if isnan(field.error) else field.error}
        for field in sorted(fields, key=lambda field: field.knudsen)
    ]
    return told | {"shape": shape, "drive": fields[0].drive, "quantity": quantity, "nodes": nodes}
