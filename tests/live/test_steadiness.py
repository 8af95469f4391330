"""The test of steadiness: its rate of false passes, and the time until a steady signal passes."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewind.live import SteadinessMonitor, drift_of

DWELL, MARGIN, CONFIDENCE = 30.0, 0.02, 0.95


def noise(rng, count, correlation):
    """Noise of standard deviation 1 that is correlated from one value to the next."""
    x = rng.standard_normal(count + 60)
    for i in range(1, x.size):
        x[i] = correlation * x[i - 1] + math.sqrt(1 - correlation**2) * x[i]
    return x[60:]


def waits(drift, correlation, sigma, count, *, tau=None, every=0.5, seconds=150.0, seed=1):
    """When a watch says steady, in s; nan where it never does."""
    rng, found = np.random.default_rng(seed), []
    time = np.arange(0.0, seconds, every)
    for _ in range(count):
        watch = SteadinessMonitor(
            dwell_s=DWELL, at_least_s=10.0, pressure_margin=MARGIN, speed_margin=MARGIN, confidence=CONFIDENCE,
            with_speed=False,
        )  # fmt: skip
        y = drift / DWELL * time if tau is None else -drift * np.exp(-time / tau)
        y = y + sigma * noise(rng, time.size, correlation)
        when = math.nan
        for t, value in zip(time, y, strict=True):
            watch.add_pressure(t, math.exp(value))
            if watch.look(t).steady:
                when = t
                break
        found.append(when)
    return np.array(found)


@pytest.mark.parametrize(("correlation", "sigma"), [(0.0, 1e-3), (0.5, 1e-3), (0.8, 1e-3), (0.8, 1e-2)])
@pytest.mark.parametrize("sign", [1, -1])
def test_a_drift_as_large_as_the_margin_passes_in_fewer_waits_than_stated(correlation, sigma, sign):
    """At most 5 % of waits, however often was looked; 150 waits each, with 4 standard deviations of the count."""
    passed = np.isfinite(waits(sign * MARGIN, correlation, sigma, 150))
    assert passed.mean() <= 0.05 + 4 * math.sqrt(0.05 * 0.95 / 150)


def test_over_all_kinds_of_noise_the_share_of_false_passes_is_below_what_is_stated():
    passed = [
        np.isfinite(waits(MARGIN, correlation, sigma, 60, seed=5)).mean()
        for correlation in (0.0, 0.3, 0.6, 0.9)
        for sigma in (3e-4, 3e-3)
    ]
    assert np.mean(passed) <= 0.05


def test_a_steady_signal_passes_sooner_with_less_noise():
    quiet, noisy = waits(0.0, 0.0, 1e-3, 20), waits(0.0, 0.0, 1e-2, 20)
    assert np.isfinite(quiet).all() and np.isfinite(noisy).all()
    assert np.median(quiet) < 15 < np.median(noisy)


def test_a_decay_passes_once_its_remainder_is_below_the_margin():
    """With ln p = -exp(-t/20 s) a dwell moves it by less than the margin from t = 20 ln((1 - e^-1.5) / 0.02) = 73 s."""
    found = waits(1.0, 0.0, 1e-3, 10, tau=20.0, seconds=400.0)
    assert np.isfinite(found).all() and found.min() > 73


def test_too_few_values_give_no_result():
    for count in range(8):
        assert drift_of(np.arange(count), np.zeros(count), 1.0, 0.1, 0.05).bound == math.inf
    assert drift_of(np.arange(20.0), np.full(20, math.nan), 1.0, 0.1, 0.05).bound == math.inf


def test_a_rotor_at_rest_is_judged_by_its_pressure_and_flickering_speed_is_not_steady():
    def watched(speeds):
        watch = SteadinessMonitor(
            dwell_s=5.0, at_least_s=5.0, pressure_margin=0.02, speed_margin=0.02, confidence=0.95
        )  # fmt: skip
        rng, found = np.random.default_rng(2), None
        for i, speed in enumerate(speeds):
            watch.add_pressure(0.2 * i, 1.0 + 1e-3 * rng.standard_normal())
            watch.add_speed(0.2 * i, speed)
            found = watch.look(0.2 * i)
        return found

    resting = watched([math.nan] * 60)
    assert resting.steady and resting.at_rest and resting.speed is None
    assert not watched([math.nan, 3.0] * 30).steady
    assert not watched([3.0 * 1.01**i for i in range(60)]).steady
    turning = watched(3.0 + 1e-3 * np.random.default_rng(3).standard_normal(60))
    assert turning.steady and not turning.at_rest


@given(
    st.integers(0, 2**31), st.floats(-3, 3), st.floats(0.1, 10.0), st.floats(-1e5, 1e5)
)  # fmt: skip
def test_the_result_does_not_depend_on_units_or_on_the_time_origin(seed, shift, stretch, begin):
    rng = np.random.default_rng(seed)
    time, values = np.arange(30.0), 0.01 * rng.standard_normal(30)
    one = drift_of(time, values, DWELL, MARGIN, 0.05)
    other = drift_of(begin + stretch * time, values + shift, stretch * DWELL, MARGIN, 0.05)
    assert other.per_dwell == pytest.approx(one.per_dwell, rel=1e-6, abs=1e-9)
    assert other.bound == pytest.approx(one.bound, rel=1e-6)


def test_the_standard_error_of_white_noise_is_that_of_a_straight_line():
    """Against numpy's own covariance of a straight line; ours is larger by what is allowed for correlation."""
    rng = np.random.default_rng(8)
    time, values = np.arange(400.0), rng.standard_normal(400)
    found = drift_of(time, values, 1.0, 1.0, 0.05)
    slope, covariance = np.polyfit(time, values, 1, cov=True)[0][0], np.polyfit(time, values, 1, cov=True)[1]
    assert found.per_dwell == pytest.approx(slope)
    assert 1.0 < found.u / math.sqrt(covariance[0, 0]) < 1.3


@pytest.mark.parametrize(("count", "r"), [(20, 0.5), (40, 0.5), (40, 0.8), (100, 0.5)])
def test_the_correlation_about_a_line_is_corrected_by_its_bias(count, r):
    """Our own simulation, against ourselves: what the module adds to r takes its bias away to within a quarter."""
    rng = np.random.default_rng(7)
    x = np.array([noise(rng, count, r) for _ in range(3000)])
    away = np.arange(count) - (count - 1) / 2
    x -= x.mean(axis=1, keepdims=True)
    x -= (x @ away / (away @ away))[:, None] * away
    found = (x[:, 1:] * x[:, :-1]).sum(axis=1) / (x * x).sum(axis=1)
    bias = r - found.mean()
    assert bias == pytest.approx((2 + 6 * r) / count, rel=0.25)
    assert bias > 1.3 * (1 + 4 * r) / count  # that about a mean would be too little
