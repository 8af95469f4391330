"""The sheet of every picture of the gas: sizes, type, title, colour scale, Knudsen axis, text."""

from __future__ import annotations

import io
import math
import re
import textwrap
from abc import ABC, abstractmethod
from collections.abc import Iterator
from dataclasses import dataclass
from html import escape
from threading import RLock
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.ticker import FixedLocator, NullLocator
from numpy.typing import NDArray
from PIL import Image

from edgewind.errors import InputError
from edgewind.report.figures.canvas import new_figure, our_style, plain_axes, plain_ticks, svg_of
from edgewind.report.figures.size import Size
from edgewind.report.film.colours import root, scale_of
from edgewind.report.film.words import QUANTITIES, SHORT_CAPTION, SIZES, THEMES, Mark, option_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.text import Text

Floats = NDArray[np.float64]
Place = tuple[float, float]
Box = tuple[float, float, float, float]

SMALL, TINY = 0.86, 0.74
_CAPTION_SIGNS, _CAPTION_LINES = 150, 4
# The style of a figure is set for the whole program: threads that draw take turns.
STYLE = RLock()


@dataclass(frozen=True)
class SheetLayout:
    """Layout of a sheet, in ems of its type, from its left and lower side.

    Attributes
    ----------
    size : Size
        Inches and type.
    title : tuple of float
        Left and base of the first line, size of its type, distance of lines.
    title_signs : int
        Signs in a line of the title.
    field : tuple of float
        Left, bottom and side of the square that shows the gas.
    scale : tuple of float
        Box of the colour scale: lying where it is wider than high.
    scale_words : tuple of places
        Quantity, its unit, and its divisor; one place if all are in one line.
    kn, path, value : place
        Knudsen number, mean free path and effect.
    stress : tuple of float or None
        Box of the load along the face; None without space for it.
    curve : tuple of float
        Box of the effect against the Knudsen number.
    curve_words : tuple of places
        Its heading in two lines.
    axis_words : tuple of float
        Left, right and base of the words under the curve.
    words : place
        First line of the footnote, or of the few words instead of it.
    noted : bool
        Whether there is space for a footnote.
    """

    size: Size
    title: tuple[float, float, float, float]
    title_signs: int
    field: tuple[float, float, float]
    scale: Box
    scale_words: tuple[Place, ...]
    kn: Place
    path: Place
    value: Place
    stress: Box | None
    curve: Box
    curve_words: tuple[Place, Place]
    axis_words: tuple[float, float, float]
    words: Place
    noted: bool


# 61.44 by 34.56 ems.
WIDE = SheetLayout(
    size=Size(12.8, 7.2, 15.0, titled=True), title=(1.5, 32.7, 1.3, 0.0), title_signs=90, field=(1.5, 4.85, 26.2),
    scale=(28.6, 6.05, 0.85, 21.0), scale_words=((28.6, 30.3), (28.6, 29.05), (28.6, 27.85)),
    kn=(35.6, 30.0), path=(35.6, 28.25), value=(35.6, 26.75), stress=(39.2, 17.3, 20.4, 6.4),
    curve=(39.2, 7.0, 20.4, 5.0), curve_words=((35.6, 14.2), (35.6, 13.05)), axis_words=(39.2, 59.6, 4.55),
    words=(1.5, 3.3), noted=True,
)  # fmt: skip
# 28.8 by 51.2 ems: larger type on the sheet, for a phone that is held upright.
VERTICAL = SheetLayout(
    size=Size(7.2, 12.8, 18.0, titled=True), title=(1.7, 49.2, 1.15, 1.6), title_signs=36, field=(1.7, 21.0, 25.4),
    scale=(1.7, 18.2, 25.4, 0.8), scale_words=((1.7, 19.6),), kn=(1.7, 14.0), path=(14.0, 14.0), value=(1.7, 12.4),
    stress=None, curve=(4.9, 4.3, 22.0, 3.6), curve_words=((1.7, 9.6), (1.7, 8.6)), axis_words=(4.9, 26.9, 1.65),
    words=(1.7, 0.5), noted=False,
)  # fmt: skip


class GasSheet(ABC):
    """A picture of the gas, for any Knudsen number between the computed ones.

    Parameters
    ----------
    quantity : str
        A key of `QUANTITIES`.
    theme : str
        ``light`` or ``dark``.
    size : str
        A key of `SIZES`; one that is higher than wide is laid out for a phone.
    footnote : bool
        Whether the caption of several lines is under the picture, if there is space for it; otherwise a few words.
    mark : Mark, optional
        A place to mark on the curve.

    Raises
    ------
    InputError
        An unknown name, or a mark beyond the curve.
    """

    def __init__(self, quantity: str, theme: str, size: str, footnote: bool, mark: Mark | None = None) -> None:
        self.quantity = option_of(QUANTITIES, quantity, "quantity")
        self.name = next(name for name, known in QUANTITIES.items() if known is self.quantity)
        self.palette = option_of(THEMES, theme, "theme")
        self.theme = next(name for name, known in THEMES.items() if known is self.palette)
        self.width, self.height = option_of(SIZES, size, "size")
        self.layout = VERTICAL if self.height > self.width else WIDE
        self.lock = RLock()
        self._footnote = footnote and self.layout.noted
        self._mark = mark

    def draw(self) -> None:
        """Draw the parts that do not depend on the Knudsen number."""
        size = self.layout.size
        with STYLE, our_style(self.palette, size):
            self.figure: Figure = new_figure(size)
            self.figure.set_dpi(self.width / size.width_in)
            self.canvas = FigureCanvasAgg(self.figure)
            self._draw_once()

    @abstractmethod
    def _draw_once(self) -> None:
        """Draw it, with the style set."""

    @abstractmethod
    def show(self, knudsen: float) -> Any:
        """Move the picture to a Knudsen number."""

    @abstractmethod
    def frame(self) -> NDArray[np.uint8]:
        """Return the present canvas, shape (height, width, 4): it changes with the next picture."""

    @abstractmethod
    def frames(self, route: Floats, fps: int) -> Iterator[NDArray[np.uint8]]:
        """Yield the canvas at one Knudsen number after another."""

    @property
    @abstractmethod
    def ends(self) -> tuple[float, float]:
        """Least and greatest Knudsen number."""

    @abstractmethod
    def alt(self) -> str:
        """Return the alternative text of the picture."""

    # ---- parts

    @property
    def line(self) -> float:
        """Width of a fine line in points."""
        return self.layout.size.line

    def em(self, left: float, bottom: float, width: float, height: float) -> Box:
        """Return a box of the sheet, given in ems, in shares of the figure."""
        wide, high = self.layout.size.width_em, self.layout.size.height_em
        return (left / wide, bottom / high, width / wide, height / high)

    def points(self, size: float) -> float:
        """Return a size of type in points."""
        return size * self.layout.size.type_pt

    def text(self, x: float, y: float, words: str, *, size: float = 1.0, **how: Any) -> Text:
        """Write on the sheet, x and y in ems."""
        at = (x / self.layout.size.width_em, y / self.layout.size.height_em)
        return self.figure.text(
            *at, words, fontsize=self.points(size), **({"color": self.palette.ink, "va": "baseline"} | how)
        )

    def field_axes(self) -> Axes:
        """Return the axes in which the gas is drawn."""
        left, bottom, side = self.layout.field
        return plain_axes(self.figure, self.em(left, bottom, side, side))

    def draw_title(self, title: str) -> None:
        """Write the headline."""
        x, y, size, step = self.layout.title
        for number, words in enumerate(textwrap.wrap(title, self.layout.title_signs)):
            self.text(x, y - number * step, words, size=size, fontweight="bold")

    def draw_scale(self, limits: Place, per: str) -> None:
        """Draw the colour scale, with the quantity, its unit and its divisor."""
        box, places = self.layout.scale, self.layout.scale_words
        lying, signed, high = box[2] > box[3], self.quantity.signed, limits[1]
        axes = plain_axes(self.figure, self.em(*box))
        low = -1.0 if signed else 0.0
        colours = scale_of(signed=signed, theme=self.theme)
        if lying:
            axes.imshow(colours[None], extent=(low, 1, 0, 1), aspect="auto", interpolation="nearest")
            axes.set(yticks=[], xlim=(low, 1.0))
        else:
            axes.imshow(colours[:, None], extent=(0, 1, low, 1), origin="lower", aspect="auto",
                        interpolation="nearest")  # fmt: skip
            axes.set(xticks=[], ylim=(low, 1.0))
            axes.yaxis.tick_right()
        marks = high * (np.linspace(-1.0, 1.0, 5) if signed else np.array([0.0, 0.1, 0.3, 0.6, 1.0]))
        axis = axes.xaxis if lying else axes.yaxis
        axis.set_major_locator(FixedLocator((marks / high if signed else root(marks / high)).tolist()))
        axis.set_ticklabels([("+" if signed and mark > 0 else "") + plain(float(mark)) for mark in marks])
        if lying:
            labels = axes.get_xticklabels()
            labels[0].set_horizontalalignment("left")
            labels[-1].set_horizontalalignment("right")
        axes.tick_params(axis="x" if lying else "y", labelsize=self.points(SMALL), length=self.points(0.25),
                         colors=self.palette.rule, labelcolor=self.palette.ink)  # fmt: skip
        words = (short_name(self.name), self.quantity.unit, f"per {per}")
        if len(places) == 1:
            self.text(*places[0], f"{words[0]}: {words[1]} {words[2]}", size=SMALL, fontweight="bold")
            return
        for place, one, weight, colour in zip(
            places, words, ("bold", "normal", "normal"), (self.palette.ink,) * 2 + (self.palette.soft,), strict=True
        ):
            self.text(*place, one, size=SMALL, fontweight=weight, color=colour)

    def curve_axes(self, heading: str, under: str, low: float, high: float, top: float) -> Axes:
        """Return axes for an effect against the Knudsen number, thin gas to the left as on a pressure axis."""
        palette, layout = self.palette, self.layout
        first, second = layout.curve_words
        self.text(*first, heading, size=SMALL, fontweight="bold")
        self.text(*second, under, size=SMALL, color=palette.soft)
        axes = plain_axes(self.figure, self.em(*layout.curve), spines=("bottom",))
        axes.set(xscale="log", xlim=(high, low), ylim=(0.0, top), yticks=[0.0, 0.5 * top, top])
        axes.set_yticklabels(["0", plain(0.5 * top), plain(top)])
        axes.xaxis.set_minor_locator(NullLocator())
        plain_ticks(axes.xaxis)
        axes.grid(axis="y", color=palette.grid, linewidth=self.line)
        axes.set_axisbelow(True)
        axes.tick_params(labelsize=self.points(SMALL))
        left, right, base = layout.axis_words
        self.text(left, base, "thin gas", size=SMALL, color=palette.soft)
        self.text(right, base, "dense gas", size=SMALL, color=palette.soft, ha="right")
        self.text(0.5 * (left + right), base, "Knudsen number Kn", size=SMALL, ha="center")
        self._draw_mark(axes, low, high)
        return axes

    def _draw_mark(self, axes: Axes, low: float, high: float) -> None:
        """Mark the place that was asked for, its words on the side with more space."""
        if self._mark is None:
            return
        kn, words = self._mark
        if not low <= kn <= high:
            raise InputError(f"a mark at a Knudsen number of {kn:g} is beyond the curve", key="mark",
                             fix=f"choose one between {low:.3g} and {high:.3g}")  # fmt: skip
        axes.axvline(kn, color=self.palette.plum, linewidth=1.6 * self.line, linestyle=(0, (5, 3)), zorder=2)
        before = kn > math.sqrt(low * high)  # the axis runs from thin gas to dense
        axes.annotate(
            words, (kn, 0.0), xycoords=("data", "axes fraction"),
            xytext=(self.points(0.4 if before else -0.4), self.points(0.35)), textcoords="offset points",
            ha="left" if before else "right", va="bottom", color=self.palette.plum, fontsize=self.points(SMALL),
            fontweight="bold", zorder=6,
            bbox={"pad": 0.0, "facecolor": self.palette.paper, "edgecolor": "none", "alpha": 0.8},
        )  # fmt: skip

    def draw_words(self, words: str) -> None:
        """Write the footnote, or a few words without it."""
        x, y = self.layout.words
        if not self._footnote:
            self.text(x, y if not self.layout.noted else y - 0.9, SHORT_CAPTION, color=self.palette.soft,
                      size=1.0 if self.layout.noted else SMALL)  # fmt: skip
            return
        # Four lines fit under the picture; a long caption has smaller type.
        tight = len(textwrap.wrap(words, _CAPTION_SIGNS)) > _CAPTION_LINES
        size, signs = (0.89 * TINY, int(_CAPTION_SIGNS / 0.89)) if tight else (TINY, _CAPTION_SIGNS)
        for number, line in enumerate(textwrap.wrap(words, signs)):
            self.text(x, y - 0.95 * number, line, size=size, color=self.palette.soft)

    # ---- output

    def png(self, knudsen: float | None = None, *, effort: int = 3) -> bytes:
        """Return the picture at a Knudsen number as a PNG; the present one for None."""
        with self.lock:
            if knudsen is not None:
                self.show(knudsen)
            stream = io.BytesIO()
            Image.fromarray(self.frame()).convert("RGB").save(stream, format="PNG", compress_level=effort)
            return stream.getvalue()

    def svg(self, knudsen: float | None = None) -> str:
        """Return the picture at a Knudsen number as an SVG document; the present one for None."""
        with self.lock:
            if knudsen is not None:
                self.show(knudsen)
            named = rf'\1 role="img">\n <title>{escape(self.alt())}</title>'.replace("\\n", "\n")
            return re.sub(r"(<svg\b[^>]*)>", named, self._drawing(), count=1)

    def _drawing(self) -> str:
        dpi = self.figure.dpi
        try:
            with STYLE, our_style(self.palette, self.layout.size):
                self.figure.set_dpi(72)
                return svg_of(self.figure)
        finally:
            # Saving changes canvas and resolution.
            self.figure.set_canvas(self.canvas)
            self.figure.set_dpi(dpi)


def digits(value: float, number: int = 3) -> str:
    """Write a number with a fixed number of digits, three by default.

    Examples
    --------
    >>> digits(0.0024), digits(12.34), digits(-0.0000123), digits(10.0, 2)
    ('0.00240', '12.3', '−1.23·10⁻⁵', '10')
    """
    if value == 0.0 or 1e-4 <= abs(value) < 10**number:
        return f"{value:#.{number}g}".rstrip(".").replace("-", "−")
    mantissa, power = f"{value:.{number - 1}e}".split("e")
    raised = str(int(power)).translate(str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹"))
    return f"{mantissa}·10{raised}".replace("-", "−")


def plain(value: float) -> str:
    """Write a number with up to three digits, and a true minus sign."""
    return f"{value:.3g}".replace("-", "−")


def short_name(quantity: str) -> str:
    """Return the name of a quantity on a picture."""
    return quantity.replace("-", " ")


def arrow_heads(heads: Floats, size: float) -> Floats:
    """Return triangles with their tips ahead, shape (n, 3, 2), for places and directions of shape (n, 4)."""
    at, along = heads[:, None, :2], heads[:, None, 2:]
    side = along[..., ::-1] * np.array([-1.0, 1.0])
    shape = np.array([[0.62, 0.0], [-0.45, 0.40], [-0.45, -0.40]]) * size
    return np.asarray(at + shape[None, :, :1] * along + shape[None, :, 1:] * side)
