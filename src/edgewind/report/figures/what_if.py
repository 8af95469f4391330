"""Figure of what if: curves of speed and torque with bands, before and after a change, and both optima."""

from __future__ import annotations

from pathlib import Path
from textwrap import shorten
from typing import TYPE_CHECKING

import numpy as np

from edgewind.bench.form import FIELDS
from edgewind.formatting import RPM_PER_RAD_S, format_number, raised
from edgewind.report.figures.canvas import headline, legend, new_figure, plain_ticks, rule_lines, two_panels
from edgewind.report.figures.file import write_figure
from edgewind.report.figures.measured import draw_measured

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import ArrayLike

    from edgewind.bench import Bench
    from edgewind.evidence.what_if import Moved, WhatIf
    from edgewind.report.figures.size import Size
    from edgewind.report.palette import Palette


def draw_what_if(
    found: WhatIf, title: str, palette: Palette, size: Size, readings: pd.DataFrame | None = None
) -> Figure:
    """Draw speed above and torque below, each with its band, and readings of the present rotor.

    The intervals of the optima stand at the upper edge.
    """
    figure = new_figure(size)
    left, right, bottom, top, gap = 5.5, 1.5, 4.0, 11.0, 4.6
    above, below = two_panels(figure, size, left, right, bottom, top, gap)
    most = float(np.nanmax(np.abs([found.before.torque_n_m, found.after.torque_n_m])))
    power = int(np.floor(np.log10(max(most, 1e-30))))
    if found.changes:
        shown = [("before", found.before, palette.slate, "--"), ("after", found.after, palette.blue, "-")]
    else:
        shown = [("as it is", found.before, palette.blue, "-")]
    for k, (name, bands, colour, dash) in enumerate(shown):
        curves = (
            (above, RPM_PER_RAD_S * bands.speed_rad_s, found.speed),
            (below, bands.torque_n_m / 10.0**power, found.torque),
        )
        for axes, curve, moved in curves:
            _draw_band(axes, found.pressure_pa, curve, colour, dash, name, size)
            _draw_place(axes, moved, bands is found.before, colour, k, size)
    if readings is not None:
        draw_measured(above, readings, palette, size)
    above.set_ylabel("speed (rpm)")
    below.set_ylabel(f"torque (10{raised(power)} N m)")
    below.set_xlabel("pressure (Pa)")
    for axes in (above, below):
        axes.set_xscale("log")
        plain_ticks(axes.xaxis)
        axes.axhline(0, color=palette.rule, linewidth=size.line)
        rule_lines(axes, palette, size)
    legend(figure, size, *above.get_legend_handles_labels(), ncols=2, left=1.6, down=6.4)
    said = ", ".join(f"{_named(key)} = {value}" for key, value in found.changes.items())
    of = "the posterior of the fit" if found.kind == "posterior" else "the priors that bench.toml states: no fit"
    words = f"{shorten(title, 60, placeholder=' …')}. {100 * found.level:g} % bands over {found.draws} draws of {of}"
    headline(figure, f"What if {said}?" if said else "As it is", size)
    headline(figure, words, size, down=4.0, scale=1.0, fontweight="normal", color=palette.soft)
    return figure


def _named(key: str) -> str:
    """Return the label of a key of `bench.toml`."""
    return FIELDS[key].label.lower() if key in FIELDS else key


def _draw_band(
    axes: Axes, pressure: ArrayLike, curve: ArrayLike, colour: str, dash: str, name: str, size: Size
) -> None:
    low, middle, high = np.asarray(curve, dtype=float)
    axes.fill_between(np.asarray(pressure), low, high, color=colour, alpha=0.22, linewidth=0)
    axes.plot(np.asarray(pressure), middle, color=colour, linestyle=dash, linewidth=2 * size.line, label=name)


def _draw_place(axes: Axes, moved: Moved, before: bool, colour: str, row: int, size: Size) -> None:
    at = moved.before if before else moved.after
    if at.pressure_pa is None or at.interval_pa is None:
        return
    # Rows as far apart as a line of type.
    height = 1.0 + (0.5 + 1.15 * row) / (axes.get_position().height * size.height_em)
    beside = axes.get_xaxis_transform()
    axes.plot(at.interval_pa, [height, height], transform=beside, color=colour, linewidth=2 * size.line, clip_on=False)
    axes.plot(at.pressure_pa, height, "o", transform=beside, color=colour, markersize=5 * size.line, clip_on=False)
    axes.annotate(
        f"{format_number(at.pressure_pa, 3)} Pa", (at.interval_pa[1], height), xycoords=beside,
        xytext=(0.5 * size.type_pt, 0), textcoords="offset points", color=colour, va="center", annotation_clip=False,
    )  # fmt: skip


def plot_what_if(found: WhatIf, bench: Bench, path: str | Path, readings: pd.DataFrame | None = None) -> None:
    """Write the figure of a change as PNG (1920 pixels wide) or SVG, by the suffix."""
    title = bench.experiment.title
    write_figure(path, lambda palette, size: draw_what_if(found, title, palette, size, readings), bench.shown)
