"""The plan: accuracy and speed of tubes; speed of pump-down, of a planned sweep, of a study, of a search."""

from __future__ import annotations

import time
from collections.abc import Sequence
from typing import Any

import numpy as np
from measured import Row, invented_bench, median_time, row
from support.brute_force import brute_force_studies

from edgewind.gas import GasState, find_gas
from edgewind.plan import Settings, Tube, Vacuum, plan_scaling_study, plan_time, search_rotor, transmission_probability
from edgewind.plan.conductance import _solve
from edgewind.plan.rotor_search import Evaluation, RotorDesign, _task
from edgewind.plan.scaling_study import Design


def run(full: bool = True) -> list[Row]:
    """Measure the time of the plan and its difference from brute force."""
    bench = invented_bench(arm="22 mm")
    lengths = (0.1, 0.5, 1.0, 2.0, 5.0, 10.0, 50.0, 100.0)
    apart = max(abs(_solve(x, 160) / _solve(x, 640) - 1) for x in lengths)
    # Common practice: 1/W = 1 + 3 L / (8 R), the orifice in series with the long tube.
    series = max(abs(1 / (1 + 3 * x / 8) / transmission_probability(x) - 1) for x in lengths)
    rows = [
        row("transmission of a tube, 160 places against 640, greatest difference", apart, "relative", "1e-5"),
        row("  the same, orifice and long tube in series (common practice)", series, "relative"),
        row("transmission of a tube, one solution", median_time(lambda: _solve.__wrapped__(3.3), 20), "s"),
    ]
    gas = GasState(find_gas("N2"), 1.0, 295.15)

    def pump() -> None:
        Vacuum(3e-3, 1e-2, Tube(0.5, 0.025), 1e-5, 1e-7, gas).time_to_s(0.1)

    rows.append(row("pump-down through a tube from the atmosphere to 0.1 Pa", median_time(pump, 5), "s"))
    pressures = np.geomspace(0.05, 20.0, 12)
    rows.append(
        row("plan of a sweep of 12 pressures, all orders", median_time(lambda: plan_time(bench, pressures), 5), "s")
    )
    down, up, _ = plan_time(bench, pressures).sweeps
    rows.append(row("time of that sweep, downwards over upwards", down.total_s / up.total_s, "times"))
    settings = Settings(readings=10, noise=0.03, trials=40 if full else 12, studies=4000)
    start = time.perf_counter()
    study = plan_scaling_study(bench, [8e-3, 12e-3, 20e-3], settings=settings, exponents=(-1.0, -0.6, 0.0))
    best = study.best
    rows.append(row("plan of a study of three sizes, as many processes as cores", time.perf_counter() - start, "s"))
    count = 100 if full else 10
    for design, words in (
        (study.designs[0], "8 and 12 mm, one each"),
        (Design((8e-3, 20e-3), 1, 1, 0.0), "8 and 20 mm"),
    ):
        power = study.power_of(design).power["-1"]
        errors, variances = brute_force_studies(study, design, "-1", count, seed=3)
        for rival in ("-0.6", "0"):
            brute = float(study.rejected(design, errors, variances, "-1", [rival])[0].mean())
            rows.append(row(f"power to reject {rival} where -1 holds, {words}", power[rival], ""))
            rows.append(row(f"  the same by reading every sweep of {count} studies", brute, ""))
            rows.append(row("  one standard error of that", float(np.sqrt(max(brute * (1 - brute), 0.01) / count)), ""))
    if best is not None:
        rows.append(row("exponent known to, best design of two days", best.exponent_u, ""))
    trials = 600 if full else 120
    goals = ["fastest", "light"]
    start = time.perf_counter()
    found = search_rotor(bench, goals, gases=["N2", "He"], trials=trials)
    rows.append(row(f"search of the next rotor, {trials} designs", time.perf_counter() - start, "s"))
    random = np.random.default_rng(1)
    task = _task(bench, tuple(goals), ("thermal_force", "light_pressure"), None, ["N2", "He"])
    blind = [task.judge(_blind(task, random)) for _ in range(trials)]
    least = _area(found.front) / _area([one for one in blind if not one.problems])
    rows.append(row("  area under its front over that of as many random designs", least, "times"))
    return rows


def _blind(task: Any, random: np.random.Generator) -> RotorDesign:
    """Draw a design evenly in the logarithm of each range."""
    chosen = {name: float(low * (high / low) ** random.random()) for name, (low, high) in task.ranges.items()}
    width = chosen["vane_width"]
    gas = task.gases[int(random.integers(len(task.gases)))]
    return RotorDesign(
        vane_width_m=width,
        vane_height_m=width,
        vane_thickness_m=chosen["vane_thickness"],
        arm_m=chosen["arm"],
        vanes=round(chosen["vanes"]),
        gas=gas,
    )


def _area(designs: Sequence[Evaluation]) -> float:
    """Return the area of ln(speed) and -ln(light) that designs reach, above 1 rad/s and below 100 W/m^2."""
    points = sorted((np.log(one.values["fastest"]), np.log(100 / one.values["light"])) for one in designs)
    area, reach = 0.0, 0.0
    for speed, light in reversed(points):
        if speed > 0 and light > reach:
            area += speed * (light - reach)
            reach = light
    return float(area)
