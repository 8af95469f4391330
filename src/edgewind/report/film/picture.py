"""The picture: the gas with its flow lines, the load along the face, and the place on the curve.

A figure is drawn once; for each Knudsen number only the changing parts are drawn again, over a copy of the rest.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.patches import FancyArrowPatch, Rectangle
from matplotlib.patheffects import withStroke
from matplotlib.text import Text
from matplotlib.ticker import FixedLocator
from numpy.typing import NDArray
from PIL import Image
from scipy.optimize import minimize_scalar

from edgewind.report.figures.canvas import plain_axes
from edgewind.report.film.colours import nice_limit, paint
from edgewind.report.film.lines import LINES, Line, level_lines, strokes
from edgewind.report.film.sample import STRESS_POINTS
from edgewind.report.film.series import FieldFrame, GasSeries
from edgewind.report.film.sheet import SMALL, GasSheet, arrow_heads, digits, short_name
from edgewind.report.film.specks import Specks
from edgewind.report.film.words import DRIVES, QUANTITIES, Mark

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes

    from edgewind.report.film.field import GasField

Floats = NDArray[np.float64]

# The computed vane has no thickness; on the picture it has this one, in its own width.
_THICK = 0.05
_CURVE_POINTS = 240
_HALO = "words-on-the-gas"


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %".replace("-", "−")


class GasPicture(GasSheet):
    """A picture of a series of fields that can be moved to any Knudsen number within it.

    Parameters
    ----------
    series : GasSeries or GasField
        What is shown.
    quantity : str
        A key of `QUANTITIES`.
    theme : str
        ``light`` or ``dark``.
    size : str
        A key of `SIZES`.
    specks : bool
        Whether specks of gas are shown, so that the caption mentions them.
    footnote : bool
        Whether the caption of four lines is under the picture; otherwise a few words.
    mark : Mark, optional
        A place to mark on the curve.

    Raises
    ------
    InputError
        An unknown name.
    """

    def __init__(
        self,
        series: GasSeries | GasField,
        *,
        quantity: str = "temperature",
        theme: str = "light",
        size: str = "1080p",
        specks: bool = False,
        footnote: bool = True,
        mark: Mark | None = None,
    ) -> None:
        self.series = series if isinstance(series, GasSeries) else GasSeries([series])
        super().__init__(quantity, theme, size, footnote, mark)
        # Specks need velocity, and only round a strip does the gas stay in this plane.
        self.specks = specks and self.series.flat and self.quantity.lines == "velocity"
        self.drive = DRIVES[self.series.first.drive]
        top = nice_limit(self.series.largest(self.name))
        self.limits: tuple[float, float] = (-top, top) if self.quantity.signed else (0.0, top)
        self._moving: list[tuple[Axes | None, Artist]] = []
        self._background: Any = None
        self._order: list[tuple[Axes | None, Artist]] = []
        self._shown: float | None = None
        self._last: tuple[FieldFrame, list[Line]] | None = None
        self.draw()
        self.show(self.series.high)

    # ---- what is drawn once

    def _move(self, axes: Axes | None, artist: Artist) -> Any:
        self._moving.append((axes, artist))
        return artist

    def _draw_once(self) -> None:
        self.draw_title(self.drive.title)
        self._draw_field()
        self.draw_scale(self.limits, self.drive.per)
        self._draw_readout()
        if self.layout.stress is not None:
            self._draw_stress(*self.layout.stress)
        self._draw_curve()
        self.draw_words(caption(self.series, self.name, specks=self.specks))
        for _, artist in self._moving:
            artist.set_animated(True)

    def _draw_field(self) -> None:
        first, sheet, palette = self.series.first, self.series.sheet, self.palette
        axes = self.field_axes()
        self._field = axes
        x0, x1, y1 = float(first.x[0]), float(first.x[-1]), float(first.y[-1])
        axes.set(xlim=(x0, x1), ylim=(-y1, y1), xticks=[], yticks=[], aspect="equal", anchor="W")
        axes.set_facecolor(palette.grid)
        empty = np.zeros((2 * sheet.y.size, sheet.x.size, 3), dtype=np.uint8)
        self._image = self._move(
            axes, axes.imshow(empty, extent=(x0, x1, -y1, y1), interpolation="bilinear", origin="lower", zorder=1)
        )
        axes.set(xlim=(x0, x1), ylim=(-y1, y1), aspect="equal", anchor="W")
        line = self.line
        self._lines = self._move(
            axes, LineCollection([], colors=palette.ink, linewidths=1.15 * line, alpha=0.62, zorder=2, capstyle="round")
        )
        self._heads = self._move(
            axes, PolyCollection([], facecolors=palette.ink, edgecolors="none", alpha=0.85, zorder=3)
        )
        self._dots = self._move(
            axes,
            PolyCollection([], facecolors=palette.paper, edgecolors=palette.ink, zorder=3.5, linewidths=0.9 * line),
        )
        for collection in (self._lines, self._heads, self._dots):
            axes.add_collection(collection, autolim=False)
        self._dots.set_visible(False)
        self._draw_vane(axes, first, max(x1 - x0, 2 * y1) / 4.0)
        # The walls of the room, above anything that extends over them.
        self._move(axes, axes.add_patch(Rectangle((x0, -y1), x1 - x0, 2 * y1, fill=False, edgecolor=palette.ink,
                                                  linewidth=3.2 * line, zorder=6, joinstyle="miter")))  # fmt: skip

    def _draw_vane(self, axes: Axes, first: GasField, unit: float) -> None:
        """Draw the vane, thicker than it is, with the names of its faces, and a ruler of its width."""
        palette, line = self.palette, self.line
        right, left = {
            "thermal": (palette.rust, palette.blue), "flow": (palette.soft, palette.soft),
            "warm": (palette.rust, palette.rust),
        }[first.drive]  # fmt: skip
        thick = _THICK * unit
        for start, colour in ((0.0, right), (-0.5 * thick, left)):
            half = Rectangle((start, -first.edge), 0.5 * thick, 2 * first.edge)
            half.set(facecolor=colour, edgecolor="none", zorder=4)
            self._move(axes, axes.add_patch(half))
        outline = Rectangle((-0.5 * thick, -first.edge), thick, 2 * first.edge, fill=False)
        outline.set(edgecolor=palette.paper, linewidth=0.9 * line, zorder=4.1)
        self._move(axes, axes.add_patch(outline))
        halo = [withStroke(linewidth=3.6 * line, foreground=palette.paper, alpha=0.85)]
        how: dict[str, Any] = {"fontsize": self.points(0.95), "va": "center", "zorder": 5, "path_effects": halo,
                               "fontweight": "bold"}  # fmt: skip
        ink = {"thermal": (palette.rust, palette.blue), "flow": (palette.ink, palette.ink),
               "warm": (palette.rust, palette.rust)}[first.drive]  # fmt: skip
        gap = 0.09 * unit
        for place, words, colour, side in ((gap, self.drive.faces[0], ink[0], "left"),
                                           (-gap, self.drive.faces[1], ink[1], "right")):  # fmt: skip
            self._move(axes, axes.text(place, 0.0, words, color=colour, ha=side, **how))
        if first.drive == "flow":
            arrow = FancyArrowPatch((0.1 * unit, 0.16 * unit), (0.5 * unit, 0.16 * unit), arrowstyle="-|>",
                                    mutation_scale=self.points(1.1), color=palette.ink, linewidth=2.2 * line,
                                    zorder=5)  # fmt: skip
            self._move(axes, axes.add_patch(arrow))
        # A ruler of one width in the lower left corner.
        x, y = first.x[0] + 0.14 * unit, -first.y[-1] + 0.15 * unit
        tick = 0.035 * unit
        self._move(
            axes, axes.plot([x, x, x, x + 1, x + 1, x + 1], [y - tick, y + tick, y, y, y - tick, y + tick],
                            color=palette.ink, linewidth=1.5 * line, zorder=5, path_effects=halo,
                            solid_capstyle="butt", solid_joinstyle="miter")[0],
        )  # fmt: skip
        self._move(axes, axes.text(x + 0.5, y + 0.05 * unit, "width L", ha="center", va="bottom", color=palette.ink,
                                   fontsize=self.points(SMALL), zorder=5, path_effects=halo))  # fmt: skip

    def _draw_readout(self) -> None:
        layout, palette = self.layout, self.palette
        wide = layout.stress is not None
        self._kn = self._move(None, self.text(*layout.kn, "", size=2.3, fontweight="bold"))
        self._path = self._move(None, self.text(*layout.path, "", size=1.0 if wide else SMALL))
        self._value = self._move(None, self.text(*layout.value, "", size=1.0 if wide else 0.95))
        # Beside the load along the face, or under the effect.
        if wide:
            x, rows, gap, size = 52.9, (22.9, 19.4), 1.8, 1.5
        else:
            x, rows, gap, size = layout.value[0], (layout.value[1] - 1.4,) * 2, 0.0, SMALL
        shares = []
        for number, (words, colour, y) in enumerate(zip(("area", "edge"), (palette.moss, palette.plum), rows,
                                                        strict=True)):  # fmt: skip
            how: dict[str, Any] = {"color": colour, "fontweight": "bold"}
            at = x if wide else x + 7.5 * number
            self.text(at, y, words, size=SMALL, **how)
            shares.append(self._move(None, self.text(at if wide else at + 2.9, y - gap, "", size=size, **how)))
        self._area, self._edge = shares

    def _draw_stress(self, left: float, bottom: float, width: float, height: float) -> None:
        palette, line = self.palette, self.line
        self.text(left - 3.6, bottom + height + 0.9, f"Along the face: {self.drive.along}", size=SMALL,
                  fontweight="bold")  # fmt: skip
        axes = plain_axes(self.figure, self.em(left, bottom, 13.0, height))
        edge = self.series.first.edge
        axes.set(xlim=(0, 1), ylim=(-1.04 * edge, 1.04 * edge), xticks=[], yticks=[])
        right = {"thermal": palette.rust, "warm": palette.rust}.get(self.series.first.drive, palette.soft)
        axes.add_patch(Rectangle((-0.022, -edge), 0.02, 2 * edge, facecolor=right, edgecolor="none", clip_on=False))
        for place, words in ((edge, "edge"), (0.0, "middle"), (-edge, "edge")):
            label = axes.text(-0.045, place, words, ha="right", va="center", color=palette.soft)
            label.set_fontsize(self.points(SMALL))
        nothing = [np.zeros((3, 2))]
        self._edge_part, self._area_part = (
            PolyCollection(nothing, facecolors=colour, edgecolors="none", alpha=0.8)
            for colour in (palette.plum, palette.moss)
        )
        for part in (self._edge_part, self._area_part):
            axes.add_collection(part, autolim=False)
            self._move(axes, part)
        self._profile = self._move(axes, axes.plot([], [], color=palette.ink, linewidth=1.6 * line)[0])
        self._mean_line = self._move(
            axes, axes.plot([], [], color=palette.ink, linewidth=1.1 * line, linestyle=(0, (4, 3)))[0]
        )
        self._mean_words = self._move(
            axes, axes.text(0, -1.12 * edge, "mean", ha="center", va="top", fontsize=self.points(SMALL),
                            color=palette.soft)
        )  # fmt: skip

    def _draw_curve(self) -> None:
        """Draw the effect against the Knudsen number, thin gas to the left as on a pressure axis."""
        palette, line, series = self.palette, self.line, self.series
        kept = "temperatures" if self.drive.per.startswith("Δ") else "velocity"
        low, high = series.span
        knudsen = np.geomspace(low, high, _CURVE_POINTS)
        effect = series.curve(knudsen) / knudsen
        nodes = np.array([field.coefficient for field in series.fields]) / series.knudsen
        errors = np.array([field.error for field in series.fields]) / series.knudsen
        if high < 1.2 * low:
            low, high = low / 2, high * 2
        top = nice_limit(1.3 * float(effect.max()))
        heading, under = f"{self.drive.effect.capitalize()} as gas is let in", f"{self.drive.unit} per {self.drive.per}"
        axes = self.curve_axes(heading, f"{under}, {kept} held", low / 1.12, high * 1.12, top)
        axes.plot(knudsen, effect, color=palette.blue, linewidth=2.2 * line, solid_capstyle="round")
        axes.errorbar(series.knudsen, nodes, np.nan_to_num(errors), fmt="o", color=palette.blue, markersize=2.6 * line,
                      elinewidth=line)  # fmt: skip
        ticks = [tick for tick in (0.01, 0.1, 1.0, 10.0, 100.0) if low / 1.12 <= tick <= high * 1.12]
        if len(ticks) < 2:
            ticks = [low, high] if series.knudsen.size > 1 else [series.low]
        axes.xaxis.set_major_locator(FixedLocator(ticks))
        self._draw_peak(axes, effect, knudsen, top)
        self._here = self._move(axes, axes.plot([], [], color=palette.rule, linewidth=1.2 * line, zorder=3)[0])
        self._dot = self._move(
            axes, axes.plot([], [], "o", color=palette.rust, markersize=8.5 * line, markeredgecolor=palette.paper,
                            markeredgewidth=1.4 * line, zorder=5, clip_on=False)[0]
        )  # fmt: skip

    def _draw_peak(self, axes: Axes, effect: Floats, knudsen: Floats, top: float) -> None:
        """Mark the greatest value, if it lies inside."""
        best = int(np.argmax(effect))
        if not 3 < best < effect.size - 4:
            return
        found = minimize_scalar(
            lambda place: -float(self.series.curve(np.exp(np.array(place)))) / float(np.exp(place)),
            bounds=(np.log(knudsen[best - 2]), np.log(knudsen[best + 2])), method="bounded",
        )  # fmt: skip
        kn = float(np.exp(found.x))
        axes.plot([kn, kn], [0.0, -found.fun], color=self.palette.gold, linewidth=1.6 * self.line, zorder=1.5)
        self.peak = kn
        # Centred over the peak, but for a peak near an end.
        share = axes.transLimits.transform(axes.transScale.transform((kn, 0.0)))[0]
        side = "right" if share > 0.78 else "left" if share < 0.22 else "center"
        label = axes.annotate(
            f"greatest at Kn {kn:.2g}", (kn, -found.fun), xytext=(0.0, self.points(0.62)),
            textcoords="offset points", ha=side, va="bottom", color=self.palette.gold_ink,
        )  # fmt: skip
        label.set(fontsize=self.points(SMALL), fontweight="bold")

    # ---- what changes

    @property
    def moving(self) -> list[Artist]:
        """Artists that change from one Knudsen number to the next."""
        return [artist for _, artist in self._moving]

    def show(self, knudsen: float | FieldFrame | None = None, dots: Floats | None = None) -> FieldFrame:
        """Move the picture to a Knudsen number.

        Parameters
        ----------
        knudsen : float or FieldFrame, optional
            Within the series, default its lowest; or the frame of the series at it.
        dots : array of shape (n, 2), optional
            Places of specks of gas, upper half.
        """
        with self.lock:
            moment = knudsen if isinstance(knudsen, FieldFrame) else self.series.at(knudsen, self.name)
            self._set_field(moment, dots)
            self._set_shares(moment)
            if self.layout.stress is not None:
                self._set_stress(moment)
            self._set_readout(moment)
            self._shown = moment.knudsen
            return moment

    def lines_of(self, moment: FieldFrame) -> list[Line]:
        """Return the lines at a moment, upper half."""
        if self._last is None or self._last[0] is not moment:
            self._last = (moment, self._find_lines(moment))
        return self._last[1]

    def _find_lines(self, moment: FieldFrame) -> list[Line]:
        sheet = self.series.sheet
        if moment.stream is not None:
            return level_lines(moment.stream, sheet, edge=self.series.first.edge)
        assert moment.flow is not None
        return strokes(moment.flow, sheet)

    def _set_field(self, moment: FieldFrame, dots: Floats | None) -> None:
        first = self.series.first
        colours = paint(moment.values, self.limits, signed=self.quantity.signed, theme=self.theme)
        self._image.set_data(np.concatenate([colours[::-1], colours]))
        half = self.lines_of(moment)
        lines = [*half, *(line.mirrored for line in half)]
        self._lines.set_segments([line.points for line in lines])
        heads = np.concatenate([line.heads for line in lines]) if lines else np.empty((0, 4))
        size = max(first.x[-1] - first.x[0], 2 * first.y[-1]) * (0.0155 if moment.stream is not None else 0.011)
        self._heads.set_verts(list(arrow_heads(heads, size)))
        self._dots.set_visible(dots is not None)
        if dots is not None:
            both = np.concatenate([dots, dots * np.array([1.0, -1.0])])
            angle = np.linspace(0.0, 2 * np.pi, 15)[:-1]
            disc = 0.0052 * (first.x[-1] - first.x[0]) * np.stack([np.cos(angle), np.sin(angle)], axis=1)
            self._dots.set_verts(list(both[:, None, :] + disc))

    def _set_stress(self, moment: FieldFrame) -> None:
        edge = self.series.first.edge
        mean = moment.mean
        lively = abs(mean) > 1e-12
        profile = moment.stress / mean if lively else np.zeros(STRESS_POINTS)
        most = max(1.0, float(profile.max()))
        profile = profile / (1.12 * most)
        y = edge * (np.arange(STRESS_POINTS) + 0.5) / STRESS_POINTS
        y = np.concatenate([[0.0], y, [edge]])
        profile = np.concatenate([profile[:1], profile, profile[-1:]])
        middle = float(profile[0])
        whole_y, whole = np.concatenate([-y[::-1], y]), np.concatenate([profile[::-1], profile])
        self._area_part.set_verts([np.array([[0, -edge], [middle, -edge], [middle, edge], [0, edge]])])
        outline = np.stack([whole, whole_y], axis=1)
        self._edge_part.set_verts([np.concatenate([outline, [[middle, edge], [middle, -edge]]])])
        self._profile.set_data(whole, whole_y)
        one = 1.0 / (1.12 * most) if lively else 0.0
        self._mean_line.set_data([one, one], [-1.04 * edge, 1.04 * edge])
        # clear of the label at the edge
        self._mean_words.set_x(max(one, 0.26))
        self._mean_words.set_text(f"mean {digits(moment.coefficient)}" if lively else "no net push")

    def _set_shares(self, moment: FieldFrame) -> None:
        lively = abs(moment.mean) > 1e-12
        self._area.set_text(_percent(moment.area_share) if lively else "–")
        self._edge.set_text(_percent(1.0 - moment.area_share) if lively else "–")

    def _set_readout(self, moment: FieldFrame) -> None:
        kn = moment.knudsen
        self._kn.set_text(f"Kn {digits(kn, 2)}")
        between = "\n" if self.layout.stress is None else " "
        self._path.set_text(f"Mean free path {digits(kn, 2)} L,{between}L the width of the vane")
        lead = self.drive.effect.capitalize()
        unit = "Q/(p₀ v₀ A)" if self.drive.acts == "heat" else "F/(p₀ A)"
        self._value.set_text(f"{lead} {unit} = {digits(moment.coefficient)} per {self.drive.per}")
        force = moment.coefficient / kn
        self._dot.set_data([kn], [force])
        self._here.set_data([kn, kn], [0.0, force])

    # ---- output

    def _paint_over(self) -> NDArray[np.uint8]:
        """Draw the changing parts over a copy of the rest; return the canvas itself, shape (height, width, 4)."""
        if self._background is None:
            self.canvas.draw()  # type: ignore[no-untyped-call]
            self._background = self.canvas.copy_from_bbox(self.figure.bbox)  # type: ignore[no-untyped-call]
            self._order = sorted(self._moving, key=lambda pair: pair[1].get_zorder())
        self.canvas.restore_region(self._background)  # type: ignore[no-untyped-call]
        buffer: NDArray[np.uint8] = np.asarray(self.canvas.buffer_rgba())  # type: ignore[no-untyped-call]
        self._lay_image(buffer)
        for axes, artist in self._order:
            if artist is self._image:
                continue
            if axes is None:
                self.figure.draw_artist(artist)
            else:
                axes.draw_artist(artist)
        return buffer

    def _lay_image(self, buffer: NDArray[np.uint8]) -> None:
        """Write the colours of the field directly to the canvas, under everything else, which is much faster."""
        box = self._field.bbox
        left, right = round(box.x0), round(box.x1)
        top, bottom = self.height - round(box.y1), self.height - round(box.y0)
        colours = Image.fromarray(np.asarray(self._image.get_array())[::-1])
        colours = colours.resize((right - left, bottom - top), Image.Resampling.BILINEAR)
        buffer[top:bottom, left:right, :3] = np.asarray(colours)

    def pixels(self) -> NDArray[np.uint8]:
        """Return the present picture, shape (height, width, 3)."""
        with self.lock:
            return self._paint_over()[..., :3].copy()

    def frame(self) -> NDArray[np.uint8]:
        """Return the present canvas itself, shape (height, width, 4): it changes with the next picture."""
        with self.lock:
            return self._paint_over()

    def frames(self, route: Floats, fps: int) -> Iterator[NDArray[np.uint8]]:
        """Yield the canvas at one Knudsen number after another, with drifting specks if shown."""
        drifting = Specks() if self.specks else None
        shown: float | None = None
        for knudsen in route:
            moment = self.series.at(float(knudsen), self.name)
            dots = drifting.step(self.lines_of(moment), moment, self.series.sheet, 1.0 / fps) if drifting else None
            if dots is not None or knudsen != shown:
                self.show(moment, dots)
            shown = float(knudsen)
            yield self.frame()

    @property
    def ends(self) -> tuple[float, float]:
        """Least and greatest Knudsen number."""
        return self.series.low, self.series.high

    def _drawing(self) -> str:
        """Draw the halo of text on the gas as text, not as outlines."""
        haloed = [artist for artist in self.moving if isinstance(artist, Text) and artist.get_path_effects()]
        kept = [text.get_path_effects() for text in haloed]
        try:
            for artist in self.moving:
                artist.set_animated(False)
            for text in haloed:
                text.set_path_effects([])
                text.set_gid(_HALO)
            drawing = super()._drawing()
        finally:
            for artist in self.moving:
                artist.set_animated(True)
            for text, effects in zip(haloed, kept, strict=True):
                text.set_path_effects(effects)
                text.set_gid(None)
            self._background = None
        halo = (
            f"paint-order: stroke; stroke: {self.palette.paper}; stroke-width: {3.6 * self.line:g}px; "
            "stroke-linejoin: round; "
        )
        return re.sub(
            rf'<g id="{_HALO}">(\s*(?:<!--.*?-->\s*)?<text style=")', lambda found: f"<g>{found[1]}{halo}", drawing
        )

    def alt(self) -> str:
        """Return the alternative text of the picture."""
        moment = self.series.at(self._shown, self.name)
        first = self.series.first
        return (
            f"{self.drive.title}, a {first.shape} in a closed room, at a Knudsen number of {digits(moment.knudsen)}: "
            f"{short_name(self.name)} of the gas as colours, with lines that {_followed(self.name)} follows. "
            f"{self.drive.effect.capitalize()} {digits(moment.coefficient)} per {self.drive.per}; "
            f"{_percent(moment.area_share)} of it from the area, {_percent(1 - moment.area_share)} from the edge. "
            f"Fastest: {digits(moment.fastest)}."
        )


def _followed(quantity: str) -> str:
    return "heat" if QUANTITIES[quantity].lines == "heat_flux" else "the gas"


def caption(series: GasSeries, quantity: str, *, specks: bool = False) -> str:
    """Return the caption of the picture: the computed case, the meaning of colours and lines, and the scaling."""
    first, words, known = series.first, DRIVES[series.first.drive], QUANTITIES[quantity]
    room = "\u00a0×\u00a0".join(f"{side:g}" for side in first.room)
    alphas = first.accommodation
    diffuse = (
        "all walls diffuse" if alphas == (1.0, 1.0, 1.0)
        else f"accommodation {alphas[0]:g} of all walls" if len(set(alphas)) == 1
        else f"accommodation {alphas[0]:g}, {alphas[1]:g} and {alphas[2]:g} of hot face, cold face and room"
    )  # fmt: skip
    place = "" if first.position == 0.5 else f", vane at {first.position:g} of its length"
    vane = "an endless strip of width L" if first.shape == "strip" else _vane(first)
    errors = [field.error / abs(field.coefficient) for field in series.fields if field.coefficient and field.error >= 0]
    within = f"; {words.effect} within {100 * max(errors):.1g} %" if errors else ""
    computed = (
        f"Computed, not measured: linear response of a monatomic gas (Shakhov model) round {vane} in a closed room of "
        f"{room}\u00a0L, {diffuse}{place}{within}."
    )
    who = "heat" if known.lines == "heat_flux" else "gas"
    lines = (
        (
            f"Between neighbouring lines flows {_part(LINES)} of the circulating gas."
            if known.lines == "velocity"
            else "Between neighbouring lines flows the same amount of heat."
        )
        if first.flat
        else f"Each stroke follows the {who} in the plane through the middle of the vane."
    )
    meant = {
        "thermal": "Every value is per ΔT/T₀ between the faces: multiply by yours.",
        "flow": "Every value is per U/v₀, U the vane's velocity and v₀ = √(2kT₀/m): multiply by yours.",
        "warm": "Every value is per ΔT/T₀ of the vane above its room: multiply by yours.",
    }[first.drive]
    roots = "" if known.signed else "The colours are linear in the square root."
    if specks:
        lines += " Specks drift as the gas does, fast where it is fast."
    acting = "heat" if words.acts == "heat" else "push"
    shares = f"Area: the result if the {acting} in the middle of the face acted on all of it; edge: the rest."
    return " ".join(
        (computed, meant, lines, "The vane is drawn thicker than it is.", shares,
         "p₁:\u00a0pressure at which the free path is L; p₀, T₀, n₀: the gas at rest.", roots)
    )  # fmt: skip


def _part(lines: int) -> str:
    return {10: "a tenth", 8: "an eighth", 12: "a twelfth"}.get(lines, f"1/{lines}")


def _vane(first: GasField) -> str:
    if first.shape == "diamond":
        return "a square of side L on its corner"
    if first.shape == "disc":
        return "a disc of diameter L"
    return "a square of side L" if first.shape == "square" else f"a rectangle {first.aspect:g} L high"
