"""The cells of a reading, in the units of its experiment's table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from edgewind.bench import Bench
from edgewind.bench.instruments import InstrumentsSection
from edgewind.book import ADDED_TITLES
from edgewind.errors import InputError
from edgewind.live.devices import number_of
from edgewind.live.interlocks import Observation
from edgewind.units import from_si, parse_quantity


def titles_of(bench: Bench) -> tuple[str, ...]:
    """Return the titles of the table that these instruments record, in the units of the instruments."""
    section = bench.instruments or InstrumentsSection()
    if section.gauge is not None:
        gauge = f"gauge [{section.gauge.unit}]" if section.gauge.gives_volts else f"pressure [{section.gauge.unit}]"
    else:
        gauge = "pressure [Pa]" if bench.gauge.kind == "display" else "gauge [V]"
    warm = "degC" if section.thermometer is None else section.thermometer.unit
    speed = () if section.tachometer is not None else ("speed [rpm]",)
    return ("time", gauge, "trace", *speed, "lamp", "sweep", f"envelope temperature [{warm}]", "note", "exclude")


@dataclass(frozen=True)
class SweepColumns:
    """Columns of an experiment's table for the readings of a sweep.

    Attributes
    ----------
    units : mapping of str to str
        Unit of each title.
    gauge_title : str
        ``gauge`` or ``pressure``.
    own_gauge_unit, own_warm_unit : str
        The units in which gauge and thermometer answer; empty if values are typed.
    """

    units: Mapping[str, str]
    gauge_title: str
    own_gauge_unit: str
    own_warm_unit: str

    @property
    def gauge_unit(self) -> str:
        """The unit in which the gauge is written."""
        return self.units[self.gauge_title]

    @property
    def gauge_kind(self) -> str:
        """The kind of quantity that the gauge gives."""
        return "voltage" if self.gauge_title == "gauge" else "pressure"

    def cells(
        self, time: str, pressure: Observation | None, seen: Observation, lamp: bool, direction: str, speed_rpm: str
    ) -> dict[str, str]:
        """Return the cells of a reading, with the numbers as the instruments wrote them if the units are the same."""
        cells = {"time": time, "lamp": "on" if lamp else "off", "sweep": direction}
        if pressure is not None:
            cells[self.gauge_title] = _written(
                pressure.gauge, self.own_gauge_unit or self.gauge_unit, self.gauge_unit, self.gauge_kind
            )
        if seen.temperature:
            unit = self.units.get("envelope temperature", "")
            if unit:
                cells["envelope temperature"] = _written(seen.temperature, self.own_warm_unit, unit, "temperature")
        if speed_rpm:
            cells["speed"] = _written(speed_rpm, "rpm", self.units.get("speed", "rpm"), "angular speed")
        return cells

    def fitting(self, cells: Mapping[str, str]) -> dict[str, str]:
        """Leave out empty cells, and optional ones for which the table has no title."""
        optional = ("sweep", "envelope temperature")
        return {
            title: cell
            for title, cell in cells.items()
            if cell and (title in self.units or title in ADDED_TITLES or title not in optional)
        }


def _written(text: str, own: str, unit: str, kind: str) -> str:
    if own == unit:
        number_of(text)
        return text
    return f"{float(from_si(parse_quantity(f'{text} {own}', kind), unit, kind)):.9g}"


def sweep_columns(bench: Bench, named: Sequence[tuple[str, str]], label: str) -> SweepColumns:
    """Check that a table has the columns that these instruments record.

    Parameters
    ----------
    bench : Bench
        The apparatus.
    named : sequence of (str, str)
        Titles and units of the table.
    label : str
        The book and experiment, for messages.

    Raises
    ------
    InputError
        It cannot.
    """
    section = bench.instruments or InstrumentsSection()
    units = dict(named)
    volts = section.gauge.gives_volts if section.gauge is not None else bench.gauge.kind != "display"
    gauge_title = "gauge" if volts else "pressure"
    wanted = {
        gauge_title: "what the gauge shows",
        "time": "the time",
        "lamp": "whether the lamp was on",
        ("trace" if section.tachometer is not None else "speed"): "the speed",
    }
    for title, what in wanted.items():
        if title not in units or (title == "time" and units[title]):
            raise InputError(
                f"its table has no title '{title}' for {what}",
                file=label,
                fix="record under another name with --name, or into another book",
            )
    return SweepColumns(
        units,
        gauge_title,
        "" if section.gauge is None else section.gauge.unit,
        "" if section.thermometer is None else section.thermometer.unit,
    )
