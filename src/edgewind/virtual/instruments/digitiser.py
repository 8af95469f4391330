"""What oscilloscope and stream share: the tachometer sampled, as whole numbers of steps of a converter."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from edgewind.virtual.apparatus import Apparatus
from edgewind.virtual.instruments.base import BenchInstrument
from edgewind.virtual.scpi import Choice, Number
from edgewind.virtual.tachometer import TachometerSignal

STEPS = 4096  # 12 bits over the range
RANGE = Number("V", 0.01, 100.0, 4.0)
OFFSET = Number("V", -100.0, 100.0, 1.0)
BYTE_ORDER = Choice(("NORMal", "SWAPped"))


class Digitiser(BenchInstrument):
    """Samples the tachometer.

    Attributes
    ----------
    order : str
        ``NORM``: most significant byte first; ``SWAP``: least.
    """

    order: str

    def __init__(self, apparatus: Apparatus, seed: int) -> None:
        self.signal = TachometerSignal(apparatus.bench, seed)
        super().__init__(apparatus, seed)

    def reset(self) -> None:
        """Most significant byte first."""
        self.order = "NORM"

    def converted(self, volts: NDArray[np.float64], step_v: float, offset_v: float) -> NDArray[np.int16]:
        """Return numbers of steps from the middle, in the rails where the voltage is beyond the range."""
        steps = np.rint((volts - offset_v) / step_v)
        return np.clip(steps, -STEPS // 2, STEPS // 2 - 1, out=steps).astype(np.int16)

    def sampled(
        self, start_s: float, interval_s: float, first: int, count: int, random: np.random.Generator
    ) -> NDArray[np.float64]:
        """Return the voltage of the tachometer, with noise, at samples `first` and on, counted from `start_s`."""
        times = np.asarray(start_s + np.arange(first, first + count) * interval_s, dtype=np.float64)
        volts = self.signal.voltage(times, self.apparatus.turns(times))
        volts += self.signal.noise_v * random.standard_normal(count)
        return volts

    @property
    def swapped(self) -> bool:
        """Whether the least significant byte comes first."""
        return self.order == "SWAP"
