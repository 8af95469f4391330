"""Invented benches at which one can measure anywhere, and a race of an adaptive sweep against an even one.

For tests and benchmarks of the plan.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.special import betaincinv

from edgewind.evidence import Optimum, SweepData, find_optimum
from edgewind.plan.propose import propose
from edgewind.plan.ranges import even_places
from support.sweeps import PEAKED_SHAPES, Bench, Truth, peaked_truth, take_readings

Row = dict[str, Any]
EVEN, START, MOST = 24, 6, 40


def invent(seed: int) -> tuple[Truth, Bench]:
    """Invent a bench: five shapes, widths of 0.35 to 1.1 in ln(pressure), 1 to 10 % noise, two to three decades."""
    random = np.random.default_rng([seed, 101])
    span, middle = random.uniform(np.log(100.0), np.log(1000.0)), random.uniform(-3.0, 3.0)
    bench = Bench(
        low=middle - span / 2,
        high=middle + span / 2,
        readings=EVEN,
        noise=float(np.exp(random.uniform(np.log(0.01), np.log(0.10)))),
        proportional=bool(random.random() < 0.5),
        pressure_noise=float(random.uniform(0.0, 0.03)),
    )
    return peaked_truth(random, bench, PEAKED_SHAPES[seed % len(PEAKED_SHAPES)]), bench


class Apparatus:
    """A bench at which one can measure at any pressure, one reading after another."""

    def __init__(self, seed: int) -> None:
        self.truth, self.bench = invent(seed)
        self.random = np.random.default_rng([seed, 102])
        self.taken: list[tuple[float, float, float]] = []

    def measure(self, place: float) -> None:
        """Take one reading at ln(pressure / Pa)."""
        truth, bench = self.truth, self.bench
        speed = float(truth.speed(place))
        floor = (0.005 if bench.proportional else bench.noise) * truth.top
        u = float(np.hypot(floor, bench.noise * speed)) if bench.proportional else floor
        read = speed + u * self.random.standard_normal()
        stated = float(np.hypot(floor, bench.noise * abs(read))) if bench.proportional else floor
        self.taken.append((np.exp(place + bench.pressure_noise * self.random.standard_normal()), read, stated))

    def data(self) -> SweepData:
        """The readings so far, two minutes each, in the order taken."""
        pressure, speed, u = np.array(self.taken).T
        own = np.full(pressure.size, self.bench.pressure_noise)
        return SweepData(pressure, own, speed, u, time_s=120.0 * np.arange(pressure.size))


def _width(optimum: Optimum) -> float:
    assert optimum.interval_pa is not None
    return float(np.log(optimum.interval_pa[1] / optimum.interval_pa[0]))


def _holds(optimum: Optimum, truth: Truth) -> bool:
    assert optimum.interval_pa is not None
    return bool(optimum.interval_pa[0] <= np.exp(truth.place) <= optimum.interval_pa[1])


def _error(optimum: Optimum, truth: Truth) -> float:
    assert optimum.pressure_pa is not None
    return abs(float(np.log(optimum.pressure_pa)) - truth.place)


def race(seed: int) -> Row | None:
    """Run both sweeps on one bench; None if the even sweep finds no optimum as a target.

    Returns
    -------
    dict or None
        ``aim``, the width in ln(pressure) of the even sweep's interval; ``even holds`` and ``even error``, whether it
        holds the truth and how far its middle is from it; the number of readings at which the adaptive interval is
        first as narrow, ``first``, and confirmed by one more, ``stop``, with the same of each, where that comes within
        40 readings; ``expected`` and ``narrowed``, logarithms of the width after each reading over that before.
    """
    truth, bench = invent(seed)
    even = find_optimum(take_readings(truth, bench, np.random.default_rng([seed, 103])))
    if not even.found:
        return None
    aim = _width(even)
    apparatus = Apparatus(seed)
    ends = (float(np.exp(bench.low)), float(np.exp(bench.high)))
    for pressure in even_places(*ends, START):
        apparatus.measure(float(np.log(pressure)))
    row: Row = {"aim": aim, "even holds": _holds(even, truth), "even error": _error(even, truth)}
    expected: list[float] = []
    narrowed: list[float] = []
    before: Optimum | None = None
    hope = 0.0
    for count in range(START, MOST + 1):
        plan = propose(apparatus.data(), range_pa=ends)
        optimum = plan.optimum
        if before is not None and before.found and optimum.found:
            narrowed.append(float(np.log(_width(optimum) / _width(before))))
            expected.append(hope)
        reached = optimum.found and _width(optimum) <= aim
        if reached and "first" not in row:
            row |= {"first": count, "first holds": _holds(optimum, truth), "first error": _error(optimum, truth)}
        if reached and before is not None and before.found and _width(before) <= aim:
            row |= {"stop": count, "stop holds": _holds(optimum, truth), "stop error": _error(optimum, truth)}
            break
        hope = float(np.log(plan.widths[1] / plan.widths[0])) if optimum.found else 0.0
        apparatus.measure(float(np.log(plan.readings[0].pressure_pa)))
        before = optimum
    return row | {"expected": expected, "narrowed": narrowed}


def binomial_interval(hits: int, count: int, level: float = 0.95) -> tuple[float, float]:
    """Clopper and Pearson's (1934) interval of a share, both ends in per cent."""
    tail = (1 - level) / 2
    low = betaincinv(hits, count - hits + 1, tail) if hits else 0.0
    high = betaincinv(hits + 1, count - hits, 1 - tail) if hits < count else 1.0
    return 100 * float(low), 100 * float(high)
