"""The response curve: readings with both uncertainties, the curve with its band, the optimum with its distribution."""

from __future__ import annotations

from textwrap import fill
from typing import TYPE_CHECKING, Literal

import numpy as np
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import FixedLocator, MaxNLocator, NullLocator
from scipy.ndimage import gaussian_filter1d

from edgewind.formatting import RPM_PER_RAD_S, format_interval, format_number
from edgewind.gas.free_path import REGIME_BORDERS, REGIMES
from edgewind.report.figures.base import Drawing
from edgewind.report.figures.canvas import headline, legend, new_figure, plain_axes
from edgewind.report.figures.ruler import draw_ruler, log_scale
from edgewind.report.figures.size import Size, sizes
from edgewind.report.figures.sweeps import SweepMark, sweep_marks
from edgewind.report.names import shorten
from edgewind.report.physics import drawable, has_place, path_at_one_pascal, pressure_ends
from edgewind.report.words import not_found
from edgewind.units import to_si

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from edgewind.evidence import Findings
    from edgewind.report.palette import Palette

Box = tuple[float, float, float, float]
# Ems above the highest reading for the names of the regimes and the text on the optimum.
_HEADROOM_EM, _REGIMES_EM = (3.6, 5.2), 1.7


def draw_curve(findings: Findings, palette: Palette, size: Size) -> Figure | None:
    """Draw the response curve of one rotor, or return None if no reading has both a pressure and a speed."""
    readings = findings.experiment.readings
    if not drawable(readings).any():
        return None
    figure = new_figure(size)
    keys = _legend_rows(findings, size)
    title = 2.6 if size.titled else 0.0
    left, right = (4.6, 4.2) if size.narrow else (5.2, 4.4)
    top, bottom, strip = title + 1.6 * keys + 6.8, 5.7, 3.3
    box = size.box(left, bottom + strip + 0.5, right, top)
    below = size.box(left, bottom, right, size.height_em - bottom - strip)
    ends = pressure_ends(readings)
    main, density = plain_axes(figure, box, spines=()), plain_axes(figure, below, spines=())
    _rulers(figure, box, below, ends, findings, palette, size)
    _regimes(main, ends, findings, palette, size)
    handles = _readings(main, readings, sweep_marks(readings, palette), palette, size)
    handles += _curve(main, findings, palette, size)
    _speed_scale(main, box[3] * size.height_em, palette, size)
    _density(density, findings, ends, palette, size)
    _optimum(main, density, findings, palette, size)
    for axes in (main, density):
        log_scale(axes, ends)
    legend(figure, size, handles=handles, ncols=_legend_columns(size), left=left, down=title + 0.9)
    headline(figure, shorten(findings.experiment.bench.experiment.title, 66), size, left=left)
    return figure


def _legend_rows(findings: Findings, size: Size) -> int:
    readings = findings.experiment.readings
    entries = readings["sweep"].nunique() + 2 + bool((drawable(readings) & ~readings["used"]).any())
    return -(-int(entries) // _legend_columns(size))


def _legend_columns(size: Size) -> int:
    return 2 if size.narrow else 5


def _rulers(
    figure: Figure, box: Box, below: Box, ends: tuple[float, float], findings: Findings, palette: Palette, size: Size
) -> None:
    """Draw pressure in Pa, and in mTorr or the chosen unit, at the bottom; Knudsen number and mean free path on top."""
    path = path_at_one_pascal(findings.experiment.bench)
    width = findings.experiment.bench.rotor.vane_width.value
    line = 1 / size.height_em
    lower = (below[0], below[1] - 2.1 * line, below[2], below[3])
    upper = (box[0], box[1] + 2.2 * line, box[2], box[3])
    draw_ruler(figure, below, ends, "bottom", "Pa", palette, palette.ink, size)
    unit = findings.experiment.bench.units.pressure
    other = "mTorr" if unit == "Pa" else unit
    pascals = float(to_si(1.0, other, "pressure"))
    draw_ruler(figure, lower, (ends[0] / pascals, ends[1] / pascals), "bottom", other, palette, palette.soft, size)
    draw_ruler(figure, box, (path / width / ends[0], path / width / ends[1]), "top", "Kn", palette, palette.ink, size)
    draw_ruler(figure, upper, (1e3 * path / ends[0], 1e3 * path / ends[1]), "top", "mm", palette, palette.soft, size)
    middle = box[0] + box[2] / 2
    figure.text(middle, 0.7 * line, f"pressure (Pa and {other})", ha="center", va="bottom", color=palette.ink)
    named = "Knudsen number, mean free path" if size.narrow else "Knudsen number (Kn) and mean free path (mm)"
    figure.text(middle, box[1] + box[3] + 4.8 * line, named, ha="center", va="bottom", color=palette.ink)


def _regimes(axes: Axes, ends: tuple[float, float], findings: Findings, palette: Palette, size: Size) -> None:
    """Mark the borders of the flow regimes, and name those with enough space."""
    bench = findings.experiment.bench
    at_one = path_at_one_pascal(bench) / bench.rotor.vane_width.value
    borders = [at_one / knudsen for knudsen in REGIME_BORDERS]
    for border in borders:
        if ends[0] < border < ends[1]:
            axes.axvline(border, color=palette.rule, linewidth=size.line, linestyle=(0, (1, 3)), zorder=0)
    edges = [np.inf, *borders, 0.0]
    for name, high, low in zip(REGIMES, edges[:-1], edges[1:], strict=True):
        low, high = max(low, ends[0]), min(high, ends[1])
        room = np.log(high / low) / np.log(ends[1] / ends[0]) if high > low else 0.0
        if room * size.width_em > 0.75 * len(name):
            axes.annotate(
                name, xy=(np.sqrt(low * high), 1.0), xycoords=("data", "axes fraction"),
                xytext=(0, -0.3 * size.type_pt), textcoords="offset points",
                ha="center", va="top", color=palette.soft, fontsize=0.86 * size.type_pt, fontstyle="italic",
            )  # fmt: skip


def _readings(
    axes: Axes, readings: pd.DataFrame, marks: dict[str, SweepMark], palette: Palette, size: Size
) -> list[Artist]:
    shown = readings[drawable(readings)]
    handles: list[Artist] = []
    for label, mark in marks.items():
        for used in (False, True):
            part = shown[(shown["sweep"] == label) & (shown["used"] == used)]
            if part.empty:
                continue
            colour = mark.colour if used else palette.soft
            axes.errorbar(
                part["pressure_pa"], RPM_PER_RAD_S * part["speed_rad_s"],
                xerr=_log_bars(part), yerr=RPM_PER_RAD_S * part["speed_u_rad_s"].fillna(0.0),
                fmt=mark.marker, color=colour, ecolor=colour, elinewidth=size.line, capsize=0,
                markersize=0.6 * size.type_pt, markerfacecolor=colour if used else palette.paper,
                markeredgecolor=palette.paper if used else colour, markeredgewidth=0.8 * size.line,
                zorder=4 if used else 2,
            )  # fmt: skip
        if ((shown["sweep"] == label) & shown["used"]).any():
            handles.append(
                Line2D([], [], linestyle="", marker=mark.marker, color=mark.colour, markersize=0.75 * size.type_pt,
                       markeredgecolor=palette.paper, label=shorten(mark.label, 14))
            )  # fmt: skip
    if not shown["used"].all():
        handles.append(
            Line2D([], [], linestyle="", marker="o", markerfacecolor=palette.paper, markeredgecolor=palette.soft,
                   markersize=0.7 * size.type_pt, label="set aside")
        )  # fmt: skip
    return handles


def _log_bars(part: pd.DataFrame) -> np.ndarray:
    """Return bars of one independent standard uncertainty of ln p of each reading, below and above, in Pa."""
    pressure = part["pressure_pa"].to_numpy(float)
    factor = np.exp(np.nan_to_num(part["log_pressure_u"].to_numpy(float)))
    return np.stack([pressure * (1 - 1 / factor), pressure * (factor - 1)])


def _curve(axes: Axes, findings: Findings, palette: Palette, size: Size) -> list[Artist]:
    optimum = findings.optimum
    curve = optimum.curve
    if curve is None:
        return []
    tails = (0.5 - optimum.level / 2, 0.5 + optimum.level / 2)
    low, high = RPM_PER_RAD_S * np.quantile(curve.draws, tails, axis=0)
    axes.fill_between(curve.pressure_pa, low, high, color=palette.ink, alpha=0.13, linewidth=0, zorder=1)
    axes.plot(curve.pressure_pa, RPM_PER_RAD_S * curve.mean, color=palette.ink, linewidth=1.8 * size.line, zorder=3)
    return [
        Line2D([], [], color=palette.ink, linewidth=1.8 * size.line, label="curve"),
        Patch(facecolor=palette.ink, alpha=0.13, linewidth=0, label=f"its {100 * optimum.level:g} % band"),
    ]


def _speed_scale(axes: Axes, height_em: float, palette: Palette, size: Size) -> None:
    """Scale the speeds from zero if they come near it, with space for text above them."""
    low, high = axes.dataLim.y0, axes.dataLim.y1
    low = 0.0 if 0 <= low < 0.6 * high else low
    span = max(high - low, 1e-9) * height_em / (height_em - _HEADROOM_EM[size.narrow] - 0.8)
    axes.set_ylim(low - 0.8 / height_em * span, low + (1 - 0.8 / height_em) * span)
    ticks = MaxNLocator(5, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high)
    axes.yaxis.set_major_locator(FixedLocator([tick for tick in ticks if low <= tick <= high + 0.08 * (high - low)]))
    axes.grid(axis="y", color=palette.grid, linewidth=size.line, zorder=0)
    axes.set_axisbelow(True)
    axes.set_ylabel("speed (rpm)", labelpad=0.5 * size.type_pt)


def _density(axes: Axes, findings: Findings, ends: tuple[float, float], palette: Palette, size: Size) -> None:
    """Draw the distribution of the pressure of greatest speed over the curves that fit the readings."""
    optimum = findings.optimum
    axes.yaxis.set_major_locator(NullLocator())
    axes.set_ylim(0.0, 1.25)
    if optimum.draws_pa.size:
        edges = np.linspace(np.log(ends[0]), np.log(ends[1]), 321)
        counts, _ = np.histogram(np.log(optimum.draws_pa), edges)
        height = gaussian_filter1d(counts.astype(float), 2.5, mode="constant")
        height /= max(float(height.max()), 1e-12)
        colour = palette.gold if optimum.found else palette.soft
        centre = np.exp((edges[1:] + edges[:-1]) / 2)
        axes.fill_between(centre, 0, height, color=colour, alpha=0.55 if optimum.found else 0.25, linewidth=0)
        axes.plot(centre, height, color=colour, linewidth=size.line)
    axes.axhline(0.0, color=palette.rule, linewidth=size.line)
    highest = "where the greatest speed lies" if optimum.found else "where these curves are highest"
    words = highest if optimum.draws_pa.size else "no distribution: too few readings"
    axes.annotate(
        words, xy=(0.0, 1.0), xycoords="axes fraction", xytext=(0.2 * size.type_pt, -0.2 * size.type_pt),
        textcoords="offset points", va="top", color=palette.soft, fontsize=0.86 * size.type_pt,
    )  # fmt: skip


def _optimum(main: Axes, density: Axes, findings: Findings, palette: Palette, size: Size) -> None:
    """Mark the optimum and its interval, or state why there is none."""
    optimum = findings.optimum
    between = "\n" if size.narrow else " "
    if not optimum.found or optimum.pressure_pa is None or optimum.interval_pa is None:
        # without the remedy, which stands in the answer: a long note would cover the curve on a phone
        why = fill(not_found(optimum.reason).partition(";")[0], 34 if size.narrow else 70)
        _words(main, 0.0, f"No optimum is claimed:{between}{why}", palette.ink, "left", size, "axes fraction")
        return
    top = 1 - _REGIMES_EM / (main.get_position().height * size.height_em)
    for axes, highest in ((main, top), (density, 1.0)):
        axes.axvspan(*optimum.interval_pa, ymax=highest, color=palette.gold, alpha=0.2, linewidth=0, zorder=0)
        axes.axvline(optimum.pressure_pa, ymax=highest, color=palette.gold_ink, linewidth=1.3 * size.line, zorder=2)
    said = f"{format_number(optimum.pressure_pa, 3)} Pa{between}({format_interval(*optimum.interval_pa)})"
    ends = pressure_ends(findings.experiment.readings)
    if optimum.pressure_pa < np.sqrt(ends[0] * ends[1]):
        _words(main, optimum.interval_pa[1], said, palette.gold_ink, "left", size)
    else:
        _words(main, optimum.interval_pa[0], said, palette.gold_ink, "right", size)


def _words(
    axes: Axes, place: float, words: str, colour: str, align: Literal["left", "right"], size: Size, across: str = "data"
) -> None:
    """Write text under the names of the regimes, to one side of a place."""
    beside = (0.5 if align == "left" else -0.5) * size.type_pt
    axes.annotate(
        words, xy=(place, 1.0), xycoords=(across, "axes fraction"), xytext=(beside, -_REGIMES_EM * size.type_pt),
        textcoords="offset points", ha=align, va="top", color=colour, fontweight="bold", zorder=6,
    )  # fmt: skip


def describe_curve(findings: Findings) -> str:
    """Return the alternative text of the figure."""
    experiment, optimum = findings.experiment, findings.optimum
    shown = experiment.readings[drawable(experiment.readings)]
    pressure, speed = shown["pressure_pa"], RPM_PER_RAD_S * shown["speed_rad_s"]
    seen = (
        f"Speed against pressure for {experiment.name}: {len(shown)} readings from "
        f"{format_number(pressure.min(), 2)} to {format_number(pressure.max(), 2)} Pa, between "
        f"{format_number(speed.min(), 3)} and {format_number(speed.max(), 3)} rpm. "
    )
    if not optimum.found or optimum.pressure_pa is None or optimum.interval_pa is None:
        return seen + f"No pressure of greatest speed is claimed, because {not_found(optimum.reason)}."
    return (
        seen
        + f"The curve rises to its highest place at {format_number(optimum.pressure_pa, 3)} Pa and falls beyond it; "
        f"the interval from {format_interval(*optimum.interval_pa, 'Pa')} is shaded."
    )


def caption_curve(findings: Findings) -> str:
    """Explain the figure's marks."""
    experiment, optimum = findings.experiment, findings.optimum
    readings = experiment.readings
    common = experiment.used["log_pressure_u_common"]
    shared = (
        f" The part that all pressures share, {100 * common.median():.2g} %, would move them together and is not drawn."
        if len(common)
        else ""
    )
    placed, drawn = int(has_place(readings).sum()), int(drawable(readings).sum())
    lacking, far = len(readings) - placed, placed - drawn
    absent = f" Not drawn, without pressure or speed: {lacking} of {len(readings)} readings." if lacking else ""
    absent += f" Not drawn, set aside and far from those used: {far} of {len(readings)} readings." if far else ""
    if optimum.curve is None:
        line = " There is no curve, because there are too few usable readings."
    elif optimum.found:
        line = (
            f" The line is the mean of the curves that fit the readings, the band holds {100 * optimum.level:g} % "
            f"of them; gold marks the {100 * optimum.level:g} % interval of the pressure of greatest speed, and the "
            "strip below its whole distribution."
        )
    else:
        line = (
            f" The line is the mean of the curves that fit the readings, the band holds {100 * optimum.level:g} % "
            "of them. The strip below shows in grey where these curves are highest; no optimum is claimed, because "
            f"{not_found(optimum.reason)}."
        )
    return (
        "Readings with one standard uncertainty in speed and in pressure (each reading's own part); triangles "
        "point up where the pressure was rising and down where it was falling; hollow grey marks are set "
        f"aside.{line}{shared}{absent}"
    )


CURVE: Drawing[Findings] = Drawing("curve", draw_curve, describe_curve, caption_curve, sizes(6.6, 6.2, 13.5))
