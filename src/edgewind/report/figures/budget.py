"""The uncertainty budget of the pressure, line by line."""

from __future__ import annotations

import math
from textwrap import fill
from typing import TYPE_CHECKING, Any

from matplotlib.patches import Patch
from matplotlib.ticker import NullLocator

from edgewind.report.figures.base import Drawing
from edgewind.report.figures.canvas import headline, legend, new_figure, plain_axes
from edgewind.report.figures.size import Size, sizes
from edgewind.report.names import shorten

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from edgewind.evidence import Findings
    from edgewind.report.palette import Palette

# Height of a bar on a narrow page, where names stand above the bars.
_BAR = 0.34
_COMMON_HATCH = "////"


def combined(findings: Findings) -> float:
    """Return all lines in quadrature, as a fraction of the pressure."""
    return math.sqrt(sum(line.relative_u**2 for line in findings.budget))


def draw_budget(findings: Findings, palette: Palette, size: Size) -> Figure | None:
    """Draw each line of the budget as a bar, hatched where all readings share it; None without a budget."""
    lines = findings.budget
    if not lines:
        return None
    figure = new_figure(size)
    title = 2.6 if size.titled else 0.0
    left = 1.0 if size.narrow else 17.5
    axes = plain_axes(figure, size.box(left, 0.6, 5.0, title + (3.8 if size.narrow else 2.4)))
    entries = [(line.name, line.relative_u, line.common) for line in lines] + [
        ("all, in quadrature", combined(findings), None)
    ]
    for row, (name, value, common) in enumerate(entries):
        colour = palette.ink if common is None else palette.rust if common else palette.blue
        axes.barh(
            -row, 100 * value, height=_BAR if size.narrow else 0.56, color=palette.paper if common else colour,
            edgecolor=colour, linewidth=1.2 * size.line, hatch=_COMMON_HATCH if common else None,
        )  # fmt: skip
        axes.annotate(
            f"{100 * value:.2g} %", xy=(100 * value, -row), xytext=(0.5 * size.type_pt, 0), textcoords="offset points",
            va="center", color=palette.ink, fontweight="bold" if common is None else "normal",
        )  # fmt: skip
        _name(axes, name, row, "bold" if common is None else "normal", palette, size)
    axes.set_xlim(0, 100 * combined(findings) * 1.02)
    axes.set_ylim(-len(entries) + 0.4, 0.95 if size.narrow else 0.5)
    axes.xaxis.set_major_locator(NullLocator())
    axes.yaxis.set_major_locator(NullLocator())
    axes.axvline(0, color=palette.rule, linewidth=size.line)
    handles = [
        Patch(facecolor=palette.blue, edgecolor=palette.blue, label="each reading's own"),
        Patch(facecolor=palette.paper, edgecolor=palette.rust, hatch=_COMMON_HATCH, label="shared by all readings"),
    ]
    legend(figure, size, handles=handles, ncols=1 if size.narrow else 2, left=left, down=title + 0.5)
    headline(figure, f"{shorten(findings.experiment.name, 28)}: uncertainty of the pressure", size)
    return figure


def _name(axes: Axes, name: str, row: int, weight: str, palette: Palette, size: Size) -> None:
    """Write the name of a line before its bar, or above it if there is no space beside it."""
    style: dict[str, Any] = {"textcoords": "offset points", "color": palette.ink, "fontweight": weight}
    if size.narrow:
        above = (0, 0.3 * size.type_pt)
        axes.annotate(name, xy=(0, -row + _BAR / 2), xytext=above, ha="left", va="bottom", **style)
    else:
        before = (-0.7 * size.type_pt, 0)
        axes.annotate(fill(name, 28), xy=(0, -row), xytext=before, ha="right", va="center", **style)


def describe_budget(findings: Findings) -> str:
    """Return the alternative text of the figure."""
    said = "; ".join(
        f"{line.name} {100 * line.relative_u:.2g} %, "
        f"{'shared by all readings' if line.common else 'each reading its own'}"
        for line in findings.budget
    )
    return (
        f"Bars of the relative standard uncertainty of the pressure: {said}; together {100 * combined(findings):.2g} %."
    )


def reading_number(findings: Findings, line: int | None) -> int:
    """Return the number of the reading on a line: a rotor that is kept in a book has no file with lines."""
    return 1 + int(findings.experiment.readings["line"].tolist().index(line))


def caption_budget(findings: Findings) -> str:
    """Explain the figure's marks."""
    return (
        "Standard uncertainty of the pressure by cause, in per cent of the pressure, at the fastest reading "
        f"(no. {reading_number(findings, findings.budget_line)}). Hatched bars move all readings together."
    )


BUDGET: Drawing[Findings] = Drawing("budget", draw_budget, describe_budget, caption_budget, sizes(2.6, 4.2, 17.0))
