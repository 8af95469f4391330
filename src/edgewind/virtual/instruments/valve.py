"""The supply whose voltage opens the leak valve."""

from __future__ import annotations

from edgewind.virtual.instruments.base import Supply
from edgewind.virtual.scpi import Numeric


class SimulatedValve(Supply):
    """Supply of a valve that is closed at 0 V and with the output off."""

    NAME = "valve"
    LEVEL = Numeric("V", 0.0, 10.0, 0.0)
    COMMANDS = Supply.supply_commands(LEVEL)

    def drive(self) -> None:
        """Open the valve."""
        self.apparatus.open_valve(self.terminals_v())
