"""The speed observed under the usual conditions near a pressure."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd

# Smallest relative spread of that speed, for repeatability and model. Our judgement, no source.
LEAST_SPREAD = 0.05
# Largest factor of pressure from the nearest reading.
_FURTHEST = 3.0


class Usual(NamedTuple):
    """Speed at the usual conditions, rad/s, its spread, and whether its direction is known."""

    speed: float
    spread: float
    signed: bool


def usual_speed(usual: pd.DataFrame, pressure_pa: float) -> Usual | None:
    """Return the speed observed under the usual conditions near a pressure; None if no reading is near.

    Parameters
    ----------
    usual : DataFrame
        Readings at the usual conditions.
    pressure_pa : float
        Pressure, Pa.
    """
    pressure, speed = usual["pressure_pa"].to_numpy(float), usual["speed_rad_s"].to_numpy(float)
    near = np.isfinite(pressure) & np.isfinite(speed) & (pressure > 0)
    if not near.any():
        return None
    pressure, speed, u = pressure[near], speed[near], usual["speed_u_rad_s"].to_numpy(float)[near]
    order = np.argsort(pressure)
    log_p, at = np.log(pressure[order]), np.log(pressure_pa)
    away = np.min(np.abs(log_p - at))
    if away > np.log(_FURTHEST):
        return None
    value = float(np.interp(at, log_p, speed[order]))
    faces = usual["leading_face"].isin(("bright", "dark")).to_numpy()[near]
    return Usual(value, float(np.hypot(np.median(u), abs(value) * (LEAST_SPREAD + 0.2 * away))), bool(faces.all()))
