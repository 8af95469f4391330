"""The columns of the exported tables: readings and curve."""

from __future__ import annotations

from edgewind.signals.columns import COLUMNS, Column

_NUMBER = Column(
    "reading", "reading", "integer", "", "Number of the reading, counted from 1 in the order of readings.csv."
)
_PATH = (
    Column(
        "mean_free_path_m", "mean free path", "number", "m",
        "Mean free path at the pressure, from the viscosity of the gas.",
    ),
    Column("knudsen", "Knudsen number", "number", "1", "Mean free path over the width of the vane."),
)  # fmt: skip
_FLAG = next(k for k, column in enumerate(COLUMNS) if column.name == "pressure_flag") + 1

READINGS: tuple[Column, ...] = (_NUMBER, *COLUMNS[:_FLAG], *_PATH, *COLUMNS[_FLAG:])
"""Every column of the readings, with what follows from the pressure behind it."""

CURVE: tuple[Column, ...] = (
    Column("pressure_pa", "pressure", "number", "Pa", "Pressure."),
    *_PATH,
    Column("speed_rad_s", "speed", "number", "rad/s", "Mean of the curves that fit the readings."),
    Column("speed_u_rad_s", "speed uncertainty", "number", "rad/s", "Standard deviation of these curves."),
    Column(
        "speed_low_rad_s", "speed, low", "number", "rad/s",
        "Lower end of the band that contains the share of curves stated in the description.",
    ),
    Column("speed_high_rad_s", "speed, high", "number", "rad/s", "Upper end of that band."),
)  # fmt: skip
