"""Time that each pressure takes (chamber, heat of the vane, spin-up), and the quickest order of a sweep.

A new pressure passes through three lags, one after the other: the gas in the chamber (V/S), the heat of the vane, and
the spin of the rotor (I/c). The dwell is the time until the remaining difference from the new speed has fallen below a
share of the new one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import Field

from edgewind.bench import Bench
from edgewind.errors import InputError
from edgewind.frozen_model import FrozenModel
from edgewind.plan.chamber import Vacuum, vacuum_of
from edgewind.rotor import (
    GasResponse,
    RotorParameters,
    check_pressures,
    parameters_of,
    response_of,
    steady_state,
    thermal_times,
)

Array = NDArray[np.float64]
Order = Literal["down", "up", "up and down"]
ORDERS: tuple[Order, ...] = ("down", "up", "up and down")

# Largest share of gas from walls and leak in the chamber at which a reading counts as one in this gas.
FOREIGN_SHARE = 0.1
# Lags closer together than this are separated, for accurate partial fractions.
_LEAST_RATIO = 1.02
# Relative step of a rotor at rest when the lamp is lit: before the vane as a whole is warm, its faces differ more and
# it turns up to several times faster (from `rotor.run`, for faces of equal emissivity).
_COLD_START = 4.0
# A reading of a rotor that stands still, s.
_STANDING_S = 60.0


def lag_residual(time_s: Any, lags_s: Sequence[Any]) -> Array:
    """Return the remainder of a step after a chain of first-order lags, 1 at the start and falling to 0.

    ``sum_i exp(-t / tau_i) / prod_{j != i} (1 - tau_j / tau_i)``, the step response of a chain of first-order systems
    (any textbook of control). Lags nearer than 2 % are set 2 % apart.

    Examples
    --------
    >>> float(lag_residual(10.0, [10.0]).round(4)), float(lag_residual(0.0, [1.0, 3.0, 3.0]).round(9))
    (0.3679, 1.0)
    """
    time = np.asarray(time_s, dtype=float)
    lags = np.sort(
        np.stack(np.broadcast_arrays(*[np.maximum(np.asarray(lag, dtype=float), 1e-9) for lag in lags_s])), 0
    )
    for k in range(1, len(lags)):
        lags[k] = np.maximum(lags[k], _LEAST_RATIO * lags[k - 1])
    left = np.zeros(np.broadcast_shapes(time.shape, lags.shape[1:]))
    for i, own in enumerate(lags):
        share = np.ones_like(own)
        for j, other in enumerate(lags):
            if j != i:
                share = share / (1 - other / own)
        left = left + share * np.exp(-time / own)
    return np.asarray(np.clip(left, 0.0, 1.0))


def lag_time(left: Any, lags_s: Sequence[Any]) -> Array:
    """Return the time after which a chain of lags leaves a share `left` of a step, s; zero for shares of 1 and more."""
    share = np.asarray(left, dtype=float)
    total = np.asarray(sum(np.asarray(lag, dtype=float) for lag in lags_s))
    shape = np.broadcast_shapes(share.shape, total.shape)
    low, high = np.zeros(shape), np.broadcast_to(total * (60.0 - np.log(np.minimum(share, 1.0))), shape).copy()
    for _ in range(60):
        middle = (low + high) / 2
        early = lag_residual(middle, lags_s) > share
        low, high = np.where(early, middle, low), np.where(early, high, middle)
    return np.asarray(np.where(share >= 1, 0.0, high))


@dataclass(frozen=True)
class RotorTimes:
    """A rotor at some pressures: its speed, and the times of its heat and of its spin; arrays of one shape.

    Attributes
    ----------
    speed_rad_s : array
        Steady speed, rad/s, positive when the bright face leads; 0 where it does not start.
    heat_s : array
        Time in which the vane as a whole comes to its temperature, s.
    spin_up_s : array
        Moment of inertia over all drag that grows with the speed, s.
    """

    speed_rad_s: Array
    heat_s: Array
    spin_up_s: Array


@dataclass(frozen=True, eq=False)
class BenchTimes:
    """The times of one bench; see :func:`bench_times`.

    Attributes
    ----------
    bench, rotor, response, vacuum
        The bench, its numbers, the gas, and its chamber on the pump where `[vacuum]` is given.
    within : float
        Relative difference from the new speed at which the rotor counts as settled.
    turns, least_measure_s, most_measure_s : float
        A reading takes this many turns, and this long at least and at most.
    """

    bench: Bench
    rotor_parameters: RotorParameters
    response: GasResponse
    vacuum: Vacuum | None
    within: float
    turns: float
    least_measure_s: float
    most_measure_s: float

    def rotor(self, pressure_pa: ArrayLike) -> RotorTimes:
        """Return speed and times of the rotor at each pressure.

        Raises
        ------
        OutOfRangeError
            A pressure not above zero, or beyond the response of the gas.
        """
        pressure = np.asarray(pressure_pa, dtype=float)
        flat = np.atleast_1d(pressure).ravel()
        check_pressures(flat, self.rotor_parameters, self.response)
        state = steady_state(flat, self.rotor_parameters, self.response)
        heat = thermal_times(flat, self.rotor_parameters, self.response).whole
        spin = np.asarray(self.rotor_parameters.moment_of_inertia_kg_m2) / np.maximum(state.drag, 1e-300)
        return RotorTimes(
            np.asarray(state.speed_rad_s).reshape(pressure.shape),
            heat.reshape(pressure.shape),
            spin.reshape(pressure.shape),
        )

    def chamber_s(self, pressure_pa: ArrayLike) -> Array:
        """Return the time V/S of the chamber at each pressure, s; zero where ``[vacuum]`` is not given."""
        pressure = np.asarray(pressure_pa, dtype=float)
        if self.vacuum is None:
            return np.zeros(pressure.shape)
        return np.asarray(self.vacuum.volume_m3 / self.vacuum.speed_m3_s(pressure))

    def settle_s(self, pressure_pa: ArrayLike, from_pressure_pa: ArrayLike | None = None) -> Array:
        """Return the time from setting a pressure until the rotor turns steadily there, s.

        Parameters
        ----------
        pressure_pa : array
            The new pressure, Pa.
        from_pressure_pa : array, optional
            Pressure at which the rotor turned before; default: from rest, with the gas there and the lamp just lit.

        Notes
        -----
        The step that must die away is the change of speed over the new speed, and no less than that of ln(pressure)
        up to 1, since a curve may cross its peak on the way.
        """
        new = np.asarray(pressure_pa, dtype=float)
        here = self.rotor(new)
        if from_pressure_pa is None:
            return lag_time(np.full(new.shape, self.within / _COLD_START), [here.heat_s, here.spin_up_s])
        old = np.asarray(from_pressure_pa, dtype=float)
        there = self.rotor(old)
        turning = np.where(here.speed_rad_s != 0, here.speed_rad_s, 1.0)
        step = np.where(here.speed_rad_s != 0, np.abs(there.speed_rad_s / turning - 1), 1.0)
        step = np.maximum(step, np.minimum(np.abs(np.log(old / new)), 1.0))
        left = self.within / np.maximum(step, 1e-12)
        time = lag_time(left, [self.chamber_s(new), here.heat_s, here.spin_up_s])
        if self.vacuum is not None:
            time = np.maximum(time, self.vacuum.settling_time_s(new, old, self.within))
        return np.asarray(time)

    def measure_s(self, pressure_pa: ArrayLike) -> Array:
        """Return the time of one reading, s: its turns, within the limits; a minute if the rotor stands still."""
        speed = np.abs(self.rotor(pressure_pa).speed_rad_s)
        turning = speed > 0
        full = 2 * np.pi * self.turns / np.where(turning, speed, 1.0)
        return np.asarray(np.where(turning, np.clip(full, self.least_measure_s, self.most_measure_s), _STANDING_S))

    def cost_s(self, pressure_pa: ArrayLike, from_pressure_pa: ArrayLike | None = None) -> Array:
        """Return the time of a reading at a pressure with the wait before it, s; arguments broadcast.

        Examples
        --------
        >>> from edgewind.bench import parse_bench
        >>> from importlib.resources import files
        >>> text = (files("edgewind.bench") / "template_files" / "bench.toml").read_text(encoding="utf-8")
        >>> times = bench_times(parse_bench(text))
        >>> bool(times.cost_s(1.0, 1.1) < times.cost_s(1.0, 0.1) < times.cost_s(0.1, 1.0))
        True
        """
        settle = self.settle_s(pressure_pa, from_pressure_pa)
        return np.asarray(settle + self.measure_s(np.broadcast_to(np.asarray(pressure_pa, dtype=float), settle.shape)))

    def __call__(self, pressure_pa: Array, from_pressure_pa: float | None) -> Array:
        """Return :meth:`cost_s`, as a :class:`~edgewind.plan.cost.Cost` of the next reading.

        Pressures beyond the response of the gas have the cost of its end.
        """
        most = float(np.min(self.rotor_parameters.knudsen(1.0))) / self.response.least_knudsen * (1 - 1e-9)
        before = None if from_pressure_pa is None else min(from_pressure_pa, most)
        return self.cost_s(np.minimum(pressure_pa, most), before)

    @property
    def sentence(self) -> str:
        """The cost in words."""
        lags = "heat and spin-up" if self.vacuum is None else "chamber, heat and spin-up"
        return (
            f"The time of a reading is that of {lags} by the forward model, until the speed is within "
            f"{100 * self.within:g} % of steady, and of the reading itself."
        )

    def pure_after_s(self, pressure_pa: ArrayLike) -> Array:
        """Return the pumping time after which walls and leak give less than a tenth of the gas, s; inf for never."""
        pressure = np.asarray(pressure_pa, dtype=float)
        if self.vacuum is None:
            return np.zeros(pressure.shape)
        spare = FOREIGN_SHARE * self.vacuum.speed_m3_s(pressure) * pressure - self.vacuum.leak_pa_m3_s
        hour = self.vacuum.outgassing_pa_m3_s * 3600.0
        return np.asarray(np.where(spare > 0, hour / np.where(spare > 0, spare, 1.0), np.inf))


def bench_times(
    bench: Bench,
    *,
    within: float = 0.01,
    turns: float = 5.0,
    least_measure_s: float = 20.0,
    most_measure_s: float = 600.0,
    parameters: Mapping[str, float] | None = None,
) -> BenchTimes:
    """Return the times of a bench.

    Parameters
    ----------
    bench : Bench
        The bench; with ``[vacuum]`` the chamber counts, too.
    within : float
        Relative difference from the new speed at which the rotor counts as settled: 0.01 is one per cent.
    turns, least_measure_s, most_measure_s : float
        A reading takes this many turns, and this long at least and at most.
    parameters : mapping, optional
        Fields of :class:`~edgewind.rotor.RotorParameters` to set, such as the best values of a fit.

    Raises
    ------
    InputError
        A share that is not between 0 and 1, or times that are not above zero.
    """
    if not 0 < within < 1:
        raise InputError(
            f"the tolerance of settling cannot be {within:g}", fix="give a share between 0 and 1, such as 0.01"
        )
    if not (turns > 0 and 0 < least_measure_s <= most_measure_s and np.isfinite(turns + most_measure_s)):
        raise InputError(
            f"a reading cannot be of {turns:g} turns in {least_measure_s:g} to {most_measure_s:g} s",
            fix="give turns above zero and an ascending pair of times",
        )
    rotor = parameters_of(bench).with_(**dict(parameters or {}))
    response = response_of(rotor)
    return BenchTimes(bench, rotor, response, vacuum_of(bench), within, turns, least_measure_s, most_measure_s)


class SweepStep(FrozenModel):
    """One reading of a planned sweep, s from the start of pumping."""

    pressure_pa: float = Field(description="Pressure of the reading, Pa.")
    wait_s: float = Field(description="Wait for clean gas, s: pumping and walls; infinite if the leak is too large.")
    settle_s: float = Field(description="Time to settle, s.")
    measure_s: float = Field(description="Time to measure, s.")
    ends_s: float = Field(description="Time from the start of pumping to the end of the reading, s, or infinite.")
    slowest: Literal["chamber", "heat", "spin-up"] = Field(description="The slowest of the three lags.")
    foreign_share: float = Field(description="Share of gas from walls and leak during the reading.")

    @property
    def total_s(self) -> float:
        """Total time, s."""
        return self.wait_s + self.settle_s + self.measure_s


@dataclass(frozen=True)
class SweepTimes:
    """A sweep in one order."""

    order: Order
    steps: tuple[SweepStep, ...]

    @property
    def total_s(self) -> float:
        """Length from the start of pumping, s; infinite if a pressure is out of reach."""
        return self.steps[-1].ends_s


@dataclass(frozen=True, eq=False)
class TimePlan:
    """A sweep planned in each order; see :func:`plan_time`."""

    times: BenchTimes
    pressure_pa: Array
    sweeps: tuple[SweepTimes, ...]

    @cached_property
    def best(self) -> SweepTimes:
        """The shorter of the two single sweeps."""
        return min((sweep for sweep in self.sweeps if sweep.order != "up and down"), key=lambda sweep: sweep.total_s)

    @cached_property
    def out_of_reach(self) -> tuple[float, ...]:
        """Pressures at which the leak alone brings too much foreign gas, Pa."""
        never = ~np.isfinite(self.times.pure_after_s(self.pressure_pa))
        return tuple(float(p) for p in self.pressure_pa[never])


def plan_time(bench: Bench, pressures: ArrayLike, **settings: Any) -> TimePlan:
    """Plan the time of a sweep over some pressures, in each order.

    Parameters
    ----------
    bench : Bench
        The bench.
    pressures : array of shape (n,)
        Pressures to measure, Pa.
    **settings
        Those of :func:`bench_times`.

    Raises
    ------
    InputError
        No pressures, or pressures beyond the response of the gas.
    """
    pressure = np.unique(np.asarray(pressures, dtype=float))
    if not pressure.size:
        raise InputError("no pressures were given", fix="give one or more, such as 0.01Pa:10Pa:12")
    found = bench_times(bench, **settings)
    found.rotor(pressure)
    ways: dict[Order, Array] = {
        "down": pressure[::-1],
        "up": pressure,
        "up and down": np.concatenate([pressure, pressure[-2::-1]]),
    }
    return TimePlan(found, pressure, tuple(SweepTimes(order, sweep_steps(found, ways[order])) for order in ORDERS))


def sweep_steps(times: BenchTimes, pressures: ArrayLike) -> tuple[SweepStep, ...]:
    """Return the steps of a sweep over pressures in the order given, from the start of pumping, at rest."""
    pressure = np.asarray(pressures, dtype=float)
    before = pressure[:-1]
    settle = times.settle_s(pressure[:1])
    if before.size:
        settle = np.concatenate([settle, times.settle_s(pressure[1:], before)])
    measure, pure = times.measure_s(pressure), times.pure_after_s(pressure)
    rotor, chamber = times.rotor(pressure), times.chamber_s(pressure)
    names: tuple[Literal["chamber", "heat", "spin-up"], ...] = ("chamber", "heat", "spin-up")
    now, steps = 0.0, []
    for k, p in enumerate(pressure):
        ready = float(pure[k])
        if k == 0 and times.vacuum is not None:
            ready = max(ready, times.vacuum.time_to_s(FOREIGN_SHARE * float(p)))
        wait = max(ready - now, 0.0)
        reading = now + wait + float(settle[k])
        now = reading + float(measure[k])
        foreign = 0.0
        if times.vacuum is not None and np.isfinite(reading):
            foreign = float(times.vacuum.load_pa_m3_s(reading) / (times.vacuum.speed_m3_s(p) * p))
        slowest = names[int(np.argmax([chamber[k], rotor.heat_s[k], rotor.spin_up_s[k]]))]
        steps.append(
            SweepStep(
                pressure_pa=float(p),
                wait_s=wait,
                settle_s=float(settle[k]),
                measure_s=float(measure[k]),
                ends_s=now,
                slowest=slowest,
                foreign_share=foreign,
            )
        )
    return tuple(steps)
