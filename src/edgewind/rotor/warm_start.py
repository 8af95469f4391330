"""The rotor from rest with vanes of a given temperature: first direction, greatest speed and duration."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from edgewind.errors import InputError
from edgewind.formatting import RPM_PER_RAD_S, format_number
from edgewind.frozen_model import FrozenModel
from edgewind.rotor.motion import constant, run, thermal_times
from edgewind.rotor.parameters import RotorParameters
from edgewind.rotor.response import GasResponse
from edgewind.rotor.steady import steady_state
from edgewind.units import parse_quantity

Array = NDArray[np.float64]

# Temperatures of a vane at the start, K: readings have the same bounds.
HIGHEST_VANE_K = 1500.0
# The simulated time, in time constants of heat and of drag, within these bounds in seconds; and its steps.
_TIMES, _SHORTEST_S, _LONGEST_S, _POINTS = 12.0, 30.0, 14_400.0, 600
_TOLERANCE = 1e-6
# It has settled when it stays within this share of its greatest distance from its last speed.
_SETTLED = 0.05
# Least speed that counts as rotation, rad/s.
_STILL_RAD_S = 1e-6
_ZERO_C_K = 273.15


class WarmStart(FrozenModel):
    """Motion of the rotor from rest, both faces of its vanes at one temperature."""

    pressure_pa: float = Field(description="Pressure, Pa.")
    vane_k: float = Field(description="Temperature of both faces at the start, K.")
    envelope_k: float = Field(description="Temperature of the envelope and of the gas at rest, K.")
    first: Literal["bright", "dark", "none"] = Field(
        description="Face that leads when it first turns; none where it stays at rest."
    )
    first_greatest_rad_s: float = Field(
        description="Greatest speed in that direction, rad/s, positive when the bright face leads."
    )
    first_greatest_s: float = Field(description="Time of that greatest speed, s from the start.")
    passes_zero_s: tuple[float, ...] = Field(description="Time at which the speed passes zero, s from the start.")
    last_rad_s: float = Field(description="Speed at the end of the simulated time, rad/s.")
    settled_s: float | None = Field(
        description="From when on it is within a twentieth of its greatest distance from that last speed, s; null "
        "where it still changes at the end of the time followed."
    )
    followed_s: float = Field(description="Simulated time, s.")
    time_s: tuple[float, ...] = Field(description="Times from the start, s.")
    speed_rad_s: tuple[float, ...] = Field(description="Speed at these times, rad/s.")

    @property
    def sentence(self) -> str:
        """The motion in words."""
        vane, envelope = (f"{kelvin - _ZERO_C_K:.4g} degC" for kelvin in (self.vane_k, self.envelope_k))
        start = f"at {format_number(self.pressure_pa, 3)} Pa, from rest with vanes of {vane}, envelope {envelope}"
        if self.first == "none":
            return f"{start}: it stays at rest"
        size = format_number(RPM_PER_RAD_S * self.first_greatest_rad_s, 3)
        parts = [f"{start}: the {self.first} face leads first, {size} rpm after {_seconds(self.first_greatest_s)}"]
        parts += [f"it passes zero after {_seconds(time)}" for time in self.passes_zero_s]
        last = format_number(RPM_PER_RAD_S * self.last_rad_s, 3) if abs(self.last_rad_s) > _STILL_RAD_S else "0"
        if self.settled_s is None:
            parts.append(f"after {_seconds(self.followed_s)} it still changes, {last} rpm")
        else:
            parts.append(f"settled after {_seconds(self.settled_s)}, {last} rpm")
        return "; ".join(parts)


def _seconds(seconds: float) -> str:
    return f"{format_number(seconds, 3)} s"


def parse_vane_temperature(text: str) -> float:
    """Read the temperature of a vane at the start, K.

    Raises
    ------
    InputError
        It is not a temperature, or outside the range of a vane.

    Examples
    --------
    >>> parse_vane_temperature("22 degC")
    295.15
    """
    try:
        kelvin = float(parse_quantity(text, "temperature"))
    except InputError as error:
        raise InputError(
            f"'{text[:40]}' is not a temperature of the vanes: {error.problem}", fix="write '22 degC'"
        ) from error
    if not 0 < kelvin <= HIGHEST_VANE_K:
        raise InputError(
            f"the temperature of the vanes must be above 0 K and up to {HIGHEST_VANE_K:g} K, not '{text[:40]}'",
            fix="write a temperature such as '22 degC'",
        )
    return round(kelvin, 9)


def warm_start(rotor: RotorParameters, response: GasResponse, pressure_pa: float, vane_k: float) -> WarmStart:
    """Follow the rotor from rest with vanes of one temperature, at one pressure.

    Lamp, envelope and gas are constant from the first moment on; with `rotor.lamp_off()` it is in the dark.

    Parameters
    ----------
    rotor, response
        The rotor and the gas.
    pressure_pa : float
        Pressure, Pa.
    vane_k : float
        Temperature of both faces at the start, K.

    Raises
    ------
    InputError
        The pressure is outside the response of the gas.
    """
    heat_s = float(np.max(thermal_times(np.array([pressure_pa]), rotor, response).whole))
    drag = float(np.max(steady_state(np.array([pressure_pa]), rotor, response).drag))
    drag_s = float(rotor.moment_of_inertia_kg_m2) / drag if drag > 0 else 0.0
    end = float(np.clip(_TIMES * (heat_s + drag_s), _SHORTEST_S, _LONGEST_S))
    times = np.concatenate([[0.0], np.geomspace(1e-4, 1.0, _POINTS // 3)[:-1] * end / 10, np.linspace(
        end / 10, end, _POINTS)])  # fmt: skip
    around = constant(pressure_pa, float(rotor.envelope_temperature_k))
    moved = run(around, rotor, response, times, faces_k=(vane_k, vane_k), tolerance=_TOLERANCE)
    return _summary(times, moved["speed_rad_s"].to_numpy(float), pressure_pa, vane_k, around.envelope_k[0])


def _summary(times: Array, speed: Array, pressure_pa: float, vane_k: float, envelope_k: float) -> WarmStart:
    turning = np.flatnonzero(np.abs(speed) > _STILL_RAD_S)
    signs = np.sign(speed[turning])
    changes = np.flatnonzero(np.diff(signs)) if turning.size else turning
    zeros = [
        float(np.interp(0.0, *_ascending(speed[[before, after]], times[[before, after]])))
        for before, after in ((turning[k], turning[k + 1]) for k in changes)
    ]
    first = slice(0, turning[changes[0]] + 1 if changes.size else None)
    most = int(np.argmax(np.abs(speed[first]))) if turning.size else 0
    away = np.abs(speed - speed[-1])
    late = np.flatnonzero(away > _SETTLED * away.max()) if away.max() > _STILL_RAD_S else np.array([], int)
    drifts = abs(speed[-1] - speed[-1 - times.size // 10]) > _SETTLED * away.max() > _SETTLED * _STILL_RAD_S
    settled = None if drifts else float(times[late[-1] + 1]) if late.size else 0.0
    return WarmStart(
        pressure_pa=pressure_pa, vane_k=vane_k, envelope_k=float(envelope_k),
        first="none" if not turning.size else "bright" if signs[0] > 0 else "dark",
        first_greatest_rad_s=float(speed[most]), first_greatest_s=float(times[most]), passes_zero_s=tuple(zeros),
        last_rad_s=float(speed[-1]), settled_s=settled, followed_s=float(times[-1]),
        time_s=tuple(times.tolist()), speed_rad_s=tuple(speed.tolist()),
    )  # fmt: skip


def _ascending(speed: Array, times: Array) -> tuple[Array, Array]:
    order = np.argsort(speed)
    return speed[order], times[order]
