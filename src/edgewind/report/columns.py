"""The columns of the tables that leave with the report, each with its type, unit and meaning."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Column:
    """A column of an exported table.

    Attributes
    ----------
    name : str
        Its title in the CSV, with the unit where it has one.
    kind : {"number", "integer", "string", "boolean"}
        Type in the words of Table Schema.
    unit : str
        SI unit; "1" for a pure number, empty for text.
    meaning : str
        What it holds.
    """

    name: str
    kind: Literal["number", "integer", "string", "boolean"]
    unit: str
    meaning: str


READINGS: tuple[Column, ...] = (
    Column("reading", "integer", "", "Number of the reading, counted from 1 in the order of readings.csv."),
    Column("line", "integer", "", "Line of readings.csv that holds the reading."),
    Column("time", "string", "", "Time as it was written."),
    Column("time_s", "number", "s", "Time after the first reading."),
    Column("sweep", "string", "", "Label of the sweep."),
    Column("lamp_on", "boolean", "", "Whether the lamp was on."),
    Column("envelope_temperature_k", "number", "K", "Temperature of the envelope, where it was noted."),
    Column("gauge_v", "number", "V", "Output of the gauge, where a voltage was noted."),
    Column("pressure_pa", "number", "Pa", "Pressure after correction and gas factor; none where the gauge gives none."),
    Column("pressure_u_pa", "number", "Pa", "Standard uncertainty of the pressure, own and common parts together."),
    Column("log_pressure_u", "number", "1", "Standard uncertainty of ln(pressure) that the reading has for itself."),
    Column("log_pressure_u_common", "number", "1", "Standard uncertainty of ln(pressure) that all readings share."),
    Column("pressure_flag", "string", "", "What the gauge could not say: under-range, over-range or empty."),
    Column("mean_free_path_m", "number", "m", "Mean free path at the pressure, from the viscosity of the gas."),
    Column("knudsen", "number", "1", "Mean free path over the width of the vane."),
    Column("speed_rad_s", "number", "rad/s", "Angular speed in the middle of the trace, or as typed."),
    Column("speed_u_rad_s", "number", "rad/s", "Standard uncertainty of the speed."),
    Column("speed_method", "string", "", "How the speed was found: edges, spectrum, typed, none or empty."),
    Column("speed_flags", "string", "", "Flags of the trace, separated by blanks."),
    Column("trace", "string", "", "File of the trace in the experiment folder."),
    Column("used", "boolean", "", "Whether the response curve uses the reading."),
    Column("why_not", "string", "", "Why the response curve leaves the reading out; empty where it uses it."),
    Column("note", "string", "", "Note of whoever took the reading."),
)

CURVE: tuple[Column, ...] = (
    Column("pressure_pa", "number", "Pa", "Pressure."),
    Column("mean_free_path_m", "number", "m", "Mean free path there, from the viscosity of the gas."),
    Column("knudsen", "number", "1", "Mean free path over the width of the vane."),
    Column("speed_rad_s", "number", "rad/s", "Mean of the curves that fit the readings."),
    Column("speed_u_rad_s", "number", "rad/s", "Standard deviation of these curves."),
    Column(
        "speed_low_rad_s",
        "number",
        "rad/s",
        "Lower end of the band that holds the share of curves named in the description.",
    ),
    Column("speed_high_rad_s", "number", "rad/s", "Upper end of that band."),
)
