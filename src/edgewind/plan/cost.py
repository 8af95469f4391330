"""Time of a reading: the change of pressure, settling, and the measurement itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from edgewind.errors import InputError

Array = NDArray[np.float64]


class Cost(Protocol):
    """Seconds to move to a pressure, settle and read."""

    def __call__(self, pressure_pa: Array, from_pressure_pa: float | None) -> Array:
        """Return the seconds for each pressure, Pa, from another pressure; None if the start does not matter."""


@dataclass(frozen=True)
class PlainCost:
    """A cost without a bench: constant for every reading, plus a time for each decade of pressure moved.

    The defaults are our judgement of an unhurried bench, no source.

    Parameters
    ----------
    dwell_s : float
        Time of the reading itself, s.
    settle_s : float
        Time until pressure and speed are steady, s.
    travel_s_per_decade : float
        Time of the valve and the pump for a factor of ten in pressure, s.

    Raises
    ------
    InputError
        A time below zero or not finite, or all of them zero.

    Examples
    --------
    >>> PlainCost()(np.array([1.0, 10.0]), 1.0).tolist()
    [240.0, 300.0]
    """

    dwell_s: float = 180.0
    settle_s: float = 60.0
    travel_s_per_decade: float = 60.0

    def __post_init__(self) -> None:
        for name in ("dwell_s", "settle_s", "travel_s_per_decade"):
            value = getattr(self, name)
            if not (np.isfinite(value) and value >= 0):
                raise InputError(f"{name} cannot be {value!r}", fix="give seconds, zero or more")
        if self.dwell_s + self.settle_s == 0:
            raise InputError("a reading must take some time", fix="give a dwell or a settling time above zero")

    def __call__(self, pressure_pa: ArrayLike, from_pressure_pa: float | None) -> Array:
        """Seconds for each pressure."""
        pressure = np.asarray(pressure_pa, dtype=float)
        decades = 0.0 if from_pressure_pa is None else np.abs(np.log10(pressure / from_pressure_pa))
        return np.asarray(self.dwell_s + self.settle_s + self.travel_s_per_decade * decades + 0.0 * pressure)

    @property
    def sentence(self) -> str:
        """The cost in words."""
        return (
            f"A reading is taken to cost {(self.dwell_s + self.settle_s) / 60:.2g} min, and "
            f"{self.travel_s_per_decade / 60:.2g} min more for every decade of pressure moved."
        )


# A gap longer than this many median gaps was a break, not the time of a reading.
_BREAK = 4.0
# Readings that follow faster than this, s, were simulated or typed later, not taken one by one at a bench.
_LEAST_GAP = 20.0


def cost_from_record(pressure_pa: ArrayLike, time_s: ArrayLike) -> PlainCost | None:
    """Return the cost by the owner's own record: the median of the times between readings.

    Parameters
    ----------
    pressure_pa, time_s : array_like, shape (n,)
        Pressures, Pa, and times, s, in any order; nan where not known.

    Returns
    -------
    PlainCost or None
        With the default time of travel; None where fewer than four readings have a time, or if they follow each other
        faster than possible by hand.

    Examples
    --------
    >>> cost = cost_from_record([1.0, 1.0, 1.0, 1.0, 1.0], [0.0, 300.0, 600.0, 900.0, 1200.0])
    >>> cost(np.array([1.0]), 1.0).tolist()
    [300.0]
    """
    pressure, time = np.asarray(pressure_pa, dtype=float), np.asarray(time_s, dtype=float)
    known = np.isfinite(time) & np.isfinite(pressure) & (pressure > 0)
    if known.sum() < 4:
        return None
    order = np.argsort(time[known], kind="stable")
    gap, moved = np.diff(time[known][order]), np.abs(np.diff(np.log10(pressure[known][order])))
    kept = (gap > 0) & (gap < _BREAK * np.median(gap))
    if kept.sum() < 3 or np.median(gap[kept]) < _LEAST_GAP:
        return None
    default = PlainCost()
    still = float(np.median(gap[kept] - default.travel_s_per_decade * moved[kept]))
    still = max(still, 0.1 * float(np.median(gap[kept])))
    share = default.dwell_s / (default.dwell_s + default.settle_s)
    return PlainCost(share * still, (1 - share) * still, default.travel_s_per_decade)
