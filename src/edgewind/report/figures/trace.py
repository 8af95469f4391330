"""Figure of one trace: the whole of it, and the turns in its middle."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.ticker import MaxNLocator

from edgewind.formatting import RPM_PER_RAD_S, format_measured, format_number
from edgewind.report.figures.canvas import headline, new_figure, rule_lines, two_panels
from edgewind.report.sparkline import middle_turns

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from edgewind.report.figures.size import Size
    from edgewind.report.palette import Palette
    from edgewind.signals import SpeedEstimate, Trace

# Steps along a line, above which only the least and the greatest voltage of each step are drawn.
_STEPS = 1200


def draw_trace(trace: Trace, speed: SpeedEstimate, palette: Palette, size: Size) -> Figure:
    """Draw the whole of a trace above three turns from its middle, with the speed found in it."""
    figure = new_figure(size)
    left, right = 5.6, 1.4
    whole, turns = two_panels(figure, size, left, right, 4.0, 4.8, 4.4)
    _strip(whole, trace.voltage_v, trace.interval_s, 0.0, palette.slate, palette, size)
    whole.set_xlabel(f"time (s), the whole of {format_number(trace.duration_s, 3)} s")
    middle = middle_turns(trace.voltage_v, trace.interval_s, speed.speed_rad_s)
    if middle.size:
        start = max((trace.samples - middle.size) // 2, 0) * trace.interval_s
        _strip(turns, middle, trace.interval_s, start, palette.blue, palette, size)
        turns.set_xlabel("time (s), three turns from the middle")
    else:
        turns.set_axis_off()
        turns.text(0.5, 0.5, "no speed, so no turns to show", ha="center", color=palette.soft)
    headline(figure, trace_heading(speed), size, left=left)
    return figure


def trace_heading(speed: SpeedEstimate) -> str:
    """Write speed, method and flags in one line."""
    if not math.isfinite(speed.speed_rad_s):
        said = "no speed"
    else:
        rpm = format_measured(RPM_PER_RAD_S * speed.speed_rad_s, RPM_PER_RAD_S * speed.speed_u_rad_s, "rpm")
        said = f"{rpm}, by {speed.method}"
    return said + (f"; {', '.join(speed.flags)}" if speed.flags else "")


def _strip(
    axes: Axes, voltage: NDArray[np.float64], interval_s: float, start_s: float, colour: str,
    palette: Palette, size: Size,
) -> None:  # fmt: skip
    """Draw a stretch of voltage, as an envelope if it has more samples than a screen has columns."""
    time = start_s + np.arange(voltage.size) * interval_s
    if voltage.size > 2 * _STEPS:
        starts = np.linspace(0, voltage.size, _STEPS, endpoint=False).astype(int)
        low, high = np.minimum.reduceat(voltage, starts), np.maximum.reduceat(voltage, starts)
        axes.fill_between(time[starts], low, high, color=colour, linewidth=0.5 * size.line)
    else:
        axes.plot(time, voltage, color=colour, linewidth=1.2 * size.line)
    axes.set_xlim(float(time[0]), float(time[-1]) + interval_s)
    axes.xaxis.set_major_locator(MaxNLocator(7))
    axes.yaxis.set_major_locator(MaxNLocator(4))
    rule_lines(axes, palette, size)
    axes.set_ylabel("V", rotation=0, labelpad=size.type_pt)
