"""Sensitivity of the predicted optimum to the uncertain and unknown values of a bench."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from edgewind.bench import Bench, parse_bench
from edgewind.bench.form import FIELDS, read_fields
from edgewind.errors import InputError
from edgewind.formatting import format_number
from edgewind.rotor import predict_reach

# Limits between which an unstated value is tried, to see whether it decides the answer.
_UNKNOWN = {
    "rotor.vane_conductance": ("10 W/(m^2 K)", "3000 W/(m^2 K)"),
    "rotor.accommodation": ("0.7", "1.0"),
    "rotor.dark_emissivity": ("0.80", "0.98"),
    "rotor.bright_emissivity": ("0.03", "0.30"),
}
_SI = {
    "rotor.vane_width": "m", "rotor.vane_height": "m", "rotor.arm": "m", "rotor.vane_thickness": "m",
    "rotor.dark_absorptance": "", "rotor.bright_absorptance": "", "rotor.dark_emissivity": "",
    "rotor.bright_emissivity": "", "light.irradiance": "W/m^2", "rotor.vane_conductance": "W/(m^2 K)",
    "rotor.accommodation": "", "rotor.pivot_dry_torque": "N m", "rotor.pivot_viscous": "N m s",
}  # fmt: skip
# Least change, of speed and pressure together in logarithms, that is reported.
_LEAST = 0.02


@dataclass(frozen=True)
class Deciding:
    """A value of the bench whose uncertainty changes the predicted answer.

    Attributes
    ----------
    key, label : str
        Key of `bench.toml`, and its label.
    unknown : bool
        Whether it is not stated; it is then tried between wide limits.
    within : str
        The stated or assumed value with its uncertainty, or the limits that are tried.
    speed_factor, pressure_factor : float
        Factors by which the greatest speed, and the pressure at which it is reached, change from one end to the other;
        1 or more.
    """

    key: str
    label: str
    unknown: bool
    within: str
    speed_factor: float
    pressure_factor: float

    @property
    def sentence(self) -> str:
        """Its effect in a sentence.

        Examples
        --------
        >>> Deciding("rotor.arm", "Arm", False, "12.0 +/- 0.2 mm", 1.034, 1.0).sentence
        'Arm (12.0 +/- 0.2 mm): greatest speed by 3.4 %, its pressure by 0 %'
        """
        within = f"unknown: {self.within}" if self.unknown else self.within
        speed, pressure = (_change(factor) for factor in (self.speed_factor, self.pressure_factor))
        return f"{self.label} ({within}): greatest speed by {speed}, its pressure by {pressure}"


def deciding(text: str) -> list[Deciding]:
    """Return up to three uncertain or unknown values that change the predicted answer most, the greatest first.

    Each is moved alone, by its standard uncertainty to either side, or between wide limits where it is left unknown.

    Parameters
    ----------
    text : str
        A `bench.toml`.

    Raises
    ------
    InputError
        The text is not a bench.
    """
    bench, typed = parse_bench(text), read_fields(text)
    found: list[tuple[float, Deciding]] = []
    for key, field in FIELDS.items():
        ends = _ends(bench, key)
        if ends is None:
            continue
        try:
            low, high = (_answer(bench, {key: value}) for value in ends)
        except InputError:
            continue
        if low is None or high is None:
            continue
        speed, pressure = (abs(math.log(b / a)) for a, b in zip(low, high, strict=True))
        stated = _stated(bench, key)
        unknown = stated is None
        if unknown:
            within = f"{ends[0].partition(' ')[0]} to {ends[1]}"
        else:  # a value that every bench has may not be written in this one
            within = typed.get(key) or f"assumed, {stated.value:g} +/- {stated.u:g} {_SI[key]}".rstrip()
        one = Deciding(key, field.label, unknown, within, math.exp(speed), math.exp(pressure))
        found.append((speed + pressure, one))
    found.sort(key=lambda pair: -pair[0])
    return [one for weight, one in found if weight > _LEAST][:3]


def _change(factor: float) -> str:
    times = factor > 1.995
    return f"{format_number(factor if times else 100 * (factor - 1), 2)} {'times' if times else '%'}"


def _stated(bench: Bench, key: str) -> Any:
    section, _, name = key.partition(".")
    return getattr(getattr(bench, section), name, None)


def _ends(bench: Bench, key: str) -> tuple[str, str] | None:
    value = _stated(bench, key)
    if value is None:
        return _UNKNOWN.get(key)
    u, unit = getattr(value, "u", 0.0), _SI.get(key)
    if not u or unit is None or value.value - u <= 0:
        return None
    top = min(value.value + u, 1.0) if unit == "" else value.value + u
    return f"{value.value - u:.9g} {unit}".strip(), f"{top:.9g} {unit}".strip()


def _answer(bench: Bench, changes: Mapping[str, str]) -> tuple[float, float] | None:
    """Return greatest speed and its pressure; None where there is no maximum within reach."""
    speed = predict_reach(bench, changes=changes).speed
    if not speed.found or speed.pressure_pa is None or not speed.value:
        return None
    return abs(float(speed.value)), float(speed.pressure_pa)
