"""Rotors spread over the ranges of the shipped surface, and the solution of each."""

from __future__ import annotations

import time
from collections.abc import Hashable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from edgewind.kinetics import gpu
from edgewind.kinetics.device import choose_device
from edgewind.kinetics.geometry import Shape
from edgewind.kinetics.rotor_grid import Rotor, rotor_grid
from edgewind.kinetics.rotor_operator import RotorDrive
from edgewind.kinetics.rotor_respond import MAIN, coefficients
from edgewind.kinetics.rotor_solve import RotorCase, RotorResolution, RotorSolution, solve_rotor
from edgewind.kinetics.rotor_table import (
    ARMS,
    ASPECTS,
    CHAMBERS,
    DENSE,
    DIFFUSE,
    SMALLEST,
    knudsen_of,
    place_of,
)

# A first grid of more cells takes minutes: those few corners of the ranges, large chambers in dense gas, are left out.
MOST_CELLS = 24_000
# Rotors of the tables from Kn 0.03 on.
COUNT = 501
# Dense gas asks for more. The first 37 rotors with no more than these were solved; what is larger did not end in time.
DENSE_COUNT, DENSE_CELLS = 37, 44_000


@dataclass(frozen=True)
class Entry:
    """A rotor of the tables: vanes, arm, chamber over rotor, height over width, Knudsen number, accommodation."""

    vanes: int
    arm: float
    chamber: float
    aspect: float
    knudsen: float
    accommodation: float

    @property
    def case(self) -> RotorCase:
        """The case to solve: a cylinder as high as it is wide."""
        shape = Shape("square") if self.aspect == 1.0 else Shape("rectangle", self.aspect)
        width = self.chamber * (2.0 * self.arm + 1.0)
        rotor = Rotor(shape, self.vanes, self.arm, width, width, True)
        return RotorCase(rotor, self.knudsen, self.accommodation, self.accommodation)

    def feasible(self, most_cells: int = MOST_CELLS) -> bool:
        """Return whether the vanes fit into the chamber, and the first grid is not too large."""
        rotor = self.case.rotor
        if rotor.height < self.aspect + 0.2:
            return False
        return rotor_grid(rotor, self.knudsen, 0.4).cells * (2 if self.vanes == 2 else 1) <= most_cells


def entry_at(u: np.ndarray, vanes: int) -> Entry:
    """Return the rotor at a point of the unit cube, uniform in 1/arm, 1/chamber and ln aspect."""

    def between(x: float, low: float, high: float) -> float:
        return low + x * (high - low)

    low, high = (place_of(kn) for kn in (DENSE, np.inf))
    place = between(float(u[3]), float(low), float(high) + 0.15)
    return Entry(
        vanes,
        round(1.0 / between(float(u[0]), 1.0 / ARMS[1], 1.0 / ARMS[0]), 4),
        round(1.0 / between(float(u[1]), 1.0 / CHAMBERS[1], 1.0 / CHAMBERS[0]), 4),
        round(float(np.exp(between(float(u[2]), *np.log(ASPECTS)))), 4),
        float(f"{float(knudsen_of(place)):.5g}") if place < float(high) else np.inf,
        round(between(float(u[4]), *DIFFUSE), 4),
    )


# Of the random rotors that the tests compare the surface with.
HELD_SEED = 20_26


def entries(
    count: int,
    *,
    seed: int | None = None,
    knudsen: tuple[float, float] | None = None,
    most_cells: int = MOST_CELLS,
) -> Iterator[Entry]:
    """Yield a number of rotors, alternately of four and two vanes: those of the tables, or random ones of a seed.

    A larger count begins with the rotors of a smaller one.

    Parameters
    ----------
    count : int
        How many.
    seed : int, optional
        Seed of random rotors.
    knudsen : pair of float, optional
        Least and greatest Knudsen number, even in its logarithm; 0.03 to free flight where absent.
    most_cells : int
        Rotors whose first grid has more are left out.
    """
    from scipy.stats import qmc

    if seed is not None:
        points = np.random.default_rng(seed).random((4 * count + 64, 5))
    else:
        # Corners matter to an interpolation: the sequence is stretched a little over the ends of its ranges.
        points = np.clip(1.08 * (qmc.Sobol(5, seed=14).random(4096) - 0.5) + 0.5, 0.0, 1.0)
    found = 0
    for number, point in enumerate(points):
        entry = entry_at(point, 2 if number % 5 in (1, 3) else 4)
        if knudsen is not None:
            low, high = np.log(knudsen)
            entry = replace(entry, knudsen=float(f"{np.exp(low + point[3] * (high - low)):.5g}"))
        if found < count and entry.feasible(most_cells):
            found += 1
            yield entry


def dense_entries() -> Iterator[Entry]:
    """Yield the rotors of the tables in dense gas, below the least Knudsen number of the others."""
    return entries(DENSE_COUNT, knudsen=(SMALLEST, DENSE), most_cells=DENSE_CELLS)


def compute(entry: Entry, levels: tuple[int, ...], device: str, card_from: int) -> Mapping[Hashable, object]:
    """Return one line: coefficients at the last of these levels, errors from the level before.

    Sweeps of less than `card_from` updates run on the processor: several workers share a GPU.
    """
    gpu.LEAST_UPDATES = card_from
    begun = time.perf_counter()
    operator_for = choose_device(device)[1]
    drives = ("faces", "both", RotorDrive(spin=1.0 / entry.arm))
    last: list[dict[str, float]] = []
    solutions: list[RotorSolution] = []
    for number in levels:
        level = RotorResolution.level(number, entry.knudsen)
        solutions = solve_rotor(entry.case, level, drives, start=solutions, operator_for=operator_for)
        last.append(coefficients(*solutions))
    line: dict[Hashable, object] = {
        "vanes": entry.vanes, "arm": entry.arm, "chamber": entry.chamber, "aspect": entry.aspect,
        "knudsen": f"{entry.knudsen:.10g}", "accommodation": entry.accommodation,
    }  # fmt: skip
    line |= {name: f"{last[-1][name]:.6g}" for name in MAIN}
    # The staircase of the round wall is about of first order.
    line |= {f"{name}_error": f"{abs(last[-1][name] - last[-2][name]) / (2.0**0.5 - 1.0):.2g}" for name in MAIN}
    line["seconds"] = f"{time.perf_counter() - begun:.1f}"
    return line
