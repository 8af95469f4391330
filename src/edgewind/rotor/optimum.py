"""The pressure of the maximum of a curve: its computation and its value, with an interval or a flat range."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field

Array = NDArray[np.float64]

# A curve within this share of its maximum over more than this factor of pressure is called flat.
FLAT_SHARE, FLAT_FACTOR = 0.01, 2.0


class PeakPressure(BaseModel):
    """A pressure of greatest speed or torque, or the reason why none is claimed."""

    model_config = ConfigDict(frozen=True, arbitrary_types_allowed=True)

    found: bool = Field(description="Whether a maximum inside the pressures is shown.")
    pressure_pa: float | None = Field(default=None, description="Pressure of the maximum, Pa, median.")
    interval_pa: tuple[float, float] | None = Field(default=None, description="Interval of that pressure, Pa.")
    level: float = Field(default=0.9, description="Coverage probability of the interval.")
    reason: str = Field(default="", description="Why no maximum is claimed; empty if one is found.")
    flat_pa: tuple[float, float] | None = Field(
        default=None,
        description="Pressures between which the curve is flat within 1 %, Pa; none if the maximum is sharp.",
    )


def highest_places(grid: Array, curves: Array) -> Array:
    """Return the place of the maximum of each curve, refined by the parabola through the highest three points.

    Parameters
    ----------
    grid : array of shape (m,)
        Even places: ln(pressure) for curves over pressure; three or more.
    curves : array of shape (k, m)
        One curve a row.

    Returns
    -------
    array of shape (k,)
        The end itself if a curve is highest there.

    Examples
    --------
    >>> grid = np.linspace(0.0, 1.0, 11)
    >>> highest_places(grid, -((grid[None] - 0.33) ** 2)).round(6).item()
    0.33
    """
    top = np.argmax(curves, axis=1)
    inside = np.clip(top, 1, grid.size - 2)
    left, middle, right = (np.take_along_axis(curves, inside[:, None] + k, axis=1)[:, 0] for k in (-1, 0, 1))
    bend = left - 2 * middle + right
    step = np.where((top == inside) & (bend < 0), 0.5 * (left - right) / np.where(bend < 0, bend, -1.0), 0.0)
    result: Array = grid[top] + np.clip(step, -0.5, 0.5) * (grid[1] - grid[0])
    return result


def peak_pressures(pressure_pa: Array, curves: Array) -> Array:
    """Return the pressure at which each curve is greatest, Pa; nan where that is at an end or nowhere above zero.

    Parameters
    ----------
    pressure_pa : array of shape (m,)
        Evenly spaced in the logarithm, three or more.
    curves : array of shape (k, m)
        One curve a row; see :func:`highest_places`.

    Examples
    --------
    >>> pressure = np.geomspace(0.1, 10.0, 41)
    >>> speed = pressure / (2.0 + pressure) ** 2
    >>> peak_pressures(pressure, np.stack([speed, pressure])).round(2).tolist()
    [2.0, nan]
    """
    log_p = np.log(pressure_pa)
    places = highest_places(log_p, curves)
    inside = (places > log_p[0]) & (places < log_p[-1]) & (curves.max(axis=1) > 0)
    return np.where(inside, np.exp(places), np.nan)


def flat_range(pressure_pa: Array, values: Array) -> tuple[float, float] | None:
    """Return the pressures between which a curve is within 1 % of its maximum; None for less than a factor of two.

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
