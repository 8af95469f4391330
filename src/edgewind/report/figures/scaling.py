"""The optimum pressure against the width of the vane, with the fitted power law and its interval."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import LogLocator, NullFormatter, StrMethodFormatter

from edgewind.evidence.scaling import Scaling
from edgewind.report.figures.canvas import new_figure, plain_axes
from edgewind.report.figures.file import write_figure
from edgewind.report.figures.size import Size
from edgewind.report.palette import Palette


def draw_scaling(found: Scaling, palette: Palette, size: Size) -> Figure:
    """Draw the optimum of each width with its interval, the power law, and that of a fixed Knudsen number."""
    figure = new_figure(size)
    axes = plain_axes(figure, size.box(6.0, 4.0, 2.0, 4.5), spines=("bottom", "left"))
    width = 1e3 * found.width_m
    errors = [found.pressure_pa - found.low_pa, found.high_pa - found.pressure_pa]
    axes.errorbar(width, found.pressure_pa, errors, fmt="o", color=palette.blue, linewidth=1.5 * size.line, zorder=4)
    middle = float(np.exp(np.mean(np.log(width))))
    level = float(np.exp(np.mean(np.log(found.pressure_pa))))
    fine = np.geomspace(width[0], width[-1], 60)
    low, high = found.exponent_interval
    edges = [level * (fine / middle) ** power for power in (low, high)]
    axes.fill_between(fine, np.minimum(*edges), np.maximum(*edges), color=palette.blue, alpha=0.15, linewidth=0)
    law = level * (fine / middle) ** found.exponent
    axes.plot(
        fine,
        law,
        color=palette.blue,
        linewidth=2 * size.line,
        label=f"power {found.exponent:.2f} ({low:.2f} to {high:.2f})",
    )
    fixed = level * (fine / middle) ** -1.0
    axes.plot(
        fine, fixed, color=palette.soft, linestyle=":", linewidth=1.5 * size.line, label="fixed Knudsen number (-1)"
    )
    axes.set_xscale("log")
    axes.set_yscale("log")
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        axis.set_major_formatter(StrMethodFormatter("{x:g}"))
        axis.set_minor_formatter(NullFormatter())
    axes.set_xlabel("width of the vane (mm)")
    axes.set_ylabel(f"pressure of greatest {found.quantity} (Pa)")
    axes.grid(color=palette.grid, linewidth=size.line)
    axes.set_axisbelow(True)
    axes.legend(loc="upper right")
    return figure


def plot_scaling(found: Scaling, path: Path) -> None:
    """Write the figure as .png or .svg."""
    write_figure(path, lambda palette, size: draw_scaling(found, palette, size))
