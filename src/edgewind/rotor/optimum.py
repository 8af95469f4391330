"""The pressure at which a curve is greatest, as a value: found or not, with an interval, or flat over a range."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field

Array = NDArray[np.float64]

# A curve within this share of its greatest value over more than this factor of pressure is called flat.
FLAT_SHARE, FLAT_FACTOR = 0.01, 2.0


class PeakPressure(BaseModel):
    """A pressure of greatest speed or torque, or why none is claimed."""

    model_config = ConfigDict(frozen=True, arbitrary_types_allowed=True)

    found: bool = Field(description="Whether a maximum inside the pressures is shown.")
    pressure_pa: float | None = Field(default=None, description="Pressure of the maximum, Pa, median.")
    interval_pa: tuple[float, float] | None = Field(default=None, description="Interval of that pressure, Pa.")
    level: float = Field(default=0.9, description="Coverage probability of the interval.")
    reason: str = Field(default="", description="Why no maximum is claimed; empty where one is found.")
    flat_pa: tuple[float, float] | None = Field(
        default=None, description="Pressures between which the curve is flat within 1 %, Pa; none where it has a point."
    )


def flat_range(pressure_pa: Array, values: Array) -> tuple[float, float] | None:
    """Return between which pressures a curve is within 1 % of its greatest value; None for less than a factor of two.

    Parameters
    ----------
    pressure_pa, values : array of shape (n,)
        The curve, ascending in pressure.

    Examples
    --------
    >>> flat_range(np.array([1.0, 2.0, 4.0, 8.0]), np.array([0.5, 1.0, 0.999, 0.5]))
    (2.0, 4.0)
    >>> flat_range(np.array([1.0, 2.0, 4.0]), np.array([0.5, 1.0, 0.5])) is None
    True
    """
    top = int(np.argmax(values))
    near = values >= (1 - FLAT_SHARE) * values[top]
    low = top - int(np.argmin(near[: top + 1][::-1])) + 1 if not near[: top + 1].all() else 0
    high = top + int(np.argmin(near[top:])) - 1 if not near[top:].all() else values.size - 1
    ends = float(pressure_pa[low]), float(pressure_pa[high])
    return ends if ends[1] >= FLAT_FACTOR * ends[0] else None
