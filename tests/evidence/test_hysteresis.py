"""Sweeps with a known lag, offset or drift, and sweeps with none."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from support.sweeps import Bench, Truth, take_readings

from edgewind.evidence.curve import fit_curve
from edgewind.evidence.hysteresis import compare_sweeps, given_zero, repeat_scatter, sweep_contrast
from edgewind.evidence.sweep_data import SweepData

TRUTH = Truth("balance", place=0.2, width=0.9, skew=0.0, top=10.0)


def readings(seed: int = 0, **bench: Any) -> SweepData:
    standard = Bench(readings=32, sweeps=2, noise=0.01)
    return take_readings(TRUTH, replace(standard, **bench), np.random.default_rng(seed))


def test_a_lagging_gauge_shows_as_a_shift_between_up_and_down() -> None:
    found = compare_sweeps(readings(lag=0.1))
    assert found.verdict == "differ"
    assert found.contrast == "up minus down"
    assert found.log_pressure_shift == pytest.approx(-0.2, abs=3 * found.log_pressure_shift_u)
    assert found.log_pressure_shift_u < 0.03
    assert found.optimum_shift == pytest.approx(-0.2, abs=0.06)
    assert abs(found.offset_relative) < 4 * found.offset_relative_u
    assert "differ" in found.sentence


def test_a_drift_of_the_speed_is_found_with_its_rate() -> None:
    data = readings(drift=0.2)
    hours = np.ptp(data.time_s) / 3600
    found = compare_sweeps(data)
    assert found.verdict == "differ"
    assert found.drift_per_hour == pytest.approx(0.2 / hours, abs=3 * found.drift_per_hour_u)
    assert found.drift_p < 1e-6


def test_an_offset_between_sweeps_is_found_without_times() -> None:
    data = readings()
    data = replace(data, speed_rad_s=data.speed_rad_s * (1 + 0.05 * data.direction), time_s=np.full(32, np.nan))
    found = compare_sweeps(data)
    assert found.verdict == "differ"
    assert found.offset_relative == pytest.approx(0.10, abs=4 * found.offset_relative_u)
    assert found.drift_per_hour is None


def test_sweeps_that_agree_are_seldom_reported_as_different() -> None:
    verdicts = [compare_sweeps(readings(seed, noise=0.04)).verdict for seed in range(8)]
    assert verdicts.count("differ") <= 1


def test_one_sweep_alone_does_not_show_a_drift() -> None:
    found = compare_sweeps(readings(sweeps=1, drift=0.3))
    assert found.verdict == "not compared"
    assert found.drift_per_hour is None and found.log_pressure_shift is None


def test_repeated_up_sweeps_are_ranked_by_time() -> None:
    data = SweepData(
        [1, 2, 3] * 2,
        [0.01] * 6,
        [1] * 6,
        [0.1] * 6,
        ("late",) * 3 + ("early",) * 3,
        time_s=[60, 70, 80, 0, 10, 20],
    )
    contrast, words = sweep_contrast(data)
    assert contrast.tolist() == [0.5] * 3 + [-0.5] * 3
    assert words == "later minus earlier sweep"


def test_repeats_show_whether_the_stated_uncertainty_is_realistic() -> None:
    random = np.random.default_rng(5)
    place = np.repeat(np.linspace(-3, 3, 12), 4)
    speed = TRUTH.speed(place) + 0.2 * random.standard_normal(place.size)

    def ratio(stated: float) -> tuple[float, int, float]:
        data = SweepData(np.exp(place), np.full(48, 1e-4), speed, np.full(48, stated), direction=np.ones(48))
        found = compare_sweeps(data)
        return found.repeat_scatter_ratio, found.repeat_freedom, found.repeat_p

    honest, freedom, p = ratio(0.2)
    assert freedom == 36
    assert honest == pytest.approx(1.0, abs=0.3) and p > 0.01
    bold, _, p = ratio(0.05)
    assert bold == pytest.approx(4.0, abs=1.2) and p < 1e-6


def test_readings_on_both_sides_of_a_turning_point_are_not_repeats() -> None:
    data = readings()
    chi_squared, freedom = repeat_scatter(data, fit_curve(data))
    assert freedom == 0 and chi_squared == pytest.approx(0.0)


def test_conditioning_on_zero_is_that_of_the_bivariate_normal() -> None:
    """Mean m1 - r s1/s2 m2 and variance s1² (1 - r²), as for any bivariate normal."""
    covariance = np.array([[4.0, 1.2], [1.2, 1.0]])
    mean, spread = given_zero(np.array([3.0, 2.0]), covariance, [0])
    assert mean[0] == pytest.approx(3.0 - 1.2 * 2.0)
    assert spread[0, 0] == pytest.approx(4.0 * (1 - 0.6**2))
