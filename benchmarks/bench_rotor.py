"""The rotor from first principles: speed of predictions and fits, coverage over seeds, and common practice.

The truth behind each invented set is drawn about what its bench states, so that the priors are what they say.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from edgewind.bench import Bench, parse_bench
from edgewind.evidence.coastdown import CoastDown
from edgewind.evidence.fit import FitData, Problem, fit
from edgewind.evidence.scaling import scaling_of
from edgewind.rotor import parameters_of, predict, predict_whole, response_of, steady_state
from edgewind.rotor.speed_kernel import flat, steady_speeds, table_arrays

BENCH = """
experiment = { title = "invented" }
gas = { species = "N2", temperature = "22 degC" }
chamber = { width = "100 mm", height = "100 mm" }
light = { arrangement = "beam", irradiance = "800 +/- 80 W/m^2" }
gauge = { kind = "display", principle = "diaphragm", transfer_uncertainty = "5 %" }
tachometer = { marks = 4 }
[rotor]
vanes = 4
vane_width = "12 mm"
vane_height = "12 mm"
vane_thickness = "0.1 mm"
arm = "22 mm"
leading_face = "bright"
bright_emissivity = "0.80 +/- 0.05"
vane_conductance = "80 +/- 30 W/(m^2 K)"
accommodation = "0.9 +/- 0.04"
pivot_dry_torque = "1e-10 +/- 40 % N m"
pivot_viscous = "6e-11 +/- 40 % N m s"
moment_of_inertia = "9e-8 +/- 8 % kg m^2"
"""


def invented(bench: Bench, seed: int) -> tuple[dict[str, float], FitData]:
    """Draw a truth from the priors of a bench and take 30 readings and three coast-downs of it."""
    random = np.random.default_rng(seed)
    pressure = np.geomspace(0.02, 20.0, 30)
    flatly = FitData(
        pressure, np.full(30, 0.01), np.ones(30), np.full(30, 0.01), True, 0.05, (_coast(1.0, 0.01, 0.01, 0.01, 0.01),)
    )
    problem = Problem(bench, flatly)
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


def timed(what: Callable[[], object], repeats: int) -> float:
    """Median time of a call after one to warm up, s."""
    what()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        what()
        times.append(time.perf_counter() - start)
    return float(np.median(times))


def run(full: bool = True) -> list[dict[str, object]]:
    """Time predictions and one fit, count how often the truth is inside, and compare with common practice."""
    bench = parse_bench(BENCH)
    pressures = np.geomspace(0.02, 20.0, 100)
    rotor = parameters_of(bench)
    table = response_of(rotor)
    plain = timed(lambda: steady_state(pressures, rotor, table), 20)
    numbers, arrays = flat(rotor), table_arrays(table)
    compiled = timed(lambda: steady_speeds(pressures, numbers, *arrays), 50)
    rows: list[dict[str, object]] = [
        {
            "name": "predict, a table of 100 pressures",
            "value": timed(lambda: predict(bench, pressures), 20),
            "unit": "s",
            "target": "0.2",
        },
        {
            "name": "compiled loop against plain NumPy, 100 pressures",
            "value": plain / compiled,
            "unit": "times",
            "target": None,
        },
    ]
    seeds = range(1, 21 if full else 3)
    inside: dict[str, list[bool]] = {}
    times, narrowed = [], []
    for seed in seeds:
        truth, data = invented(bench, seed)
        start = time.perf_counter()
        found = fit(bench, data, live_points=150, seed=seed)
        times.append(time.perf_counter() - start)
        for one in found.marginals:
            if one.fixed_by_data != "no":
                inside.setdefault(one.unknown.name, []).append(
                    one.interval[0] <= truth[one.unknown.name] <= one.interval[1]
                )
        narrowed.append(sum(one.fixed_by_data == "yes" for one in found.marginals))
    hits = [hit for list_of in inside.values() for hit in list_of]
    rows.append(
        {
            "name": "a fit of 30 readings and 3 coast-downs, median",
            "value": float(np.median(times)),
            "unit": "s",
            "target": "60",
        }
    )
    rows.append(
        {
            "name": f"truth inside 90 %, identifiable unknowns, {len(list(seeds))} seeds",
            "value": float(np.mean(hits)),
            "unit": "",
            "target": "0.84",
        }
    )
    for name, list_of in inside.items():
        rows.append(
            {
                "name": f"  {name}, {len(list_of)} times identifiable",
                "value": float(np.mean(list_of)),
                "unit": "",
                "target": "0.84",
            }
        )
    air = {
        "rotor.vane_width": "10 mm",
        "rotor.vane_height": "10 mm",
        "gas.species": "air",
        "rotor.pivot_dry_torque": "1e-12 N m",
        "rotor.pivot_viscous": "1e-13 N m s",
    }
    practice = predict_whole(bench, [0.02, 20.0], changes=air)
    rows.append(
        {
            "name": "fastest pressure of a 10 mm vane in air, good pivot (practice: near 1)",
            "value": practice.speed.pressure_pa,
            "unit": "Pa",
            "target": "1",
        }
    )
    rows.append(
        {"name": "pressure of its greatest torque", "value": practice.force.pressure_pa, "unit": "Pa", "target": None}
    )
    start = time.perf_counter()
    law = scaling_of(bench, draws=100)
    rows.append(
        {
            "name": "exponent of the optimum pressure on the width, 6 to 24 mm",
            "value": law.exponent,
            "unit": "",
            "target": None,
        }
    )
    rows.append(
        {
            "name": "  its law from 7 widths and 100 draws",
            "value": time.perf_counter() - start,
            "unit": "s",
            "target": None,
        }
    )
    return rows


if __name__ == "__main__":
    for row in run(full=False):
        print(row)
