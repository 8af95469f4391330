"""One row of the page for each reading: every number as text, with its uncertainty."""

from __future__ import annotations

import math
import re
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from edgewind.formatting import format_measured, format_number, raise_exponents
from edgewind.report.physics import PA_PER_MTORR
from edgewind.report.sparkline import envelope_path, middle_turns
from edgewind.report.tables import readings_table
from edgewind.units import to_si

if TYPE_CHECKING:
    from edgewind.evidence import CoastDown, Findings
    from edgewind.shown_units import ShownUnits
    from edgewind.signals import TraceReading

NOTHING = "–"
LAMP_ON = "on"
_INSTANT = re.compile(r"(\d{4}-\d\d-\d\d)[T ](\d\d:\d\d(?::\d\d)?)(?:[.,]\d+)?(Z|\+00:00)?")


@dataclass(frozen=True)
class Thumbnail:
    """A trace as two small paths: the whole of it, and three turns from its middle."""

    whole: str
    turns: str
    duration: str


@dataclass(frozen=True)
class ReadingRow:
    """A reading on the page; a dash for a missing value."""

    number: int
    line: int
    time: str
    sweep: str
    gauge: str
    pressure_pa: str
    pressure_other: str
    knudsen: str
    speed: str
    leading_face: str
    lamp: str
    envelope: str
    method: str
    flags: tuple[str, ...]
    used: bool
    why_not: str
    note: str
    trace: str
    thumbnail: Thumbnail | None
    sampled: str
    trace_notes: tuple[str, ...]


# Flags of a slowing trace, which are redundant for a coast-down.
NO_SINGLE_SPEED = {"no-signal", "drifting", "short"}


def reading_rows(findings: Findings) -> list[ReadingRow]:
    """Return the rows of all readings, in the order of the file."""
    table = readings_table(findings)
    coasts = {coast.line: coast for coast in findings.coasts}
    return [
        _row(
            record,
            findings.experiment.traces.get(index),
            coasts.get(int(record["line"])),
            findings.other_use(int(record["line"])),
            findings.experiment.bench.shown,
        )
        for index, record in zip(table.index, table.to_dict("records"), strict=True)
    ]


def _row(
    record: Mapping[Hashable, object],
    trace: TraceReading | None,
    coast: CoastDown | None,
    other_use: str,
    units: ShownUnits,
) -> ReadingRow:
    def number(name: str) -> float:
        return float(str(record[name]))

    pressure, pressure_u = number("pressure_pa"), number("pressure_u_pa")
    speed, speed_u = number("speed_rad_s"), number("speed_u_rad_s")
    pascals = PA_PER_MTORR if units.pressure == "Pa" else float(to_si(1.0, units.pressure, "pressure"))
    turning = float(to_si(1.0, units.speed, "angular speed"))
    speed_flags, why_not = tuple(str(record["speed_flags"]).split()), other_use or str(record["why_not"])
    if coast is not None:  # its trace has no single speed, as expected
        speed_flags = ("coast-down", *(flag for flag in speed_flags if flag not in NO_SINGLE_SPEED))
        why_not = other_use or f"coast-down, not used: {coast.why_not}"
    flags = (*str(record["pressure_flag"]).split(), *speed_flags)
    return ReadingRow(
        number=int(number("reading")),
        line=int(number("line")),
        time=_moment(str(record["time"])) or NOTHING,
        sweep=str(record["sweep"]) or NOTHING,
        gauge=_plain(number("gauge_v"), 5),
        pressure_pa=_with_u(pressure, pressure_u),
        pressure_other=_with_u(pressure / pascals, pressure_u / pascals),
        knudsen=_plain(number("knudsen"), 3),
        speed=_with_u(speed / turning, speed_u / turning),
        leading_face=str(record["leading_face"]) or NOTHING,
        lamp=_lamp(number("lamp_share"), str(record["lamp_side"])),
        envelope=_plain(number("envelope_k") - 273.15, 3),
        method=str(record["speed_method"]) or NOTHING,
        flags=flags,
        used=bool(record["used"]),
        why_not=why_not,
        note=str(record["note"]),
        trace=str(record["trace"]),
        thumbnail=None if trace is None else _thumbnail(trace),
        sampled="" if trace is None else _sampled(trace),
        trace_notes=() if trace is None else trace.trace.notes,
    )


def _moment(text: str) -> str:
    """Write a moment in short form: 2026-11-28 16:44:54 UTC for 2026-11-28T16:44:54.531+00:00."""
    found = _INSTANT.fullmatch(text)
    return text if found is None else f"{found[1]} {found[2]}{' UTC' if found[3] else ''}"


def _sampled(reading: TraceReading) -> str:
    """Return the channel that was read, and its sample interval."""
    trace = reading.trace
    every = f"every {format_number(1e3 * trace.interval_s, 4)} ms" if math.isfinite(trace.interval_s) else ""
    return ", ".join(part for part in (f"channel {trace.channel}" if trace.channel else "", every) if part)


def _lamp(share: float, side: str) -> str:
    """Return the state of the lamp: on, off or a share of its usual irradiance, and its side, if noted."""
    level = {0.0: "off", 1.0: LAMP_ON}.get(share, f"{format_number(100 * share, 3)} %")
    return f"{level}, {side}" if side and share > 0 else level


def _thumbnail(reading: TraceReading) -> Thumbnail:
    trace = reading.trace
    turns = middle_turns(trace.voltage_v, trace.interval_s, reading.speed.speed_rad_s)
    return Thumbnail(envelope_path(trace.voltage_v), envelope_path(turns), f"{format_number(trace.duration_s, 3)} s")


def _with_u(value: float, u: float) -> str:
    return raise_exponents(format_measured(value, u)) if math.isfinite(value) else NOTHING


def _plain(value: float, digits: int) -> str:
    return raise_exponents(format_number(value, digits)) if math.isfinite(value) else NOTHING
