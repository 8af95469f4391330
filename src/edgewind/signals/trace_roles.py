"""Roles of the columns of a table: time, sample counter, channel; every guess is reported."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgewind.errors import InputError
from edgewind.signals.trace_header import COUNT_NAME, SECONDS, TIME_NAME, spectrum_error, unit_behind_time
from edgewind.signals.trace_table import Table, TraceColumn

FloatArray = NDArray[np.float64]

CHANNEL_ID = re.compile(r"^\s*(channel|chan|ch|kanal|canal|voie)([ _.]?(no\.?|number|id|index|nr\.?))?\s*$", re.I)
MOST_IDS = 16
SEGMENT_NAME = re.compile(r"^\s*(segment|sweep|frame|trigger|block)s?([ _.]?(no\.?|number|index))?\s*$", re.I)
EPOCH_NAME = re.compile(r"^\s*(unix.*|epoch.*|time.?stamp.*|time)\s*$", re.I)
FREQUENCY_UNIT = re.compile(r"^[kMG]?hz$", re.I)
FREQUENCY_NAME = re.compile(r"^\s*(freq(uency)?|frequenz|fr[eé]quence)\b.*$", re.I)
PERIOD_NAME = re.compile(r"^\s*(period(e|s)?|p[eé]riode|lags?|delay|tau)\b.*$", re.I)
SCALED = re.compile(r"[*×·/]\s*\d|\bx\s*10|\d\s*[*×·]")
"""A name by which the numbers are not in the unit behind it."""
OTHER_UNIT = re.compile(r"^(rpm|rps|[hk]?pa|m?bar|m?torr|psi|°?\s*[cfk]|deg\s?[cfk])$", re.I)
OTHER_NAME = re.compile(r"^\s*(rpm|rps|speed|drehzahl|pressure|vacuum|gauge|druck|temp(erature?)?|humidity)\b", re.I)
EVENT_NAME = re.compile(r"^\s*(pulses?|turns?|rev(olution)?s?|events?|edges?)\b", re.I)
VOLTAGE_UNITS = {
    "v": 1.0, "volt": 1.0, "volts": 1.0, "mv": 1e-3, "millivolt": 1e-3, "millivolts": 1e-3, "uv": 1e-6,
    "µv": 1e-6, "μv": 1e-6, "microvolt": 1e-6, "microvolts": 1e-6, "nv": 1e-9, "kv": 1e3,
}  # fmt: skip
# Seconds from 2001 to 2100, as seconds since 1970, and their thousandths, millionths and so on.
EPOCHS = {1.0: (9.8e8, 4.2e9), 1e-3: (9.8e11, 4.2e12), 1e-6: (9.8e14, 4.2e15), 1e-9: (9.8e17, 4.2e18)}
PEAK_PAIR = re.compile(r"^(?P<name>.*?)[\s_-]*(?P<end>min|max)(imum)?$", re.I)


@dataclass(frozen=True)
class Roles:
    """Roles of the columns of a table.

    Attributes
    ----------
    times : tuple of TraceColumn
        Columns of time, in the order of the file.
    counters : tuple of TraceColumn
        Columns that count the samples.
    channels : tuple of TraceColumn
        The rest.
    notes : tuple of str
        Roles recognised by the numbers instead of a title.
    """

    times: tuple[TraceColumn, ...]
    counters: tuple[TraceColumn, ...]
    channels: tuple[TraceColumn, ...]
    notes: tuple[str, ...] = ()

    def time_of(self, channel: TraceColumn, columns: tuple[TraceColumn, ...]) -> TraceColumn | None:
        """Return the column of time that belongs to a channel: the last before it, or the first of all.

        A time that distinguishes the samples is preferred to stamps of too few digits.
        """
        if not self.times:
            return None
        better = [time for time in self.times if not time.stamped]
        times = (
            better
            if any(time.unit for time in better) or not any(time.stamped for time in self.times)
            else list(self.times)
        )
        place = {id(column): i for i, column in enumerate(columns)}
        before = [time for time in times if place[id(time)] < place.get(id(channel), 0)]
        return before[-1] if before else times[0]


def roles_of(table: Table) -> Roles:
    """Classify the columns as time, counters and channels.

    Raises
    ------
    InputError
        The table is a spectrum.
    """
    columns = table.columns
    first = columns[0]
    if FREQUENCY_UNIT.match(first.unit) or (FREQUENCY_NAME.match(first.name) and not first.unit):
        raise spectrum_error(f"the first column is '{first.name}'{' in ' + first.unit if first.unit else ''}")
    if PERIOD_NAME.match(first.name) and first.unit.lower() in SECONDS:
        raise spectrum_error(f"the first column is '{first.name}' in {first.unit}")
    _check_one_channel_a_column(columns)
    times = [column for column in columns if column.stamped or is_time(column)]
    has_time = any(column.stamped or time_unit_of(column) for column in times)
    counters: list[TraceColumn] = []
    notes: list[str] = []
    for place, column in enumerate(columns):
        if len(columns) - len(counters) == 1:
            break  # the last column that is left is a channel
        nameless = not column.named and place == 0
        counted = bool(COUNT_NAME.match(column.name)) and not column.unit
        bare_time = column in times and not column.stamped and not time_unit_of(column)
        if SEGMENT_NAME.match(column.name) and not column.unit and numbers_segments(column.values):
            counters.append(column)
            continue
        if not times and place == 0 and not column.unit and rises_by(column.values, table.interval_s):
            times.append(column)  # whatever a line above it says
            continue
        if not (nameless or counted or (bare_time and (has_time or table.interval_s))):
            continue
        if counts(column.values):
            counters.append(column)
            if nameless and not counted:
                notes.append("the first column counts the samples and is left out")
        elif nameless and column not in times and not column.unit and rises(column.values):
            times.append(column)
    times = [column for column in columns if column in times and column not in counters]
    channels = [column for column in columns if column not in times and column not in counters]
    if times and len(channels) == 1 and EVENT_NAME.match(channels[0].name) and counts(channels[0].values):
        raise InputError(
            "the only column beside the time counts up by one from row to row",
            column=channels[0].name,
            fix="export the voltage of the sensor; counted turns belong in the readings, under 'turns' and 'in [s]'",
        )
    return Roles(tuple(times), tuple(counters), tuple(join_peaks(channels, notes)), tuple(notes))


def _check_one_channel_a_column(columns: tuple[TraceColumn, ...]) -> None:
    """Refuse rows of several channels that follow one another, distinguished by a column of their numbers.

    Raises
    ------
    InputError
        They do; names the column.
    """
    for column in columns if len(columns) > 1 else ():
        if not CHANNEL_ID.match(column.name) or column.unit or not np.all(np.isfinite(column.values)):
            continue
        own = np.unique(column.values)
        if not 1 < own.size <= MOST_IDS or np.any(own != np.round(own)):
            continue
        in_turn = bool(np.all(column.values[own.size :] == column.values[: -own.size]))
        in_blocks = int(np.sum(np.diff(column.values) != 0)) == own.size - 1
        if in_turn or in_blocks:
            numbers = ", ".join(f"{one:g}" for one in own[:MOST_IDS])
            raise InputError(
                f"rows of several channels follow one another: column '{column.name}' holds {numbers}",
                column=column.name,
                fix="export one channel, or each channel in a column of its own",
            )


def is_time(column: TraceColumn) -> bool:
    """Return whether a column is time, by its name or unit."""
    if time_unit_of(column):
        return True
    return bool(TIME_NAME.match(column.name)) and not column.unit and rises(column.values)


def time_unit_of(column: TraceColumn) -> str:
    """Return the unit of time that a title states: in brackets, behind the name, or as the name itself."""
    unit = column.unit.strip()
    if SCALED.search(column.name):
        return ""
    if unit:
        return unit if unit.lower() in SECONDS and unit not in ("MS", "S") else "s" if unit == "S" else ""
    name = column.name.strip()
    if column.named and name.lower() in SECONDS and (name.lower() not in ("h", "min") or rises(column.values)):
        return name  # 'min' may be a least value, which does not rise evenly
    return unit_behind_time(name)


def is_other_quantity(column: TraceColumn) -> bool:
    """Return whether name or unit of a column mean a speed, a pressure or a temperature, not a signal of marks."""
    return bool(OTHER_UNIT.match(column.unit) or (column.named and OTHER_NAME.match(column.name)))


def counts(values: FloatArray) -> bool:
    """Return whether numbers go up by exactly one, or repeat in pairs that do."""
    known = values[np.isfinite(values)]
    return bool(known.size > 1 and np.all(known == np.round(known)) and np.all(np.diff(known) == 1))


def numbers_segments(values: FloatArray) -> bool:
    """Return whether numbers are whole ones that stay, and go up by one now and then."""
    known = values[np.isfinite(values)]
    steps = np.diff(known)
    return bool(known.size > 1 and np.all(known == np.round(known)) and np.all((steps == 0) | (steps == 1)))


def rises(values: FloatArray) -> bool:
    """Return whether numbers rise steadily, as a clock does."""
    known = values[np.isfinite(values)]
    if known.size < 2:
        return False
    steps = np.diff(known)
    typical = float(np.median(steps))
    if np.all(steps >= 0) and np.mean(steps > 0) > 0.02 and typical == 0:
        return True  # a clock with too few digits to distinguish neighbours
    return bool(np.mean(steps >= 0) > 0.9 and np.median(np.abs(steps - typical)) <= 0.5 * abs(typical) and typical > 0)


def rises_by(values: FloatArray, step: float | None) -> bool:
    """Return whether numbers are whole multiples of a step, one after the other, but for their last digits."""
    known = values[np.isfinite(values)]
    if not step or known.size < 3 or not rises(values):
        return False
    return bool(np.max(np.abs(known - known[0] - step * np.arange(known.size))) < 0.5 * step)


def epoch_unit(column: TraceColumn) -> float | None:
    """Return the factor to seconds where numbers can only be a count since 1970; None elsewhere."""
    if not EPOCH_NAME.match(column.name) or column.values.size == 0:
        return None
    begin, end = float(np.nanmin(column.values)), float(np.nanmax(column.values))
    return next((factor for factor, (low, high) in EPOCHS.items() if low < begin <= end < high), None)


def join_peaks(channels: list[TraceColumn], notes: list[str]) -> list[TraceColumn]:
    """Return the channels with pairs of least and greatest, as of peak detection, replaced by their means."""
    joined: list[TraceColumn] = []
    for column in channels:
        end = PEAK_PAIR.match(column.name)
        other = next(
            (
                one
                for one in channels
                if one is not column
                and end
                and (match := PEAK_PAIR.match(one.name))
                and match["name"].lower() == end["name"].lower()
                and match["end"].lower() != end["end"].lower()
                and one.unit == column.unit
            ),
            None,
        )
        if end is None or other is None:
            joined.append(column)
        elif end["end"].lower() == "min":
            name = end["name"].strip() or "signal"
            joined.append(TraceColumn(name, column.unit, (column.values + other.values) / 2, field=column.field))
            notes.append(f"the mean of '{column.name}' and '{other.name}' is used: the extremes within each interval")
    return joined


def choose_channel(
    channels: tuple[TraceColumn, ...],
    wanted: str | int | list[str | int] | None,
    counters: tuple[TraceColumn, ...] = (),
) -> TraceColumn:
    """Return the channel that is wanted, by its name or by its number as the file counts.

    A number is that in the names of the channels, where they hold one each (2 is CH2, wherever it stands); else their
    order, from one. Of a list, the first entry that the file holds. By default the first channel, other quantities left
    out.

    Raises
    ------
    InputError
        There is none; names those that there are.
    """
    if not channels:
        raise InputError("there is no column of voltages beside the time", fix="export at least one channel")
    if wanted is None:
        return next((column for column in channels if not is_other_quantity(column)), channels[0])
    entries = wanted if isinstance(wanted, list) else [wanted]
    for entry in entries:
        found = _find(channels, entry)
        if found is not None:
            return found
    names = ", ".join(column.name for column in channels)
    if any(_find(counters, entry) for entry in entries):
        raise InputError(f"column '{entries[0]}' counts the samples", fix=f"choose one of {names}")
    shown = "' or '".join(str(entry) for entry in entries)
    raise InputError(f"there is no channel '{shown}'", fix=f"choose one of {names}, or its number")


def _find(channels: tuple[TraceColumn, ...], wanted: str | int) -> TraceColumn | None:
    text = str(wanted).strip()
    for column in channels:
        if text.lower() in _spellings(column):
            return column
    for column in channels:
        if re.sub(r"\W", "", text.lower()) == re.sub(r"\W", "", column.name.lower()) != "":
            return column
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        return None
    number = int(text)
    numbers = [re.search(r"(\d+)\D*$", column.name) for column in channels]
    if all(column.named for column in channels) and all(numbers):
        own = [int(found[1]) for found in numbers if found]
        if len(set(own)) == len(own):
            return channels[own.index(number)] if number in own else None
    return channels[number - 1] if 1 <= number <= len(channels) else None


def _spellings(column: TraceColumn) -> set[str]:
    """Return the ways in which a channel may be named: alone, or with its unit."""
    name, unit = column.name.strip().lower(), column.unit.strip().lower()
    ways = {name, f"{name}_{unit}", f"{name} ({unit})", f"{name}({unit})", f"{name} [{unit}]", f"{name} in {unit}"}
    return ways | ({str(column.field)} if not column.named and column.field else set())
