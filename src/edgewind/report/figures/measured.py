"""Readings beside a predicted curve."""

from __future__ import annotations

from typing import TYPE_CHECKING

from edgewind.formatting import RPM_PER_RAD_S
from edgewind.report.physics import drawable

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from edgewind.report.figures.size import Size
    from edgewind.report.palette import Palette


def draw_measured(axes: Axes, readings: pd.DataFrame, palette: Palette, size: Size) -> None:
    """Draw the readings at the usual conditions, speed in rpm over pressure, with one standard uncertainty."""
    part = readings[drawable(readings) & readings["used"]]
    axes.errorbar(
        part["pressure_pa"], RPM_PER_RAD_S * part["speed_rad_s"],
        yerr=RPM_PER_RAD_S * part["speed_u_rad_s"].fillna(0.0), fmt="o", color=palette.ink, ecolor=palette.ink,
        elinewidth=size.line, markersize=0.45 * size.type_pt, markeredgecolor=palette.paper,
        markeredgewidth=0.8 * size.line, zorder=4, label="readings",
    )  # fmt: skip
