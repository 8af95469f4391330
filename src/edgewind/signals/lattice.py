"""A comb with missing teeth: the pitch of pulses of which some are missing, and the turn rate that follows from it.

The pulses of a rotor stand near even places, one a pitch, whatever is missing. The resultant length of their times,

    R(f) = |sum_i exp(2 pi i f t_i)| / n,

(the statistic of Rayleigh; N. I. Fisher, Statistical Analysis of Circular Data, 1993, 2.3) is near one at the frequency
of the pitch and at its multiples, and falls as exp(-2 pi^2 s^2) with the standard deviation s of the places, pitches.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.thresholds import (
    LATTICE_FINENESS,
    LATTICE_LEAST_FILLED,
    LATTICE_MOST_FILLED,
    LATTICE_NEARLY_BEST,
    LATTICE_PULSES,
    LATTICE_RESULTANT,
    LATTICE_WITHIN,
)

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Lattice:
    """Even places in time that most pulses stand near.

    Attributes
    ----------
    pitch_rate_hz : float
        Places a second in the middle of the trace.
    acceleration_hz_s : float
        Change of that per second.
    filled : float
        Share of the places between first and last pulse at which one stands.
    fitting : float
        Share of the pulses that stand at a place.
    resultant : float
        Resultant length of their times at that pitch, 0 to 1.
    """

    pitch_rate_hz: float
    acceleration_hz_s: float
    filled: float
    fitting: float
    resultant: float = 1.0


def find_lattice(time_s: FloatArray) -> Lattice | None:
    """Return the lattice of a pulse train; None where its pulses stand near none.

    Parameters
    ----------
    time_s : array, shape (n,)
        Times of the pulses, in order, counted from the middle of the trace, s.
    """
    if time_s.size < 4:
        return None
    begin = max(0, (time_s.size - LATTICE_PULSES) // 2)
    part = time_s[begin : begin + LATTICE_PULSES]
    centre = float(np.mean(part))
    span = float(part[-1] - part[0])
    if not span > 0:
        return None
    rates = _search(part - centre, span)
    found = [lattice for rate in rates if (lattice := _grown(time_s, centre, rate, span)) is not None]
    return max(found, key=lambda lattice: min(lattice.filled, 1.0) * lattice.fitting, default=None)


def _search(time: FloatArray, span: float) -> list[float]:
    """Return the frequencies of the lowest high resultants whose places are filled as pulses are."""
    highest = LATTICE_MOST_FILLED * time.size / span / LATTICE_LEAST_FILLED
    frequency = np.arange(0.5 * time.size / span, highest, LATTICE_FINENESS / span)
    resultant = np.abs(np.exp(2j * np.pi * np.outer(frequency, time)).sum(axis=1)) / time.size
    filled = time.size / (frequency * span + 1)
    allowed = (filled > LATTICE_LEAST_FILLED) & (filled < LATTICE_MOST_FILLED) & (resultant > LATTICE_RESULTANT)
    if not allowed.any():
        return []
    high = np.flatnonzero(allowed & (resultant > LATTICE_NEARLY_BEST * np.max(resultant[allowed])))
    tops = [i for i in high if resultant[i] >= np.max(resultant[max(0, i - 4) : i + 5])]
    return [float(frequency[i]) for i in tops[:4]]


def _grown(time: FloatArray, centre: float, rate: float, span: float) -> Lattice | None:
    """Fit places to the pulses near the centre, then to ever more of them, the drift of the rate along."""
    clock = time - centre
    fit = np.array([0.0, rate, 0.0])
    reach = span / 2 * 1.001
    whole = float(np.max(np.abs(clock)))
    while True:
        near = np.abs(clock) <= reach
        for _ in range(3):
            phase = np.polynomial.polynomial.polyval(clock[near], fit)
            if not fit[1] or near.sum() < 4:
                return None
            offset = np.angle(np.mean(np.exp(2j * np.pi * phase))) / (2 * np.pi)
            place = np.rint(phase - offset)
            left = phase - offset - place
            good = np.abs(left) < LATTICE_WITHIN
            degree = 2 if good.sum() > 12 else 1
            if good.sum() < degree + 2:
                return None
            change = np.polynomial.polynomial.polyfit(clock[near][good], -left[good], degree)
            fit = fit + np.pad(change, (0, 2 - degree))
            fit[0] -= offset
        if reach >= whole:
            break
        reach *= 1.5
    phase = np.polynomial.polynomial.polyval(clock, fit)
    place = np.rint(phase)
    good = np.abs(phase - place) < LATTICE_WITHIN
    if good.sum() < 4 or not fit[1] > 0:
        return None
    taken = np.unique(place[good]).size
    filled = taken / (float(np.ptp(place[good])) + 1)
    resultant = float(np.abs(np.mean(np.exp(2j * np.pi * phase))))
    return Lattice(float(fit[1] - 2 * fit[2] * centre), float(2 * fit[2]), filled, float(taken / time.size), resultant)
