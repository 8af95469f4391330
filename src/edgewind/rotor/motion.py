"""The rotor in time: spin-up, coast-down, standstill, reversal, with the temperatures of the faces."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.constants import Stefan_Boltzmann
from scipy.integrate import solve_ivp
from scipy.interpolate import CubicSpline

from edgewind.errors import InputError
from edgewind.rotor.drag import arm_drag, vane_drag
from edgewind.rotor.drives import DRIVES, Conditions, infrared_recoil
from edgewind.rotor.film import film_gas
from edgewind.rotor.heat import face_heat
from edgewind.rotor.parameters import RotorParameters
from edgewind.rotor.response import GasResponse
from edgewind.rotor.steady import check_pressures, steady_state

Array = NDArray[np.float64]


def coast_down_speed(time_s: Any, start_rad_s: Any, dry_over_inertia: Any, drag_over_inertia: Any) -> Array:
    """Return the speed of a coasting rotor, rad/s: ``I dw/dt = -T_c sgn(w) - c w`` in closed form, zero once stopped.

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
    """Return the angle turned since the start, rad: the integral of :func:`coast_down_speed`, constant once stopped."""
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
    """Return the time until the rotor stands still, s: ``(I/c) ln(1 + w0 c/T_c)``; infinite without dry friction."""
    start, dry = np.abs(np.asarray(start_rad_s, dtype=float)), np.asarray(dry_over_inertia, dtype=float)
    rate = np.maximum(np.asarray(drag_over_inertia, dtype=float), 1e-12)
    with np.errstate(divide="ignore"):
        return np.asarray(np.where(dry > 0, np.log1p(start * rate / np.where(dry > 0, dry, 1.0)) / rate, np.inf))


@dataclass(frozen=True)
class ThermalTimes:
    """Time constants of the mean temperature of the vane and of the difference between its faces, s."""

    whole: Array
    difference: Array


def thermal_times(pressure_pa: Any, rotor: RotorParameters, response: GasResponse) -> ThermalTimes:
    """Return the two thermal times of a vane near its steady state, each face holding half of the heat capacity."""
    pressure = np.asarray(pressure_pa, dtype=float)
    state = steady_state(pressure, rotor.with_(pivot_breakaway_n_m=np.inf), response)
    gas, dark, bright = state.at.gas, state.at.dark_k, state.at.bright_k
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


@dataclass(frozen=True)
class Surroundings:
    """Surroundings of the rotor in time; arrays of one shape.

    Pressure and envelope change evenly from moment to moment; the lamp keeps its share until the next. The gas at rest
    has the temperature of the envelope.

    Attributes
    ----------
    time_s : array
        Moments, ascending, s.
    pressure_pa : array
        Pressure, Pa.
    envelope_k : array
        Temperature of the envelope and of the gas at rest, K.
    lamp_share : array
        Irradiance over that of the rotor's bench.
    """

    time_s: Array
    pressure_pa: Array
    envelope_k: Array
    lamp_share: Array

    def __post_init__(self) -> None:
        sizes = {np.shape(getattr(self, name)) for name in ("time_s", "pressure_pa", "envelope_k", "lamp_share")}
        if len(sizes) != 1 or len(next(iter(sizes))) != 1 or not self.time_s.size:
            raise InputError(
                "the arrays of the surroundings must be equally long", fix="give one value of each for every time"
            )
        if np.any(np.diff(self.time_s) <= 0):
            raise InputError("the times of the surroundings must ascend", fix="sort them, and give each time once")


def constant(pressure_pa: float, envelope_k: float, lamp_share: float = 1.0) -> Surroundings:
    """Return surroundings that do not change."""
    values = (0.0, pressure_pa, envelope_k, lamp_share)
    return Surroundings(*(np.array([float(value)]) for value in values))


def run(
    surroundings: Surroundings | float,
    rotor: RotorParameters,
    response: GasResponse,
    time_s: Any,
    *,
    speed_rad_s: float = 0.0,
    faces_k: tuple[float, float] | None = None,
    drives: tuple[str, ...] | None = None,
    outside_n_m: float = 0.0,
    strength: float = 1.0,
    tolerance: float = 1e-7,
) -> pd.DataFrame:
    """Follow the rotor in time.

    Parameters
    ----------
    surroundings : Surroundings or float
        Pressure, envelope and lamp in time; a number is a constant pressure, Pa, with the lamp on.
    rotor, response
        The rotor (floats only) and the gas.
    time_s : array of shape (n,)
        Times of the result, ascending, s.
    speed_rad_s : float
        Speed at the first time.
    faces_k : tuple of float, optional
        Temperatures of the dark and the bright face at the first time; default: that of the gas.
    drives : tuple of str, optional
        Keys of the drives that act; default: all.
    outside_n_m : float
        Constant torque from outside, N m, such as that of a draught.
    strength : float
        Factor on the torque of all drives.
    tolerance : float
        Relative tolerance of a step.

    Returns
    -------
    DataFrame
        ``time_s, t_hot_k, t_cold_k`` (dark and bright face) ``, speed_rad_s, torque_n_m, standing``: the torque is that
        of all drives, without pivot and drag; `standing` is whether the pivot holds the rotor.

    Notes
    -----
    ``I dw/dt = T - T_dry sgn(w) - c w`` and ``(C/2) dT/dt`` = surplus of heat, for each face. LSODA of SciPy, which
    changes to a stiff method if necessary, integrates from event to event: a switch of the lamp, standstill, and
    break-away, where the torque on a standing rotor passes that of the pivot.
    """
    wanted = np.asarray(time_s, dtype=float)
    if wanted.ndim != 1 or wanted.size < 2 or np.any(np.diff(wanted) <= 0):
        raise InputError("the times must ascend, and be two or more", fix="sort them, and give each time once")
    if not isinstance(surroundings, Surroundings):
        surroundings = constant(float(surroundings), float(rotor.envelope_temperature_k))
    motion = _Motion(surroundings, rotor, response, drives, outside_n_m, strength, tolerance)
    start_k = (motion.envelope_at(wanted[0]),) * 2 if faces_k is None else faces_k
    found, standing = np.empty((5, wanted.size)), np.zeros(wanted.size, dtype=bool)
    found[0] = wanted
    dark, bright = (float(face) for face in start_k)
    start = np.array([(dark + bright) / 2 - motion.base_k, dark - bright, float(speed_rad_s)])
    for inside, part, held in motion.parts(wanted, start):
        found[1:, inside], standing[inside] = part, held
    table = pd.DataFrame(found.T, columns=["time_s", "t_hot_k", "t_cold_k", "speed_rad_s", "torque_n_m"], copy=False)
    table["standing"] = standing
    return table


# Least warmth of the vane, K, over which the change of the coefficients with it is taken.
_LEAST_SPAN_K = 10.0
# Finest even steps of the table of coefficients: of the temperature of the gas, K, and of ln(pressure).
_STEP_K, _STEP_LOG = 0.5, 0.02
_MOST_PHASES = 10_000
# Coefficients of a moment besides the envelope, and so the distance from each to its gain with the vane's warmth.
_GAIN = 12
# A log of more moments than this is assumed smooth between switches of the lamp.
_COARSE = 16
# Excess over the pivot torque at break-away, so that a rotor that broke away does not stick at once.
_PASSED = 1 + 1e-4
# The rotor has come to rest when it turns the other way by this share of its first speed or of 1e-3 rad/s.
_AT_REST = 1e-9
# Sizes of the state for absolute tolerances: mean and difference of the faces, K, and the speed in its own unit.
_SIZES = np.array([100.0, 10.0, 1.0])


class _Motion:
    """The equations of motion, with everything that does not depend on the state computed once for each moment.

    At one mean temperature of the vane the gas responds linearly, so its heat flows and torques are linear in the two
    temperatures and the speed at a moment: the coefficients come from :func:`face_heat` and the drives themselves at
    base points. They change by some per cent with the mean temperature (the film): they are computed for a vane as cold
    as the gas and for the warmest vane, and interpolated linearly (error 0.05 % of the speed after a chill of 42 K).
    """

    def __init__(
        self, around: Surroundings, rotor: RotorParameters, response: GasResponse, drives: tuple[str, ...] | None,
        outside_n_m: float, strength: float, tolerance: float,
    ) -> None:  # fmt: skip
        self.around, self.rotor, self.tolerance = around, rotor, tolerance
        self.acting = tuple(DRIVES if drives is None else drives)
        self.time = _refined(around)
        pressure = np.interp(self.time, around.time_s, around.pressure_pa)
        envelope = np.interp(self.time, around.time_s, around.envelope_k)
        at = rotor.in_surroundings(envelope)
        check_pressures(pressure, at, response)
        self.table = self._coefficients(pressure, 0.0, at, response)
        shone_on = at.with_(
            irradiance_w_m2=rotor.irradiance_w_m2 * float(np.max(around.lamp_share)), pivot_breakaway_n_m=np.inf
        )
        faces = steady_state(pressure, shone_on, response).at
        above = float(np.max((faces.dark_k + faces.bright_k) / 2 - envelope))
        span = max(above, float(np.ptp(envelope)), _LEAST_SPAN_K)
        warm = self._coefficients(pressure, span, at, response)
        for table in (self.table, warm):
            table[:, 2:5] *= strength
        warm = (warm - self.table) / span
        self.table[:, 2] += outside_n_m
        # Beside each coefficient, its change for each kelvin of the vane above the gas.
        self.table = np.concatenate([self.table, warm[:, 1:]], axis=1)
        steps = np.diff(self.time)
        self.slopes = np.diff(self.table, axis=0) / steps[:, None] if steps.size else np.zeros((0, self.table.shape[1]))
        self.places = self.time.tolist()
        # The state is the mean of the faces above this temperature, their difference, and the speed: the drive of the
        # rotor is a difference of some millikelvins, below the tolerance of absolute temperatures.
        self.base_k = float(self.table[0, 0])
        self.half = float(rotor.heat_capacity_j_m2_k) / 2
        self.inertia = float(rotor.moment_of_inertia_kg_m2)
        self.dry = float(rotor.pivot_dry_n_m)
        self.breakaway = max(float(rotor.pivot_breakaway_n_m), self.dry)
        self.black = [Stefan_Boltzmann * float(e) for e in (rotor.dark_emissivity, rotor.bright_emissivity)]
        self.through = float(rotor.vane_conductance_w_m2_k)
        light = float(rotor.irradiance_w_m2 * rotor.turn_mean_irradiance)
        self.absorbed = [light * float(a) for a in (rotor.dark_absorptance, rotor.bright_absorptance)]
        lever = float(rotor.vanes * rotor.arm_m * rotor.vane_area_m2)
        self.recoil = lever * infrared_recoil.radiation_recoil(1.0) * (infrared_recoil.KEY in self.acting)
        dark = Conditions(np.array(1.0), np.array(1.0), None, np.array(0.0), np.array(0.0), rotor)  # type: ignore[arg-type]
        lit = DRIVES["light_pressure"](dark) if "light_pressure" in self.acting else 0.0
        self.push = strength * float(lit)
        self.recoil *= strength

    def _coefficients(self, pressure: Array, warmer_k: float, at: RotorParameters, response: GasResponse) -> Array:
        """Return the table for vanes warmer than the gas, one row a moment.

        Its columns: envelope, drag, torque by face, heat to the gas of each face by state.
        """
        kn = at.knudsen(pressure)
        t0 = np.broadcast_to(np.asarray(at.gas_temperature_k, dtype=float), pressure.shape)
        gas = film_gas(pressure, t0 + warmer_k, at, response)
        drag = vane_drag(pressure, gas, at) + arm_drag(pressure, response, at) + at.pivot_viscous_n_m_s
        linear = [DRIVES[key] for key in self.acting if key not in (infrared_recoil.KEY, "light_pressure")]

        def torque(dark: Array, bright: Array) -> Array:
            here = Conditions(pressure, kn, gas, dark, bright, at)
            return np.asarray(sum((drive(here) for drive in linear), np.zeros_like(pressure)))

        def heat(dark: Array, bright: Array, speed: float) -> tuple[Array, Array]:
            flows = face_heat(dark, bright, pressure, speed, gas, at)
            return flows.to_gas_dark, flows.to_gas_bright

        still = torque(t0, t0)
        by_dark, by_bright = torque(t0 + 1, t0) - still, torque(t0, t0 + 1) - still
        base = heat(t0, t0, 0.0)
        columns = [
            t0, np.broadcast_to(drag, pressure.shape), still - (by_dark + by_bright) * t0, by_dark, by_bright,
        ]  # fmt: skip
        for face in (0, 1):
            slopes = [
                point[face] - base[face] for point in (heat(t0 + 1, t0, 0.0), heat(t0, t0 + 1, 0.0), heat(t0, t0, 1.0))
            ]
            columns += [base[face] - (slopes[0] + slopes[1]) * t0, *slopes]
        return np.stack(columns, axis=1)

    def envelope_at(self, time: float) -> float:
        return float(np.interp(time, self.time, self.table[:, 0]))

    def _at(self, time: float) -> list[float]:
        last = len(self.places) - 1
        if last == 0 or time <= self.places[0]:
            return list(self.table[0].tolist())
        k = bisect_right(self.places, time) - 1
        if k >= last:
            return list(self.table[last].tolist())
        return list((self.table[k] + (time - self.places[k]) * self.slopes[k]).tolist())

    @staticmethod
    def _warm(row: list[float], mean_k: float) -> list[float]:
        """Return the coefficients of a moment for vanes of a mean temperature, K."""
        warmth = mean_k - row[0]
        return [row[0], *(row[k] + warmth * row[k + _GAIN] for k in range(1, _GAIN + 1))]

    def parts(self, wanted: Array, state: Array) -> Iterator[tuple[slice, Array, bool]]:
        """Yield the requested times of each phase, with faces, speed and torque, and whether the pivot holds."""
        ends = [*self._switches(wanted[0], wanted[-1]), float(wanted[-1])]
        now = float(wanted[0])
        frictionless = self.breakaway == 0
        scale = np.array([1.0, 1.0, max(abs(float(state[2])), 1e-3)])
        broke_away = False
        for _ in range(_MOST_PHASES):
            end = next((end for end in ends if end > now), ends[-1])
            share = self._lamp(now)
            sense = float(np.sign(state[2]))
            if not sense and not frictionless:
                torque = self._torque(now, state, share)
                moves = broke_away or abs(torque) > _PASSED * self.breakaway
                sense = float(np.sign(torque)) if moves else 0.0
            standing = not sense and not frictionless
            found = self._phase(now, end, state, share, sense, standing, frictionless, scale)
            reached, last = float(found.t[-1]), end >= ends[-1] and found.status == 0
            first, stop = (
                np.searchsorted(wanted, now),
                np.searchsorted(wanted, reached, side="right" if last else "left"),
            )
            if stop > first:
                yield slice(first, stop), self._between(wanted[first:stop], found, scale, share), standing
            state = found.y[:, -1] * scale
            if found.status == 1 and not standing:
                state[2] = 0.0
            if last:
                return
            now, broke_away = reached, found.status == 1 and standing
        raise InputError(
            f"the rotor stops and starts more than {_MOST_PHASES} times",
            fix="choose a shorter time, or check the keys of the pivot in bench.toml",
        )

    def _between(self, wanted: Array, found: Any, scale: Array, share: float) -> Array:
        """Return the states and the torque at the requested times of a phase.

        The solver's own interpolation costs most of the time for a million moments: a cubic spline through four points
        of each of its steps then replaces it.
        """
        steps = found.t[:-1, None] + np.diff(found.t)[:, None] * np.arange(4) / 4
        nodes = np.append(steps.ravel(), found.t[-1])
        few = wanted.size <= nodes.size
        at = wanted if few else nodes
        above, apart, speed = found.sol(at) * scale[:, None]
        dark, bright = self.base_k + above + apart / 2, self.base_k + above - apart / 2
        te = np.interp(at, self.time, self.table[:, 0])
        warmth = self.base_k + above - te
        still, by_dark, by_bright = (
            np.interp(at, self.time, self.table[:, k]) + warmth * np.interp(at, self.time, self.table[:, k + _GAIN])
            for k in (2, 3, 4)
        )
        radiated = self.black[0] * (dark**4 - te**4) - self.black[1] * (bright**4 - te**4)
        torque = still + by_dark * dark + by_bright * bright + self.push * share + self.recoil * radiated
        values = np.stack([dark, bright, speed, torque])
        return values if few else np.asarray(CubicSpline(nodes, values, axis=1)(wanted))

    def _phase(
        self, now: float, end: float, state: Array, share: float, sense: float, standing: bool, frictionless: bool,
        scale: Array,
    ) -> Any:  # fmt: skip
        """Integrate until the end, or until the rotor comes to rest or breaks away."""
        rates = self._rates(share, sense * self.dry, standing, scale)
        events: list[Callable[[float, Array], float]] | None = None
        if standing:

            def breaks_away(t: float, y: Array) -> float:
                return abs(self._torque(t, y * scale, share)) / self.breakaway - _PASSED

            breaks_away.terminal, breaks_away.direction = True, 1.0  # type: ignore[attr-defined]
            events = [breaks_away]
        elif not frictionless:

            def at_rest(t: float, y: Array) -> float:
                return float(y[2]) + sense * _AT_REST

            at_rest.terminal, at_rest.direction = True, -sense  # type: ignore[attr-defined]
            events = [at_rest]
        settings: dict[str, Any] = {
            "events": events, "rtol": self.tolerance, "atol": self.tolerance * _SIZES, "dense_output": True,
            "max_step": max((end - now) / 20, 1e-9),
        }  # fmt: skip
        try:
            found = solve_ivp(rates, (now, end), state / scale, method="LSODA", **settings)
        except ValueError:
            # The interpolation of LSODA may miss its own steps by the tolerance, and an event then has no root in it.
            found = solve_ivp(rates, (now, end), state / scale, method="Radau", **settings)
        if found.status < 0:
            raise InputError(
                f"the motion cannot be computed ({found.message})", fix="choose a shorter time, or finer steps"
            )
        return found

    def _rates(self, share: float, hold: float, standing: bool, scale: Array) -> Callable[[float, Array], list[float]]:
        in_dark, in_bright = (share * absorbed for absorbed in self.absorbed)
        black_dark, black_bright = self.black
        through, half, inertia, unit = self.through, self.half, self.inertia, float(scale[2])
        base, warm = self.base_k, self._warm
        push, recoil, fixed = self.push * share, self.recoil, self._at(0.0) if len(self.places) == 1 else None

        def rates(t: float, y: Array) -> list[float]:
            above, apart, speed = y.tolist()
            speed *= unit
            dark, bright = base + above + apart / 2, base + above - apart / 2
            row = warm(fixed or self._at(t), base + above)
            te, drag, still, by_dark, by_bright, d0, dd, db, dw, b0, bd, bb, bw = row
            cold = te**4
            lost_dark, lost_bright = black_dark * (dark**4 - cold), black_bright * (bright**4 - cold)
            passed = through * (dark - bright)
            over_dark = in_dark - lost_dark - (d0 + dd * dark + db * bright + dw * speed) - passed
            over_bright = in_bright - lost_bright - (b0 + bd * dark + bb * bright + bw * speed) + passed
            turning = 0.0
            if not standing:
                torque = still + by_dark * dark + by_bright * bright + push + recoil * (lost_dark - lost_bright)
                turning = (torque - hold - drag * speed) / inertia / unit
            return [(over_dark + over_bright) / (2 * half), (over_dark - over_bright) / half, turning]

        return rates

    def _torque(self, time: float, state: Array, share: float) -> float:
        above, apart = float(state[0]), float(state[1])
        te, _, still, by_dark, by_bright = self._warm(self._at(time), self.base_k + above)[:5]
        dark, bright = self.base_k + above + apart / 2, self.base_k + above - apart / 2
        radiated = self.black[0] * (dark**4 - te**4) - self.black[1] * (bright**4 - te**4)
        return float(still + by_dark * dark + by_bright * bright + self.push * share + self.recoil * radiated)

    def _lamp(self, time: float) -> float:
        place = max(int(np.searchsorted(self.around.time_s, time, side="right")) - 1, 0)
        return float(self.around.lamp_share[place])

    def _switches(self, first: float, last: float) -> list[float]:
        """Return the moments at which the lamp changes, and those of a coarse log, at which the slopes change."""
        times = self.around.time_s
        changed = np.flatnonzero(np.diff(self.around.lamp_share) != 0) + 1
        kinks = np.arange(1, times.size if times.size <= _COARSE else 1)
        places = times[np.union1d(changed, kinks)] if times.size > 1 else times[:0]
        return [float(place) for place in places if first < place < last]


def _refined(around: Surroundings) -> Array:
    """Return the moments, with further ones between them if temperature or pressure changes much."""
    if around.time_s.size == 1:
        return around.time_s
    found = [around.time_s[:1]]
    log_p = np.log(np.maximum(around.pressure_pa, 1e-300))
    for k in range(around.time_s.size - 1):
        steps = max(
            abs(around.envelope_k[k + 1] - around.envelope_k[k]) / _STEP_K,
            abs(log_p[k + 1] - log_p[k]) / _STEP_LOG,
            1.0,
        )
        found.append(np.linspace(around.time_s[k], around.time_s[k + 1], int(np.ceil(steps)) + 1)[1:])
    return np.concatenate(found)
