"""A trace: the voltage of one channel on an even grid in time, and the tolerant reader that makes it from a file."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from edgewind.errors import InputError
from edgewind.signals.trace_binary import read_npz, read_wav
from edgewind.signals.trace_table import Column, Table, load_bytes
from edgewind.signals.trace_text import read_text

FloatArray = NDArray[np.float64]

DEFAULT_MAX_BYTES = 200_000_000
TEXT_SUFFIXES = (".csv", ".txt", ".dat", ".tsv", ".asc")
SUFFIXES = (*TEXT_SUFFIXES, *(f"{suffix}.gz" for suffix in TEXT_SUFFIXES), ".npz", ".wav")

TIME_NAME = re.compile(r"^\s*(t|time|times|zeit|temps|tiempo|x|x.?axis|sec|secs|seconds?|elapsed.*|time\b.*)\s*$", re.I)
COUNT_NAME = re.compile(r"^\s*(index|sample|samples|sample.?(no|number)\.?|point|points|#|n|no\.?|i)\s*$", re.I)

TIME_UNITS = {
    "s": 1.0, "sec": 1.0, "secs": 1.0, "second": 1.0, "seconds": 1.0, "ms": 1e-3, "msec": 1e-3,
    "millisecond": 1e-3, "milliseconds": 1e-3, "us": 1e-6, "usec": 1e-6, "µs": 1e-6, "μs": 1e-6,
    "microsecond": 1e-6, "microseconds": 1e-6, "ns": 1e-9, "ps": 1e-12, "min": 60.0, "minutes": 60.0,
}  # fmt: skip
VOLTAGE_UNITS = {
    "v": 1.0, "volt": 1.0, "volts": 1.0, "mv": 1e-3, "millivolt": 1e-3, "millivolts": 1e-3, "uv": 1e-6,
    "µv": 1e-6, "μv": 1e-6, "microvolt": 1e-6, "microvolts": 1e-6, "nv": 1e-9, "kv": 1e3,
}  # fmt: skip


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
        What the reader had to assume.
    """

    voltage_v: FloatArray
    interval_s: float
    channel: str = ""
    source: str = ""
    notes: tuple[str, ...] = ()

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
    channel: str | int | None = None,
    interval_s: float | None = None,
    max_bytes: int = DEFAULT_MAX_BYTES,
) -> Trace:
    r"""Read one channel of what an oscilloscope or a logger exported.

    Text (.csv, .txt, .dat, .tsv, .asc, also with .gz) may open with any number of header lines, name its units in
    a row or in brackets, separate with ``;``, ``,``, tab or blanks, and write a decimal comma. Arrays (.npz) and
    sound (.wav) are read too. Date-time stamps, in one column or two, are read as seconds from the first; text after
    the numbers is left out. What had to be assumed is said in `Trace.notes`.

    Parameters
    ----------
    path : path
        The file.
    channel : str or int, optional
        Name of the channel, or its number counted from one (time is not counted). The first when left out.
    interval_s : float, optional
        Time between samples in seconds, where the file holds neither a time column nor an interval.
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
    """Return the columns of a file, by the reader that its suffix asks for."""
    name = Path(path).name.lower()
    if name.endswith(tuple(f"{suffix}{gz}" for suffix in TEXT_SUFFIXES for gz in ("", ".gz"))):
        return read_text(load_bytes(path, max_bytes))
    if name.endswith(".npz"):
        return read_npz(path, max_bytes)
    if name.endswith(".wav"):
        return read_wav(load_bytes(path, max_bytes))
    raise InputError(
        f"'{Path(path).suffix}' is not a kind of file that traces are read from",
        fix="use one of " + ", ".join(SUFFIXES),
    )


def split_time(table: Table) -> tuple[Column | None, tuple[Column, ...]]:
    """Tell the time column, if there is one, from the voltage channels."""
    columns = tuple(column for column in table.columns if not COUNT_NAME.match(column.name) or column.unit)
    if not columns:
        columns = table.columns
    times = [column for column in columns if _is_time(column)]
    if times:
        # stamps of too few digits may stand beside a time that tells the samples apart
        chosen = next((column for column in times if not column.stamped and column.unit), times[0])
        if not times[0].stamped:
            chosen = times[0]
        return chosen, tuple(other for other in columns if other is not chosen and not other.stamped)
    first, known = columns[0], table.interval_s is not None
    if len(columns) == 1 or first.named or first.unit or first.values.size < 2 or not _looks_like_time(first.values):
        return None, columns
    counts = bool(np.all(np.diff(first.values) == 1))
    return (None if known and counts else first), columns[1:]


def _is_time(column: Column) -> bool:
    """Tell whether the name or the unit of a column says that it is time."""
    unit = column.unit.lower()
    return unit in TIME_UNITS or (bool(TIME_NAME.match(column.name)) and unit not in VOLTAGE_UNITS)


def trace_of(table: Table, source: str, channel: str | int | None, interval_s: float | None) -> Trace:
    """Choose a channel of a table and put it on an even grid."""
    notes = list(table.notes)
    time, channels = split_time(table)
    chosen = _choose(channels, channel, notes)
    voltage = chosen.values * _scale(chosen, VOLTAGE_UNITS, "volts", table.volts_note, notes)
    if voltage.size < 2:
        raise InputError(
            f"the trace has {voltage.size} sample{'s' * (voltage.size != 1)}",
            column=chosen.name,
            fix="two or more are needed",
        )
    if interval_s is not None:
        if time is not None:
            own = float(np.median(np.diff(time.values))) * TIME_UNITS.get(time.unit.lower(), 1.0)
            if not np.isclose(own, interval_s, rtol=0.01):
                notes.append(f"the time column says {own:g} s between samples; {interval_s:g} s was given and is used")
        return Trace(voltage, float(interval_s), chosen.name, source, tuple(notes))
    if time is None:
        if table.interval_s is None:
            raise InputError(
                "there is no time column and no sample interval in the header",
                fix="give the interval, name a column 'time' or write a header line such as 'Sample Interval,0.001 s'",
            )
        return Trace(voltage, table.interval_s, chosen.name, source, tuple(notes))
    seconds = time.values * _scale(time, TIME_UNITS, "seconds", None, notes)
    if time.stamped and table.interval_s is not None and _is_counted(seconds, table):
        notes.append(
            f"the stamps do not tell the samples apart: the header's {table.interval_s:g} s between them is used"
        )
        return Trace(voltage, table.interval_s, chosen.name, source, tuple(notes))
    _check_order(seconds, time, table)
    interval, voltage = even_grid(seconds, voltage, notes, time.name)
    return Trace(voltage, interval, chosen.name, source, tuple(notes))


def even_grid(
    seconds: FloatArray, voltage: FloatArray, notes: list[str], column: str = "time"
) -> tuple[float, FloatArray]:
    """Return the interval and the voltage on an even grid, with a note where the grid was not even.

    Times that stray by under a tenth of an interval, or only by the rounding of their digits, count as even: their
    interval is the slope of the straight line through them. Others are interpolated with straight lines on the median
    interval; gaps of more than 1.5 intervals are told.
    """
    steps = np.diff(seconds)
    mean = float(seconds[-1] - seconds[0]) / (seconds.size - 1)
    stray = float(np.max(np.abs(seconds - seconds[0] - mean * np.arange(seconds.size)))) / mean
    typical = float(np.median(steps))
    few = stray >= 0.1 and np.unique(np.round(steps / mean, 6)).size <= 3
    if stray < 0.1 or (stray < 1.0 and float(np.max(steps)) < 2.1 * mean and few):
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


def slope_of(values: FloatArray) -> float:
    """Return the step of the straight line through values that rise evenly but for their rounding."""
    place = np.arange(values.size) - (values.size - 1) / 2
    return float(place @ (values - values[0]) / (place @ place))


def _looks_like_time(values: FloatArray) -> bool:
    """Tell whether a nameless column rises steadily, as a clock does."""
    steps = np.diff(values)
    rising = steps > 0
    return bool(np.mean(rising) > 0.9 and np.median(np.abs(steps - np.median(steps))) <= 0.5 * abs(np.median(steps)))


def _choose(channels: Sequence[Column], wanted: str | int | None, notes: list[str]) -> Column:
    if not channels:
        raise InputError("there is no column of voltages beside the time", fix="export at least one channel")
    names = ", ".join(column.name for column in channels)
    if wanted is None:
        if len(channels) > 1:
            notes.append(f"of the channels {names} the first is used")
        return channels[0]
    for column in channels:
        if isinstance(wanted, str) and wanted.strip().lower() in _spellings(column):
            return column
    if isinstance(wanted, str) and wanted.strip().isascii() and wanted.strip().isdigit() and len(wanted) < 10:
        wanted = int(wanted)
    if isinstance(wanted, int) and 1 <= wanted <= len(channels):
        return channels[wanted - 1]
    raise InputError(
        f"there is no channel '{wanted}'", fix=f"choose one of {names}, or a number from 1 to {len(channels)}"
    )


def _spellings(column: Column) -> set[str]:
    """Return the ways in which a channel may be named: alone, or with its unit."""
    name, unit = column.name.strip().lower(), column.unit.strip().lower()
    return {name, f"{name}_{unit}", f"{name} ({unit})", f"{name} [{unit}]"}


def _scale(column: Column, units: dict[str, float], assumed: str, reason: str | None, notes: list[str]) -> float:
    """Return the factor from the unit of a column to SI, with a note where it was assumed."""
    unit = column.unit.strip()
    if unit.lower() in units and not unit.startswith(("M", "G")):
        return units[unit.lower()]
    if unit in ("MV", "GV", "Ms"):
        return {"MV": 1e6, "GV": 1e9, "Ms": 1e6}[unit]
    if unit.lower() in units:
        return units[unit.lower()]
    if reason:
        notes.append(reason)
    elif unit:
        notes.append(f"unit '{unit}' of column '{column.name}' is not known: taken as {assumed}")
    else:
        notes.append(f"column '{column.name}' names no unit: {assumed} assumed")
    return 1.0


def _check_order(seconds: FloatArray, time: Column, table: Table) -> None:
    steps = np.diff(seconds)
    bad = np.flatnonzero(~(steps > 0))
    if bad.size == 0:
        return
    row = int(bad[0]) + 1
    kind = "repeats" if steps[bad[0]] == 0 else "runs backwards"
    later, before = (f"{time.values[i]:g}" for i in (row, row - 1))
    fix = "times must increase from row to row; cut the file where a recording was restarted"
    if time.stamped:
        later, before = (f"'{table.stamp_of(i)}'" for i in (row, row - 1))
        same = int(np.sum(steps == 0))
        if same > 0.1 * steps.size and np.all(steps >= 0):
            raise InputError(
                f"{same} of {seconds.size} stamps repeat the one before, such as {later}: written to "
                f"{table.stamp_step_s:g} s they do not tell the samples apart",
                line=table.line_of(row),
                column=time.name,
                fix="export the stamps with more digits below the second, or the time in seconds, or give the interval",
            )
    raise InputError(f"time {kind}: {later} after {before}", line=table.line_of(row), column=time.name, fix=fix)


def _is_counted(seconds: FloatArray, table: Table) -> bool:
    """Tell whether stamps that repeat agree with the interval of the header, to what their last digit leaves open."""
    steps = np.diff(seconds)
    if table.interval_s is None or not np.all(steps >= 0) or np.all(steps > 0):
        return False
    counted = steps.size * table.interval_s
    return bool(abs(float(seconds[-1] - seconds[0]) - counted) < 1.01 * table.stamp_step_s + 1e-3 * counted)
