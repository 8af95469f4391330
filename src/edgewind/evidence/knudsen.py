"""The Knudsen number at the pressure of greatest speed, with its interval."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from edgewind.bench import Bench
from edgewind.evidence.optimum import Optimum
from edgewind.gas import GasState, regime

# Relative standard uncertainty of the viscosity of a pure gas here, and of a mixture by Wilke's rule (our judgement
# from the comparisons in the tests; no single source).
VISCOSITY_U = {True: 0.01, False: 0.03}


@dataclass(frozen=True)
class KnudsenAtOptimum:
    """Mean free path over vane width at the pressure of greatest speed.

    Attributes
    ----------
    value : float
        Median, dimensionless.
    interval : tuple of float
        Equal-tailed interval at `level`, from the distribution of the pressure, the vane's width and the viscosity.
    level : float
        Its coverage probability.
    mean_free_path_m : float
        Mean free path at the median pressure, m.
    regime : str
        Flow regime of the median.
    """

    value: float
    interval: tuple[float, float]
    level: float
    mean_free_path_m: float
    regime: str


def knudsen_at_optimum(optimum: Optimum, bench: Bench, *, seed: int = 1) -> KnudsenAtOptimum | None:
    """Return the Knudsen number at the optimum, or None where no optimum was found."""
    if not optimum.found or optimum.pressure_pa is None:
        return None
    path_pa = GasState(bench.gas.gas, 1.0, bench.gas.temperature.value).mean_free_path_m()
    random = np.random.default_rng(seed)
    size = optimum.draws_pa.size
    width = bench.rotor.vane_width
    spread = np.hypot(VISCOSITY_U[bench.gas.gas.is_pure], width.relative)
    draws = path_pa / (optimum.draws_pa * width.value) * np.exp(spread * random.standard_normal(size))
    low, middle, high = np.quantile(draws, [(1 - optimum.level) / 2, 0.5, (1 + optimum.level) / 2])
    free_path = path_pa / optimum.pressure_pa
    return KnudsenAtOptimum(float(middle), (float(low), float(high)), optimum.level, free_path, regime(float(middle)))
