"""A gauge whose pressure is read off its display and typed."""

from __future__ import annotations

from typing import Literal

import numpy as np

from edgewind.bench.fields import Voltage
from edgewind.bench.gauges.base import FloatArray, Gauge, Principle
from edgewind.units import Measured


class DisplayGauge(Gauge):
    """Pressures are typed as displayed; there is no voltage to turn into one."""

    kind: Literal["display"]
    principle: Principle = "thermal-conductivity"
    signal_low: Voltage = Measured(0.0)
    signal_high: Voltage = Measured(1.0)

    def indicated_log_pressure(self, voltage_v: FloatArray) -> FloatArray:
        """Return nan: a display gives no voltage."""
        return np.full_like(voltage_v, np.nan)
