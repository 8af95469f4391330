"""Turn rate from pulses too few for a fit of the places of their marks, which are assumed nearly even."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.lattice import find_lattice
from edgewind.signals.method import MethodResult
from edgewind.signals.pattern import covering_factor
from edgewind.signals.pulses import Pulses
from edgewind.signals.thresholds import (
    ALIKE,
    ALIKE_EVEN,
    ALIKE_FEW,
    BROADEST,
    BROADEST_ALIKE,
    BROADEST_FEW,
    BROADEST_THREE,
    EVENLY,
    FEW_FILLED,
    FEW_MOST_TURNS,
    FEW_STRENGTH,
    PLACE_U,
    TIME_U,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


def few_pulses(pulses: Pulses, marks: int, jitter_s: float, duration_s: float) -> MethodResult | None:
    """Return the turn rate from few pulses, some of which may be missing; None if they are not those of a rotor.

    Least squares of the times t = t0 + k p + d, with k the place of a pulse, p the pitch and d that of its mark, whose
    prior is normal about zero: the places of marks seen in several turns follow from the data, those of others from the
    prior.
    """
    time = pulses.time_s
    if not 3 <= time.size <= FEW_MOST_TURNS * marks + 3 or pulses.height_v < FEW_STRENGTH * pulses.noise_v:
        return None
    place = _places(time)
    if place is None:
        return None
    pitch = float(time[-1] - time[0]) / int(place[-1] - place[0])
    broad = float(np.max(pulses.width_s)) / float(np.min(pulses.width_s))
    few = time.size < 5
    if broad > (ALIKE_FEW if few else ALIKE):
        return None
    broadest = BROADEST_THREE if time.size == 3 else BROADEST_FEW if few else BROADEST
    if evenly_alike(pulses, marks):
        broadest = BROADEST_ALIKE
    if float(np.max(pulses.width_s)) > broadest * pitch:
        return None
    if (place[-1] - place[0] + 1) * pitch < FEW_FILLED * duration_s:
        return None
    mark = np.remainder(place, marks)
    columns = np.concatenate(
        [np.ones((time.size, 1)), place[:, None], (mark[:, None] == np.arange(marks)) * 1.0], axis=1
    )
    noise = float(np.hypot(jitter_s, TIME_U * pitch))
    prior = np.diag(np.concatenate([[0.0, 0.0], np.full(marks, (noise / (PLACE_U * pitch)) ** 2)]))
    square = columns.T @ columns + prior
    inverse = np.linalg.pinv(square, hermitian=True)
    solution = inverse @ (columns.T @ time)
    left = time - columns @ solution
    if float(np.max(np.abs(left))) > 0.2 * solution[1] or not solution[1] > 0:
        return None
    cost = float(left @ left) + float(solution @ prior @ solution)
    freedom = time.size - 2
    # of so few pulses the scatter is hardly known: three pulses of the expected one are added to it
    variance = max((cost + 3 * noise**2) / (freedom + 3), noise**2)
    period = marks * float(solution[1])
    u_period = marks * float(np.sqrt(inverse[1, 1] * variance)) * max(covering_factor(freedom + 3), 1 + 1 / freedom)
    strength = float(pulses.height_v / max(pulses.noise_v, 1e-12 * pulses.height_v))
    missed = int(place[-1] - place[0] + 1 - time.size)
    return MethodResult(1 / period, u_period / period**2, 0.0, float("inf"), strength, 1.0, missed)


def evenly_alike(pulses: Pulses, marks: int) -> bool:
    """Return whether three pulses or more of a single mark, none missing, are more even and alike than bumps."""
    if marks != 1 or pulses.time_s.size < 3:
        return False
    steps = np.diff(pulses.time_s)
    uneven = float(np.max(np.abs(steps / np.mean(steps) - 1)))
    return uneven < EVENLY and float(np.max(pulses.width_s)) < ALIKE_EVEN * float(np.min(pulses.width_s))


def _places(time: FloatArray) -> IntArray | None:
    """Return the place of each pulse on even ones, from zero; None where they do not stand evenly."""
    steps = np.diff(time)
    pitch = float(np.mean(steps))
    if float(np.max(np.abs(steps / pitch - 1))) < 0.35:
        return np.arange(time.size)
    lattice = find_lattice(time)
    if lattice is None or lattice.fitting < 1:
        return None
    place = np.rint(np.cumsum(np.concatenate([[0.0], np.rint(steps * lattice.pitch_rate_hz)]))).astype(np.int64)
    return place if np.all(np.diff(place) >= 1) else None
