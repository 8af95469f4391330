"""From a file of a tachometer, of any kind, to the speed in it: the one way, for folders, books, commands and pages."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from os import PathLike

from edgewind.bench.schema import TachometerSection
from edgewind.errors import InputError
from edgewind.signals.speed import SpeedEstimate, estimate_speed
from edgewind.signals.trace import Trace, Wanted, channel_names, read_table, trace_of

MOST_CHANNELS = 8
"""Channels that are looked through where none is chosen."""


@dataclass(frozen=True)
class TraceReading:
    """A trace and the speed found in it.

    Attributes
    ----------
    trace : Trace
        The channel that was used.
    speed : SpeedEstimate
        Size of the speed, with flags.
    """

    trace: Trace
    speed: SpeedEstimate


def measure_speed(path: str | PathLike[str], tachometer: TachometerSection, *, source: str = "") -> TraceReading:
    """Return the speed in a file as the section ``[tachometer]`` describes its tachometer.

    Parameters
    ----------
    path : path
        The file.
    tachometer : TachometerSection
        Marks, channel, interval and mains.
    source : str
        What messages call the file; its path when left out.

    Raises
    ------
    InputError
        The file cannot be used; names it.
    """
    mains, interval = tachometer.mains_frequency, tachometer.interval
    return measure_file(
        path,
        tachometer.marks,
        channel=tachometer.channel,
        interval_s=None if interval is None else interval.value,
        mains_hz="auto" if mains is None else mains.value,
        source=source,
    )


def measure_file(
    path: str | PathLike[str],
    marks: int,
    *,
    channel: Wanted = None,
    interval_s: float | None = None,
    mains_hz: float | str | None = "auto",
    source: str = "",
) -> TraceReading:
    """Return the speed in a file.

    Where no channel is chosen, all are looked through: one that alone shows a rotor is used. Of several that agree, the
    first is; where they do not, the speed is flagged ``channel-assumed``.

    Parameters
    ----------
    path : path
        The file.
    marks : int
        Pulses a turn.
    channel : str, int or list, optional
        See :func:`read_trace`.
    interval_s : float, optional
        See :func:`read_trace`.
    mains_hz : float, "auto" or None
        See :func:`estimate_speed`.
    source : str
        What messages call the file; its path when left out.

    Raises
    ------
    InputError
        The file cannot be used; names it.
    """
    name = source or str(path)
    try:
        if interval_s is not None and not (math.isfinite(interval_s) and interval_s > 0):
            raise InputError(f"the sample interval {interval_s} s is not a positive time", fix="give it in seconds")
        table = read_table(path)
        names = channel_names(table)
        if channel is not None or len(names) < 2:
            trace = trace_of(table, name, channel, interval_s)
            return TraceReading(trace, estimate_speed(trace, marks, mains_hz=mains_hz))
        first = trace_of(table, name, None, interval_s)
        found = [TraceReading(first, estimate_speed(first, marks, mains_hz=mains_hz))]
        for number in range(1, min(len(names), MOST_CHANNELS)):
            try:
                trace = trace_of(table, name, None, interval_s, number)
            except InputError:
                continue  # a channel without samples; the first has some
            found.append(TraceReading(trace, estimate_speed(trace, marks, mains_hz=mains_hz)))
        return _best_of(found, names)
    except InputError as error:
        error = error.at(file=name)
        error.file = name
        raise error from None


def _best_of(found: list[TraceReading], names: tuple[str, ...]) -> TraceReading:
    """Return the reading of the channel that shows a rotor, with a note; flagged where several show different ones."""
    turning = [one for one in found if one.speed.method != "none"]
    if not turning:
        return found[0]
    best = turning[0]
    listed = ", ".join(names)
    if len(turning) == 1:
        note = f"of the channels {listed} only '{best.trace.channel}' shows a rotor: it is used"
        return _with_note(best, note)
    speeds = [one.speed.speed_rad_s for one in turning]
    apart = max(
        abs(one.speed.speed_rad_s - best.speed.speed_rad_s)
        - max(0.002 * best.speed.speed_rad_s, 4 * math.hypot(one.speed.speed_u_rad_s, best.speed.speed_u_rad_s))
        if math.isfinite(one.speed.speed_rad_s) and math.isfinite(best.speed.speed_rad_s)
        else math.inf
        for one in turning[1:]
    )
    if apart <= 0:
        return _with_note(best, f"the channels {listed} agree: '{best.trace.channel}' is used")
    told = ", ".join(f"{one.trace.channel} {speed:.4g} rad/s" for one, speed in zip(turning, speeds, strict=True))
    note = f"the channels show different speeds ({told}): state channel under [tachometer], or --channel"
    flags = (*best.speed.flags, "channel-assumed")
    return _with_note(replace(best, speed=replace(best.speed, flags=flags)), note)


def _with_note(reading: TraceReading, note: str) -> TraceReading:
    """Return a reading with a note in place of the one that the first channel is used."""
    notes = (*(old for old in reading.trace.notes if not old.endswith("the first is used")), note)
    return replace(reading, trace=replace(reading.trace, notes=notes))
