"""A gauge whose voltage is proportional to pressure, such as a capacitance diaphragm gauge."""

from __future__ import annotations

from typing import Literal

from edgewind.bench.fields import Voltage, quantity
from edgewind.bench.gauges.base import FloatArray, Gauge, Principle, log_of_positive
from edgewind.units import Measured


class LinearGauge(Gauge):
    """``p = (V - zero) * scale``.

    Attributes
    ----------
    zero : Measured
        Output voltage at no pressure.
    scale : Measured
        Pressure per voltage.
    """

    kind: Literal["linear"]
    principle: Principle = "diaphragm"
    zero: Voltage = Measured(0.0)
    scale: quantity("pressure per voltage", above=0.0)  # type: ignore[valid-type]

    def indicated_log_pressure(self, voltage_v: FloatArray) -> FloatArray:  # noqa: D102
        return log_of_positive((voltage_v - self.zero.value) * self.scale.value)
