"""Effect of a coupling capacitor on the pulses of a sensor: removed, and whether it doubles the count of pulses."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.comb import centred_time
from edgewind.signals.smooth import slow_part
from edgewind.signals.thresholds import COUPLING_HZ, FLANK_CELLS, FLANK_LIKENESS, FLANK_REACH, MANY_MARKS

FloatArray = NDArray[np.float64]


def restored(voltage: FloatArray, interval_s: float, order: int, slowest_hz: float) -> FloatArray:
    """Return the trace as it was before the capacitor; what is slower than a given frequency is left out.

    A capacitor is a high-pass filter. If u enters and v leaves it, and w is its angular corner frequency,

        u = v + w int v dt                              (order one)
        u = v + sqrt(2) w int v dt + w^2 int int v dt   (order two; Butterworth, Wireless Engineer 7, 536 (1930))

    So each pulse is one again, however wide. The corner is taken as `COUPLING_HZ`: with another one, the tops of the
    pulses slope, but their number stays. The integrals amplify slow noise, which is why slow parts are left out.

    Parameters
    ----------
    voltage : array, shape (n,)
        Trace.
    interval_s : float
        Time between samples, s.
    order : {1, 2}
        Of the filter.
    slowest_hz : float
        Frequency of the baseline at the most; a half of the pulse rate or less.
    """
    corner = 2 * np.pi * COUPLING_HZ * interval_s
    centred = voltage - np.mean(voltage)
    once = np.cumsum(centred)
    light = centred + corner * once
    if order == 2:
        once -= np.mean(once)
        light = centred + np.sqrt(2) * corner * once + corner**2 * np.cumsum(once)
    time = centred_time(voltage.size, 2 / voltage.size)
    light -= np.polynomial.Polynomial.fit(time, light, 2)(time)
    return light - slow_part(light, max(2, int(2 * voltage.size * interval_s * slowest_hz)))


def counts_flanks(voltage: FloatArray, interval_s: float, rate_hz: float, acceleration_hz_s: float, marks: int) -> bool:
    """Return whether alternate pulses differ in shape: they may be rise and fall of one pulse.

    The socket of a sound card has a capacitor in series, which passes changes of the light, not its level: of a pulse
    that is wide beside the time of the capacitor, a bump at the rise is left and one at the fall, mirrored in time,
    and a trace of such bumps seems to be of twice the rate. Marks differ from each other as well, but not by turns:
    shapes at an odd number of places from each other are compared with those at an even number, each pair at the shift
    where both are most alike, whatever their heights. Two marks a turn at the rate found are compared with each other
    only: marks of so different shapes cannot be distinguished from the effect of a capacitor.

    Parameters
    ----------
    voltage : array, shape (n,)
        Trace without hum.
    interval_s : float
        Time between samples, s.
    rate_hz, acceleration_hz_s : float
        Turning at the middle of the trace.
    marks : int
        Pulses a turn; many are not looked at, since each would need a shape of its own.
    """
    if marks > MANY_MARKS:
        return False
    # over two turns each mark stands at places of both kinds if their number is odd
    places, cells = 2 * marks, FLANK_CELLS
    time = centred_time(voltage.size, interval_s)
    pitches = marks * (rate_hz * time + acceleration_hz_s * time**2 / 2)
    cell = np.floor(np.remainder(pitches, places) * cells).astype(np.int64) % (places * cells)
    number = np.bincount(cell, minlength=places * cells)
    filled = np.flatnonzero(number)
    mean = np.bincount(cell, weights=voltage, minlength=places * cells)[filled] / number[filled]
    mean = np.interp(np.arange(places * cells), filled, mean, period=places * cells)
    between = int(np.argmin((mean.reshape(places, cells) ** 2).sum(axis=0)))

    def shapes(shift: int) -> FloatArray:
        part = np.roll(mean, -between - shift).reshape(places, cells)
        part = part - part.mean(axis=1, keepdims=True)
        return np.asarray(part / np.maximum(np.linalg.norm(part, axis=1, keepdims=True), 1e-12))

    own = shapes(0)
    like = np.max([own @ shapes(shift).T for shift in range(-FLANK_REACH, FLANK_REACH + 1)], axis=0)
    like = np.maximum(like, like.T)
    away = np.abs(np.subtract.outer(np.arange(places), np.arange(places)))
    same = (away % 2 == 0) & (away % marks != 0)  # of another mark
    usual = float(np.median(like[same])) if same.any() else 1.0
    return float(np.median(like[away % 2 == 1])) < FLANK_LIKENESS * usual
