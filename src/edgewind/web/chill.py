"""The rotor in the dark under a chilled or warmed envelope: direction, speed and duration of its rotation."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from edgewind.bench import Bench
from edgewind.errors import InputError
from edgewind.evidence import RotorDraws
from edgewind.rotor import Surroundings, reach, run
from edgewind.units import parse_measured
from edgewind.web.whatif import check_changes, fastest, moved_rotor, plain_list

# Possible temperatures of an envelope, from dry ice to a hair dryer; default: a freezer. Common practice, no source.
COLD_C = (-78, 60)
CHILLED_C = -20
_ICE_K = 273.15
_TOLERANCE = 1e-5


def chilled(
    rotor: Bench | RotorDraws, changes: Mapping[str, str], envelope: str = "", pressure: str = ""
) -> dict[str, Any]:
    """Return the motion of the rotor in the dark after an immediate change of its envelope's temperature.

    It starts at rest, lamp off, vanes and gas at the earlier temperature of the envelope; from the first moment the
    envelope and the gas have the new one. Vanes that cool more slowly than the gas reverse the rotor meanwhile.

    Parameters
    ----------
    rotor, changes
        As for :func:`what_if`.
    envelope : str
        New temperature of the envelope; default: `CHILLED_C`.
    pressure : str
        Pressure; default: that of the greatest speed, or else the middle of those within reach.

    Returns
    -------
    dict
        ``time_s``, ``speed_rad_s``, ``pressure_pa``, ``from_k``, ``to_k``, ``most_rad_s`` (speed of the greatest size,
        with its sign), ``most_at_s``, ``still_s`` (time after which it stays below a twentieth of that; null if not
        within the time shown).

    Raises
    ------
    InputError
        As for :func:`what_if`, or an impossible temperature or pressure.
    """
    check_changes(changes)
    bench, of, table = moved_rotor(rotor, changes)
    within = reach(bench)
    to_k = _within("envelope", envelope or f"{CHILLED_C} degC", "temperature", COLD_C[0] + _ICE_K, COLD_C[1] + _ICE_K)
    if pressure:
        at_pa = _within("pressure", pressure, "pressure", float(within[0]), float(within[-1]))
    else:
        usual = fastest(rotor, changes)
        at_pa = float(np.sqrt(within[0] * within[-1])) if usual is None else usual[1]
    from_k = float(of.envelope_temperature_k)
    times = np.concatenate([np.linspace(0.0, 60.0, 61), np.linspace(65.0, 900.0, 168)])
    around = Surroundings(*(np.array([value]) for value in (0.0, at_pa, to_k, 0.0)))
    moved = run(around, of, table, times, faces_k=(from_k, from_k), tolerance=_TOLERANCE)
    speed = moved["speed_rad_s"].to_numpy(float)
    most = int(np.argmax(np.abs(speed)))
    late = np.flatnonzero(np.abs(speed) > 0.05 * abs(speed[most]))
    ended = bool(late.size) and late[-1] + 1 < times.size
    return {
        "time_s": plain_list(times), "speed_rad_s": plain_list(speed), "pressure_pa": at_pa,
        "from_k": from_k, "to_k": to_k,
        "most_rad_s": float(speed[most]), "most_at_s": float(times[most]),
        "still_s": float(times[late[-1] + 1]) if ended else None,
    }  # fmt: skip


def _within(name: str, text: str, kind: str, low: float, high: float) -> float:
    value = parse_measured(text, kind).value
    if not low <= value <= high:
        unit = "K" if kind == "temperature" else "Pa"
        raise InputError(
            f"the {name} cannot be {value:.4g} {unit} here", key=name, fix=f"choose {low:.4g} to {high:.4g} {unit}"
        )
    return value
