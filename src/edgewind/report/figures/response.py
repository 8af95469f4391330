"""Figure of the gas response: force, drag and heat of a vane against the Knudsen number."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from edgewind.report.figures.canvas import headline, legend, new_figure, plain_axes, plain_ticks, rule_lines
from edgewind.report.figures.file import write_figure

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from edgewind.kinetics import Response
    from edgewind.report.figures.size import Size
    from edgewind.report.palette import Palette

_LINES = (
    ("thermal_force", "thermal force, F/(p0 A) per dT/T0"),
    ("drag", "drag, F/(p0 A) per U/v0"),
    ("heat_hot", "heat of the hot face, q/(p0 v0 A) per dT/T0"),
)


def draw_responses(responses: Sequence[Response], palette: Palette, size: Size) -> Figure:
    """Draw the coefficients with their estimated errors, thin gas to the left as on a pressure axis."""
    ordered = sorted((r for r in responses if np.isfinite(r.knudsen)), key=lambda response: response.knudsen)
    knudsen = np.array([response.knudsen for response in ordered])
    figure = new_figure(size)
    axes = plain_axes(figure, size.box(5.5, 4.0, 1.5, 8.6), spines=("bottom",))
    for (name, words), colour, marker in zip(_LINES, palette.series, "osD", strict=False):
        value = np.array([response.values[name] for response in ordered])
        error = np.array([response.errors[name] for response in ordered])
        axes.errorbar(
            knudsen, value, error, color=colour, marker=marker, markersize=6 * size.line, linewidth=1.6 * size.line,
            capsize=3 * size.line, label=words,
        )  # fmt: skip
    axes.set(xscale="log", yscale="log", xlabel="Knudsen number, thin gas to the left", ylabel="coefficient")
    axes.invert_xaxis()
    for axis in (axes.xaxis, axes.yaxis):
        plain_ticks(axis)
    rule_lines(axes, palette, size)
    first = ordered[0]
    room = " x ".join(f"{side:g}" for side in first.room)
    title = f"{first.shape} in a room of {room} widths, accommodation {first.accommodation[0]:g}"
    headline(figure, title, size)
    legend(figure, size, left=1.6, down=3.2)
    return figure


def plot_responses(responses: Sequence[Response], path: str | Path) -> None:
    """Write the figure as PNG (1920 pixels wide) or SVG, by the suffix."""
    write_figure(path, lambda palette, size: draw_responses(responses, palette, size))
