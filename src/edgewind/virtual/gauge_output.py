"""Volts of the gauge from true pressure: the inverse of `signals.pressure`, for every kind of gauge."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from edgewind.bench import Bench
from edgewind.gas.transpiration import pressure_at_other_end

FloatArray = NDArray[np.float64]
# Range of the output beyond its two ends, as a share of its span.
BEYOND = 0.02
_TABLE, _STEPS, _EXACT, _CLOSE = 1025, 40, 1e-11, 1e-6


def indicated_log_pressure(pressure_pa: ArrayLike, bench: Bench, shows: float = 1.0) -> FloatArray:
    """Return the natural logarithm of the indicated pressure, in Pa, at a true pressure.

    Thermal transpiration, the gas factor and the stated correction are applied in reverse: ``ln p = ln p_i + ln f + s
    (ln p_i - ln pivot) + ln g`` solved for ``p_i``.

    Parameters
    ----------
    pressure_pa : array
        True pressure, Pa.
    bench : Bench
        The apparatus.
    shows : float
        Indicated over true pressure beyond that: the error of this gauge.
    """
    pressure = np.maximum(np.asarray(pressure_pa, dtype=float), 1e-300)
    warm, tube = bench.gauge.temperature, bench.gauge.tube_diameter
    if warm is not None and tube is not None:
        chamber = bench.envelope_temperature.value
        pressure = pressure_at_other_end(pressure, chamber, warm.value, tube.value, bench.gas.gas)
    log_p = np.log(pressure) - np.log(bench.gas_factor.value)
    correction = bench.gauge.correction
    if correction is not None:
        slope, pivot = correction.slope.value, np.log(correction.pivot.value)
        log_p = (log_p - np.log(correction.factor.value) + slope * pivot) / (1 + slope)
    return np.asarray(log_p + np.log(shows))


class GaugeOutput:
    """The output of one gauge at any pressure: the inverse of its transfer function, of any monotone kind.

    The transfer function is tabulated once; within the interval of the table that holds a pressure it is inverted by
    regula falsi with halved weights (Illinois). Beyond its range the output continues by :data:`BEYOND` of its span and
    is then constant.

    Parameters
    ----------
    bench : Bench
        The apparatus.
    shows : float
        Indicated over true pressure, beyond the stated correction.
    error : callable, optional
        The same over the pressure, Pa: an error that varies with pressure.
    """

    def __init__(
        self, bench: Bench, shows: float = 1.0, error: Callable[[FloatArray], FloatArray] | None = None
    ) -> None:
        self._bench, self._shows, self._error = bench, shows, error
        gauge = bench.gauge
        low, high = gauge.signal_low.value, gauge.signal_high.value
        margin = BEYOND * (high - low)
        self._rails, self._middle_v = (low - margin, high + margin), (low + high) / 2
        self._sign = 1.0 if gauge.rises else -1.0
        self._volts = np.linspace(*self._rails, _TABLE)
        self._rising = self._rise(self._volts)

    def _rise(self, volts: FloatArray) -> FloatArray:
        """Return ln p indicated at a voltage, with a sign such that it rises; infinite beyond the transfer function."""
        found = self._bench.gauge.indicated_log_pressure(volts)
        # Without a pressure from the transfer function, the output is beyond the nearer end.
        silent = np.where(volts < self._middle_v, -np.inf, np.inf)
        return np.asarray(np.where(np.isfinite(found), self._sign * found, silent))

    def indicated_log_pressure(self, pressure_pa: ArrayLike) -> FloatArray:
        """Return the natural logarithm of the pressure indicated by this gauge, in Pa, at a true pressure."""
        pressure = np.maximum(np.asarray(pressure_pa, dtype=float), 1e-300)
        shown = pressure if self._error is None else pressure * self._error(pressure)
        return indicated_log_pressure(shown, self._bench, self._shows)

    def volts(self, pressure_pa: ArrayLike) -> FloatArray:
        """Return the output at a true pressure, V, without noise."""
        wanted = self._sign * self.indicated_log_pressure(pressure_pa)
        place = np.clip(np.searchsorted(self._rising, wanted, side="right"), 1, _TABLE - 1)
        lower, upper = self._volts[place - 1], self._volts[place]
        at_lower, at_upper = self._rising[place - 1] - wanted, self._rising[place] - wanted
        volts, last = lower, np.zeros(wanted.shape)
        for _ in range(_STEPS):
            with np.errstate(invalid="ignore", divide="ignore"):
                share = at_lower / (at_lower - at_upper)
            share = np.where((share > 0) & (share < 1), share, 0.5)
            volts = lower + share * (upper - lower)
            found = self._rise(volts) - wanted
            if np.all(np.abs(found) < _EXACT):
                break
            below = found < 0
            at_upper = np.where(below, np.where(last < 0, at_upper / 2, at_upper), found)
            at_lower = np.where(below, found, np.where(last > 0, at_lower / 2, at_lower))
            lower, upper = np.where(below, volts, lower), np.where(below, upper, volts)
            last = np.where(below, -1.0, 1.0)
        # The end of a table is inside the range: the output beyond it goes to the rail.
        missed = ~(np.abs(found) < _CLOSE)
        return np.asarray(np.where(missed, np.where(volts < self._middle_v, *self._rails), volts))
