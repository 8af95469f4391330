"""The pivot: dry friction, a break-away torque, and friction that grows with speed."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def steady_speed(torque_n_m: Any, drag_n_m_s: Any, dry_n_m: Any, breakaway_n_m: Any) -> Array:
    """Return the steady speed, rad/s, with the sign of the torque: ``(|T| - T_dry) / c``, zero up to the break-away.

    Examples
    --------
    >>> steady_speed([3.0, -3.0, 0.5], 1.0, 1.0, 1.0).tolist()
    [2.0, -2.0, 0.0]
    """
    torque, drag = np.asarray(torque_n_m, dtype=float), np.asarray(drag_n_m_s, dtype=float)
    size = np.abs(torque)
    starts = size > np.maximum(breakaway_n_m, dry_n_m)
    free = np.where(drag > 0, drag, np.inf)
    return np.asarray(np.where(starts, np.sign(torque) * (size - dry_n_m) / free, 0.0))
