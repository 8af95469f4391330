"""The picture of a whole rotor from above: the gas about its vanes, the pressure along a vane, and torque or drag over
Kn. Sheet, colours, lines and scale are those of the picture of a lone vane.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.patches import Circle, FancyArrowPatch, Polygon, Rectangle
from matplotlib.ticker import FixedLocator
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from edgewind.errors import InputError, OutOfRangeError
from edgewind.report.figures.canvas import our_style, plain_axes
from edgewind.report.film.colours import nice_limit, paint
from edgewind.report.film.lines import Line, strokes
from edgewind.report.film.rotor_field import ITERATED, RotorField
from edgewind.report.film.sample import SampleGrid, quantity_of
from edgewind.report.film.series import _weights
from edgewind.report.film.sheet import SMALL, STYLE, GasSheet, arrow_heads, digits, plain, short_name
from edgewind.report.film.words import Mark

if TYPE_CHECKING:
    from matplotlib.artist import Artist

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
# The computed vane has no thickness; on the picture it has this one, in its own width.
_THICK = 0.07


def mixed(fields: Sequence[RotorField], knudsen: float) -> RotorField:
    """Return the field at a Knudsen number between the computed ones: a cubic in ln Kn.

    Raises
    ------
    OutOfRangeError
        It lies outside the computed range.
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
    # Grids differ with Kn: the stress is interpolated on the places of the nearest field.
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


class RotorPicture(GasSheet):
    """A picture of a rotor from above, for any Knudsen number between the computed ones.

    Parameters
    ----------
    fields : sequence of RotorField
        One rotor and drive, at one Knudsen number or more.
    quantity, theme, size : str
        Keys of `QUANTITIES`, `THEMES` and `SIZES`.
    footnote : bool
        Whether the caption of several lines is under the picture; otherwise a few words.
    mark : Mark, optional
        A place to mark on the curve.

    Raises
    ------
    InputError
        An unknown name, no fields, or fields of different rotors.
    """

    def __init__(
        self,
        fields: Sequence[RotorField],
        *,
        quantity: str = "temperature",
        theme: str = "light",
        size: str = "1080p",
        footnote: bool = True,
        mark: Mark | None = None,
    ) -> None:
        if not fields:
            raise InputError("no Knudsen number is given", key="knudsen", fix="give one or more")
        self.fields = tuple(sorted(fields, key=lambda field: field.knudsen))
        self.first = self.fields[0]
        if any(field.same != self.first.same for field in self.fields):
            raise InputError("these are fields of different rotors", fix="draw those of one rotor and drive together")
        super().__init__(quantity, theme, size, footnote, mark)
        top = nice_limit(max(float(np.nanmax(np.abs(quantity_of(field, self.name)))) for field in self.fields))
        self.limits: tuple[float, float] = (-top, top) if self.quantity.signed else (0.0, top)
        self._moving: list[Artist] = []
        self.draw()
        self.shown = self.show(self.fields[-1].knudsen)

    def _draw_once(self) -> None:
        palette, line, first = self.palette, self.line, self.first
        self.draw_title(TITLES[first.drive])
        half = 0.5 * first.room[0]
        axes = self.field_axes()
        axes.set(xlim=(-1.02 * half, 1.02 * half), ylim=(-1.02 * half, 1.02 * half), xticks=[], yticks=[])
        axes.set(aspect="equal", anchor="W")
        self._field = axes
        edge: dict[str, Any] = {"fill": False, "edgecolor": palette.ink, "linewidth": 3.2 * line, "zorder": 6}
        wall = Circle((0, 0), half, **edge) if first.round else Rectangle((-half, -half), 2 * half, 2 * half, **edge)
        axes.add_patch(wall)
        self._draw_vanes()
        # A ruler of one width in the lower left corner.
        x, y = -half, -0.97 * half
        axes.plot([x, x + 1.0], [y, y], color=palette.ink, linewidth=1.5 * line, marker="|", zorder=7)
        axes.text(x + 0.5, y + 0.02 * half, "width L", ha="center", va="bottom", color=palette.ink,
                  fontsize=self.points(SMALL), zorder=7)  # fmt: skip
        self.draw_scale(self.limits, _EFFECTS[first.drive][2])
        if self.layout.stress is not None:
            self._draw_stress(*self.layout.stress)
        self._draw_curve()
        self.draw_words(self.caption())

    def _draw_vanes(self) -> None:
        """Draw the vanes, thicker than they are, each face in its colour, and the sense of rotation."""
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
                                       linewidth=0.6 * self.line, zorder=4))  # fmt: skip
            if root_ > 0.0:
                arm = np.array([[0.0, 0.0], [root_, 0.0]]) @ turn
                axes.plot(*arm.T, color=palette.rule, linewidth=1.2 * self.line, zorder=3.8)
        axes.plot([0.0], [0.0], "o", color=palette.ink, markersize=5 * self.line, zorder=4.2)
        if first.drive != "warm":
            # Towards the leading faces: in the mathematical sense, from x to y.
            reach = min(0.35, 0.6 * root_) if root_ > 0.1 else 0.35
            axes.add_patch(FancyArrowPatch(
                (reach, 0.12), (0.12, reach), connectionstyle="arc3,rad=0.35", arrowstyle="-|>",
                mutation_scale=self.points(1.1), color=palette.ink, linewidth=1.8 * self.line, zorder=5,
            ))  # fmt: skip

    def _draw_stress(self, left: float, bottom: float, width: float, height: float) -> None:
        """Draw the fixed parts of the load along the face."""
        along = _EFFECTS[self.first.drive][3]
        self.text(left - 3.6, bottom + height + 0.9, f"Along a vane: {along}", size=SMALL, fontweight="bold")
        self._stress = plain_axes(self.figure, self.em(left, bottom + 0.7, width, height - 0.8), spines=("bottom",))
        low, high = self.first.arm - 0.5, self.first.arm + 0.5
        curves = [self._push(field) for field in self.fields]
        top = nice_limit(1.02 * max(float(curve.max()) for curve in curves))
        bottom = min(0.0, *(float(curve.min()) for curve in curves))
        self._stress.set(xlim=(low, high), ylim=(1.05 * bottom, top), yticks=[0.0, 0.5 * top, top])
        self._stress.set_yticklabels(["0", plain(0.5 * top), plain(top)])
        self._stress.grid(axis="y", color=self.palette.grid, linewidth=self.line)
        self._stress.set_axisbelow(True)
        self._stress.set_xticks([low, self.first.arm, high])
        self._stress.set_xticklabels([f"inner edge, {low:g} L", "middle", f"outer edge, {high:g} L"])
        self._stress.tick_params(labelsize=self.points(SMALL))
        for label, side in zip(self._stress.get_xticklabels(), ("left", "center", "right"), strict=True):
            label.set(horizontalalignment=side)

    def _draw_curve(self) -> None:
        """Draw the fixed parts of the coefficient over the Knudsen number."""
        effect, unit, per, _ = _EFFECTS[self.first.drive]
        numbers = np.array([field.knudsen for field in self.fields])
        values = np.array([field.coefficient for field in self.fields])
        errors = np.nan_to_num([field.error for field in self.fields])
        low, high = (numbers[0] / 1.2, numbers[-1] * 1.2) if numbers.size > 1 else (numbers[0] / 3.0, numbers[0] * 3.0)
        top = nice_limit(1.1 * float(np.max(values + errors)))
        axes = self._curve = self.curve_axes(effect.capitalize(), f"{unit} per {per}", low, high, top)
        if numbers.size > 1:
            kn = np.geomspace(numbers[0], numbers[-1], 200)
            axes.plot(kn, PchipInterpolator(np.log(numbers), values)(np.log(kn)), color=self.palette.blue,
                      linewidth=2.2 * self.line)  # fmt: skip
        axes.errorbar(numbers, values, errors, fmt="o", color=self.palette.blue, markersize=2.6 * self.line,
                      elinewidth=self.line)  # fmt: skip
        ticks = [tick for tick in (0.01, 0.1, 1.0, 10.0, 100.0) if low <= tick <= high] or [float(numbers[0])]
        axes.xaxis.set_major_locator(FixedLocator(ticks))

    def _push(self, field: RotorField) -> Floats:
        return -field.stress if field.drive == "flow" else field.stress

    def caption(self) -> str:
        """Return the caption of the picture: the computed case, and the meaning of colours and strokes."""
        first = self.first
        size = " × ".join(f"{side:g}" for side in ((first.room[0],) * (1 if first.round else 2) + first.room[1:]))
        chamber = f"a cylinder of {size}\u00a0L" if first.round else f"a box of {size}\u00a0L"
        vanes = "1 vane" if first.vanes == 1 else f"{first.vanes} vanes"
        high = "square" if first.aspect == 1.0 else f"{first.aspect:g} L high"
        worst = max(field.error / abs(field.coefficient) for field in self.fields)
        # Two resolutions may agree by chance better than the error of the iteration.
        within = f"; {_EFFECTS[first.drive][0]} within {100 * max(worst, ITERATED):.1g} %" if worst >= 0.0 else ""
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
        with self.lock, STYLE, our_style(self.palette, self.layout.size):
            field = mixed(self.fields, knudsen)
            for artist in self._moving:
                artist.remove()
            self._moving = []
            self._show_field(field)
            self._show_numbers(field)
            self.shown = field
            return field

    def _show_field(self, field: RotorField) -> None:
        axes, half, line = self._field, 0.5 * field.room[0], self.line
        values = quantity_of(field, self.name)
        colours = paint(np.nan_to_num(values), self.limits, signed=self.quantity.signed, theme=self.theme)
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
        points = PolyCollection(list(arrow_heads(heads, 0.011 * field.room[0])), facecolors=self.palette.ink,
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
        palette, line, layout = self.palette, self.line, self.layout
        effect, unit, per, _ = _EFFECTS[field.drive]
        wide, kn = layout.stress is not None, digits(field.knudsen, 2)
        path = f"Mean free path {kn} L,{' ' if wide else chr(10)}L the width of a vane"
        value = f"{effect.capitalize()} {unit} = {digits(field.coefficient)} per {per}"
        self._moving += [
            self.text(*layout.kn, f"Kn {kn}", size=2.3, fontweight="bold"),
            self.text(*layout.path, path, size=1.0 if wide else SMALL),
            self.text(*layout.value, value, size=1.0 if wide else 0.95),
        ]
        push = self._push(field)
        if wide:
            self._moving += self._stress.plot(field.radii, push, color=palette.ink, linewidth=1.6 * line)
            self._moving.append(
                self._stress.fill_between(field.radii, 0.0, push, color=palette.moss, alpha=0.45, linewidth=0.0)
            )
        self._moving += self._curve.plot([field.knudsen] * 2, [0.0, field.coefficient], color=palette.rule,
                                         linewidth=1.2 * line, zorder=3)  # fmt: skip
        self._moving += self._curve.plot([field.knudsen], [field.coefficient], "o", color=palette.rust, zorder=5,
                                         markersize=8.5 * line, markeredgecolor=palette.paper)  # fmt: skip

    def frame(self) -> NDArray[np.uint8]:
        """Return the present picture, shape (height, width, 4)."""
        with self.lock:
            self.canvas.draw()  # type: ignore[no-untyped-call]
            return np.asarray(self.canvas.buffer_rgba())  # type: ignore[no-untyped-call]

    def frames(self, route: Floats, fps: int) -> Iterator[NDArray[np.uint8]]:
        """Yield the canvas at one Knudsen number after another."""
        shown: float | None = None
        for knudsen in route:
            if knudsen != shown:
                self.show(float(knudsen))
                image = self.frame()
            shown = float(knudsen)
            yield image

    @property
    def ends(self) -> tuple[float, float]:
        """Least and greatest Knudsen number."""
        return self.fields[0].knudsen, self.fields[-1].knudsen

    def alt(self) -> str:
        """Return the alternative text of the picture."""
        field = self.shown
        effect, unit, per, _ = _EFFECTS[field.drive]
        vanes = "one vane" if field.vanes == 1 else f"{field.vanes} vanes"
        return (
            f"{TITLES[field.drive]}: {vanes} in a closed chamber at a Knudsen number of {digits(field.knudsen)}, "
            f"{short_name(self.name)} of the gas as colours, strokes along its flow. "
            f"{effect.capitalize()} {unit} {digits(field.coefficient)} per {per}."
        )
