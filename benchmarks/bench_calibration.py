"""Intervals of the fit where the truth is drawn from its own priors: a check against ourselves.

Benches and pressures are those of invented rotors. Unknowns, smooth errors, gauge and scatter are drawn from what the
fit itself assumes, and the readings are predicted with the program's own model. The intervals must then contain the
truth as often as they say (simulation-based calibration: Talts et al., arXiv 1804.06788, 2018). It shows whether an
error is counted twice or the sampler is wrong, and nothing about the physics.

EDGEWIND_CALIBRATION sets the number of rotors.
"""

from __future__ import annotations

import os
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from measured import row
from numpy.typing import NDArray

from edgewind.evidence.explain import fitted_optimum
from edgewind.evidence.fit import FitData, Likelihood, fit
from edgewind.evidence.mechanism_case import case_of
from edgewind.evidence.proposal import find_mode
from edgewind.rotor.optimum import peak_pressures
from edgewind.runner import open_runner
from edgewind.signals import read_experiment
from edgewind.virtual.invented_sweeps import invented_sweep

Array = NDArray[np.float64]
COUNT = int(os.environ.get("EDGEWIND_CALIBRATION", "60"))
FIRST = 61_131
_SCATTER, _LEAST_U = 0.015, 1e-3  # stated: of a speed, and rad/s
_ENDS = 2  # a fastest reading nearer to an end is drawn again: no maximum would be found
_ROWS = {"speed": 0, "torque": 1}


class _OnePrior(Likelihood):
    """A likelihood whose priors have the scale of other readings."""

    def __init__(self, like: Likelihood, data: FitData) -> None:
        self._scale = like._needed()
        super().__init__(like.bench, data, like.model, like.response)

    def _needed(self) -> tuple[float, float]:
        return self._scale


def _drawn(problem: Likelihood, random: np.random.Generator) -> tuple[FitData, Array, Array]:
    """Draw readings, unknowns and smooth errors from the priors, accepted by the readings alone."""
    data = problem.data
    while True:
        values = problem.values(random.standard_normal((1, len(problem.unknowns))))
        errors = random.standard_normal((1, problem.error.size))
        pressure = data.pressure_pa * np.exp(data.log_pressure_u * random.standard_normal(data.pressure_pa.size))
        speed = problem.predicted(values, pressure, errors)[0, 0]
        u = np.maximum(_SCATTER * np.abs(speed), _LEAST_U)
        own = values[0, -1] * np.maximum(np.abs(speed), 0.05 * np.abs(speed).max())
        seen = speed + np.hypot(u, own) * random.standard_normal(speed.size)
        moving = np.abs(seen) > 3 * u
        if moving.sum() >= seen.size - 1 and _ENDS <= np.argmax(np.abs(seen)) < seen.size - _ENDS:
            return (
                replace(
                    data, pressure_pa=data.pressure_pa[moving], log_pressure_u=data.log_pressure_u[moving],
                    speed_rad_s=seen[moving], speed_u_rad_s=u[moving], signed=True,
                ),
                values, errors,
            )  # fmt: skip


def fit_one(seed: int) -> dict[str, Any]:
    """Draw a truth for the bench of an invented rotor, fit its readings, and say where it lies among the draws."""
    with tempfile.TemporaryDirectory() as folder:
        invented_sweep(Path(folder) / "rotor", np.random.default_rng([seed, 300]))
        experiment = read_experiment(Path(folder) / "rotor")
    case = case_of(experiment.bench, experiment.readings, level=0.9, seed=1)
    base = Likelihood(experiment.bench, case.data, response=case.response)
    data, values, errors = _drawn(base, np.random.default_rng([seed, 777]))
    problem = _OnePrior(base, data)
    found = fit(base.bench, data, prepared=(problem, find_mode(problem, seed=1)))
    told: dict[str, Any] = {"places": [float(np.mean(found.draws[:, k] < one)) for k, one in enumerate(values[0])]}
    pressure = np.geomspace(data.pressure_pa.min(), data.pressure_pa.max(), 401)
    for name, at in _ROWS.items():
        curve = base.predicted(values, pressure, errors)[:, at]
        peak = peak_pressures(pressure, np.sign(curve.sum()) * curve)
        optimum = fitted_optimum(found, "speed" if at == 0 else "torque")
        told[name] = None
        if optimum.interval_pa is not None and optimum.pressure_pa is not None:
            true = float(peak[0] * base.true_over_indicated(values, errors, peak)[0]) if np.isfinite(peak[0]) else 0.0
            low, high = optimum.interval_pa
            off = np.log(max(true, 1e-9) / optimum.pressure_pa) / (np.log(high / low) / 3.29)
            told[name] = (low <= true <= high, float(off))
    return told


def run(full: bool) -> list[dict[str, Any]]:
    """Return the rows of this benchmark; EDGEWIND_CALIBRATION sets the number of rotors."""
    count = COUNT if full else 4
    with open_runner() as runner:
        results = runner.map(fit_one, [(seed,) for seed in range(FIRST, FIRST + count)])
    rows = [row("rotors drawn from the priors of the fit", float(count))]
    for name in _ROWS:
        known = [one[name] for one in results if one[name] is not None]
        held = 100 * float(np.mean([one[0] for one in known]))
        off = float(np.sqrt(np.mean([one[1] ** 2 for one in known if abs(one[1]) < 20])))
        rows.append(row(f"greatest {name}: 90 % interval contains the truth", held, "%", "90"))
        rows.append(row(f"greatest {name}: errors over their stated standard deviation", off, "", "1"))
    places = np.array([place for one in results for place in one["places"]])
    inside = 100 * float(np.mean(np.abs(places - 0.5) < 0.45))
    return [*rows, row("unknowns: 90 % interval contains the truth", inside, "%", "90")]
