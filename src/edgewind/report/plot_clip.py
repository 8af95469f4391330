"""A figure file of a clip: the place of the rotor, the patches round its axis, and the brightness of one of them."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from edgewind.report.figures.canvas import new_figure, plain_axes
from edgewind.report.figures.file import write_figure
from edgewind.shown_units import ShownUnits
from edgewind.signals.side_view import BREADTH, COLUMNS, REACH
from edgewind.signals.turning_picture import INNER, OUTER, PATCHES

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from edgewind.report.figures.size import Size
    from edgewind.report.palette import Palette
    from edgewind.signals.measure import Picture

FloatArray = NDArray[np.float64]


def plot_clip(picture: Picture, path: str | Path, units: ShownUnits = ShownUnits()) -> None:
    """Write a figure of a clip and the rotation in it, as PNG or SVG by the suffix.

    Raises
    ------
    InputError
        The suffix is another one, or the file cannot be written.
    """
    write_figure(path, lambda palette, size: draw_clip(picture, palette, size), units)


def draw_clip(picture: Picture, palette: Palette, size: Size) -> Figure:
    """Draw the mean picture with the patches on it, and the brightness of the strongest patch against time."""
    drawn = new_figure(size)
    left_em, bottom_em = 6.0, 11.0
    above = plain_axes(drawn, size.box(left_em, bottom_em, 1.4, 1.4), spines=("left", "bottom"))
    below = plain_axes(drawn, size.box(left_em, 4.0, 1.4, size.height_em - bottom_em + 3.5), spines=("left", "bottom"))
    clip, ring = picture.clip, picture.seen.ring
    height, width = clip.frames.shape[1:]
    left, top = clip.corner
    extent = (left, left + width * clip.scale, top + height * clip.scale, top)
    above.imshow(clip.frames[: min(len(clip.frames), 400)].mean(axis=0), cmap="gray", extent=extent)
    rings, spokes = patch_outlines(picture)
    for outlines, width in ((rings, 1.5), (spokes, 0.8)):
        for outline in outlines:  # with a margin of the paper's colour, visible on any picture
            above.plot(*outline, color=palette.paper, lw=3 * width, alpha=0.5)
            above.plot(*outline, color=palette.blue, lw=width)
    above.set_xlabel("x / pixel")
    above.set_ylabel("y / pixel")
    strongest = int(np.argmax(np.std(ring.series, axis=1)))
    below.plot(clip.time_s, ring.series[strongest], color=palette.blue, lw=1.0)
    below.set_xlabel("time / s")
    below.set_ylabel(f"{'column' if picture.seen.side else 'patch'} {strongest + 1}")
    return drawn


def patch_outlines(picture: Picture) -> tuple[list[FloatArray], list[FloatArray]]:
    """Return the two rings that bound the patches, and the lines between patches, in pixels of the clip.

    For a rotor seen from the side, the edges along its columns and the lines between these.

    Returns
    -------
    tuple of lists of array
        Rings of shape (2, 200) and lines of shape (2, 2); x and y are the rows.
    """
    clip, ring = picture.clip, picture.seen.ring
    left, top = clip.corner
    cosine, sine = math.cos(ring.tilt_rad), math.sin(ring.tilt_rad)

    def place(radius: float | FloatArray, angle: FloatArray) -> FloatArray:
        along, across = ring.axes[0] * radius * np.cos(angle), ring.axes[1] * radius * np.sin(angle)
        x = ring.centre[0] + 0.5 + along * cosine - across * sine
        y = ring.centre[1] + 0.5 + along * sine + across * cosine
        return np.array([left + x * clip.scale, top + y * clip.scale])

    if picture.seen.side:
        return _column_outlines(picture)
    around = np.linspace(0, 2 * np.pi, 200)
    between = 2 * np.pi * np.arange(PATCHES) / PATCHES - ring.tilt_rad
    return (
        [place(radius, around) for radius in (INNER, OUTER)],
        [place(np.array([INNER, OUTER]), np.full(2, angle)) for angle in between],
    )


def _column_outlines(picture: Picture) -> tuple[list[FloatArray], list[FloatArray]]:
    """Return the two edges along the columns of a picture from the side, and the lines between them."""
    clip, ring = picture.clip, picture.seen.ring
    corner = np.array(clip.corner)[:, None]
    centre = np.array(ring.centre)[:, None] + 0.5
    along = ring.axes[0] * np.array([[math.cos(ring.tilt_rad)], [math.sin(ring.tilt_rad)]])
    across = ring.axes[1] * np.array([[-math.sin(ring.tilt_rad)], [math.cos(ring.tilt_rad)]])

    def place(lengthwise: FloatArray, sideways: FloatArray) -> FloatArray:
        return np.asarray(corner + clip.scale * (centre + along * lengthwise + across * sideways))

    whole = np.linspace(-REACH, REACH, 200)
    ends = np.array([-BREADTH, BREADTH])
    return (
        [place(whole, np.full(whole.size, end)) for end in ends],
        [place(np.full(2, at), ends) for at in np.linspace(-REACH, REACH, COLUMNS + 1)],
    )
