"""Invented sweeps with a known truth, for tests and benchmarks of the response curve and its optimum."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from edgewind.evidence.sweep_data import Array, SweepData

PeakedShape = Literal["balance", "lopsided balance", "skewed log-gaussian", "pivot", "torque over drag"]
OpenShape = Literal["rising", "falling", "saturating", "flat", "outside"]
Shape = PeakedShape | OpenShape

PEAKED_SHAPES: tuple[PeakedShape, ...] = (
    "balance",
    "lopsided balance",
    "skewed log-gaussian",
    "pivot",
    "torque over drag",
)
OPEN_SHAPES: tuple[OpenShape, ...] = ("rising", "falling", "saturating", "flat", "outside")


def _balance(u: Array, rise: float = 1.0, fall: float = 1.0) -> Array:
    """x^rise / (1 + x)^(rise + fall) with x = (rise / fall) exp(u), scaled to a maximum of 1 at u = 0."""
    x = np.exp(u) * rise / fall
    top = rise / fall
    logarithm = rise * (np.log(x) - np.log(top)) - (rise + fall) * (np.log1p(x) - np.log1p(top))
    return np.asarray(np.exp(logarithm))


@dataclass(frozen=True)
class Truth:
    """A true curve of speed against ln(pressure).

    Parameters
    ----------
    shape : str
        Its family. The peaked ones are forms that torque over drag can take: a drive that grows with pressure
        while molecules fly freely and dies away when they collide, against a drag that does the opposite.
    place : float
        ln(pressure / Pa) of the maximum, or of the bend of a curve without one.
    width : float
        Stretch of the curve in ln(pressure).
    skew : float
        Between -1 and 1: which side is steeper. In ``pivot`` its size sets the share of the drive that friction
        takes.
    top : float
        Greatest speed, rad/s.
    """

    shape: Shape
    place: float
    width: float
    skew: float
    top: float

    def speed(self, log_pressure: ArrayLike) -> Array:
        """Speed, rad/s, at ln(pressure / Pa)."""
        u = (np.asarray(log_pressure, dtype=float) - self.place) / self.width
        return self.top * _FORMS[self.shape](u, self.skew)


def _pivot(u: Array, skew: float) -> Array:
    friction = 0.05 + 0.3 * abs(skew)
    return np.maximum(0.0, (_balance(u) - friction) / (1.0 - friction))


def _torque_over_drag(u: Array, skew: float) -> Array:
    """Torque x / (1 + x)² over a drag 1 + c x / (1 + x); its maximum, at x = 1 / sqrt(1 + c), moved to u = 0."""
    c = 2.0 * (1.0 + skew)
    top = 1.0 / np.sqrt(1.0 + c)
    x = top * np.exp(u)

    def form(x: Array | float) -> Array:
        return np.asarray(x / ((1.0 + x) * (1.0 + x + c * x)))

    return form(x) / form(top)


_FORMS: dict[str, Callable[[Array, float], Array]] = {
    "balance": lambda u, skew: _balance(u),
    "lopsided balance": lambda u, skew: _balance(u, 1.0 + 0.5 * skew, 1.0 - 0.5 * skew),
    "skewed log-gaussian": lambda u, skew: np.exp(-0.5 * (u / (1.0 + 0.4 * skew * np.tanh(u))) ** 2),
    "pivot": _pivot,
    "torque over drag": _torque_over_drag,
    "rising": lambda u, skew: np.exp(np.minimum(0.35 * u, 0.0)) if skew < 0 else 1.0 / (1.0 + np.exp(-u / 2)),
    "falling": lambda u, skew: 1.0 / (1.0 + np.exp(u / 2)),
    "saturating": lambda u, skew: 1.0 / (1.0 + np.exp(-u)),
    "flat": lambda u, skew: np.ones_like(u),
    "outside": lambda u, skew: _balance(u, 1.0 + 0.5 * skew, 1.0 - 0.5 * skew),
}


@dataclass(frozen=True)
class Bench:
    """How the invented readings are taken, and how far they are from the truth.

    Parameters
    ----------
    low, high : float
        Range of ln(pressure / Pa).
    readings : int
        Number of readings, over all sweeps.
    sweeps : int
        1, up; or 2, up and then down.
    noise : float
        Standard deviation of the speeds as a fraction of the speed, or of the greatest speed.
    proportional : bool
        Whether the noise goes with the speed (and 0.5 % of the greatest speed remains) or is the same everywhere.
    understated : float
        Actual over stated standard deviation of the speeds.
    pressure_noise : float
        Standard deviation of ln(pressure) of each reading for itself.
    common : float
        Standard deviation of ln(pressure) that all readings share.
    drift : float
        Relative change of the speed over the whole time.
    lag : float
        Shift in ln(pressure) by which a slow gauge reads low going up and high coming down.
    """

    low: float = -3.5
    high: float = 3.5
    readings: int = 24
    sweeps: int = 1
    noise: float = 0.03
    proportional: bool = True
    understated: float = 1.0
    pressure_noise: float = 0.01
    common: float = 0.0
    drift: float = 0.0
    lag: float = 0.0


def take_readings(truth: Truth, bench: Bench, random: np.random.Generator) -> SweepData:
    """Take the readings of one bench: two minutes each, pressures even in the logarithm but for a wobble."""
    counts = [bench.readings - bench.readings // 2, bench.readings // 2] if bench.sweeps == 2 else [bench.readings]
    legs = []
    for number, count in enumerate(counts):
        even = np.linspace(bench.low, bench.high, count)
        wobble = 0.2 * (bench.high - bench.low) / count * random.uniform(-1, 1, count)
        leg = np.sort(np.clip(even + wobble, bench.low, bench.high))
        legs.append(leg if number % 2 == 0 else leg[::-1])
    place = np.concatenate(legs)
    going = np.repeat([1.0, -1.0][: len(counts)], counts)
    time = 120.0 * np.arange(place.size, dtype=np.float64)
    true_speed = truth.speed(place) * (1.0 + bench.drift * (time / max(time[-1], 1.0) - 0.5))
    floor = 0.005 * truth.top if bench.proportional else bench.noise * truth.top

    def spread(speed: Array) -> Array:
        return np.hypot(floor, bench.noise * np.abs(speed)) if bench.proportional else np.full(speed.shape, floor)

    speed = true_speed + spread(true_speed) * random.standard_normal(place.size)
    own = bench.pressure_noise * random.standard_normal(place.size)
    shared = bench.common * random.standard_normal()
    return SweepData(
        pressure_pa=np.exp(place + own + shared - going * bench.lag),
        log_pressure_u=np.full(place.size, bench.pressure_noise),
        speed_rad_s=speed,
        speed_u_rad_s=spread(speed) / bench.understated,
        sweep=tuple(np.repeat(["up", "down"][: len(counts)], counts).tolist()),
        time_s=time,
        common_log_pressure_u=bench.common,
    )


@dataclass(frozen=True, eq=False)
class Example:
    """An invented sweep with its truth."""

    truth: Truth
    bench: Bench
    data: SweepData


def random_bench(random: np.random.Generator) -> Bench:
    """Draw a bench: 16 to 40 readings, one sweep or two, noise 1 to 10 %, two to three decades of pressure."""
    span = random.uniform(np.log(100.0), np.log(1000.0))
    middle = random.uniform(-3.0, 3.0)
    return Bench(
        low=middle - span / 2,
        high=middle + span / 2,
        readings=int(random.integers(16, 41)),
        sweeps=int(random.integers(1, 3)),
        noise=float(np.exp(random.uniform(np.log(0.01), np.log(0.10)))),
        proportional=bool(random.random() < 0.5),
        understated=float(random.choice([1.0, 1.0, 1.0, 2.0])),
        pressure_noise=float(random.uniform(0.0, 0.05)),
        common=float(random.uniform(0.0, 0.15)),
    )


def peaked_example(seed: int, shape: PeakedShape | None = None) -> Example:
    """Invent a sweep whose maximum lies well inside the range: each end below three quarters of the top."""
    random = np.random.default_rng([seed, 17])
    bench = random_bench(random)
    truth = peaked_truth(random, bench, shape or PEAKED_SHAPES[seed % len(PEAKED_SHAPES)])
    return Example(truth, bench, take_readings(truth, bench, random))


def peaked_truth(random: np.random.Generator, bench: Bench, shape: PeakedShape) -> Truth:
    """Draw a curve with each end of the range below three quarters of the top."""
    while True:
        truth = Truth(
            shape,
            place=float(random.uniform(bench.low, bench.high)),
            width=float(np.exp(random.uniform(np.log(0.35), np.log(1.1)))),
            skew=float(random.uniform(-1, 1)),
            top=float(np.exp(random.uniform(0.0, 4.0))),
        )
        if max(truth.speed([bench.low, bench.high])) < 0.75 * truth.top:
            return truth


def open_example(seed: int, shape: OpenShape | None = None) -> Example:
    """Invent a sweep with no maximum inside the range: monotone, flat, or with its peak beyond an end."""
    random = np.random.default_rng([seed, 29])
    shape = shape or OPEN_SHAPES[seed % len(OPEN_SHAPES)]
    bench = random_bench(random)
    place, width = random.uniform(bench.low, bench.high), np.exp(random.uniform(np.log(0.35), np.log(1.1)))
    if shape == "outside":
        beyond = random.uniform(0.2, 1.5)
        place = bench.high + beyond if random.random() < 0.5 else bench.low - beyond
    elif shape == "rising":
        place = bench.high
    truth = Truth(shape, float(place), float(width), float(random.uniform(-1, 1)), float(np.exp(random.uniform(0, 4))))
    return Example(truth, bench, take_readings(truth, bench, random))
