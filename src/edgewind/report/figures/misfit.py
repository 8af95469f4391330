"""Misfit of the physical model: readings over the prediction without smooth errors, with the band of the fit."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.ticker import FuncFormatter, MaxNLocator

from edgewind.report.figures.base import Drawing
from edgewind.report.figures.canvas import headline, legend, new_figure, plain_axes, rule_lines
from edgewind.report.figures.ruler import log_scale, log_ticks
from edgewind.report.figures.size import Size, sizes

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from edgewind.evidence import Findings
    from edgewind.report.palette import Palette


def draw_misfit(findings: Findings, palette: Palette, size: Size) -> Figure | None:
    """Draw the readings over the physics alone against pressure; None without a fit."""
    found = None if findings.explanation is None else findings.explanation.residuals
    if found is None:
        return None
    figure = new_figure(size)
    title = 2.6 if size.titled else 0.0
    left, right, bottom, top = 6.5, 1.2, 4.0, title + (5.4 if size.narrow else 3.4)
    axes = plain_axes(figure, size.box(left, bottom, right, top), spines=("bottom",))
    stated = 100 * found.stated
    axes.fill_between(
        found.band_pa, -stated, stated, color=palette.soft, alpha=0.14, linewidth=0, label="stated error of the model"
    )
    low, middle, high = (100 * (part - 1) for part in (found.low, found.middle, found.high))
    axes.fill_between(found.band_pa, low, high, color=palette.blue, alpha=0.25, linewidth=0, label="smooth error found")
    axes.plot(found.band_pa, middle, color=palette.blue, linewidth=1.5 * size.line)
    axes.axhline(0, color=palette.rule, linewidth=size.line)
    axes.errorbar(
        found.pressure_pa, 100 * (found.ratio - 1), 100 * found.ratio_u, fmt="o", color=palette.ink,
        markersize=0.4 * size.type_pt, linewidth=size.line, label="reading", zorder=4,
    )  # fmt: skip
    # An outlier must not compress the scale of the others.
    most = float(np.nanmax(np.abs(np.concatenate([low, high, stated]))))
    reach = min(float(np.nanmax(np.abs(100 * (found.ratio - 1)), initial=0.0)), 4 * most)
    axes.set_ylim(-1.15 * max(most, reach), 1.15 * max(most, reach))
    axes.yaxis.set_major_locator(MaxNLocator(5))
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:+g}".replace("-", "−") if value else "0"))
    axes.set_ylabel("speed over physics (%)")
    log_scale(axes, (float(found.band_pa[0] / 1.1), float(found.band_pa[-1] * 1.1)))
    log_ticks(axes, "bottom", palette, palette.ink, size)
    rule_lines(axes, palette, size)
    axes.set_xlabel("pressure (Pa)", labelpad=0.4 * size.type_pt)
    columns = 1 if size.narrow else 3
    legend(
        figure,
        size,
        *axes.get_legend_handles_labels(),
        ncols=columns,
        left=left if size.titled else 0.6,
        down=title + 0.4,
    )
    headline(figure, f"{findings.experiment.name}: misfit of the model", size, left=left)
    return figure


def describe_misfit(findings: Findings) -> str:
    """Return the alternative text of the figure."""
    found = None if findings.explanation is None else findings.explanation.residuals
    if found is None:
        return ""
    k = int(np.nanargmax(np.abs(found.middle - 1)))
    most, stated = 100 * abs(found.middle[k] - 1), 100 * found.stated[k]
    return (
        f"{found.ratio.size} readings of speed over the speed that the physics alone predicts, against pressure. The "
        f"smooth error that the fit found reaches {most:.0f} %, where {stated:.0f} % are stated."
    )


def caption_misfit(findings: Findings) -> str:
    """Explain the figure's marks."""
    fitted = None if findings.explanation is None else findings.explanation.fit
    if fitted is None:
        return ""
    more = "more" if fitted.smooth.found else "no more"
    return (
        "Readings over the prediction without the model's errors, with stated uncertainties. Grey: the stated errors "
        "of the gas and the gauge, before the fit. Blue: the smooth error that the fit found. Both are intervals of "
        f"{100 * fitted.level:g} %. The misfit requires {more} smooth error than that "
        f"(ln(evidence) {fitted.smooth.log_evidence:.1f})."
    )


MISFIT: Drawing[Findings] = Drawing("misfit", draw_misfit, describe_misfit, caption_misfit, sizes(3.4, 4.0, 17.0))
