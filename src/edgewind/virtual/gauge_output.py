"""From true pressure to the gauge's volts: the inverse of `signals.pressure`, for every kind of gauge."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from edgewind.bench import Bench

FloatArray = NDArray[np.float64]
# How far the output runs beyond its two ends before it stays where it is, as a share of its span.
BEYOND = 0.02
_HALVINGS, _CLOSE = 60, 1e-6


def indicated_log_pressure(pressure_pa: ArrayLike, bench: Bench, shows: float = 1.0) -> FloatArray:
    """Natural logarithm of what a gauge indicates, in Pa, at a true pressure.

    The gas factor and the owner's correction are taken off again: ``ln p = ln p_i + ln f + s (ln p_i - ln pivot) +
    ln g`` solved for ``p_i``.

    Parameters
    ----------
    pressure_pa : array
        True pressure, Pa.
    bench : Bench
        The apparatus.
    shows : float
        Indicated over true pressure beyond that: the error of this very gauge.
    """
    log_p = np.log(np.maximum(np.asarray(pressure_pa, dtype=float), 1e-300)) - np.log(bench.gas_factor.value)
    correction = bench.gauge.correction
    if correction is not None:
        slope, pivot = correction.slope.value, np.log(correction.pivot.value)
        log_p = (log_p - np.log(correction.factor.value) + slope * pivot) / (1 + slope)
    return np.asarray(log_p + np.log(shows))


def volts_from_pressure(pressure_pa: ArrayLike, bench: Bench, shows: float = 1.0) -> FloatArray:
    """Output of the gauge at a true pressure, V, without noise.

    The transfer function is inverted by halving, so that any monotone kind of gauge will do. Beyond its range the
    output runs on by :data:`BEYOND` of its span and stays there.

    Parameters
    ----------
    pressure_pa, bench, shows
        As of :func:`indicated_log_pressure`.
    """
    wanted = indicated_log_pressure(pressure_pa, bench, shows)
    gauge = bench.gauge
    low, high = gauge.signal_low.value, gauge.signal_high.value
    margin = BEYOND * (high - low)
    lower = np.full(wanted.shape, low - margin)
    upper = np.full(wanted.shape, high + margin)
    middle_v, sign = (low + high) / 2, 1.0 if gauge.rises else -1.0
    for _ in range(_HALVINGS):
        middle = (lower + upper) / 2
        found = gauge.indicated_log_pressure(middle)
        # Where the transfer function gives no pressure, the output is beyond the end that is nearer.
        silent = np.where(middle < middle_v, -np.inf, np.inf) * sign
        below = sign * np.where(np.isfinite(found), found, silent) < sign * wanted
        lower, upper = np.where(below, middle, lower), np.where(below, upper, middle)
    volts = (lower + upper) / 2
    # The end of a table is met, not passed, by halving: what lies beyond it goes to the rail.
    missed = ~(np.abs(gauge.indicated_log_pressure(volts) - wanted) < _CLOSE)
    return np.asarray(np.where(missed, np.where(volts < middle_v, low - margin, high + margin), volts))
