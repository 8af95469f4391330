"""Figure of the next measurements: the curve so far, the information of readings, and expected widths."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.ticker import FuncFormatter, MaxNLocator

from edgewind.errors import InputError
from edgewind.formatting import RPM_PER_RAD_S, duration, format_number
from edgewind.plan.text import TITLES, where
from edgewind.report.figures.base import Drawing
from edgewind.report.figures.canvas import headline, legend, new_figure, plain_axes, rule_lines
from edgewind.report.figures.file import write_figure
from edgewind.report.figures.ruler import log_scale, log_ticks
from edgewind.report.figures.size import Size, sizes
from edgewind.report.names import shorten

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from edgewind.plan import Plan
    from edgewind.report.palette import Palette

Box = tuple[float, float, float, float]
_LEFT = 5.2  # ems before the axes


def draw_plan(plan: Plan, palette: Palette, size: Size) -> Figure | None:
    """Draw a plan; None without a curve to plan on."""
    if plan.optimum.curve is None or not plan.pressure_pa.size:
        return None
    figure = new_figure(size)
    title = 2.6 if size.titled else 0.0
    curve_box, gain_box, width_box = _boxes(size, title, widths=plan.widths.size > 0)
    above, below = (plain_axes(figure, box, spines=("bottom",)) for box in (curve_box, gain_box))
    ends = float(plan.pressure_pa[0]) / 1.08, float(plan.pressure_pa[-1]) * 1.08
    _curve(above, plan, palette, size)
    _gain(below, plan, palette, size)
    for axes in (above, below):
        log_scale(axes, ends)
        log_ticks(axes, "bottom", palette, palette.ink, size)
        axes.set_axisbelow(True)
    above.tick_params(axis="x", labelbottom=False)
    below.set_xlabel("pressure (Pa)", labelpad=0.4 * size.type_pt)
    if plan.widths.size:
        _widths(plain_axes(figure, width_box, spines=("bottom",)), plan, palette, size)
    columns = 2 if size.narrow else 4
    legend(figure, size, *above.get_legend_handles_labels(), ncols=columns, left=_LEFT, down=title + 0.5)
    headline(figure, f"{shorten(plan.name, 40)}: what to measure next", size, left=_LEFT)
    return figure


def _boxes(size: Size, title: float, *, widths: bool) -> tuple[Box, Box, Box]:
    """Return the boxes of curve, gain below it, and widths, if any, beside them, or below them on a phone."""
    left, right, bottom, gap = _LEFT, 1.0, 4.0, 1.4
    if size.narrow:
        top, tall = title + 4.6, 8.0
        low = bottom + tall + 1.2 + bottom if widths else bottom
        rest = size.height_em - top - low - gap
        return (
            size.box(left, low + 0.4 * rest + gap, right, top),
            size.box(left, low, right, top + 0.6 * rest + gap),
            size.box(left, bottom, right, size.height_em - bottom - tall),
        )
    top, beside = title + 2.8, 0.3 * size.width_em if widths else 0.0
    rest = size.height_em - top - bottom - gap
    return (
        size.box(left, bottom + 0.42 * rest + gap, right + beside, top),
        size.box(left, bottom, right + beside, top + 0.58 * rest + gap),
        size.box(size.width_em - beside + 4.6 if widths else left, bottom, right, top),
    )


def _curve(axes: Axes, plan: Plan, palette: Palette, size: Size) -> None:
    curve = plan.optimum.curve
    assert curve is not None
    tails = (0.5 - plan.level / 2, 0.5 + plan.level / 2)
    low, high = RPM_PER_RAD_S * np.quantile(curve.draws, tails, axis=0)
    axes.fill_between(
        curve.pressure_pa, low, high, color=palette.ink, alpha=0.13, linewidth=0, label=f"{100 * plan.level:g} % band"
    )
    axes.plot(
        curve.pressure_pa,
        RPM_PER_RAD_S * curve.mean,
        color=palette.ink,
        linewidth=1.8 * size.line,
        label="curve so far",
    )
    data = curve.data
    axes.plot(
        data.pressure_pa, RPM_PER_RAD_S * data.speed_rad_s, "o", color=palette.blue, markersize=0.4 * size.type_pt,
        markeredgecolor=palette.paper, markeredgewidth=0.5 * size.line, label="reading", zorder=4,
    )  # fmt: skip
    if plan.optimum.interval_pa is not None:
        axes.axvspan(*plan.optimum.interval_pa, color=palette.gold, alpha=0.25, linewidth=0, zorder=0, label="optimum")
    for one in plan.readings:
        axes.axvline(one.pressure_pa, color=palette.rust, linewidth=1.2 * size.line, linestyle=(0, (4, 2)), zorder=3)
    axes.margins(y=0.08)
    axes.yaxis.set_major_locator(MaxNLocator(4))
    axes.grid(axis="y", color=palette.grid, linewidth=size.line)
    axes.set_ylabel("speed (rpm)")


def _gain(axes: Axes, plan: Plan, palette: Palette, size: Size) -> None:
    bits = plan.information_bits
    axes.fill_between(plan.pressure_pa, 0, bits, color=palette.plum, alpha=0.25, linewidth=0)
    axes.plot(plan.pressure_pa, bits, color=palette.plum, linewidth=1.4 * size.line)
    top = max(float(np.nanmax(bits)), 0.02)  # smaller gains need no ticks of their own
    for height, (pressure, numbers) in zip((1.16, 1.32) * len(plan.readings), _numbered(plan), strict=False):
        axes.axvline(pressure, color=palette.rust, linewidth=1.2 * size.line, linestyle=(0, (4, 2)), zorder=3)
        axes.annotate(
            numbers, xy=(pressure, height * top), ha="center", va="center", color=palette.rust, fontweight="bold",
            fontsize=0.9 * size.type_pt, zorder=5,
            bbox={"boxstyle": "square,pad=0.15", "facecolor": palette.paper, "edgecolor": "none"},
        )  # fmt: skip
    axes.set_ylim(0, 1.42 * top)
    axes.yaxis.set_major_locator(MaxNLocator(3))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: format_number(value, 2)))
    axes.grid(axis="y", color=palette.grid, linewidth=size.line)
    axes.set_ylabel("gain (bits)")


def _numbered(plan: Plan) -> list[tuple[float, str]]:
    """Pressures of the readings with their numbers, those at the same place together, by pressure."""
    groups: list[tuple[float, list[int]]] = []
    for number, one in sorted(enumerate(plan.readings, start=1), key=lambda pair: pair[1].pressure_pa):
        if groups and one.pressure_pa < 1.12 * groups[-1][0]:
            groups[-1][1].append(number)
        else:
            groups.append((one.pressure_pa, [number]))
    return [(pressure, ", ".join(str(number) for number in numbers)) for pressure, numbers in groups]


def _widths(axes: Axes, plan: Plan, palette: Palette, size: Size) -> None:
    widths = 100 * plan.widths
    count = np.arange(widths.size)
    if plan.floor_width is not None and plan.floor_width > 0.02 * plan.widths[0]:
        axes.axhspan(0, 100 * plan.floor_width, color=palette.rule, alpha=0.25, linewidth=0)
        axes.annotate(
            "shared by\nall readings", xy=(0.04, 100 * plan.floor_width), xycoords=("axes fraction", "data"),
            xytext=(0, -0.3 * size.type_pt), textcoords="offset points", va="top", color=palette.soft,
            fontsize=0.86 * size.type_pt,
        )  # fmt: skip
    axes.plot(count, widths, "-", color=palette.gold, linewidth=1.6 * size.line)
    axes.plot(count[:1], widths[:1], "o", color=palette.gold_ink, markersize=0.55 * size.type_pt)
    axes.plot(
        count[1:], widths[1:], "o", markerfacecolor=palette.paper, markeredgecolor=palette.gold_ink,
        markeredgewidth=1.2 * size.line, markersize=0.55 * size.type_pt,
    )  # fmt: skip
    for number, width in zip(count, widths, strict=True):
        if number in (0, count[-1]):
            axes.annotate(
                f"{format_number(float(width), 2)} %", xy=(number, width), xytext=(0, 0.7 * size.type_pt),
                textcoords="offset points", ha="center", va="bottom", color=palette.gold_ink, fontweight="bold",
            )  # fmt: skip
    wanted = plan.target
    if wanted is not None and plan.optimum.pressure_pa is not None:
        line = 100 * (wanted.relative or (wanted.absolute_pa or 0.0) / plan.optimum.pressure_pa)
        axes.axhline(line, color=palette.moss, linewidth=1.2 * size.line, linestyle=(0, (4, 2)))
        axes.annotate(
            "wanted", xy=(1.0, line), xycoords=("axes fraction", "data"), xytext=(0, -0.2 * size.type_pt),
            textcoords="offset points", ha="right", va="top", color=palette.moss,
        )  # fmt: skip
        axes.set_ylim(0, 1.25 * max(float(widths.max()), line))
    else:
        axes.set_ylim(0, 1.25 * float(widths.max()))
    axes.set_xlim(-0.4, widths.size - 0.6)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True, nbins=6))
    axes.yaxis.set_major_locator(MaxNLocator(4))
    rule_lines(axes, palette, size)
    axes.set_ylabel("expected width (%)")
    axes.set_xlabel("further readings", labelpad=0.4 * size.type_pt)


def describe_plan(plan: Plan) -> str:
    """Return the alternative text of the figure."""
    if not plan.pressure_pa.size:
        return ""
    steps = "; ".join(f"{TITLES[one.kind]} at {where(one)}" for one in plan.readings)
    return (
        f"The curve of {plan.name} with the pressures "
        f"{'proposed next' if plan.stop is None else 'with the most information'} ({steps}), below it the information "
        "of a reading at each pressure"
        + (
            f", and beside it the width of the interval, {format_number(100 * float(plan.widths[0]), 2)} % of the "
            f"pressure now and {format_number(100 * float(plan.widths[-1]), 2)} % expected after them."
            if plan.widths.size
            else "."
        )
    )


def caption_plan(plan: Plan) -> str:
    """Explain the figure's marks."""
    marked = (
        "dashed lines mark the pressures proposed, numbered in the order to take them"
        if plan.stop is None
        else "dashed lines mark the pressures with the most information, though no reading there is worth its time"
    )
    beyond = ", none of which is stated beyond the readings" if np.isnan(plan.information_bits).any() else ""
    widths = (
        "; the third the full width of its interval now (filled) and as expected after each reading (open), as a share "
        "of the pressure, over the part that no reading narrows"
    )
    return (
        f"The curve so far with its readings; {marked}. The second panel shows the expected information of one more "
        f"reading at each pressure on the maximising pressure{beyond}{widths if plan.widths.size else ''}. "
        f"These readings would take about {duration(sum(one.cost_s for one in plan.readings))}."
    )


def plot_plan(plan: Plan, path: Path) -> None:
    """Write the figure of a plan as .png or .svg.

    Raises
    ------
    InputError
        The name ends in something else, the file cannot be written, or there is no curve yet to plan on.
    """
    if not plan.pressure_pa.size:
        why = "has too few readings for a curve" if plan.optimum.curve is None else "is to have readings repeated first"
        raise InputError(f"{plan.name} {why}: there is nothing to draw", fix="leave out --plot")

    def draw(palette: Palette, size: Size) -> Figure:
        figure = draw_plan(plan, palette, size)
        assert figure is not None
        return figure

    write_figure(path, draw, plan.shown)


PLAN: Drawing[Plan] = Drawing("plan", draw_plan, describe_plan, caption_plan, sizes(4.6, 6.6, 15.0))
