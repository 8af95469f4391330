"""Figure of the search of the next rotor: every tried design, and those of which none is better in every goal."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from edgewind.formatting import RPM_PER_RAD_S
from edgewind.plan.rotor_text import goal_unit
from edgewind.report.figures.canvas import headline, legend, new_figure, plain_axes, plain_ticks, rule_lines
from edgewind.report.figures.file import write_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from edgewind.plan.rotor_search import Evaluation, Goal, RotorSearch
    from edgewind.report.figures.size import Size
    from edgewind.report.palette import Palette


def draw_front(found: RotorSearch, palette: Palette, size: Size) -> Figure:
    """Draw the first goal against each other goal; with one goal, against the width of the vane."""
    figure = new_figure(size)
    goals = found.goals
    panels: list[Goal | None] = list(goals[1:]) or [None]
    gap, left, right, top = 6.5, 6.0, 1.5, 6.6
    wide = (size.width_em - left - right - gap * (len(panels) - 1)) / len(panels)
    for k, other in enumerate(panels):
        start = left + k * (wide + gap)
        box = size.box(start, 4.0, size.width_em - start - wide, top)
        _panel(plain_axes(figure, box, spines=("bottom",)), found, other, palette, size)
    headline(figure, f"{found.bench.experiment.title}: trade-off for the next rotor", size)
    legend(figure, size, *figure.axes[0].get_legend_handles_labels(), ncols=6, left=1.6, down=3.4)
    return figure


def _panel(axes: Axes, found: RotorSearch, other: Goal | None, palette: Palette, size: Size) -> None:
    first = found.goals[0]
    axes.scatter(
        _values(found.others, other), _values(found.others, first), s=(2.6 * size.line) ** 2, color=palette.rule,
        label="tried", linewidths=0,
    )  # fmt: skip
    gases = list(dict.fromkeys(one.built.gas for one in found.front))
    for gas, colour, marker in zip(gases, palette.series, "osD^vP", strict=False):
        own = [one for one in found.front if one.built.gas == gas]
        axes.scatter(
            _values(own, other), _values(own, first), s=(5.2 * size.line) ** 2, color=colour, marker=marker, label=gas,
            linewidths=0, zorder=3,
        )  # fmt: skip
    if not found.own.problems:
        axes.scatter(
            _values([found.own], other), _values([found.own], first), s=(13 * size.line) ** 2, marker="*",
            color=palette.gold, edgecolors=palette.ink, linewidths=size.line, label="present rotor", zorder=4,
        )  # fmt: skip
    axes.set(xscale="log", yscale="log")
    for axis in (axes.xaxis, axes.yaxis):
        plain_ticks(axis)
        axis.set_minor_formatter(axis.get_major_formatter())
        axis.set_tick_params(which="minor", labelsize=0.72 * size.type_pt, labelcolor=palette.soft)
    low, high = axes.get_xlim()
    if high / low > 12:
        axes.xaxis.set_minor_formatter(lambda value, place: "")
    low, high = axes.get_ylim()
    if high / low > 12:
        axes.yaxis.set_minor_formatter(lambda value, place: "")
    axes.set_xlabel("width of the vane (mm)" if other is None else _label(other))
    axes.set_ylabel(_label(first))
    rule_lines(axes, palette, size)


def _label(goal: Goal) -> str:
    better = "more is better" if goal.most else "less is better"
    return f"{goal.words} ({goal_unit(goal)}), {better}"


def _values(designs: tuple[Evaluation, ...] | list[Evaluation], goal: Goal | None) -> np.ndarray:
    if goal is None:
        return np.array([1e3 * one.built.vane_width_m for one in designs])
    scale = RPM_PER_RAD_S if goal.unit == "rad/s" else 1.0
    return np.array([scale * one.values[goal.key] for one in designs])


def plot_front(found: RotorSearch, path: Path) -> None:
    """Write the figure of a search as .png or .svg."""
    write_figure(path, lambda palette, size: draw_front(found, palette, size), found.bench.shown)
