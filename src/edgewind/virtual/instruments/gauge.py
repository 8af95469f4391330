"""The voltmeter on the pressure gauge."""

from __future__ import annotations

import numpy as np

from edgewind.bench import Bench
from edgewind.virtual.apparatus import Apparatus
from edgewind.virtual.instruments.base import BenchInstrument
from edgewind.virtual.scpi import Command, ScpiError, Steps, real
from edgewind.virtual.step_kernel import State

READING_S = 0.02  # one period of the mains, over which the voltmeter integrates


def gauge_volts(apparatus: Apparatus, time_s: float) -> float:
    """Return the output of the gauge, V, without noise."""
    pressure = float(apparatus.states(time_s)[0, State.GAUGE])
    return float(apparatus.gauge_output.volts(pressure))


def has_voltage(bench: Bench) -> bool:
    """Return whether the gauge of a bench has a voltage output; a display has none."""
    return bool(bench.gauge.kind != "display")


class GaugeMeter(BenchInstrument):
    """Voltmeter with the stated noise and resolution; a display gives a pressure instead."""

    NAME = "gauge"

    def reset(self) -> None:
        """Forget the last reading."""
        self._last: float | None = None
        self._ends = 0.0

    def pending_until(self) -> float:
        """Return the end of the current reading."""
        return self._ends

    def read_volts(self) -> float:
        """Take a reading now."""
        gauge = self.apparatus.bench.gauge
        if not has_voltage(self.apparatus.bench):
            raise ScpiError(-241, "the gauge of this bench is a display; ask MEASure:PRESsure?")
        volts = gauge_volts(self.apparatus, self.now()) + gauge.noise.value * self.random.standard_normal()
        step = gauge.resolution.value
        return float(np.round(volts / step) * step) if step else volts

    def read(self) -> str:
        """Take a reading and answer with it."""
        self._last = self.read_volts()
        return real(self._last)

    def initiate(self) -> None:
        """Take a reading that ends after :data:`READING_S`."""
        if self._ends > self.now():
            raise ScpiError(-213)
        self._last = self.read_volts()
        self._ends = self.now() + READING_S

    def fetch(self) -> Steps:
        """Answer with the reading that INITiate began, once it has ended."""
        if self._last is None:
            raise ScpiError(-230, "no reading was taken")
        while self._ends > self.now():
            yield self._ends
        return real(self._last)

    def pressure(self) -> str:
        """Answer with the pressure on a display, Pa, to three digits."""
        if has_voltage(self.apparatus.bench):
            raise ScpiError(-241, "the gauge of this bench gives a voltage; ask MEASure:VOLTage?")
        truth = float(self.apparatus.states(self.now())[0, State.GAUGE])
        shown = np.exp(self.apparatus.gauge_output.indicated_log_pressure(truth))
        return real(float(f"{float(shown):.3g}"))

    COMMANDS = (
        Command("MEASure[:SCALar]:VOLTage[:DC]?", read),
        Command("MEASure[:SCALar]:PRESsure?", pressure),
        Command("CONFigure[:SCALar]:VOLTage[:DC]", reset),
        Command("READ?", read),
        Command("INITiate[:IMMediate]", initiate),
        Command("FETCh?", fetch),
        Command("ABORt", reset),
    )
