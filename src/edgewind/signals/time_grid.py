"""Samples brought to an even grid in time: rounded times, gaps, missing samples, pairs of extremes, changes only."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from edgewind.errors import InputError
from edgewind.signals.trace_table import Table, TraceColumn

FloatArray = NDArray[np.float64]

EVEN = 0.1
"""Share of an interval by which times may stray from even ones and still count as even."""
IN_TURN = 0.01
"""Relative difference of the intervals from which on levels in turn are changes, not samples."""
GOLDEN = (np.sqrt(5) - 1) / 2
MOST_MISSING = 0.7
LEAST_SEGMENT = 16
"""Samples of a segment; times that begin again sooner are a fault of the file."""


def even_grid(
    seconds: FloatArray, voltage: FloatArray, notes: list[str], column: str = "time"
) -> tuple[float, FloatArray]:
    """Return the interval and the voltage on an even grid, with a note where the grid was not even.

    Times that stray by under a tenth of an interval, or only by the rounding of their digits, count as even: their
    interval is the slope of the straight line through them. Others are interpolated with straight lines on the median
    interval, or held where the voltage only ever takes two values, as a logic analyser writes it; gaps of more than 1.5
    intervals are reported.
    """
    steps = np.diff(seconds)
    mean = float(seconds[-1] - seconds[0]) / (seconds.size - 1)
    stray = float(np.max(np.abs(seconds - seconds[0] - mean * np.arange(seconds.size)))) / mean
    typical = float(np.median(steps))
    if changes_only(seconds, voltage):
        return held(seconds, voltage, notes)
    few = stray >= EVEN and np.unique(np.round(steps / mean, 6)).size <= 3
    if stray < EVEN or (stray < 1.0 and float(np.max(steps)) < 2.1 * mean and few):
        return (mean if stray < 1e-6 else slope_of(seconds)), voltage
    samples = round((seconds[-1] - seconds[0]) / typical) + 1 if typical > 0 else 0
    if not 2 <= samples <= 10 * seconds.size:
        raise InputError(
            f"the times are too uneven: {seconds.size} samples, {typical:g} s apart in the median, span "
            f"{seconds[-1] - seconds[0]:g} s",
            column=column,
            fix="export evenly sampled data without gaps",
        )
    gaps = np.flatnonzero(steps > 1.5 * typical)
    if gaps.size:
        longest = gaps[np.argmax(steps[gaps])]
        notes.append(
            f"{gaps.size} gap{'s' * (gaps.size != 1)} in the time column, the longest {steps[longest]:g} s at "
            f"{seconds[longest]:g} s, bridged by straight lines"
        )
    else:
        notes.append("uneven times were put on an even grid by straight lines")
    interval = float(seconds[-1] - seconds[0]) / (samples - 1)
    grid = seconds[0] + interval * np.arange(samples)
    return interval, np.interp(grid, seconds, voltage)


def changes_only(seconds: FloatArray, voltage: FloatArray) -> bool:
    """Return whether two levels were written only where they change: in turn, or at times too uneven for samples."""
    if voltage.size < 3 or np.unique(voltage).size != 2:
        return False
    steps = np.diff(seconds)
    mean = float(np.mean(steps))
    if float(np.max(steps)) <= (1 + IN_TURN) * float(np.min(steps)):
        return False
    if np.all(np.diff(voltage) != 0):
        return True
    stray = float(np.max(np.abs(seconds - seconds[0] - mean * np.arange(seconds.size))))
    return stray >= EVEN * mean and float(np.max(steps)) > 2.5 * float(np.min(steps))


def held(seconds: FloatArray, voltage: FloatArray, notes: list[str]) -> tuple[float, FloatArray]:
    """Return two levels written only where they change, each held until the next, on a grid fine enough for them.

    Edges move to the grid. If pulses nearly kept step with it, these shifts would drift through the trace and change
    its rate, so a pulse is a whole number of steps and the golden section, which no few pulses bring near a whole one.
    """
    span = float(seconds[-1] - seconds[0])
    shortest = float(np.percentile(np.diff(seconds), 5))
    samples = int(min(max(span / max(shortest, span * 1e-6) * 10, 1000), 2_000_000)) + 1
    step = span / (samples - 1)
    rises = seconds[1:][np.diff(voltage) > 0]
    if rises.size > 1:
        pitch = float(rises[-1] - rises[0]) / (rises.size - 1)
        step = pitch / (np.ceil(pitch / step) + GOLDEN)
    grid = seconds[0] + step * np.arange(int(span / step) + 1)
    place = np.clip(np.searchsorted(seconds, grid, side="right") - 1, 0, seconds.size - 1)
    notes.append("two levels at uneven times: each is held until the next change")
    return float(step), voltage[place]


def slope_of(values: FloatArray) -> float:
    """Return the step of the straight line through values that rise evenly but for their rounding."""
    place = np.arange(values.size) - (values.size - 1) / 2
    return float(place @ (values - values[0]) / (place @ place))


def unrounded(seconds: FloatArray, voltage: FloatArray, notes: list[str]) -> tuple[FloatArray, FloatArray, float]:
    """Return times that repeat, spread over the straight line through them where rounding alone made them repeat.

    Pairs of one time, of which each holds its lower value first (or last), are the extremes of peak detection: their
    means are returned. The last of what is returned is the relative uncertainty of the interval: the digit over the
    square root of 12, at each end of the line. Times so few that it is over 2 % are left as they are.
    """
    steps = np.diff(seconds)
    if np.all(steps > 0) or np.any(steps < 0):
        return seconds, voltage, 0.0
    pairs = seconds.size // 2
    even = seconds[: 2 * pairs].reshape(-1, 2)
    if pairs >= 4 and np.all(even[:, 0] == even[:, 1]) and np.all(np.diff(even[:, 0]) > 0):
        rises = np.diff(voltage[: 2 * pairs].reshape(-1, 2), axis=1)
        if np.all(rises >= 0) or np.all(rises <= 0):
            notes.append("two rows for each time, the extremes within each interval: their mean is used")
            return even[:, 0], voltage[: 2 * pairs].reshape(-1, 2).mean(axis=1), 0.0
    digit = float(np.min(steps[steps > 0], initial=np.inf))
    step = slope_of(seconds)
    line = np.mean(seconds) + step * (np.arange(seconds.size) - (seconds.size - 1) / 2)
    relative = digit / np.sqrt(6) / max(float(seconds[-1] - seconds[0]), np.finfo(float).tiny)
    if step > 0 and float(np.max(np.abs(seconds - line))) <= 1.05 * digit and relative < 0.02:
        notes.append(
            f"times are rounded to {digit:g} s until they repeat: the interval, {step:g} s, is that of the straight "
            "line through them"
        )
        return np.asarray(line), voltage, float(relative)
    return seconds, voltage, 0.0


def first_segment(seconds: FloatArray, notes: list[str]) -> int:
    """Return how many samples the first of several segments has, where times begin again with each; else all.

    Segments, of one length and one interval, are what a recorder with segmented memory writes one below the other.
    """
    steps = np.diff(seconds)
    begins = np.flatnonzero(steps < 0) + 1
    if begins.size == 0:
        return int(seconds.size)
    lengths = np.diff([0, *begins.tolist(), seconds.size])
    length = int(lengths[0])
    if length < LEAST_SEGMENT or np.any(lengths != length):
        return int(seconds.size)
    again = seconds.reshape(-1, length)
    own = np.diff(again, axis=1)
    if np.any(own <= 0) or float(np.ptp(own)) > EVEN * float(np.mean(own)):
        return int(seconds.size)
    notes.append(f"{again.shape[0]} segments of {length} samples, whose times begin again: the first is used")
    return length


def check_order(seconds: FloatArray, time: TraceColumn, table: Table, rows: NDArray[np.int64]) -> None:
    """Refuse times that do not increase from row to row.

    Raises
    ------
    InputError
        Times do not increase; names the line.
    """
    steps = np.diff(seconds)
    bad = np.flatnonzero(~(steps > 0))
    if bad.size == 0:
        return
    row = int(bad[0]) + 1
    kind = "repeats" if steps[bad[0]] == 0 else "runs backwards"
    later, before = (f"{time.values[rows[i]]:g}" for i in (row, row - 1))
    fix = "times must increase from row to row; cut the file where a recording was restarted"
    if time.stamped:
        later, before = (f"'{table.stamp_of(int(rows[i]))}'" for i in (row, row - 1))
        same = int(np.sum(steps == 0))
        if same > 0.1 * steps.size and np.all(steps >= 0):
            raise InputError(
                f"{same} of {seconds.size} stamps repeat the one before, such as {later}: written to "
                f"{table.stamp_step_s:g} s they do not tell the samples apart",
                line=table.line_of(int(rows[row])),
                column=time.name,
                fix="export the stamps with more digits below the second, or the time in seconds, or give the interval",
            )
    raise InputError(
        f"time {kind}: {later} after {before}", line=table.line_of(int(rows[row])), column=time.name, fix=fix
    )


def in_range(voltage: FloatArray, notes: list[str], name: str) -> FloatArray:
    """Return a voltage whose out-of-range samples stand at the extremes of the others, with a note.

    Raises
    ------
    InputError
        No sample is in range.
    """
    finite = np.isfinite(voltage)
    if not finite.any():
        raise InputError("no sample of it is a number", column=name, fix="choose another channel, or export again")
    over = np.isinf(voltage)
    if over.any():
        low, high = float(np.min(voltage[finite])), float(np.max(voltage[finite]))
        voltage = np.where(over, np.where(voltage > 0, high, low), voltage)
        notes.append(f"{int(over.sum())} samples out of range, set to the extremes of the others: the trace is clipped")
    return voltage


def without_missing(
    voltage: FloatArray, seconds: FloatArray | None, notes: list[str], name: str
) -> tuple[FloatArray, FloatArray | None, NDArray[np.int64]]:
    """Return samples and times without the missing ones, and the rows that stay; bridged where there are no times.

    Raises
    ------
    InputError
        Too many are missing.
    """
    rows = np.arange(voltage.size)
    missing = np.isnan(voltage) if seconds is None else np.isnan(voltage) | ~np.isfinite(seconds)
    if not missing.any():
        return voltage, seconds, rows
    blank = missing.copy()
    # rows at the ends that hold nothing are no samples
    kept = np.flatnonzero(~missing)
    if kept.size:
        blank[: kept[0]] = blank[kept[-1] + 1 :] = False
    if np.mean(missing) > MOST_MISSING or kept.size < 2:
        raise InputError(
            f"{int(missing.sum())} of {voltage.size} samples are missing", column=name, fix="choose another channel"
        )
    if blank.any():
        notes.append(f"{int(blank.sum())} missing samples of '{name}' bridged by straight lines")
    inside = slice(int(kept[0]), int(kept[-1]) + 1)
    if seconds is None:
        return np.interp(rows[inside], kept, voltage[kept]), None, rows[inside]
    return voltage[kept], seconds[kept], kept
