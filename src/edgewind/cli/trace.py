"""The command `edgewind trace`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from edgewind.cli.base import AsJson, app, print_json, print_pairs

if TYPE_CHECKING:
    from edgewind.signals import TraceReading


@app.command()
def trace(
    file: Annotated[Path, typer.Argument(help="Trace: .csv .txt .dat (also .gz), .npz or .wav.")],
    marks: Annotated[int, typer.Option(help="Pulses a turn.")],
    channel: Annotated[str | None, typer.Option(help="Name or number of the channel.")] = None,
    interval: Annotated[str | None, typer.Option(help="Sample interval where the file has none: '0.1 ms'.")] = None,
    mains: Annotated[
        str | None, typer.Option(help="Mains frequency: '50 Hz'; both 50 and 60 are looked for otherwise.")
    ] = None,
    plot: Annotated[Path | None, typer.Option(help="Write a figure: a .png or .svg file.")] = None,
    as_json: AsJson = False,
) -> None:
    """Measure the speed in one oscilloscope trace, with uncertainty and flags."""
    from edgewind import units
    from edgewind.formatting import format_measured, format_number
    from edgewind.signals import measure_file

    interval_s = None if interval is None else units.parse_quantity(interval, "time")
    mains_hz = "auto" if mains is None else units.parse_quantity(mains, "frequency")
    reading = measure_file(file, marks, channel=channel, interval_s=interval_s, mains_hz=mains_hz)
    read, found = reading.trace, reading.speed
    if plot is not None:
        from edgewind.report import plot_trace

        plot_trace(read, found, plot)
    if as_json:
        print_json(_plain(reading))
        return
    if found.method == "none":
        rows = [("speed", "none: no signal of a turning rotor in this trace")]
    else:
        rpm = units.from_si([found.speed_rad_s, found.speed_u_rad_s], "rpm", "angular speed")
        rows = [
            ("speed", format_measured(found.speed_rad_s, found.speed_u_rad_s, "rad/s")),
            ("", format_measured(float(rpm[0]), float(rpm[1]), "rpm")),
            ("method", found.method),
            ("turns", format_number(found.turns, 3)),
            (
                "acceleration",
                format_measured(found.acceleration_rad_s2, found.acceleration_u_rad_s2, "rad/s^2"),
            ),
        ]
    rows.append(("flags", ", ".join(found.flags) or "none"))
    rows.append(("channel", read.channel))
    rows.append(("interval", f"{format_number(read.interval_s, 6)} s, {read.samples} samples"))
    rows += [("note", note) for note in read.notes]
    print_pairs(rows)


def _plain(reading: TraceReading) -> dict[str, Any]:
    """Plain types for JSON, SI; null where there is no number.

    Returns
    -------
    speed_rad_s, speed_u_rad_s, turns, acceleration_rad_s2, acceleration_u_rad_s2 : as in edgewind.signals.SpeedEstimate
    flags, method : as in edgewind.signals.SpeedEstimate
    interval_s, samples, channel, channels, notes : as in edgewind.signals.Trace
    """
    from math import isfinite

    found, read = reading.speed, reading.trace

    def number(value: float) -> float | None:
        return float(value) if isfinite(value) else None

    names = ("speed_rad_s", "speed_u_rad_s", "turns", "acceleration_rad_s2", "acceleration_u_rad_s2")
    return {name: number(getattr(found, name)) for name in names} | {
        "flags": list(found.flags),
        "method": found.method,
        "interval_s": number(read.interval_s),
        "samples": read.samples,
        "channel": read.channel,
        "channels": list(read.channels),
        "notes": list(read.notes),
    }
