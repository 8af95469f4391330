"""Figure of a run through a change: speed through zero against time, the envelope below, predictions as bands."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.ticker import FuncFormatter, MaxNLocator

from edgewind.evidence.deliberate_results import DRAUGHT, PIVOT, DeliberateTest
from edgewind.formatting import RPM_PER_RAD_S
from edgewind.report.figures.base import Drawing
from edgewind.report.figures.canvas import headline, legend, new_figure, plain_axes, rule_lines
from edgewind.report.figures.size import Size, sizes
from edgewind.rotor.drives import NAMES

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from edgewind.evidence import Findings
    from edgewind.report.palette import Palette

# Mechanisms that such a run distinguishes, in the order in which their bands are drawn.
_SHOWN = (NAMES["thermal_force"], NAMES["unequal_accommodation"], DRAUGHT)


def telling_run(findings: Findings) -> DeliberateTest | None:
    """Return the run with the greatest difference between the mechanisms; None without one."""
    runs = [test for test in findings.tests if test.run is not None]
    return max(runs, key=lambda test: -min(test.log_evidence.values()), default=None)


def draw_reversal(findings: Findings, palette: Palette, size: Size) -> Figure | None:
    """Draw the run; None without one."""
    test = telling_run(findings)
    if test is None or test.run is None:
        return None
    run = test.run
    figure = new_figure(size)
    title = 2.6 if size.titled else 0.0
    left, right, keys = 6.5, 1.2, 7.4 if size.narrow else 4.6
    height = size.height_em - title - keys - 4.6
    above = plain_axes(figure, size.box(left, 4.0 + 0.34 * height, right, title + keys), spines=("left",))
    below = plain_axes(figure, size.box(left, 3.6, right, title + keys + 0.72 * height), spines=("left", "bottom"))
    minutes = run.time_s / 60
    colours = (palette.blue, palette.rust, palette.slate)
    for name, colour in zip(_SHOWN, colours, strict=True):
        low, middle, high = (RPM_PER_RAD_S * part for part in run.bands[name])
        label = f"{name}, {PIVOT}" if name == DRAUGHT else name
        above.fill_between(minutes, low, high, color=colour, alpha=0.22, linewidth=0, label=label)
        above.plot(minutes, middle, color=colour, linewidth=1.2 * size.line)
    above.axhline(0, color=palette.ink, linewidth=size.line)
    above.errorbar(
        minutes, RPM_PER_RAD_S * run.speed_rad_s, RPM_PER_RAD_S * run.speed_u_rad_s, fmt="o", color=palette.ink,
        markersize=0.35 * size.type_pt, linewidth=size.line, label="seen", zorder=4,
    )  # fmt: skip
    seen, states = RPM_PER_RAD_S * run.speed_rad_s, RPM_PER_RAD_S * np.array(run.bands[_SHOWN[0]])
    least, most = min(float(np.min(seen)), float(np.min(states)), 0.0), max(float(np.max(seen)), 0.0)
    room = max(most - least, 1e-3)
    above.set_ylim(least - 0.15 * room, most + 0.6 * room)
    above.set_ylabel("speed (rpm)")
    below.plot(run.log_time_s / 60, run.envelope_k - 273.15, color=palette.ink, linewidth=1.5 * size.line)
    below.set_ylabel("envelope (°C)")
    below.set_xlabel("time (min)", labelpad=0.4 * size.type_pt)
    for axes, ticks in ((above, 5), (below, 3)):
        axes.set_xlim(0, float(max(minutes[-1], run.log_time_s[-1] / 60)))
        axes.yaxis.set_major_locator(MaxNLocator(ticks))
        axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}".replace("-", "\N{MINUS SIGN}")))
        rule_lines(axes, palette, size)
    above.tick_params(labelbottom=False, bottom=False)
    columns = 1 if size.narrow else 2
    legend(figure, size, *above.get_legend_handles_labels(), ncols=columns, left=0.6, down=title + 0.4)
    headline(figure, f"{findings.experiment.name}: {test.kind}", size, left=left)
    return figure


def describe_reversal(findings: Findings) -> str:
    """Return the alternative text of the figure."""
    test = telling_run(findings)
    if test is None or test.run is None:
        return ""
    speed = RPM_PER_RAD_S * test.run.speed_rad_s
    return (
        f"Speed against time in a run, from {speed[0]:.3g} rpm through a least of {speed.min():.3g} and a greatest of "
        f"{speed.max():.3g} to {speed[-1]:.3g} rpm, positive with the bright face leading, above the temperature of "
        f"the envelope. {test.why}"
    )


def caption_reversal(findings: Findings) -> str:
    """Explain the figure's marks."""
    test = telling_run(findings)
    if test is None:
        return ""
    level = 100 * findings.experiment.bench.study.level
    return (
        f"Reading {test.reading}, {test.condition}, at {test.pressure_pa:.3g} Pa. Points: observed speed, below zero "
        f"with the dark face leading. Bands: {level:g} % of the prediction of each mechanism if it turns the rotor "
        "under the lamp. Below: temperature of the envelope."
    )


REVERSAL: Drawing[Findings] = Drawing(
    "reversal", draw_reversal, describe_reversal, caption_reversal, sizes(4.6, 5.4, 17.0)
)
