"""Output of the tachometer: pulses at the angles of the marks, hum and baseline drift, continuous between traces."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from edgewind.bench import Bench
from edgewind.bench.virtual import VirtualSection
from edgewind.signals.synthetic import PulseTrain, pulses

FloatArray = NDArray[np.float64]
_WANDER_HZ = (0.01, 0.6)
_WANDER_TONES = 16


class TachometerSignal:
    """Voltage of the tachometer against bench time and the angle of the rotor.

    The pulses are those of `signals.synthetic`, the same at every turn: two traces of one moment agree, and a mark
    keeps its height and place. Marks are evenly spaced, or at `[tachometer] mark_places`, which may show the direction.
    Wander is a sum of slow tones.

    Parameters
    ----------
    bench : Bench
        The apparatus.
    seed : int
        Seed of the marks' heights and places, and of the phases.
    """

    def __init__(self, bench: Bench, seed: int) -> None:
        virtual = bench.virtual or VirtualSection()
        seen = PulseTrain(
            1.0, marks=bench.tachometer.marks, height_v=virtual.pulse_height.value,
            height_spread=virtual.pulse_height_spread.value, spacing_spread=virtual.pulse_spacing_spread.value,
            pulse_width=virtual.pulse_width.value, places=bench.tachometer.mark_places,
        )  # fmt: skip
        self.marks = seen.marks
        self.noise_v = virtual.tachometer_noise.value
        self._offset_v, self._hum_v = virtual.tachometer_offset.value, virtual.tachometer_hum.value
        mains = bench.tachometer.mains_frequency
        self._hum_hz = 50.0 if mains is None else mains.value
        count = max(16_384, 256 * seen.marks)
        around = np.arange(count) / count
        turn = pulses(around, seen, np.random.default_rng([seed, 1]))
        self._turn = np.append(turn, turn[0])
        random = np.random.default_rng([seed, 2])
        low, high = _WANDER_HZ
        self._wander_hz = np.geomspace(low, high, _WANDER_TONES) * random.uniform(0.95, 1.05, _WANDER_TONES)
        strength = 1 / self._wander_hz
        self._wander_v = virtual.tachometer_wander.value * strength * np.sqrt(2 / np.sum(strength**2))
        self._phase = random.uniform(0, 2 * np.pi, _WANDER_TONES + 1)

    def pulses(self, turns: FloatArray) -> FloatArray:
        """Return the pulses alone, V, at angles in turns."""
        place = (turns - np.floor(turns)) * (self._turn.size - 1)
        index = place.astype(np.int64)
        share = place - index
        low = self._turn[index]
        return np.asarray(low + share * (self._turn[np.minimum(index + 1, self._turn.size - 1)] - low))

    def voltage(self, time_s: FloatArray, turns: FloatArray) -> FloatArray:
        """Return the voltage without noise, V, at evenly spaced moments and the angles there."""
        hum = 2 * np.pi * self._hum_hz * time_s + self._phase[0]
        volts = self.pulses(turns) + self._offset_v
        if self._hum_v:
            volts += self._hum_v * (np.sin(hum) + np.sin(3 * hum + 1.0) / 3)
        return np.asarray(volts + self.wander(time_s))

    def wander(self, time_s: FloatArray) -> FloatArray:
        """Return the slow part, V, as straight lines between moments at most 50 ms apart."""
        first, last = float(time_s[0]), float(time_s[-1])
        # Nodes on a grid that does not depend on the trace, so that two traces of one moment agree.
        nodes = np.arange(np.floor(first / 0.05), np.ceil(last / 0.05) + 1) * 0.05
        slow = np.sin(2 * np.pi * np.outer(nodes, self._wander_hz) + self._phase[1:]) @ self._wander_v
        return np.interp(time_s, nodes, slow) if nodes.size > 1 else np.full_like(time_s, slow[0])
