"""Speed from a tachometer file of any kind; the single entry for folders, books, commands and pages."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from os import PathLike
from typing import TYPE_CHECKING, Any

import numpy as np

from edgewind.errors import InputError
from edgewind.signals.direction import (
    Direction,
    direction_of_marks,
    direction_of_pair,
    direction_of_picture,
    not_known,
)
from edgewind.signals.flicker import (
    Flicker,
    find_flicker,
    keeps_its_place,
)
from edgewind.signals.mains import on_grid
from edgewind.signals.speed import estimate_speed
from edgewind.signals.speed_estimate import FLAGS, SpeedEstimate
from edgewind.signals.thresholds import (
    CLOCK_WITHIN,
    FLICKER_OWN_CELLS,
    MAINS_TOLERANCE,
    SAME_RATE,
)
from edgewind.signals.trace import Trace, Wanted, channel_names, read_table, trace_of
from edgewind.signals.trace_table import Table
from edgewind.signals.turning_picture import PictureSpeed, speed_in
from edgewind.signals.video import Clip, is_video, read_clip

if TYPE_CHECKING:
    from edgewind.bench.schema import TachometerSection

NO_DIRECTION = not_known("equal marks do not show the direction")
MOST_CHANNELS = 8
"""Channels that are looked through where none is chosen."""


@dataclass(frozen=True)
class Picture:
    """A clip, and the rotation seen in it."""

    clip: Clip
    seen: PictureSpeed


@dataclass(frozen=True)
class TraceReading:
    """A trace and the speed found in it.

    Attributes
    ----------
    trace : Trace
        The channel that was used.
    speed : SpeedEstimate
        Size of the speed, with flags.
    direction : Direction
        Direction of rotation, if the file shows it.
    picture : Picture or None
        The clip that it was seen in.
    """

    trace: Trace
    speed: SpeedEstimate
    direction: Direction = NO_DIRECTION
    picture: Picture | None = None

    def row(self) -> dict[str, Any]:
        """Return the results, in SI.

        Returns
        -------
        speed_rad_s, speed_u_rad_s, turns, acceleration_rad_s2, acceleration_u_rad_s2 : as in SpeedEstimate
        flags, method : as in SpeedEstimate
        interval_s, samples, channel, channels, notes : as in Trace
        direction : int
            Which face leads: +1 the bright one, -1 the dark one, 0 if the file does not show it.
        direction_confidence : float or None
            Probability of that direction against the other.
        direction_why : str
            What tells it, or why nothing does.
        possible_rad_s : list of float
            Other speeds that a clip allows, clockwise as the camera sees it positive, or a trace that is flagged
            ``jumps``; empty elsewhere.
        """
        names = ("speed_rad_s", "speed_u_rad_s", "turns", "acceleration_rad_s2", "acceleration_u_rad_s2")
        return {
            **{name: getattr(self.speed, name) for name in (*names, "flags", "method")},
            **{name: getattr(self.trace, name) for name in ("interval_s", "samples", "channel", "channels", "notes")},
            "direction": self.direction.sense,
            "direction_confidence": self.direction.confidence,
            "direction_why": self.direction.why,
            "possible_rad_s": list(self.speed.possible_rad_s),
        }


@dataclass(frozen=True)
class Tachometry:
    """Description of a tachometer, as needed to read its files; SI.

    Attributes
    ----------
    marks : int
        Pulses a turn; a clip needs none.
    channel, interval_s, mains_hz : optional
        See :func:`read_trace` and :func:`estimate_speed`.
    second_channel, second_lag, mark_places, bright_leads : optional
        Sources of a direction; see :class:`edgewind.bench.schema.TachometerSection`.
    fastest_rad_s : float
        Speed that the rotor cannot exceed.
    region : tuple of int, optional
        Where the rotor is in a clip: x, y, width and height, pixels.
    time_base : {"mains"}, optional
        Source of time instead of the file's own: the hum or flicker of the mains in it.
    """

    marks: int
    channel: Wanted = None
    interval_s: float | None = None
    mains_hz: float | str | None = "auto"
    second_channel: str | int | None = None
    second_lag: float = 0.25
    mark_places: tuple[float, ...] | None = None
    bright_leads: str | None = None
    fastest_rad_s: float = math.inf
    region: tuple[int, int, int, int] | None = None
    time_base: str | None = None


def measure_speed(path: str | PathLike[str], tachometer: TachometerSection, *, source: str = "") -> TraceReading:
    """Return the speed in a file as the section ``[tachometer]`` describes its tachometer.

    Parameters
    ----------
    path : path
        The file.
    tachometer : TachometerSection
        Marks, channel, interval, mains, and sources of a direction.
    source : str
        Name of the file in messages; default: its path.

    Raises
    ------
    InputError
        The file cannot be used; names it.
    """
    return measure_file(path, _tachometry(tachometer), source=source)


def measure_trace(trace: Trace, tachometer: TachometerSection) -> TraceReading:
    """Return the speed in a trace that an instrument sent, as the section ``[tachometer]`` describes its tachometer.

    Parameters
    ----------
    trace : Trace
        The trace.
    tachometer : TachometerSection
        Marks, mains, and whether the time is taken from these.
    """
    stated = _tachometry(tachometer)
    return _with_mains(_read(trace, stated.marks, stated.mains_hz), stated)


def _read(trace: Trace, marks: int, mains_hz: float | str | None) -> TraceReading:
    """Return the speed in a trace, with a note on other speeds that it allows."""
    speed = estimate_speed(trace, marks, mains_hz=mains_hz)
    if speed.possible_rad_s:
        listed = ", ".join(f"{30 / math.pi * one:.4g}" for one in (speed.speed_rad_s, *speed.possible_rad_s))
        why = "pulses are missing or few, or a hum lies on them"
        if trace.coupled:
            why += ", or the capacitor in the socket makes two bumps of each"
        note = f"{why}, so that several speeds are possible: {listed} rpm"
        trace = replace(trace, notes=(*trace.notes, note))
    return TraceReading(trace, speed)


def _tachometry(tachometer: TachometerSection) -> Tachometry:
    """Return the contents of a section ``[tachometer]``, in SI."""
    mains, interval, fastest = tachometer.mains_frequency, tachometer.interval, tachometer.fastest
    return Tachometry(
        tachometer.marks,
        tachometer.channel,
        None if interval is None else interval.value,
        "auto" if mains is None else mains.value,
        tachometer.second_channel,
        tachometer.second_lag,
        tachometer.mark_places,
        tachometer.bright_leads,
        math.inf if fastest is None else fastest.value,
        time_base=tachometer.time_base,
    )


def measure_file(path: str | PathLike[str], tachometer: Tachometry, *, source: str = "") -> TraceReading:
    """Return the speed in a file: text, arrays, sound or a clip.

    If no channel is chosen, all are analysed: if only one shows a rotor, it is used. Of several that agree, the
    first is; where they do not, the speed is flagged ``channel-assumed``.

    Parameters
    ----------
    path : path
        The file.
    tachometer : Tachometry
        Description of the tachometer.
    source : str
        Name of the file in messages; default: its path.

    Raises
    ------
    InputError
        The file cannot be used; names it.
    """
    name, interval_s = source or str(path), tachometer.interval_s
    try:
        if interval_s is not None and not (math.isfinite(interval_s) and interval_s > 0):
            raise InputError(f"the sample interval {interval_s} s is not a positive time", fix="give it in seconds")
        found = _in_clip(path, tachometer, name) if is_video(path) else _in_table(read_table(path), tachometer, name)
        return _with_mains(found, tachometer)
    except InputError as error:
        error = error.at(file=name)
        error.file = name
        raise error from None


def _with_mains(reading: TraceReading, tachometer: Tachometry) -> TraceReading:
    """Return a reading with the mains in it named, and its time taken from them if the owner states so."""
    trace, speed, picture = reading.trace, reading.speed, reading.picture
    mains = tachometer.mains_hz if isinstance(tachometer.mains_hz, float) else None
    wanted = tachometer.time_base == "mains"
    if tachometer.mains_hz is None and not wanted:
        return reading
    signal = trace.voltage_v
    orders: tuple[int, ...] = (1, 2)
    if picture is not None:  # flicker of the whole picture
        even = np.linspace(0.0, float(picture.clip.time_s[-1]), picture.clip.time_s.size)
        signal, orders = np.interp(even, picture.clip.time_s, picture.clip.frames.mean(axis=(1, 2))), (2,)
    rate = speed.speed_rad_s / (2 * math.pi)
    if not wanted:
        if bool(np.all((signal == signal.min()) | (signal == signal.max()))):
            return reading  # a logic output: weak lines are left by edges that fall on samples, and no lamp adds any
        seen = find_flicker(signal, trace.interval_s, mains, rate, orders, MAINS_TOLERANCE)
        return reading if seen is None else _with_note(reading, seen.said())
    # a hum that a wrong clock moves away from the mains may itself be what was taken for the rotor
    seen = find_flicker(signal, trace.interval_s, mains, math.nan if picture is None else rate, orders, CLOCK_WITHIN)
    if seen is not None and keeps_its_place(signal, trace.interval_s, seen):
        timed = _by_clock(reading, seen, tachometer)
        if timed is not None:
            note = f"{seen.said()}: the time is taken from it, {seen.interval_s:.6g} s between samples"
            return _with_note(timed, note)
    note = "no line of the mains shows here, from which time_base takes the time: that of the file is used"
    flags, of_trace = (
        tuple(flag for flag in FLAGS if flag in {*known, "time-assumed"}) for known in (speed.flags, trace.flags)
    )
    doubted = replace(reading, speed=replace(speed, flags=flags), trace=replace(trace, flags=of_trace))
    return _with_note(doubted, note)


def _by_clock(reading: TraceReading, seen: Flicker, tachometer: Tachometry) -> TraceReading | None:
    """Return a reading by the time that the mains give; None where their line is one of a steady rotor itself."""
    trace, speed = reading.trace, reading.speed
    factor = trace.interval_s / seen.interval_s
    kept = tuple(flag for flag in trace.flags if flag != "time-assumed")
    retimed = replace(trace, interval_s=seen.interval_s, interval_u_rel=seen.interval_u_rel, flags=kept)
    scaled = replace(
        speed,
        speed_rad_s=speed.speed_rad_s * factor,
        speed_u_rad_s=math.hypot(speed.speed_u_rad_s, seen.interval_u_rel * speed.speed_rad_s) * factor,
        acceleration_rad_s2=speed.acceleration_rad_s2 * factor**2,
        acceleration_u_rad_s2=speed.acceleration_u_rad_s2 * factor**2,
        possible_rad_s=tuple(factor * one for one in speed.possible_rad_s),
        flags=tuple(flag for flag in speed.flags if flag != "time-assumed"),
    )
    if reading.picture is not None:
        return replace(reading, speed=scaled, trace=retimed)
    again = _read(retimed, tachometer.marks, seen.mains_hz)
    found, retimed = again.speed, again.trace
    steady = math.isfinite(found.speed_rad_s) and "drifting" not in found.flags
    nominal = np.array([seen.order * seen.mains_hz])
    own = FLICKER_OWN_CELLS / (retimed.samples * retimed.interval_s)
    if steady and bool(on_grid(nominal, found.speed_rad_s / (2 * math.pi), own)[0]):
        return None
    same = abs(found.speed_rad_s - scaled.speed_rad_s) < SAME_RATE * scaled.speed_rad_s
    direction = reading.direction if same or not reading.direction.sense else NO_DIRECTION
    return replace(reading, speed=found, trace=retimed, direction=direction)


def _in_clip(path: str | PathLike[str], tachometer: Tachometry, name: str) -> TraceReading:
    """Return speed and direction in a clip."""
    clip = read_clip(path, tachometer.region)
    flags: set[str] = set()
    notes = list(clip.notes)
    rate = (clip.time_s.size - 1) / float(clip.time_s[-1])
    if tachometer.interval_s is not None:
        clip = replace(clip, time_s=np.multiply(np.arange(clip.time_s.size), tachometer.interval_s, dtype=np.float64))
    elif clip.capture_fps and abs(clip.capture_fps / rate - 1) > 0.02:
        flags.add("time-assumed")
        notes.append(
            f"the camera recorded {clip.capture_fps:g} frames a second and the clip plays {rate:.4g}: slow motion? "
            f"State the time between frames: --interval '{1e3 / clip.capture_fps:.4g} ms', or [tachometer] interval"
        )
    seen = speed_in(clip, tachometer.fastest_rad_s / (2 * math.pi), tachometer.marks)
    span, size = float(clip.time_s[-1]), abs(seen.turn_rate_hz)
    if seen.side:
        notes.append(
            "the rotor is seen from the side: its speed is that of its vanes, whose number is taken for the marks"
        )
        if tachometer.marks == 1:
            flags.add("marks-doubtful")
            notes.append("one vane is assumed: state their number: --marks 4, say, or marks under [tachometer]")
    if seen.folded:
        flags.add("aliased")
        listed = ", ".join(f"{60 * other:.4g}" for other in (seen.turn_rate_hz, *seen.possible_hz))
        notes.append(
            f"frames are too few to tell a speed from a faster one: possible are {listed} rpm (+ clockwise). Mark one "
            "vane, or state 'fastest' under [tachometer]"
        )
    if size * span < 2:
        flags.add("short")
    drift = abs(seen.acceleration_hz_s)
    if drift * span > 0.005 * size and drift > 4 * seen.acceleration_u_hz_s:
        flags.add("drifting")
    circle = 2 * math.pi
    speed = SpeedEstimate(
        circle * size,
        circle * seen.turn_rate_u_hz,
        tuple(flag for flag in FLAGS if flag in flags),
        "video",
        size * span,
        circle * math.copysign(1.0, seen.turn_rate_hz) * seen.acceleration_hz_s,
        circle * seen.acceleration_u_hz_s,
        possible_rad_s=tuple(circle * rate for rate in seen.possible_hz),
    )
    strongest = int(np.argmax(np.std(seen.ring.series, axis=1)))
    even = np.linspace(0.0, span, clip.time_s.size)
    trace = Trace(
        np.interp(even, clip.time_s, seen.ring.series[strongest]),
        span / (clip.time_s.size - 1),
        f"patch {strongest + 1}",
        name,
        tuple(notes),
        tuple(f"patch {number + 1}" for number in range(len(seen.ring.series))),
        tuple(flags & {"time-assumed"}),
    )
    return TraceReading(trace, speed, direction_of_picture(seen, tachometer.bright_leads), Picture(clip, seen))


def _in_table(table: Table, tachometer: Tachometry, name: str) -> TraceReading:
    """Return the speed in columns of numbers, and its direction where they tell one."""
    marks, interval_s, mains_hz = tachometer.marks, tachometer.interval_s, tachometer.mains_hz

    def read(channel: Wanted, place: int | None = None) -> TraceReading:
        return _read(trace_of(table, name, channel, interval_s, place), marks, mains_hz)

    names = channel_names(table)
    second = None if tachometer.second_channel is None else trace_of(table, name, tachometer.second_channel, interval_s)
    if tachometer.channel is not None or len(names) < 2 or second is not None:
        found = read(tachometer.channel)
    else:
        several = [read(None)]
        for number in range(1, min(len(names), MOST_CHANNELS)):
            if number == names.index(several[0].trace.channel):
                continue
            try:
                several.append(read(None, number))
            except InputError:
                continue  # a channel without samples; the first has some
        found = _best_of(several, names)
    if second is not None:
        direction = direction_of_pair(found.trace, second, found.speed, marks, tachometer.second_lag)
    elif tachometer.mark_places is not None:
        direction = direction_of_marks(found.trace, found.speed, tachometer.mark_places)
    else:
        direction = found.direction
    return replace(found, direction=direction)


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
        alike = ", ".join(one.trace.channel for one in turning)
        return _with_note(best, f"the channels {alike} agree: '{best.trace.channel}' is used")
    told = ", ".join(f"{one.trace.channel} {speed:.4g} rad/s" for one, speed in zip(turning, speeds, strict=True))
    note = f"the channels show different speeds ({told}): state channel under [tachometer], or --channel"
    flags = (*best.speed.flags, "channel-assumed")
    return _with_note(replace(best, speed=replace(best.speed, flags=flags)), note)


def _with_note(reading: TraceReading, note: str) -> TraceReading:
    """Return a reading with a note in place of the one that the first channel is used."""
    replaced = "of the channels ", "the first is used"
    kept = (old for old in reading.trace.notes if not (old.startswith(replaced[0]) and old.endswith(replaced[1])))
    notes = (*kept, note)
    return replace(reading, trace=replace(reading.trace, notes=notes))
