"""A figure in a file, PNG or SVG by its suffix."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from edgewind.errors import InputError
from edgewind.report.figures.canvas import our_style, png_of, svg_of
from edgewind.report.figures.shown import show_in
from edgewind.report.figures.size import Size
from edgewind.report.palette import DARK, LIGHT, Palette
from edgewind.shown_units import ShownUnits

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FILM = Size(12.8, 7.2, 15.0, titled=True)


def figure_kind(path: str | Path) -> str:
    """Return ``.png`` or ``.svg`` for a figure that can be written there.

    Raises
    ------
    InputError
        The suffix is another one, or the folder does not exist.
    """
    path = Path(path)
    kind = path.suffix.lower()
    if kind not in (".png", ".svg"):
        raise InputError(f"'{path.name}' does not say what kind of figure it is", fix="end the name in .png or .svg")
    if not path.parent.is_dir():
        raise InputError("its folder does not exist", file=path, fix="make the folder first")
    return kind


def write_figure(path: str | Path, draw: Callable[[Palette, Size], Figure], units: ShownUnits = ShownUnits()) -> None:
    """Draw in the style of the report and write a PNG of 1920 by 1080 or an SVG, by the suffix, in the chosen units.

    On dark ground where the name ends in ``-dark.png`` or ``-dark.svg``, as the figures of a report are called.

    Raises
    ------
    InputError
        The suffix is another one, or the file cannot be written.
    """
    path = Path(path)
    kind = figure_kind(path)
    palette = DARK if path.stem.endswith("-dark") else LIGHT
    with our_style(palette, FILM):
        figure = show_in(draw(palette, FILM), units)
        content = png_of(figure) if kind == ".png" else svg_of(figure).encode()
    try:
        path.write_bytes(content)
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", file=path) from error
