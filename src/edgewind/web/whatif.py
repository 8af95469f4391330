"""What if: the prediction of `edgewind predict --set`, over the range of the gas response."""

from __future__ import annotations

import math
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np

from edgewind.bench import Bench
from edgewind.errors import InputError
from edgewind.evidence import RotorDraws, draws_of
from edgewind.evidence import what_if as moved_optima
from edgewind.rotor import (
    Prediction,
    RotorParameters,
    TableResponse,
    changed_bench,
    parameters_of,
    predict_reach,
    predict_rotor,
    reach,
    response_of,
)
from edgewind.rotor.drives import NAMES
from edgewind.serialize import to_plain

# Change of a lever for its sensitivity.
STEP, STEP_K = 0.1, 10.0


@dataclass(frozen=True)
class Lever:
    """A value of the bench that a slider may set.

    Attributes
    ----------
    group, label : str
        Its group, and its label.
    unit : str
        Unit of its numbers.
    field : str
        Its name in :class:`edgewind.rotor.RotorParameters`, and in a fit.
    scale : float
        SI over its unit.
    ends : tuple of float
        Left and right end: relative to the present value, or in its own unit if `whole`.
    whole : bool
        Whether the ends are values, not factors.
    linear : bool
        Whether the slider moves in equal steps, not in equal factors.
    zero : bool
        Whether its left end is zero.
    """

    group: str
    label: str
    unit: str
    field: str
    scale: float = 1.0
    ends: tuple[float, float] = (0.4, 2.5)
    whole: bool = False
    linear: bool = False
    zero: bool = False


SLIDERS: dict[str, Lever] = {
    "rotor.vane_width": Lever("The rotor", "Width of a vane", "mm", "vane_width_m", 1e-3),
    "rotor.vane_height": Lever("The rotor", "Height of a vane", "mm", "vane_height_m", 1e-3),
    "rotor.arm": Lever("The rotor", "Arm", "mm", "arm_m", 1e-3, (0.6, 2.0)),
    "chamber.width": Lever("The rotor", "Chamber, clear width", "mm", "chamber_width_m", 1e-3, (0.6, 3.0)),
    "light.irradiance": Lever(
        "Light and cold", "Light on a vane", "W/m²", "irradiance_w_m2", 1.0, (0.02, 4.0), zero=True
    ),
    "chamber.envelope_temperature": Lever(
        "Light and cold", "Envelope", "degC", "envelope_temperature_k", 1.0, (-40.0, 80.0), whole=True, linear=True
    ),
    "rotor.vane_conductance": Lever(
        "The faces", "Heat through the vane", "W/(m² K)", "vane_conductance_w_m2_k", 1.0, (1.0, 20000.0), whole=True
    ),
    "rotor.dark_absorptance": Lever(
        "The faces", "Dark face, absorptance", "", "dark_absorptance", 1.0, (0.3, 1.0), whole=True, linear=True
    ),
    "rotor.bright_absorptance": Lever(
        "The faces", "Bright face, absorptance", "", "bright_absorptance", 1.0, (0.02, 0.9), whole=True, linear=True
    ),
    "rotor.dark_emissivity": Lever(
        "The faces", "Dark face, emissivity", "", "dark_emissivity", 1.0, (0.02, 1.0), whole=True, linear=True
    ),
    "rotor.bright_emissivity": Lever(
        "The faces", "Bright face, emissivity", "", "bright_emissivity", 1.0, (0.02, 1.0), whole=True, linear=True
    ),
    "rotor.accommodation": Lever(
        "The faces", "Accommodation", "", "accommodation", 1.0, (0.2, 1.0), whole=True, linear=True
    ),
    "rotor.pivot_dry_torque": Lever("The pivot", "Dry friction", "N m", "pivot_dry_n_m", 1.0, (1e-3, 1.0), zero=True),
    "rotor.pivot_viscous": Lever(
        "The pivot", "Viscous friction", "N m s", "pivot_viscous_n_m_s", 1.0, (1e-3, 1.0), zero=True
    ),
}
_ICE_K = 273.15
GASES = ("air", "N2", "He", "Ne", "Ar", "H2", "CO2")


def predict_changed(rotor: Bench | RotorDraws, changes: Mapping[str, str]) -> dict[str, Any]:
    """Return the prediction with some values of the bench changed, as plain arrays.

    Parameters
    ----------
    rotor : Bench or RotorDraws
        The rotor as its bench describes it, or draws of a fit, of which the typical one is used.
    changes : mapping of str to str
        Keys of `SLIDERS` and ``gas.species``, with values as in `bench.toml`.

    Raises
    ------
    InputError
        A key without a slider, or an impossible bench.
    """
    check_changes(changes)
    start = time.perf_counter()
    found = _predicted(rotor, changes)
    best = rotor.best if isinstance(rotor, RotorDraws) else {}
    fitted = {
        key: _shown(lever, float(getattr(found.parameters, lever.field)))
        for key, lever in SLIDERS.items()
        if lever.field in best and key not in changes
    }
    bench = rotor.bench if isinstance(rotor, RotorDraws) else rotor
    assumed = {
        key: _shown(lever, float(np.max(getattr(found.parameters, lever.field))))
        for key, lever in SLIDERS.items()
        if key not in changes and key not in fitted and not _is_stated(bench, key)
    }
    return _plain(found) | {"fitted": fitted, "assumed": assumed, "seconds": time.perf_counter() - start}


def _predicted(rotor: Bench | RotorDraws, changes: Mapping[str, str]) -> Prediction:
    if not isinstance(rotor, RotorDraws):
        return predict_reach(rotor, changes=changes)
    moved = rotor.moved(changes)
    return predict_rotor(moved.bench, moved.rotor, moved.gas)


def optima_intervals(rotor: Bench | RotorDraws, changes: Mapping[str, str]) -> dict[str, Any]:
    """Return the change of both optima with intervals, as by `edgewind predict --set` or `--fit`.

    Parameters
    ----------
    rotor : Bench or RotorDraws
        The rotor as its bench describes it, with draws of its priors, or draws of a fit.
    changes : mapping of str to str
        As for :func:`predict_changed`.

    Returns
    -------
    dict
        `edgewind.evidence.WhatIfResult` without bands, and ``between_pa``, the lowest and highest pressure of the
        search: the ends of the drawing with the curves before and after.

    Raises
    ------
    InputError
        As for :func:`predict_changed`.
    """
    check_changes(changes)
    draws = rotor if isinstance(rotor, RotorDraws) else _priors(rotor)
    before, after = (reach(bench) for bench in (draws.bench, changed_bench(draws.bench, changes)))
    ends = [float(min(before[0], after[0])), float(max(before[-1], after[-1]))]
    found = moved_optima(draws, changes, ends, level=draws.bench.study.level)
    return {key: value for key, value in to_plain(found.to_result()).items() if key != "bands"} | {"between_pa": ends}


@dataclass(frozen=True)
class _Described:
    """A bench by its description: one with a mixture of gases cannot be hashed."""

    text: str
    bench: Bench = field(compare=False)


def _priors(bench: Bench) -> RotorDraws:
    return _draws_of(_Described(repr(bench), bench))


@lru_cache(maxsize=8)
def _draws_of(described: _Described) -> RotorDraws:
    return draws_of(described.bench)


def check_changes(changes: Mapping[str, str]) -> None:
    """Check that all changes have sliders.

    Raises
    ------
    InputError
        Names a change without a slider.
    """
    unknown = [key for key in changes if key not in SLIDERS and key != "gas.species"]
    if unknown:
        raise InputError(f"'{unknown[0][:60]}' is not among the sliders", fix=", ".join((*SLIDERS, "gas.species")))


def sliders_of(bench: Bench) -> list[dict[str, Any]]:
    """Return the sliders of a bench: group, ends and position, in the unit of each, and whether it is assumed."""
    parameters = parameters_of(bench)
    table = predict_reach(bench).table
    torque, drag = float(np.max(np.abs(table["torque_n_m"]))), float(np.max(table["drag_vanes_n_m_s"]))
    room = 1e3 * (bench.chamber.width.value - 2 * bench.rotor.arm.value)
    least_room = 1e3 * (2 * bench.rotor.arm.value + bench.rotor.vane_width.value) / 0.98
    found = []
    for key, lever in SLIDERS.items():
        value = _shown(lever, float(np.max(getattr(parameters, lever.field))))
        low, high = lever.ends if lever.whole else (lever.ends[0] * value, lever.ends[1] * value)
        if key == "rotor.pivot_dry_torque":
            low, high = (end * torque for end in lever.ends)
        elif key == "rotor.pivot_viscous":
            low, high = (end * drag for end in lever.ends)
        elif key == "rotor.vane_width":
            high = min(high, 0.98 * room)
        elif key == "rotor.arm":
            high = min(high, 0.49 * 1e3 * bench.chamber.width.value - 0.5e3 * bench.rotor.vane_width.value)
        elif key == "chamber.width":
            low = max(low, least_room)
        elif key == "rotor.vane_height":
            high = min(high, 0.95e3 * bench.chamber.height.value)
        if not lever.zero or value > 0:
            low = min(low, value)
        found.append({
            "key": key, "group": lever.group, "label": lever.label, "unit": lever.unit, "value": value, "low": low,
            "high": max(high, value), "zero": lever.zero, "linear": lever.linear, "assumed": not _is_stated(bench, key),
        })  # fmt: skip
    return found


def weights_of(rotor: Bench | RotorDraws) -> list[dict[str, Any]]:
    """Return the levers by their effect on the answer, the greatest first.

    Each is moved alone by a tenth of its value (the envelope by `STEP_K` kelvins; downwards if a tenth more is
    impossible): the change of the greatest speed and of its pressure, in logarithms, are its sensitivities.

    Parameters
    ----------
    rotor : Bench or RotorDraws
        As for :func:`predict_changed`.

    Returns
    -------
    list of dict
        ``key``, ``label``, ``step`` (its change, in words), ``speed`` and ``pressure`` (factors of the
        greatest speed and of its pressure).
    """
    bench = rotor.bench if isinstance(rotor, RotorDraws) else rotor
    held = rotor.best if isinstance(rotor, RotorDraws) else {}
    start = fastest(rotor, {})
    found = []
    for key, lever in SLIDERS.items():
        si = float(held.get(lever.field, np.max(getattr(parameters_of(bench), lever.field))))
        value = _shown(lever, si)
        if not value or start is None:
            continue
        for sign in (1, -1):
            moved = value + sign * STEP_K if lever.unit == "degC" else value * (1 + sign * STEP)
            try:
                ended = fastest(rotor, {key: f"{moved:.9g} {lever.unit.replace('²', '^2')}".strip()})
            except InputError:
                continue  # a share above one, or a vane that does not fit: the other direction
            break
        else:
            continue
        if ended is None:
            continue
        step = f"{sign * STEP_K:+g} K" if lever.unit == "degC" else f"{100 * sign * STEP:+g} %"
        speed, pressure = ended[0] / start[0], ended[1] / start[1]
        found.append({
            "key": key, "label": lever.label, "step": step.replace("-", "−"), "speed": speed, "pressure": pressure,
            "weight": abs(math.log(abs(speed))) + abs(math.log(pressure)),
        })  # fmt: skip
    return sorted(found, key=lambda one: -one["weight"])


def moved_rotor(rotor: Bench | RotorDraws, changes: Mapping[str, str]) -> tuple[Bench, RotorParameters, TableResponse]:
    """Return bench, rotor and the table of its gas after a change, with the fit if `rotor` has one."""
    if isinstance(rotor, RotorDraws):
        moved = rotor.moved(changes)
        return moved.bench, moved.rotor, moved.response
    bench = changed_bench(rotor, changes)
    parameters = parameters_of(bench)
    return bench, parameters, response_of(parameters)


def fastest(rotor: Bench | RotorDraws, changes: Mapping[str, str]) -> tuple[float, float] | None:
    """Return greatest speed, rad/s, and its pressure, Pa; None without a maximum within reach."""
    speed = _predicted(rotor, changes).speed
    if not speed.found or speed.pressure_pa is None or not speed.value:
        return None
    return float(speed.value), float(speed.pressure_pa)


def _is_stated(bench: Bench, key: str) -> bool:
    """Return whether the bench states the value of a slider; an envelope without a value has that of the gas."""
    if key == "rotor.accommodation":
        return bench.rotor.mean_accommodation is not None
    if key == "chamber.envelope_temperature":
        return True
    section, _, name = key.partition(".")
    part = getattr(bench, section)
    return name in part.model_fields_set and getattr(part, name) is not None


def _shown(lever: Lever, si: float) -> float:
    """Return a value in SI in the unit of its slider."""
    return si - _ICE_K if lever.unit == "degC" else si / lever.scale


def _plain(found: Prediction) -> dict[str, Any]:
    table = found.table
    drives = {key: plain_list(table[f"torque_{key}_n_m"]) for key in NAMES if np.any(table[f"torque_{key}_n_m"] != 0)}
    speed = table["speed_rad_s"].to_numpy(float)
    return {
        "pressure_pa": plain_list(table["pressure_pa"]),
        "kn": plain_list(table["knudsen"]),
        "speed_rad_s": plain_list(speed),
        "torque_n_m": plain_list(table["torque_n_m"]),
        "drag_n_m_s": plain_list(table["drag_n_m_s"]),
        "drives": drives,
        "names": {key: NAMES[key] for key in drives},
        "optimum": _optimum(found.speed) | {"speed_rad_s": found.speed.value},
        "force_optimum": _optimum(found.force) | {"torque_n_m": found.force.value},
        "width_m": found.bench.rotor.vane_width.value,
        "gas": found.bench.gas.gas.name,
    }


def _optimum(place: Any) -> dict[str, Any]:
    return {"found": place.found, "pressure_pa": place.pressure_pa, "kn": place.knudsen}


def plain_list(values: Any) -> list[float | None]:
    """Return numbers to six digits for a page; None for values that are not finite."""
    numbers = np.asarray(values, dtype=float)
    return [float(f"{number:.6g}") if np.isfinite(number) else None for number in numbers]
