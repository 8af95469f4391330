"""Growth of cost: of a study with its readings, of the kinetic solver with cells, ordinates and 1/Kn.

Processor time of one thread, the least of several runs. Each row has its points, which the manual draws; its value is
the exponent of a power law through the last half of them, where the constant cost of a run no longer matters.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from functools import partial
from typing import TypeVar

import numpy as np
from measured import Row, row, spent
from support.sweeps import Bench, Truth, take_readings

from edgewind.evidence import find_optimum
from edgewind.kinetics.geometry import Room, Shape
from edgewind.kinetics.solve import Case, Resolution, Solution, solve

Found = TypeVar("Found")
ENOUGH_S = 1.0  # processor time on one point after which it is not measured again


def grown(name: str, along: str, points: Sequence[tuple[float, float]]) -> Row:
    """Return a row with its points: the amount, and the processor time in seconds."""
    at, seconds = np.array(sorted(points)).T
    fitted = (at.size + 1) // 2
    power = float(np.polyfit(np.log(at[-fitted:]), np.log(seconds[-fitted:]), 1)[0])
    told = row(f"{name} as a power of {along}", power, "1")
    return told | {"along": along, "points": np.stack([at, seconds], axis=1).tolist(), "fitted": fitted}


def least_time(call: Callable[[], Found]) -> tuple[float, Found]:
    """Return the least processor time, s, of five runs or as many as fit :data:`ENOUGH_S`, and their result."""
    found: list[Found] = []
    taken: list[float] = []
    while not taken or (len(taken) < 5 and sum(taken) < ENOUGH_S):
        taken += spent(lambda: found.append(call()), 1, time.process_time)
    return min(taken), found[0]


def of_readings(counts: Sequence[int]) -> Row:
    """Measure curve and optimum of an up and a down sweep."""
    truth, points = Truth("balance", 0.0, 0.8, 0.0, 10.0), []
    for count in counts:
        data = take_readings(truth, Bench(readings=count, sweeps=2), np.random.default_rng(0))
        points.append((float(count), least_time(partial(find_optimum, data))[0]))
    return grown("time of curve and optimum", "readings", points)


def of_solver(
    along: str, cases: Sequence[tuple[float, Resolution]], measure: Callable[[float, Solution], float]
) -> Row:
    """Measure one drive of the strip at several Knudsen numbers and resolutions."""
    points = []
    for knudsen, resolution in cases:
        case = Case(Shape("strip"), Room(4.0, 4.0), knudsen)
        seconds, (found,) = least_time(partial(solve, case, resolution, ("faces",), workers=1))
        points.append((measure(knudsen, found), seconds))
    return grown("time of a solve", along, points)


def run(full: bool = True) -> list[Row]:
    """Measure; the short form leaves out the most expensive points."""
    solve(Case(Shape("strip"), Room(4.0, 4.0), 1.0), Resolution(0.5, 8), ("faces",), workers=1)
    fine = 7 if full else 5
    cells = [(0.3, Resolution(2.0 ** (step / 2), 32)) for step in range(fine)]
    ordinates = [(0.3, Resolution(2.0, 32 * 2**step)) for step in range(fine)]
    thin = [(float(kn), Resolution(2.0, 32)) for kn in np.geomspace(1.0, 0.01 if full else 0.1, fine)]
    return [
        of_readings((10, 20, 40, 80, 160, 320) if full else (10, 20, 40, 80)),
        of_solver("cells", cells, lambda kn, found: found.grid.cells),
        of_solver("ordinates", ordinates, lambda kn, found: found.velocities),
        of_solver("1/Kn", thin, lambda kn, found: 1 / kn),
    ]
