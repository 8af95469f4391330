"""Edges: pulses timed to a fraction of a sample, and assigned to mark and turn."""

from __future__ import annotations

import numpy as np
import pytest

from edgewind.signals.edges import estimate_from_edges
from edgewind.signals.pattern import (
    fit_pattern,
    grow_pattern,
    places_of,
    quality,
    student_factor,
    wrap,
)
from edgewind.signals.pulses import find_pulses, noise_of
from edgewind.signals.rounding import Rounding, rounding_error
from edgewind.signals.synthetic import PulseTrain, synthesise

INTERVAL_S = 1e-3


def times_of(rate: float, acceleration: float, places: list[float], span_s: float) -> np.ndarray:
    """Times at which marks at these places pass, from the middle of a span."""
    grid = np.linspace(-span_s / 2, span_s / 2, 200_001)
    phase = rate * grid + acceleration * grid**2 / 2
    return np.sort(
        np.concatenate([np.interp(np.arange(np.ceil(phase[0] - p), phase[-1] - p) + p, phase, grid) for p in places])
    )


PLACES = [0.0, 0.27, 0.49, 0.76]


def test_pulse_between_samples_is_timed_to_a_hundredth_of_a_sample() -> None:
    index = np.arange(400)
    centres = np.array([50.3, 150.71, 250.05, 349.5])
    voltage = np.exp(-(((index[:, None] - centres) / 8) ** 2)).sum(axis=1)
    pulses = find_pulses(voltage, 1.0, 100.0)
    assert pulses is not None
    assert pulses.time_s + 199.5 == pytest.approx(centres, abs=0.01)


def test_downward_pulses_are_found() -> None:
    trace = synthesise(PulseTrain(5.0, noise_v=0.02), samples=4000, interval_s=INTERVAL_S, seed=1)
    up = find_pulses(trace.voltage_v, INTERVAL_S, 0.05)
    down = find_pulses(-trace.voltage_v, INTERVAL_S, 0.05)
    assert up is not None and down is not None
    assert down.time_s == pytest.approx(up.time_s, abs=1e-4)


def test_noise_is_measured_under_the_pulses() -> None:
    trace = synthesise(PulseTrain(5.0, noise_v=0.05, wander_v=0.5), samples=20_000, interval_s=INTERVAL_S, seed=1)
    assert noise_of(trace.voltage_v) == pytest.approx(0.05, rel=0.05)


def test_exact_times_give_the_exact_rate_and_acceleration() -> None:
    pattern = fit_pattern(times_of(6.5, 0.3, PLACES, 4.0), 6.5, 0.3, 4, 1e-6)
    assert pattern is not None
    assert pattern.rate_hz == pytest.approx(6.5, abs=1e-7)
    assert pattern.acceleration_hz_s == pytest.approx(0.3, abs=1e-6)
    assert (pattern.missed, pattern.extra) == (0, 0)


def test_the_pattern_is_followed_over_a_strong_drift() -> None:
    pattern = grow_pattern(times_of(5.4, 1.0, PLACES, 2.0), 4, 1e-6)
    assert pattern is not None
    assert pattern.rate_hz == pytest.approx(5.4, abs=1e-5) and quality(pattern) == pytest.approx(1.0)


def test_missing_and_additional_pulses_are_counted_and_bridged() -> None:
    times = times_of(6.5, 0.0, PLACES, 4.0)
    times = np.sort(np.append(np.delete(times, [10, 11, 30, 57]), times[20] + 0.012))
    pattern = grow_pattern(times, 4, 1e-6)
    assert pattern is not None
    assert (pattern.missed, pattern.extra) == (4, 1)
    assert pattern.rate_hz == pytest.approx(6.5, abs=1e-6)


def test_places_of_unequal_marks_are_found() -> None:
    phase = np.concatenate([np.arange(30) + place for place in PLACES])
    assert places_of(phase + 0.01, 4) == pytest.approx(np.array(PLACES) + 0.01, abs=0.003)


def test_a_slip_is_reported_and_does_not_bias_the_rate() -> None:
    seen = PulseTrain(9.0, noise_v=0.02, slip_turns=0.1)
    trace = synthesise(seen, samples=20_000, interval_s=1e-4, seed=4)
    found = estimate_from_edges(trace.voltage_v, 1e-4, 4, 1 / 36, None)
    assert found.result is not None and found.sure
    assert found.result.uneven
    assert found.result.turn_rate_hz == pytest.approx(9.0, abs=0.01)


def test_jitter_gives_a_calibrated_uncertainty() -> None:
    random = np.random.default_rng(8)
    exact = times_of(6.5, 0.0, PLACES, 4.0)
    scores = []
    for _ in range(200):
        pattern = fit_pattern(exact + 2e-4 * random.standard_normal(exact.size), 6.5, 0.0, 4, 2e-4)
        assert pattern is not None
        scores.append((pattern.rate_hz - 6.5) / pattern.rate_u_hz)
    assert 0.60 < np.mean(np.abs(scores) < 1) < 0.76


def rounded_times(turns: float, marks: int, samples: int, random: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Times and widths, in samples, of pulses of which both edges are known to the whole sample only."""
    rate, width = turns / samples, random.uniform(0.1, 0.2) / marks
    times, widths = [], []
    for place in (np.arange(marks) + 0.05 * random.standard_normal(marks)) / marks + random.uniform():
        turn = np.arange(np.ceil(-turns / 2 - place), turns / 2 - place - width)
        rise, fall = (np.floor((turn + p) / rate) + 0.5 for p in (place, place + width))
        times.append((rise + fall) / 2)
        widths.append(fall - rise)
    time = np.concatenate(times)
    order = np.argsort(time)
    return time[order], np.concatenate(widths)[order]


@pytest.mark.parametrize(("marks", "samples"), [(1, 2000), (1, 20_000), (2, 5000), (4, 2000), (4, 20_000), (8, 20_000)])
@pytest.mark.parametrize(("fewest", "most"), [(3.3, 5.0), (5.0, 10.0), (10.0, 40.0)])
def test_uncertainty_of_rounded_edges_is_calibrated(marks: int, samples: int, fewest: float, most: float) -> None:
    random = np.random.default_rng(11)
    inside = []
    for _ in range(200):
        turns = random.uniform(fewest, most)
        time, width = rounded_times(turns, marks, samples, random)
        pattern = fit_pattern(time, turns / samples, 0.0, marks, 24**-0.5, Rounding(1.0, width))
        assert pattern is not None
        inside.append(abs(pattern.rate_hz - turns / samples) < pattern.rate_u_hz)
    assert 0.56 < np.mean(inside) < 0.84  # 200 traces: +- 3.3 %


def test_rounding_error_of_many_unrelated_pulses_is_that_of_independent_ones() -> None:
    """The mean of two edges, each uniform within a sample, has the variance 1/24."""
    random = np.random.default_rng(3)
    time, mark = np.sort(random.uniform(0, 1e5, 500)), np.zeros(500, dtype=np.int64)
    weights = random.standard_normal((200, 500))
    errors, single = rounding_error(weights, time, np.full(500, 55.25), mark, 1)
    assert np.mean(errors**2) == pytest.approx(500 * single, rel=0.1)


@pytest.mark.parametrize(("width", "variance"), [(40.0, 1 / 12), (40.5, 1 / 48)])
def test_edges_of_a_pulse_have_equal_errors_if_its_width_is_a_whole_number_of_samples(
    width: float, variance: float
) -> None:
    """Alike they keep the variance 1/12 of one edge; half a sample apart the sawtooth of half the period has 1/48."""
    count = 4000
    time, mark = np.linspace(0.0, 97.37 * count, count), np.zeros(count, dtype=np.int64)
    single = rounding_error(np.full((1, count), 1 / count), time, np.full(count, width), mark, 1)[1]
    assert single == pytest.approx(variance, rel=0.05)


def test_scatter_beyond_the_rounding_counts_as_noise() -> None:
    random = np.random.default_rng(5)
    scores = []
    for _ in range(150):
        turns = random.uniform(10, 40)
        time, width = rounded_times(turns, 4, 20_000, random)
        time = time + 0.5 * random.standard_normal(time.size)
        pattern = fit_pattern(time, turns / 20_000, 0.0, 4, 24**-0.5, Rounding(1.0, width))
        assert pattern is not None
        scores.append((pattern.rate_hz - turns / 20_000) / pattern.rate_u_hz)
    assert 0.57 < np.mean(np.abs(scores) < 1) < 0.79


@pytest.mark.parametrize(("freedom", "factor"), [(1, 1.84), (2, 1.32), (3, 1.20), (5, 1.11), (10, 1.05), (50, 1.01)])
def test_student_factor_matches_the_guide(published, freedom: int, factor: float) -> None:
    """JCGM 100:2008, table G.2, column 68.27 %."""
    published(f"t for 68.27 % and {freedom} degrees of freedom", student_factor(freedom), factor, abs=0.02)


def test_wrap_gives_the_difference_from_the_nearest_turn() -> None:
    assert wrap(np.array([0.2, 0.8, -1.4, 3.0])) == pytest.approx([0.2, -0.2, -0.4, 0.0])
