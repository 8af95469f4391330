"""An ionisation gauge read through an electrometer: pressure from the ion current."""

from __future__ import annotations

from typing import Literal

import numpy as np

from edgewind.bench.fields import Voltage, quantity
from edgewind.bench.gauges.base import Component, FloatArray, Gauge, Principle, log_of_positive
from edgewind.units import Measured


class IonCurrentGauge(Gauge):
    """``p = (V - zero) * current_per_voltage / (sensitivity * emission_current)``.

    The usual definition of the sensitivity of an ionisation gauge: J. M. Lafferty (ed.), Foundations of Vacuum Science
    and Technology (1998), chapter 6.

    Attributes
    ----------
    zero : Measured
        Output voltage without an ion current.
    current_per_voltage : Measured
        Ion current per voltage of the electrometer.
    sensitivity : Measured
        Ion current over emission current, per pressure.
    emission_current : Measured
        Current of electrons that the filament emits.
    """

    kind: Literal["ion-current"]
    principle: Principle = "ionisation"
    zero: Voltage = Measured(0.0)
    current_per_voltage: quantity("current per voltage", above=0.0)  # type: ignore[valid-type]
    sensitivity: quantity("sensitivity", above=0.0)  # type: ignore[valid-type]
    emission_current: quantity("current", above=0.0)  # type: ignore[valid-type]

    def indicated_log_pressure(self, voltage_v: FloatArray) -> FloatArray:  # noqa: D102
        per_volt = self.current_per_voltage.value / (self.sensitivity.value * self.emission_current.value)
        return log_of_positive((voltage_v - self.zero.value) * per_volt)

    def own_components(self, voltage_v: FloatArray) -> tuple[Component, ...]:
        """Return the sensitivity, emission current and electrometer, where their uncertainties are given."""
        named = {
            "sensitivity": self.sensitivity,
            "emission current": self.emission_current,
            "electrometer": self.current_per_voltage,
        }
        return tuple(
            Component(name, np.full_like(voltage_v, measured.relative), common=True)
            for name, measured in named.items()
            if measured.u
        )
