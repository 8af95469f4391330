"""Figures of the growth of cost: measured points and a power law through their upper half, in the report's style."""

from __future__ import annotations

from html import escape
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import LogLocator, NullLocator

from edgewind.report.figures.canvas import new_figure, our_style, plain_axes, plain_ticks, svg_of
from edgewind.report.figures.size import Size
from edgewind.report.inline_svg import inline_svg
from edgewind.report.palette import DARK, LIGHT, PLACEHOLDERS, Palette, css_of

SIZE = Size(4.2, 3.2, 10.5)
# Colours by theme, as the manual's own are switched: by the reader's choice, or else by that of the machine.
STYLE = f"""<style>
.growth {{ {css_of(LIGHT)} --paper: transparent; --sans: var(--font-stack); }}
body[data-theme="dark"] .growth {{ {css_of(DARK)} --paper: transparent; }}
@media (prefers-color-scheme: dark) {{
body:not([data-theme="light"]) .growth {{ {css_of(DARK)} --paper: transparent; }}
}}
</style>"""

ABOUT = """Points are measured. The line is a power law through the last half of them, where the constant cost of a
run no longer matters; its exponent is stated above. The dotted part extends it to the other points.
"""


def growth_section(rows: list[dict[str, Any]]) -> str:
    """Return the figures of every row that has points, as HTML for a page of Markdown; empty where none has."""
    drawn = [_figure(number, row) for number, row in enumerate(rows) if "points" in row]
    return (
        "\n".join([ABOUT, "```{raw} html", STYLE, '<div class="growth">', *drawn, "</div>", "```\n"]) if drawn else ""
    )


def _figure(number: int, row: dict[str, Any]) -> str:
    with our_style(PLACEHOLDERS, SIZE):
        document = svg_of(draw_growth(row, PLACEHOLDERS, SIZE))
    drawing = inline_svg(document, prefix=f"growth-{number}-", label=in_words(row), css_class="drawing")
    return f"<figure>{drawing}<figcaption>{escape(_title(row))}</figcaption></figure>"


def _title(row: dict[str, Any]) -> str:
    return f"{str(row['name']).split(' as a power')[0].capitalize()} against {row['along']}"


def in_words(row: dict[str, Any]) -> str:
    """Return the text alternative of the figure."""
    (first, cheap), *_, (last, dear) = row["points"]
    return (
        f"{_title(row)}, both in logarithms: {len(row['points'])} points from {cheap:.2g} s at "
        f"{first:.4g} to {dear:.2g} s at {last:.4g}; the last {row['fitted']} follow the power {row['value']:.2f}."
    )


def draw_growth(row: dict[str, Any], palette: Palette, size: Size) -> Figure:
    """Draw the points of a row and the line through the upper half, dotted towards the rest."""
    at, seconds = np.array(row["points"]).T
    dear = slice(-row["fitted"], None)
    level = float(np.mean(np.log(seconds[dear]) - row["value"] * np.log(at[dear])))
    line = np.exp(level + row["value"] * np.log(at))
    figure = new_figure(size)
    axes = plain_axes(figure, size.box(5.0, 3.4, 1.0, 2.2), spines=("bottom",))
    axes.plot(at, line, color=palette.blue, linestyle=":", linewidth=1.5 * size.line)
    axes.plot(at[dear], line[dear], color=palette.blue, linewidth=2 * size.line)
    axes.plot(at, seconds, "o", color=palette.rust, markersize=6 * size.line, zorder=4)
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.set_ylim(seconds.min() / 2, 2 * seconds.max())
    for axis, subs, values in ((axes.xaxis, (1.0, 3.0), at), (axes.yaxis, (1.0, 2.0, 5.0), seconds)):
        wide = values.max() > 100 * values.min()
        axis.set_major_locator(LogLocator(subs=(1.0,) if wide else subs, numticks=10))
        axis.set_minor_locator(NullLocator())
        plain_ticks(axis)
    axes.set_xlabel(row["along"])
    axes.set_ylabel("processor time (s)")
    axes.grid(axis="y", color=palette.grid, linewidth=size.line)
    axes.set_axisbelow(True)
    words, place = f"power {row['value']:.2f}", axes.transAxes
    axes.text(0.02, 1.03, words, transform=place, color=palette.blue, fontweight="bold", va="bottom")
    return figure
