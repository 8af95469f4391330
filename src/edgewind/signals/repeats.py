"""Period of a trace of a few similar turns, from the differences between successive turns.

A few broad pulses give neither a line in the spectrum nor a series of times. But each sample of a steady rotor equals
that of the turn before, within the noise: in two turns, half of the samples predict the other half. A wandering
baseline, or a turn with a missing pulse, fails this test.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.lines import decimate
from edgewind.signals.pulses import noise_of
from edgewind.signals.scrutiny import pulses_in
from edgewind.signals.thresholds import (
    REPEAT_HIGH,
    REPEAT_LEAST_TURNS,
    REPEAT_MOST_TURNS,
    REPEAT_NOISE_GAIN,
    REPEAT_REST,
    REPEAT_SAMPLES,
)

FloatArray = NDArray[np.float64]


def repeating_rate(voltage: FloatArray, interval_s: float, marks: int) -> float | None:
    """Return the turn rate of a trace of two to nine similar turns; None for any other trace.

    The structure function D(P) = mean((v(t + P) - v(t))^2) / 2 is the variance of the noise at the period, and that of
    the signal elsewhere. The shortest such lag is the period of what repeats: as many pulses as it shows, of which all
    marks together make a turn.

    Parameters
    ----------
    voltage : array, shape (n,)
        Trace without hum.
    interval_s : float
        Time between samples, s.
    marks : int
        Pulses a turn.
    """
    coarse, step = decimate(voltage, interval_s, 0.35 * REPEAT_SAMPLES / (voltage.size * interval_s))
    if coarse.size < 50:
        return None
    noise = noise_of(voltage) ** 2 * interval_s / step
    lags = np.arange(1, int(coarse.size / REPEAT_LEAST_TURNS) + 1)
    apart = _structure(coarse, lags)
    highest = float(np.max(apart))
    alike = apart < REPEAT_NOISE_GAIN * noise + REPEAT_REST * highest
    risen = np.maximum.accumulate(apart) > max(REPEAT_HIGH * highest, 4 * REPEAT_NOISE_GAIN * noise)
    found = np.flatnonzero(alike & risen)
    if found.size == 0 or lags[found[0]] < coarse.size / REPEAT_MOST_TURNS / marks:
        return None
    # the lowest of the lags that belong together
    last = found[0]
    while last + 1 < lags.size and alike[last + 1]:
        last += 1
    lag = int(lags[found[0] + int(np.argmin(apart[found[0] : last + 1]))])
    turns = coarse[: coarse.size // lag * lag].reshape(-1, lag)
    pattern = turns.mean(axis=0)
    width = max(1, lag // 40)
    pattern = np.convolve(np.tile(pattern, 3), np.ones(width) / width, "same")[lag : 2 * lag]
    shown = {pulses_in(pattern), pulses_in(-pattern)} - {0}
    holds = marks if marks in shown else next((count for count in sorted(shown) if marks % count == 0), 0)
    if not holds:
        return None
    rate = holds / (marks * lag * step)
    return rate if rate * coarse.size * step >= REPEAT_LEAST_TURNS else None


def _structure(voltage: FloatArray, lags: NDArray[np.int64]) -> FloatArray:
    """Return half the mean squared difference of samples so many apart, from sums and the autocorrelation."""
    centred = voltage - np.mean(voltage)
    length = 2 * centred.size
    transform = np.fft.rfft(centred, length)
    product = np.fft.irfft(np.abs(transform) ** 2, length)[lags]
    squares = np.concatenate([[0.0], np.cumsum(centred**2)])
    both = squares[centred.size - lags] + squares[-1] - squares[lags]
    return np.asarray(np.maximum(both - 2 * product, 0.0) / (2 * (centred.size - lags)))
