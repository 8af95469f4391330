"""The table of readings, declared once: every column with its title at the bench, type, unit and meaning."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from edgewind.signals.table import Title

# Highest plausible temperature of an envelope, K: glass softens above it, so the unit must be wrong.
HIGHEST_ENVELOPE_K = 1500.0
# Largest share of the lamp's usual irradiance that a reading may state.
MOST_LAMP = 2.0
FACES = ("bright", "dark", "not observed")
LAMP_SIDES = ("beam", "opposite beam", "all-round")


@dataclass(frozen=True)
class Column:
    """A column of a table.

    Attributes
    ----------
    name : str
        Its name in tables of the program and in exports, with the SI unit where it has one.
    title : str
        Its name in sentences, and its title in a handwritten `readings.csv`.
    kind : {"number", "integer", "string", "boolean"}
        Type in the words of Table Schema.
    unit : str
        SI unit; "1" for a pure number, empty for text.
    meaning : str
        What it holds.
    written : Title or None
        How a cell of it is read from `readings.csv`; None where it is derived.
    """

    name: str
    title: str
    kind: Literal["number", "integer", "string", "boolean"]
    unit: str
    meaning: str
    written: Title | None = None


COLUMNS: tuple[Column, ...] = (
    Column("line", "line", "integer", "", "Line of readings.csv that holds the reading."),
    Column("time", "time", "string", "", "Time as it was written.", Title("time")),
    Column("time_s", "time after the first reading", "number", "s", "Time after the first reading."),
    Column("sweep", "sweep", "string", "", "Label of the sweep.", Title()),
    Column(
        "gauge_v", "gauge", "number", "V", "Output of the gauge, where a voltage was noted.", Title("voltage"),
    ),
    Column(
        "pressure_pa", "pressure", "number", "Pa",
        "Pressure after correction and gas factor; none where the gauge gives none.",
        Title(
            "pressure", lowest=0.0,
            fix="a pressure is above zero; write under-range where the gauge showed nothing",
        ),
    ),
    Column(
        "pressure_u_pa", "pressure uncertainty", "number", "Pa",
        "Standard uncertainty of the pressure, own and common parts together.",
        Title("pressure", lowest=0.0, relative=True),
    ),
    Column(
        "log_pressure_u", "own uncertainty of ln(pressure)", "number", "1",
        "Standard uncertainty of ln(pressure) that the reading has for itself.",
    ),
    Column(
        "log_pressure_u_common", "common uncertainty of ln(pressure)", "number", "1",
        "Standard uncertainty of ln(pressure) that all readings share.",
    ),
    Column(
        "pressure_flag", "gauge flag", "string", "",
        "Range fault of the gauge: under-range, over-range or empty.",
    ),
    Column("trace", "trace", "string", "", "File of the trace or of the run in the experiment folder.", Title()),
    Column(
        "speed_rad_s", "speed", "number", "rad/s",
        "Angular speed in the middle of the trace, or as typed: positive when the bright face leads, negative when the "
        "dark face leads; its size where the direction was not observed.",
        Title("angular speed"),
    ),
    Column(
        "speed_u_rad_s", "speed uncertainty", "number", "rad/s", "Standard uncertainty of the speed.",
        Title("angular speed", lowest=0.0),
    ),
    Column(
        "leading_face", "leading face", "string", "", "Face seen to lead: bright, dark, or not observed.", Title(),
    ),
    Column(
        "turns", "turns", "number", "1", "Turns counted by hand.",
        Title("number", lowest=0.0, fix="write how many turns were counted, such as 20"),
    ),
    Column(
        "turns_time_s", "in", "number", "s", "Time in which the turns were counted.",
        Title(
            "time", lowest=1e-3, too_low="not above zero",
            fix="write the time of all turns together, such as 60 under 'in [s]'",
        ),
    ),
    Column(
        "speed_method", "method", "string", "",
        "How the speed was found: edges, spectrum, typed, counted, run, none or empty.",
    ),
    Column("speed_flags", "flags", "string", "", "Flags of the trace, separated by blanks."),
    Column("lamp", "lamp", "boolean", "", "Whether the lamp was on.", Title()),
    Column(
        "lamp_share", "share of the lamp", "number", "1", "Irradiance over that of bench.toml; 0 with the lamp off.",
    ),
    Column(
        "lamp_side", "lamp side", "string", "",
        "Where the light came from, where that was noted: beam, opposite beam or all-round.", Title(),
    ),
    Column(
        "envelope_k", "envelope temperature", "number", "K", "Temperature of the envelope, where it was noted.",
        Title(
            "temperature", lowest=1e-9, highest=HIGHEST_ENVELOPE_K, too_low="at or below absolute zero",
            too_high=f"above {HIGHEST_ENVELOPE_K:g} K",
            fix="write a temperature such as 22 under 'envelope temperature [degC]'",
        ),
    ),
    Column("gas", "gas", "string", "", "Gas in the chamber, where it was not that of bench.toml.", Title()),
    Column("changed", "changed", "string", "", "What else was changed on purpose.", Title()),
    Column(
        "condition", "condition", "string", "",
        "What differs from the usual conditions of the experiment; empty where nothing does.",
    ),
    Column("note", "note", "string", "", "Note taken with the reading.", Title()),
    Column("exclude", "exclude", "string", "", "Reason for which the reading is set aside by hand.", Title()),
    Column("usable", "usable", "boolean", "", "Whether pressure and speed can be used, under any conditions."),
    Column("used", "used", "boolean", "", "Whether the response curve uses the reading."),
    Column(
        "why_not", "why not", "string", "", "Why the response curve leaves the reading out; empty where it uses it.",
    ),
)  # fmt: skip

# How each title of readings.csv is read.
TITLES: dict[str, Title] = {column.title: column.written for column in COLUMNS if column.written is not None}
# Columns that a curve of speed against pressure is fitted to.
CURVE_COLUMNS = ("pressure_pa", "log_pressure_u", "log_pressure_u_common", "speed_rad_s", "speed_u_rad_s")
