"""The thermostat that holds the envelope at a temperature: a bath, a cold gas, a heater."""

from __future__ import annotations

from edgewind.virtual.instruments.base import Switched
from edgewind.virtual.scpi import Command, Numeric, real
from edgewind.virtual.step_kernel import State

_ZERO_CELSIUS_K = 273.15


class SimulatedThermostat(Switched):
    """Thermostat in degrees Celsius; initially off, with the envelope at the temperature of the room."""

    NAME = "thermostat"
    LEVEL = Numeric("", -60.0, 90.0, 22.0)

    def drive(self) -> None:
        """Hold the envelope at the level, or release it."""
        self.apparatus.hold_envelope(self.level + _ZERO_CELSIUS_K if self.output else None)

    def read(self) -> str:
        """Measure the temperature of the envelope, with a hundredth of a degree of noise."""
        kelvin = float(self.apparatus.states(self.now())[0, State.ENVELOPE])
        return real(kelvin - _ZERO_CELSIUS_K + 0.01 * self.random.standard_normal())

    COMMANDS = (
        *Switched.settings("[SOURce:]TEMPerature[:SPOint]", LEVEL),
        Command("MEASure[:SCALar]:TEMPerature?", read),
    )
