"""A raw trace through a change, read as a run: speed against time through standstill, signed if marks show it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from edgewind.errors import InputError
from edgewind.formatting import format_number
from edgewind.signals.changes import Change
from edgewind.signals.pulses import find_pulses
from edgewind.signals.runs import LEAST_MOMENTS, Run
from edgewind.signals.speed import estimate_speed
from edgewind.signals.speed_estimate import SET_ASIDE_FLAGS
from edgewind.signals.trace import Trace

Array = NDArray[np.float64]

# Pulses are looked for as if the whole trace held so many; the guess that finds most of them is taken.
_GUESSES = (400, 200, 100, 50, 25, 12)
# A gap that is so many times the interval before it is taken for standstill.
STANDS = 3.0
# Marks are this unevenly spaced, of the pitch, where less than a turn was seen and nothing is stated.
UNEVEN = 0.1
# Most speeds of one run.
_MOST = 240
# Odds of a direction against the other below which it is not said; a trace repeats an angle no better than the turns.
_SURE, _ANGLE_U = 0.99, 0.004
# Turns in which a direction is looked for at a time, and how many such stretches.
_SENSE_TURNS, _SENSE_WINDOWS = 4, 12
# Relative difference from the estimate of the whole signal beyond which pulses are missing or extra.
_APART = 0.1


def run_of_trace(
    trace: Trace, marks: int, changes: Sequence[Change], *, places: Sequence[float] | None = None, face: str = ""
) -> Run:
    """Return a trace as a run; the changes are those that :func:`edgewind.signals.changes.parse_changes` gives.

    Speeds are those of whole turns, from each mark to its next passage; of parts of a turn where the rotor makes no
    more before it stands. No pulse for three times as long as before is standstill. The direction of each stretch of
    turning comes from marks that read otherwise backwards; that of the first by `face` too. Where it is not known of
    all stretches, the speeds are sizes.

    Parameters
    ----------
    trace : Trace
        One channel of the tachometer.
    marks : int
        Pulses a turn.
    changes : sequence of Change
        The changes, with times.
    places : sequence of float, optional
        Places of the marks in turns, in the order in which they pass when the bright face leads.
    face : {"bright", "dark", ""}
        Face that led at the beginning, where it was seen.

    Raises
    ------
    InputError
        No pulses that can be followed, or a change after the end of the trace.
    """
    _check(trace, changes)
    passed = _pulses_of(trace, marks)
    stretches = _stretches(passed)
    senses = [0] * len(stretches) if places is None else [sense_of(part, places) for part in stretches]
    if face in ("bright", "dark") and not senses[0]:
        senses[0] = 1 if face == "bright" else -1
    turning = [k for k, part in enumerate(stretches) if part.size > 1]
    signed = all(senses[k] for k in turning)
    rows: list[tuple[float, float, float]] = []
    ends = [0.0, *(float(end) for part in stretches for end in (part[0], part[-1])), trace.duration_s]
    for k, part in enumerate(stretches):
        rows += _standing(ends[2 * k], ends[2 * k + 1], part, marks)
        sense = senses[k] if signed else 1
        rows += [(time, sense * speed, u) for time, speed, u in _turning(part, marks)]
    rows += _standing(ends[-2], ends[-1], stretches[-1], marks)
    if len(rows) < LEAST_MOMENTS:
        raise InputError(
            f"the trace holds {passed.size} pulses, too few to follow a speed",
            fix="record more turns, or exclude the reading",
        )
    time, speed, u = np.array(rows).T
    u = np.hypot(u, trace.interval_u_rel * speed)
    return _with_changes(trace.source, time, speed, u, signed, changes, trace.duration_s)


def _check(trace: Trace, changes: Sequence[Change]) -> None:
    late = [one for one in changes if one.time_s >= trace.duration_s]
    if late:
        raise InputError(
            f"the {late[0].what} is said to be changed at {late[0].time_s:g} s, and the trace ends at "
            f"{format_number(trace.duration_s, 3)} s",
            fix="write the time from the beginning of the trace",
        )
    bad = [flag for flag in trace.flags if flag in SET_ASIDE_FLAGS]
    if bad:
        raise InputError(f"the trace is {', '.join(bad)}", fix="state what is assumed under [tachometer]")


def _pulses_of(trace: Trace, marks: int) -> Array:
    """Return the time at which each mark passed, from the beginning of the trace, s."""
    best = np.empty(0)
    for guess in _GUESSES:
        found = find_pulses(trace.voltage_v, trace.interval_s, trace.duration_s / guess)
        if found is not None and found.time_s.size > 1.1 * best.size:
            best = found.time_s + trace.duration_s / 2
    if best.size < 2:
        raise InputError(
            "no pulses stand out of the trace, so that no speed can be followed in it",
            fix="record a table of speeds with times, or exclude the reading",
        )
    _check_pulses(trace, best, marks)
    return best


def _check_pulses(trace: Trace, passed: Array, marks: int) -> None:
    """Compare the speed of the pulses with that of the signal itself at the fastest rotation."""
    if passed.size < 4 * marks:
        return
    turn = passed[marks:] - passed[:-marks]
    k = int(np.argmin(turn))
    begin = max(int((passed[k] - turn[k]) / trace.interval_s), 0)
    end = min(int((passed[k + marks] + 3 * turn[k]) / trace.interval_s), trace.samples)
    part = replace(trace, voltage_v=trace.voltage_v[begin:end])
    whole = estimate_speed(part, marks, mains_hz=None)
    usable = math.isfinite(whole.speed_rad_s) and not {"no-signal", "aliased", "short"} & set(whole.flags)
    inside = (passed >= begin * trace.interval_s) & (passed <= end * trace.interval_s)
    if not usable or inside.sum() < marks + 2:
        return
    times = passed[inside]
    mean = 2 * math.pi / marks * (times.size - 1) / float(times[-1] - times[0])
    if abs(mean / whole.speed_rad_s - 1) > _APART:
        raise InputError(
            f"the pulses give {format_number(mean, 3)} rad/s and the signal as a whole "
            f"{format_number(whole.speed_rad_s, 3)} rad/s at the same place",
            fix="record a table of speeds with times, or exclude the reading",
        )


def _stretches(passed: Array) -> list[Array]:
    """Return the pulses in stretches between which the rotor stood."""
    gap = np.diff(passed)
    cuts = []
    for k in range(1, gap.size):
        near = min(gap[k - 1], gap[k + 1] if k + 1 < gap.size else gap[k - 1])
        if gap[k] > STANDS * near:
            cuts.append(k + 1)
    return np.split(passed, cuts)


def _turning(part: Array, marks: int) -> list[tuple[float, float, float]]:
    """Return time, speed and its uncertainty within a stretch: of turns, or of pitches where there is no whole turn."""
    if part.size < 2:
        return []
    step = marks if part.size > marks else 1
    angle = 2 * math.pi * step / marks
    stride = max(1, (part.size - step) // _MOST + 1)
    begin, end = part[:-step:stride], part[step::stride]
    speed = angle / (end - begin)
    if step == marks:
        u = np.maximum(0.005 * speed, 0.1 * np.abs(np.gradient(speed)) if speed.size > 1 else 0.0)
    else:
        u = UNEVEN * speed
    return list(zip(((begin + end) / 2).tolist(), speed.tolist(), u.tolist(), strict=True))


def _standing(begin: float, end: float, part: Array, marks: int) -> list[tuple[float, float, float]]:
    """Return moments of standstill between two passages that are far apart; none where they are not."""
    gap = end - begin
    usual = float(np.min(np.diff(part))) if part.size > 1 else gap
    if gap <= STANDS * usual or gap <= 0:
        return []
    # Less than a pitch was turned in all that time, one way or the other.
    u = 2 * math.pi / marks / gap / math.sqrt(3)
    return [(begin + share * gap, 0.0, u) for share in (0.35, 0.65, 0.95 if part[-1] <= begin else 0.9)]


def sense_of(passed: Array, places: Sequence[float]) -> int:
    """Return the direction in which unevenly spaced marks passed: 1, -1, or 0 if undecided.

    For each direction and each mark that may have been the first, the angles turned at the passages are known; over a
    few turns a rotor turns smoothly, so a low polynomial in time leaves little of the right ones.

    Parameters
    ----------
    passed : array
        When each mark passed, s; none missing.
    places : sequence of float
        Places of the marks in turns, in the order in which they pass when the bright face leads.
    """
    place = np.sort(np.remainder(np.asarray(places, dtype=float), 1.0))
    if place.size < 3 or passed.size < 2 * place.size + 1:
        return 0
    length = min(_SENSE_TURNS * place.size + 1, passed.size)
    begins = range(0, passed.size - length + 1, max(length - 1, (passed.size - length) // _SENSE_WINDOWS + 1))
    margins = [_margin(passed[begin : begin + length], place) for begin in begins]
    margin = float(np.median(margins)) * len(margins)
    if abs(margin) < math.log(_SURE / (1 - _SURE)):
        return 0
    return 1 if margin > 0 else -1


def _margin(passed: Array, place: Array) -> float:
    """Return the logarithm of the odds for the bright face leading, by the passages of a few turns."""
    marks, number = place.size, np.arange(passed.size)
    time = 2 * (passed - passed[0]) / (passed[-1] - passed[0]) - 1
    degree = min(4, passed.size // marks)
    basis = np.polynomial.legendre.legvander(time, degree)
    best = {}
    for sense in (1, -1):
        order = place if sense > 0 else np.sort(np.remainder(-place, 1.0))
        left = []
        for first in range(marks):
            at = number + first
            angle = order[at % marks] + at // marks
            left.append(float(np.sum((angle - basis @ np.linalg.lstsq(basis, angle, rcond=None)[0]) ** 2)))
        best[sense] = min(left)
    size = max(min(best.values()) / max(passed.size - degree - 1, 1), _ANGLE_U**2)
    return (best[-1] - best[1]) / (2 * size)


def _with_changes(
    source: str, time: Array, speed: Array, u: Array, signed: bool, changes: Sequence[Change], duration_s: float
) -> Run:
    """Return the run with rows of its own for the changes, without a speed."""
    order = np.argsort(time, kind="stable")
    rows = {float(t): (s, v) for t, s, v in zip(time[order], speed[order], u[order], strict=True)}
    inside = [max(one.time_s, 0.0) for one in changes]
    moments = np.array(sorted({0.0, *rows, *inside, duration_s}))
    seen = np.array([rows.get(float(t), (math.nan, math.nan)) for t in moments])
    # A moment at which something is changed notes that alone.
    seen[np.isin(moments, inside)] = math.nan
    lamp = np.full(moments.size, _before([one for one in changes if one.what == "lamp"]))
    warm = [(at, one.value) for at, one in zip(inside, changes, strict=True) if one.what == "envelope"]
    for one, at in zip(changes, inside, strict=True):
        if one.what == "lamp":
            lamp[moments >= at] = one.value
    at_k, kelvin = ([pair[k] for pair in warm] for k in (0, 1))
    envelope = np.interp(moments, at_k, kelvin) if warm else np.full(moments.size, math.nan)
    none = np.full(moments.size, math.nan)
    return Run(source, moments, seen[:, 0], seen[:, 1], signed, np.asarray(envelope), lamp, none)


def _before(lamp: Sequence[Change]) -> float:
    """Return the share of the lamp before its first change: off where it is switched on, else on."""
    return 0.0 if lamp and lamp[0].value > 0 and lamp[0].time_s >= 0 else 1.0
