"""The Knudsen number at the optimum, and the coverage of its interval."""

import numpy as np
import pytest

from edgewind.evidence import Optimum, knudsen_at_optimum
from edgewind.evidence.knudsen import VISCOSITY_U
from edgewind.gas import GasState


def optimum(draws_pa, level=0.90, found=True):
    low, middle, high = np.quantile(draws_pa, [(1 - level) / 2, 0.5, (1 + level) / 2])
    return Optimum(
        found=found,
        pressure_pa=float(middle) if found else None,
        interval_pa=(float(low), float(high)) if found else None,
        level=level,
        reason="" if found else "flat within noise",
        speed_rad_s=30.0,
        speed_u_rad_s=0.3,
        draws_pa=draws_pa,
        interior=1.0,
        low_edge=0.0,
        high_edge=0.0,
        rise_above_low=9.0,
        rise_above_high=9.0,
        warnings=(),
        curve=None,
        sweeps=None,
    )


def lognormal(random, middle, spread, size=2000):
    return middle * np.exp(spread * random.standard_normal(size))


def test_knudsen_number_is_the_mean_free_path_over_the_vane_width(make_bench):
    bench = make_bench(rotor={"vane_width": "12 mm"})
    found = knudsen_at_optimum(optimum(np.full(20_000, 0.5)), bench)
    path = GasState(bench.gas.gas, 0.5, 295.15).mean_free_path_m()
    assert found.mean_free_path_m == pytest.approx(path)
    assert found.value == pytest.approx(path / 0.012, rel=1e-3)
    assert found.regime == "transitional"
    assert found.level == 0.90


def test_with_an_exact_pressure_only_width_and_viscosity_are_uncertain(make_bench):
    """A normal distribution of ``ln Kn``: 1.645 standard deviations to each side hold 90 %."""
    found = knudsen_at_optimum(optimum(np.full(200_000, 0.5)), make_bench())
    spread = np.hypot(VISCOSITY_U[True], 0.1 / 12)
    assert np.log(found.interval[1] / found.value) == pytest.approx(1.645 * spread, rel=0.02)
    assert np.log(found.value / found.interval[0]) == pytest.approx(1.645 * spread, rel=0.02)


def test_a_mixture_has_a_greater_uncertainty_than_a_pure_gas(make_bench):
    pure, mixed = (
        knudsen_at_optimum(optimum(np.full(20_000, 0.5)), make_bench(gas={"species": species}))
        for species in ("N2", "air")
    )
    assert mixed.interval[1] / mixed.interval[0] > pure.interval[1] / pure.interval[0]


def test_the_interval_has_its_stated_coverage(make_bench):
    """400 seeded experiments: a true pressure, width and viscosity about what was measured; 90 % intervals."""
    bench, spread, inside = make_bench(), 0.10, 0
    path = GasState(bench.gas.gas, 1.0, 295.15).mean_free_path_m()
    width = bench.rotor.vane_width
    for seed in range(400):
        random = np.random.default_rng(seed)
        true_pressure = 0.5 * np.exp(spread * random.standard_normal())
        true_width = width.value + width.u * random.standard_normal()
        true_path = path * np.exp(VISCOSITY_U[True] * random.standard_normal())
        found = knudsen_at_optimum(optimum(lognormal(random, 0.5, spread)), bench, seed=seed)
        inside += found.interval[0] <= true_path / (true_pressure * true_width) <= found.interval[1]
    assert 0.85 <= inside / 400 <= 0.95


def test_the_same_seed_gives_the_same_number(make_bench):
    draws = lognormal(np.random.default_rng(3), 0.5, 0.1)
    assert knudsen_at_optimum(optimum(draws), make_bench()) == knudsen_at_optimum(optimum(draws), make_bench())


def test_without_an_optimum_there_is_no_knudsen_number(make_bench):
    assert knudsen_at_optimum(optimum(np.full(10, 0.5), found=False), make_bench()) is None


@pytest.mark.parametrize(
    ("pressure", "name"), [(1e-3, "free-molecular"), (0.5, "transitional"), (20.0, "slip"), (500.0, "continuum")]
)
def test_the_regime_is_that_of_the_median(make_bench, pressure, name):
    assert knudsen_at_optimum(optimum(np.full(2000, pressure)), make_bench()).regime == name
