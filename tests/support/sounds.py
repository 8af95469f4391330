"""Invented sound of a tachometer, from a seed: pulses behind a coupling capacitor, clipped, with a gain that pumps.

Not the model of the estimator: of wide pulses the capacitor leaves a bump at each flank, and ringing behind them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt


@dataclass(frozen=True)
class SoundScene:
    """What a microphone socket recorded.

    Attributes
    ----------
    rate_hz : float
        Turns per second.
    marks : int
        Pulses a turn.
    sample_rate : int
        Samples a second, 8,000 to 192,000.
    level : array
        The samples, from -1 to 1.
    order, corner_hz : int, float
        Of the coupling, a high-pass filter of Butterworth.
    snr_db : float
        Power of the coupled pulses over that of the noise.
    bound_hz : float
        Cramér-Rao bound on the standard deviation of the turn rate in the white noise alone, hum left out, samples at
        the rail telling nothing.
    """

    rate_hz: float
    marks: int
    sample_rate: int
    level: NDArray[np.float64]
    order: int
    corner_hz: float
    snr_db: float
    bound_hz: float


def make_sound_scene(seed: int) -> SoundScene:
    """Return a scene: 1 to 8 unequal marks, hum to 0.5, noise of 0 to 30 dB, missing to 30 %, coupled at 5 to 30 Hz."""
    random = np.random.default_rng(seed)
    sample_rate = int(random.choice([8000, 16000, 44100, 48000, 96000, 192000]))
    marks = int(random.integers(1, 9))
    seconds = float(random.uniform(2, 5)) if sample_rate < 90_000 else float(random.uniform(1, 2))
    slowest, fastest = max(2.5 / seconds, 1), min(200 / marks, sample_rate / 16 / marks)
    rate = float(np.exp(random.uniform(np.log(slowest), np.log(fastest))))
    time = np.arange(int(seconds * sample_rate)) / sample_rate
    start = random.uniform()
    duty, flank = random.uniform(0.05, 0.4), random.uniform(0.1, 0.5)
    missing = random.uniform(0, 0.3) * (random.random() < 0.3)
    places, heights, present = [], [], []
    for mark in range(marks):
        places.append((mark + np.clip(0.06 * random.standard_normal(), -0.15, 0.15)) / marks)
        heights.append(np.clip(1 + 0.2 * random.standard_normal(), 0.4, 1.6))
        turn = np.round(rate * time + start - places[-1])
        present.append(random.random(int(turn.max() - turn.min()) + 1) >= missing)

    def light(turn_rate: float) -> NDArray[np.float64]:
        level = np.zeros(time.size)
        for place, height, there in zip(places, heights, present, strict=True):
            turns = turn_rate * time + start - place
            turn = np.round(turns)
            away = np.abs(turns - turn) * marks / (duty / 2)
            shape = np.clip((1 + flank - away) / (2 * flank), 0, 1)
            level += height * there[(turn - turn.min()).astype(int)] * (3 * shape**2 - 2 * shape**3)
        return level

    order, corner = int(random.integers(1, 3)), random.uniform(5, 30)
    coupling = butter(order, corner, "high", fs=sample_rate, output="sos")
    depth, slow, phase = 0.3 * random.uniform(), random.uniform(0.2, 1), random.uniform(0, 6)
    gain = 1 + depth * np.sin(2 * np.pi * slow * time + phase)
    bright = light(rate)
    pulses = gain * sosfilt(coupling, bright)
    hum = 0.5 * random.uniform() * (random.random() < 0.5)
    mains = float(random.choice([50.0, 60.0])) * (1 + 8e-4 * random.standard_normal())
    snr_db = random.uniform(0, 30)
    noise = 10 ** (-snr_db / 20) * np.std(pulses)
    level = pulses + hum * np.sin(2 * np.pi * mains * time) + noise * random.standard_normal(time.size)
    level = 0.5 * level * random.uniform(0.5, 2)
    rail = random.uniform(0.5, 1) if random.random() < 0.4 else 1.0
    # as for scenes: phase, level and linear change open
    step = 1e-6 * rate
    heard = np.abs(level) < rail
    slope = (gain * sosfilt(coupling, light(rate + step) - bright))[heard] / step
    turning = np.gradient(pulses, time)[heard]
    others = np.stack([turning, turning * (time[heard] - time.mean()) ** 2, np.ones(slope.size)])
    others /= np.maximum(np.linalg.norm(others, axis=1, keepdims=True), 1e-300)
    left = slope - np.linalg.lstsq(others @ others.T, others @ slope, rcond=None)[0] @ others
    bound = float(noise / max(np.linalg.norm(left), 1e-300))
    return SoundScene(rate, marks, sample_rate, np.clip(level, -rail, rail), order, corner, snr_db, bound)
