"""The example study from end to end, and the cost of its parts."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from functools import partial
from pathlib import Path

import numpy as np
from measured import EXAMPLE, Row, row, spent

from edgewind.evidence import find
from edgewind.evidence.fit import MODELS, fit, prepare_likelihood
from edgewind.evidence.mechanism_case import MechanismCase, case_of
from edgewind.signals import read_experiment
from edgewind.virtual.invented_sweeps import invented_sweep

# Drives whose unknowns were added last: unequal accommodation and a constant external torque.
NEW = ("unequal_accommodation", "foreign")
WITHOUT = "without the new unknowns"
ROTORS = range(61_000, 61_006)


def cost_of_new_unknowns(repeats: int) -> float:
    """Return the processor time of whole fits with every drive over those without `NEW`: search, walkers, checks.

    Summed over invented rotors, since in one of them either fit may by chance need twice the steps before its ensembles
    agree. Both alternately, the least time of each, so that other load affects both.
    """
    cases = [_case_of(seed) for seed in ROTORS]
    MODELS[WITHOUT] = tuple(drive for drive in MODELS["all"] if drive not in NEW)
    try:
        _fit_alone(cases[0], "all")  # so that everything is compiled
        whole = dict.fromkeys(("all", WITHOUT), 0.0)
        for case in cases:
            times: dict[str, list[float]] = {model: [] for model in whole}
            for _ in range(repeats):
                for model, taken in times.items():
                    taken += spent(partial(_fit_alone, case, model), 1, time.process_time)
            for model, taken in times.items():
                whole[model] += min(taken)
    finally:
        del MODELS[WITHOUT]
    return whole["all"] / whole[WITHOUT]


def _case_of(seed: int) -> MechanismCase:
    """Return an invented rotor of 11 to 14 readings."""
    with tempfile.TemporaryDirectory() as folder:
        invented_sweep(Path(folder) / "rotor", np.random.default_rng([seed, 300]))
        experiment = read_experiment(Path(folder) / "rotor")
    return case_of(experiment.bench, experiment.readings, level=0.9, seed=1)


def _fit_alone(case: MechanismCase, model: str) -> None:
    ready = prepare_likelihood(case.bench, case.data, model, case.response, case.seed)
    fit(case.bench, case.data, model=model, response=case.response, seed=case.seed, prepared=ready)


def run(full: bool = True) -> list[Row]:
    """Time the whole command, and in this process reading, analysis and both again."""
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        command = [sys.executable, "-m", "edgewind", "study", str(EXAMPLE), "--out", f"{folder}/out", "--json"]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        whole = time.perf_counter() - start
        report = (Path(folder) / "out" / "report.html").stat().st_size
        output = sum(file.stat().st_size for file in Path(folder).rglob("*") if file.is_file())
    reading = finding = 0.0
    for place in sorted(EXAMPLE.iterdir()):
        start = time.perf_counter()
        experiment = read_experiment(place)
        reading += time.perf_counter() - start
        start = time.perf_counter()
        find(experiment)
        finding += time.perf_counter() - start
    return [
        row("example study, the whole command", whole, "s", "20"),
        row("reading 68 traces, share of the whole", reading / whole),
        row("curves, optima and claims, share of the whole", finding / whole),
        row(
            "whole fits of six rotors over the same without the new unknowns, CPU",
            cost_of_new_unknowns(3 if full else 1),
            "",
            "2",
        ),
        row("size of report.html", report / 1e6, "MB"),
        row("size of everything written", output / 1e6, "MB"),
    ]
