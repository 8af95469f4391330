"""Outlines of a vane, by its width and height across the middle."""

from __future__ import annotations

from typing import Any, Literal

import numpy as np

VaneShape = Literal["rectangle", "disc", "diamond"]

# Area over width times height. A diamond is a square that stands on its corner: width and height go from corner to
# corner.
AREA_SHARE: dict[VaneShape, float] = {"rectangle": 1.0, "disc": float(np.pi / 4), "diamond": 0.5}
# Mean square distance from the vertical line through the middle, over the width squared.
MEAN_SQUARE_OFFSET: dict[VaneShape, float] = {"rectangle": 1 / 12, "disc": 1 / 16, "diamond": 1 / 24}


def vane_rim(shape: VaneShape, width: Any, height: Any) -> Any:
    """Return the length of the rim of a vane, in the unit of its width and height.

    Examples
    --------
    >>> vane_rim("rectangle", 2.0, 1.0), round(float(vane_rim("diamond", 2.0, 2.0)), 3)
    (6.0, 5.657)
    """
    if shape == "disc":
        return np.pi * 0.5 * (width + height)
    if shape == "diamond":
        return 2 * np.hypot(width, height)
    return 2 * (width + height)
