"""Figure of a prediction: speed above, torque by mechanism below, both optima marked."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from edgewind.formatting import RPM_PER_RAD_S, format_number, raised
from edgewind.report.figures.canvas import headline, legend, new_figure, plain_ticks, rule_lines, two_panels
from edgewind.report.figures.file import write_figure
from edgewind.report.figures.measured import draw_measured
from edgewind.rotor.drives import NAMES

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from edgewind.report.figures.size import Size
    from edgewind.report.palette import Palette
    from edgewind.rotor import Prediction


def draw_prediction(found: Prediction, palette: Palette, size: Size, readings: pd.DataFrame | None = None) -> Figure:
    """Draw a prediction: speed, its optimum and readings of this rotor above; torque of each drive below."""
    table = found.table
    pressure = table["pressure_pa"].to_numpy(float)
    figure = new_figure(size)
    left, right, bottom, top, gap = 5.5, 1.5, 4.0, 8.6, 4.2
    above, below = two_panels(figure, size, left, right, bottom, top, gap)
    speed = RPM_PER_RAD_S * table["speed_rad_s"].to_numpy(float)
    above.plot(pressure, speed, color=palette.blue, linewidth=2 * size.line)
    if readings is not None:
        draw_measured(above, readings, palette, size)
    above.set_ylabel("speed (rpm)")
    scale = 10.0 ** np.floor(np.log10(max(float(table["torque_n_m"].abs().max()), 1e-30)))
    lines = [("all together", table["torque_n_m"], palette.ink, "-")]
    lines += [
        (NAMES[key], table[f"torque_{key}_n_m"], colour, "-")
        for key, colour in zip(NAMES, palette.series, strict=False)
        if np.any(table[f"torque_{key}_n_m"] != 0)
    ]
    lines.append(("edge share of the gas", table["torque_edge_n_m"], palette.blue, ":"))
    for name, torque, colour, dash in lines:
        below.plot(pressure, torque / scale, color=colour, linestyle=dash, linewidth=1.6 * size.line, label=name)
    below.set_ylabel(f"torque (10{raised(round(np.log10(scale)))} N m)")
    below.set_xlabel("pressure (Pa)")
    (handles, labels), (more, further) = (axes.get_legend_handles_labels() for axes in (below, above))
    columns = 2 if size.narrow else 3
    legend(figure, size, handles + more, labels + further, ncols=columns, left=1.6, down=3.2)
    for axes, at in ((above, found.speed), (below, found.force)):
        axes.set_xscale("log")
        plain_ticks(axes.xaxis)
        axes.axhline(0, color=palette.rule, linewidth=size.line)
        rule_lines(axes, palette, size)
        if at.found:
            axes.axvline(at.pressure_pa, color=palette.gold, linewidth=1.5 * size.line)
            axes.annotate(
                f"{format_number(at.pressure_pa, 3)} Pa, Kn {format_number(at.knudsen, 2)}", (at.pressure_pa, 1),
                xycoords=("data", "axes fraction"), xytext=(0.4 * size.type_pt, 0.2 * size.type_pt),
                textcoords="offset points", color=palette.gold_ink,
            )  # fmt: skip
    headline(figure, f"{found.bench.experiment.title}: predicted from first principles", size)
    return figure


def plot_prediction(found: Prediction, path: Path, readings: pd.DataFrame | None = None) -> None:
    """Write the figure of a prediction as .png or .svg."""
    write_figure(path, lambda palette, size: draw_prediction(found, palette, size, readings), found.bench.shown)
