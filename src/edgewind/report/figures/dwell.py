"""Figure of the time on the bench: the three times against pressure, and the sweep over the hours."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.lines import Line2D

from edgewind.plan.dwell_text import order_sentence, slowest_sentence
from edgewind.report.figures.base import Drawing
from edgewind.report.figures.canvas import headline, legend, new_figure, plain_ticks, rule_lines, two_panels
from edgewind.report.figures.file import write_figure
from edgewind.report.figures.size import Size, sizes

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from edgewind.plan import TimePlan
    from edgewind.report.palette import Palette


def draw_dwell(plan: TimePlan, palette: Palette, size: Size) -> Figure:
    """Draw the times of chamber, heat and spin with the total time, and below them the quickest sweep against time."""
    figure = new_figure(size)
    left, right, bottom, gap = 5.6, 1.5, 3.6, 5.2
    top = 9.4 if size.narrow else 6.2
    top += 2.2 if size.titled else 0.0
    above, below = two_panels(figure, size, left, right, bottom, top, gap)
    _times(above, plan, palette, size)
    _stairs(below, plan, palette, size)
    headline(figure, f"{plan.times.bench.experiment.title}: time on the bench", size)
    handles, labels = above.get_legend_handles_labels()
    handles += [
        Line2D([], [], color=colour, linewidth=3.2 * size.line) for colour in (palette.soft, palette.gold, palette.blue)
    ]
    labels += ["waiting for clean gas", "settling", "measuring"]
    down = 3.4 if size.titled else 0.9
    legend(figure, size, handles, labels, ncols=2 if size.narrow else 4, left=1.6, down=down)
    return figure


def _times(axes: Axes, plan: TimePlan, palette: Palette, size: Size) -> None:
    pressure = plan.pressure_pa
    fine = np.geomspace(pressure[0], pressure[-1], 60) if pressure.size > 1 else pressure
    rotor = plan.times.rotor(fine)
    lines = [
        ("heat of the vane", rotor.heat_s, palette.rust, "-"),
        ("spin of the rotor", rotor.spin_up_s, palette.plum, "-"),
    ]
    if plan.times.vacuum is not None:
        lines.insert(0, ("chamber, V/S", plan.times.chamber_s(fine), palette.moss, "-"))
    for name, time, colour, dash in lines:
        axes.plot(fine, time, color=colour, linestyle=dash, linewidth=1.8 * size.line, label=name)
    steps = plan.best.steps
    axes.plot(
        [step.pressure_pa for step in steps], [step.settle_s + step.measure_s for step in steps], linestyle="",
        marker="o", color=palette.ink, markersize=5.5 * size.line, label="settling and measuring", zorder=4,
    )  # fmt: skip
    axes.set(xscale="log", yscale="log", xlabel="pressure (Pa)", ylabel="time (s)")
    for axis in (axes.xaxis, axes.yaxis):
        plain_ticks(axis)
    rule_lines(axes, palette, size)


def _stairs(axes: Axes, plan: TimePlan, palette: Palette, size: Size) -> None:
    steps = plan.best.steps
    unit, name = (3600.0, "hours") if steps[-1].ends_s > 7200 else (60.0, "minutes")
    colours = {"wait_s": palette.soft, "settle_s": palette.gold, "measure_s": palette.blue}
    now, last = 0.0, None
    for step in steps:
        if not np.isfinite(step.total_s):
            break
        if last is not None:
            axes.plot([now, now], [last, step.pressure_pa], color=palette.rule, linewidth=size.line, zorder=1)
        for key, colour in colours.items():
            length = getattr(step, key) / unit
            if length > 0:
                ends = [now, now + length]
                axes.plot(ends, [step.pressure_pa] * 2, color=colour, linewidth=4.5 * size.line, solid_capstyle="butt")
                now += length
        last = step.pressure_pa
    axes.set(yscale="log", xlabel=f"{name} from the start of pumping", ylabel="pressure (Pa)")
    axes.set_xlim(0.0, max(now, 1e-3) * 1.02)
    plain_ticks(axes.yaxis)
    rule_lines(axes, palette, size)


def plot_dwell(plan: TimePlan, path: Path) -> None:
    """Write the figure of a plan as .png or .svg."""
    write_figure(path, lambda palette, size: draw_dwell(plan, palette, size), plan.times.bench.shown)


def _alt(plan: TimePlan) -> str:
    return f"Time on the bench for {plan.times.bench.experiment.title}. {order_sentence(plan)} {slowest_sentence(plan)}"


def _caption(plan: TimePlan) -> str:
    return (
        "Above: the times in which the gas in the chamber, the heat of the vane and the spin of the rotor settle, and "
        "how long each reading takes with the wait before it. Below: the quickest sweep over the range that was "
        "measured, from the start of pumping. Computed from bench.toml, not measured."
    )


DWELL: Drawing[TimePlan] = Drawing("time", draw_dwell, _alt, _caption, sizes(6.0, 6.6, 13.5))
