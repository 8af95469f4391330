"""Distinction between a missing pulse and one that is lower than its neighbours.

One threshold serves all marks of a rotor. A mark much lower than the others crosses it in some turns and not in others,
and a wandering baseline lifts the foot of a pulse over it or joins two pulses in one. The pattern of the rotation
predicts the place of each pulse; there the trace is compared with the usual shape and height of that mark.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.smooth import running_mean
from edgewind.signals.thresholds import (
    PRESENT_HEIGHT,
    PRESENT_POINTS,
    PRESENT_REACH,
    PRESENT_SHARE,
    PRESENT_SHIFTS,
    PRESENT_SURE,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Turning:
    """Predicted places of the pulses of a rotor.

    Attributes
    ----------
    rate_hz, acceleration_hz_s : float
        Turning at the time zero of the pulses.
    places : array, shape (marks,)
        Of each mark on the turn, turns; nan for a mark of which no pulse was found.
    """

    rate_hz: float
    acceleration_hz_s: float
    places: FloatArray

    def time_of(self, phase: FloatArray) -> FloatArray:
        """Return when a phase is passed, s: phase = f t + a t^2 / 2, solved so that it holds for a = 0 as well."""
        root = np.sqrt(np.maximum(self.rate_hz**2 + 2 * self.acceleration_hz_s * phase, 0.0))
        return np.asarray(2 * phase / (self.rate_hz + root))

    def nearest(self, time_s: float) -> tuple[int, int] | None:
        """Return mark and turn of the place that a pulse at this time stands at; None where it stands between."""
        phase = self.rate_hz * time_s + self.acceleration_hz_s * time_s**2 / 2
        turns = np.rint(phase - self.places)
        away = np.abs(phase - self.places - turns)
        one = int(np.nanargmin(away))
        return (one, int(turns[one])) if away[one] < PRESENT_SHIFTS[-1] / self.places.size else None


def empty_places(
    level: FloatArray, interval_s: float, clock_s: float, turning: Turning, mark: IntArray, turn: IntArray
) -> tuple[FloatArray, BoolArray]:
    """Return the places between the first pulse and the last where none was found, and whether one stands there.

    Parameters
    ----------
    level : array, shape (n,)
        The trace above its baseline, pulses upwards.
    interval_s : float
        Time between samples, seconds.
    clock_s : float
        Time zero of the turning, from the middle of the trace, seconds.
    turning : Turning
        Where pulses have to stand.
    mark, turn : arrays of int
        Of the pulses that were found there.

    Returns
    -------
    time_s : array
        When each passes, from the middle of the trace; nan where most turns show nothing of a mark.
    there : array of bool
        Whether the trace shows it.
    """
    marks = turning.places.size
    phase = turning.places[mark] + turn
    begin, end = float(phase.min()), float(phase.max())
    found = np.bincount(mark, minlength=marks)
    # marks found in half of the turns give the shape of a pulse; for the others the trace is searched
    sure = np.flatnonzero(found >= min(0.5 * (end - begin), found.max()))
    look = _Look(level, interval_s, clock_s, turning)
    shapes = {int(one): look.shape(phase[mark == one]) for one in sure}
    places = {int(one): float(turning.places[one]) for one in sure}
    usual = np.asarray(np.mean(list(shapes.values()), axis=0))
    noise = look.noise(phase, mark, shapes)
    times, seen = [], []
    for one in range(marks):
        if one not in shapes:
            shown = look.low_mark(usual, begin, end, list(places.values()))
            if shown is None:
                count = max(int(np.floor(end - begin)) - int(found[one]), 0)
                times.append(np.full(count, np.nan))
                seen.append(np.zeros(count, dtype=bool))
                continue
            places[one], shapes[one] = shown[0], shown[1] * usual
        place, shape, slack = places[one], shapes[one], 0.02 / marks
        passing = place + np.arange(int(np.ceil(begin - slack - place)), int(np.floor(end + slack - place)) + 1)
        nearest = np.abs(passing[:, None] - phase).min(axis=1)
        passing = passing[nearest > PRESENT_SHIFTS[-1] / marks]
        heights = look.heights(passing, shape)
        times.append(turning.time_of(passing) + clock_s)
        seen.append((heights > PRESENT_SHARE) | ((1 - heights) * shape_size(shape) < PRESENT_SURE * noise))
    return np.concatenate(times), np.concatenate(seen)


def shape_size(shape: FloatArray) -> float:
    """Return the size of a shape: what its height is measured by, and what noise adds to."""
    return float(np.sqrt(shape @ shape))


class _Look:
    """Measure the trace at the predicted place of a pulse."""

    def __init__(self, level: FloatArray, interval_s: float, clock_s: float, turning: Turning) -> None:
        self._interval, self._turning, self._clock = interval_s, turning, clock_s
        self._marks = turning.places.size
        pitch = 1 / (turning.rate_hz * self._marks * interval_s)
        # each of the points stands for the samples about it
        self._level = running_mean(level, int(2 * PRESENT_REACH * pitch / PRESENT_POINTS))
        self._across = np.linspace(-1.0, 1.0, PRESENT_POINTS)

    def windows(self, phase: FloatArray) -> FloatArray:
        """Return the trace about each phase, shape (..., points), without the straight line through it."""
        points = phase[..., None] + PRESENT_REACH / self._marks * self._across
        sample = (self._turning.time_of(points) + self._clock) / self._interval + (self._level.size - 1) / 2
        windows = np.interp(sample, np.arange(self._level.size), self._level)
        slope = (windows @ self._across / float(self._across @ self._across))[..., None]
        return np.asarray(windows - windows.mean(axis=-1, keepdims=True) - slope * self._across)

    def shape(self, phase: FloatArray) -> FloatArray:
        """Return the usual shape of a mark from the phases at which it passes."""
        return np.asarray(np.median(self.windows(phase), axis=0))

    def heights(self, phase: FloatArray, shape: FloatArray) -> FloatArray:
        """Return how high a pulse stands at each phase, as a share of the usual; the best of a few near places."""
        near = self.windows(phase[:, None] + PRESENT_SHIFTS / self._marks)
        return np.asarray(np.max(near @ shape, axis=1) / float(shape @ shape))

    def noise(self, phase: FloatArray, mark: IntArray, shapes: dict[int, FloatArray]) -> float:
        """Return the standard deviation of the sizes of the pulses that were found, about the usual of their marks."""
        away = [(self.heights(phase[mark == one], shape) - 1) * shape_size(shape) for one, shape in shapes.items()]
        return 1.4826 * float(np.median(np.abs(np.concatenate(away))))

    def low_mark(self, usual: FloatArray, begin: float, end: float, known: list[float]) -> tuple[float, float] | None:
        """Return place and height of a mark that most turns show away from the known ones; None where there is none.

        The height is a share of that of the others.
        """
        tried = np.arange(0.0, 1.0, 0.05 / self._marks)
        apart = tried[:, None] - np.array(known)
        tried = tried[np.abs(apart - np.rint(apart)).min(axis=1) > 0.5 / self._marks]
        phase = tried[:, None] + np.arange(int(np.floor(begin)), int(np.ceil(end)) + 1)
        inside = (phase > begin) & (phase < end)
        if not tried.size or not inside.any(axis=1).all():
            return None
        heights = np.where(inside, self.windows(phase) @ usual / float(usual @ usual), np.nan)
        middle = np.nanmedian(heights, axis=1)
        best = int(np.argmax(middle))
        spread = 1.4826 * float(np.nanmedian(np.abs(heights[best] - middle[best])))
        if middle[best] < max(PRESENT_HEIGHT, PRESENT_SURE * spread / np.sqrt(np.isfinite(heights[best]).sum())):
            return None
        return float(tried[best]), float(middle[best])


def stands_out(level: FloatArray, interval_s: float, time_s: float, width_s: float, least_v: float) -> bool:
    """Return whether a pulse stands out from the trace beside it, on both sides, and is not part of a slow wave.

    Parameters
    ----------
    level : array
        The trace, pulses upwards.
    interval_s : float
        Time between samples, seconds.
    time_s, width_s : float
        Middle of the pulse from the middle of the trace, and its width where it crosses the threshold, seconds.
    least_v : float
        By how much it has to stand out.
    """
    middle = time_s / interval_s + (level.size - 1) / 2
    width = max(width_s / interval_s, 2.0)
    edges = np.clip(np.rint(middle + width * np.array([-1.5, -0.5, 0.5, 1.5])).astype(int), 0, level.size - 1)
    left, inside, right = (level[edges[i] : edges[i + 1] + 1] for i in range(3))
    return bool(inside.max() - max(left.min(), right.min()) > least_v)
