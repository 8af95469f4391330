"""Pump-down in closed form, where the pumping speed is constant: what the integration is checked against."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import expi

from edgewind.plan.chamber import EARLIEST_S

Array = NDArray[np.float64]


def pump_down_closed_form(
    time_s: Any, volume_m3: float, speed_m3_s: float, start_pa: float, *, load_pa_m3_s: float = 0.0,
    falling_pa_m3: float = 0.0, start_s: float = EARLIEST_S,
) -> Array:  # fmt: skip
    """Return the pressure at constant pumping speed under a constant load and one that falls as 1/t, Pa.

    With ``a = S/V``, from the pressure p0 at t0: ``p = p_u + (p0 - p_u) exp(-a (t - t0)) + (B/V) exp(-a t) (Ei(a t) -
    Ei(a t0))``, where ``p_u = Q/S`` and the load is ``Q + B/t``.

    Parameters
    ----------
    time_s : array
        Times, not before `start_s`, s. ``a t`` up to 700, beyond which the exponential integral overflows.
    volume_m3, speed_m3_s, start_pa : float
        V, S and p0.
    load_pa_m3_s, falling_pa_m3 : float
        Q, Pa m^3/s, and B, Pa m^3.
    start_s : float
        t0, s.
    """
    time = np.asarray(time_s, dtype=float)
    a = speed_m3_s / volume_m3
    rest = load_pa_m3_s / speed_m3_s
    falling: Array | float = 0.0
    if falling_pa_m3:
        falling = falling_pa_m3 / volume_m3 * np.exp(-a * time) * (expi(a * time) - expi(a * start_s))
    return np.asarray(rest + (start_pa - rest) * np.exp(-a * (time - start_s)) + falling)
