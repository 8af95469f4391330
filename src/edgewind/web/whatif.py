"""What if: the same prediction as `edgewind predict --set`, over the pressures that the response of the gas reaches."""

from __future__ import annotations

import time
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

import numpy as np

from edgewind.bench import Bench
from edgewind.errors import InputError
from edgewind.evidence import RotorDraws, draws_of
from edgewind.evidence import what_if as moved_optima
from edgewind.rotor import (
    Prediction,
    changed_bench,
    parameters_of,
    predict_whole,
    response_of,
)
from edgewind.rotor.drives import NAMES

POINTS = 81
DECADES = 3.5
# Keys of `bench.toml` that a slider may set, with the unit of its numbers.
SLIDERS: dict[str, str] = {
    "rotor.vane_width": "mm",
    "light.irradiance": "W/m^2",
    "rotor.pivot_dry_torque": "N m",
    "rotor.pivot_viscous": "N m s",
}
# What a fit finds in place of the value that the bench states, until a slider states it anew.
PIVOT = {"rotor.pivot_dry_torque": "pivot_dry_n_m", "rotor.pivot_viscous": "pivot_viscous_n_m_s"}
GASES = ("air", "N2", "He", "Ne", "Ar", "H2", "CO2")


def what_if(rotor: Bench | RotorDraws, changes: Mapping[str, str]) -> dict[str, Any]:
    """Return the prediction with some values of the bench changed, as plain arrays.

    Parameters
    ----------
    rotor : Bench or RotorDraws
        The rotor as its bench describes it, or draws of a fit, whose medians are then taken.
    changes : mapping of str to str
        Keys of `SLIDERS` and ``gas.species``, with values as in `bench.toml`.

    Raises
    ------
    InputError
        A key that no slider sets, or a bench that cannot be.
    """
    check_changes(changes)
    start = time.perf_counter()
    bench = rotor.bench if isinstance(rotor, RotorDraws) else rotor
    best = rotor.moved(changes).best if isinstance(rotor, RotorDraws) else None
    found = predict_whole(bench, reach(changed_bench(bench, changes)), changes=changes, parameters=best)
    pivot = {key: best[field] for key, field in PIVOT.items()} if best else {}
    return _plain(found) | {"pivot": pivot, "seconds": time.perf_counter() - start}


def interval_of(rotor: Bench | RotorDraws, changes: Mapping[str, str]) -> dict[str, Any]:
    """Return how both optima move with a change, with intervals: what `edgewind predict --set`, or `--fit`, gives.

    Parameters
    ----------
    rotor : Bench or RotorDraws
        The rotor as its bench describes it, whose priors are then drawn from, or draws of a fit.
    changes : mapping of str to str
        As for :func:`what_if`.

    Returns
    -------
    dict
        :meth:`edgewind.evidence.WhatIf.as_plain` without bands, and ``between_pa``, the pressures that maxima were
        sought between: the ends of the drawing, which holds the curves before and after.

    Raises
    ------
    InputError
        As for :func:`what_if`.
    """
    check_changes(changes)
    draws = rotor if isinstance(rotor, RotorDraws) else _priors(rotor)
    before, after = (reach(bench) for bench in (draws.bench, changed_bench(draws.bench, changes)))
    ends = [float(min(before[0], after[0])), float(max(before[-1], after[-1]))]
    found = moved_optima(draws, changes, ends, level=draws.bench.study.level).as_plain()
    return {key: value for key, value in found.items() if key != "bands"} | {"between_pa": ends}


@lru_cache(maxsize=8)
def _priors(bench: Bench) -> RotorDraws:
    return draws_of(bench)


def check_changes(changes: Mapping[str, str]) -> None:
    """See that sliders set what is changed.

    Raises
    ------
    InputError
        Names what no slider sets.
    """
    unknown = [key for key in changes if key not in SLIDERS and key != "gas.species"]
    if unknown:
        raise InputError(f"'{unknown[0][:60]}' is not among the sliders", fix=", ".join((*SLIDERS, "gas.species")))


def reach(bench: Bench) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Return pressures from the highest that the response of the gas reaches down by some decades, Pa."""
    rotor = parameters_of(bench)
    top = float(np.max(rotor.knudsen(1.0))) / response_of(rotor).least_knudsen / 1.01
    return np.geomspace(top / 10**DECADES, top, POINTS)


def sliders_of(bench: Bench) -> list[dict[str, Any]]:
    """Return the sliders of a bench: their ends and where they stand, in the unit of each."""
    rotor, light = bench.rotor, bench.light
    parameters = parameters_of(bench)
    vanes = float(np.max(predict_whole(bench, reach(bench)).table["drag_vanes_n_m_s"]))
    width, irradiance = 1e3 * rotor.vane_width.value, light.irradiance.value
    room = 1e3 * (bench.chamber.width.value - 2 * rotor.arm.value)
    dry, viscous = float(np.max(parameters.pivot_dry_n_m)), float(np.max(parameters.pivot_viscous_n_m_s))
    torque = float(np.max(np.abs(predict_whole(bench, reach(bench)).table["torque_n_m"])))
    return [
        _slider("rotor.vane_width", "Width of a vane", "mm", width, 0.4 * width, min(2.5 * width, 0.98 * room)),
        _slider("light.irradiance", "Light on a vane", "W/m²", irradiance, 0.1 * irradiance, 4 * irradiance),
        _slider("rotor.pivot_dry_torque", "Pivot, dry friction", "N m", dry, 1e-3 * torque, torque, zero=True),
        _slider("rotor.pivot_viscous", "Pivot, viscous friction", "N m s", viscous, 1e-3 * vanes, vanes, zero=True),
    ]


def _slider(
    key: str, label: str, unit: str, value: float, low: float, high: float, *, zero: bool = False
) -> dict[str, Any]:
    """A slider that moves in equal factors; where it may be zero, its left end is zero."""
    ends = {"low": min(low, value) if value > 0 else low, "high": max(high, value)}
    return {"key": key, "label": label, "unit": unit, "value": value, "zero": zero} | ends


def _plain(found: Prediction) -> dict[str, Any]:
    table = found.table
    drives = {key: _list(table[f"torque_{key}_n_m"]) for key in NAMES if np.any(table[f"torque_{key}_n_m"] != 0)}
    speed = table["speed_rad_s"].to_numpy(float)
    return {
        "pressure_pa": _list(table["pressure_pa"]),
        "kn": _list(table["knudsen"]),
        "speed_rad_s": _list(speed),
        "torque_n_m": _list(table["torque_n_m"]),
        "area_n_m": _list(table["torque_area_n_m"]),
        "edge_n_m": _list(table["torque_edge_n_m"]),
        "drag_n_m_s": _list(table["drag_n_m_s"]),
        "drives": drives,
        "names": {key: NAMES[key] for key in drives},
        "optimum": _optimum(found.speed) | {"speed_rad_s": found.speed.value},
        "force_optimum": _optimum(found.force) | {"torque_n_m": found.force.value},
        "width_m": found.bench.rotor.vane_width.value,
        "gas": found.bench.gas.gas.name,
    }


def _optimum(place: Any) -> dict[str, Any]:
    return {"found": place.found, "pressure_pa": place.pressure_pa, "kn": place.knudsen}


def _list(values: Any) -> list[float | None]:
    numbers = np.asarray(values, dtype=float)
    return [float(f"{number:.6g}") if np.isfinite(number) else None for number in numbers]
