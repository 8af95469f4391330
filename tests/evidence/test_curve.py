"""The response curve against closed forms and scikit-learn; invariance under units, order and rounding."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.sweeps import Bench, Truth, take_readings

from edgewind.errors import InputError
from edgewind.evidence.curve import Scale, fit_curve
from edgewind.evidence.gaussian_process import condition, covariance, log_density, log_density_of_low_rank
from edgewind.evidence.sweep_data import SweepData, derive_direction

TRUTH = Truth("balance", place=0.0, width=1.0, skew=0.0, top=10.0)


def readings(seed: int = 0, **bench: Any) -> SweepData:
    return take_readings(TRUTH, replace(Bench(), **bench), np.random.default_rng(seed))


def test_two_readings_give_the_posterior_of_rasmussen_and_williams(published) -> None:
    """Rasmussen and Williams (2006), eq. 2.25 and 2.26, the two-by-two inverse written out by hand."""
    correlation, noise = 0.6, 0.25
    cross = np.array([[0.8], [0.3]])
    speed = np.array([1.0, -2.0])
    matrix = np.array([[1 + noise, correlation], [correlation, 1 + noise]])
    determinant = (1 + noise) ** 2 - correlation**2
    inverse = np.array([[1 + noise, -correlation], [-correlation, 1 + noise]]) / determinant
    mean, spread = condition(cross, np.ones((1, 1)), matrix, speed)
    published("posterior mean", mean, cross.T @ inverse @ speed, rel=1e-9)
    assert spread == pytest.approx(1.0 - cross.T @ inverse @ cross)
    expected = -0.5 * speed @ inverse @ speed - 0.5 * np.log(determinant) - np.log(2 * np.pi)
    published("log evidence", log_density(matrix[None], speed)[0], expected, rel=1e-9)


@pytest.mark.parametrize("name", ["squared exponential", "matern 7/2"])
def test_posterior_and_evidence_equal_those_of_scikit_learn(name: Any) -> None:
    from sklearn.gaussian_process import GaussianProcessRegressor  # imported by one test process only
    from sklearn.gaussian_process.kernels import RBF, Matern

    theirs = RBF(0.7) if name == "squared exponential" else Matern(0.7, nu=3.5)
    random = np.random.default_rng(1)
    x, grid = np.sort(random.uniform(-3, 3, 12)), np.linspace(-3, 3, 9)
    y, noise = np.sin(x) + 0.1 * random.standard_normal(12), random.uniform(0.05, 0.2, 12)
    regressor = GaussianProcessRegressor(2.0 * theirs, alpha=noise**2, optimizer=None).fit(x[:, None], y)
    mean, spread = regressor.predict(grid[:, None], return_cov=True)

    def ours(a: Any, b: Any) -> Any:
        return 2.0 * covariance(np.abs(a[:, None] - b), np.array([0.7]), name)[0]

    matrix = ours(x, x) + np.diag(noise**2)
    own_mean, own_spread = condition(ours(x, grid), ours(grid, grid), matrix, y)
    assert own_mean == pytest.approx(mean, abs=1e-8)
    assert own_spread == pytest.approx(spread, abs=1e-8)
    assert log_density(matrix[None], y)[0] == pytest.approx(regressor.log_marginal_likelihood_value_)


def test_the_whole_fit_agrees_with_scikit_learn_for_many_precise_readings() -> None:
    from sklearn.gaussian_process import GaussianProcessRegressor
    from sklearn.gaussian_process.kernels import RBF, ConstantKernel, WhiteKernel

    data = readings(readings=60, noise=0.01, proportional=False, pressure_noise=0.0)
    curve = fit_curve(data)
    order = np.argsort(data.pressure_pa)
    kernel = ConstantKernel(10.0) * RBF(1.0) + WhiteKernel(1e-3)
    theirs = GaussianProcessRegressor(kernel, alpha=0.01, normalize_y=False)
    theirs.fit(data.log_pressure[order, None], data.speed_rad_s[order] - data.speed_rad_s.mean())
    mean = theirs.predict(curve.log_pressure[:, None]) + data.speed_rad_s.mean()
    assert np.max(np.abs(curve.mean - mean) / curve.sd) < 2.0
    assert np.mean(np.abs(curve.mean - TRUTH.speed(curve.log_pressure)) < 2 * curve.sd) > 0.85


@pytest.mark.parametrize("softening", [np.inf, 0.3])
def test_moments_on_a_warped_scale_equal_a_quadrature(softening: float) -> None:
    node, weight = np.polynomial.hermite_e.hermegauss(40)
    weight = weight / weight.sum()
    scale, mean, sd = Scale(softening), 0.8, 0.2
    speed = scale.back(mean + sd * node)
    first, second = scale.moments(np.array(mean), np.array(sd**2))
    assert first == pytest.approx(weight @ speed)
    assert second == pytest.approx(weight @ speed**2 - (weight @ speed) ** 2)


@given(st.floats(-1e3, 1e3), st.floats(1e-2, 1e3))
def test_the_inverse_of_a_warped_scale_restores_its_values(speed: float, softening: float) -> None:
    assert Scale(softening).back(Scale(softening).of(speed)) == pytest.approx(speed, rel=1e-9, abs=1e-9)


def test_draws_have_the_mean_and_the_deviation_of_the_curve() -> None:
    curve = fit_curve(readings(), draws=4096)
    assert curve.draws.shape == (4096, curve.pressure_pa.size)
    assert np.max(np.abs(curve.draws.mean(0) - curve.mean) / curve.sd) < 0.15
    assert curve.draws.std(0) / curve.sd == pytest.approx(1.0, abs=0.15)


def test_scatter_beyond_the_stated_uncertainty_is_estimated() -> None:
    honest = fit_curve(readings(readings=40, noise=0.03, proportional=False))
    bold = fit_curve(readings(readings=40, noise=0.05, proportional=False, understated=10.0))
    assert honest.excess_rad_s < 0.02 * TRUTH.top
    low, high = bold.excess_interval_rad_s
    assert low < 0.05 * TRUTH.top < high


def test_pressure_uncertainty_widens_the_curve_on_slopes_and_not_at_the_top() -> None:
    sharp = readings(readings=40, pressure_noise=0.0, proportional=False)
    blurred = replace(sharp, log_pressure_u=np.full(40, 0.15))
    ratio = fit_curve(blurred).sd / fit_curve(sharp).sd
    grid = fit_curve(sharp).log_pressure
    assert np.interp(-1.3, grid, ratio) > 1.15 * np.interp(0.0, grid, ratio)


def test_the_curve_excludes_a_nuisance_effect() -> None:
    data = readings(readings=40, sweeps=2, noise=0.01)
    shifted = replace(data, speed_rad_s=data.speed_rad_s + 1.0 * data.direction)
    curve = fit_curve(shifted, nuisance=data.direction[:, None], nuisance_sd=[5.0])
    u = float(np.sqrt(curve.effects_covariance[0, 0]))
    assert curve.effects[0] == pytest.approx(1.0, abs=4 * u)
    assert u < 0.1


def test_evidence_prefers_a_curve_for_a_peak_and_a_constant_for_a_constant() -> None:
    flat = take_readings(replace(TRUTH, shape="flat"), Bench(), np.random.default_rng(3))
    assert fit_curve(readings()).log_bayes_factor > 10
    assert fit_curve(flat).log_bayes_factor < 0


def test_same_readings_give_the_same_curve() -> None:
    one, other = fit_curve(readings()), fit_curve(readings())
    assert np.array_equal(one.mean, other.mean)
    assert np.array_equal(one.draws, other.draws)


def test_rounding_of_the_input_does_not_change_the_draws() -> None:
    data = readings()
    other = replace(data, speed_rad_s=data.speed_rad_s * (1 + 1e-15 * np.random.default_rng(1).integers(-4, 5, 24)))
    assert fit_curve(other).draws == pytest.approx(fit_curve(data).draws, abs=1e-5 * TRUTH.top)


@settings(max_examples=8, deadline=None)
@given(st.floats(-8, 8), st.floats(-8, 8), st.randoms(use_true_random=False))
def test_the_curve_does_not_depend_on_units_or_on_order(pressure: float, speed: float, shuffle: Any) -> None:
    data = readings(readings=16)
    order = list(range(16))
    shuffle.shuffle(order)
    other = data.take(order)
    other = replace(
        other,
        pressure_pa=other.pressure_pa * np.exp(pressure),
        speed_rad_s=other.speed_rad_s * np.exp(speed),
        speed_u_rad_s=other.speed_u_rad_s * np.exp(speed),
    )
    one, two = fit_curve(data), fit_curve(other)
    assert two.pressure_pa == pytest.approx(one.pressure_pa * np.exp(pressure))
    assert two.mean == pytest.approx(one.mean * np.exp(speed), rel=1e-4, abs=1e-4 * np.exp(speed))
    assert two.sd == pytest.approx(one.sd * np.exp(speed), rel=1e-3)
    assert two.length_scale == pytest.approx(one.length_scale, rel=1e-4)
    assert two.log_bayes_factor == pytest.approx(one.log_bayes_factor, abs=1e-4)


GOOD: dict[str, Any] = {
    "pressure_pa": [1.0, 2.0, 3.0],
    "log_pressure_u": [0.1, 0.1, 0.1],
    "speed_rad_s": [1.0, 2.0, 1.0],
    "speed_u_rad_s": [0.1, 0.1, 0.1],
}


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"pressure_pa": [1.0, -2.0, 3.0]}, r"pressure_pa\[1\] is -2; it must be a pressure above zero"),
        ({"pressure_pa": [1.0, 0.0, 3.0]}, r"pressure_pa\[1\] is 0"),
        ({"pressure_pa": [1.0, np.nan, 3.0]}, r"pressure_pa\[1\] is nan"),
        ({"pressure_pa": [1.0, np.inf, 3.0]}, r"pressure_pa\[1\] is inf; it must be a finite number"),
        ({"speed_rad_s": [np.nan, 2.0, 1.0]}, r"speed_rad_s\[0\] is nan"),
        ({"speed_rad_s": [1.0, 2.0]}, r"speed_rad_s has shape \(2,\) where pressure_pa has 3 readings"),
        ({"speed_rad_s": ["fast", 2.0, 1.0]}, "speed_rad_s holds something that is not a number"),
        ({"speed_u_rad_s": [0.1, 0.0, 0.1]}, r"speed_u_rad_s\[1\] is 0; it must be an uncertainty above zero"),
        ({"log_pressure_u": [0.1, 0.1, -0.1]}, r"log_pressure_u\[2\] is -0.1; it must be zero or more"),
        ({"sweep": ("up",)}, "sweep has 1 labels for 3 readings"),
        ({"common_log_pressure_u": -0.1}, "common_log_pressure_u is -0.1"),
        ({"time_s": [1.0]}, "time_s has shape"),
    ],
)
def test_unusable_readings_are_refused_with_place_and_correction(change: Any, message: str) -> None:
    with pytest.raises(InputError, match=message):
        SweepData(**(GOOD | change))


def test_readings_at_one_pressure_give_no_curve() -> None:
    with pytest.raises(InputError, match="two pressures or more"):
        fit_curve(SweepData(**(GOOD | {"pressure_pa": [2.0, 2.0, 2.0]})))


def test_direction_follows_time_where_known_and_order_elsewhere() -> None:
    pressure = [1.0, 2.0, 4.0]
    assert derive_direction(pressure, ("",) * 3).tolist() == [1, 1, 1]
    assert derive_direction(pressure, ("",) * 3, [30.0, 20.0, 10.0]).tolist() == [-1, -1, -1]
    assert derive_direction([1.0, 2.0, 4.0, 2.0, 1.0], ("",) * 5).tolist() == [1, 1, 1, -1, -1]
    assert derive_direction([3.0], ("",)).tolist() == [0]


def test_a_low_rank_density_equals_that_of_the_full_covariance() -> None:
    random = np.random.default_rng(7)
    factor, diagonal, readings = random.standard_normal((2, 9, 3)), random.uniform(0.5, 2, (2, 9)), random.random(9)
    whole = factor @ np.swapaxes(factor, 1, 2) + np.stack([np.diag(row) for row in diagonal])
    assert log_density_of_low_rank(factor, diagonal, readings) == pytest.approx(log_density(whole, readings), rel=1e-9)


def test_many_readings_give_the_same_curve_as_full_covariances(monkeypatch: pytest.MonkeyPatch) -> None:
    data = take_readings(Truth("balance", 0.3, 0.9, 0.0, 8.0), Bench(readings=110), np.random.default_rng(3))
    by_nodes = fit_curve(data, draws=64)
    monkeypatch.setattr("edgewind.evidence.curve._MOST_EXACT", 1000)
    in_full = fit_curve(data, draws=64)
    assert by_nodes.mean == pytest.approx(in_full.mean, abs=0.1 * float(np.median(in_full.sd)))
    assert by_nodes.sd == pytest.approx(in_full.sd, rel=0.05)
    assert by_nodes.log_marginal_likelihood == pytest.approx(in_full.log_marginal_likelihood, abs=0.1)
