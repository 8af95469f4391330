"""Plan of a run through a change: its pressure, its changes with their times, and its duration."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from edgewind.errors import InputError
from edgewind.formatting import NUMBER, format_number
from edgewind.signals.columns import HIGHEST_ENVELOPE_K, MOST_LAMP
from edgewind.units import parse_quantity

EXAMPLE = "2 Pa, lamp off at 30 s, envelope to -20 degC at standstill, 10 min"
LONGEST_RUN_S = 86_400.0
_STANDSTILL = "standstill"
_MOST_CHANGES = 20
_ZERO_C_K = 273.15
_WHEN = re.compile(r"^(?P<what>.+?)\s+at\s+(?P<when>\S.*)$", re.IGNORECASE)
_ENVELOPE = re.compile(r"^envelope\s+(?:to\s+)?(?P<value>\S.*)$", re.IGNORECASE)
_LAMP = re.compile(r"^lamp\s+(?P<value>\S.*)$", re.IGNORECASE)
_FIRST = re.compile(r"^(?P<what>.+?)\s+first$", re.IGNORECASE)


@dataclass(frozen=True)
class PlannedChange:
    """One change of a run.

    Attributes
    ----------
    after_s : float or None
        Time, s after the beginning of the run; None: once the rotor stands still.
    lamp : str
        ``on``, ``off`` or a share such as ``50 %`` that the lamp is set to; empty if it stays.
    envelope_k : float or None
        Temperature that the envelope is brought to, K.
    other : str
        Another change, in words.
    """

    after_s: float | None
    lamp: str = ""
    envelope_k: float | None = None
    other: str = ""

    @property
    def words(self) -> str:
        """The change in words."""
        if self.lamp:
            return f"lamp {self.lamp}"
        return self.other if self.envelope_k is None else f"envelope to {celsius(self.envelope_k)}"


@dataclass(frozen=True)
class RunPlan:
    """A run: signed speed against time, with changes made on purpose.

    Attributes
    ----------
    pressure_pa : float
        Pressure to reach before it begins, Pa; zero: the present one, without a connected valve.
    duration_s : float
        Its length, s; zero: ``steadiness.reversal`` after the last change.
    changes : tuple of PlannedChange
        Planned changes in order; others may be made during the run.
    lamp_first : str
        The lamp at the start: ``on`` or ``off``.
    typed : bool
        Whether speeds are typed during the run, even with a connected tachometer.
    envelope_k : float
        Temperature of the envelope at the start, K, if no thermometer is connected; zero: that of `bench.toml`.
    """

    pressure_pa: float = 0.0
    duration_s: float = 0.0
    changes: tuple[PlannedChange, ...] = ()
    lamp_first: str = "on"
    typed: bool = False
    envelope_k: float = 0.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.pressure_pa) and self.pressure_pa >= 0):
            raise InputError(f"the pressure of a run cannot be {self.pressure_pa:g} Pa", fix="write 2 Pa, or none")
        if not 0 <= self.duration_s <= LONGEST_RUN_S:
            raise InputError(
                f"a run cannot last {self.duration_s:g} s", fix=f"ask for at most {LONGEST_RUN_S / 3600:g} h"
            )
        if len(self.changes) > _MOST_CHANGES:
            raise InputError(
                f"{len(self.changes)} changes are too many for a run", fix=f"plan {_MOST_CHANGES} or fewer"
            )
        before = 0.0
        for one in self.changes:
            if one.after_s is None:
                continue
            if not (math.isfinite(one.after_s) and one.after_s >= before):
                raise InputError(
                    f"'{one.words}' at {one.after_s:g} s comes before the change at {before:g} s",
                    fix="write the changes in the order in which they are made",
                )
            before = one.after_s
        if 0 < self.duration_s <= before:
            raise InputError(
                f"the run ends after {self.duration_s:g} s, before its change at {before:g} s",
                fix="let it run for longer",
            )

    @property
    def words(self) -> str:
        """The changes in words."""
        found = [one.words for one in self.changes]
        return ", then ".join(found) if found else "changed by hand during the run"

    @property
    def text(self) -> str:
        """The run in the form that :func:`parse_run` reads."""
        parts = [f"{self.pressure_pa!r} Pa"] if self.pressure_pa else []
        parts += ["lamp off first"] if self.lamp_first == "off" else []
        parts += ["speed typed"] if self.typed else []
        parts += [f"envelope {self.envelope_k!r} K first"] if self.envelope_k else []
        for one in self.changes:
            when = _STANDSTILL if one.after_s is None else f"{one.after_s!r} s"
            what = one.words if one.envelope_k is None else f"envelope to {one.envelope_k!r} K"
            parts.append(f"{what} at {when}")
        parts += [f"{self.duration_s!r} s"] if self.duration_s else []
        return ", ".join(parts) or "lamp on first"

    def plain(self) -> dict[str, Any]:
        """Return the plan for JSON."""
        return asdict(self) | {"changes": [asdict(one) for one in self.changes]}

    @classmethod
    def of(cls, plain: Mapping[str, Any]) -> RunPlan:
        """Return the plan that :meth:`plain` wrote."""
        changes = tuple(PlannedChange(**one) for one in plain["changes"])
        return cls(**{**plain, "changes": changes})


def celsius(kelvin: float) -> str:
    """Return a temperature in degC, to a tenth at most."""
    return f"{round(kelvin - _ZERO_C_K, 1) + 0.0:.4g} degC"


def reversal_plan(pressure_pa: float, envelope_k: float) -> RunPlan:
    """Return the run in which the lamp goes off and, at standstill, the envelope is chilled in the dark."""
    return RunPlan(pressure_pa, changes=(PlannedChange(0.0, lamp="off"), PlannedChange(None, envelope_k=envelope_k)))


def parse_reversal(text: str) -> RunPlan:
    """Read ``"2 Pa, -20 degC"``: lamp off at this pressure, then the envelope at this temperature in the dark.

    Raises
    ------
    InputError
        It is not a pressure and a temperature.

    Examples
    --------
    >>> parse_reversal("2 Pa, -20 degC").words
    'lamp off, then envelope to -20 degC'
    """
    parts = text.split(",")
    try:
        pressure, temperature = (
            float(parse_quantity(part.strip(), kind))
            for part, kind in zip(parts, ("pressure", "temperature"), strict=True)
        )
    except (InputError, ValueError):
        raise InputError(f"'{text}' is not a pressure and a temperature", fix="write '2 Pa, -20 degC'") from None
    if not (pressure > 0 and temperature > 0):
        raise InputError(f"'{text}' must be above zero in pascal and kelvin", fix="write '2 Pa, -20 degC'")
    return reversal_plan(pressure, round(temperature, 9))


def parse_run(text: str) -> RunPlan:
    """Read a run as it is written: ``2 Pa, lamp off at 30 s, envelope to -20 degC at standstill, 10 min``.

    Parts are separated by commas: a pressure, a length, changes with their time (a time after the beginning, or
    ``standstill``), ``lamp off first``, ``envelope 22 degC first`` if no thermometer is connected, ``speed typed``.

    Raises
    ------
    InputError
        A part that is none of these, or is repeated.

    Examples
    --------
    >>> plan = parse_run("2 Pa, lamp off at 30 s, envelope to -20 degC at standstill, 10 min")
    >>> plan.words, plan.duration_s, [one.after_s for one in plan.changes]
    ('lamp off, then envelope to -20 degC', 600.0, [30.0, None])
    >>> parse_run("gas let in at 1 min").changes[0].other
    'gas let in'
    """
    found: dict[str, Any] = {}
    changes: list[PlannedChange] = []

    def keep(name: str, value: Any, part: str) -> None:
        if name in found:
            raise InputError(f"'{part[:60]}' is given twice", fix=f"write the run as '{EXAMPLE}'")
        found[name] = value

    for part in (" ".join(part.split()) for part in text.split(",")):
        if not part:
            continue
        when, first = _WHEN.match(part), _FIRST.match(part)
        if part.lower() == "speed typed":
            keep("typed", True, part)
        elif when is not None:
            changes.append(_change(when["what"], when["when"]))
        elif first is not None:
            change = _what(first["what"], None)
            if change.lamp in ("on", "off"):
                keep("lamp_first", change.lamp, part)
            elif change.envelope_k is not None:
                keep("envelope_k", change.envelope_k, part)
            else:
                raise InputError(f"'{part[:60]}' is not an initial state of a run", fix="write 'lamp off first'")
        else:
            keep(*_size(part), part)
    return RunPlan(changes=tuple(changes), **found)


def _size(part: str) -> tuple[str, float]:
    for name, kind in (("pressure_pa", "pressure"), ("duration_s", "time")):
        try:
            value = float(parse_quantity(part, kind))
        except InputError:
            continue
        if value > 0 and math.isfinite(value):
            return name, value
        raise InputError(f"'{part[:60]}' must be above zero", fix=f"write the run as '{EXAMPLE}'")
    raise InputError(
        f"'{part[:60]}' is not a pressure, a duration or a change with its time", fix=f"write the run as '{EXAMPLE}'"
    )


def _change(what: str, when: str) -> PlannedChange:
    if when.lower() == _STANDSTILL:
        return _what(what, None)
    try:
        after_s = float(parse_quantity(when, "time"))
    except InputError:
        raise InputError(
            f"'{when[:40]}' is not a time for '{what[:40]}'", fix="write a time such as 30 s, or standstill"
        ) from None
    if not 0 <= after_s <= LONGEST_RUN_S:
        raise InputError(f"'{what[:40]}' cannot be done at '{when[:40]}'", fix="write a time such as 30 s")
    return _what(what, after_s)


def _what(text: str, after_s: float | None) -> PlannedChange:
    lamp, envelope = _LAMP.match(text), _ENVELOPE.match(text)
    if lamp is not None:
        return PlannedChange(after_s, lamp=parse_lamp(lamp["value"]))
    if envelope is not None:
        return PlannedChange(after_s, envelope_k=parse_envelope(envelope["value"]))
    return PlannedChange(after_s, other=text)


def parse_lamp(text: str) -> str:
    """Read ``on``, ``off`` or a share of the usual irradiance such as ``50 %``, as in the table of a run.

    Raises
    ------
    InputError
        It is none of them, or beyond the range of a reading.

    Examples
    --------
    >>> parse_lamp("OFF"), parse_lamp("150%")
    ('off', '150 %')
    """
    plain = text.strip().lower()
    if plain in ("on", "off"):
        return plain
    try:
        share = float(plain.rstrip("% ")) / (100 if "%" in plain else 1)
    except ValueError:
        share = math.nan
    if not 0 <= share <= MOST_LAMP:
        raise InputError(
            f"'{text[:40]}' is not a state of the lamp",
            fix=f"write on, off, or a share of its usual irradiance between 0 and {100 * MOST_LAMP:g} %",
        )
    return {0.0: "off", 1.0: "on"}.get(share, f"{100 * share:.6g} %")


def parse_envelope(text: str) -> float:
    """Read a temperature of the envelope, K; a number alone is in degC.

    Raises
    ------
    InputError
        It is not a temperature, or beyond the range of a reading.

    Examples
    --------
    >>> parse_envelope("-20"), parse_envelope("253.15 K")
    (253.15, 253.15)
    """
    plain = text.strip().replace("°C", "degC").replace("−", "-")
    if plain and not re.search("[A-Za-z]", plain):
        plain += " degC"
    try:
        kelvin = round(float(parse_quantity(plain, "temperature")), 9)
    except InputError as error:
        raise InputError(f"the envelope cannot be at '{text[:40]}': {error.problem}", fix="write -20 degC") from error
    if not 0 < kelvin <= HIGHEST_ENVELOPE_K:
        where = "at or below absolute zero" if kelvin <= 0 else f"above {HIGHEST_ENVELOPE_K:g} K"
        raise InputError(f"the envelope cannot be at '{text[:40]}': it is {where}", fix="write -20 degC, or 253 K")
    return kelvin


def parse_speed(text: str) -> tuple[float, float]:
    """Read a speed with its sign, rad/s, and the standard uncertainty of its last digit (rectangular), rad/s.

    A number alone is in rpm.

    Raises
    ------
    InputError
        It is not a speed.

    Examples
    --------
    >>> value, u = parse_speed("-30.0")
    >>> round(value / math.pi, 9), round(u / math.pi * math.sqrt(12), 9)
    (-1.0, 0.003333333)
    """
    match = re.fullmatch(rf"({NUMBER})\s*(.*)", text)
    if match is None:
        raise InputError(f"'{text[:40]}' is not a speed", fix="write -12 rpm")
    mantissa, _, exponent = match[1].lower().partition("e")
    digit = float(f"1e{int(exponent or 0) - len(mantissa.partition('.')[2])}")
    value, of_digit = (
        float(parse_quantity(f"{one!r} {match[2] or 'rpm'}", "angular speed")) for one in (float(match[1]), digit)
    )
    if not math.isfinite(value + of_digit):
        raise InputError(f"'{text[:40]}' is too large", fix="write -12 rpm")
    return value, of_digit / math.sqrt(12)


def pressure_words(pressure_pa: float) -> str:
    """Return the pressure of a run in words."""
    return f"at {format_number(pressure_pa, 3)} Pa" if pressure_pa else "at the present pressure"
