"""Rulers: logarithmic scales beside the axes of a figure, each with its unit at its end."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

import numpy as np
from matplotlib.markers import TICKDOWN, TICKUP
from matplotlib.ticker import FixedFormatter, FixedLocator, NullLocator

from edgewind.formatting import format_number, raise_exponents
from edgewind.report.figures.canvas import plain_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from edgewind.report.figures.size import Size
    from edgewind.report.palette import Palette

_LABELLED = ((1.0,), (1.0, 3.0), (1.0, 2.0, 5.0), (1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0), tuple(np.arange(1.0, 10.0, 0.2)))
_FEWEST_LABELS = 3


def labelled_ticks(low: float, high: float) -> NDArray[np.float64]:
    """Return round values between two positive ends: decades, or finer where these would be fewer than three.

    Examples
    --------
    >>> labelled_ticks(0.02, 30.0).tolist()
    [0.1, 1.0, 10.0]
    >>> labelled_ticks(0.5, 20.0).tolist()
    [1.0, 3.0, 10.0]
    """
    ticks = np.empty(0)
    for steps in _LABELLED:
        ticks = _multiples(low, high, steps)
        if ticks.size >= _FEWEST_LABELS:
            break
    return ticks


def _multiples(low: float, high: float, steps: tuple[float, ...]) -> NDArray[np.float64]:
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    values = np.array([float(f"{step:.2g}e{decade}") for decade in decades for step in steps])
    slack = 1e-9
    return values[(values >= low * (1 - slack)) & (values <= high * (1 + slack))]


def log_scale(axes: Axes, ends: tuple[float, float]) -> None:
    """Set a logarithmic x scale without ticks from one end to the other, which may be the smaller."""
    axes.set_xscale("log")
    axes.set_xlim(*ends)
    axes.xaxis.set_major_locator(NullLocator())
    axes.xaxis.set_minor_locator(NullLocator())


def log_ticks(axes: Axes, side: Literal["bottom", "top"], palette: Palette, colour: str, size: Size) -> None:
    """Put labelled ticks on a logarithmic x scale, and small ones at 1 to 9 of every decade."""
    low, high = sorted(axes.get_xlim())
    ticks = labelled_ticks(low, high)
    axes.xaxis.set_major_locator(FixedLocator(ticks.tolist()))
    axes.xaxis.set_major_formatter(FixedFormatter([pretty(tick) for tick in ticks]))
    axes.xaxis.set_ticks_position(side)
    axes.tick_params(axis="x", labelcolor=colour)
    small = small_ticks(low, high)
    axes.plot(  # one line of marks, since single Matplotlib ticks take longer than the rest of the figure
        small, np.full(small.size, float(side == "top")), linestyle="", marker=TICKUP if side == "top" else TICKDOWN,
        markersize=0.25 * size.type_pt, markeredgewidth=0.7 * size.line, color=palette.rule, clip_on=False,
        transform=axes.get_xaxis_transform(), scalex=False, scaley=False,
    )  # fmt: skip


def small_ticks(low: float, high: float) -> NDArray[np.float64]:
    """Return 1 to 9 of every decade between two positive ends."""
    return _multiples(low, high, tuple(range(1, 10)))


def pretty(value: float) -> str:
    """Write a tick: ``0.01``, ``10``, ``2 × 10⁻⁵``."""
    return raise_exponents(format_number(value, 3), drop_one=True)


def draw_ruler(
    figure: Figure,
    box: tuple[float, float, float, float],
    ends: tuple[float, float],
    side: Literal["bottom", "top"],
    unit: str,
    palette: Palette,
    colour: str,
    size: Size,
) -> Axes:
    """Add a ruler along the bottom or the top side of a box, its unit written at its right end."""
    axes = plain_axes(figure, (box[0], box[1] if side == "bottom" else box[1] + box[3], box[2], 1e-4), spines=(side,))
    axes.yaxis.set_major_locator(NullLocator())
    log_scale(axes, ends)
    log_ticks(axes, side, palette, colour, size)
    beside = (0.9 * size.type_pt, (-1 if side == "bottom" else 1) * 0.85 * size.type_pt)
    axes.annotate(
        unit, xy=(1.0, 0.0), xycoords="axes fraction", xytext=beside, textcoords="offset points",
        ha="left", va="top" if side == "bottom" else "bottom", color=colour,
    )  # fmt: skip
    return axes
