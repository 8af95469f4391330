"""Valve voltage for a pressure, learned from the settled pressures, within limits and in small steps.

The opening x runs from 0, closed, to 1, the largest allowed opening. Between two openings whose pressures bracket the
target the next is interpolated in ln p; beyond the known range it is extrapolated from the last two, in steps that
raise the estimated pressure at most tenfold, and that double while the pressure does not change.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

FIRST_STEP = 1 / 32
MOST_STEP = 1 / 4
_MOST_RISE = math.log(10)
_LEAST_RISE = 0.1
_FINEST = 1e-4


@dataclass(frozen=True)
class Move:
    """The next voltage, V, or the reason why there is none."""

    voltage_v: float | None
    why_not: str = ""


class ValveSearch:
    """The search, with all settled pressures of a sweep.

    Parameters
    ----------
    closed_v, open_v : float
        Voltages of the closed valve and of its largest allowed opening, V.
    most_pa : float
        The pressure limit, Pa: no step is taken that would exceed it by the known pressures.
    """

    def __init__(self, closed_v: float, open_v: float, most_pa: float) -> None:
        self._closed, self._span = closed_v, open_v - closed_v
        self._most = math.log(most_pa)
        self._known: dict[float, float] = {}

    def learn(self, voltage_v: float, pressure_pa: float) -> None:
        """Store the settled pressure of a voltage; it replaces those of nearby voltages."""
        x, y = self._opening(voltage_v), math.log(pressure_pa)
        self._known = {
            other: value
            for other, value in self._known.items()
            if abs(other - x) > _FINEST and (value < y) == (other < x)
        }
        self._known[x] = y

    def next(self, target_pa: float) -> Move:
        """Return the voltage to try for a target."""
        target = math.log(target_pa)
        points = sorted(self._known.items())
        below = [point for point in points if point[1] <= target]
        above = [point for point in points if point[1] > target]
        if not points:
            return self._to(0.0)
        if below and above:
            (x0, y0), (x1, y1) = below[-1], above[0]
            if x1 - x0 < _FINEST:
                return Move(None, "the valve cannot be set finely enough to reach it")
            share = (target - y0) / (y1 - y0)
            return self._to(x0 + min(max(share, 0.05), 0.95) * (x1 - x0))
        if below:
            return self._open_further(points, target)
        x, y = above[0]
        if x <= _FINEST:
            return Move(None, "the pressure is higher even with the valve closed")
        if len(above) > 1:
            x1, y1 = above[1]
            slope = (y1 - y) / (x1 - x)
            if slope > 0:
                return self._to(max(x - max((y - target) / slope, FIRST_STEP / 4), 0.0))
        return self._to(max(x / 2 if x > FIRST_STEP else 0.0, 0.0))

    def _open_further(self, points: list[tuple[float, float]], target: float) -> Move:
        x, y = points[-1]
        if x >= 1 - _FINEST:
            return Move(None, "the pressure stays lower at the largest allowed opening of the valve")
        if len(points) < 2:
            return self._to(min(x + FIRST_STEP, 1.0))
        x0, y0 = points[-2]
        step, slope = x - x0, (y - y0) / (x - x0)
        if y - y0 < _LEAST_RISE:
            return self._to(min(x + min(2 * max(step, FIRST_STEP), MOST_STEP), 1.0))
        rise = min(target - y, _MOST_RISE, max(self._most - y - 0.3, 0.0))
        if rise <= 0:
            return Move(None, "the next step could pass limits.pressure_above")
        return self._to(min(x + min(max(rise / slope, FIRST_STEP / 16), MOST_STEP), 1.0))

    def _opening(self, voltage_v: float) -> float:
        return (voltage_v - self._closed) / self._span

    def _to(self, x: float) -> Move:
        return Move(self._closed + x * self._span)
