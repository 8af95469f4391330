"""Coast-downs: drag and pivot friction from lamp-off traces, and the torque from a speed curve with them."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.optimize import least_squares

from edgewind.bench import Bench
from edgewind.errors import InputError
from edgewind.rotor import coast_down_angle, coast_down_speed
from edgewind.signals import Experiment, Trace
from edgewind.signals.coastdown import Passages, SpeedHistory, history_of, passages, speed_history
from edgewind.signals.recent import Recent
from edgewind.units import Measured

Array = NDArray[np.float64]
Shapes = Callable[[Array], Array]

# Least relative fall of the speed in one trace that is taken for a coast-down.
LEAST_FALL = 0.05
# Reduced chi-square above which a torque other than drag and friction is assumed. Our judgement, no source.
STILL_DRIVEN = 100.0
# Correlation beyond which a trace alone is reported not to separate drag and dry friction.
INSEPARABLE = 0.98


UNUSABLE: dict[str, str] = {
    "no-fall": f"the speed falls by less than {100 * LEAST_FALL:g} % in the trace: record it for longer",
    "few-windows": "the trace has too few turns to follow the speed: record it from full speed, for longer",
    "no-pressure": "its pressure is not known",
    "time-assumed": "its sample interval is a guess: state interval under [tachometer]",
    "channel-assumed": "its channels show different speeds: state channel under [tachometer]",
    "still-driven": (
        "the speed does not fall by drag and dry friction alone: the vanes were still warm; a fit can use it as a run "
        "if its trace has more turns"
    ),
}
"""Flags of coast-downs that are not used, each with its reason in a clause."""


@dataclass(frozen=True)
class CoastDown:
    """Result of one coast-down, per moment of inertia.

    Attributes
    ----------
    drag_rate, drag_rate_u : float
        ``c/I`` and its standard uncertainty, 1/s.
    dry_rate, dry_rate_u : float
        ``T_dry/I``, rad/s^2, and its uncertainty.
    correlation : float
        Correlation of drag and dry friction.
    start_rad_s : float
        Speed at the first window, rad/s.
    fall : float
        Share of that speed lost in the trace.
    reduced_chi2 : float
        Reduced chi-square of the closed form; well above 1 if another torque acted.
    pressure_pa : float
        Pressure, Pa; nan where it is not known.
    log_pressure_u : float
        Standard uncertainty of its logarithm, all causes; nan where it is not known.
    line : int
        Line of `readings.csv`, 0 where there is none.
    flags : tuple of str
        Faults: ``not-separated``, drag and friction are not distinguished; ``poor-fit``; ``no-fall``;
        ``few-windows``; ``no-pressure``; ``still-driven``, another torque acted; ``time-assumed`` and
        ``channel-assumed``, as of the trace.
    history : SpeedHistory or None
        Its speeds, where its trace has enough turns to follow them.
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
    history: SpeedHistory | None = None

    @property
    def as_run(self) -> bool:
        """Whether its speed can be followed and does not fall by drag and dry friction alone.

        Warm vanes then still drove the rotor, and a fit follows it as a run from the moment the lamp was switched off.
        """
        bad = {"no-fall", "few-windows", "no-pressure", "time-assumed", "channel-assumed"}
        driven = {"still-driven", "poor-fit"} & set(self.flags)
        return bool(driven) and not bad & set(self.flags) and self.history is not None

    @property
    def usable(self) -> bool:
        """Whether its drag and dry friction are used directly."""
        return not set(UNUSABLE) & set(self.flags) and not self.as_run

    @property
    def why_not(self) -> str:
        """Why its numbers are not used directly, in a clause; empty if they are."""
        if self.as_run and not set(UNUSABLE) & set(self.flags):
            return UNUSABLE["still-driven"]
        return "; ".join(UNUSABLE[flag] for flag in self.flags if flag in UNUSABLE)


def fit_coast_down(history: SpeedHistory) -> CoastDown:
    """Fit ``I dw/dt = -T_dry - c w`` in closed form to the speeds through a trace.

    A window's speed comes from a fit of phase, quadratic in time, whose slope in the middle is off by ``T^2 w''/40``
    for a speed that bends; the model includes this. If the scatter exceeds the stated uncertainties, all are scaled up
    by the root of the ratio (Birge ratio).

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
    return _with_time_base(_coast_down_from(found, time.size - 3, float(speed[0]), fall), history.interval_u_rel)


def fit_passages(seen: Passages) -> CoastDown:
    """Fit the closed form to the angles at which marks passed: for coast-downs of a few turns.

    The places of the marks are further unknowns, so that unequal spacing does not matter.
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
        # in time, not in angle, since the uncertainty of the time is the same for all passages
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
    fitted = _coast_down_from(found, t.size - seen.marks - 3, float(found.x[0]), 1 - last / first)
    return _with_time_base(fitted, seen.interval_u_rel)


def _with_time_base(fitted: CoastDown, interval_u_rel: float) -> CoastDown:
    """Add the uncertainty of the time base: drag goes with its inverse, and friction with the square of that."""
    return replace(
        fitted,
        drag_rate_u=float(np.hypot(fitted.drag_rate_u, interval_u_rel * fitted.drag_rate)),
        dry_rate_u=float(np.hypot(fitted.dry_rate_u, 2 * interval_u_rel * fitted.dry_rate)),
    )


def _coast_down_from(found: Any, freedom: int, start: float, fall: float) -> CoastDown:
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
        flags.append("poor-fit" if chi2 < STILL_DRIVEN else "still-driven")
    return CoastDown(
        float(found.x[1]), float(spread[1]), float(found.x[2]), float(spread[2]), correlation, start, fall, chi2,
        flags=tuple(flags),
    )  # fmt: skip


# What traces of the dark say, by their samples.
_FOUND = Recent[tuple[CoastDown | None]](most=500)


def coast_downs(experiment: Experiment) -> tuple[CoastDown, ...]:
    """Return every coast-down of an experiment, by pressure; see :attr:`CoastDown.usable`.

    A reading with the lamp off is a coast-down if its trace slows. If the trace has too few turns to show that, it is
    returned as unused, with the reason. If it does not fall by drag and dry friction alone, it is followed as a run;
    see :attr:`CoastDown.as_run`.
    """
    found = []
    for row, reading in experiment.traces.items():
        record: dict[str, Any] = {str(name): value for name, value in experiment.readings.loc[row].items()}
        if record["lamp"] or record["exclude"]:
            continue
        one = _coast_down_of(reading.trace, experiment.bench)
        if one is None or "no-fall" in one.flags:
            continue
        assumed = tuple(flag for flag in ("time-assumed", "channel-assumed") if flag in reading.speed.flags)
        known = not record["pressure_flag"] and np.isfinite(record["pressure_pa"])
        flags = (*one.flags, *assumed, *(() if known else ("no-pressure",)))
        log_u = float(np.hypot(record["log_pressure_u"], record["log_pressure_u_common"])) if known else np.nan
        found.append(
            replace(
                one, pressure_pa=float(record["pressure_pa"]) if known else np.nan, log_pressure_u=log_u,
                line=int(record["line"]), flags=flags,
            )
        )  # fmt: skip
    return tuple(sorted(found, key=lambda coast: (np.isnan(coast.pressure_pa), coast.pressure_pa)))


def _coast_down_of(trace: Trace, bench: Bench) -> CoastDown | None:
    """Return the coast-down of a trace in the dark; None if nothing in it turns."""
    marks, mains = bench.tachometer.marks, bench.tachometer.mains_frequency
    mains_hz: float | str = "auto" if mains is None else mains.value
    samples = hashlib.sha256(trace.voltage_v.tobytes()).digest()
    key = samples, trace.interval_s, trace.interval_u_rel, trace.coupled, marks, mains_hz
    known = _FOUND.get(key)
    if known is None:
        known = (_followed(trace, marks, mains_hz),)
        _FOUND.put(key, known, 1)
    return known[0]


def _followed(trace: Trace, marks: int, mains_hz: float | str) -> CoastDown | None:
    history = speed_history(trace, marks, mains_hz=mains_hz)
    one = fit_coast_down(history) if history.time_s.size > 1 else None
    if one is None or not history.enough:
        seen = passages(trace, marks, mains_hz=mains_hz)
        one = one if seen is None else fit_passages(seen)
        history = history if seen is None else history_of(seen)
    return replace(one, history=history) if one is not None and history.enough else one


def common_dry_rate(coasts: Sequence[CoastDown]) -> Measured | None:
    """Return the weighted mean over all coast-downs of dry friction over inertia; None without any.

    If they scatter by more than their uncertainties, the uncertainty is increased accordingly.
    """
    known = [coast for coast in coasts if coast.usable and coast.dry_rate_u > 0]
    if not known:
        return None
    value = np.array([coast.dry_rate for coast in known])
    weight = np.array([coast.dry_rate_u for coast in known]) ** -2.0
    mean = float(np.sum(value * weight) / weight.sum())
    chi2 = float(np.sum(weight * (value - mean) ** 2)) / max(len(known) - 1, 1)
    return Measured(mean, float(np.sqrt(max(chi2, 1.0) / weight.sum())))


def measured_torque(
    used: pd.DataFrame, coasts: Sequence[CoastDown], inertia: Measured | None, *, shapes: Shapes | None = None
) -> pd.DataFrame | None:
    """Convert speeds into torques without a model of the drive: ``T = I (c/I w + T_dry/I)`` at each reading.

    The rate ``c/I`` is interpolated between coast-downs; readings outside their range of pressure get none. With
    `shapes` it is a multiple of the drag of the gas plus a constant, both fitted to the coast-downs, and passes through
    each of them; all uncertain quantities are drawn: the coast-downs with their correlation of drag and friction, the
    friction that they share, each one's and each reading's own pressure, and the shape itself. Without, it is a spline
    of the logarithms; see `_interpolated`.

    Parameters
    ----------
    used : DataFrame
        Readings with ``pressure_pa, speed_rad_s, speed_u_rad_s, line``.
    coasts : sequence of CoastDown
        Coast-downs, at two pressures or more.
    inertia : Measured or None
        Moment of inertia, kg m^2; without it the torque is given over the inertia.
    shapes : callable, optional
        Drag of the gas at pressures of shape (n,), in any unit, one row for each draw of its shape.

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
    speed, speed_u = part["speed_rad_s"].abs().to_numpy(float), part["speed_u_rad_s"].to_numpy(float)
    if shapes is None:
        rate, rate_relative = _interpolated(x, y, relative, place)
        over = rate * speed + dry.value
        over_u = np.sqrt((rate * speed * rate_relative) ** 2 + (rate * speed_u) ** 2 + dry.u**2)
    else:
        drawn = _drawn_torque(part, known, dry, shapes, place)
        over = np.median(drawn, axis=0)
        over_u = np.hypot(drawn.std(axis=0), (over - dry.value) * speed_u / speed)
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


_DRAWN = ("drag_rate", "drag_rate_u", "dry_rate", "dry_rate_u", "correlation", "pressure_pa", "log_pressure_u")


def _drawn_torque(part: pd.DataFrame, known: Sequence[CoastDown], dry: Measured, shapes: Shapes, place: Array) -> Array:
    """Return draws of the torque over the inertia at places in ln p, shape (draws, readings)."""
    random = np.random.default_rng(11)
    column = {name: np.array([getattr(coast, name) for coast in known], dtype=float) for name in _DRAWN}
    common = float(np.median(part["log_pressure_u_common"])) if "log_pressure_u_common" in part else 0.0
    own_u = np.sqrt(np.maximum(np.nan_to_num(column["log_pressure_u"]) ** 2 - common**2, 0.0))
    reading_u = part["log_pressure_u"].to_numpy(float) if "log_pressure_u" in part else np.zeros(place.size)
    at = np.log(column["pressure_pa"])
    fine = np.linspace(at[0] - 0.3, at[-1] + 0.3, 80)
    logs = np.log(shapes(np.exp(fine)))
    size = len(logs)
    friction = np.maximum(dry.value + dry.u * random.standard_normal((size, 1)), 0.0)
    # the drag given the friction: both come from the same trace
    follow = column["correlation"] * column["drag_rate_u"] / column["dry_rate_u"]
    left = column["drag_rate_u"] * np.sqrt(np.maximum(1 - column["correlation"] ** 2, 0.0))
    rate = column["drag_rate"] + follow * (friction - column["dry_rate"])
    rate = np.maximum(rate + left * random.standard_normal((size, at.size)), 0.02 * column["drag_rate"])
    own = at + own_u * random.standard_normal((size, at.size))
    where = np.clip(place + reading_u * random.standard_normal((size, place.size)), fine[0], fine[-1])
    gas = np.exp(np.array([np.interp(row, fine, log) for row, log in zip(own, logs, strict=True)]))
    weight = column["drag_rate"] ** -2.0
    share, constant = _share_and_constant(gas, rate, weight)
    missed = np.log(rate / (share * gas + constant))
    wanted = share * np.exp(np.array([np.interp(row, fine, log) for row, log in zip(where, logs, strict=True)]))
    places = np.unique(at)
    merged = np.stack([missed[:, at == one].mean(axis=1) for one in places], axis=1)
    more = np.array([np.interp(place, places, row) for row in merged])
    # a residual beyond the noise shows an error of the shape: half of it is taken as uncertainty
    more += 0.5 * np.abs(np.median(more, axis=0)) * random.standard_normal((size, 1))
    speed = part["speed_rad_s"].abs().to_numpy(float)
    return np.asarray((wanted + constant) * np.exp(more) * speed + friction)


def _share_and_constant(gas: Array, rate: Array, weight: Array) -> tuple[Array, Array]:
    """Return A > 0 and B >= 0 of ``rate = A gas + B`` by weighted least squares, row by row, shapes (k, 1)."""
    gas_gas, gas_one = (weight * gas**2).sum(axis=1), (weight * gas).sum(axis=1)
    one_one, gas_rate, one_rate = weight.sum(), (weight * gas * rate).sum(axis=1), (weight * rate).sum(axis=1)
    determinant = np.maximum(gas_gas * one_one - gas_one**2, 1e-300)
    share = (gas_rate * one_one - one_rate * gas_one) / determinant
    constant = (gas_gas * one_rate - gas_one * gas_rate) / determinant
    alone = constant < 0
    share, constant = np.where(alone, gas_rate / gas_gas, share), np.where(alone, 0.0, constant)
    steady = share <= 0
    share = np.where(steady, 1e-6 * gas_rate / gas_gas, share)
    constant = np.where(steady, one_rate / one_one, constant)
    return share[:, None], constant[:, None]


def _interpolated(x: Array, y: Array, relative: Array, place: Array) -> tuple[Array, Array]:
    """Return a rate and its relative uncertainty between places, from logarithms of both.

    Three places or more make a natural cubic spline, and half of its difference from straight lines is taken as its
    uncertainty. Between only two, drag grows at most in proportion to the pressure and does not fall: half of that
    range is taken.
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
    """Return which coast-down is needed, or None if drag and pivot are measured over the whole range."""
    if used.empty:
        return None
    low, high = float(used["pressure_pa"].min()), float(used["pressure_pa"].max())
    known = [coast.pressure_pa for coast in coasts if coast.usable or coast.as_run]
    missing = [
        f"{pressure:.2g} Pa"
        for pressure in (low, float(np.sqrt(low * high)), high)
        if not any(0.4 < place / pressure < 2.5 for place in known)
    ]
    if not missing:
        return None
    return (
        f"Record a coast-down (lamp off at full speed, until the speed has halved) at {', '.join(missing)}: it gives "
        "drag, pivot friction and hence the torque without a model."
    )
