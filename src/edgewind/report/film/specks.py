"""Specks of gas that drift along closed lines, with a period for each line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from edgewind.report.film.lines import Line
    from edgewind.report.film.sample import SampleGrid
    from edgewind.report.film.series import FieldFrame

Floats = NDArray[np.float64]

# Specks on a line, and the period of the middle line, s.
ON_A_LINE = 5
ROUND_S = 9.0
# Least speed of a speck, as a share of the greatest on its line: a line is slowest in corners.
_SLOWEST = 0.02


class Specks:
    """Specks that keep their places on the lines from frame to frame.

    On a line they move in proportion to the speed of the gas. The real period spans orders of magnitude over the
    Knudsen number, so that time is rescaled in each frame: the middle line takes `ROUND_S`.
    """

    def __init__(self) -> None:
        self._phases: dict[tuple[int, int], float] = {}

    def step(self, lines: list[Line], moment: FieldFrame, sheet: SampleGrid, seconds: float) -> Floats:
        """Move on by a time and return the places, upper half, shape (n, 2).

        Parameters
        ----------
        lines : list of Line
            Lines of the stream function, in their order.
        moment : FieldFrame
            The gas, with its stream function.
        sheet : SampleGrid
            Its points.
        seconds : float
            Since the last frame.
        """
        assert moment.stream is not None
        closed = [line for line in lines if line.closed and len(line.points) > 8]
        if not closed:
            return np.empty((0, 2))
        slope_y, slope_x = np.gradient(moment.stream, sheet.y, sheet.x)
        speed = np.hypot(slope_x, slope_y)
        clocks = []
        for line in closed:
            i = np.clip(np.searchsorted(sheet.x, line.points[:, 0]), 0, sheet.x.size - 1)
            j = np.clip(np.searchsorted(sheet.y, line.points[:, 1]), 0, sheet.y.size - 1)
            along = speed[j, i]
            along = np.maximum(along, _SLOWEST * along.max())
            pace = 0.5 * (1.0 / along[1:] + 1.0 / along[:-1])
            clocks.append(np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line.points, axis=0).T) * pace)]))
        middle = float(np.median([clock[-1] for clock in clocks]))
        places = []
        for line, clock in zip(closed, clocks, strict=True):
            # Lines start at different places, so that their specks are not aligned.
            phase = (
                self._phases.get(line.key, 0.618 * (line.key[0] + 0.5 * line.key[1]))
                + seconds / ROUND_S * middle / clock[-1]
            )
            self._phases[line.key] = phase % 1.0
            when = (phase + np.arange(ON_A_LINE) / ON_A_LINE) % 1.0 * clock[-1]
            places.append(np.stack([np.interp(when, clock, line.points[:, k]) for k in (0, 1)], axis=1))
        return np.concatenate(places)
