"""Conversions common to figures, tables and text of the report."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from edgewind.gas import GasState
from edgewind.units import to_si

if TYPE_CHECKING:
    from edgewind.bench import Bench

PA_PER_MTORR = float(to_si(1.0, "mTorr", "pressure"))

# Free space at each end of a pressure axis, as a share of its length in the logarithm.
_MARGIN = 0.04
# A reading that is not used is drawn within this factor of the pressures and speeds of those used: a mistyped value
# would else stretch the axes. Our judgement.
_FAR = 10.0


def path_at_one_pascal(bench: Bench) -> float:
    """Return the mean free path of the bench's gas at 1 Pa, m; it is inversely proportional to the pressure."""
    return GasState(bench.gas.gas, 1.0, bench.gas.temperature.value).mean_free_path_m()


def has_place(readings: pd.DataFrame) -> pd.Series[bool]:
    """Return for each reading whether it has a pressure above zero and a speed."""
    pressure, speed = readings["pressure_pa"].to_numpy(float), readings["speed_rad_s"].to_numpy(float)
    return pd.Series(np.isfinite(pressure) & (pressure > 0) & np.isfinite(speed), index=readings.index, dtype=bool)


def drawable(readings: pd.DataFrame) -> pd.Series[bool]:
    """Return for each reading whether figures show it: it has a place, and is used or not far from those used."""
    placed = has_place(readings)
    used = readings[placed & readings["used"]]
    if len(used) < 2:
        return placed
    low, high = used["pressure_pa"].min() / _FAR, used["pressure_pa"].max() * _FAR
    near = readings["pressure_pa"].between(low, high)
    slow = readings["speed_rad_s"].abs() <= _FAR * used["speed_rad_s"].abs().max()
    return pd.Series(placed & (readings["used"] | (near & slow)), index=readings.index, dtype=bool)


def pressure_ends(*tables: pd.DataFrame) -> tuple[float, float]:
    """Return the ends of an axis that holds the pressures of all drawable readings, Pa."""
    logs = np.concatenate([np.log(table.loc[drawable(table), "pressure_pa"].to_numpy(float)) for table in tables])
    low, high = float(logs.min()), float(logs.max())
    room = max(_MARGIN * (high - low), 0.12)
    return float(np.exp(low - room)), float(np.exp(high + room))
