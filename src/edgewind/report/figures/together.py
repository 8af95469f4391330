"""Figure of all rotors: speed against pressure, and against the Knudsen number."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

import numpy as np
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator, NullFormatter

from edgewind.formatting import RPM_PER_RAD_S, format_number
from edgewind.report.figures.base import Drawing
from edgewind.report.figures.canvas import headline, legend, new_figure, plain_axes, rule_lines
from edgewind.report.figures.ruler import log_scale, log_ticks
from edgewind.report.figures.size import Size, sizes
from edgewind.report.names import shorten
from edgewind.report.physics import drawable, path_at_one_pascal, pressure_ends

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from edgewind.evidence import Findings
    from edgewind.report.palette import Palette

_MARKERS = ("o", "s", "D", "^", "v", "P")
Dashes = Literal["-"] | tuple[float, tuple[float, ...]]
_DASHES: tuple[Dashes, ...] = ("-", (0, (5, 1.6)), (0, (1.2, 1.2)), (0, (5, 1.5, 1, 1.5)))


def draw_together(many: Sequence[Findings], palette: Palette, size: Size) -> Figure | None:
    """Draw the curves of two rotors or more; None if fewer have anything to draw."""
    shown = [findings for findings in many if drawable(findings.experiment.readings).any()]
    if len(shown) < 2:
        return None
    figure = new_figure(size)
    title = 2.6 if size.titled else 0.0
    rows = len(shown) if size.narrow else 1
    left, right, bottom, top = (4.6 if size.narrow else 5.2), 1.2, 4.0, title + 1.2 + 1.6 * rows
    if size.narrow:
        half = (size.height_em - top - bottom) / 2
        boxes = (size.box(left, bottom + half + 2.6, right, top), size.box(left, bottom, right, top + half + 2.6 - 1.2))
    else:
        half = (size.width_em - left - right - 1.6) / 2
        boxes = (size.box(left, bottom, right + half + 1.6, top), size.box(left + half + 1.6, bottom, right, top))
    panels = tuple(plain_axes(figure, box, spines=("bottom",)) for box in boxes)
    per_knudsen = [path_at_one_pascal(f.experiment.bench) / f.experiment.bench.rotor.vane_width.value for f in shown]
    handles: list[Artist] = []
    for number, (findings, at_one) in enumerate(zip(shown, per_knudsen, strict=True)):
        colour, marker = palette.series[number % 6], _MARKERS[number % 6]
        dash = _DASHES[number % 4]
        _one(panels[0], findings, None, colour, marker, dash, palette, size)
        _one(panels[1], findings, at_one, colour, marker, dash, palette, size)
        handles.append(
            Line2D([], [], color=colour, marker=marker, linestyle=dash, linewidth=1.8 * size.line,
                   markersize=0.6 * size.type_pt, markeredgecolor=palette.paper, label=_label(findings))
        )  # fmt: skip
    ends = pressure_ends(*(findings.experiment.readings for findings in shown))
    knudsen = [
        at_one / end
        for f, at_one in zip(shown, per_knudsen, strict=True)
        for end in pressure_ends(f.experiment.readings)
    ]
    for axes, across in zip(panels, (ends, (max(knudsen), min(knudsen))), strict=True):
        log_scale(axes, across)
        log_ticks(axes, "bottom", palette, palette.ink, size)
    panels[0].set_xlabel("pressure (Pa)", labelpad=0.4 * size.type_pt)
    panels[1].set_xlabel("Knudsen number, thin gas to the left", labelpad=0.4 * size.type_pt)
    _share_speed(panels, palette, size)
    columns = 1 if size.narrow else min(len(handles), 3)
    legend(figure, size, handles=handles, ncols=columns, handlelength=2.6, left=left, down=title + 0.7)
    headline(figure, "The rotors together", size, left=left)
    return figure


def _label(findings: Findings) -> str:
    width = 1e3 * findings.experiment.bench.rotor.vane_width.value
    return f"{shorten(findings.experiment.name, 24)}, vane {format_number(width, 3)} mm"


def _one(
    axes: Axes, findings: Findings, knudsen_at_one: float | None, colour: str, marker: str,
    dash: Dashes, palette: Palette, size: Size,
) -> None:  # fmt: skip
    """Draw the used readings, the curve and the optimum of one rotor; against Kn if its value at 1 Pa is given."""

    def place(pressure: np.ndarray | float) -> np.ndarray:
        return np.asarray(pressure if knudsen_at_one is None else knudsen_at_one / np.asarray(pressure))

    used, optimum = findings.experiment.used, findings.optimum
    axes.plot(
        place(used["pressure_pa"].to_numpy(float)), RPM_PER_RAD_S * used["speed_rad_s"].to_numpy(float), linestyle="",
        marker=marker, color=colour, markersize=0.42 * size.type_pt, markeredgecolor=palette.paper,
        markeredgewidth=0.7 * size.line, zorder=5,
    )  # fmt: skip
    if optimum.curve is not None:
        curve = optimum.curve
        axes.plot(
            place(curve.pressure_pa), RPM_PER_RAD_S * curve.mean, color=colour, linestyle=dash,
            linewidth=1.8 * size.line, zorder=4,
        )  # fmt: skip
        tails = (0.5 - optimum.level / 2, 0.5 + optimum.level / 2)
        low, high = RPM_PER_RAD_S * np.quantile(curve.draws, tails, axis=0)
        axes.fill_between(place(curve.pressure_pa), low, high, color=colour, alpha=0.14, linewidth=0, zorder=1)
    if optimum.found and optimum.interval_pa is not None and optimum.pressure_pa is not None:
        height = RPM_PER_RAD_S * (optimum.speed_rad_s or 0.0)
        ends, peak = place(np.array(optimum.interval_pa)), place(np.array([optimum.pressure_pa] * 2))
        axes.fill_between(ends, 0, height, color=colour, alpha=0.2, linewidth=0, zorder=1)
        axes.plot(peak, [0.0, height], color=colour, linewidth=size.line, linestyle=dash, zorder=2)


def _share_speed(panels: tuple[Axes, ...], palette: Palette, size: Size) -> None:
    low = min(axes.dataLim.y0 for axes in panels)
    high = max(axes.dataLim.y1 for axes in panels)
    low = min(low, 0.0)
    for number, axes in enumerate(panels):
        axes.set_ylim(low - 0.02 * (high - low), high + 0.08 * (high - low))
        axes.yaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 2.5, 5, 10]))
        rule_lines(axes, palette, size)
        if number == 0 or size.narrow:
            axes.set_ylabel("speed (rpm)", labelpad=0.5 * size.type_pt)
        else:
            axes.yaxis.set_major_formatter(NullFormatter())


def describe_together(many: Sequence[Findings]) -> str:
    """Return the alternative text of the figure."""
    said = [
        f"{f.experiment.name} is fastest at {format_number(f.optimum.pressure_pa, 3)} Pa"
        + (f", Knudsen number {format_number(f.knudsen.value, 2)}" if f.knudsen else "")
        if f.optimum.pressure_pa is not None
        else f"{f.experiment.name} shows no pressure of greatest speed"
        for f in many
    ]
    return f"Speed of {len(many)} rotors against pressure, and again against the Knudsen number. {'; '.join(said)}."


def caption_together(many: Sequence[Findings]) -> str:
    """Explain the figure's marks."""
    return (
        "Left (on a narrow screen: above), speed against pressure; right (below), the same readings against the "
        "Knudsen number with the vane's width. Upright lines stand at the optima, in the shade of their intervals. "
        "Curves that coincide on the right would indicate that the Knudsen number alone decides."
    )


TOGETHER: Drawing[Sequence[Findings]] = Drawing(
    "together", draw_together, describe_together, caption_together, sizes(4.6, 7.4, 15.0)
)
