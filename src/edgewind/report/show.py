"""Display of a result in a notebook: sentences, a figure and a table, as HTML."""

from __future__ import annotations

import base64
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

from markupsafe import Markup, escape
from matplotlib.figure import Figure

from edgewind.report.figures.canvas import our_style, png_of, svg_of
from edgewind.report.figures.file import FILM
from edgewind.report.figures.size import Size
from edgewind.report.palette import LIGHT, Palette

if TYPE_CHECKING:
    import pandas as pd

Draw = Callable[[Palette, Size], Figure | None]


def drawn(draw: Draw) -> Figure | None:
    """Return a figure in the light style, as wide as a film; None if there is nothing to draw."""
    with our_style(LIGHT, FILM):
        return draw(LIGHT, FILM)


def figure_bytes(draw: Draw, kind: str) -> bytes | None:
    """Return a figure as the content of an ``svg`` or ``png`` file; None if there is nothing to draw."""
    with our_style(LIGHT, FILM):
        figure = draw(LIGHT, FILM)
        if figure is None:
            return None
        return png_of(figure) if kind == "png" else svg_of(figure).encode()


def figure_html(draw: Draw, alt: str) -> str:
    """Return a figure as an image that holds its own data; empty if there is nothing to draw."""
    content = figure_bytes(draw, "svg")
    if content is None:
        return ""
    data = base64.b64encode(content).decode()
    return f'<img alt="{escape(alt)}" style="max-width:100%;width:52em" src="data:image/svg+xml;base64,{data}">'


def table_html(table: pd.DataFrame, rows: int = 12) -> str:
    """Return a table; the middle of a long one is left out, as in any notebook."""
    return str(
        table.to_html(index=False, max_rows=rows, float_format=lambda value: f"{value:.4g}", border=0, justify="unset")
    )


def page_html(title: str, sentences: Iterable[str], *parts: str) -> str:
    """Return a title, sentences and HTML parts, one below the other."""
    said = "".join(f"<p>{escape(sentence)}</p>" for sentence in sentences)
    return str(Markup(f"<div><h4>{escape(title)}</h4>{said}") + Markup("".join(parts)) + Markup("</div>"))
