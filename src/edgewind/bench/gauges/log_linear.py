"""A gauge whose voltage is proportional to the logarithm of pressure."""

from __future__ import annotations

from typing import Literal

import numpy as np

from edgewind.bench.fields import Pressure, Voltage, quantity
from edgewind.bench.gauges.base import Component, FloatArray, Gauge, Principle


class LogLinearGauge(Gauge):
    """``log10(p / reference_pressure) = (V - reference_voltage) / voltage_per_decade``.

    Attributes
    ----------
    reference_pressure : Measured
        A pressure at which the output is known.
    reference_voltage : Measured
        Output voltage at that pressure.
    voltage_per_decade : Measured
        Voltage by which the output rises for ten times the pressure.
    """

    kind: Literal["log-linear"]
    principle: Principle = "thermal-conductivity"
    reference_pressure: Pressure
    reference_voltage: Voltage
    voltage_per_decade: quantity("voltage per decade", above=0.0)  # type: ignore[valid-type]

    def indicated_log_pressure(self, voltage_v: FloatArray) -> FloatArray:  # noqa: D102
        decades = (voltage_v - self.reference_voltage.value) / self.voltage_per_decade.value
        return np.asarray(np.log(self.reference_pressure.value) + np.log(10) * decades)

    def own_components(self, voltage_v: FloatArray) -> tuple[Component, ...]:
        """Give the slope's uncertainty, which grows with the distance from the reference voltage."""
        per_decade = self.voltage_per_decade
        if not per_decade.u:
            return ()
        decades = (voltage_v - self.reference_voltage.value) / per_decade.value
        return (Component("voltage per decade", np.abs(decades) * np.log(10) * per_decade.relative, common=True),)
