"""The thermometer on the envelope."""

from __future__ import annotations

from typing import ClassVar

from edgewind.virtual.instruments.base import BenchInstrument
from edgewind.virtual.scpi import Choice, Command, real, setting
from edgewind.virtual.step_kernel import State

_ZERO_CELSIUS_K = 273.15
UNITS = Choice(("C", "K", "FAR"))


class Thermometer(BenchInstrument):
    """Thermometer in degrees Celsius, unless UNIT:TEMPerature sets another unit."""

    NAME = "thermometer"
    UNIT: ClassVar[Choice] = UNITS
    unit: str

    def reset(self) -> None:
        """Set the unit to degrees Celsius."""
        self.unit = "C"

    def read(self) -> str:
        """Take a reading and answer with it."""
        noise = self.apparatus.virtual.thermometer_noise.value * self.random.standard_normal()
        kelvin = float(self.apparatus.states(self.now())[0, State.ENVELOPE]) + noise
        celsius = kelvin - _ZERO_CELSIUS_K
        return real({"C": celsius, "K": kelvin, "FAR": 32 + 1.8 * celsius}[self.unit])

    COMMANDS = (
        Command("MEASure[:SCALar]:TEMPerature?", read),
        Command("READ?", read),
        *setting("UNIT:TEMPerature", "unit", UNITS),
    )
