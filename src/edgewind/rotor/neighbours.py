"""Effect of neighbouring vanes: reduction of torque and drag against lone vanes.

In denser gas more of it turns with the rotor, and the warm side of one vane heats more of the gas at the cold side of
the next one. The loss was computed for a rotor of four square vanes with arms of 1.25 widths, solved as a whole by the
kinetic solver; for arms of 2 widths it was half of that. Half of the correction is taken for its standard uncertainty.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

# Share of the torque and of the drag of four lone vanes that a rotor of four, arm over width 1.25, does not have.
KNUDSEN = np.array([0.1, 0.3, 1.0, 10.0])
LOST_FORCE = np.array([0.21, 0.14, 0.08, 0.04])
LOST_DRAG = np.array([0.20, 0.17, 0.13, 0.10])
_ARM = 1.25
_POWER = float(np.log(2.0) / np.log(2.0 / _ARM))  # halved at an arm of two widths
UNCERTAIN = 0.5


def nearness(vanes: int, arm_over_width: float) -> float:
    """Return the share of the correction for four vanes at an arm of 1.25 widths that applies to a rotor.

    Examples
    --------
    >>> nearness(4, 1.25), round(nearness(4, 2.0), 3), nearness(1, 1.25)
    (1.0, 0.5, 0.0)
    """
    return float((vanes - 1) / 3 * min((_ARM / arm_over_width) ** _POWER, 1.2))


def lost(knudsen: ArrayLike, vanes: int, arm_over_width: float) -> tuple[Array, Array]:
    """Return the losses of thermal force and of drag by the other vanes, as shares; constant beyond the ends."""
    x = np.log(np.asarray(knudsen, dtype=float))
    near = nearness(vanes, arm_over_width)
    force, drag = (np.interp(x, np.log(KNUDSEN), near * share) for share in (LOST_FORCE, LOST_DRAG))
    return np.asarray(force), np.asarray(drag)
