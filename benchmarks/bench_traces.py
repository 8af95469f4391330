"""Traces: speed, distance from the Cramér-Rao bound, coverage of the uncertainty, false alarms."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable

import numpy as np
from measured import Row, from_tests, row
from speed_count import Case, count_rows

from edgewind.signals.speed import _KNOWN, estimate_speed
from edgewind.signals.speed_estimate import SpeedEstimate
from edgewind.signals.synthetic import PulseTrain, synthesise, tone, tone_bound_hz
from edgewind.signals.trace import Trace

SAMPLES, INTERVAL_S = 20_000, 1e-4
SEED = 20_240_501
FRESH = 93_661
"""First seed of the scenes: the estimator was mended with many below 86,000, and 100,000 to 111,999, in view.

Of the 4,000 fresh scenes from 86,000 to 89,999 it then gave 2 a wrong speed without a word (by 0.1 and 0.014 %), and
97.3 % of those whose bound allows 1 % a speed (2026-11-29). Of the 1,000 from 91,661 to 92,660, one was twice the rate,
which was mended; of the 1,000 from 92,661 to 93,660 none was wrong, and 96.7 % were given (2026-11-30).
"""


def run(full: bool = True) -> list[Row]:
    """Return one row a figure: name, value, unit and target.

    Parameters
    ----------
    full : bool
        500 traces a figure; else 40, for a look.
    """
    count = 500 if full else 40
    return [
        *speed_rows(25 if full else 7),
        *bound_rows(count),
        *coverage_rows(count),
        *silence_rows(count),
        *scene_rows(2000 if full else 100),
    ]


def bench(count: int, make: Callable[[np.random.Generator], PulseTrain]) -> Iterable[tuple[PulseTrain, Trace]]:
    """Yield a number of invented traces, each from its own seed."""
    for seed in range(SEED, SEED + count):
        seen = make(np.random.default_rng(seed))
        yield seen, synthesise(seen, samples=SAMPLES, interval_s=INTERVAL_S, seed=seed)


def usual(random: np.random.Generator, noise_v: float = 0.05) -> PulseTrain:
    """Return a rotor of four unequal marks on a wandering baseline with hum and noise."""
    return PulseTrain(random.uniform(2, 20), marks=4, noise_v=noise_v, hum_v=0.1, wander_v=0.2, ringing=0.05)


def speed_rows(repeats: int) -> list[Row]:
    """Time an analysis, both methods and all flags, and the peak of one padded transform of the same traces."""
    traces = [trace for _, trace in bench(8, usual)]

    def fresh(trace: Trace) -> SpeedEstimate:
        _KNOWN.clear()
        return estimate_speed(trace, 4)

    ours, plain = seconds(fresh, padded_peak, traces, repeats)
    return [
        row("analysis of 20,000 samples", 1e3 * ours, "ms", "under 30"),
        row("analysis over one FFT peak padded 8 times", ours / plain, "ratio"),
    ]


def seconds(
    analyse: Callable[[Trace], object], compare: Callable[[Trace], object], traces: list[Trace], repeats: int
) -> tuple[float, float]:
    """Return the processor time of each of two functions for a trace, s.

    For each trace the least of many runs, the two functions alternately: other load on the machine only adds time.
    """
    least = np.full((2, len(traces)), np.inf)
    for place, trace in enumerate(traces):
        for _ in range(repeats):
            for which, function in enumerate((analyse, compare)):
                begin = time.process_time()
                function(trace)
                least[which, place] = min(least[which, place], time.process_time() - begin)
    return float(np.mean(least[0])), float(np.mean(least[1]))


def padded_peak(trace: Trace) -> float:
    """Return the frequency of the greatest bin of one zero-padded transform: the simplest estimate of a speed."""
    length = 8 * trace.samples
    power = np.abs(np.fft.rfft(trace.voltage_v - np.mean(trace.voltage_v), length))
    return float(np.argmax(power)) / (length * trace.interval_s)


def bound_rows(count: int) -> list[Row]:
    """Compare the frequency error with the bound of Rife and Boorstyn, IEEE Trans. Inf. Theory 20, 591 (1974)."""
    rows: list[Row] = []
    for snr_db in (30.0, 20.0, 10.0):
        bound = tone_bound_hz(snr_db, samples=SAMPLES, interval_s=INTERVAL_S)
        errors, inside, missing = [], [], 0
        for seed in range(SEED, SEED + count):
            frequency = float(np.random.default_rng(seed).uniform(3, 400))
            trace = tone(frequency, snr_db, samples=SAMPLES, interval_s=INTERVAL_S, seed=seed)
            estimate = estimate_speed(trace, 1, mains_hz=None)
            if math.isnan(estimate.speed_rad_s):
                missing += 1
                continue
            error = estimate.speed_rad_s / (2 * math.pi) - frequency
            errors.append(error / bound)
            inside.append(abs(error) < estimate.speed_u_rad_s / (2 * math.pi))
        rms = float(np.sqrt(np.mean(np.square(errors))))
        rows.append(row(f"RMS error over bound, tone, {snr_db:g} dB", rms, "ratio", "at most 1.3"))
        rows.append(row(f"coverage of 68 %, tone, {snr_db:g} dB", 100 * float(np.mean(inside)), "%", "60 to 76"))
        rows.append(row(f"tones not found, {snr_db:g} dB", missing, "traces", "0"))
    return rows


SCENES: dict[str, Callable[[np.random.Generator], PulseTrain]] = {
    "usual": usual,
    "clean": lambda random: PulseTrain(random.uniform(2, 20), noise_v=0.01),
    "noisy": lambda random: usual(random, noise_v=0.4),
    "one mark": lambda random: PulseTrain(random.uniform(5, 50), marks=1, pulse_width=0.15, noise_v=0.1),
    "logic": lambda random: PulseTrain(random.uniform(2, 20), shape="rectangle", noise_v=0.03),
    "dropouts": lambda random: PulseTrain(random.uniform(4, 20), noise_v=0.05, dropout=0.05),
    "drifting": lambda random: PulseTrain(random.uniform(5, 20), noise_v=0.05, acceleration_hz_s=0.3),
    "logic, one mark": lambda random: PulseTrain(
        random.uniform(2, 40), marks=1, pulse_width=0.15, shape="rectangle", noise_v=0.03
    ),
    "logic, noisy": lambda random: PulseTrain(random.uniform(2, 20), shape="rectangle", noise_v=0.2),
    "logic, few turns": lambda random: PulseTrain(random.uniform(1.2, 3), shape="rectangle", noise_v=0.03),
    "unequal": lambda random: PulseTrain(random.uniform(2, 20), noise_v=0.05, height_spread=0.4),
    "unequal, two marks": lambda random: PulseTrain(
        random.uniform(2, 20), marks=2, noise_v=0.05, height_spread=0.4, spacing_spread=0.1
    ),
    "few turns": lambda random: PulseTrain(random.uniform(1.2, 3), noise_v=0.05),
}


def coverage_rows(count: int) -> list[Row]:
    """Count how often the truth lies within one standard uncertainty, over pulse trains of several kinds."""
    rows: list[Row] = []
    for name, make in SCENES.items():
        inside: dict[str, list[bool]] = {"chosen": [], "edges": [], "spectrum": []}
        wrong = unseen = 0
        for seen, trace in bench(count, make):
            estimate = estimate_speed(trace, seen.marks)
            if math.isnan(estimate.speed_rad_s):
                unseen += 1
                continue
            error = abs(estimate.speed_rad_s / (2 * math.pi) - seen.turn_rate_hz)
            wrong += error > 0.01 * seen.turn_rate_hz
            inside["chosen"].append(error < estimate.speed_u_rad_s / (2 * math.pi))
            for method in ("edges", "spectrum"):
                result = getattr(estimate, method)
                if result is not None:
                    apart = abs(result.turn_rate_hz - seen.turn_rate_hz)
                    inside[method].append(apart < result.turn_rate_u_hz)
        for method, hits in inside.items():
            if hits:
                target = "60 to 76" if method == "chosen" else None
                rows.append(row(f"coverage of 68 %, {name}, {method}", 100 * float(np.mean(hits)), "%", target))
        rows.append(row(f"wrong by over 1 %, {name}", wrong, "traces", "0"))
        rows.append(row(f"set aside as no-signal, {name}", unseen, "traces"))
    return rows


SILENT: dict[str, Callable[[np.random.Generator], PulseTrain]] = {
    "noise": lambda random: PulseTrain(0.0, noise_v=0.1),
    "noise and wander": lambda random: PulseTrain(0.0, noise_v=0.05, wander_v=0.3, wander_hz=random.uniform(0.1, 2)),
    "noise and hum": lambda random: PulseTrain(0.0, noise_v=0.05, hum_v=0.5, hum_hz=50 * random.uniform(0.999, 1.001)),
}


def silence_rows(count: int) -> list[Row]:
    """Count rotors at standstill that are reported as turning."""
    rows: list[Row] = []
    for name, make in SILENT.items():
        alarms = sum("no-signal" not in told(trace).flags for _, trace in bench(count, make))
        rows.append(row(f"false alarms, {name}", 100 * alarms / count, "%", "at most 1"))
    return rows


def told(trace: Trace) -> SpeedEstimate:
    """Return the estimate for a rotor of four marks."""
    return estimate_speed(trace, 4)


def scene_rows(count: int) -> list[Row]:
    """Count the scenes that give a wrong speed without a flag, and those that give a speed at all."""
    make_scene = from_tests("support", "scenes").make_scene

    def cases() -> Iterable[Case]:
        for seed in range(FRESH, FRESH + count):
            scene = make_scene(seed)
            found = estimate_speed(Trace(scene.voltage_v, scene.interval_s), scene.marks)
            yield found, scene.rate_hz, scene.bound_hz, scene.voltage_v.size * scene.interval_s

    return count_rows("scenes", cases(), "60 to 76")
