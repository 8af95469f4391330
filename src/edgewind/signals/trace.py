"""A trace: the voltage of one channel on an even grid in time, and the tolerant reader that makes it from a file."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from os import PathLike
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from edgewind.errors import InputError
from edgewind.signals.sound import SOUND_SUFFIXES, read_sound
from edgewind.signals.time_grid import (
    changes_only,
    check_order,
    even_grid,
    first_segment,
    in_range,
    unrounded,
    without_missing,
)
from edgewind.signals.trace_arrays import ARRAY_SUFFIXES, read_arrays
from edgewind.signals.trace_header import CHANNELS, INTERLEAVED, SECONDS, THINNED, TIME_CLUE
from edgewind.signals.trace_roles import (
    VOLTAGE_UNITS,
    Roles,
    choose_channel,
    epoch_unit,
    is_other_quantity,
    roles_of,
    time_unit_of,
)
from edgewind.signals.trace_table import Table, TraceColumn, load_bytes
from edgewind.signals.trace_text import read_text

FloatArray = NDArray[np.float64]

DEFAULT_MAX_BYTES = 200_000_000
ONLY_SOUND_RATES = (11_025, 22_050, 44_100, 88_200, 176_400)
SOUND_RATES = (8000, 16_000, 24_000, 32_000, 48_000, 96_000, 192_000)
"""Samples a second of sound; those of the second kind are used elsewhere, too."""
SOUND_WITHIN = 1e-3
"""Relative error of a rate by times of few digits."""
SOUND_WORDS = re.compile(r"\b(amplitude|sound|audio|wave?|pcm|mono|stereo|left|right|microphone)\b", re.I)
DECIBEL = re.compile(r"^db", re.I)
TEXT_SUFFIXES = (".csv", ".txt", ".dat", ".tsv", ".asc", ".lvm")
SUFFIXES = (*TEXT_SUFFIXES, *(f"{suffix}.gz" for suffix in TEXT_SUFFIXES), *ARRAY_SUFFIXES, *SOUND_SUFFIXES)

Wanted = str | int | list[str | int] | None
"""A channel by name or number, or several of which the first that the file holds is taken; None for the first."""
SLOW_S = 0.05
"""Time between samples from which a column may be a log of a pressure or a temperature: common practice, no source."""
SENSOR_NAME = re.compile(r"tacho|photo|hall|encoder|opto|laser|pulse|\bmarks?\b|rotor", re.I)
"""A title by which a column is the signal of a sensor of marks."""
SHORTEST_S, LONGEST_S = 1e-15, 1e6
"""Time between samples beyond which a file is damaged: no recorder has either."""
FACTORS = (1.0, 1e-3, 1e-6, 1e-9, 60.0)
NAMES = {1.0: "seconds", 1e-3: "milliseconds", 1e-6: "microseconds", 1e-9: "nanoseconds"}


@dataclass(frozen=True)
class Trace:
    """The voltage of one channel, sampled evenly.

    Attributes
    ----------
    voltage_v : array of float, shape (n,)
        Voltage, volts.
    interval_s : float
        Time between samples, seconds.
    channel : str
        Name of the channel in its file.
    source : str
        The file it came from, as its reader was given it; for messages.
    notes : tuple of str
        Assumptions of the reader, and what it left out.
    channels : tuple of str
        Names of all channels of the file.
    flags : tuple of str
        ``time-assumed`` if the interval is a guess; ``channel-assumed`` if the channel is. A speed from such a trace is
        not used until the guess is stated.
    interval_u_rel : float
        Relative standard uncertainty of the interval, where rounded times leave one.
    coupled : bool
        Whether a sound card recorded it: a capacitor kept the steady voltage out, and may make two bumps of a pulse.
    """

    voltage_v: FloatArray
    interval_s: float
    channel: str = ""
    source: str = ""
    notes: tuple[str, ...] = ()
    channels: tuple[str, ...] = ()
    flags: tuple[str, ...] = ()
    interval_u_rel: float = 0.0
    coupled: bool = False

    @property
    def samples(self) -> int:
        """Number of samples."""
        return int(self.voltage_v.size)

    @property
    def duration_s(self) -> float:
        """Time that the samples stand for, seconds: their number times the interval."""
        return self.samples * self.interval_s

    @property
    def time_s(self) -> FloatArray:
        """Time of each sample after the first, seconds."""
        return np.asarray(np.arange(self.samples) * self.interval_s, dtype=np.float64)


def read_trace(
    path: str | PathLike[str],
    *,
    channel: Wanted = None,
    interval_s: float | None = None,
    max_bytes: int = DEFAULT_MAX_BYTES,
) -> Trace:
    r"""Read one channel of a file exported by an oscilloscope or a logger.

    Text (.csv, .txt, .dat, .tsv, .asc, .lvm, also with .gz) may open with any number of header lines, name its units in
    a row or in brackets, separate with ``;``, ``,``, tab or blanks, and write a decimal comma. Arrays (.npz) and
    sound (.wav) are read too. Date-time stamps, in one column or two, are read as seconds from the first; text after
    the numbers is left out. Assumptions are listed in `Trace.notes`.

    Parameters
    ----------
    path : path
        The file.
    channel : str or int, optional
        Name of the channel, or its number as the file counts (time is not counted), or a list of names of which the
        file holds one. The first channel when left out.
    interval_s : float, optional
        Time between samples in seconds: where the file states neither times nor an interval, or without a unit.
    max_bytes : int
        Largest size, unpacked, that will be read.

    Returns
    -------
    Trace
        Voltage in volts on an even grid.

    Raises
    ------
    InputError
        When the file cannot be used; the message names the file, the line and the column.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     path = Path(folder) / "scope.csv"
    ...     _ = path.write_text("Time (ms);CH1 (mV)\n0,0;120\n0,5;135\n1,0;128\n")
    ...     trace = read_trace(path)
    >>> trace.interval_s, trace.voltage_v.tolist(), trace.channel
    (0.0005, [0.12, 0.135, 0.128], 'CH1')
    """
    if interval_s is not None and not (np.isfinite(interval_s) and interval_s > 0):
        raise InputError(f"the sample interval {interval_s} s is not a positive time", fix="give it in seconds")
    source = str(path)
    try:
        return trace_of(read_table(path, max_bytes), source, channel, interval_s)
    except InputError as error:
        raise error.at(file=source) from None


def read_table(path: str | PathLike[str], max_bytes: int = DEFAULT_MAX_BYTES) -> Table:
    """Return the columns of a file, by the reader for its suffix."""
    if Path(path).is_dir():
        raise InputError("this is a folder", fix="name one trace in it")
    name = Path(path).name.lower()
    if name.endswith(tuple(f"{suffix}{gz}" for suffix in TEXT_SUFFIXES for gz in ("", ".gz"))):
        return read_text(load_bytes(path, max_bytes))
    if name.endswith(ARRAY_SUFFIXES):
        return read_arrays(path, max_bytes)
    if name.endswith(SOUND_SUFFIXES):
        return replace(read_sound(path), coupled=True)
    raise InputError(
        f"'{Path(path).suffix}' is not a kind of file that traces are read from",
        fix="use one of " + ", ".join(SUFFIXES) + "; if it is text, give its name the ending .csv",
    )


def channel_names(table: Table) -> tuple[str, ...]:
    """Return the names of the channels of a table, time and counters left out."""
    return tuple(column.name for column in roles_of(table).channels)


def trace_of(table: Table, source: str, channel: Wanted, interval_s: float | None, place: int | None = None) -> Trace:
    """Choose a channel of a table, by what is wanted or by its place, and put it on an even grid."""
    notes = list(table.notes)
    roles = roles_of(table)
    notes += roles.notes
    chosen = choose_channel(roles.channels, channel, roles.counters) if place is None else roles.channels[place]
    names = tuple(column.name for column in roles.channels)
    if channel is None and place is None and len(names) > 1:
        notes.append(f"of the channels {', '.join(names)} the first is used")
    if DECIBEL.match(chosen.unit):
        raise InputError(
            f"the column is a level in {chosen.unit}, which does not say on which side of zero a sample is",
            column=chosen.name,
            fix="export the samples on a linear scale",
        )
    voltage = chosen.values * _volts(chosen, table.volts_note, notes)
    time = roles.time_of(chosen, table.columns)
    if time is None:
        interval, flags = _interval_alone(table, interval_s, roles, notes)
        _check_not_interleaved(table)
        if channel is None:
            flags = (*flags, *_doubtful_channels(table, roles, notes))
        voltage, _, _ = without_missing(in_range(voltage, notes, chosen.name), None, notes, chosen.name)
        timed = _Timed(interval, voltage, flags)
    else:
        timed = _on_times(table, time, chosen, voltage, interval_s, notes)
        voltage = timed.voltage_v
    flags = timed.flags
    if channel is None and is_other_quantity(chosen):
        notes.append(
            f"'{chosen.name}' is a speed, a pressure or a temperature by its title: is it the signal of a sensor? "
            "State channel under [tachometer], or --channel, if it is"
        )
        flags = tuple(dict.fromkeys((*flags, "channel-assumed")))
    if channel is None and interval_s is None and not flags and _may_be_a_log(chosen, voltage, timed.interval_s):
        notes.append(
            f"'{chosen.name}' has a sample every {timed.interval_s:.3g} s, {voltage.size} in all: a log of a pressure "
            "or a temperature? State channel under [tachometer], or --channel, if it is the signal of "
            "a sensor of marks"
        )
        flags = tuple(dict.fromkeys((*flags, "channel-assumed")))
    if not SHORTEST_S <= timed.interval_s <= LONGEST_S:
        raise InputError(
            f"the time between samples cannot be {timed.interval_s:g} s",
            fix="export the trace again, or give the interval",
        )
    if voltage.size < 2:
        raise InputError(
            f"the trace has {voltage.size} sample{'s' * (voltage.size != 1)}",
            column=chosen.name,
            fix="two or more are needed",
        )
    return Trace(
        voltage,
        float(timed.interval_s),
        chosen.name,
        source,
        tuple(dict.fromkeys(notes)),
        names,
        flags,
        timed.interval_u_rel,
        table.coupled or _is_sound(table, timed.interval_s),
    )


def _may_be_a_log(column: TraceColumn, voltage: FloatArray, interval_s: float) -> bool:
    """Return whether a column may be a log of something slow that goes up and down, and not pulses of a sensor.

    A pressure between two valves, or the temperature of a room, is as periodic as a rotor. A title that names a sensor
    of marks, or values of two levels only, as of a logic output, are not those of a log.
    """
    if interval_s < SLOW_S or (column.named and SENSOR_NAME.search(column.name)):
        return False
    return bool(np.any((voltage != voltage.min()) & (voltage != voltage.max())))


def _is_sound(table: Table, interval_s: float) -> bool:
    """Return whether text or arrays were sound: by a rate that only sound has, or by one of its rates and its words."""
    rate = 1 / interval_s
    if any(abs(rate / one - 1) < SOUND_WITHIN for one in ONLY_SOUND_RATES):
        return True
    words = (*table.unused, *(column.name for column in table.columns))
    return any(abs(rate / one - 1) < SOUND_WITHIN for one in SOUND_RATES) and any(map(SOUND_WORDS.search, words))


@dataclass(frozen=True)
class _Timed:
    """Samples on an even grid, and the certainty of their interval."""

    interval_s: float
    voltage_v: FloatArray
    flags: tuple[str, ...] = ()
    interval_u_rel: float = 0.0


def _interval_alone(
    table: Table, interval_s: float | None, roles: Roles, notes: list[str]
) -> tuple[float, tuple[str, ...]]:
    """Return the interval of a table without times: as given, or as its header states it."""
    if interval_s is not None:
        if table.interval_s and not np.isclose(table.interval_s, interval_s, rtol=0.01):
            notes.append(
                f"the header says {table.interval_s:g} s between samples; {interval_s:g} s was given and is used"
            )
        return interval_s, ()
    if table.interval_s is None:
        counter = f"column '{roles.counters[0].name}' only counts the samples, and " if roles.counters else ""
        clue = next((line for line in table.unused if TIME_CLUE.search(line) and any(c.isdigit() for c in line)), None)
        seen = f" ('{' '.join(clue.split())[:60]}' is not understood)" if clue else ""
        raise InputError(
            f"{counter}there is no time column and no sample interval in the header{seen}",
            fix="give the interval (--interval '1 ms', or interval = \"1 ms\" under [tachometer]), name a column "
            "'time [s]' or write a header line such as 'Sample Interval,0.001 s'",
        )
    thinned = next((line for line in table.unused if THINNED.search(line)), None)
    if table.stated is not None and table.stated.sure and thinned is not None:
        notes.append(
            f"'{' '.join(thinned.split())[:60]}' does not say whether the interval is that before or after it: the "
            "latter is assumed. State the interval: --interval, or interval under [tachometer]"
        )
        return table.interval_s, ("time-assumed",)
    if table.stated is None or table.stated.sure:
        return table.interval_s, ()
    if table.stated.from_rate and not table.stated.doubt and _is_sound(table, table.interval_s):
        notes.append(f"'{table.stated.said}' names no unit: hertz, since this is sound")
        return table.interval_s, ()
    kind = "hertz" if table.stated.from_rate else "seconds"
    doubt = f"may be read as {table.stated.doubt}" if table.stated.doubt else f"names no unit: {kind} assumed"
    notes.append(f"'{table.stated.said}' {doubt}. State the interval: --interval, or interval under [tachometer]")
    return table.interval_s, ("time-assumed",)


def _check_not_interleaved(table: Table) -> None:
    """Refuse samples of several channels that follow one another, by what the header says.

    Raises
    ------
    InputError
        They do; names the line.
    """
    mixed = next((line for line in table.unused if INTERLEAVED.search(line)), None)
    if mixed is not None:
        raise InputError(
            f"samples of several channels follow one another: '{' '.join(mixed.split())[:60]}'",
            fix="export each channel in a column of its own, with the times",
        )


def _doubtful_channels(table: Table, roles: Roles, notes: list[str]) -> tuple[str, ...]:
    """Return a flag where columns may be no channels: without times nothing says that rows follow one another."""
    lines = [" ".join(line.split()) for line in table.unused]
    several = next((found for line in lines if (found := CHANNELS.search(line))), None)
    count = len(roles.channels)
    if several is not None and int(several["count"]) > count:
        notes.append(
            f"the header says '{several[0]}', and there is no more than {count} column of numbers: do samples of "
            "several channels follow one another? State channel under [tachometer], or --channel, if not"
        )
        return ("channel-assumed",)
    if count > 1 and table.stated is not None and not any(column.named for column in roles.channels):
        notes.append(
            f"{count} columns have no names: {count} channels, or one trace written {count} samples to a row? State "
            "channel under [tachometer], or --channel, if they are channels"
        )
        return ("channel-assumed",)
    return ()


def _on_times(
    table: Table,
    time: TraceColumn,
    chosen: TraceColumn,
    voltage: FloatArray,
    interval_s: float | None,
    notes: list[str],
) -> _Timed:
    """Return the samples of a table with a column of times, on an even grid."""
    voltage = in_range(voltage, notes, chosen.name)
    scale, flags = _seconds(table, time, interval_s, notes)
    if scale is None:  # the interval that was given fits the times in no unit
        voltage, _, _ = without_missing(voltage, None, notes, chosen.name)
        return _Timed(float(interval_s or 0.0), voltage)
    begin = float(time.values[np.flatnonzero(np.isfinite(time.values))[:1]].sum())
    voltage, seconds, rows = without_missing(voltage, (time.values - begin) * scale, notes, chosen.name)
    assert seconds is not None
    if voltage.size < 2:
        return _Timed(1.0, voltage, flags)
    if time.stamped and table.interval_s is not None and _is_counted(seconds, table):
        notes.append(
            f"the stamps do not tell the samples apart: the header's {table.interval_s:g} s between them is used"
        )
        return _Timed(table.interval_s, voltage, flags)
    length = first_segment(seconds, notes)
    seconds, voltage, rows = seconds[:length], voltage[:length], rows[:length]
    seconds, voltage, relative = unrounded(seconds, voltage, notes)
    check_order(seconds, time, table, rows)
    changes = changes_only(seconds, voltage)
    interval, voltage = even_grid(seconds, voltage, notes, time.name)
    if not changes:  # whose times are not those of samples
        flags = (*flags, *_contradiction(table, time, interval, interval_s, notes))
    return _Timed(interval, voltage, flags, relative)


def _contradiction(
    table: Table, time: TraceColumn, interval: float, given_s: float | None, notes: list[str]
) -> tuple[str, ...]:
    """Return a flag where header and column state different intervals, and neither was given by the owner."""
    stated = table.stated
    if given_s is not None or stated is None or not stated.sure or time.stamped:
        return ()
    if abs(interval / stated.seconds - 1) < 0.02:
        return ()
    ratio = interval / stated.seconds
    notes.append(
        f"the header says '{stated.said}', the column '{time.name}' has steps of {interval:g} s: the column is used"
    )
    # a converter may have been faster than what was exported by a whole factor
    decimated = stated.from_rate and ratio > 1.5 and abs(ratio / round(ratio) - 1) < 0.01
    return () if decimated else ("time-assumed",)


def _seconds(
    table: Table, time: TraceColumn, interval_s: float | None, notes: list[str]
) -> tuple[float | None, tuple[str, ...]]:
    """Return the factor from a column of times to seconds, and a flag where it is a guess.

    The unit is that of the title; else that of the header; else the one in which the step of the times is the interval
    that was given, or that the header states. A count since 1970 can only be one. Elsewhere seconds are assumed, and
    flagged. None where an interval was given that the times do not have in any unit.
    """
    unit = "s" if time.stamped else time_unit_of(time) or table.time_unit
    unit_s = SECONDS[unit.lower()] if unit else None
    known = time.values[np.isfinite(time.values)]
    step = float(known[-1] - known[0]) / (known.size - 1) if known.size > 1 else np.nan
    if interval_s is not None:
        factors = [unit_s] if unit_s is not None else FACTORS
        best = min(factors, key=lambda factor: abs(np.log(max(abs(step * factor), 1e-300) / interval_s)))
        if abs(step * best / interval_s - 1) < 0.02:
            return best, ()
        own = step * (unit_s or 1.0)
        if not np.isclose(own, interval_s, rtol=0.01):
            notes.append(f"the time column says {own:g} s between samples; {interval_s:g} s was given and is used")
        return None, ()
    if unit_s is not None:
        return unit_s, ()
    if table.stated is not None and step > 0:
        for factor in FACTORS:
            if abs(step * factor / table.stated.seconds - 1) < 0.02:
                if table.stated.sure:
                    return factor, ()
                said = table.stated.said
                notes.append(
                    f"'{said}' and the times name no unit. State it: --interval, or interval under [tachometer]"
                )
                return factor, ("time-assumed",)
    epoch = epoch_unit(time)
    if epoch is not None:
        notes.append(f"column '{time.name}' counts {NAMES[epoch]} since 1970")
        return epoch, ()
    notes.append(
        f"column '{time.name}' names no unit: seconds assumed, {step:g} s between samples. State it: --interval "
        f"'{step:g} ms', say, or interval under [tachometer], or a title such as 'time [ms]'"
    )
    return 1.0, ("time-assumed",)


def _volts(column: TraceColumn, reason: str | None, notes: list[str]) -> float:
    """Return the factor from the unit of a channel to volts, with a note where it was assumed."""
    unit = column.unit.strip()
    if unit in ("MV", "GV"):
        return {"MV": 1e6, "GV": 1e9}[unit]
    if unit.lower() in VOLTAGE_UNITS:
        return VOLTAGE_UNITS[unit.lower()]
    if reason:
        notes.append(reason)
    elif unit:
        notes.append(f"unit '{unit}' of column '{column.name}' is not known: taken as volts")
    else:
        notes.append(f"column '{column.name}' names no unit: volts assumed")
    return 1.0


def _is_counted(seconds: FloatArray, table: Table) -> bool:
    """Return whether stamps that repeat agree with the interval of the header, to what their last digit leaves open."""
    steps = np.diff(seconds)
    if table.interval_s is None or not np.all(steps >= 0) or np.all(steps > 0):
        return False
    counted = steps.size * table.interval_s
    return bool(abs(float(seconds[-1] - seconds[0]) - counted) < 1.01 * table.stamp_step_s + 1e-3 * counted)
