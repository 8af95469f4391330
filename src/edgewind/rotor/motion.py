"""The rotor in time: spin-up under the lamp, the way it runs out, and the faces warming and cooling meanwhile."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from edgewind.errors import InputError
from edgewind.rotor.drag import arm_drag, vane_drag
from edgewind.rotor.drives import DRIVES, Conditions
from edgewind.rotor.heat import face_heat, steady_faces
from edgewind.rotor.parameters import RotorParameters
from edgewind.rotor.response import GasResponse
from edgewind.rotor.steady import check_range

Array = NDArray[np.float64]


def coast_down_speed(time_s: Any, start_rad_s: Any, dry_over_inertia: Any, drag_over_inertia: Any) -> Array:
    """Speed of a rotor left to itself, rad/s: ``I dw/dt = -T_c sgn(w) - c w`` in closed form, zero once it has stopped.

    ``w = (w0 + T_c/c) exp(-c t/I) - T_c/c``, and ``w0 - T_c t/I`` without drag.

    Parameters
    ----------
    time_s : array
        Time from the start, s.
    start_rad_s : array
        Speed at the start; its sign is kept.
    dry_over_inertia, drag_over_inertia : array
        ``T_c/I``, rad/s^2, and ``c/I``, 1/s.

    Examples
    --------
    >>> [round(float(w), 3) for w in coast_down_speed([0.0, 1.0, 100.0], 2.0, 0.1, 0.5)]
    [2.0, 1.134, 0.0]
    """
    time, start = np.asarray(time_s, dtype=float), np.asarray(start_rad_s, dtype=float)
    rate = np.asarray(drag_over_inertia, dtype=float)
    lost = -np.expm1(-rate * time)
    spent = np.where(rate * time > 1e-12, lost / np.where(rate > 0, rate, 1.0), time)  # Int exp(-rate t) dt
    size = np.abs(start) * (1 - lost) - np.asarray(dry_over_inertia) * spent
    return np.asarray(np.sign(start) * np.maximum(size, 0.0))


def coast_down_angle(time_s: Any, start_rad_s: Any, dry_over_inertia: Any, drag_over_inertia: Any) -> Array:
    """Angle turned since the start, rad: the integral of :func:`coast_down_speed`, constant once it has stopped."""
    start = np.asarray(start_rad_s, dtype=float)
    rate = np.maximum(np.asarray(drag_over_inertia, dtype=float), 1e-12)
    dry = np.asarray(dry_over_inertia, dtype=float)
    time = np.minimum(np.asarray(time_s, dtype=float), stopping_time(start, dry, rate))
    spent = -np.expm1(-rate * time) / rate
    # t - spent loses digits for small rates: its series to the second term there.
    small = rate * time < 1e-4
    shortfall = np.where(small, rate * time**2 / 2 * (1 - rate * time / 3), time - spent)
    return np.asarray(np.sign(start) * (np.abs(start) * spent - dry * shortfall / rate))


def stopping_time(start_rad_s: Any, dry_over_inertia: Any, drag_over_inertia: Any) -> Array:
    """Time until the rotor stands still, s: ``(I/c) ln(1 + w0 c/T_c)``; infinite without dry friction."""
    start, dry = np.abs(np.asarray(start_rad_s, dtype=float)), np.asarray(dry_over_inertia, dtype=float)
    rate = np.maximum(np.asarray(drag_over_inertia, dtype=float), 1e-12)
    with np.errstate(divide="ignore"):
        return np.asarray(np.where(dry > 0, np.log1p(start * rate / np.where(dry > 0, dry, 1.0)) / rate, np.inf))


@dataclass(frozen=True)
class ThermalTimes:
    """Times in which the vane as a whole and the difference between its faces settle, s."""

    whole: Array
    difference: Array


def thermal_times(pressure_pa: Any, rotor: RotorParameters, response: GasResponse) -> ThermalTimes:
    """Return the two thermal times of a vane near its steady state, each face holding half of the heat capacity."""
    pressure = np.asarray(pressure_pa, dtype=float)
    gas = response.at(rotor.knudsen(pressure), rotor.accommodation)
    dark, bright = steady_faces(pressure, 0.0, gas, rotor)
    step = 1e-3
    slopes = np.empty((*np.shape(dark), 2, 2))
    for column, (up_dark, up_bright) in enumerate(((step, 0.0), (0.0, step))):
        for sign in (1, -1):
            flows = face_heat(dark + sign * up_dark, bright + sign * up_bright, pressure, 0.0, gas, rotor)
            for row in (0, 1):
                slopes[..., row, column] = flows.surplus[row] * sign / (2 * step) + (
                    0 if sign > 0 else slopes[..., row, column]
                )
    rates = np.sort(-np.linalg.eigvals(slopes).real / (np.asarray(rotor.heat_capacity_j_m2_k) / 2), axis=-1)
    return ThermalTimes(1 / rates[..., 0], 1 / rates[..., 1])


def run(
    pressure_pa: float,
    rotor: RotorParameters,
    response: GasResponse,
    time_s: Any,
    *,
    lamp: Callable[[float], bool] = lambda t: True,
    speed_rad_s: float = 0.0,
    faces_k: tuple[float, float] | None = None,
    envelope_k: Callable[[float], float] | None = None,
) -> pd.DataFrame:
    """Follow the rotor in time at one pressure.

    Parameters
    ----------
    pressure_pa : float
        Pressure, Pa.
    rotor, response
        The rotor (floats only) and the gas.
    time_s : array of shape (n,)
        Times wanted, ascending, s.
    lamp : callable
        Whether the lamp is on at a time; on throughout where absent.
    speed_rad_s : float
        Speed at the first time.
    faces_k : tuple of float, optional
        Temperatures of the dark and the bright face at the first time; those of the gas where absent.
    envelope_k : callable, optional
        Temperature of the envelope at a time, K.

    Returns
    -------
    DataFrame
        ``time_s, speed_rad_s, t_hot_k, t_cold_k`` (dark and bright face) ``, torque_n_m``.

    Notes
    -----
    Dry friction acts against the motion in full above a thousandth of the greatest speed asked about and in
    proportion below it, so that a rotor held by its pivot creeps instead of standing: it turns less than that
    thousandth.
    """
    wanted = np.asarray(time_s, dtype=float)
    if wanted.ndim != 1 or wanted.size < 2 or np.any(np.diff(wanted) <= 0):
        raise InputError("the times are not in ascending order", fix="give two or more ascending times")
    check_range(pressure_pa, rotor, response)
    kn = rotor.knudsen(pressure_pa)
    gas = response.at(kn, rotor.accommodation)
    drag = (
        float(vane_drag(pressure_pa, gas, rotor) + arm_drag(pressure_pa, response, rotor)) + rotor.pivot_viscous_n_m_s
    )
    dark_rotor = rotor.lamp_off()
    t0 = rotor.gas_temperature_k
    start_k = (t0, t0) if faces_k is None else faces_k
    scale = max(abs(speed_rad_s), _speed_scale(pressure_pa, rotor, response), 1e-9)
    creeping = 1e-3 * scale

    def now(t: float) -> RotorParameters:
        lit = rotor if lamp(t) else dark_rotor
        return lit if envelope_k is None else lit.with_(envelope_temperature_k=envelope_k(t))

    def torque(dark: Any, bright: Any, of: RotorParameters) -> float:
        at = Conditions(np.asarray(pressure_pa), kn, gas, np.asarray(dark), np.asarray(bright), of)
        return float(sum(drive(at) for drive in DRIVES.values()))

    def rates(t: float, state: Array) -> list[float]:
        of = now(t)
        dark, bright, speed = state[0], state[1], state[2] * scale
        flows = face_heat(dark, bright, pressure_pa, speed, gas, of)
        over_dark, over_bright = flows.surplus
        hold = rotor.pivot_dry_n_m * float(np.clip(speed / creeping, -1, 1))
        turning = torque(dark, bright, of) - hold - drag * speed
        half = rotor.heat_capacity_j_m2_k / 2
        return [float(over_dark) / half, float(over_bright) / half, turning / rotor.moment_of_inertia_kg_m2 / scale]

    # The longest step is one interval asked for, so that no switching of the lamp is stepped over.
    found = solve_ivp(
        rates, (wanted[0], wanted[-1]), [*start_k, speed_rad_s / scale], method="Radau", t_eval=wanted, rtol=1e-7,
        atol=1e-9, max_step=float(np.max(np.diff(wanted))),
    )  # fmt: skip
    if not found.success:
        raise InputError(
            f"the motion could not be followed ({found.message})", fix="ask for a shorter time or finer steps"
        )
    dark, bright, speed = found.y[0], found.y[1], found.y[2] * scale
    torques = [torque(d, b, now(t)) for t, d, b in zip(wanted, dark, bright, strict=True)]
    return pd.DataFrame(
        {"time_s": wanted, "speed_rad_s": speed, "t_hot_k": dark, "t_cold_k": bright, "torque_n_m": torques}
    )


def _speed_scale(pressure_pa: float, rotor: RotorParameters, response: GasResponse) -> float:
    from edgewind.rotor.steady import steady_state

    free = rotor.with_(pivot_dry_n_m=0.0, pivot_breakaway_n_m=0.0)
    return float(np.abs(steady_state(np.array([pressure_pa]), free, response).speed_rad_s[0]))
