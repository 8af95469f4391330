"""Speed of rotation from a trace: edges and spectrum, compared, and the better one chosen."""

from __future__ import annotations

import hashlib
import math
from dataclasses import replace
from functools import cache

import numpy as np
from threadpoolctl import ThreadpoolController

from edgewind.errors import InputError
from edgewind.signals.coupled_speed import estimate_coupled
from edgewind.signals.hum_estimate import estimate_voltage
from edgewind.signals.speed_estimate import SpeedEstimate, in_flag_order, nothing
from edgewind.signals.trace import Trace


def estimate_speed(trace: Trace, marks: int, *, mains_hz: float | str | None = "auto") -> SpeedEstimate:
    """Estimate the speed of rotation from the trace of a tachometer.

    Parameters
    ----------
    trace : Trace
        Voltage of the tachometer.
    marks : int
        Pulses a turn.
    mains_hz : float, "auto" or None
        Frequency of the mains, whose hum is not taken for rotation. "auto" takes 50 Hz or 60 Hz, whichever shows;
        None looks for no hum.

    Returns
    -------
    SpeedEstimate
        Speed in the middle of the trace, with flags; no number where there is none.

    Raises
    ------
    InputError
        When the number of marks or the mains frequency makes no sense.

    Examples
    --------
    >>> from edgewind.signals.synthetic import PulseTrain, synthesise
    >>> trace = synthesise(PulseTrain(turn_rate_hz=5.0, marks=4, noise_v=0.02), samples=20_000, interval_s=1e-4, seed=3)
    >>> estimate = estimate_speed(trace, marks=4)
    >>> round(estimate.speed_rad_s / (2 * math.pi), 3), estimate.flags
    (5.0, ())
    """
    if isinstance(marks, bool) or not isinstance(marks, int | np.integer) or not 1 <= marks <= 10_000:
        raise InputError(
            f"the number of marks cannot be {marks!r}", fix="give a whole number of pulses a turn, 1 or more"
        )
    if isinstance(mains_hz, str) and mains_hz != "auto":
        raise InputError(f"the mains frequency cannot be '{mains_hz}'", fix="give it in hertz, or 'auto', or None")
    if isinstance(mains_hz, int | float) and not (math.isfinite(mains_hz) and mains_hz > 0):
        raise InputError(f"the mains frequency cannot be {mains_hz} Hz", fix="give a positive number, 'auto' or None")
    voltage = np.asarray(trace.voltage_v, dtype=np.float64)
    if voltage.size < 16 or not 0 < float(np.ptp(voltage)) < np.inf:
        return nothing(trace.flags)
    unit = float(np.ptp(voltage))
    key = (hashlib.sha256(voltage.tobytes()).digest(), trace.interval_s, int(marks), mains_hz, trace.coupled)
    found = _KNOWN.get(key)
    if found is None:
        # threads of the linear algebra cost more than they give on matrices this small
        with _linear_algebra().limit(limits=1, user_api="blas"):
            scaled = (voltage - np.median(voltage)) / unit
            analyse = estimate_coupled if trace.coupled else estimate_voltage
            found = analyse(scaled, trace.interval_s, int(marks), mains_hz)
        _KNOWN[key] = found
        while len(_KNOWN) > _MOST_KNOWN:
            _KNOWN.pop(next(iter(_KNOWN)), None)
    u = math.hypot(found.speed_u_rad_s, trace.interval_u_rel * found.speed_rad_s)
    return replace(found, speed_u_rad_s=u, flags=in_flag_order({*found.flags, *trace.flags}))


# Results by the samples of traces: an experiment is read again with each new reading, with unchanged old traces.
_KNOWN: dict[tuple[bytes, float, int, float | str | None, bool], SpeedEstimate] = {}
_MOST_KNOWN = 4096


@cache
def _linear_algebra() -> ThreadpoolController:
    """Return the handle on the threads of the linear algebra; to find them takes longer than an analysis."""
    return ThreadpoolController()
