"""The supply of the lamp."""

from __future__ import annotations

from edgewind.virtual.instruments.base import Supply
from edgewind.virtual.scpi import Command, Numeric, real

# Power radiated by a filament lamp against its voltage, near its rating; common practice, no source.
POWER_EXPONENT = 1.6
RATED_V = 12.0


class SimulatedLamp(Supply):
    """Supply of a lamp that gives the irradiance of the bench at its rated voltage, and less below; initially off."""

    NAME = "lamp"
    LEVEL = Numeric("V", 0.0, 1.1 * RATED_V, RATED_V)

    def drive(self) -> None:
        """Light the lamp."""
        self.apparatus.light((self.terminals_v() / RATED_V) ** POWER_EXPONENT)

    def current(self) -> str:
        """Measure the current: an invented lamp of 50 W, whose resistance grows as the root of its voltage."""
        share = self.terminals_v() / RATED_V
        return real(50 / RATED_V * share**0.5 + 1e-3 * self.random.standard_normal())

    COMMANDS = (*Supply.supply_commands(LEVEL), Command("MEASure[:SCALar]:CURRent[:DC]?", current))
