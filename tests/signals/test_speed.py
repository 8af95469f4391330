"""Speed of a trace: right, with its coverage and flags, and no number without a signal."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edgewind.errors import InputError
from edgewind.signals.speed import estimate_speed
from edgewind.signals.speed_estimate import FLAGS, SpeedEstimate
from edgewind.signals.synthetic import PulseTrain, synthesise, tone, tone_bound_hz
from edgewind.signals.trace import Trace

SAMPLES, INTERVAL_S = 10_000, 2e-4
SEED = 7_000
Scene = Callable[[np.random.Generator], PulseTrain]


def trace_of(seen: PulseTrain, seed: int = SEED, samples: int = SAMPLES) -> Trace:
    return synthesise(seen, samples=samples, interval_s=INTERVAL_S, seed=seed)


def hertz(estimate: SpeedEstimate) -> tuple[float, float]:
    return estimate.speed_rad_s / (2 * math.pi), estimate.speed_u_rad_s / (2 * math.pi)


@pytest.mark.parametrize("snr_db", [30.0, 10.0])
def test_error_of_a_tone_is_within_the_cramer_rao_bound_and_its_uncertainty_covers(snr_db: float) -> None:
    """Rife and Boorstyn, IEEE Trans. Inf. Theory 20, 591 (1974). The full 500 traces are in the benchmark."""
    bound = tone_bound_hz(snr_db, samples=SAMPLES, interval_s=INTERVAL_S)
    errors, inside = [], []
    for seed in range(100):
        frequency = 3.0 + 2.11 * seed
        trace = tone(frequency, snr_db, samples=SAMPLES, interval_s=INTERVAL_S, seed=seed)
        rate, uncertainty = hertz(estimate_speed(trace, 1, mains_hz=None))
        errors.append((rate - frequency) / bound)
        inside.append(abs(rate - frequency) < uncertainty)
    assert np.sqrt(np.mean(np.square(errors))) < 1.3
    assert 0.57 < np.mean(inside) < 0.79  # 100 traces: 68 +- 4.7 %


SCENES: dict[str, Scene] = {
    "usual": lambda r: PulseTrain(r.uniform(2, 20), noise_v=0.05, hum_v=0.1, wander_v=0.2, ringing=0.05),
    "noisy": lambda r: PulseTrain(r.uniform(2, 20), noise_v=0.4),
    "drifting": lambda r: PulseTrain(r.uniform(5, 20), noise_v=0.05, acceleration_hz_s=0.3),
    "dropouts": lambda r: PulseTrain(r.uniform(4, 20), noise_v=0.05, dropout=0.05),
    "logic": lambda r: PulseTrain(r.uniform(2, 20), shape="rectangle", noise_v=0.03),
    "noisy logic": lambda r: PulseTrain(r.uniform(2, 20), shape="rectangle", noise_v=0.2),
    "logic, one mark": lambda r: PulseTrain(r.uniform(5, 40), marks=1, shape="rectangle", noise_v=0.02),
}


@pytest.mark.parametrize("name", SCENES)
def test_uncertainty_of_pulse_trains_covers_the_truth_two_times_in_three(name: str) -> None:
    inside = []
    for seed in range(SEED, SEED + 50):
        seen = SCENES[name](np.random.default_rng(seed))
        rate, uncertainty = hertz(estimate_speed(trace_of(seen, seed), seen.marks))
        assert rate == pytest.approx(seen.turn_rate_hz, rel=0.01)
        inside.append(abs(rate - seen.turn_rate_hz) < uncertainty)
    # 50 traces: 68 +- 7 % at the least; more, since four of it are to cover 99.9 % of few pulses, of missing ones and
    # of those whose edges are rounded to samples
    assert 0.53 < np.mean(inside) < (0.92 if "logic" in name or name == "dropouts" else 0.85)


def test_marks_of_very_unequal_heights_do_not_give_a_fraction_of_the_rate() -> None:
    """A low mark under a quarter of its neighbours made every second turn look like the whole, 4 traces in 100."""
    for seed in range(SEED, SEED + 40):
        random = np.random.default_rng(seed)
        marks = int(random.choice([2, 4]))
        seen = PulseTrain(random.uniform(4, 20), marks=marks, noise_v=0.05, height_spread=0.4)
        estimate = estimate_speed(trace_of(seen, seed), marks)
        doubted = {"no-signal", "marks-doubtful"} & set(estimate.flags)
        assert doubted or hertz(estimate)[0] == pytest.approx(seen.turn_rate_hz, rel=1e-3)


def test_sharp_pulses_are_timed_by_edges() -> None:
    seen = PulseTrain(9.3, shape="rectangle", noise_v=0.02)
    estimate = estimate_speed(trace_of(seen), 4)
    assert estimate.method == "edges"
    assert abs(hertz(estimate)[0] - 9.3) < 4 * hertz(estimate)[1] < 1e-4 * 9.3


def test_both_methods_agree_within_their_uncertainties() -> None:
    apart = []
    for seed in range(SEED, SEED + 30):
        estimate = estimate_speed(trace_of(PulseTrain(9.0 + seed % 7, noise_v=0.05), seed), 4)
        assert estimate.edges is not None and estimate.spectrum is not None
        difference = estimate.edges.turn_rate_hz - estimate.spectrum.turn_rate_hz
        apart.append(difference / math.hypot(estimate.edges.turn_rate_u_hz, estimate.spectrum.turn_rate_u_hz))
    assert np.all(np.abs(apart) < 4)


@pytest.mark.parametrize("marks", [1, 2, 4, 5, 8, 20])
def test_a_steady_rotor_raises_no_flag(marks: int) -> None:
    estimate = estimate_speed(trace_of(PulseTrain(7.31, marks=marks, noise_v=0.03, wander_v=0.1)), marks)
    assert estimate.flags == ()
    assert hertz(estimate)[0] == pytest.approx(7.31, rel=1e-3)


SILENT: dict[str, Scene] = {
    "noise": lambda r: PulseTrain(0.0, noise_v=0.1),
    "wander": lambda r: PulseTrain(0.0, noise_v=0.05, wander_v=0.3, wander_hz=r.uniform(0.1, 2)),
    "hum": lambda r: PulseTrain(0.0, noise_v=0.02, hum_v=0.5, hum_hz=r.choice([50.0, 60.0]) * r.uniform(0.999, 1.001)),
}


@pytest.mark.parametrize("marks", [1, 4])
@pytest.mark.parametrize("name", SILENT)
def test_a_rotor_at_standstill_gives_no_speed(name: str, marks: int) -> None:
    """Twelve traces, none taken for turning; how rare that is, of 500, is in the benchmark."""
    for seed in range(SEED, SEED + 12):
        estimate = estimate_speed(trace_of(SILENT[name](np.random.default_rng(seed)), seed), marks)
        assert "no-signal" in estimate.flags and math.isnan(estimate.speed_rad_s)


def test_pulses_at_the_mains_frequency_are_recognised_by_unequal_marks() -> None:
    estimate = estimate_speed(trace_of(PulseTrain(12.5, marks=4, noise_v=0.03, height_spread=0.3)), 4, mains_hz=50.0)
    assert hertz(estimate)[0] == pytest.approx(12.5, rel=1e-3)


def test_equal_marks_at_the_mains_frequency_are_hum_unless_stated_otherwise() -> None:
    trace = trace_of(PulseTrain(50.0, marks=1, shape="sine", noise_v=0.03))
    assert "no-signal" in estimate_speed(trace, 1).flags
    assert hertz(estimate_speed(trace, 1, mains_hz=None))[0] == pytest.approx(50.0, rel=1e-5)


def test_drift_is_flagged_and_the_speed_is_that_of_the_middle() -> None:
    estimate = estimate_speed(trace_of(PulseTrain(8.0, acceleration_hz_s=-0.5, noise_v=0.03)), 4)
    assert estimate.flags == ("drifting",)
    assert hertz(estimate)[0] == pytest.approx(8.0, rel=1e-4)
    assert estimate.acceleration_rad_s2 == pytest.approx(-math.pi, rel=0.01)


def test_a_slip_is_flagged_as_drifting() -> None:
    estimate = estimate_speed(trace_of(PulseTrain(9.0, slip_turns=0.1, noise_v=0.02)), 4)
    assert "drifting" in estimate.flags
    assert hertz(estimate)[0] == pytest.approx(9.0, rel=0.01)


def test_a_trace_of_under_two_turns_is_flagged_short_with_a_wide_uncertainty() -> None:
    estimate = estimate_speed(trace_of(PulseTrain(0.8, noise_v=0.02)), 4)
    assert "short" in estimate.flags
    rate, uncertainty = hertz(estimate)
    assert abs(rate - 0.8) < 4 * uncertainty


def test_one_pulse_gives_no_number() -> None:
    estimate = estimate_speed(trace_of(PulseTrain(0.15, marks=4, pulse_width=0.05, noise_v=0.01), seed=3), 4)
    assert "no-signal" in estimate.flags and math.isnan(estimate.speed_rad_s)


def test_dropouts_are_bridged_and_flagged() -> None:
    estimate = estimate_speed(trace_of(PulseTrain(9.0, dropout=0.08, noise_v=0.02)), 4)
    assert "missed-marks" in estimate.flags
    assert hertz(estimate)[0] == pytest.approx(9.0, rel=1e-3)


@pytest.mark.parametrize("rate_hz", [521.3, 643.1, 907.7, 1093.9])
@pytest.mark.parametrize("shape", ["bell", "rectangle"])
def test_pulses_faster_than_half_the_sample_rate_are_aliased_and_give_no_number(rate_hz: float, shape: str) -> None:
    seen = PulseTrain(rate_hz, marks=4, shape=shape, pulse_width=0.3, noise_v=0.02)  # type: ignore[arg-type]
    for seed in range(SEED, SEED + 5):
        trace = synthesise(seen, samples=SAMPLES, interval_s=1 / 4000, seed=seed)
        estimate = estimate_speed(trace, 4)
        assert "aliased" in estimate.flags and math.isnan(estimate.speed_rad_s)


@pytest.mark.parametrize(
    "seen",
    [
        PulseTrain(6.0, noise_v=0.02, clip_v=0.8),
        PulseTrain(6.0, clip_v=0.8),
        PulseTrain(6.0, resolution_v=0.01, clip_v=0.8),
        PulseTrain(6.0, shape="rectangle", noise_v=0.03, clip_v=0.9, height_spread=0.0),
    ],
)
def test_pulses_at_the_rails_are_flagged(seen: PulseTrain) -> None:
    assert "clipped" in estimate_speed(trace_of(seen), 4).flags


@pytest.mark.parametrize(
    "seen",
    [
        PulseTrain(6.0, noise_v=0.02),
        PulseTrain(6.0, resolution_v=0.02),
        PulseTrain(6.0, resolution_v=0.01, noise_v=0.01),
        PulseTrain(6.0, shape="rectangle", height_spread=0.0),
        PulseTrain(6.0, shape="rectangle", height_spread=0.0, noise_v=0.03),
        PulseTrain(6.0, shape="rectangle", height_spread=0.0, resolution_v=0.02, noise_v=0.004),
        PulseTrain(6.0, shape="sine", resolution_v=0.02),
    ],
)
def test_smooth_tops_and_logic_levels_are_not_flagged_as_clipped(seen: PulseTrain) -> None:
    assert "clipped" not in estimate_speed(trace_of(seen), 4).flags


def test_scale_and_offset_of_the_voltage_do_not_matter() -> None:
    trace = trace_of(PulseTrain(9.0, noise_v=0.05))
    other = Trace(-4e-3 * trace.voltage_v + 17.0, trace.interval_s)
    assert estimate_speed(other, 4).speed_rad_s == pytest.approx(estimate_speed(trace, 4).speed_rad_s, rel=1e-5)


def test_the_same_trace_gives_the_same_answer() -> None:
    trace = trace_of(PulseTrain(9.0, noise_v=0.05))
    assert estimate_speed(trace, 4) == estimate_speed(trace, 4)


@pytest.mark.parametrize("voltage", [[], [1.0], [1.0, 2.0, 1.0], [3.0] * 500, [0.0] * 499 + [1.0]])
def test_traces_without_a_signal_give_no_number(voltage: list[float]) -> None:
    estimate = estimate_speed(Trace(np.array(voltage), 1e-3), 4)
    assert "no-signal" in estimate.flags and estimate.method == "none" and math.isnan(estimate.speed_rad_s)


@settings(max_examples=80, deadline=None)
@given(
    kind=st.sampled_from(["noise", "steps", "ramp", "spikes", "walk", "huge"]),
    samples=st.integers(2, 600),
    marks=st.integers(1, 40),
    seed=st.integers(0, 2**32 - 1),
)
def test_any_trace_gives_a_speed_or_flags(kind: str, samples: int, marks: int, seed: int) -> None:
    random = np.random.default_rng(seed)
    noise = random.standard_normal(samples)
    voltage = {
        "noise": noise,
        "steps": np.round(noise),
        "ramp": np.arange(samples) + 1e-9 * noise,
        "spikes": (noise > 1.5).astype(float),
        "walk": np.cumsum(noise),
        "huge": 1e150 * noise,
    }[kind]
    estimate = estimate_speed(Trace(voltage, 1e-3), marks)
    assert set(estimate.flags) <= set(FLAGS)
    assert math.isnan(estimate.speed_rad_s) or (estimate.speed_rad_s > 0 and estimate.speed_u_rad_s > 0)
    assert math.isnan(estimate.speed_rad_s) == (estimate.method == "none" or "aliased" in estimate.flags)


@pytest.mark.parametrize("marks", [0, -1, 2.5, True, "4"])
def test_invalid_marks_are_refused(marks: object) -> None:
    with pytest.raises(InputError, match="number of marks cannot be"):
        estimate_speed(trace_of(PulseTrain(5.0), samples=100), marks)  # type: ignore[arg-type]


@pytest.mark.parametrize("mains", [0.0, -50.0, math.nan, "mains"])
def test_an_invalid_mains_frequency_is_refused(mains: float | str) -> None:
    with pytest.raises(InputError, match="mains frequency cannot be"):
        estimate_speed(trace_of(PulseTrain(5.0), samples=100), 4, mains_hz=mains)
