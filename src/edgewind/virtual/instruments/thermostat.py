"""The thermostat that holds the envelope at a temperature: a bath, a cold gas, a heater."""

from __future__ import annotations

from typing import Any

from edgewind.virtual.instruments.base import BenchInstrument
from edgewind.virtual.scpi import Command, Numeric, Switch, real, setting
from edgewind.virtual.step_kernel import State

_ZERO_CELSIUS_K = 273.15
TEMPERATURE = Numeric("", -60.0, 90.0, 22.0)


class SimulatedThermostat(BenchInstrument):
    """Degrees Celsius; initially off, with the envelope at the temperature of the room."""

    NAME = "thermostat"
    level_c: float
    output: bool

    def reset(self) -> None:
        """Switch off; the set temperature of *RST."""
        self.level_c, self.output = TEMPERATURE.default, False
        self._drive()

    def change(self, attribute: str, value: Any) -> None:
        """Set temperature or output, and act on the envelope."""
        super().change(attribute, value)
        self._drive()

    def _drive(self) -> None:
        self.apparatus.hold_envelope(self.level_c + _ZERO_CELSIUS_K if self.output else None)

    def read(self) -> str:
        """Measure the temperature of the envelope, with a hundredth of a degree of noise."""
        kelvin = float(self.apparatus.states(self.now())[0, State.ENVELOPE])
        return real(kelvin - _ZERO_CELSIUS_K + 0.01 * self.random.standard_normal())

    COMMANDS = (
        *setting("[SOURce:]TEMPerature[:SPOint]", "level_c", TEMPERATURE),
        *setting("OUTPut[:STATe]", "output", Switch()),
        Command("MEASure[:SCALar]:TEMPerature?", read),
    )
