"""Figure of a planned study: best pressure of each size by each claim, and precision of the study."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.ticker import FixedLocator, LogLocator, NullFormatter, NullLocator, StrMethodFormatter

from edgewind.plan.scaling_study import MODEL, ScalingStudy
from edgewind.plan.scaling_text import answer_sentences, claim_name
from edgewind.report.figures.base import Drawing
from edgewind.report.figures.canvas import headline, legend, new_figure, plain_axes, rule_lines, two_panels
from edgewind.report.figures.size import Size, sizes

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from edgewind.report.palette import Palette


def draw_claims(study: ScalingStudy, palette: Palette, size: Size) -> Figure | None:
    """Draw the claims as lines and the planned readings as bars on the model's; beside it, power against rotors."""
    best = study.best
    if best is None:
        return None
    figure = new_figure(size)
    top = 8.6 if size.narrow else 5.2
    top += 2.4 if size.titled else 0.0
    if size.narrow:
        left, right = two_panels(figure, size, 5.0, 1.0, 4.0, top, 5.5)
    else:
        wide = size.width_em
        left = plain_axes(figure, size.box(5.4, 4.0, 0.42 * wide + 1.5, top), spines=("bottom",))
        right = plain_axes(figure, size.box(0.58 * wide + 5.5, 4.0, 1.2, top), spines=("bottom",))
    _lines(left, study, palette, size)
    _trade(right, study, palette, size)
    handles, labels = left.get_legend_handles_labels()
    headline(figure, "Which claim would this study decide?", size)
    down = 3.6 if size.titled else 0.9
    legend(figure, size, handles, labels, ncols=2 if size.narrow else 6, left=1.6, down=down)
    return figure


def _lines(axes: Axes, study: ScalingStudy, palette: Palette, size: Size) -> None:
    best = study.best
    assert best is not None
    gas = study.gases[0]
    widths = np.geomspace(study.widths_m[0], study.widths_m[-1], 40)
    level = np.exp(np.mean([study.log_place(MODEL, w, gas) for w in study.widths_m]))
    middle = np.exp(np.mean(np.log(study.widths_m)))
    powers = [name for name in study.exponents if name != MODEL]
    for name, colour in zip(powers, (*palette.series, *palette.series), strict=False):
        axes.plot(
            1e3 * widths, level * (widths / middle) ** study.exponents[name], color=colour, linewidth=1.8 * size.line,
            label=f"power {name}",
        )  # fmt: skip
    seen = np.array(best.design.widths_m)
    place = np.array([study.rotors[w, gas].pressure_pa for w in seen])
    spread = np.array(
        [
            np.hypot(
                study.rotors[w, gas].rotor_scatter, study.calibration[w, gas].u / np.sqrt(best.design.sweeps)
            ) / np.sqrt(best.design.rotors)
            for w in seen
        ]
    )  # fmt: skip
    z = 1.645
    bars = [place * (1 - np.exp(-z * spread)), place * (np.exp(z * spread) - 1)]
    axes.errorbar(
        1e3 * seen, place, bars, fmt="o", color=palette.ink, markersize=6.5 * size.line, linewidth=1.8 * size.line,
        zorder=5, label="model, 90 % of the study",
    )  # fmt: skip
    axes.set(xscale="log", yscale="log", xlabel="width of the vane (mm)", ylabel=f"best pressure in {gas} (Pa)")
    axes.xaxis.set_major_locator(FixedLocator([float(f"{1e3 * w:.3g}") for w in study.widths_m]))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    axes.yaxis.set_minor_formatter(NullFormatter())
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_formatter(StrMethodFormatter("{x:g}"))
    rule_lines(axes, palette, size)


def _trade(axes: Axes, study: ScalingStudy, palette: Palette, size: Size) -> None:
    best = study.best
    assert best is not None
    for one in study.rated:
        axes.plot(
            one.design.hours, one.exponent_u, marker="o" if len(one.design.widths_m) > 2 else "s", linestyle="",
            color=palette.soft, markersize=4.5 * size.line,
        )  # fmt: skip
    axes.plot(
        best.design.hours, best.exponent_u, marker="o" if len(best.design.widths_m) > 2 else "s", linestyle="",
        color=palette.gold, markeredgecolor=palette.ink, markersize=9 * size.line, zorder=5,
    )  # fmt: skip
    axes.annotate(
        "this plan", (best.design.hours, best.exponent_u), xytext=(0.6 * size.type_pt, 0.5 * size.type_pt),
        textcoords="offset points", color=palette.gold_ink,
    )  # fmt: skip
    axes.set_xlim(0, 1.08 * study.settings.hours)
    axes.set_ylim(0, 1.15 * max(one.exponent_u for one in study.rated))
    axes.axvline(study.settings.hours, color=palette.rule, linewidth=size.line, linestyle=(0, (3, 2)))
    axes.set_xlabel("hours (squares: two sizes only)")
    axes.set_ylabel("exponent known to")
    rule_lines(axes, palette, size)


def _alt(study: ScalingStudy) -> str:
    claims = ", ".join(claim_name(study, name) for name in study.exponents)
    return f"Best pressure against the width of the vane for the claims {claims}. {answer_sentences(study)[0]}"


def _caption(study: ScalingStudy) -> str:
    return (
        f"Left: the best pressure in {study.gases[0]} by each claim, and the model's with the 90 % bars that this "
        "study would have; a claim whose line misses the bars is rejected. Right: every design that fits the time, by "
        "its hours and the uncertainty of its exponent."
    )


CLAIMS: Drawing[ScalingStudy] = Drawing("claims", draw_claims, _alt, _caption, sizes(4.4, 7.6, 13.5))
