"""Matplotlib figures in the style of the report, with reproducible bytes."""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from textwrap import shorten
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import numpy as np
from matplotlib.backend_bases import GraphicsContextBase
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath
from matplotlib.ticker import Formatter, FuncFormatter
from PIL import Image

from edgewind.report.figures.size import FILM_DPI, Size
from edgewind.report.palette import real_colours

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis

    from edgewind.report.palette import Palette


# The greater levels take half as long again for a hundredth fewer bytes.
_PNG_LEVEL = 4


@contextmanager
def our_style(palette: Palette, size: Size) -> Iterator[None]:
    """Set the style of the report within a context, without anything that varies from run to run."""
    settings: dict[Any, Any] = {
        "font.family": ["DejaVu Sans"],
        "font.size": size.type_pt,
        "text.color": palette.ink,
        "text.parse_math": False,  # names of rotors are not formulas
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
        # A title may hold characters that the font lacks: they are boxes in the PNG, and unchanged in the SVG.
        warnings.filterwarnings("ignore", message="Glyph .* missing from", category=UserWarning)
        yield


def new_figure(size: Size) -> Figure:
    """Return an empty figure of a size."""
    return Figure(figsize=(size.width_in, size.height_in))


def headline(
    figure: Figure, words: str, size: Size, *, left: float = 1.6, down: float = 1.1, scale: float = 1.25, **how: Any
) -> None:
    """Write a line at the top of a figure that stands alone, in smaller type or shortened where it is too long.

    Parameters
    ----------
    words : str
        The line.
    left, down : float
        Distances of its left and upper side from those of the figure, ems.
    scale : float
        Size of its type, ems.
    how
        Arguments of the text of a figure.
    """
    if not size.titled:
        return
    style = {"fontweight": "bold"} | how
    room = (size.width_em - left - 1.6) * size.type_pt
    font = FontProperties(family="DejaVu Sans", weight=style["fontweight"])
    points = scale * size.type_pt
    share = room / max(TextPath((0, 0), words, size=points, prop=font).get_extents().width, 1.0)
    if share < 0.72:
        words = shorten(words, int(len(words) * share / 0.72), placeholder=" …")
    figure.text(
        left / size.width_em, 1 - down / size.height_em, words, fontsize=points * min(max(share, 0.72), 1.0), va="top",
        **style,
    )  # fmt: skip


def legend(figure: Figure, size: Size, *labelled: Any, left: float, down: float, **how: Any) -> None:
    """Write the legend at a distance from the left and the upper side of a figure, ems."""
    place = (left / size.width_em, 1 - down / size.height_em)
    figure.legend(*labelled, loc="upper left", bbox_to_anchor=place, **how)


def plain_axes(figure: Figure, box: tuple[float, float, float, float], *, spines: tuple[str, ...] = ()) -> Axes:
    """Add axes that show no frame but the named sides."""
    axes = figure.add_axes(box)
    for side, spine in axes.spines.items():
        spine.set_visible(side in spines)
    return axes


def two_panels(
    figure: Figure, size: Size, left: float, right: float, bottom: float, top: float, gap: float
) -> tuple[Axes, Axes]:
    """Add axes one above the other, equally high, at distances from the sides of a figure and each other, ems."""
    rest = (size.height_em - bottom - top - gap) / 2 + gap
    boxes = size.box(left, bottom + rest, right, top), size.box(left, bottom, right, top + rest)
    above, below = (plain_axes(figure, box, spines=("bottom",)) for box in boxes)
    return above, below


def rule_lines(axes: Axes, palette: Palette, size: Size) -> None:
    """Draw fine lines at the ticks of the upright axis, under all else."""
    axes.grid(axis="y", color=palette.grid, linewidth=size.line)
    axes.set_axisbelow(True)


class PlainFormatter(Formatter):
    """Formatter of plain decimal numbers in a unit of this size, at the ticks that another formatter labels."""

    def __init__(self, inner: Formatter, size: float = 1.0) -> None:
        self.inner, self.size = inner, size

    def set_axis(self, axis: Any) -> None:
        """Set the axis of the ticks."""
        super().set_axis(axis)
        self.inner.set_axis(axis)

    def set_locs(self, locs: Any) -> None:
        """Set the places of all ticks, by which the other formatter chooses."""
        super().set_locs(locs)
        self.inner.set_locs([float(value) / self.size for value in locs])

    def __call__(self, x: float, pos: int | None = None) -> str:
        """Return the text of a tick; empty if the other formatter writes none."""
        value = x / self.size
        return f"{value:.6g}".replace("-", "\u2212") if self.inner(value, pos) else ""


def plain_ticks(axis: Axis) -> None:
    """Write plain decimal numbers on a logarithmic axis: 0.1, 1, 10, with further ones between if these are few."""
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
    axis.set_minor_formatter(PlainFormatter(axis.get_minor_formatter()))


def svg_of(figure: Figure) -> str:
    """Return the figure as an SVG document, without a date or the name of a program."""
    stream = io.StringIO()
    FigureCanvasSVG(figure).print_svg(stream, metadata={("Date"): None, "Creator": None, "Format": None, "Type": None})  # type: ignore[no-untyped-call]
    return stream.getvalue()


def png_of(figure: Figure, palette: Palette | None = None) -> bytes:
    """Return the figure as a PNG, 1920 pixels wide where it is of film size.

    Parameters
    ----------
    figure : Figure
        The figure, without a transparent ground.
    palette : Palette, optional
        Colours put in the place of the placeholders with which the figure was drawn.
    """
    figure.set_dpi(FILM_DPI)
    canvas = FigureCanvasAgg(figure)
    width, height = canvas.get_width_height(physical=True)
    colours = {} if palette is None else real_colours(palette)
    renderer = _Recoloured(width, height, FILM_DPI, {to_rgb(one): to_rgb(other) for one, other in colours.items()})
    figure.draw(renderer)
    stream = io.BytesIO()
    # Without transparency, which a figure on paper has none of, a quarter less is to be packed.
    pixels: Any = np.asarray(renderer.buffer_rgba())[..., :3]  # type: ignore[no-untyped-call]
    Image.fromarray(np.ascontiguousarray(pixels)).save(
        stream, "png", dpi=(FILM_DPI, FILM_DPI), compress_level=_PNG_LEVEL
    )
    return stream.getvalue()


_Colours = dict[Any, Any]


class _Recoloured(RendererAgg):
    """Draws with other colours than those of the figure, so that one figure serves several palettes."""

    def __init__(self, width: int, height: int, dpi: float, colours: _Colours) -> None:
        super().__init__(width, height, dpi)  # type: ignore[no-untyped-call]
        self._colours = colours
        agg: Any = self._renderer

        def markers(gc: Any, marker: Any, at: Any, path: Any, place: Any, face: Any = None) -> None:
            agg.draw_markers(gc, marker, at, path, place, _other(face, colours))

        def collection(gc: Any, place: Any, paths: Any, places: Any, offsets: Any, at: Any, faces: Any, edges: Any,
                       *rest: Any, **more: Any) -> None:  # fmt: skip
            faces, edges = _others(faces, colours), _others(edges, colours)
            agg.draw_path_collection(gc, place, paths, places, offsets, at, faces, edges, *rest, **more)

        vars(self).update(draw_markers=markers, draw_path_collection=collection)  # where the renderer keeps its own

    def new_gc(self) -> GraphicsContextBase:
        """Return the state of a pen that changes the colours it is given."""
        return _Pen(self._colours)

    def draw_path(self, gc: Any, path: Any, transform: Any, rgbFace: Any = None) -> None:
        """Draw an outline, filled where it has a colour."""
        super().draw_path(gc, path, transform, _other(rgbFace, self._colours))  # type: ignore[no-untyped-call]


class _Pen(GraphicsContextBase):
    def __init__(self, colours: _Colours) -> None:
        super().__init__()
        self._colours = colours

    def set_foreground(self, fg: Any, isRGBA: bool = False) -> None:
        super().set_foreground(fg, isRGBA)
        self._rgb: Any = _other(self._rgb, self._colours)

    def set_hatch_color(self, hatch_color: Any) -> None:
        super().set_hatch_color(_other(hatch_color, self._colours))


def _other(colour: Any, colours: _Colours) -> Any:
    """Return the colour in the place of one, with the same opacity."""
    return None if colour is None else (*colours.get(tuple(colour[:3]), colour[:3]), *colour[3:])


def _others(several: Any, colours: _Colours) -> Any:
    return np.array([_other(colour, colours) for colour in several]).reshape(np.shape(several))
