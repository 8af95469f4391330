"""The picture of a whole rotor from above: the gas about its vanes, the push along a vane, and torque or drag over Kn.

It shares its sheet, colours, lines and scale with the picture of a lone vane.
"""

from __future__ import annotations

import io
import tempfile
import textwrap
from collections.abc import Callable, Sequence
from dataclasses import replace
from html import escape
from pathlib import Path
from threading import RLock
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.figure import Figure
from matplotlib.patches import Circle, FancyArrowPatch, Polygon, Rectangle
from matplotlib.ticker import FixedLocator, NullLocator
from numpy.typing import NDArray
from PIL import Image
from scipy.interpolate import PchipInterpolator

from edgewind.errors import InputError, OutOfRangeError
from edgewind.report.figures.canvas import new_figure, our_style, plain_axes, plain_ticks, svg_of
from edgewind.report.film.colours import nice_limit, paint, root, scale_of
from edgewind.report.film.lines import Line, strokes
from edgewind.report.film.movie import Film, _code, check_film, check_timing, places
from edgewind.report.film.picture import (
    _CAPTION_SIGNS,
    _FIELD_BOTTOM,
    _FIELD_SIDE,
    _LEFT,
    _RIGHT,
    _RIGHT_END,
    _SMALL,
    _STYLE,
    _TINY,
    _arrow_heads,
    _digits,
    _plain,
    _short,
)
from edgewind.report.film.rotor_field import RotorField
from edgewind.report.film.sample import SampleGrid
from edgewind.report.film.series import _weights
from edgewind.report.film.still import STILLS, settle
from edgewind.report.film.words import QUANTITIES, SHEET, SHORT_CAPTION, SIZES, THEMES, choose

Floats = NDArray[np.float64]

TITLES = {
    "thermal": "Thin gas about a rotor whose trailing faces are warm, from above",
    "flow": "Thin gas that a rotor stirs, from above",
    "warm": "Thin gas about a rotor warmer than its chamber, from above",
}
_EFFECTS = {
    "thermal": ("torque", "τ/(N p₀ A R)", "ΔT/T₀", "push, trailing less leading"),
    "flow": ("drag torque", "τ/(N p₀ A R)", "ΩR/v₀", "push, leading less trailing"),
    "warm": ("heat loss of a face", "Q/(p₀ v₀ A)", "ΔT/T₀", "heat, both faces"),
}
# The vane has no thickness where it is computed; on the picture it needs one, in its own width.
_THICK = 0.07


def mixed(fields: Sequence[RotorField], knudsen: float) -> RotorField:
    """Return the field at a Knudsen number between those computed: a cubic in ln Kn.

    Raises
    ------
    OutOfRangeError
        It lies outside those computed.
    """
    every = sorted(fields, key=lambda field: field.knudsen)
    numbers = np.array([field.knudsen for field in every])
    if not numbers[0] * (1 - 1e-9) <= knudsen <= numbers[-1] * (1 + 1e-9):
        raise OutOfRangeError(
            f"a Knudsen number of {knudsen:g} lies outside what was computed",
            key="knudsen",
            fix=f"stay within {numbers[0]:g} and {numbers[-1]:g}, or compute more",
        )
    at, weights = _weights(np.log(numbers), float(np.log(np.clip(knudsen, numbers[0], numbers[-1]))))
    if at.size == 1:
        return every[int(at[0])]
    nodes = [every[int(place)] for place in at]
    # Grids differ with Kn: the stress is mixed on the places of the nearest field.
    nearest = nodes[int(np.argmax(weights))]
    stress = [np.interp(nearest.radii, node.radii, node.stress) for node in nodes]
    value = float(PchipInterpolator(np.log(numbers), [field.coefficient for field in every])(np.log(knudsen)))
    return replace(
        nearest,
        knudsen=knudsen,
        moments=np.asarray(sum(w * node.moments for w, node in zip(weights, nodes, strict=True))),
        stress=np.asarray(sum(w * one for w, one in zip(weights, stress, strict=True))),
        coefficient=value,
        error=max(node.error / abs(node.coefficient) for node in nodes) * abs(value),
    )


def _shown(field: RotorField, quantity: str) -> Floats:
    if quantity == "pressure":
        return field.moment("density") + field.moment("temperature")
    if quantity in ("speed", "heat-flux"):
        kind = QUANTITIES[quantity].lines
        return np.hypot(field.moment(f"{kind}_x"), field.moment(f"{kind}_y"))
    return field.moment(quantity)


class RotorPicture:
    """A picture of a rotor from above that can be moved to any Knudsen number between those computed.

    Parameters
    ----------
    fields : sequence of RotorField
        One rotor and drive, at one Knudsen number or more.
    quantity, theme, size : str
        Keys of `QUANTITIES`, `THEMES` and `SIZES`.
    footnote : bool
        Whether the caption of several lines stands under the picture; a few words otherwise.

    Raises
    ------
    InputError
        For a name that is not known, no fields, or fields of different rotors.
    """

    def __init__(
        self,
        fields: Sequence[RotorField],
        *,
        quantity: str = "temperature",
        theme: str = "light",
        size: str = "1080p",
        footnote: bool = True,
    ) -> None:
        if not fields:
            raise InputError("there is no gas to draw", key="knudsen", fix="give a Knudsen number or more")
        self.fields = tuple(sorted(fields, key=lambda field: field.knudsen))
        self.first = self.fields[0]
        if any(field.same != self.first.same for field in self.fields):
            raise InputError("these are answers of different rotors", fix="draw those of one rotor and drive together")
        self.quantity = choose(QUANTITIES, quantity, "quantity")
        self.name = next(name for name, known in QUANTITIES.items() if known is self.quantity)
        self.palette = choose(THEMES, theme, "theme")
        self._theme = next(name for name, known in THEMES.items() if known is self.palette)
        self.width, self.height = choose(SIZES, size, "size")
        top = nice_limit(max(float(np.nanmax(np.abs(_shown(field, self.name)))) for field in self.fields))
        self.limits: tuple[float, float] = (-top, top) if self.quantity.signed else (0.0, top)
        self._footnote = footnote
        self._moving: list[Artist] = []
        self.lock = RLock()
        with _STYLE, our_style(self.palette, SHEET):
            self.figure: Figure = new_figure(SHEET)
            self.figure.set_dpi(self.width / SHEET.width_in)
            self.canvas = FigureCanvasAgg(self.figure)
            self._draw_once()
        self.shown = self.show(self.fields[-1].knudsen)

    def _em(self, left: float, bottom: float, width: float, height: float) -> tuple[float, float, float, float]:
        return (left / SHEET.width_em, bottom / SHEET.height_em, width / SHEET.width_em, height / SHEET.height_em)

    def _text(self, x: float, y: float, words: str, *, size: float = 1.0, moving: bool = False, **how: Any) -> None:
        text = self.figure.text(
            x / SHEET.width_em, y / SHEET.height_em, words, fontsize=size * SHEET.type_pt,
            **({"color": self.palette.ink, "va": "baseline"} | how),
        )  # fmt: skip
        if moving:
            self._moving.append(text)

    def _draw_once(self) -> None:
        palette, line, first = self.palette, SHEET.line, self.first
        self._text(_LEFT, 32.7, TITLES[first.drive], size=1.3, fontweight="bold")
        half = 0.5 * first.room[0]
        axes = plain_axes(self.figure, self._em(_LEFT, _FIELD_BOTTOM, _FIELD_SIDE, _FIELD_SIDE))
        axes.set(xlim=(-1.02 * half, 1.02 * half), ylim=(-1.02 * half, 1.02 * half), xticks=[], yticks=[])
        axes.set(aspect="equal", anchor="W")
        self._field = axes
        edge: dict[str, Any] = {"fill": False, "edgecolor": palette.ink, "linewidth": 3.2 * line, "zorder": 6}
        wall = Circle((0, 0), half, **edge) if first.round else Rectangle((-half, -half), 2 * half, 2 * half, **edge)
        axes.add_patch(wall)
        self._draw_vanes()
        # A rule of one width in the lower left corner.
        x, y = -half, -0.97 * half
        axes.plot([x, x + 1.0], [y, y], color=palette.ink, linewidth=1.5 * line, marker="|", zorder=7)
        axes.text(x + 0.5, y + 0.02 * half, "width L", ha="center", va="bottom", color=palette.ink,
                  fontsize=_SMALL * SHEET.type_pt, zorder=7)  # fmt: skip
        self._draw_scale()
        self._draw_axes()
        if not self._footnote:
            self._text(_LEFT, 2.4, SHORT_CAPTION, color=palette.soft)
            return
        for number, words in enumerate(textwrap.wrap(self.caption(), _CAPTION_SIGNS)):
            self._text(_LEFT, 3.3 - 0.95 * number, words, size=_TINY, color=palette.soft)

    def _draw_vanes(self) -> None:
        """The vanes, thicker than they are, each face in its colour, and the sense of turning."""
        palette, first, axes = self.palette, self.first, self._field
        leading, trailing = {
            "thermal": (palette.blue, palette.rust), "flow": (palette.soft, palette.soft),
            "warm": (palette.rust, palette.rust),
        }[first.drive]  # fmt: skip
        root_, tip = first.arm - 0.5, first.arm + 0.5
        for number in range(first.vanes):
            angle = 2.0 * np.pi * number / first.vanes
            turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
            for low, high, colour in ((0.0, 0.5 * _THICK, leading), (-0.5 * _THICK, 0.0, trailing)):
                corners = np.array([[root_, low], [tip, low], [tip, high], [root_, high]])
                axes.add_patch(Polygon(corners @ turn, facecolor=colour, edgecolor=palette.paper,
                                       linewidth=0.6 * SHEET.line, zorder=4))  # fmt: skip
            if root_ > 0.0:
                arm = np.array([[0.0, 0.0], [root_, 0.0]]) @ turn
                axes.plot(*arm.T, color=palette.rule, linewidth=1.2 * SHEET.line, zorder=3.8)
        axes.plot([0.0], [0.0], "o", color=palette.ink, markersize=5 * SHEET.line, zorder=4.2)
        if first.drive != "warm":
            # Towards the leading faces: with the sense of mathematics, from x to y.
            reach = min(0.35, 0.6 * root_) if root_ > 0.1 else 0.35
            axes.add_patch(FancyArrowPatch(
                (reach, 0.12), (0.12, reach), connectionstyle="arc3,rad=0.35", arrowstyle="-|>",
                mutation_scale=1.1 * SHEET.type_pt, color=palette.ink, linewidth=1.8 * SHEET.line, zorder=5,
            ))  # fmt: skip

    def _draw_scale(self) -> None:
        palette = self.palette
        x = _LEFT + _FIELD_SIDE + 0.9
        axes = plain_axes(self.figure, self._em(x, _FIELD_BOTTOM + 1.2, 0.85, _FIELD_SIDE - 5.2))
        signed = self.quantity.signed
        axes.imshow(scale_of(signed=signed, theme=self._theme)[:, None, :], extent=(0, 1, -1 if signed else 0, 1),
                    origin="lower", aspect="auto", interpolation="nearest")  # fmt: skip
        high = self.limits[1]
        marks = high * (np.linspace(-1.0, 1.0, 5) if signed else np.array([0.0, 0.1, 0.3, 0.6, 1.0]))
        axes.set(xticks=[], ylim=(-1.0 if signed else 0.0, 1.0))
        axes.yaxis.tick_right()
        axes.yaxis.set_major_locator(FixedLocator((marks / high if signed else root(marks / high)).tolist()))
        axes.set_yticklabels([("+" if signed and mark > 0 else "") + _plain(float(mark)) for mark in marks])
        axes.tick_params(axis="y", labelsize=_SMALL * SHEET.type_pt, length=0.25 * SHEET.type_pt, colors=palette.rule,
                         labelcolor=palette.ink)  # fmt: skip
        self._text(x, _FIELD_BOTTOM + _FIELD_SIDE - 0.75, _short(self.name), size=_SMALL, fontweight="bold")
        self._text(x, _FIELD_BOTTOM + _FIELD_SIDE - 2.0, self.quantity.unit, size=_SMALL)
        self._text(x, _FIELD_BOTTOM + _FIELD_SIDE - 3.2, f"per {_EFFECTS[self.first.drive][2]}", size=_SMALL,
                   color=palette.soft)  # fmt: skip

    def _draw_axes(self) -> None:
        """What stays of the two curves: the push along the face and the coefficient over Kn."""
        palette, line = self.palette, SHEET.line
        effect, unit, per, along = _EFFECTS[self.first.drive]
        self._text(_RIGHT, 24.6, f"Along a vane: {along}", size=_SMALL, fontweight="bold")
        self._stress = plain_axes(self.figure, self._em(_RIGHT + 3.6, 18.0, _RIGHT_END - _RIGHT - 3.9, 5.6),
                                  spines=("bottom",))  # fmt: skip
        low, high = self.first.arm - 0.5, self.first.arm + 0.5
        curves = [self._push(field) for field in self.fields]
        top = nice_limit(1.02 * max(float(curve.max()) for curve in curves))
        bottom = min(0.0, *(float(curve.min()) for curve in curves))
        self._stress.set(xlim=(low, high), ylim=(1.05 * bottom, top), yticks=[0.0, 0.5 * top, top])
        self._stress.set_yticklabels(["0", _plain(0.5 * top), _plain(top)])
        self._stress.grid(axis="y", color=palette.grid, linewidth=line)
        self._stress.set_xticks([low, self.first.arm, high])
        self._stress.set_xticklabels([f"inner edge, {low:g} L", "middle", f"outer edge, {high:g} L"])
        self._stress.tick_params(labelsize=_SMALL * SHEET.type_pt)
        for label, side in zip(self._stress.get_xticklabels(), ("left", "center", "right"), strict=True):
            label.set(horizontalalignment=side)
        self._text(_RIGHT, 14.2, f"{effect.capitalize()} {unit} per {per}", size=_SMALL, fontweight="bold")
        self._curve = plain_axes(self.figure, self._em(_RIGHT + 3.6, 7.0, _RIGHT_END - _RIGHT - 3.9, 6.0),
                                 spines=("bottom",))  # fmt: skip
        numbers = np.array([field.knudsen for field in self.fields])
        values = np.array([field.coefficient for field in self.fields])
        errors = np.nan_to_num([field.error for field in self.fields])
        if numbers.size > 1:
            kn = np.geomspace(numbers[0], numbers[-1], 200)
            self._curve.plot(kn, PchipInterpolator(np.log(numbers), values)(np.log(kn)), color=palette.blue,
                             linewidth=2.2 * line)  # fmt: skip
        self._curve.errorbar(numbers, values, errors, fmt="o", color=palette.blue, markersize=2.6 * line,
                             elinewidth=line)  # fmt: skip
        top = nice_limit(1.1 * float(np.max(values + errors)))
        ends = (numbers[-1] * 1.2, numbers[0] / 1.2) if numbers.size > 1 else (numbers[0] * 3.0, numbers[0] / 3.0)
        self._curve.set(xscale="log", xlim=ends, ylim=(0.0, top), yticks=[0.0, 0.5 * top, top])
        self._curve.set_yticklabels(["0", _plain(0.5 * top), _plain(top)])
        ticks = [tick for tick in (0.01, 0.1, 1.0, 10.0, 100.0) if ends[1] <= tick <= ends[0]] or [float(numbers[0])]
        self._curve.xaxis.set_major_locator(FixedLocator(ticks))
        self._curve.xaxis.set_minor_locator(NullLocator())
        plain_ticks(self._curve.xaxis)
        self._curve.grid(axis="y", color=palette.grid, linewidth=line)
        self._curve.set_axisbelow(True)
        self._curve.tick_params(labelsize=_SMALL * SHEET.type_pt)
        self._text(_RIGHT + 3.6, 4.55, "thin gas", size=_SMALL, color=palette.soft)
        self._text(_RIGHT_END - 0.3, 4.55, "dense gas", size=_SMALL, color=palette.soft, ha="right")
        self._text(0.5 * (_RIGHT + 3.3 + _RIGHT_END), 4.55, "Knudsen number Kn", size=_SMALL, ha="center")

    def _push(self, field: RotorField) -> Floats:
        return -field.stress if field.drive == "flow" else field.stress

    def caption(self) -> str:
        """Return what must stand under the picture: what was computed, and what colours and strokes mean."""
        first = self.first
        size = " × ".join(f"{side:g}" for side in ((first.room[0],) * (1 if first.round else 2) + first.room[1:]))
        chamber = f"a cylinder of {size}\u00a0L" if first.round else f"a box of {size}\u00a0L"
        vanes = "1 vane" if first.vanes == 1 else f"{first.vanes} vanes"
        high = "square" if first.aspect == 1.0 else f"{first.aspect:g} L high"
        worst = max(field.error / abs(field.coefficient) for field in self.fields)
        within = f"; {_EFFECTS[first.drive][0]} within {100 * worst:.1g} %" if worst >= 0.0 else ""
        per = _EFFECTS[first.drive][2]
        stroke = "heat" if self.quantity.lines == "heat_flux" else "gas"
        walls = "" if first.accommodation == 1.0 else f", accommodation of the faces {first.accommodation:g}"
        return (
            f"Computed, not measured: linear response of a monatomic gas (Shakhov model) about {vanes} ({high}), "
            f"{first.arm:g} L from the axis to their middle, in {chamber} with diffuse walls{walls}{within}. "
            f"Plane through the middle of the vanes; the push is the mean over their height. "
            f"Every value is per {per}: multiply by yours. Each stroke follows "
            f"the {stroke}. Vanes are drawn thicker than they are; arms and axis are not computed. "
            f"p₀, T₀, n₀: the gas at rest; v₀ = √(2kT₀/m)."
        )

    def show(self, knudsen: float) -> RotorField:
        """Move the picture to a Knudsen number, and return the field there."""
        with self.lock, _STYLE, our_style(self.palette, SHEET):
            field = mixed(self.fields, knudsen)
            for artist in self._moving:
                artist.remove()
            self._moving = []
            self._show_field(field)
            self._show_numbers(field)
            self.shown = field
            return field

    def _show_field(self, field: RotorField) -> None:
        axes, half, line = self._field, 0.5 * field.room[0], SHEET.line
        values = _shown(field, self.name)
        colours = paint(np.nan_to_num(values), self.limits, signed=self.quantity.signed, theme=self._theme)
        alpha = np.where(np.isnan(values), 0, 255).astype(np.uint8)
        image = np.concatenate([colours, alpha[..., None]], axis=-1).transpose(1, 0, 2)
        self._moving.append(
            axes.imshow(image, extent=(-half, half, -half, half), origin="lower", interpolation="bilinear", zorder=1)
        )
        axes.set(xlim=(-1.02 * half, 1.02 * half), ylim=(-1.02 * half, 1.02 * half))
        lines = self._lines(field)
        segments = LineCollection([one.points for one in lines], colors=self.palette.ink, linewidths=1.15 * line,
                                  alpha=0.62, zorder=2, capstyle="round")  # fmt: skip
        heads = np.concatenate([one.heads for one in lines]) if lines else np.empty((0, 4))
        points = PolyCollection(list(_arrow_heads(heads, 0.011 * field.room[0])), facecolors=self.palette.ink,
                                edgecolors="none", alpha=0.85, zorder=3)  # fmt: skip
        for collection in (segments, points):
            axes.add_collection(collection, autolim=False)
            self._moving.append(collection)

    def _lines(self, field: RotorField) -> list[Line]:
        at, kind = field.places, self.quantity.lines
        above = at > 0.0
        flow = [np.nan_to_num(field.moment(f"{kind}_{a}")[:, above]).T.astype(np.float32) for a in "xy"]
        half = strokes((flow[0], flow[1]), SampleGrid(at, at[above]))
        if field.vanes == 1:
            return [*half, *(line.mirrored for line in half)] if field.parity > 0.0 else [
                *half, *(Line(line.mirrored.points, line.mirrored.heads * [1, 1, -1, -1], False) for line in half)
            ]  # fmt: skip
        return [*half, *(Line(-line.points, -line.heads, False) for line in half)]

    def _show_numbers(self, field: RotorField) -> None:
        palette, line = self.palette, SHEET.line
        effect, unit, per, _ = _EFFECTS[field.drive]
        self._text(_RIGHT, 30.0, f"Kn {_digits(field.knudsen, 2)}", size=2.3, fontweight="bold", moving=True)
        self._text(_RIGHT, 28.25, f"Mean free path {_digits(field.knudsen, 2)} L, L the width of a vane", moving=True)
        value = f"{effect.capitalize()} {unit} = {_digits(field.coefficient)} per {per}"
        self._text(_RIGHT, 26.75, value, moving=True)
        push = self._push(field)
        self._moving += self._stress.plot(field.radii, push, color=palette.ink, linewidth=1.6 * line)
        self._moving.append(
            self._stress.fill_between(field.radii, 0.0, push, color=palette.moss, alpha=0.45, linewidth=0.0)
        )
        self._moving += self._curve.plot([field.knudsen] * 2, [0.0, field.coefficient], color=palette.rule,
                                         linewidth=1.2 * line, zorder=3)  # fmt: skip
        self._moving += self._curve.plot([field.knudsen], [field.coefficient], "o", color=palette.rust, zorder=5,
                                         markersize=8.5 * line, markeredgecolor=palette.paper)  # fmt: skip

    def frame(self) -> NDArray[np.uint8]:
        """Return the picture as it stands, shape (height, width, 4)."""
        with self.lock:
            self.canvas.draw()  # type: ignore[no-untyped-call]
            return np.asarray(self.canvas.buffer_rgba())  # type: ignore[no-untyped-call]

    def png(self, knudsen: float | None = None, *, effort: int = 3) -> bytes:
        """Return the picture at a Knudsen number as a PNG; as it stands where None is given."""
        with self.lock:
            if knudsen is not None:
                self.show(knudsen)
            stream = io.BytesIO()
            Image.fromarray(self.frame()).convert("RGB").save(stream, format="PNG", compress_level=effort)
            return stream.getvalue()

    def svg(self, knudsen: float | None = None) -> str:
        """Return the picture at a Knudsen number as an SVG document; as it stands where None is given."""
        with self.lock:
            if knudsen is not None:
                self.show(knudsen)
            dpi = self.figure.dpi
            try:
                with _STYLE, our_style(self.palette, SHEET):
                    self.figure.set_dpi(72)
                    drawing = svg_of(self.figure)
            finally:
                self.figure.set_canvas(self.canvas)
                self.figure.set_dpi(dpi)
            head, rest = drawing.split("<svg", 1)
            attributes, body = rest.split(">", 1)
            return f'{head}<svg{attributes} role="img">\n <title>{escape(self.alt())}</title>{body}'

    def alt(self) -> str:
        """Return in words what the picture shows, for those who cannot see it."""
        field = self.shown
        effect, unit, per, _ = _EFFECTS[field.drive]
        vanes = "one vane" if field.vanes == 1 else f"{field.vanes} vanes"
        return (
            f"{TITLES[field.drive]}: {vanes} in a closed chamber at a Knudsen number of {_digits(field.knudsen)}, "
            f"{_short(self.name)} of the gas as colours, strokes along its flow. "
            f"{effect.capitalize()} {unit} {_digits(field.coefficient)} per {per}."
        )


def rotor_still(
    fields: Sequence[RotorField],
    kind: str = "png",
    *,
    knudsen: float | None = None,
    quantity: str = "temperature",
    theme: str = "light",
    size: str = "1080p",
    footnote: bool = True,
) -> bytes:
    """Return a picture of a rotor from above as the bytes of a PNG or SVG.

    Parameters
    ----------
    fields, quantity, theme, size, footnote
        As for `RotorPicture`.
    kind : str
        ``png`` or ``svg``.
    knudsen : float, optional
        Where among the fields; the greatest where absent.
    """
    known = choose({name: name for name in STILLS}, kind.removeprefix("."), "kind")
    picture = RotorPicture(fields, quantity=quantity, theme=theme, size=size, footnote=footnote)
    return picture.svg(knudsen).encode() if known == "svg" else picture.png(knudsen, effort=6)


def make_rotor_film(
    path: str | Path,
    fields: Sequence[RotorField],
    *,
    quantity: str = "temperature",
    theme: str = "dark",
    size: str = "1080p",
    seconds: float = 12.0,
    fps: int = 30,
    dense_first: bool = False,
    footnote: bool = True,
    replace: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> Film:
    """Draw a film of a rotor from above over the Knudsen number and write it as an MP4.

    Parameters
    ----------
    path : path
        Where to, ending in ``.mp4``.
    fields, quantity, theme, size, footnote
        As for `RotorPicture`; fields at two Knudsen numbers or more.
    seconds, fps : float, int
        Duration and frames a second.
    dense_first : bool
        Whether it runs from dense gas to thin.
    replace : bool
        Whether a file that exists may be replaced.
    progress : callable, optional
        Called with the frames done and the frames in all.

    Raises
    ------
    InputError
        As for `make_film`.
    """
    frames = check_timing(seconds, fps)
    path = check_film(path, [field.knudsen for field in fields], seconds=seconds, fps=fps, replace=replace)
    picture = RotorPicture(fields, quantity=quantity, theme=theme, size=size, footnote=footnote)
    first, last = (picture.fields[place].knudsen for place in ((0, -1) if dense_first else (-1, 0)))
    with tempfile.NamedTemporaryFile(dir=path.parent, prefix=".", suffix=".mp4", delete=False) as handle:
        part = Path(handle.name)

    def drawn() -> Any:
        shown: float | None = None
        for knudsen in places(first, last, frames):
            if knudsen != shown:
                picture.show(float(knudsen))
                image = picture.frame()
            shown = float(knudsen)
            yield image

    try:
        _code(part, drawn(), (picture.width, picture.height), fps, frames, progress)
        settle(part, path, replace=replace)
    finally:
        part.unlink(missing_ok=True)
    return Film(path, frames, fps, picture.width, picture.height, first, last, path.stat().st_size)
