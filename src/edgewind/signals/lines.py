"""Lines in the spectrum of a trace: a windowed periodogram, its noise floor, its peaks."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.comb import centred_time
from edgewind.signals.smooth import fast_length
from edgewind.signals.thresholds import (
    LINE,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

PADDING = 2


@dataclass(frozen=True)
class LineSpectrum:
    """Periodogram under a Hann window, twice padded, and its noise floor.

    Attributes
    ----------
    power : array
        Squared modulus of the transform.
    floor : array
        Mean power of noise alone at each frequency.
    step_hz : float
        Distance of the samples in frequency.
    """

    power: FloatArray
    floor: FloatArray
    step_hz: float

    @cached_property
    def ratio(self) -> FloatArray:
        """Power over the noise floor."""
        return np.asarray(self.power / self.floor)

    @cached_property
    def widest(self) -> FloatArray:
        """The greatest of each power and its two neighbours."""
        widest = self.power.copy()
        np.maximum(widest[1:], self.power[:-1], out=widest[1:])
        np.maximum(widest[:-1], self.power[1:], out=widest[:-1])
        return widest

    def at(self, frequency_hz: FloatArray) -> FloatArray:
        """Return the greatest power within one sample of each frequency; folded at half the sample rate, if above."""
        last = self.power.size - 1
        place = np.rint(frequency_hz / self.step_hz).astype(int) % (2 * last)
        place = np.where(place > last, 2 * last - place, place)
        return np.asarray(self.widest[place])

    def ratio_at(self, frequency_hz: FloatArray) -> FloatArray:
        """Return the greatest power over the floor within one sample of each frequency."""
        place = np.clip(np.rint(frequency_hz / self.step_hz).astype(int), 0, self.power.size - 1)
        return np.asarray(self.at(frequency_hz) / self.floor[place])


def line_spectrum(voltage: FloatArray, interval_s: float) -> LineSpectrum:
    """Return the periodogram of a trace, straightened, under a Hann window."""
    samples = voltage.size
    straight = voltage - np.mean(voltage)
    time = centred_time(samples, 1.0)
    straight = straight - time * (time @ straight) / (time @ time)
    window = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(samples) + 0.5) / samples)
    length = fast_length(PADDING * samples)
    power = np.abs(np.fft.rfft(straight * window, length)) ** 2
    return LineSpectrum(power, noise_floor(power), 1 / (length * interval_s))


def noise_floor(power: FloatArray) -> FloatArray:
    """Return a smooth floor under the lines: medians of stretches that widen with frequency, joined in logarithms.

    The median of exponentially distributed power is ln 2 times its mean.
    """
    tiny = max(float(np.max(power)), np.finfo(float).tiny) * 1e-26
    begin, places, levels = 2, [1.0], [tiny]
    while (width := max(24, begin // 2)) < 600 and begin + width <= power.size:
        places.append(begin + width / 2)
        levels.append(float(np.median(power[begin : begin + width])))
        begin += width
    count = (power.size - begin) // 600
    if count:
        blocks = power[begin : begin + 600 * count].reshape(count, 600)
        places.extend(begin + 600 * (np.arange(count) + 0.5))
        levels.extend(np.median(blocks, axis=1))
    if len(levels) > 1:
        places, levels = places[1:], levels[1:]
    logarithm = np.interp(np.arange(power.size), places, np.log(np.maximum(levels, tiny)))
    return np.asarray(np.exp(logarithm) / np.log(2))


def peaks(spectrum: LineSpectrum, most: int = 12) -> FloatArray:
    """Return the frequencies of the strongest lines, strongest first, from a parabola through the logarithms."""
    power, ratio = spectrum.power, spectrum.ratio
    top = np.flatnonzero((power[1:-1] > power[:-2]) & (power[1:-1] >= power[2:]) & (ratio[1:-1] > LINE)) + 1
    top = top[top >= 2 * PADDING]
    top = top[np.argsort(power[top])[::-1]]
    # side lobes of a strong line are not lines
    kept: list[int] = []
    for cell in top[: 8 * most]:
        if all(abs(cell - other) > 2 * PADDING for other in kept):
            kept.append(int(cell))
        if len(kept) == most:
            break
    cells = np.array(kept, dtype=np.int64)
    if cells.size == 0:
        return np.empty(0)
    with np.errstate(divide="ignore", invalid="ignore"):
        left, middle, right = (np.log(power[cells + i] + np.finfo(float).tiny) for i in (-1, 0, 1))
        shift = np.clip(0.5 * (left - right) / (left - 2 * middle + right), -0.5, 0.5)
    return np.asarray((cells + np.nan_to_num(shift)) * spectrum.step_hz)


def decimate(voltage: FloatArray, interval_s: float, highest_hz: float) -> tuple[FloatArray, float]:
    """Return means over as many neighbouring samples as keep the given frequency below 0.35 of the sample rate."""
    factor = max(1, int(0.35 / (highest_hz * interval_s)))
    factor = min(factor, max(1, voltage.size // 200))
    if factor == 1:
        return voltage, interval_s
    count = voltage.size // factor
    spare = voltage.size - count * factor
    begin = spare // 2
    # an odd spare sample would move the middle of the trace by half an interval: far below any uncertainty
    return voltage[begin : begin + count * factor].reshape(count, factor).mean(axis=1), interval_s * factor
