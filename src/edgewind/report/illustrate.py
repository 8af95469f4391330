"""Output of a figure in every form: within the page, as SVG, and as PNG in light and dark."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from edgewind.formatting import raise_exponents
from edgewind.report.figures.canvas import our_style, png_of, svg_of
from edgewind.report.figures.shown import show_in
from edgewind.report.inline_svg import inline_svg
from edgewind.report.palette import DARK, LIGHT, PLACEHOLDERS, recolour
from edgewind.shown_units import ShownUnits

if TYPE_CHECKING:
    from markupsafe import Markup

    from edgewind.report.figures.base import Drawing, Subject


@dataclass(frozen=True)
class Illustration:
    """A figure on the page.

    Attributes
    ----------
    wide, narrow : Markup
        The drawing for a desktop and for a phone, as SVG elements.
    caption : str
        Caption.
    files : tuple of str
        Its exports, relative to the report.
    """

    wide: Markup
    narrow: Markup
    caption: str
    files: tuple[str, ...]


def illustrate(
    drawing: Drawing[Subject], subject: Subject, name: str, out: Path, units: ShownUnits = ShownUnits()
) -> Illustration | None:
    """Draw `subject` in the chosen units, write the exports under ``out/figures``, and return the figure of the page.
    Returns None and writes nothing if there is nothing to draw.
    """
    stem = f"{drawing.stem}-{name}" if name else drawing.stem
    documents: dict[str, str] = {}
    for use in ("page", "narrow"):
        size = drawing.sizes[use]
        with our_style(PLACEHOLDERS, size):
            figure = drawing.draw(subject, PLACEHOLDERS, size)
            if figure is None:
                return None
            documents[use] = svg_of(show_in(figure, units))
    exports = {f"figures/{stem}.svg": recolour(documents["page"], LIGHT).encode()}
    size = drawing.sizes["film"]
    with our_style(PLACEHOLDERS, size):
        figure = drawing.draw(subject, PLACEHOLDERS, size)
        if figure is not None:
            show_in(figure, units)
            for theme, palette in (("light", LIGHT), ("dark", DARK)):
                exports[f"figures/{stem}-{theme}.png"] = png_of(figure, palette)
    (out / "figures").mkdir(exist_ok=True)
    for path, content in exports.items():
        (out / path).write_bytes(content)
    label = raise_exponents(units.text(drawing.alt(subject)))
    wide, narrow = (
        inline_svg(documents[use], prefix=f"{stem}-{use}-", label=label, css_class=f"drawing {use}")
        for use in ("page", "narrow")
    )
    return Illustration(wide, narrow, raise_exponents(drawing.caption(subject)), tuple(exports))
