"""Flow lines, in the same number at every Knudsen number, and their arrow heads."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import contourpy
import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from edgewind.report.film.sample import SampleGrid, Singles

Floats = NDArray[np.float64]

# Share of the circulation that flows between two neighbouring lines.
LINES = 10
# Strokes, where the flow leaves the plane: seeds at even distances, of one length; in widths of the vane for a room
# of 4 by 4.
SEEDS = 15
STROKE = 0.3
STEPS = 14
# Below this share of the greatest speed the direction of the gas is too uncertain to be drawn.
SLOWEST = 0.01


@dataclass(frozen=True, eq=False)
class Line:
    """A line along the flow, in the direction of the flow.

    Attributes
    ----------
    points : array of shape (n, 2)
        Places x, y.
    heads : array of shape (m, 4)
        Arrow heads: x, y and the unit vector of their direction.
    closed : bool
        Whether it returns to its start.
    key : tuple of int
        Its identity from one Knudsen number to the next: its level, and its index among the pieces of it.
    """

    points: Floats
    heads: Floats
    closed: bool
    key: tuple[int, int] = (0, 0)

    @property
    def mirrored(self) -> Line:
        """The mirror image below y = 0."""
        flip, flip_heads = np.array([1.0, -1.0]), np.array([1.0, -1.0, 1.0, -1.0])
        return Line(self.points * flip, self.heads * flip_heads, self.closed, self.key)


def _heads(points: Floats, shares: tuple[float, ...]) -> Floats:
    """Arrow heads at shares of the length."""
    steps = np.hypot(*np.diff(points, axis=0).T)
    length = np.concatenate([[0.0], np.cumsum(steps)])
    if length[-1] <= 0.0:
        return np.empty((0, 4))
    where = np.array(shares) * length[-1]
    reach = 0.01 * length[-1]
    at, ahead, behind = (
        np.stack([np.interp(np.clip(w, 0, length[-1]), length, points[:, k]) for k in (0, 1)], axis=1)
        for w in (where, where + reach, where - reach)
    )
    along = ahead - behind
    size = np.hypot(*along.T)
    size = size[:, None]
    whole: Floats = np.concatenate([at, along / np.where(size > 0.0, size, 1.0)], axis=1)
    return np.asarray(whole[size[:, 0] > 0.0])


def level_lines(stream: Singles, sheet: SampleGrid, *, edge: float) -> list[Line]:
    """Return the lines of a stream function at fixed parts of its greatest value, over the upper half.

    A line of the stream function is a streamline, closed or from wall to wall; at equal steps of the function the same
    amount flows between neighbours, so that lines crowd where the gas is fast.

    Parameters
    ----------
    stream : array of shape (y, x)
        Stream function.
    sheet : SampleGrid
        Its points.
    edge : float
        Place of the edge of the vane, at which closed lines start, so that heads keep their place from frame to frame.
    """
    # The axis is a flow line: with its mirror image, lines close up to it.
    y = np.concatenate([-sheet.y[:1], sheet.y])
    whole = np.concatenate([2 * stream[:1] - stream[1:2], stream]).astype(float)
    top = float(np.abs(stream).max())
    if not top > 0.0:
        return []
    generator = contourpy.contour_generator(sheet.x, y, whole, name="serial")
    found = []
    for sign in (1.0, -1.0):
        for k in range(LINES):
            pieces = [np.asarray(piece, dtype=float) for piece in generator.lines(sign * top * (k + 0.5) / LINES)]
            # From left to right, so that a piece keeps its name.
            for number, points in enumerate(sorted(pieces, key=lambda piece: float(piece[:, 0].mean()))):
                points[:, 1] = np.maximum(points[:, 1], 0.0)
                steps = np.hypot(*np.diff(points, axis=0).T)
                if steps.sum() < 0.15 * sheet.y[-1]:
                    continue
                closed = bool(np.all(points[0] == points[-1]))
                if closed:
                    start = int(np.argmin(np.hypot(points[:-1, 0], points[:-1, 1] - edge)))
                    points = np.concatenate([points[start:-1], points[: start + 1]])
                found.append(Line(points, _heads(points, (0.27, 0.73)), closed, (int(sign) * (k + 1), number)))
    return found


def _interpolate(values: Singles, sheet: SampleGrid, places: Floats) -> Floats:
    """Return values at places by bilinear interpolation, constant beyond the points."""
    step_x, step_y = sheet.x[1] - sheet.x[0], sheet.y[1] - sheet.y[0]
    fx = np.clip((places[:, 0] - sheet.x[0]) / step_x, 0.0, sheet.x.size - 1.000001)
    fy = np.clip((places[:, 1] - sheet.y[0]) / step_y, 0.0, sheet.y.size - 1.000001)
    i, j = fx.astype(int), fy.astype(int)
    a, b = fx - i, fy - j
    low = values[j, i] * (1 - a) + values[j, i + 1] * a
    high = values[j + 1, i] * (1 - a) + values[j + 1, i + 1] * a
    return np.asarray(low * (1 - b) + high * b, dtype=float)


def _row(columns: Floats, gap: float, *, shifted: bool) -> Floats:
    """Places of one row of seeds; the shifted one has one fewer, so that both are even about the middle."""
    return columns[:-1] + 0.5 * gap if shifted else columns


def strokes(flow: tuple[Singles, Singles], sheet: SampleGrid) -> list[Line]:
    """Return short lines along the flow from seeds at even distances, over the upper half.

    Each runs half its length against the flow and half with it, by the classical Runge-Kutta rule in the unit vector
    of the flow, and ends at walls; there is none in gas at rest. In the plane of symmetry the flow has no component
    across, so that they are also streamlines of the gas in space.
    """
    size = max(sheet.x[-1] - sheet.x[0], 2 * sheet.y[-1])
    gap = size / SEEDS
    columns = np.arange(sheet.x[0] + 0.5 * gap, sheet.x[-1], gap)
    columns += 0.5 * (sheet.x[-1] - columns[-1] - columns[0] + sheet.x[0])
    rows = np.arange(0.5 * gap, sheet.y[-1], gap)
    # Every second row is shifted by half a step, to either side alike.
    seeds = np.array([(x, y) for k, y in enumerate(rows) for x in _row(columns, gap, shifted=k % 2 == 1)])
    speed = np.hypot(*(_interpolate(part, sheet, seeds) for part in flow))
    seeds = seeds[speed > SLOWEST * float(np.hypot(*flow).max())]
    step = STROKE * size / 4.0 / (2 * STEPS)

    def unit(places: Floats) -> Floats:
        vector = np.stack([_interpolate(part, sheet, places) for part in flow], axis=1)
        length = np.hypot(*vector.T)[:, None]
        return np.asarray(vector / np.where(length > 0.0, length, 1.0))

    limits = (sheet.x[0], sheet.x[-1], 0.0, sheet.y[-1])
    halves = []
    for sense in (-1.0, 1.0):
        place, path = seeds, [seeds]
        going = np.ones(len(seeds), dtype=bool)
        for _ in range(STEPS):
            k1 = unit(place)
            k2 = unit(place + 0.5 * sense * step * k1)
            k3 = unit(place + 0.5 * sense * step * k2)
            k4 = unit(place + sense * step * k3)
            moved = place + sense * step / 6.0 * (k1 + 2 * k2 + 2 * k3 + k4)
            inside = (moved[:, 0] > limits[0]) & (moved[:, 0] < limits[1])
            inside &= (moved[:, 1] >= limits[2]) & (moved[:, 1] < limits[3])
            going &= inside
            place = np.where(going[:, None], moved, place)
            path.append(place)
        halves.append(np.stack(path))
    back, ahead = halves
    whole = np.concatenate([back[:0:-1], ahead]).transpose(1, 0, 2)
    found = []
    for points in whole:
        keep = np.concatenate([[True], np.any(np.diff(points, axis=0) != 0.0, axis=1)])
        points = points[keep]
        if len(points) > 3:
            found.append(Line(points, _heads(points, (0.97,)), False))
    return found
