"""Direction of rotation from a record: chiral marks, two sensors, or a picture."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgewind.errors import InputError
from edgewind.signals.comb import centred_time
from edgewind.signals.speed_estimate import SpeedEstimate
from edgewind.signals.thresholds import (
    CLIP_MIRRORED,
    DIRECTION_ORDERS,
    DIRECTION_SURE,
    DIRECTION_TURNS,
)
from edgewind.signals.trace import Trace
from edgewind.signals.turning_picture import (
    PictureSpeed,
)

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Direction:
    """Direction of rotation.

    Attributes
    ----------
    sense : int
        +1 if the bright face leads, -1 if the dark face does, 0 if the record does not show it.
    confidence : float
        Probability of that sense against the other, 0.5 to 1; nan where it is not known.
    why : str
        How it was found, or why it was not.
    """

    sense: int
    confidence: float
    why: str


def not_known(why: str) -> Direction:
    """Return an unknown direction."""
    return Direction(0, math.nan, why)


def _decided(margin: float, why: str) -> Direction:
    """Return a direction from the logarithm of the odds for the bright face leading; not known below 99 %."""
    confidence = 1 / (1 + math.exp(-min(abs(margin), 700.0)))
    if confidence < DIRECTION_SURE:
        return not_known(f"{why}: the odds are only {confidence:.2f}")
    return Direction(1 if margin > 0 else -1, confidence, why)


def _usable(speed: SpeedEstimate) -> bool:
    flags = {"aliased", "jumps", "no-signal", "near-mains"} & set(speed.flags)
    return math.isfinite(speed.speed_rad_s) and speed.speed_rad_s > 0 and speed.turns > DIRECTION_TURNS and not flags


def _orders_of(trace: Trace, speed: SpeedEstimate, most: int) -> tuple[NDArray[np.complex128], float]:
    """Return the complex harmonics of the turn, 1 to `most`, and the variance of the noise in each."""
    time = centred_time(trace.samples, trace.interval_s)
    phase = speed.speed_rad_s * time + np.nan_to_num(speed.acceleration_rad_s2) * time**2 / 2
    window = 1 - np.cos(2 * np.pi * (np.arange(trace.samples) + 0.5) / trace.samples)
    voltage = (trace.voltage_v - np.mean(trace.voltage_v)) * window / trace.samples
    amplitudes = np.array([np.exp(-1j * order * phase) @ voltage for order in range(1, most + 1)])
    between = np.array([abs(np.exp(-1j * (order + 0.5) * phase) @ voltage) ** 2 for order in range(1, most + 1)])
    return amplitudes, float(np.median(between)) / math.log(2) + 1e-30


def direction_of_marks(trace: Trace, speed: SpeedEstimate, places: Sequence[float]) -> Direction:
    """Return the direction from marks whose places differ when read backwards.

    The harmonics of the turn have the phases of the places in one direction, and the opposite ones in the other. Their
    sum over the marks, M_k = sum_j exp(-2 pi i k p_j), times the unknown shape of one mark and turned by the unknown
    start, is compared with the harmonics seen for both directions.

    Parameters
    ----------
    trace : Trace
        The trace.
    speed : SpeedEstimate
        The speed in it.
    places : sequence of float
        Place of each mark in turns, in the order in which they pass when the bright face leads.
    """
    if not _usable(speed):
        return not_known("no sure speed of two turns or more")
    place = np.sort(np.remainder(np.asarray(places, dtype=np.float64), 1.0))
    if place.size < 3:
        return not_known("two marks read the same both ways: three unevenly spaced ones are needed")
    most = int(min(DIRECTION_ORDERS, 4 * place.size, 0.4 * 2 * math.pi / (speed.speed_rad_s * trace.interval_s)))
    if most < 3:
        return not_known("too few samples a turn")
    seen, noise = _orders_of(trace, speed, most)
    orders = np.arange(1, most + 1)
    forward = np.exp(-2j * np.pi * np.outer(orders, place)).sum(axis=1)
    fits = [_misfit(seen, noise, marks, orders) for marks in (forward, np.conj(forward))]
    return _decided(0.5 * (fits[1] - fits[0]), "the order of the marks")


def _misfit(
    seen: NDArray[np.complex128], noise: float, marks: NDArray[np.complex128], orders: NDArray[np.int64]
) -> float:
    """Return the least sum of squares, over the noise, of harmonics about those of marks of one smooth shape.

    The shape of one mark is symmetric and its width unknown; so are its height and the angle at the start.
    """
    noise += 0.01 * float(np.max(np.abs(seen)) ** 2)  # marks are not quite alike
    best = math.inf
    for width in (0.01, 0.02, 0.04, 0.08):
        model = marks * np.exp(-0.5 * (2 * np.pi * orders * width) ** 2)
        power = float(np.sum(np.abs(model) ** 2))
        if power <= 0:
            continue
        angle = np.exp(2j * np.pi * np.outer(np.arange(0, 1, 1 / 720), orders))
        height = np.real(angle @ (seen * np.conj(model))) / power
        left = float(np.sum(np.abs(seen) ** 2)) - np.max(np.abs(height)) ** 2 * power
        best = min(best, left / noise)
    return best


def direction_of_pair(first: Trace, second: Trace, speed: SpeedEstimate, marks: int, lag: float) -> Direction:
    """Return the direction from two sensors that see the same marks one after the other.

    Parameters
    ----------
    first, second : Trace
        Traces of the two sensors, of one recording.
    speed : SpeedEstimate
        The speed in the first.
    marks : int
        Pulses a turn.
    lag : float
        By how much of the pitch between marks the second sensor sees them after the first, when the bright face leads:
        a quarter, say.

    Raises
    ------
    InputError
        The lag is nearly zero or a half, which reads the same both ways; or the traces differ in length.
    """
    lag = lag - math.floor(lag)
    if min(abs(lag - other) for other in (0.0, 0.5, 1.0)) < 0.05:
        raise InputError(
            f"a lag of {lag:g} pitches reads the same both ways", fix="set the sensors a quarter pitch apart"
        )
    if first.samples != second.samples:
        raise InputError("the two channels differ in length", fix="record both in one file")
    if not _usable(speed):
        return not_known("no sure speed of two turns or more")
    most = int(min(3 * marks, 0.4 * 2 * math.pi / (speed.speed_rad_s * first.interval_s)))
    if most < marks:
        return not_known("too few samples a pitch")
    (one, noise), (other, noise_too) = _orders_of(first, speed, most), _orders_of(second, speed, most)
    at = marks - 1
    if abs(one[at]) ** 2 < 30 * noise or abs(other[at]) ** 2 < 30 * noise_too:
        return not_known("one of the two channels shows no pulses at this speed")
    # a later pulse has its phase turned back
    turned = float(np.angle(other[at] * np.conj(one[at])))
    spread = math.hypot(math.sqrt(noise) / abs(one[at]), math.sqrt(noise_too) / abs(other[at])) + 0.25
    away = [abs(math.remainder(turned + sign * 2 * math.pi * lag, 2 * math.pi)) / spread for sign in (1, -1)]
    return _decided((away[1] ** 2 - away[0] ** 2) / 2, "the lag between the two channels")


def direction_of_picture(seen: PictureSpeed, bright_leads: str | None) -> Direction:
    """Return the direction that a camera sees, by the stated sense of rotation with the bright face leading."""
    way = "clockwise" if seen.turn_rate_hz > 0 else "anticlockwise"
    if seen.side:
        return not_known(
            "from the side a vane in front of the axis looks like one behind it on a rotor that turns the other way; "
            "film from above or below"
        )
    if seen.mirrored > CLIP_MIRRORED or seen.folded:
        return not_known("the picture fits both directions")
    if bright_leads is None:
        return not_known(f"it turns {way} as the camera sees it; state bright_leads under [tachometer]")
    return Direction(1 if way == bright_leads else -1, 1 - seen.mirrored / 2, f"it turns {way} as the camera sees it")


def reads_both_ways(places: Sequence[float]) -> bool:
    """Return whether marks at these places look the same backwards, so that they do not show the direction."""
    gaps = np.diff([*sorted(np.remainder(places, 1.0)), min(np.remainder(places, 1.0)) + 1])
    backwards = gaps[::-1]
    turns = (np.roll(backwards, shift) for shift in range(gaps.size))
    return any(np.max(np.abs(gaps - one)) < 0.02 for one in itertools.chain(turns))
