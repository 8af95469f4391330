"""Matplotlib figures in the style of the report, with reproducible bytes."""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from textwrap import shorten
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath
from matplotlib.ticker import Formatter, FuncFormatter

from edgewind.report.figures.size import FILM_DPI, Size

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis

    from edgewind.report.palette import Palette


@contextmanager
def our_style(palette: Palette, size: Size) -> Iterator[None]:
    """Draw within this context: our type, lines and colours, and nothing that varies from run to run."""
    settings: dict[Any, Any] = {
        "font.family": ["DejaVu Sans"],
        "font.size": size.type_pt,
        "text.color": palette.ink,
        "text.parse_math": False,  # what people call their rotors is not a formula
        "axes.edgecolor": palette.rule,
        "axes.facecolor": "none",
        "axes.labelcolor": palette.ink,
        "axes.labelsize": size.type_pt,
        "axes.linewidth": size.line,
        "axes.unicode_minus": True,
        "figure.facecolor": palette.paper,
        "figure.dpi": 72,
        "savefig.facecolor": palette.paper,
        "xtick.color": palette.rule,
        "ytick.color": palette.rule,
        "xtick.labelcolor": palette.ink,
        "ytick.labelcolor": palette.ink,
        "xtick.labelsize": size.type_pt,
        "ytick.labelsize": size.type_pt,
        "xtick.major.width": size.line,
        "ytick.major.width": size.line,
        "xtick.minor.width": 0.7 * size.line,
        "xtick.major.size": 0.5 * size.type_pt,
        "xtick.minor.size": 0.25 * size.type_pt,
        "ytick.major.size": 0.0,
        "ytick.major.pad": 0.45 * size.type_pt,
        "xtick.major.pad": 0.3 * size.type_pt,
        "hatch.linewidth": size.line,
        "legend.frameon": False,
        "legend.fontsize": size.type_pt,
        "legend.handlelength": 1.6,
        "legend.handletextpad": 0.5,
        "legend.columnspacing": 1.6,
        "legend.borderaxespad": 0.0,
        "legend.borderpad": 0.0,
        "svg.fonttype": "none",
        "svg.hashsalt": "edgewind",
        "path.simplify": True,
    }
    with mpl.rc_context(settings), warnings.catch_warnings():
        # A title may hold signs that the type lacks: they come out as boxes in the PNG, and as they are in the SVG.
        warnings.filterwarnings("ignore", message="Glyph .* missing from", category=UserWarning)
        yield


def new_figure(size: Size) -> Figure:
    """Return an empty figure of a size."""
    return Figure(figsize=(size.width_in, size.height_in))


def headline(figure: Figure, words: str, size: Size, *, down: float = 1.1, scale: float = 1.25, **how: Any) -> None:
    """Write a line at the head of a figure, set smaller where it is too long, and cut short where that is too small.

    Parameters
    ----------
    words : str
        The line.
    down : float
        Distance of its upper side from that of the figure, ems.
    scale : float
        Size of its type, ems.
    how
        As for the text of a figure.
    """
    style = {"fontweight": "bold"} | how
    room = (size.width_em - 3.2) * size.type_pt
    font = FontProperties(family="DejaVu Sans", weight=style["fontweight"])
    points = scale * size.type_pt
    share = room / max(TextPath((0, 0), words, size=points, prop=font).get_extents().width, 1.0)
    if share < 0.72:
        words = shorten(words, int(len(words) * share / 0.72), placeholder=" …")
    figure.text(
        1.6 / size.width_em, 1 - down / size.height_em, words, fontsize=points * min(max(share, 0.72), 1.0), va="top",
        **style,
    )  # fmt: skip


def plain_axes(figure: Figure, box: tuple[float, float, float, float], *, spines: tuple[str, ...] = ()) -> Axes:
    """Add axes that show no frame but the named sides."""
    axes = figure.add_axes(box)
    for side, spine in axes.spines.items():
        spine.set_visible(side in spines)
    return axes


class PlainFormatter(Formatter):
    """Numbers as people write them, in a unit of this size, where another formatter writes any."""

    def __init__(self, inner: Formatter, size: float = 1.0) -> None:
        self.inner, self.size = inner, size

    def set_axis(self, axis: Any) -> None:
        """Take the axis whose ticks are written."""
        super().set_axis(axis)
        self.inner.set_axis(axis)

    def set_locs(self, locs: Any) -> None:
        """Take the places of all ticks, by which the other formatter chooses."""
        super().set_locs(locs)
        self.inner.set_locs([float(value) / self.size for value in locs])

    def __call__(self, x: float, pos: int | None = None) -> str:
        """Return the text of a tick; empty where the other formatter writes none."""
        value = x / self.size
        return f"{value:.6g}".replace("-", "\u2212") if self.inner(value, pos) else ""


def plain_ticks(axis: Axis) -> None:
    """Write numbers on a logarithmic axis as people do: 0.1, 1, 10, and between them where there are few of these."""
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axis.set_minor_formatter(PlainFormatter(axis.get_minor_formatter()))


def svg_of(figure: Figure) -> str:
    """Return the figure as an SVG document, without a date or the name of a program."""
    stream = io.StringIO()
    FigureCanvasSVG(figure).print_svg(stream, metadata={("Date"): None, "Creator": None, "Format": None, "Type": None})  # type: ignore[no-untyped-call]
    return stream.getvalue()


def png_of(figure: Figure) -> bytes:
    """Return the figure as a PNG, 1920 pixels wide where it is of film size."""
    stream = io.BytesIO()
    figure.set_dpi(FILM_DPI)
    FigureCanvasAgg(figure).print_png(stream, metadata={"Software": None})  # type: ignore[no-untyped-call]
    return stream.getvalue()
