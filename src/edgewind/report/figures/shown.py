"""Conversion of a figure to the chosen units: numbers on axes and in text, with the drawing unchanged."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.markers import TICKDOWN, TICKUP
from matplotlib.text import Text
from matplotlib.ticker import FixedFormatter, FixedLocator, Locator, MaxNLocator, NullLocator

from edgewind.report.figures.canvas import PlainFormatter
from edgewind.report.figures.ruler import labelled_ticks, pretty, small_ticks

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis
    from matplotlib.figure import Figure

    from edgewind.shown_units import ShownUnits


def show_in(figure: Figure, units: ShownUnits) -> Figure:
    """Convert a figure drawn in Pa and rpm; unchanged if these are the chosen units."""
    if not units.changed:
        return figure
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            for made, (_, size) in units.sizes.items():
                if f"({made})" in axis.get_label_text():
                    for one in (axis, *(_above(axes, figure) if axis is axes.xaxis else ())):
                        _rescale(one, size)
                    axis.set_label_text(units.label(axis.get_label_text()))
    for words in figure.findobj(Text):
        said = words.get_text()
        words.set_text(units.text(said) if any(made in said for made in units.sizes) else said)
    return figure


def _above(axes: Axes, figure: Figure) -> list[Axis]:
    """Return the unlabelled pressure axes above one with their common label."""
    place, ends = axes.get_position(), tuple(axes.get_xlim())
    return [
        other.xaxis
        for other in figure.axes
        if other is not axes
        and not other.get_xlabel()
        and (other.get_position().x0, other.get_position().x1) == (place.x0, place.x1)
        and (other.get_xscale(), tuple(other.get_xlim())) == (axes.get_xscale(), ends)
    ]


def _rescale(axis: Axis, size: float) -> None:
    """Set the ticks of an axis to round values in a unit of this size."""
    locator = axis.get_major_locator()
    if isinstance(locator, _Scaled | NullLocator):  # already done for an axis with shared ticks, or without ticks
        return
    if isinstance(locator, FixedLocator):  # labelled ticks, with a line of small ones; see ruler.log_ticks
        low, high = sorted(axis.get_view_interval())
        if axis.get_scale() != "log":
            many = MaxNLocator(nbins=len(list(locator())), steps=[1, 2, 5, 10])
            ticks = np.asarray(many.tick_values(low / size, high / size))
            ticks = ticks[(ticks >= low / size) & (ticks <= high / size)]
            axis.set_major_locator(FixedLocator((ticks * size).tolist()))
            axis.set_major_formatter(FixedFormatter([pretty(tick) for tick in ticks]))
            return
        ticks = labelled_ticks(low / size, high / size)
        axis.set_major_locator(FixedLocator((ticks * size).tolist()))
        axis.set_major_formatter(FixedFormatter([pretty(tick) for tick in ticks]))
        small = size * small_ticks(low / size, high / size)
        for line in axis.axes.lines:
            if line.get_marker() in (TICKUP, TICKDOWN) and line.get_linestyle() == "None":
                line.set_data(small, np.full(small.size, np.asarray(line.get_ydata())[0]))
        return
    axis.set_major_locator(_Scaled(locator, size))
    axis.set_minor_locator(_Scaled(axis.get_minor_locator(), size))
    axis.set_minor_formatter(PlainFormatter(axis.get_minor_formatter(), size))
    axis.set_major_formatter(PlainFormatter(axis.get_major_formatter(), size))


class _Scaled(Locator):
    """Ticks of another locator, round in a unit of this size."""

    def __init__(self, inner: Locator, size: float) -> None:
        self.inner, self.size = inner, size

    def __call__(self) -> Any:
        assert self.axis is not None
        return self.tick_values(*self.axis.get_view_interval())

    def tick_values(self, vmin: float, vmax: float) -> Any:
        """Return the ticks between two values."""
        self.inner.set_axis(self.axis)
        return np.asarray(self.inner.tick_values(vmin / self.size, vmax / self.size)) * self.size
