"""Spectrum: the comb of harmonics, its search, and the Cramér-Rao bound."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edgewind.signals.comb import centred_time, fit_comb, normal_equations, trace_sums
from edgewind.signals.lines import decimate, line_spectrum, noise_floor
from edgewind.signals.mains import mains_line
from edgewind.signals.scrutiny import pulses_in
from edgewind.signals.smooth import slow_part
from edgewind.signals.spectrum import (
    candidates,
    choose_candidate,
    folded,
)
from edgewind.signals.synthetic import PulseTrain, synthesise, tone, tone_bound_hz

INTERVAL_S = 1e-3


def harmonic_bound_hz(amplitudes: np.ndarray, noise_v: float, samples: int, interval_s: float) -> float:
    """Cramér-Rao bound of the fundamental of many harmonics in white noise, for many periods.

    The power of each harmonic counts by its order squared; one harmonic gives Rife and Boorstyn (1974).
    """
    weight = float(np.sum((np.arange(1, amplitudes.size + 1) * np.abs(amplitudes)) ** 2))
    return float(np.sqrt(6 * noise_v**2 / (np.pi**2 * weight * samples * (samples**2 - 1) * interval_s**2)))


@pytest.mark.parametrize("snr_db", [30.0, 20.0, 10.0])
def test_frequency_of_a_tone_reaches_the_cramer_rao_bound(snr_db: float) -> None:
    """Rife and Boorstyn, IEEE Trans. Inf. Theory 20, 591 (1974); the same bound in PHYSICS, section Signals."""
    samples = 4000
    bound = tone_bound_hz(snr_db, samples=samples, interval_s=INTERVAL_S)
    errors = []
    for seed in range(80):
        frequency = 7.0 + 2.3 * seed
        trace = tone(frequency, snr_db, samples=samples, interval_s=INTERVAL_S, seed=seed)
        comb = fit_comb(trace.voltage_v, INTERVAL_S, frequency + 0.06, 0.0, np.array([1, 2]))
        errors.append((comb.rate_hz - frequency) / bound)
    # 80 errors: the root mean square of efficient ones is 1.00 +- 0.08; below 0.8 the bound itself would be in doubt
    assert 0.8 < np.sqrt(np.mean(np.square(errors))) < 1.3


def test_turn_rate_of_a_pulse_train_reaches_the_bound_of_its_harmonics() -> None:
    """The bound of Rife and Boorstyn (1974) for a tone, its A^2 replaced by the sum of k^2 A_k^2 over the harmonics."""
    seen = PulseTrain(9.37, marks=3, noise_v=0.2, pulse_width=0.4)
    errors = []
    for seed in range(60):
        clean = synthesise(PulseTrain(9.37, marks=3, pulse_width=0.4), samples=4000, interval_s=INTERVAL_S, seed=seed)
        trace = synthesise(seen, samples=4000, interval_s=INTERVAL_S, seed=seed)
        orders = np.arange(1, 16)
        truth = fit_comb(clean.voltage_v, INTERVAL_S, 9.37, 0.0, orders).amplitudes
        bound = harmonic_bound_hz(truth, seen.noise_v, 4000, INTERVAL_S)
        comb = fit_comb(trace.voltage_v, INTERVAL_S, 9.39, 0.0, orders)
        errors.append((comb.rate_hz - seen.turn_rate_hz) / bound)
    assert 0.75 < np.sqrt(np.mean(np.square(errors))) < 1.3


def test_acceleration_is_found_without_a_bias_of_the_rate_at_the_middle() -> None:
    seen = PulseTrain(8.0, acceleration_hz_s=0.4, noise_v=0.05)
    scores = []
    for seed in range(40):
        trace = synthesise(seen, samples=4000, interval_s=INTERVAL_S, seed=seed)
        comb = fit_comb(trace.voltage_v, INTERVAL_S, 8.02, 0.35, np.arange(1, 13), passes=6)
        scores.append(
            [
                (comb.rate_hz - 8.0) / comb.rate_u_hz,
                (comb.acceleration_hz_s - 0.4) / comb.acceleration_u_hz_s,
            ]
        )
    assert np.all(np.abs(np.std(scores, axis=0) - 1) < 0.35)


@settings(max_examples=25, deadline=None)
@given(
    rate=st.floats(1.0, 40.0),
    acceleration=st.floats(-3.0, 3.0),
    orders=st.lists(st.integers(1, 6), min_size=1, max_size=4, unique=True).map(sorted),
    seed=st.integers(0, 2**32 - 1),
)
def test_normal_equations_from_sums_equal_those_of_the_jacobian(
    rate: float, acceleration: float, orders: list[int], seed: int
) -> None:
    random = np.random.default_rng(seed)
    time = centred_time(300, 4e-3)
    half = 0.6
    k = np.array(orders)
    amplitudes = random.standard_normal(k.size) + 1j * random.standard_normal(k.size)
    voltage = random.standard_normal(300)
    angle = 2 * np.pi * np.outer(k, rate * time + acceleration * time**2 / 2)
    wave = np.exp(1j * angle)
    turning = 2j * np.pi * (k * amplitudes) @ wave
    jacobian = np.vstack(
        [
            (time / half) ** np.arange(3)[:, None],
            np.real(wave),
            -np.imag(wave),
            np.real(turning) * time,
            np.real(turning) * time**2 / 2,
        ]
    )
    sums = trace_sums(voltage, time, half, rate, acceleration, int(k[-1]))
    matrix, right = normal_equations(*sums, k, amplitudes, half)
    assert matrix == pytest.approx(jacobian @ jacobian.T, abs=1e-7 * np.abs(matrix).max())
    assert right == pytest.approx(jacobian @ voltage, abs=1e-9 * np.abs(voltage).sum() * (1 + np.abs(right).max()))


def test_uncertainty_depends_on_the_noise_at_the_line_only() -> None:
    random = np.random.default_rng(5)
    time = centred_time(8000, INTERVAL_S)
    signal = np.cos(2 * np.pi * 40.3 * time)
    white = 0.1 * random.standard_normal(8000)
    spectrum = np.fft.rfft(random.standard_normal(8000))
    frequency = np.fft.rfftfreq(8000, INTERVAL_S)
    near = np.fft.irfft(np.where(np.abs(frequency - 40) < 15, spectrum, 0)) * 0.5
    far = np.fft.irfft(np.where(np.abs(frequency - 300) < 15, spectrum, 0)) * 0.5
    u_white, u_near, u_far = (
        fit_comb(signal + noise, INTERVAL_S, 40.3, 0.0, np.array([1])).rate_u_hz
        for noise in (white, white + near, white + far)
    )
    assert u_near > 3 * u_white
    assert u_far == pytest.approx(u_white, rel=0.2)


def test_noise_floor_of_white_noise_is_its_mean_power_and_passes_under_lines() -> None:
    power = np.random.default_rng(2).exponential(3.0, 20_000)
    power[500::500] = 1e6
    floor = noise_floor(power)
    assert floor[100:] == pytest.approx(np.full(19_900, 3.0), rel=0.6)


@pytest.mark.parametrize("marks", [1, 2, 3, 4, 6])
def test_turn_rate_is_not_confused_with_its_half_or_double(marks: int) -> None:
    right = 0
    for seed in range(20):
        seen = PulseTrain(4.0 + 0.37 * seed, marks=marks, noise_v=0.1)
        trace = synthesise(seen, samples=5000, interval_s=INTERVAL_S, seed=seed)
        lines = line_spectrum(trace.voltage_v, INTERVAL_S)
        chosen = choose_candidate(candidates(lines, marks, None, 5.0, 500.0), trace.voltage_v, INTERVAL_S, marks)
        right += chosen is not None and abs(chosen.rate_hz / seen.turn_rate_hz - 1) < 0.02
    assert right >= 19


def test_mains_is_found_at_its_own_frequency_and_a_tone_beside_it_is_not_mains() -> None:
    time = centred_time(5000, INTERVAL_S)
    noise = 0.05 * np.random.default_rng(1).standard_normal(5000)
    assert mains_line(line_spectrum(np.sin(2 * np.pi * 50.05 * time) + noise, INTERVAL_S), 50.0) == pytest.approx(
        50.05, abs=0.01
    )
    assert mains_line(line_spectrum(np.sin(2 * np.pi * 51.0 * time) + noise, INTERVAL_S), 50.0) is None
    assert mains_line(line_spectrum(noise, INTERVAL_S), 50.0) is None


def test_folding_shows_one_pulse_a_mark() -> None:
    trace = synthesise(PulseTrain(5.0, marks=4, noise_v=0.02), samples=4000, interval_s=INTERVAL_S, seed=3)
    assert pulses_in(folded(trace.voltage_v, INTERVAL_S, 5.0, 0.0, 96)) == 4
    assert pulses_in(folded(trace.voltage_v, INTERVAL_S, 2.5, 0.0, 96)) == 8


def test_decimation_keeps_what_lies_below_the_highest_frequency() -> None:
    time = centred_time(20_000, 1e-4)
    coarse, interval = decimate(np.cos(2 * np.pi * 20 * time), 1e-4, 20.0)
    assert interval == pytest.approx(0.0100) or interval > 1e-3
    fitted = fit_comb(coarse, interval, 20.01, 0.0, np.array([1]))
    assert fitted.rate_hz == pytest.approx(20.0, abs=1e-6)


def test_the_slow_part_is_the_baseline_without_the_pulses() -> None:
    time = centred_time(4000, INTERVAL_S)
    slow, fast = np.sin(2 * np.pi * 0.2 * time), np.sin(2 * np.pi * 30 * time)
    assert slow_part(slow + fast, 20) == pytest.approx(slow, abs=0.08)
