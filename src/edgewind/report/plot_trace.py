"""A figure file of one trace."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from edgewind.report.figures.file import write_figure
from edgewind.report.figures.trace import draw_trace
from edgewind.shown_units import ShownUnits

if TYPE_CHECKING:
    from edgewind.signals import SpeedEstimate, Trace


def plot_trace(trace: Trace, speed: SpeedEstimate, path: str | Path, units: ShownUnits = ShownUnits()) -> None:
    """Write a figure of a trace and the speed found in it, as PNG (1920 by 1080) or SVG by the suffix.

    Raises
    ------
    InputError
        The suffix is another one, or the file cannot be written.
    """
    write_figure(path, lambda palette, size: draw_trace(trace, speed, palette, size), units)
