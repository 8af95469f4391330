"""The optimum pressures against the width of the vane, with the fitted power laws and their intervals."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.ticker import LogLocator, NullFormatter, StrMethodFormatter

from edgewind.formatting import raise_exponents
from edgewind.report.figures.base import Drawing
from edgewind.report.figures.canvas import headline, legend, new_figure, plain_axes, rule_lines
from edgewind.report.figures.file import write_figure
from edgewind.report.figures.size import Size, sizes
from edgewind.shown_units import ShownUnits

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from edgewind.evidence import Findings, Scaling
    from edgewind.report.palette import Palette


def draw_scaling(laws: Sequence[Scaling], palette: Palette, size: Size) -> Figure:
    """Draw the optima of each width with their intervals, the power laws, and that of a fixed Knudsen number."""
    figure = new_figure(size)
    title = 2.8 if size.titled else 0.0
    axes = plain_axes(figure, size.box(6.0, 4.0, 2.0, title + 5.8), spines=("bottom",))
    for law, colour, marker in zip(laws, palette.series, "osD", strict=False):
        _draw_law(axes, law, colour, marker, palette, size)
    axes.set_xscale("log")
    axes.set_yscale("log")
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        axis.set_major_formatter(StrMethodFormatter("{x:g}"))
        axis.set_minor_formatter(NullFormatter())
    axes.set_xlabel("width of the vane (mm)")
    axes.set_ylabel("pressure of the optimum (Pa)")
    rule_lines(axes, palette, size)
    headline(figure, "Optima against the width of the vane", size)
    legend(
        figure, size, *axes.get_legend_handles_labels(), left=1.6 if size.titled else 0.6, down=title + 0.4,
        fontsize=0.85 * size.type_pt if size.narrow else size.type_pt,
    )  # fmt: skip
    return figure


def _draw_law(axes: Axes, law: Scaling, colour: str, marker: str, palette: Palette, size: Size) -> None:
    width = 1e3 * law.width_m
    errors = [law.pressure_pa - law.low_pa, law.high_pa - law.pressure_pa]
    axes.errorbar(
        width, law.pressure_pa, errors, fmt=marker, color=colour, markersize=6 * size.line, linewidth=1.5 * size.line,
        zorder=4,
    )  # fmt: skip
    middle, level = (float(np.exp(np.mean(np.log(values)))) for values in (width, law.pressure_pa))
    fine = np.geomspace(width[0], width[-1], 60)
    low, high = law.exponent_interval
    edges = [level * (fine / middle) ** power for power in (low, high)]
    axes.fill_between(fine, np.minimum(*edges), np.maximum(*edges), color=colour, alpha=0.15, linewidth=0)
    words = raise_exponents(f"greatest {law.quantity}: power {law.exponent:.2f} ({low:.2f} to {high:.2f})")
    axes.plot(fine, level * (fine / middle) ** law.exponent, color=colour, linewidth=2 * size.line, label=words)
    fixed = raise_exponents("fixed Knudsen number: power -1") if law.quantity == "speed" else None
    axes.plot(
        fine, level * (fine / middle) ** -1.0, color=palette.soft, linestyle=":", linewidth=1.5 * size.line, label=fixed
    )


def plot_scaling(laws: Sequence[Scaling], path: str | Path, units: ShownUnits = ShownUnits()) -> None:
    """Write the figure as PNG (1920 pixels wide) or SVG, by the ending of the name."""
    write_figure(path, lambda palette, size: draw_scaling(laws, palette, size), units)


def _laws(findings: Findings) -> tuple[Scaling, ...]:
    return () if findings.explanation is None else findings.explanation.laws


def describe_scaling(findings: Findings) -> str:
    """Return the alternative text of the figure."""
    return " ".join(law.sentence for law in _laws(findings))


def caption_scaling(findings: Findings) -> str:
    """Explain the figure's marks."""
    laws = _laws(findings)
    if not laws:
        return ""
    return (
        "Predicted by the fit for vanes of other widths, as high as wide, on the same arms: medians and "
        f"{100 * laws[0].level:g} % intervals, with the power law through them. " + describe_scaling(findings)
    )


def _draw(findings: Findings, palette: Palette, size: Size) -> Figure | None:
    return draw_scaling(_laws(findings), palette, size) if _laws(findings) else None


SCALING: Drawing[Findings] = Drawing("scaling", _draw, describe_scaling, caption_scaling, sizes(3.8, 4.2, 17.0))
