"""Figure of the fit: readings with replications, and fitted torque with that measured by coast-downs."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.ticker import FuncFormatter, LogLocator, MaxNLocator, NullFormatter

from edgewind.formatting import RPM_PER_RAD_S
from edgewind.report.figures.base import Drawing
from edgewind.report.figures.canvas import headline, legend, new_figure, rule_lines, two_panels
from edgewind.report.figures.ruler import log_scale, log_ticks, pretty
from edgewind.report.figures.size import Size, sizes

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from edgewind.evidence import Findings
    from edgewind.report.palette import Palette


def draw_why(findings: Findings, palette: Palette, size: Size) -> Figure | None:
    """Draw the readings with replications of the fitted model, and the fitted torque; None without a fit."""
    explanation = findings.explanation
    if explanation is None or explanation.fit is None:
        return None
    fitted = explanation.fit
    figure = new_figure(size)
    title = 2.6 if size.titled else 0.0
    left, right, bottom, top = 6.5, 1.2, 4.0, title + (5.2 if size.narrow else 3.4)
    above, below = two_panels(figure, size, left, right, bottom, top, 1.6)
    table = fitted.predictive.sort_values("pressure_pa")
    pressure = table["pressure_pa"].to_numpy(float)
    band = RPM_PER_RAD_S * table[["low_rad_s", "median_rad_s", "high_rad_s"]].to_numpy(float).T
    label = f"replicated readings, {100 * fitted.level:g} %"
    above.fill_between(pressure, band[0], band[2], color=palette.blue, alpha=0.2, linewidth=0, label=label)
    above.plot(pressure, band[1], color=palette.blue, linewidth=1.5 * size.line)
    for inside, colour, words in ((True, palette.ink, "reading"), (False, palette.rust, "reading outside")):
        part = table[table["inside"] == inside]
        if len(part):
            speed = RPM_PER_RAD_S * part["speed_rad_s"]
            above.plot(
                part["pressure_pa"], speed, "o", color=colour, markersize=0.4 * size.type_pt, label=words, zorder=4
            )
    above.set_ylabel("speed (rpm)")
    above.yaxis.set_major_locator(MaxNLocator(4))

    grid = np.geomspace(pressure[0], pressure[-1], 60)
    picked, deviations = fitted.picked(200)
    torque = np.abs(fitted.problem.predicted(picked, grid, deviations)[:, 1])
    tails = [(1 - fitted.level) / 2, 0.5, (1 + fitted.level) / 2]
    low, middle, high = np.quantile(torque, tails, axis=0)
    below.fill_between(grid, low, high, color=palette.plum, alpha=0.2, linewidth=0)
    below.plot(grid, middle, color=palette.plum, linewidth=1.5 * size.line, label="torque of the fit")
    measured = explanation.measured
    if measured is not None and "torque_n_m" in measured:
        below.errorbar(
            measured["pressure_pa"], measured["torque_n_m"], measured["torque_u_n_m"], fmt="s", color=palette.moss,
            markersize=0.35 * size.type_pt, linewidth=size.line, label="torque measured by coast-downs",
        )  # fmt: skip
    below.set_yscale("log")
    below.yaxis.set_major_locator(LogLocator())
    below.yaxis.set_major_formatter(FuncFormatter(lambda value, _: pretty(value)))
    below.yaxis.set_minor_formatter(NullFormatter())
    below.set_ylabel("torque (N m)")
    for axes in (above, below):
        log_scale(axes, (float(pressure[0] / 1.1), float(pressure[-1] * 1.1)))
        log_ticks(axes, "bottom", palette, palette.ink, size)
        rule_lines(axes, palette, size)
    below.set_xlabel("pressure (Pa)", labelpad=0.4 * size.type_pt)
    handles = [one for axes in (above, below) for one in zip(*axes.get_legend_handles_labels(), strict=True)]
    legend(
        figure, size, [handle for handle, _ in handles], [words for _, words in handles], ncols=2 if size.narrow else 3,
        left=left if size.titled else 0.6, down=title + 0.4,
        fontsize=0.85 * size.type_pt if size.narrow else size.type_pt,
    )  # fmt: skip
    headline(figure, f"{findings.experiment.name}: the fit and its torques", size, left=left)
    return figure


def describe_why(findings: Findings) -> str:
    """Return the alternative text of the figure."""
    fitted = None if findings.explanation is None else findings.explanation.fit
    if fitted is None:
        return ""
    outside = int((~fitted.predictive["inside"]).sum())
    return (
        f"Above, {len(fitted.predictive)} readings of speed against pressure over the band that the fitted model "
        f"replicates; {outside} lie outside it. Below, the torque of the fit against pressure, rising and then falling."
    )


def caption_why(findings: Findings) -> str:
    """Explain the figure's marks."""
    fitted = None if findings.explanation is None else findings.explanation.fit
    if fitted is None:
        return ""
    return (
        f"Posterior predictive check: {100 * fitted.level:g} % of readings replicated from the fit lie in the band; "
        f"the share of replications that fit worse than the readings is {fitted.p_value:.2g}. Below, the torque of the "
        "fit with its band, and, if coast-downs and a moment of inertia allow, the torque measured without a model."
    )


WHY: Drawing[Findings] = Drawing("why", draw_why, describe_why, caption_why, sizes(5.2, 5.6, 17.0))
