"""What the form of a bench shows beside its fields: measures to draw, the predicted curve, what decides the answer."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from edgewind.bench import Bench, parse_bench
from edgewind.bench.form import FIELDS
from edgewind.errors import FieldError, InputError
from edgewind.report.physics import path_at_one_pascal
from edgewind.rotor import changed_bench, predict_whole
from edgewind.web import whatif

# Where nothing is stated: between which values an unknown is tried to see whether it decides the answer.
_UNKNOWN = {
    "rotor.vane_conductance": ("10 W/(m^2 K)", "3000 W/(m^2 K)"),
    "rotor.accommodation": ("0.7", "1.0"),
    "rotor.dark_emissivity": ("0.80", "0.98"),
    "rotor.bright_emissivity": ("0.03", "0.30"),
}


def outlook(text: str) -> dict[str, Any]:
    """Return what the bench as described looks like and would do: measures for a drawing, and the predicted curve.

    Raises
    ------
    FieldError
        It cannot be read, or nothing can be predicted of it; the field is named where one is to blame.
    """
    try:
        bench = parse_bench(text)
    except InputError as error:
        key = error.key if error.key in FIELDS else "bench"
        problem = error.problem if key != "bench" else str(error)
        raise FieldError(key or "bench", problem, fix=error.fix, line=error.line) from error
    rotor, chamber = bench.rotor, bench.chamber
    scale = path_at_one_pascal(bench) / rotor.vane_width.value
    found: dict[str, Any] = {
        "drawing": {
            "vanes": rotor.vanes, "shape": rotor.vane_shape, "width_m": rotor.vane_width.value,
            "height_m": rotor.vane_height.value, "arm_m": rotor.arm.value, "chamber_width_m": chamber.width.value,
            "chamber_height_m": chamber.height.value, "light": bench.light.arrangement,
            "envelope_k": None if chamber.envelope_temperature is None else chamber.envelope_temperature.value,
            "gas_k": bench.gas.temperature.value,
        },
        "kn_at_one_pa": scale,
        "title": bench.experiment.title,
    }  # fmt: skip
    try:
        return found | {"predicted": whatif.what_if(bench, {}), "no_prediction": ""}
    except InputError as error:
        return found | {"predicted": None, "no_prediction": str(error)}


def deciding(text: str, most: int = 3) -> list[dict[str, Any]]:
    """Return the fields whose uncertainty, or whose being unknown, changes the predicted answer most.

    Each is moved alone, by its standard uncertainty to either side, or between wide limits where it is left unknown;
    the change is that of the greatest speed and of the pressure at which it is reached, as factors.

    Parameters
    ----------
    text : str
        A `bench.toml`.
    most : int
        How many to return, the one that matters most first.
    """
    bench = parse_bench(text)
    found: list[dict[str, Any]] = []
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
        unknown = _measured(bench, key) is None
        found.append({
            "key": key, "label": field.label, "unknown": unknown, "low": ends[0], "high": ends[1],
            "speed_factor": math.exp(speed), "pressure_factor": math.exp(pressure), "weight": speed + pressure,
        })  # fmt: skip
    found.sort(key=lambda one: -one["weight"])
    return [one for one in found if one["weight"] > 0.02][:most]


def _measured(bench: Bench, key: str) -> Any:
    section, _, name = key.partition(".")
    return getattr(getattr(bench, section), name, None)


def _ends(bench: Bench, key: str) -> tuple[str, str] | None:
    if not key.startswith(("rotor.", "light.", "chamber.envelope", "gas.temperature")):
        return None
    value = _measured(bench, key)
    if value is None:
        return _UNKNOWN.get(key)
    u = getattr(value, "u", 0.0)
    unit = _SI.get(key)
    if not u or unit is None or value.value - u <= 0:
        return None
    top = min(value.value + u, 1.0) if unit == "" else value.value + u
    return f"{value.value - u:.9g} {unit}".strip(), f"{top:.9g} {unit}".strip()


_SI = {
    "rotor.vane_width": "m", "rotor.vane_height": "m", "rotor.arm": "m", "rotor.vane_thickness": "m",
    "rotor.dark_absorptance": "", "rotor.bright_absorptance": "", "rotor.dark_emissivity": "",
    "rotor.bright_emissivity": "", "light.irradiance": "W/m^2", "rotor.vane_conductance": "W/(m^2 K)",
    "rotor.accommodation": "", "rotor.pivot_dry_torque": "N m", "rotor.pivot_viscous": "N m s",
}  # fmt: skip


def _answer(bench: Bench, changes: Mapping[str, str]) -> tuple[float, float] | None:
    """Return greatest speed and its pressure; None where there is no maximum within reach."""
    moved = changed_bench(bench, changes)
    speed = predict_whole(bench, whatif.reach(moved), changes=changes).speed
    if not speed.found or speed.pressure_pa is None or not speed.value:
        return None
    return abs(float(speed.value)), float(speed.pressure_pa)
