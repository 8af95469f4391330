"""Base of the instruments of the virtual bench, with the apparatus and noise."""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import Any, ClassVar
from zlib import crc32

import numpy as np

from edgewind.virtual.apparatus import Apparatus
from edgewind.virtual.scpi import Command, Numeric, ScpiInstrument, Switch, real, setting


class BenchInstrument(ScpiInstrument):
    """An instrument of the simulated apparatus.

    Parameters
    ----------
    apparatus : Apparatus
        The apparatus that it measures or moves.
    seed : int
        Seed of its noise; the same seed and the same commands at the same bench times give the same readings.
    """

    def __init__(self, apparatus: Apparatus, seed: int) -> None:
        super().__init__(apparatus.now)
        self.apparatus, self.seed = apparatus, seed
        self.random = np.random.default_rng([seed, crc32(type(self).__name__.encode())])
        self.reset()

    def tend(self) -> None:
        """Carry out pending work without a query; called from time to time."""


class Switched(BenchInstrument, ABC):
    """A level, and an output that is off until it is switched on.

    Attributes
    ----------
    LEVEL : Numeric
        Least, greatest and *RST level.
    level, output : float, bool
        Its settings.
    """

    LEVEL: ClassVar[Numeric]
    level: float
    output: bool

    def reset(self) -> None:
        """Switch the output off and set the level of *RST."""
        self.level, self.output = self.LEVEL.default, False
        self.drive()

    def change(self, attribute: str, value: Any) -> None:
        """Set level or output, and act on the apparatus."""
        super().change(attribute, value)
        self.drive()

    @abstractmethod
    def drive(self) -> None:
        """Act on the apparatus."""

    @classmethod
    def settings(cls, header: str, level: Numeric) -> tuple[Command, ...]:
        """Return the commands and queries of the level, under this header, and of the output."""
        return (*setting(header, "level", level), *setting("OUTPut[:STATe]", "output", Switch()))


class Supply(Switched):
    """A direct-voltage supply."""

    def terminals_v(self) -> float:
        """Return the voltage at the terminals, V."""
        return self.level if self.output else 0.0

    def measure(self) -> str:
        """Measure the voltage at the terminals, with a millivolt of noise."""
        return real(self.terminals_v() + 1e-3 * self.random.standard_normal())

    @classmethod
    def supply_commands(cls, level: Numeric) -> tuple[Command, ...]:
        """Return the commands of a supply with these levels."""
        return (
            *cls.settings("[SOURce:]VOLTage[:LEVel][:IMMediate][:AMPLitude]", level),
            Command("MEASure[:SCALar]:VOLTage[:DC]?", cls.measure),
        )
