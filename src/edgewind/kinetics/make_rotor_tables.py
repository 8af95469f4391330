"""Compute the shipped answers of rotors: ``python -m edgewind.kinetics.make_rotor_tables [OUT.csv]``.

Rotors of two and four square vanes are spread over the ranges of arm, chamber, height, Knudsen number and accommodation
by a Sobol sequence, the same for everyone: a table that was cut short goes on where it stopped. `rotor_table` draws a
smooth surface through them. ``--held`` computes other, random rotors more finely: what the surface is checked by.
``--fit`` computes none; it finds how fast the surfaces change along each coordinate and writes that to
``rotor_surfaces.json`` beside the table.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Hashable, Iterator, Mapping
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import pandas as pd

from edgewind.kinetics import gpu
from edgewind.kinetics.geometry import Shape
from edgewind.kinetics.rotor_grid import Rotor, rotor_grid
from edgewind.kinetics.rotor_operator import RotorDrive
from edgewind.kinetics.rotor_respond import MAIN, choose_device, coefficients
from edgewind.kinetics.rotor_solve import RotorCase, RotorResolution, RotorSolution, solve_rotor
from edgewind.kinetics.rotor_table import (
    ARMS,
    ASPECTS,
    CHAMBERS,
    DIFFUSE,
    KEY,
    SMALLEST,
    VANES,
    knudsen_of,
    place_of,
    read_answers,
    surfaces_of,
)

# A first grid of more cells takes minutes: those few corners of the ranges, large chambers in dense gas, are left out.
MOST_CELLS = 24_000


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

    @property
    def feasible(self) -> bool:
        """Whether the vanes fit into the chamber, and the first grid is not too large."""
        rotor = self.case.rotor
        if rotor.height < self.aspect + 0.2:
            return False
        return rotor_grid(rotor, self.knudsen, 0.4).cells * (2 if self.vanes == 2 else 1) <= MOST_CELLS


def spread(u: np.ndarray, vanes: int) -> Entry:
    """Return the rotor at a point of the unit cube: even in 1/arm, 1/chamber and ln aspect."""

    def between(x: float, low: float, high: float) -> float:
        return low + x * (high - low)

    low, high = (place_of(kn) for kn in (SMALLEST, np.inf))
    place = between(float(u[3]), float(low), float(high) + 0.15)
    return Entry(
        vanes,
        round(1.0 / between(float(u[0]), 1.0 / ARMS[1], 1.0 / ARMS[0]), 4),
        round(1.0 / between(float(u[1]), 1.0 / CHAMBERS[1], 1.0 / CHAMBERS[0]), 4),
        round(float(np.exp(between(float(u[2]), *np.log(ASPECTS)))), 4),
        float(f"{float(knudsen_of(place)):.5g}") if place < float(high) else np.inf,
        round(between(float(u[4]), *DIFFUSE), 4),
    )


def entries(count: int, *, held: bool = False) -> Iterator[Entry]:
    """Yield that many rotors, of four and two vanes by turns."""
    from scipy.stats import qmc

    if held:
        points = np.random.default_rng(20_26).random((4 * count + 64, 5))
    else:
        # Corners matter to an interpolation: the sequence is stretched a little over the ends of its ranges.
        points = np.clip(1.08 * (qmc.Sobol(5, seed=14).random(4096) - 0.5) + 0.5, 0.0, 1.0)
    found = 0
    for number, point in enumerate(points):
        entry = spread(point, 2 if number % 5 in (1, 3) else 4)
        if found < count and entry.feasible:
            found += 1
            yield entry


def compute(entry: Entry, levels: tuple[int, ...], device: str) -> Mapping[Hashable, object]:
    """Return one line: coefficients at the last of these levels, errors from the level before."""
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


def share_card(least: int) -> None:
    """Leave smaller sweeps to the processors: several workers take turns on the card."""
    gpu.LEAST_UPDATES = least


def place(line: Mapping[Hashable, object]) -> tuple[str, ...]:
    """Return what tells a line apart."""
    return tuple(f"{float(str(line[name])):.6g}" for name in KEY)


def fitted(table: Path) -> dict[str, dict[str, dict[str, object]]]:
    """Return lengths, scale and noise of the surfaces through a table, by number of vanes and coefficient."""
    data, found = read_answers(table), {}
    for vanes in VANES:
        lines = data[data["vanes"] == vanes]
        found[str(vanes)] = {
            name: {
                "lengths": [round(float(length), 4) for length in surface.lengths],
                "scale": round(surface.scale, 6),
                "noise": round(float(np.sqrt(np.min(surface.noise**2 - _known(lines, name) ** 2))), 6),
            }
            for name, surface in surfaces_of(lines).items()
        }
    return found


def _known(lines: pd.DataFrame, name: str) -> np.ndarray:
    return np.asarray(lines[f"{name}_error"].to_numpy(float) / lines[name].to_numpy(float))


def main() -> None:
    """Write the answers to the file named, or to the package, each as soon as it is there."""
    asked = argparse.ArgumentParser(description="Compute the shipped answers of rotors.")
    asked.add_argument("out", nargs="?", type=Path, default=Path(__file__).with_name("rotor_tables.csv"))
    asked.add_argument("--count", type=int, default=600)
    asked.add_argument("--held", action="store_true", help="random rotors, one level more finely")
    asked.add_argument("--fit", action="store_true", help="only fit the surfaces to the table")
    asked.add_argument("--device", default="auto")
    asked.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    asked.add_argument(
        "--card-from", type=int, default=5_000_000,
        help="smallest sweep, in updates, for the card that the workers share",
    )  # fmt: skip
    asked.add_argument("--seconds", type=float, default=np.inf, help="start none after that time")
    given = asked.parse_args()
    if given.fit:
        given.out.with_name("rotor_surfaces.json").write_text(json.dumps(fitted(given.out), indent=1) + "\n")
        return
    begun = time.monotonic()
    known: dict[tuple[str, ...], Mapping[Hashable, object]] = {}
    if given.out.exists():
        known = {place(line): line for line in pd.read_csv(given.out, comment="#", dtype=str).to_dict("records")}
    levels = (1, 2) if given.held else (0, 1)
    todo = [
        e for e in entries(given.count, held=given.held)
        if place({"vanes": e.vanes, "arm": e.arm, "chamber": e.chamber, "aspect": e.aspect, "knudsen": e.knudsen,
                  "accommodation": e.accommodation}) not in known
    ]  # fmt: skip
    made = "--held" if given.held else ""
    head = f"# made by: python -m edgewind.kinetics.make_rotor_tables {made}".strip() + "\n"
    with ProcessPoolExecutor(
        given.workers, mp_context=get_context("spawn"), initializer=share_card, initargs=(given.card_from,)
    ) as pool:  # fmt: skip
        waiting, queue = set(), iter(todo)

        def order() -> None:
            entry = next(queue, None) if time.monotonic() - begun < given.seconds else None
            if entry is not None:
                waiting.add(pool.submit(compute, entry, levels, given.device))

        for _ in range(given.workers):
            order()
        while waiting:
            done = next(as_completed(waiting))
            waiting.remove(done)
            line = done.result()
            known[place(line)] = line
            order()
            given.out.write_text(head + pd.DataFrame(list(known.values())).to_csv(index=False))
            print(len(known), f"{time.monotonic() - begun:.0f} s:", *line.values(), file=sys.stderr, flush=True)


if __name__ == "__main__":
    main()
