"""A thumbnail of a trace: the envelope of its samples as one small SVG path."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

WIDTH, HEIGHT = 600, 120
_COLUMNS = 75
_TURNS_SHOWN = 3.0


def envelope_path(voltage: NDArray[np.float64]) -> str:
    """Return the path of the least and greatest voltage in each of 75 columns, in a box of 600 by 120.

    At most 150 points for a trace of any length. NaN counts as missing.

    Examples
    --------
    >>> envelope_path(np.array([0.0, 1.0, 0.0]))
    'M0,120 300,0 600,120 600,120 300,0 0,120Z'
    """
    good = voltage[np.isfinite(voltage)]
    if good.size < 2:
        return ""
    low, high = float(good.min()), float(good.max())
    heights = np.rint(HEIGHT * (1 - (good - low) / ((high - low) or 1.0))).astype(int)
    columns = min(_COLUMNS, good.size)
    starts = np.linspace(0, good.size, columns, endpoint=False).astype(int)
    across = np.rint(np.linspace(0, WIDTH, columns)).astype(int).tolist()
    upper, lower = np.minimum.reduceat(heights, starts).tolist(), np.maximum.reduceat(heights, starts).tolist()
    points = [*zip(across, upper, strict=True), *zip(across[::-1], lower[::-1], strict=True)]
    return "M" + " ".join(f"{x},{y}" for x, y in points) + "Z"


def middle_turns(voltage: NDArray[np.float64], interval_s: float, speed_rad_s: float) -> NDArray[np.float64]:
    """Return three turns from the middle of a trace; all of a shorter one, and nothing without a speed."""
    if not math.isfinite(speed_rad_s) or speed_rad_s == 0:
        return voltage[:0]
    length = math.ceil(_TURNS_SHOWN * 2 * math.pi / abs(speed_rad_s) / interval_s)
    start = max((voltage.size - length) // 2, 0)
    return voltage[start : start + length]
