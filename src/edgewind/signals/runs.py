"""Runs through a change: speed against time while the lamp, the envelope or the pressure is changed on purpose."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from edgewind.errors import InputError
from edgewind.formatting import format_number
from edgewind.signals.columns import TITLES
from edgewind.signals.conditions import LEAST_ENVELOPE_CHANGE_K, LEAST_LAMP_CHANGE
from edgewind.signals.readings import lamp_share
from edgewind.signals.table import Row, decode_table, delimiter_of, read_rows
from edgewind.units import parse_header

Array = NDArray[np.float64]

# Titles of the table of a run; those of a reading mean the same there.
RUN_TITLES = {
    title: TITLES[title]
    for title in ("time", "speed", "speed uncertainty", "envelope temperature", "lamp", "pressure", "note")
}
LEAST_MOMENTS = 3
# Relative change of pressure that counts as gas let in or pumped out.
LEAST_PRESSURE_CHANGE = 0.1


@dataclass(frozen=True)
class Run:
    """One run; arrays of one shape.

    Attributes
    ----------
    source : str
        Name of its file in messages.
    time_s : array
        Time from its first row, s, ascending.
    speed_rad_s, speed_u_rad_s : array
        Speed and its standard uncertainty, rad/s: positive when the bright face leads where `signed`, else sizes. nan
        where only the conditions were noted.
    signed : bool
        Whether the direction was noted.
    envelope_k : array
        Temperature of the envelope, K; nan where it was not noted.
    lamp_share : array
        Irradiance over that of the bench.
    pressure_pa : array
        Pressure as it was shown, Pa; nan where it was not noted.
    notes : tuple of str
        Note at each moment; empty if the run has none.
    """

    source: str
    time_s: Array
    speed_rad_s: Array
    speed_u_rad_s: Array
    signed: bool
    envelope_k: Array
    lamp_share: Array
    pressure_pa: Array
    notes: tuple[str, ...] = ()

    @property
    def changes(self) -> tuple[str, ...]:
        """Quantities changed during the run: any of lamp, envelope, pressure."""
        found = []
        if np.ptp(self.lamp_share) > LEAST_LAMP_CHANGE:
            found.append("lamp")
        envelope = self.envelope_k[np.isfinite(self.envelope_k)]
        if envelope.size and np.ptp(envelope) > LEAST_ENVELOPE_CHANGE_K:
            found.append("envelope")
        pressure = self.pressure_pa[np.isfinite(self.pressure_pa) & (self.pressure_pa > 0)]
        if pressure.size and pressure.max() > (1 + LEAST_PRESSURE_CHANGE) * pressure.min():
            found.append("pressure")
        return tuple(found)

    def with_conditions(self, *, lamp_share: float, envelope_k: float) -> Run:
        """Return the run with the conditions of its reading where its own table states none."""
        envelope = self.envelope_k
        if not np.isfinite(envelope).any():
            envelope = np.full_like(envelope, envelope_k)
        lamp = self.lamp_share if np.isfinite(self.lamp_share).any() else np.full_like(envelope, lamp_share)
        return replace(self, envelope_k=envelope, lamp_share=lamp)


def is_run(path: Path) -> bool:
    """Return whether a file is a table of a run and not a raw trace, by the titles ``time [s]`` and ``speed [rpm]``."""
    if path.suffix.lower() not in (".csv", ".txt", ".tsv"):
        return False
    with path.open("rb") as stream:
        start = stream.read(4096)
    try:
        text = decode_table(start[: start.rfind(b"\n") + 1] or start)
    except InputError:
        return False
    head = next((line for line in text.splitlines() if line.strip() and not line.startswith("#")), "")
    names = {}
    for cell in head.split(delimiter_of(text)):
        try:
            name, unit = parse_header(cell.strip().strip('"'))
        except InputError:
            return False
        names[name] = unit
    return bool(names.get("speed")) and "time" in names


def read_run(path: Path, *, source: str = "") -> Run:
    """Read the table of a run: ``time [s], speed [rpm]`` and any of the other titles of :data:`RUN_TITLES`.

    A minus sign says that the dark face leads. Where no row has a sign, all are sizes. The cells of lamp, envelope
    temperature and pressure may be empty where nothing changed since the row above; between two temperatures the
    envelope is taken to change evenly.

    Raises
    ------
    InputError
        Names file, line and column: a table that is none, times that do not ascend, fewer than three rows, no speed.
    """
    source = source or str(path)
    try:
        return _run(read_rows(path, RUN_TITLES, "moment"), source)
    except InputError as error:
        raise error.at(file=source) from None


def _run(rows: list[Row], source: str) -> Run:
    if not rows[0].cells.keys() >= {"time", "speed"}:
        raise InputError("the run has no time or no speed", fix="title two columns 'time [s]' and 'speed [rpm]'")
    if rows[0].unit("time") is None:
        raise InputError("the time of a run has no unit", column="time", fix="title the column 'time [s]'")
    if len(rows) < LEAST_MOMENTS:
        raise InputError(
            f"the run has {len(rows)} rows", line=rows[-1].line, fix=f"note {LEAST_MOMENTS} moments or more"
        )
    time = np.array([row.number("time").value for row in rows])
    for number, row in enumerate(rows):
        if not math.isfinite(time[number]) or (number and time[number] <= time[number - 1]):
            cell = row.text("time")
            raise InputError(
                f"the time '{cell}' does not come after that of the line above" if cell else "the row has no time",
                line=row.line, column="time", fix="write ascending times",
            )  # fmt: skip
    typed = [row.number("speed") for row in rows]
    speed = np.array([number.value for number in typed])
    if np.isfinite(speed).sum() < LEAST_MOMENTS:
        raise InputError(f"the run has fewer than {LEAST_MOMENTS} speeds", column="speed", fix="write more of them")
    stated = np.array([row.number("speed uncertainty").value for row in rows])
    return Run(
        source,
        time - time[0],
        speed,
        np.where(stated > 0, stated, [number.digit_u for number in typed]),
        any(row.text("speed")[:1] in ("+", "-") for row in rows),
        _between(time, rows, "envelope temperature"),
        _lamps(rows),
        _kept(np.array([row.number("pressure").value for row in rows])),
        tuple(notes) if any(notes := [row.text("note") for row in rows]) else (),
    )


def _between(time: Array, rows: list[Row], title: str) -> Array:
    values = np.array([row.number(title).value for row in rows])
    known = np.isfinite(values)
    return np.interp(time, time[known], values[known]) if known.any() else values


def _lamps(rows: list[Row]) -> Array:
    return _kept(np.array([lamp_share(row) if row.text("lamp") else math.nan for row in rows]))


def _kept(values: Array) -> Array:
    """Fill gaps with the value before them, and with the first value before that."""
    known = np.flatnonzero(np.isfinite(values))
    if not known.size:
        return values
    place = np.maximum(np.searchsorted(known, np.arange(values.size), side="right") - 1, 0)
    return np.asarray(values[known[place]])


def words_of(run: Run) -> str:
    """Return the changes of a run in words; empty if there are none."""

    def ends(values: Array, scale: Any, unit: str) -> str:
        first, last = (format_number(float(scale(value)), 3) for value in (values[0], values[-1]))
        return f"{first} to {last} {unit}"

    texts: Mapping[str, str] = {
        "lamp": f"lamp {ends(run.lamp_share, lambda share: 100 * share, '%')}",
        "envelope": f"envelope {ends(run.envelope_k, lambda kelvin: kelvin - 273.15, '°C')}",
        "pressure": f"pressure {ends(run.pressure_pa, lambda pascal: pascal, 'Pa')}",
    }
    return ", ".join(texts[change] for change in run.changes)
