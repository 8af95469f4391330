"""Coast-downs: drag and pivot friction from lamp-off traces, and the torque that they make of a speed curve."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.optimize import least_squares

from edgewind.errors import InputError
from edgewind.rotor import coast_down_angle, coast_down_speed
from edgewind.signals import Experiment
from edgewind.signals.coastdown import Passages, SpeedHistory, passages, speed_history
from edgewind.units import Measured

Array = NDArray[np.float64]

# Least relative fall of the speed in one trace that is taken for a coast-down.
LEAST_FALL = 0.05
# Correlation beyond which drag and dry friction are said not to be told apart by a trace alone.
INSEPARABLE = 0.98


@dataclass(frozen=True)
class CoastDown:
    """What one coast-down says, per moment of inertia.

    Attributes
    ----------
    drag_rate, drag_rate_u : float
        ``c/I`` and its standard uncertainty, 1/s.
    dry_rate, dry_rate_u : float
        ``T_dry/I``, rad/s^2, and its uncertainty.
    correlation : float
        Between the two.
    start_rad_s : float
        Speed at the first window, rad/s.
    fall : float
        Share of that speed lost in the trace.
    reduced_chi2 : float
        Of the closed form; well above 1 where something else happened.
    pressure_pa, log_pressure_u : float
        Pressure and the standard uncertainty of its logarithm, all causes; nan where not known.
    line : int
        Line of `readings.csv`, 0 where there is none.
    flags : tuple of str
        ``not-separated``: drag and friction are not told apart; ``poor-fit``; ``no-fall``; ``few-windows``.
    """

    drag_rate: float
    drag_rate_u: float
    dry_rate: float
    dry_rate_u: float
    correlation: float
    start_rad_s: float
    fall: float
    reduced_chi2: float
    pressure_pa: float = np.nan
    log_pressure_u: float = np.nan
    line: int = 0
    flags: tuple[str, ...] = ()

    @property
    def usable(self) -> bool:
        """Whether its numbers mean anything."""
        return not {"no-fall", "few-windows"} & set(self.flags)


def fit_coast_down(history: SpeedHistory) -> CoastDown:
    """Fit ``I dw/dt = -T_dry - c w`` in closed form to the speeds through a trace.

    A window's speed comes from a fit of phase, quadratic in time, whose slope in the middle is off by ``T^2 w''/40``
    for a speed that bends; that is put into the model. Where the scatter exceeds what the windows state, all
    uncertainties are scaled up by its root (Birge ratio).

    Raises
    ------
    InputError
        Fewer than two windows with a speed.
    """
    time, speed, u = history.time_s, history.speed_rad_s, history.speed_u_rad_s
    if time.size < 2:
        raise InputError("the trace holds no run of speeds", fix="record at least some tens of turns with the lamp off")
    t = time - time[0]
    fall = float(1 - speed[-1] / speed[0])
    if not history.enough:
        nan = np.nan
        return CoastDown(nan, nan, nan, nan, nan, float(speed[0]), fall, nan, flags=("few-windows",))
    span = float(t[-1])

    def model(unknowns: Array) -> Array:
        start, drag, dry = unknowns
        bend = history.window_s**2 / 40 * drag * (drag * start + dry) * np.exp(-drag * t)
        return np.asarray(coast_down_speed(t, start, dry, max(drag, 0.0)) + bend)

    def misfit(unknowns: Array) -> Array:
        return np.asarray((model(unknowns) - speed) / u)

    guess = max(-np.log(max(1 - fall, 1e-3)), 1e-3) / span
    scale = np.array([speed[0], guess, guess * speed[0]])
    found = least_squares(
        misfit,
        [speed[0], 0.7 * guess, 0.2 * guess * speed[0]],
        x_scale=scale,
        bounds=([0, 0, 0], np.inf),
        xtol=1e-12,
        ftol=1e-12,
    )
    return _told(found, time.size - 3, float(speed[0]), fall)


def fit_passages(seen: Passages) -> CoastDown:
    """Fit the closed form to the angles at which marks passed: for coast-downs of a few turns.

    The marks' places on the rotor are further unknowns, one each, so that their unequal spacing does not matter.
    """
    t = seen.time_s - seen.time_s[0]
    number = np.arange(t.size)
    turn = 2 * np.pi
    places = np.zeros((t.size, seen.marks))
    places[number, number % seen.marks] = 1.0
    passed = turn * number / seen.marks
    span = float(t[-1])
    first = turn / float(t[seen.marks] - t[0])
    last = turn / float(t[-1] - t[-1 - seen.marks])
    weight = 1.0 / seen.time_u_s

    def misfit(unknowns: Array) -> Array:
        start, drag, dry = unknowns
        # In time, not in angle: the uncertainty of a passage is the same throughout.
        apart = passed - coast_down_angle(t, start, dry, drag)
        speed = np.maximum(coast_down_speed(t, start, dry, drag), 0.1 * last)
        basis = places / speed[:, None]
        late = apart / speed
        offsets = np.linalg.lstsq(basis, late, rcond=None)[0]
        return np.asarray((late - basis @ offsets) * weight)

    guess = max(float(np.log(first / last)), 1e-3) / span
    scale = np.array([first, guess, guess * first])
    found = least_squares(
        misfit, [1.1 * first, 0.7 * guess, 0.2 * guess * first], x_scale=scale,
        bounds=([0, 1e-9, 0], np.inf), xtol=1e-12, ftol=1e-12,
    )  # fmt: skip
    return _told(found, t.size - seen.marks - 3, float(found.x[0]), 1 - last / first)


def _told(found: Any, freedom: int, start: float, fall: float) -> CoastDown:
    """Return the coast-down of a fit of start, drag and friction."""
    slopes = np.asarray(found.jac, dtype=float)
    chi2 = float(2 * found.cost / max(freedom, 1))
    covariance = np.linalg.pinv(slopes.T @ slopes) * max(chi2, 1.0)
    spread = np.sqrt(np.maximum(np.diag(covariance), 1e-300))
    correlation = float(covariance[1, 2] / (spread[1] * spread[2]))
    flags = []
    if fall < LEAST_FALL:
        flags.append("no-fall")
    if abs(correlation) > INSEPARABLE:
        flags.append("not-separated")
    if chi2 > 3:
        flags.append("poor-fit")
    return CoastDown(
        float(found.x[1]), float(spread[1]), float(found.x[2]), float(spread[2]), correlation, start, fall, chi2,
        flags=tuple(flags),
    )  # fmt: skip


def coast_downs(experiment: Experiment) -> tuple[CoastDown, ...]:
    """Return the coast-downs of an experiment: readings with the lamp off, a known pressure and a trace that slows."""
    found = []
    mains = experiment.bench.tachometer.mains_frequency
    table = experiment.readings
    for row, reading in experiment.traces.items():
        record: dict[str, Any] = {str(name): value for name, value in table.loc[row].items()}
        if record["lamp"] or record["exclude"] or record["pressure_flag"] or not np.isfinite(record["pressure_pa"]):
            continue
        history = speed_history(
            reading.trace, experiment.bench.tachometer.marks, mains_hz="auto" if mains is None else mains.value
        )
        one = fit_coast_down(history) if history.time_s.size > 1 else None
        if one is None or not history.enough:
            seen = passages(reading.trace, experiment.bench.tachometer.marks)
            one = one if seen is None else fit_passages(seen)
        if one is None:
            continue
        if one.usable:
            log_u = float(np.hypot(record["log_pressure_u"], record["log_pressure_u_common"]))
            values = {name: getattr(one, name) for name in CoastDown.__dataclass_fields__}
            values |= {
                "pressure_pa": float(record["pressure_pa"]),
                "log_pressure_u": log_u,
                "line": int(record["line"]),
            }
            found.append(CoastDown(**values))
    return tuple(sorted(found, key=lambda coast: coast.pressure_pa))


def common_dry_rate(coasts: Sequence[CoastDown]) -> Measured | None:
    """Return the dry friction over the inertia that all coast-downs share, by their weights; None without any.

    Where they scatter by more than they state, the uncertainty grows with them.
    """
    known = [coast for coast in coasts if coast.usable and coast.dry_rate_u > 0]
    if not known:
        return None
    value = np.array([coast.dry_rate for coast in known])
    weight = np.array([coast.dry_rate_u for coast in known]) ** -2.0
    mean = float(np.sum(value * weight) / weight.sum())
    chi2 = float(np.sum(weight * (value - mean) ** 2)) / max(len(known) - 1, 1)
    return Measured(mean, float(np.sqrt(max(chi2, 1.0) / weight.sum())))


def measured_torque(used: pd.DataFrame, coasts: Sequence[CoastDown], inertia: Measured | None) -> pd.DataFrame | None:
    """Turn speeds into torques that need no model: ``T = I (c/I w + T_dry/I)`` at each reading.

    The rate ``c/I`` is interpolated between coast-downs, its logarithm linearly in ln p; readings outside their range
    of pressure get none.

    Parameters
    ----------
    used : DataFrame
        Readings with ``pressure_pa, speed_rad_s, speed_u_rad_s, line``.
    coasts : sequence of CoastDown
        Coast-downs, at two pressures or more.
    inertia : Measured or None
        Moment of inertia, kg m^2; without it the torque is given over the inertia.

    Returns
    -------
    DataFrame or None
        ``line, pressure_pa, torque_n_m, torque_u_n_m`` (``torque_over_inertia_rad_s2`` and its ``u`` always), one row a
        reading inside the range; None with fewer than two coast-downs.
    """
    known = [coast for coast in coasts if coast.usable and coast.drag_rate > 0]
    dry = common_dry_rate(known)
    if len({coast.pressure_pa for coast in known}) < 2 or dry is None:
        return None
    x = np.log([coast.pressure_pa for coast in known])
    y = np.log([coast.drag_rate for coast in known])
    relative = np.array([coast.drag_rate_u / coast.drag_rate for coast in known])
    place = np.log(used["pressure_pa"].to_numpy(float))
    inside = (place >= x[0] - 0.02) & (place <= x[-1] + 0.02)
    part, place = used[inside], np.clip(place[inside], x[0], x[-1])
    rate, rate_relative = _interpolated(x, y, relative, place)
    speed, speed_u = part["speed_rad_s"].abs().to_numpy(float), part["speed_u_rad_s"].to_numpy(float)
    over = rate * speed + dry.value
    over_u = np.sqrt((rate * speed * rate_relative) ** 2 + (rate * speed_u) ** 2 + dry.u**2)
    table = pd.DataFrame(
        {
            "line": part["line"].to_numpy(int),
            "pressure_pa": part["pressure_pa"].to_numpy(float),
            "torque_over_inertia_rad_s2": over,
            "torque_over_inertia_u_rad_s2": over_u,
        }
    )
    if inertia is None:
        return table
    torque = inertia.value * over
    return table.assign(torque_n_m=torque, torque_u_n_m=np.hypot(inertia.value * over_u, torque * inertia.relative))


def _interpolated(x: Array, y: Array, relative: Array, place: Array) -> tuple[Array, Array]:
    """Return a rate and its relative uncertainty between places, from logarithms of both.

    Three places or more make a natural cubic spline, and half of what it bends away from straight lines is taken as
    its own uncertainty. Between only two, drag grows no faster than the pressure and does not fall: half of what that
    leaves open is taken.
    """
    places = np.unique(x)
    merged = np.array([np.average(y[x == at], weights=relative[x == at] ** -2.0) for at in places])
    u = np.array([np.sum(relative[x == at] ** -2.0) ** -0.5 for at in places])
    straight = np.interp(place, places, merged)
    if places.size > 2:
        curve = CubicSpline(places, merged, bc_type="natural")(place)
        own = np.abs(curve - straight) / 2
    else:
        curve = straight
        own = np.maximum(np.minimum(merged[0] + place - places[0], merged[1]) - straight, 0.0) / 2
    return np.exp(curve), np.hypot(np.interp(place, places, u), own)


def coast_down_wanted(used: pd.DataFrame, coasts: Sequence[CoastDown]) -> str | None:
    """Say which coast-down would settle something, or None where drag and pivot are measured over the whole range."""
    if used.empty:
        return None
    low, high = float(used["pressure_pa"].min()), float(used["pressure_pa"].max())
    known = [coast.pressure_pa for coast in coasts if coast.usable]
    missing = [
        f"{pressure:.2g} Pa"
        for pressure in (low, float(np.sqrt(low * high)), high)
        if not any(0.4 < place / pressure < 2.5 for place in known)
    ]
    if not missing:
        return None
    return (
        f"Record a coast-down, lamp off from full speed until the speed has halved, at {', '.join(missing)}: it gives "
        "drag and pivot friction without a model, and so the torque."
    )
