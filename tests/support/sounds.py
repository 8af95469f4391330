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
    """

    rate_hz: float
    marks: int
    sample_rate: int
    level: NDArray[np.float64]


def make_sound_scene(seed: int) -> SoundScene:
    """Return a scene: 1 to 8 unequal marks, hum to 0.5, noise of 0 to 30 dB, missing to 30 %, coupled at 5 to 30 Hz."""
    random = np.random.default_rng(seed)
    sample_rate = int(random.choice([8000, 16000, 44100, 48000, 96000, 192000]))
    marks = int(random.integers(1, 9))
    seconds = float(random.uniform(2, 5)) if sample_rate < 90_000 else float(random.uniform(1, 2))
    slowest, fastest = max(2.5 / seconds, 1), min(200 / marks, sample_rate / 16 / marks)
    rate = float(np.exp(random.uniform(np.log(slowest), np.log(fastest))))
    time = np.arange(int(seconds * sample_rate)) / sample_rate
    turns = rate * time + random.uniform()
    duty, flank = random.uniform(0.05, 0.4), random.uniform(0.1, 0.5)
    missing = random.uniform(0, 0.3) * (random.random() < 0.3)
    level = np.zeros(time.size)
    for mark in range(marks):
        place = (mark + np.clip(0.06 * random.standard_normal(), -0.15, 0.15)) / marks
        height = np.clip(1 + 0.2 * random.standard_normal(), 0.4, 1.6)
        turn = np.round(turns - place)
        away = np.abs(turns - place - turn) * marks / (duty / 2)
        there = random.random(int(turn.max() - turn.min()) + 1) >= missing
        shape = np.clip((1 + flank - away) / (2 * flank), 0, 1)
        level += height * there[(turn - turn.min()).astype(int)] * (3 * shape**2 - 2 * shape**3)
    order, corner = int(random.integers(1, 3)), random.uniform(5, 30)
    level = sosfilt(butter(order, corner, "high", fs=sample_rate, output="sos"), level)
    depth, slow, phase = 0.3 * random.uniform(), random.uniform(0.2, 1), random.uniform(0, 6)
    level *= 1 + depth * np.sin(2 * np.pi * slow * time + phase)
    hum = 0.5 * random.uniform() * (random.random() < 0.5)
    mains = float(random.choice([50.0, 60.0])) * (1 + 8e-4 * random.standard_normal())
    noise = 10 ** (-random.uniform(0, 30) / 20) * np.std(level)
    level = level + hum * np.sin(2 * np.pi * mains * time) + noise * random.standard_normal(time.size)
    level = 0.5 * level * random.uniform(0.5, 2)
    rail = random.uniform(0.5, 1) if random.random() < 0.4 else 1.0
    return SoundScene(rate, marks, sample_rate, np.clip(level, -rail, rail))
