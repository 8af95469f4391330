"""A figure file of one trace."""

from __future__ import annotations

from pathlib import Path

from edgewind.errors import InputError
from edgewind.report.figures.canvas import our_style, png_of, svg_of
from edgewind.report.figures.trace import FILM, draw_trace
from edgewind.report.palette import LIGHT
from edgewind.signals import SpeedEstimate, Trace


def plot_trace(trace: Trace, speed: SpeedEstimate, path: str | Path) -> None:
    """Write a figure of a trace and the speed found in it, as PNG (1920 by 1080) or SVG by the name's ending.

    Raises
    ------
    InputError
        The name ends in something else, or the file cannot be written.
    """
    path = Path(path)
    kind = path.suffix.lower()
    if kind not in (".png", ".svg"):
        raise InputError(f"'{path.name}' does not say what kind of figure it is", fix="end the name in .png or .svg")
    with our_style(LIGHT, FILM):
        figure = draw_trace(trace, speed, LIGHT, FILM)
        content = png_of(figure) if kind == ".png" else svg_of(figure).encode()
    try:
        path.write_bytes(content)
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", file=path) from error
