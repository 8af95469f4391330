"""Invented traces of a tachometer, scene by scene, from a seed: every fault of a bench in one trace, in any measure.

Not the model of the estimator: pulses with flanks, a duty cycle, heights and places of their own; hum with harmonics,
mains that stray; a wandering baseline, white noise, missing pulses, ringing, and an amplifier that saturates softly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Scene:
    """What was put into a trace.

    Attributes
    ----------
    seed : int
        Of everything in it.
    rate_hz : float
        Turns per second.
    marks : int
        Pulses a turn.
    hum, wander : float
        Amplitude of the hum, and standard deviation of the wander, over the height of the pulses.
    snr_db : float
        Power of the pulses, their mean left out, over that of the noise.
    missing : float
        Chance that a pulse is missing.
    ringing, saturation : float
        Share of each step that rings on; level over the height at which the amplifier saturates, infinite for none.
    mains_hz : float
        Frequency of the hum.
    interval_s : float
        Time between samples, s.
    voltage_v : array
        The trace.
    bound_hz : float
        Cramér-Rao bound on the standard deviation of the turn rate in the white noise alone, hum and wander left out.
    """

    seed: int
    rate_hz: float
    marks: int
    hum: float
    wander: float
    snr_db: float
    missing: float
    ringing: float
    saturation: float
    mains_hz: float
    interval_s: float
    voltage_v: FloatArray
    bound_hz: float


def make_scene(seed: int, samples: int = 20_000) -> Scene:
    """Return a scene: 1 to 8 unequal marks, 1.5 to 500 turns, hum 0 to 1, noise 0 to 30 dB, missing 0 to 30 %."""
    random = np.random.default_rng(seed)
    marks = int(random.integers(1, 9))
    interval = 10 ** random.uniform(-4.5, -3)
    duration = samples * interval
    most = min(500.0, samples / (16 * marks))  # eight samples in half a pitch, at the least
    turns = np.exp(random.uniform(np.log(1.5), np.log(most)))
    rate = turns / duration
    hum, wander = random.uniform(0, 1) * (random.random() < 0.7), random.uniform(0, 0.5) * (random.random() < 0.5)
    missing = random.uniform(0, 0.3) * (random.random() < 0.5)
    ringing, mains = random.uniform(0, 0.4) * (random.random() < 0.4), float(random.choice([50.0, 60.0]))
    mains *= 1 + 0.0008 * random.standard_normal()
    saturation = random.uniform(0.5, 1.2) if random.random() < 0.3 else np.inf
    snr_db, duty = random.uniform(0, 30), random.uniform(0.1, 0.5)
    time = (np.arange(samples) - (samples - 1) / 2) * interval
    places = (np.arange(marks) + np.clip(0.06 * random.standard_normal(marks), -0.15, 0.15)) / marks
    heights = np.clip(1 + 0.2 * random.standard_normal(marks), 0.4, 1.6)
    start, flank = random.uniform(), random.uniform(0.1, 0.5)
    low, high = int(np.floor(-rate * duration)) - 2, int(np.ceil(rate * duration)) + 2
    there = random.random((high - low + 1, marks)) >= missing

    def clean(turn_rate: float) -> FloatArray:
        phase = start + turn_rate * time
        pulses = np.zeros(samples)
        for mark in range(marks):
            turn = np.round(phase - places[mark])
            away = np.abs(phase - places[mark] - turn) * marks / (duty / 2)
            shape = np.clip((1 + flank - away) / (2 * flank), 0, 1)
            present = there[turn.astype(int) - low, mark]
            pulses += heights[mark] * present * (3 * shape**2 - 2 * shape**3)
        return pulses

    voltage = clean(rate)
    ideal = voltage
    if ringing:
        length = int(min(samples // 4, max(8, 0.3 / (rate * marks * interval))))
        lag = np.arange(length)
        kernel = np.exp(-4 * lag / length) * np.sin(2 * np.pi * lag * random.uniform(2, 5) / length)
        voltage = voltage + ringing * np.convolve(np.diff(voltage, prepend=voltage[0]), kernel)[:samples]
    phase = 2 * np.pi * (mains * time + random.uniform())
    voltage = voltage + hum * (np.sin(phase) + 0.3 * np.sin(3 * phase + 1) + 0.15 * np.sin(2 * phase + 2)) / 1.2
    if wander:
        slow = np.cumsum(random.standard_normal(40))
        slow = np.interp(np.linspace(0, 39, samples), np.arange(40), slow)
        voltage = voltage + wander * (slow - np.mean(slow)) / np.std(slow)
    power = float(np.var(ideal))
    sigma = np.sqrt(power / 10 ** (snr_db / 10))
    voltage = voltage + sigma * random.standard_normal(samples)
    if np.isfinite(saturation):
        middle = float(np.median(voltage))
        voltage = middle + saturation * np.tanh((voltage - middle) / saturation)
    # Cramér-Rao bound of the rate with phase, level and linear change open: slope of the shape along time
    step = 1e-6 * rate
    slope = (clean(rate + step) - clean(rate - step)) / (2 * step)
    turning = np.gradient(ideal, time) / rate
    others = np.stack([turning, turning * time**2 / max(duration, 1e-9) ** 2, np.ones(samples)])
    left = slope - others.T @ np.linalg.lstsq(others.T, slope, rcond=None)[0]
    bound = sigma / np.sqrt(float(left @ left)) if float(left @ left) > 0 else np.inf
    return Scene(
        seed, float(rate), marks, hum, wander, snr_db, missing, ringing, saturation, mains, interval, voltage, bound
    )
