"""Coast-down of a rotor: its speed through one long trace, window by window."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.pulses import find_pulses
from edgewind.signals.speed import estimate_speed
from edgewind.signals.trace import Trace

FloatArray = NDArray[np.float64]

# Numbers of windows to try, most first; the first at which most windows hold enough turns is used.
# Numbers of pulses to assume for a trace of which no part has a steady speed.
PASSAGES = (48, 24, 96)
WINDOWS = (24, 16, 12, 8, 6)
LEAST_WINDOWS = 5
LEAST_TURNS = 3.0
_UNUSABLE = {"no-signal", "aliased", "short"}


@dataclass(frozen=True)
class SpeedHistory:
    """Speed through one trace; arrays of one entry a usable window.

    Attributes
    ----------
    time_s : array
        Middle of each window, from the beginning of the trace, s.
    speed_rad_s, speed_u_rad_s : array
        Speed there and its standard uncertainty, rad/s; sizes, since a trace does not tell the direction.
    window_s : float
        Length of a window, s.
    interval_u_rel : float
        Relative standard uncertainty of the time base, common to all windows and not included in `speed_u_rad_s`.
    """

    time_s: FloatArray
    speed_rad_s: FloatArray
    speed_u_rad_s: FloatArray
    window_s: float
    interval_u_rel: float = 0.0

    @property
    def enough(self) -> bool:
        """Whether there are enough windows for a fit of the falling speed."""
        return self.time_s.size >= LEAST_WINDOWS


@dataclass(frozen=True)
class Passages:
    """Times at which marks passed, in order.

    Attributes
    ----------
    time_s : array
        From the beginning of the trace, s.
    time_u_s : float
        Standard uncertainty of one passage, s.
    marks : int
        Marks a turn, at unequal spacing.
    interval_u_rel : float
        Relative standard uncertainty of the time base, common to all passages and not included in `time_u_s`.
    """

    time_s: FloatArray
    time_u_s: float
    marks: int
    interval_u_rel: float = 0.0


def speed_history(trace: Trace, marks: int, *, mains_hz: float | str | None = "auto") -> SpeedHistory:
    """Return the speed of a rotor through a trace, in as many windows as have enough turns.

    Parameters
    ----------
    trace : Trace
        Voltage of the tachometer, one long record.
    marks : int
        Pulses a turn.
    mains_hz : float, "auto" or None
        As for :func:`edgewind.signals.estimate_speed`.

    Examples
    --------
    >>> from edgewind.signals.synthetic import PulseTrain, synthesise
    >>> seen = PulseTrain(turn_rate_hz=5.0, acceleration_hz_s=-0.1, noise_v=0.02)
    >>> found = speed_history(synthesise(seen, samples=40_000, interval_s=5e-4, seed=3), marks=4)
    >>> found.enough, bool(found.speed_rad_s[0] > found.speed_rad_s[-1])
    (True, True)
    """
    best = SpeedHistory(np.empty(0), np.empty(0), np.empty(0), trace.duration_s)
    for count in WINDOWS:
        found = _in_windows(trace, marks, mains_hz, count)
        if found.time_s.size > best.time_s.size or not best.time_s.size:
            best = found
        if found.time_s.size >= 0.7 * count:
            return found
    return best


def passages(trace: Trace, marks: int, *, mains_hz: float | str | None = "auto") -> Passages | None:
    """Return the times at which marks passed, for a trace of too few turns for windows; None unless all pulses are
    certain.

    No pulse may be missing or extra: the intervals of one mark to its next passage must change smoothly.
    """
    third = replace(trace, voltage_v=trace.voltage_v[: trace.samples // 3])
    first = estimate_speed(third, marks, mains_hz=mains_hz)
    pitches = [trace.duration_s / count for count in PASSAGES]
    if math.isfinite(first.speed_rad_s) and first.speed_rad_s > 0:
        pitches.insert(0, 1.6 * 2 * math.pi / (first.speed_rad_s * marks))
    # If the speed falls fast, no part has a steady speed; the pulses themselves must then be regular.
    for pitch in pitches:
        found = find_pulses(trace.voltage_v, trace.interval_s, pitch)
        if found is None or found.time_s.size < 2 * marks + 3:
            continue
        turn = found.time_s[marks:] - found.time_s[:-marks]
        if np.all(turn[1:] <= 1.35 * turn[:-1]) and np.all(turn[1:] >= 0.9 * turn[:-1]):
            time = found.time_s + trace.duration_s / 2
            return Passages(time, max(found.jitter_s, 0.05 * trace.interval_s), marks, trace.interval_u_rel)
    return None


def history_of(seen: Passages) -> SpeedHistory:
    """Return the speed of successive whole turns from the times at which marks passed."""
    at = seen.time_s[:: seen.marks]
    turn = np.diff(at)
    speed = 2 * math.pi / turn
    u = np.maximum(speed * math.sqrt(2) * seen.time_u_s / turn, 1e-3 * speed)
    window_s = float(np.median(turn)) if turn.size else 0.0
    return SpeedHistory((at[1:] + at[:-1]) / 2, speed, u, window_s, seen.interval_u_rel)


def _in_windows(trace: Trace, marks: int, mains_hz: float | str | None, count: int) -> SpeedHistory:
    size = trace.samples // count
    rows = []
    for number in range(count if size >= 32 else 0):
        part = replace(trace, voltage_v=trace.voltage_v[number * size : (number + 1) * size], interval_u_rel=0.0)
        found = estimate_speed(part, marks, mains_hz=mains_hz)
        usable = not _UNUSABLE & set(found.flags) and math.isfinite(found.speed_rad_s) and found.turns >= LEAST_TURNS
        if usable and found.speed_u_rad_s > 0:
            rows.append(((number + 0.5) * size * trace.interval_s, found.speed_rad_s, found.speed_u_rad_s))
    time, speed, u = np.array(rows, dtype=float).reshape(-1, 3).T
    return SpeedHistory(time, speed, u, size * trace.interval_s, trace.interval_u_rel)
