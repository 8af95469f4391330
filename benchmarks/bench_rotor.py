"""The rotor from first principles: speed of predictions and fits, coverage over seeds, and common practice.

The truth behind each invented set is drawn from the uncertainties that its bench states, so that the priors hold.
"""

from __future__ import annotations

import importlib
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
from measured import ROOT, Row, invented_bench, median_time, row, spent

from edgewind.bench import Bench
from edgewind.evidence.coastdown import CoastDown
from edgewind.evidence.fit import FitData, Likelihood, fit
from edgewind.evidence.scaling import scaling_of
from edgewind.rotor import parameters_of, predict, predict_whole, response_of, steady_state
from edgewind.rotor.speed_kernel import flat, steady_speeds, table_arrays

# The commit before the gas had its film temperature, which made the compiled loop slower.
BEFORE_FILM = "55092f6~1"
_KERNEL = "src/edgewind/rotor/speed_kernel.py"


def invented(bench: Bench, seed: int) -> tuple[dict[str, float], FitData]:
    """Draw a truth from the priors of a bench and take 30 readings and three coast-downs of it."""
    random = np.random.default_rng(seed)
    pressure = np.geomspace(0.02, 20.0, 30)
    flatly = FitData(
        pressure, np.full(30, 0.01), np.ones(30), np.full(30, 0.01), True, 0.05, (_coast(1.0, 0.01, 0.01, 0.01, 0.01),)
    )
    problem = Likelihood(bench, flatly)
    while True:
        scores = np.clip(random.standard_normal(len(problem.unknowns)), -2.2, 2.2)
        truth = {
            unknown.name: unknown.value(float(score)) for unknown, score in zip(problem.unknowns, scores, strict=True)
        }
        truth["scatter"] = 0.008
        values = np.array([truth[unknown.name] for unknown in problem.unknowns])
        own = np.exp(0.01 * random.standard_normal(30))
        speed = problem.predicted(values, pressure * own)[0]
        if np.all(speed > 0.05 * speed.max()):
            break
    seen = speed * (1 + 0.008 * random.standard_normal(30))
    coasts = []
    for p in (0.05, 0.6, 8.0):
        rate = float(problem.predicted(values, np.array([p]))[2, 0]) / truth["inertia"]
        dry = truth["pivot_dry"] / truth["inertia"]
        coasts.append(
            _coast(
                p,
                rate * (1 + 0.01 * random.standard_normal()),
                0.01 * rate,
                dry * (1 + 0.05 * random.standard_normal()),
                0.05 * dry,
            )
        )
    return truth, FitData(pressure, np.full(30, 0.01), seen, 1e-3 * seen, True, 0.05, tuple(coasts))


def _coast(pressure: float, rate: float, rate_u: float, dry: float, dry_u: float) -> CoastDown:
    return CoastDown(rate, rate_u, dry, dry_u, 0.0, 5.0, 0.6, 1.0, pressure, 0.05)


def kernel_time(pressures: Any, numbers: Any, arrays: Any, kernel: Any = steady_speeds) -> float:
    """Return the least time of the compiled loop over a number of pressures, s."""
    kernel(pressures, numbers, *arrays)
    return min(spent(lambda: [kernel(pressures, numbers, *arrays) for _ in range(20)], 30)) / 20


def kernel_before_film(pressures: Any, numbers: Any, table: Any) -> float | None:
    """Return the same for the loop before the film temperature; None without the history of the repository.

    The file of that commit is run with the same rotor and the same table.
    """
    shown = subprocess.run(["git", "show", f"{BEFORE_FILM}:{_KERNEL}"], cwd=ROOT, capture_output=True, text=True)
    if shown.returncode:
        return None
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "kernel_before_film.py").write_text(shown.stdout, encoding="utf-8")
        sys.path.insert(0, folder)
        try:
            old = importlib.import_module("kernel_before_film")
        finally:
            sys.path.remove(folder)
        arrays = (np.log(table.knudsen), *(np.ascontiguousarray(a) for a in (table.cubics, table.free, table.top)))
        return kernel_time(pressures, numbers, (*arrays, table.accommodation), old.steady_speeds)


def run(full: bool = True) -> list[Row]:
    """Time predictions and one fit, measure coverage, and compare with common practice."""
    bench = invented_bench(arm="22 mm")
    pressures = np.geomspace(0.02, 20.0, 100)
    rotor = parameters_of(bench)
    table = response_of(rotor)
    plain = median_time(lambda: steady_state(pressures, rotor, table), 20)
    numbers, arrays = flat(rotor), table_arrays(table)
    compiled = median_time(lambda: steady_speeds(pressures, numbers, *arrays), 50)
    rows = [
        row("predict, a table of 100 pressures", median_time(lambda: predict(bench, pressures), 20), "s", "0.2"),
        row("compiled loop against plain NumPy, 100 pressures", plain / compiled, "times"),
        row("  its time per pressure", 1e9 * kernel_time(pressures, numbers, arrays) / pressures.size, "ns"),
    ]
    before = kernel_before_film(pressures, numbers, table)
    if before is not None:
        now = kernel_time(pressures, numbers, arrays)
        rows.append(row("  over that of the loop without the film temperature, same run", now / before, "times", "2"))
    seeds = range(1, 21 if full else 3)
    inside: dict[str, list[bool]] = {}
    times = []
    for seed in seeds:
        truth, data = invented(bench, seed)
        start = time.perf_counter()
        found = fit(bench, data, seed=seed)
        times.append(time.perf_counter() - start)
        for one in found.marginals:
            if one.fixed_by_data != "no":
                inside.setdefault(one.unknown.name, []).append(
                    one.interval[0] <= truth[one.unknown.name] <= one.interval[1]
                )
    hits = [hit for list_of in inside.values() for hit in list_of]
    rows.append(row("a fit of 30 readings and 3 coast-downs, median", float(np.median(times)), "s", "60"))
    name = f"truth inside 90 %, identifiable unknowns, {len(seeds)} seeds"
    rows.append(row(name, float(np.mean(hits)), "", "0.84"))
    for name, list_of in inside.items():
        rows.append(row(f"  {name}, {len(list_of)} times identifiable", float(np.mean(list_of)), "", "0.84"))
    air = {
        "rotor.vane_width": "10 mm",
        "rotor.vane_height": "10 mm",
        "gas.species": "air",
        "rotor.pivot_dry_torque": "1e-12 N m",
        "rotor.pivot_viscous": "1e-13 N m s",
    }
    practice = predict_whole(bench, [0.02, 20.0], changes=air)
    name = "fastest pressure of a 10 mm vane in air, good pivot (practice: near 1)"
    rows.append(row(name, practice.speed.pressure_pa, "Pa", "1"))
    rows.append(row("pressure of its greatest torque", practice.force.pressure_pa, "Pa"))
    start = time.perf_counter()
    law = scaling_of(bench, draws=100)
    taken = time.perf_counter() - start
    rows.append(row("exponent of the optimum pressure on the width, 6 to 24 mm", law.exponent))
    rows.append(row("  time of its computation from 7 widths and 100 draws", taken, "s"))
    return rows
