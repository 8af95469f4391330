"""Form of a typed reading: its fields are converted to the cells of a row, or to an error of a field."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from pydantic import Field, computed_field

from edgewind.bench import Bench
from edgewind.book import Book, TraceFile, changes_of, read_part
from edgewind.errors import InputError
from edgewind.formatting import NUMBER, format_number
from edgewind.frozen_model import FrozenModel
from edgewind.signals import pressure_from_volts
from edgewind.units import from_si, parse_measured, to_si
from edgewind.web.errors import FieldError

# Fields of the form, and the titles of their cells.
FIELD_OF = {
    "gauge": "pressure", "pressure": "pressure", "pressure uncertainty": "pressure", "speed": "speed",
    "speed uncertainty": "speed", "trace": "speed", "lamp": "lamp", "sweep": "sweep",
    "envelope temperature": "envelope", "note": "note", "time": "time", "exclude": "note",
    "leading face": "leading_face", "gas": "gas", "changed": "changed",
}  # fmt: skip
_PLAIN = re.compile(NUMBER)
_WORDS = ("under-range", "over-range")
# Factor beyond the measured pressures at which a pressure is questioned, once there are a few.
_FAR = 30.0
_FEWEST_KNOWN = 3


class Form(FrozenModel):
    """Fields that an experiment's table accepts."""

    units: dict[str, str] = Field(description="Unit of every title that the table has; empty for text.")

    @computed_field(description="Titles under which a pressure may be typed: gauge, pressure, or both.")  # type: ignore[prop-decorator]
    @property
    def pressures(self) -> list[str]:
        """Titles under which a pressure may be typed."""
        return [title for title in ("gauge", "pressure") if title in self.units]

    @computed_field(description="Whether a speed may be typed.")  # type: ignore[prop-decorator]
    @property
    def speed(self) -> bool:
        """Whether a speed may be typed."""
        return "speed" in self.units

    @property
    def pressure(self) -> str:
        """First title under which a pressure may be typed; empty if there is none."""
        return next(iter(self.pressures), "")


def form_of(book: Book, experiment: str) -> Form:
    """Return the form of an experiment."""
    with book.reading() as connection:
        sheet = book.sheet(connection, book.find(connection, experiment))
    return Form(units={name: unit for name, unit in sheet.columns if name})


def store_typed(
    book: Book,
    experiment: str,
    typed: Mapping[str, str],
    *,
    key: str,
    made_by: str = "",
    trace: TraceFile | None = None,
) -> int:
    """Store a typed reading; return its number.

    Parameters
    ----------
    book : Book
        Open for writing.
    experiment : str
        Its name.
    typed : mapping of str to str
        ``pressure`` with ``pressure_as`` (``gauge`` or ``pressure``), ``speed`` with ``speed_as`` (``speed`` or
        ``period``), ``lamp``, ``sweep``, ``envelope``, ``note``. Numbers without a unit are in that of the table's
        title.
    key : str
        Key made by the page; a repeated entry is stored once.
    made_by : str
        Who or what recorded it.
    trace : TraceFile, optional
        The raw file with the speed, which is then not typed.

    Raises
    ------
    FieldError
        A field that cannot be used; nothing is stored then.
    BookError
        The book cannot be written; nothing is stored then.
    """
    form = form_of(book, experiment)
    cells = cells_of(form, typed, traced=trace is not None)
    if "time" in form.units:
        cells["time"] = _time(book, experiment, form.units["time"])
    again = book.find_by_key(experiment, key)  # the response was lost: the entry is sent again with a later time
    if again is not None:
        return again
    try:
        return book.record(experiment, cells, trace, key=key, made_by=made_by)
    except InputError as error:
        field = FIELD_OF.get(str(error.column))
        if field is None:
            raise
        raise FieldError(field, error.problem, fix=error.fix) from error


def cells_of(form: Form, typed: Mapping[str, str], *, traced: bool = False) -> dict[str, str]:
    """Return the cells of the texts of a form; see :func:`store_typed`.

    Parameters
    ----------
    form : Form
        Fields that the table accepts.
    typed : mapping of str to str
        Texts by field.
    traced : bool
        Whether the speed comes from a trace.

    Raises
    ------
    FieldError
        A field that cannot be used.
    """
    title = typed.get("pressure_as") or form.pressure
    if title not in form.units or title not in ("gauge", "pressure"):
        raise FieldError("pressure", f"this table has no column for a {title or 'pressure'}", fix="choose the other")
    cells: dict[str, str] = {}
    _pressure(form, title, typed.get("pressure", "").strip(), cells)
    if not traced:
        _speed(form, typed.get("speed_as", "speed"), typed.get("speed", "").strip(), cells)
    elif "trace" not in form.units:
        raise FieldError("speed", "this table has no column for traces", fix="begin an experiment for them")
    # The book stores these in any experiment, also without a column of its table.
    lamp = " ".join(typed.get("lamp", "on").split()) or "on"
    if lamp != "on" or "lamp" in form.units:
        cells["lamp"] = lamp
    for field, name in (("leading_face", "leading face"), ("gas", "gas"), ("changed", "changed"), ("note", "note")):
        text = " ".join(typed.get(field, "").split())
        if text:
            cells[name] = text
    sweep = " ".join(typed.get("sweep", "").split())
    if sweep and "sweep" not in form.units:
        raise FieldError("sweep", "this table has no column for a sweep", fix="leave it empty")
    if sweep:
        cells["sweep"] = sweep
    envelope = typed.get("envelope", "").strip()
    if envelope:
        if "envelope temperature" not in form.units:
            raise FieldError("envelope", "this table has no column for it", fix="leave it empty")
        cells["envelope temperature"] = _number(
            "envelope", envelope, form.units["envelope temperature"], "temperature", "22.1"
        )[0]
    return cells


def values_of(bench: Bench, form: Form, cells: Mapping[str, str]) -> dict[str, float | None]:
    """Return pressure and speed of the cells in SI, None for a missing one."""
    pressure = speed = None
    if _PLAIN.fullmatch(cells.get("pressure", "")):
        pressure = float(to_si(float(cells["pressure"]), form.units["pressure"], "pressure"))
    elif _PLAIN.fullmatch(cells.get("gauge", "")):
        volts = float(to_si(float(cells["gauge"]), form.units["gauge"], "voltage"))
        pressure = float(pressure_from_volts([volts], bench).pressure_pa[0])
        pressure = pressure if math.isfinite(pressure) else None
    if _PLAIN.fullmatch(cells.get("speed", "")):
        speed = float(to_si(float(cells["speed"]), form.units["speed"], "angular speed"))
    return {"pressure_pa": pressure, "speed_rad_s": speed}


def doubt_about(
    values: Mapping[str, float | None],
    rows: Sequence[Mapping[str, Any]],
    *,
    lamp: str = "on",
    bench: Bench | None = None,
    typed: bool = False,
) -> tuple[str, str] | None:
    """Return the field and the question for a likely mistake in a reading; None without one.

    Parameters
    ----------
    values : mapping
        ``pressure_pa`` and ``speed_rad_s``, as :func:`values_of` gives them.
    rows : sequence of mapping
        Readings so far.
    lamp : str
        The lamp, as typed.
    bench : Bench, optional
        Its gauge determines which pressures may be volts or lie outside its range.
    typed : bool
        Whether the pressure was typed as a pressure, and not as volts.
    """
    pressure, speed = values["pressure_pa"], values["speed_rad_s"]
    known = [row for row in rows if row["pressure_pa"] and not row["exclude"]]
    if typed and bench is not None and pressure is not None and pressure > 0:
        from edgewind.evidence.tensions import FAR_OUTSIDE, beyond_gauge, volts_for_pressures

        beyond = float(beyond_gauge([pressure], bench)[0])
        if beyond > FAR_OUTSIDE:
            far = format_number(beyond, 2)
            return "pressure", f"This pressure is a factor of {far} outside the range of the gauge: is the unit right?"
        before = [row["pressure_pa"] for row in known if row["gauge_v"] is None]
        if volts_for_pressures([*before, pressure], bench) and not volts_for_pressures(before, bench):
            return "pressure", "The pressures typed so far all look like volts of the gauge: is this a pressure?"
    if pressure is None or pressure <= 0 or len(known) < _FEWEST_KNOWN:
        return None
    low, high = (found(row["pressure_pa"] for row in known) for found in (min, max))
    if pressure > _FAR * high:
        return "pressure", f"This pressure is {pressure / high:,.0f} times the highest so far: is the unit right?"
    if pressure < low / _FAR:
        return "pressure", f"This pressure is {low / pressure:,.0f} times below the lowest so far: is the unit right?"
    if speed is None or lamp != "on":
        return None
    for row in known:
        if not (row["used"] and row["lamp"] and row["speed_rad_s"]):
            continue
        near = abs(math.log(pressure / row["pressure_pa"])) < math.log(1.2)
        ratio = abs(speed / row["speed_rad_s"])
        for factor, words in ((2.0, "twice"), (0.5, "half"), (4.0, "four times"), (0.25, "a quarter of")):
            if near and abs(ratio / factor - 1) < 0.07:
                question = f"This speed is {words} that of reading {row['n']} at nearly the same pressure"
                return "speed", f"{question}: were the marks counted right?"
    return None


def _pressure(form: Form, title: str, text: str, cells: dict[str, str]) -> None:
    kind = "voltage" if title == "gauge" else "pressure"
    if not text:
        raise FieldError("pressure", "empty", fix=f"type the reading of the gauge, in {form.units[title]}")
    if title == "pressure" and text.lower() in _WORDS:
        cells[title] = text.lower()
        return
    value, u = _number("pressure", text, form.units[title], kind, "3.269" if title == "gauge" else "1.24")
    cells[title] = value
    if title == "pressure" and float(value) <= 0:
        raise FieldError("pressure", f"'{text}' is not above zero", fix="write under-range if the gauge shows nothing")
    if u:
        if title == "gauge" or "pressure uncertainty" not in form.units:
            raise FieldError("pressure", "this table has no column for its uncertainty", fix="type the number alone")
        unit = form.units["pressure uncertainty"]
        pascal = u * float(to_si(1.0, form.units[title], kind))
        cells["pressure uncertainty"] = (
            format_number(100 * u / float(value), 3)
            if unit == "%"
            else format_number(float(from_si(pascal, unit, kind)), 3)
        )


def _speed(form: Form, way: str, text: str, cells: dict[str, str]) -> None:
    if "speed" not in form.units:
        raise FieldError(
            "speed", "this table takes its speeds from traces", fix="begin an experiment for typed readings"
        )
    if way not in ("speed", "period"):
        raise FieldError("speed", "Speed must be given as 'speed' or 'period'", fix="choose one")
    unit = form.units["speed"]
    if not text:
        shown = f"in {unit}" if way == "speed" else "in seconds for one turn"
        raise FieldError("speed", "empty", fix=f"type the {way}, {shown}")
    if way == "speed":
        value, u = _number("speed", text, unit, "angular speed", "123.4")
    else:
        value, u = _from_period(text, unit)
    cells["speed"] = value
    if not u:
        return
    if "speed uncertainty" in form.units:
        scale = float(from_si(to_si(1.0, unit, "angular speed"), form.units["speed uncertainty"], "angular speed"))
        cells["speed uncertainty"] = format_number(u * scale, 3)
    elif way == "speed":
        raise FieldError("speed", "this table has no column for its uncertainty", fix="type the number alone")
    else:
        cells["speed"] = _as_many_digits(float(value), u)


def _number(field: str, text: str, unit: str, kind: str, example: str) -> tuple[str, float]:
    """Return a number as a cell in `unit`, with its typed uncertainty, 0 without one."""
    plain = _with_point(text)
    if _PLAIN.fullmatch(plain):
        return plain, 0.0
    try:
        found = parse_measured(plain, kind)
    except InputError as error:
        begins = re.match(r"\s*[+-]?(\d|\.\d)", plain)
        if begins is None or not re.search(r"[^\W\d_]|%", plain.lower().replace("e", "")):  # it has no unit
            raise FieldError(field, f"'{text[:40]}' is not a number", fix=f"type a number, such as {example}") from None
        raise FieldError(field, error.problem, fix=error.fix) from None
    value = float(from_si(found.value, unit, kind))
    step = 0.0 if found.u == 0 else float(from_si(found.value + found.u, unit, kind)) - value
    return format_number(value, max(_digits(plain), 2), keep_zeros=True), step


def _with_point(text: str) -> str:
    """Replace a single comma among digits, a decimal comma, by a point."""
    return text.replace(",", ".") if text.count(",") == 1 and "." not in text else text


def _digits(text: str) -> int:
    """Return the significant digits of the number at the beginning of a text."""
    found = re.match(r"\s*[+-]?0*\.?0*(\d*\.?\d*)", text)
    return len(found[1].replace(".", "")) if found else 4


def _from_period(text: str, unit: str) -> tuple[str, float]:
    """Convert the seconds of one turn to a speed in `unit`, with the uncertainty of the last digit.

    ``omega = 2 pi / T`` and ``u(omega) / omega = u(T) / T`` (JCGM 100:2008, 5.1.6); the last digit is taken as
    rectangular (F.2.2.1).
    """
    plain = _with_point(text)
    if not _PLAIN.fullmatch(plain):
        try:
            found = parse_measured(plain, "time")
        except InputError as error:
            raise FieldError("speed", error.problem, fix="type the seconds of one turn, such as 1.84") from None
        period, u = found.value, found.u
    else:
        period, u = float(plain), 0.0
    if not (math.isfinite(period) and period != 0):
        raise FieldError(
            "speed", f"'{text[:40]}' is not the time of one turn", fix="type the seconds of one turn, such as 1.84"
        )
    if not u:
        mantissa, _, exponent = re.split(r"\s|[^\d.eE+-]", plain, maxsplit=1)[0].lower().partition("e")
        u = 10.0 ** (int(exponent or 0) - len(mantissa.partition(".")[2])) / math.sqrt(12)
    speed = float(from_si(2 * math.pi / period, unit, "angular speed"))
    return format_number(speed, 7), abs(speed) * u / abs(period)


def _as_many_digits(value: float, u: float) -> str:
    """Write a value with a last digit not below `u`."""
    decimals = math.floor(-math.log10(u * math.sqrt(12)))
    if decimals >= 0:
        return f"{value:.{decimals}f}"
    digits = max(math.floor(math.log10(abs(value))) + decimals + 1, 1) if value else 1
    return f"{value:.{digits - 1}e}"


def _time(book: Book, experiment: str, unit: str) -> str:
    now = datetime.now(UTC)
    if not unit:
        return now.isoformat(timespec="milliseconds")
    first = read_part(book, experiment, most=1)
    begun = datetime.fromisoformat(first.made_at[0]) if first.made_at else now
    start = 0.0
    if first.made_at:
        cells = first.source.contents.cells_now()[0]
        start = float(to_si(float(cells.get("time") or 0.0), unit, "time"))
    return f"{float(from_si(start + (now - begun).total_seconds(), unit, 'time')):.6g}"


def excluded(book: Book, experiment: str, reading: int) -> str:
    """Return why a reading is excluded; empty if it is not."""
    changes = [change for change in changes_of(book, experiment, [reading]) if change.cell == "exclude"]
    if changes:
        return changes[-1].after
    part = read_part(book, experiment, after=reading - 1, most=1)
    return part.source.contents.cells_now()[0].get("exclude", "") if part.numbers else ""
