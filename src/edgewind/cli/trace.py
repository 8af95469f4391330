"""The command `edgewind trace`."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from edgewind.cli.base import AsJson, app, print_json, print_pairs
from edgewind.cli.described import units_beside
from edgewind.errors import InputError

if TYPE_CHECKING:
    pass


@app.command()
def trace(
    file: Annotated[
        Path, typer.Argument(help="Trace (.csv .txt .dat, also .gz; .npz), sound (.wav .flac) or clip (.mp4 .mov ...).")
    ],
    marks: Annotated[int | None, typer.Option(help="Number of pulses in a turn; not needed for a clip.")] = None,
    channel: Annotated[str | None, typer.Option(help="Name or number of the channel.")] = None,
    interval: Annotated[str | None, typer.Option(help="Sample interval where the file has none: '0.1 ms'.")] = None,
    mains: Annotated[
        str | None, typer.Option(help="Mains frequency: '50 Hz'; default: lines of both 50 and 60 Hz are searched for.")
    ] = None,
    time_base: Annotated[
        str | None, typer.Option(help="mains: take the time from the hum or flicker in the record itself.")
    ] = None,
    second: Annotated[
        str | None, typer.Option(help="Channel of a second sensor at a quarter pitch, for the direction.")
    ] = None,
    bright_leads: Annotated[
        str | None,
        typer.Option(
            help="Direction in which the camera sees the rotor turn when the bright face leads: clockwise, ..."
        ),
    ] = None,
    fastest: Annotated[str | None, typer.Option(help="Speed that the rotor cannot exceed: '300 rpm'.")] = None,
    region: Annotated[
        str | None, typer.Option(help="Region of a clip that holds the rotor: x,y,width,height in pixels.")
    ] = None,
    plot: Annotated[
        Path | None, typer.Option(help="Write a figure: .png or .svg; on dark ground if called ...-dark.png.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Measure the speed in one oscilloscope trace, with uncertainty and flags.

    A sound recording of a sensor or a video clip of the rotor is read as well.
    """
    from edgewind.formatting import RPM_PER_RAD_S, format_measured, format_number
    from edgewind.signals import Tachometry, measure_file
    from edgewind.signals.video import is_video

    interval_s = None if interval is None else _quantity(interval, "time")
    mains_hz = "auto" if mains is None else _quantity(mains, "frequency")
    if marks is None and not is_video(file):
        raise InputError("the number of marks is missing", file=str(file), fix="give the pulses a turn: --marks 4")
    told = Tachometry(
        marks or 1,
        channel,
        interval_s,
        mains_hz,
        second,
        bright_leads=_way(bright_leads),
        fastest_rad_s=math.inf if fastest is None else _quantity(fastest, "angular speed"),
        region=_region(region),
        time_base=_time_base(time_base),
    )
    reading = measure_file(file, told)
    read, found = reading.trace, reading.speed
    units = units_beside(file)
    if plot is not None:
        from edgewind.report import plot_clip, plot_trace

        shown = () if units is None else (units,)
        if reading.picture is not None:
            plot_clip(reading.picture, plot, *shown)
        else:
            plot_trace(read, found, plot, *shown)
    if as_json:
        print_json(reading.row())
        return
    if found.method == "none":
        rows = [("speed", "none: no signal of a turning rotor in this trace")]
    else:
        per = {"rad/s": 1.0, "rpm": RPM_PER_RAD_S}
        if units is not None:
            unit, size = units.sizes.get("rpm", ("rpm", 1.0))
            per = {unit: RPM_PER_RAD_S / size}
        speeds = [
            format_measured(one * found.speed_rad_s, one * found.speed_u_rad_s, unit) for unit, one in per.items()
        ]
        unit, one = next(iter(per.items()))
        faster = "rad/s^2" if unit == "rad/s" else f"{unit}/s"
        rows = [
            *zip(("speed", ""), speeds, strict=False),
            ("method", found.method),
            ("turns", format_number(found.turns, 3)),
            (
                "acceleration",
                format_measured(one * found.acceleration_rad_s2, one * found.acceleration_u_rad_s2, faster),
            ),
        ]
    rows.append(("flags", ", ".join(found.flags) or "none"))
    faces = {1: "the bright face leads", -1: "the dark face leads", 0: "not known"}
    rows.append(("direction", f"{faces[reading.direction.sense]} ({reading.direction.why})"))
    rows.append(("channel", read.channel))
    rows.append(("interval", f"{format_number(read.interval_s, 6)} s, {read.samples} samples"))
    rows += [("note", note) for note in read.notes]
    print_pairs(rows if units is None else [(name, units.text(text)) for name, text in rows])


def _quantity(text: str, kind: str) -> float:
    """Return the value of an option, SI."""
    from edgewind.units import parse_quantity  # imports Pint, which takes longer than a trace

    return parse_quantity(text, kind)


def _way(text: str | None) -> str | None:
    """Return the sense of rotation of an option."""
    if text is None or text in ("clockwise", "anticlockwise"):
        return text
    raise InputError(
        f"'{text}' is not a direction of rotation", key="--bright-leads", fix="write clockwise or anticlockwise"
    )


def _time_base(text: str | None) -> str | None:
    """Return the time base of an option."""
    if text is None or text == "mains":
        return text
    raise InputError(f"'{text}' is not a time base", key="--time-base", fix="write mains, or leave it out")


def _region(text: str | None) -> tuple[int, int, int, int] | None:
    """Return the region of an option."""
    if text is None:
        return None
    parts = text.split(",")
    if len(parts) != 4 or not all(part.strip().isdecimal() and len(part) < 7 for part in parts):
        raise InputError(f"'{text}' is not a region", key="--region", fix="write x,y,width,height in pixels")
    x, y, width, height = (int(part) for part in parts)
    return x, y, width, height
