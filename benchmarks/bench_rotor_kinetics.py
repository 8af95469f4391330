"""The whole rotor: sweeps on processors, sweeps by Kn, free flight against rays, the shipped surface.

Run of 2026-11-29 on 16 cores: two cores 1.56e9 updates a second, one core 8.9e8; most fine sweeps 7 at Kn 1, 8 at 0.1,
9 at 0.03, 10 (box) and 11 (cylinder) at 0.01; four vanes at Kn 0.1 to 1 % in 12 s on a slower machine's cores. For
a GPU see bench_gpu.py.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import time
from collections.abc import Hashable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from measured import Row, row, spent

from edgewind.kinetics import RotorRatios
from edgewind.kinetics.device import choose_device
from edgewind.kinetics.geometry import Shape
from edgewind.kinetics.rotor_entries import MOST_CELLS, Entry, compute, entries
from edgewind.kinetics.rotor_grid import Rotor
from edgewind.kinetics.rotor_operator import RotorDrive
from edgewind.kinetics.rotor_respond import MAIN, coefficients, refine
from edgewind.kinetics.rotor_solve import RotorCase, RotorResolution, solve_rotor
from edgewind.kinetics.rotor_table import KEY, NAMES, lone_square
from edgewind.runner import open_runner

SQUARE = Shape("square")
FOUR = Rotor(SQUARE, 4, 1.5, 6.0, 4.0)


def rates(full: bool) -> list[Row]:
    """Measure updates per second of one sweep on one and two cores."""
    rows = []
    level = RotorResolution.level(2 if full else 0, 1.0)
    case = RotorCase(FOUR, 1.0)
    found = {}
    for name, workers in (("one core", 1), ("two cores", 2)):
        operator = case.operator(level, -1.0, workers)
        y = np.random.default_rng(0).normal(size=operator.size)
        operator.sweep(y)
        found[name] = operator.updates / min(spent(lambda operator=operator, y=y: operator.sweep(y), 5))
        rows.append(row(f"rotor: cell-velocity updates, four vanes, {name}", found[name], "1/s"))
    rows.append(row("rotor: gain from the second core", found["two cores"] / found["one core"], "1", 1.8))
    return rows


def solves(full: bool) -> list[Row]:
    """Measure whole solves, and the greatest number of fine sweeps towards the continuum."""
    rows = []
    begun = time.perf_counter()
    answer = refine(RotorCase(FOUR, 0.1), 1e-2, 2, *choose_device("cpu"))
    rows.append(row("rotor: four vanes at Kn 0.1, 1e-2", time.perf_counter() - begun, "s"))
    rows.append(row("rotor: reached", float(answer.reached), "1", 1.0))
    for kn in (1.0, 0.1, 0.03, 0.01) if full else (0.1,):
        for is_round in (False, True):
            rotor = Rotor(SQUARE, 4, 1.0, 3.6, 1.8, is_round)
            solved = solve_rotor(RotorCase(rotor, kn), RotorResolution(4, 4), ("faces", "both", "spin"), workers=2)
            shape = "cylinder" if is_round else "box"
            most = max(solution.sweeps for solution in solved)
            rows.append(row(f"rotor: most fine sweeps, Kn {kn:g}, {shape}", most, "1", 12))
            coarse = max(solution.coarse_sweeps for solution in solved)
            rows.append(row(f"rotor: coarse work, Kn {kn:g}, {shape}", coarse, "fine sweeps"))
    return rows


def rays(full: bool) -> list[Row]:
    """Compare free flight with chains of rays for three arms and two chambers."""
    place = Path(__file__).parents[1] / "tests" / "kinetics" / "rays.py"
    spec = importlib.util.spec_from_file_location("rays", place)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    rows = []
    chambers = ((False, 1.3), (True, 2.0)) if full else ((False, 1.3),)
    for arm in (1.0, 1.5, 3.0) if full else (1.5,):
        for is_round, ratio in chambers:
            width = ratio * (2.0 * arm + 1.0)
            rotor = Rotor(SQUARE, 4, arm, width, 3.0, is_round)
            drives = ("faces", "both", RotorDrive(spin=1.0 / arm))
            level = RotorResolution.level(2, np.inf)
            found = coefficients(*solve_rotor(RotorCase(rotor, np.inf), level, drives, workers=2))
            traced = module.free_flight(4, arm, width, 3.0, is_round=is_round, rays=1_000_000 if full else 50_000)
            for name in MAIN:
                about = f"rotor: free flight, {name} over rays less 1, arm {arm:g}, chamber {width:.3g}"
                rows.append(row(about, found[name] / traced[name] - 1.0, "1", 0.005))
    return rows


def surface() -> list[Row]:
    """Measure the time to evaluate the ratios of a rotor by the shipped surface."""
    kn = np.geomspace(0.03, 100.0, 33)
    RotorRatios.standard(4).at(1.5, 2.0, 1.0, kn, 1.0)
    taken = min(spent(lambda: RotorRatios.standard(4).at(1.5, 2.0, 1.0, kn, 1.0), 5))
    return [row("rotor: ratios at 33 Kn from the shipped surface", taken, "s")]


def run(full: bool = True) -> list[Row]:
    """Measure; the short form leaves out everything that takes minutes."""
    return [*rates(full), *solves(full), *rays(full), *surface()]


def fresh(rotors: Sequence[Entry], seed: int, file: Path, levels: tuple[int, ...] = (0, 1)) -> list[Row]:
    """Solve random rotors that are in no table, on all cores, and compare the shipped surface with them.

    Parameters
    ----------
    rotors : sequence of Entry
        The rotors.
    seed : int
        Seed that they were drawn with.
    file : Path
        Each solution is appended as a line of JSON; rotors found in the file are not solved again.
    levels : tuple of int
        Resolutions: the result is that of the last, its error the difference of the last two.
    """
    lines = [json.loads(line) for line in file.read_text().splitlines()] if file.is_file() else []
    kept = [line for line in lines if line["seed"] == seed and line["levels"] == list(levels)]
    known = {line["number"] for line in kept}
    # Dense gas, which takes longest, comes first, so that cores are idle only at the end.
    missing = sorted(set(range(len(rotors))) - known, key=lambda number: rotors[number].knudsen)

    def keep(place: int, solved: Mapping[Hashable, object]) -> None:
        about = {"seed": seed, "number": missing[place], "levels": list(levels)}
        kept.append(about | {str(name): float(str(value)) for name, value in solved.items()})
        with file.open("a") as lines:
            lines.write(json.dumps(kept[-1]) + "\n")
        print(f"  {len(kept)} of {len(rotors)}: rotor {missing[place]}, {kept[-1]['seconds']:.0f} s", flush=True)

    with open_runner(None) as runner:
        # Workers share one GPU: only large sweeps run on it.
        pieces = [(rotors[number], levels, "auto", 5_000_000) for number in missing]
        runner.map(compute, pieces, on_result=keep)
    return judged(kept)


def judged(lines: list[dict[str, Any]]) -> list[Row]:
    """Return the differences of the surface from rotors solved directly."""
    off, stated, solved = [], [], []
    for vanes, data in pd.DataFrame(lines).groupby("vanes"):
        place = [data[name].to_numpy(float) for name in KEY[1:]]
        ratios, lone = RotorRatios.standard(int(vanes)), lone_square(place[3], place[4])  # type: ignore[call-overload]
        found, error = ratios.at(*place), ratios.error(*place)
        for name in NAMES:
            direct = data[name].to_numpy(float)
            off.append(np.abs(np.log(found[name] * lone[name] / direct)))
            stated.append(error[name])
            solved.append(data[f"{name}_error"].to_numpy(float) / direct)
    distance, surface, direct = (np.concatenate(part) for part in (off, stated, solved))
    both = np.hypot(surface, direct)
    return [
        row("new random rotors solved directly", len(lines)),
        row("coefficients more than 2 % from the surface", int(np.sum(distance > 0.02)), "", 0),
        row("greatest difference", float(distance.max()), "", 0.02),
        row("root mean square of the difference", float(np.sqrt(np.mean(distance**2)))),
        row("within the stated error of surface and solution", float(np.mean(distance <= both)), "1"),
        row("within twice that", float(np.mean(distance <= 2.0 * both)), "1", 0.9),
        row("within twice the surface's error alone", float(np.mean(distance <= 2.0 * surface)), "1"),
        row("error of the direct solutions, root mean square", float(np.sqrt(np.mean(direct**2)))),
        row("error of the direct solutions, greatest", float(direct.max())),
    ]


def main() -> None:
    """Solve new random rotors, and print the differences of the surface from them."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--rotors", type=int, required=True, help="number of rotors")
    parser.add_argument("--seed", type=int, required=True, help="seed of the draws")
    parser.add_argument("--knudsen", default="", help="range, such as 0.01,0.03; default: that of the tables")
    parser.add_argument("--cells", type=int, default=MOST_CELLS, help="leave out rotors whose first grid has more")
    parser.add_argument("--levels", default="0,1", help="resolutions; the last two give the error")
    parser.add_argument("--out", type=Path, default=Path("fresh-rotors.jsonl"), help="file of the solutions; resumable")
    asked = parser.parse_args()
    levels = tuple(int(level) for level in asked.levels.split(","))
    low_high = tuple(float(kn) for kn in asked.knudsen.split(",")) if asked.knudsen else None
    drawn = list(entries(asked.rotors, seed=asked.seed, knudsen=low_high, most_cells=asked.cells))  # type: ignore[arg-type]
    for one in fresh(drawn, asked.seed, asked.out, levels):
        print(f"{one['name']:<60} {one['value']:.4g}  target {one['target'] if one['target'] is not None else '-'}")


if __name__ == "__main__":
    main()
