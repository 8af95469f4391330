"""Invented tachometer traces with the faults of real benches, from a seed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.trace import Trace

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class PulseTrain:
    """Contents of a trace: rotor, marks and disturbances.

    Attributes
    ----------
    turn_rate_hz : float
        Turns per second at the middle of the trace; zero for a rotor that stands still.
    acceleration_hz_s : float
        Change of the turn rate per second.
    marks : int
        Pulses a turn.
    shape : {"bell", "rectangle", "sine"}
        Waveform of one pulse: a bell as of a light beam crossed by a vane, a rectangle as of a logic output, or
        one cosine a mark.
    pulse_width : float
        Full width at half height of a pulse, as a share of the pitch between marks.
    height_v, height_spread : float
        Mean height of a pulse in volts, and the relative standard deviation from mark to mark.
    spacing_spread : float
        Standard deviation of the places of the marks, as a share of the pitch.
    places : tuple of float or None
        Place of each mark in turns, in the order in which they pass; evenly apart where None.
    offset_v, wander_v : float
        Mean level, and standard deviation of a slow random walk about it, in volts.
    wander_hz : float
        Corner frequency of the wander.
    hum_v, hum_hz : float
        Amplitude and frequency of mains hum; a third of it comes as the third harmonic.
    noise_v : float
        Standard deviation of white noise, volts.
    ringing, ringing_hz, ringing_decay_s : float
        Share of each step that rings on, its frequency and its decay time.
    dropout : float
        Chance that a pulse is missing.
    slip_turns : float
        A sudden loss of phase at the middle of the trace, in turns.
    clip_v : float or None
        Level at which the recorder clips.
    resolution_v : float
        Step of the converter; zero for none.

    Examples
    --------
    >>> trace = synthesise(PulseTrain(turn_rate_hz=5.0, marks=4), samples=2000, interval_s=1e-3, seed=1)
    >>> trace.samples, trace.duration_s
    (2000, 2.0)
    """

    turn_rate_hz: float
    acceleration_hz_s: float = 0.0
    marks: int = 4
    shape: Literal["bell", "rectangle", "sine"] = "bell"
    pulse_width: float = 0.25
    height_v: float = 1.0
    height_spread: float = 0.15
    spacing_spread: float = 0.05
    places: tuple[float, ...] | None = None
    offset_v: float = 0.2
    wander_v: float = 0.0
    wander_hz: float = 0.3
    hum_v: float = 0.0
    hum_hz: float = 50.0
    noise_v: float = 0.0
    ringing: float = 0.0
    ringing_hz: float = 300.0
    ringing_decay_s: float = 0.01
    dropout: float = 0.0
    slip_turns: float = 0.0
    clip_v: float | None = None
    resolution_v: float = 0.0


def synthesise(tachometer: PulseTrain, *, samples: int, interval_s: float, seed: int) -> Trace:
    """Return an invented trace.

    Parameters
    ----------
    tachometer : PulseTrain
        Contents of the trace.
    samples : int
        Number of samples.
    interval_s : float
        Time between samples, seconds.
    seed : int
        The same seed gives the same trace.

    Returns
    -------
    Trace
        Its source states that it is invented, and the seed.
    """
    random = np.random.default_rng(seed)
    time = (np.arange(samples) - (samples - 1) / 2) * interval_s
    turns = random.uniform() + tachometer.turn_rate_hz * time + tachometer.acceleration_hz_s * time**2 / 2
    turns[time > 0] -= tachometer.slip_turns
    voltage = pulses(turns, tachometer, random)
    if tachometer.ringing:
        voltage = voltage + _ringing(voltage, tachometer, interval_s)
    if tachometer.hum_v:
        phase = 2 * np.pi * (tachometer.hum_hz * time + random.uniform())
        voltage = voltage + tachometer.hum_v * (np.sin(phase) + np.sin(3 * phase + 1.0) / 3)
    if tachometer.wander_v:
        voltage = voltage + tachometer.wander_v * _wander(samples, tachometer.wander_hz * interval_s, random)
    voltage = voltage + tachometer.offset_v + tachometer.noise_v * random.standard_normal(samples)
    if tachometer.clip_v is not None:
        voltage = np.minimum(voltage, tachometer.clip_v)
    if tachometer.resolution_v:
        voltage = np.round(voltage / tachometer.resolution_v) * tachometer.resolution_v
    return Trace(voltage, interval_s, channel="invented", source=f"invented trace, seed {seed}")


def pulses(turns: FloatArray, tachometer: PulseTrain, random: np.random.Generator) -> FloatArray:
    """Return the pulses of the marks, in volts, at the given angles in turns."""
    marks, pitch = tachometer.marks, 1 / tachometer.marks
    if tachometer.turn_rate_hz == 0:
        return np.zeros_like(turns)
    if tachometer.shape == "sine":
        return tachometer.height_v * np.cos(2 * np.pi * marks * turns)
    even = np.arange(marks) if tachometer.places is None else np.asarray(tachometer.places, dtype=float) / pitch
    places = (even + tachometer.spacing_spread * random.standard_normal(marks)) * pitch
    heights = 1 + tachometer.height_spread * random.standard_normal(marks)
    heights = tachometer.height_v * np.clip(heights, 0.3, None)
    first, last = int(np.floor(turns.min())) - 1, int(np.ceil(turns.max())) + 1
    present = random.uniform(size=(last - first + 1, marks)) >= tachometer.dropout
    voltage = np.zeros_like(turns)
    half_width = tachometer.pulse_width * pitch / 2
    for mark in range(marks):
        turn = np.round(turns - places[mark])
        distance = (turns - places[mark] - turn) / half_width
        height = heights[mark] * present[turn.astype(int) - first, mark]
        if tachometer.shape == "rectangle":
            voltage += height * (np.abs(distance) < 1)
        else:
            voltage += height * np.exp2(-(distance**2))
    return voltage


def tone(
    frequency_hz: float, snr_db: float, *, samples: int, interval_s: float, seed: int, amplitude_v: float = 1.0
) -> Trace:
    """Return a tone of random phase in white noise, with SNR = A^2 / (2 sigma^2).

    The signal, for tests and benchmarks of the estimate, for which Rife and Boorstyn (IEEE Trans. Inf. Theory 20, 591,
    1974) give the bound.
    """
    noise = amplitude_v / np.sqrt(2 * 10 ** (snr_db / 10))
    seen = PulseTrain(frequency_hz, marks=1, shape="sine", height_v=amplitude_v, noise_v=float(noise), offset_v=0.0)
    return synthesise(seen, samples=samples, interval_s=interval_s, seed=seed)


def tone_bound_hz(snr_db: float, *, samples: int, interval_s: float) -> float:
    """Return the Cramér-Rao bound on the standard deviation of the frequency of a tone in white noise, hertz.

    var(f) >= 6 sigma^2 / (pi^2 A^2 N (N^2 - 1) Ts^2); Rife and Boorstyn, IEEE Trans. Inf. Theory 20, 591 (1974).

    Examples
    --------
    >>> f"{tone_bound_hz(10.0, samples=20_000, interval_s=1e-4):.3g}"
    '0.000616'
    """
    noise_to_power = 1 / (2 * 10 ** (snr_db / 10))
    spread = samples * (samples**2 - 1) * interval_s**2
    return float(np.sqrt(6 * noise_to_power / (np.pi**2 * spread)))


def _ringing(voltage: FloatArray, tachometer: PulseTrain, interval_s: float) -> FloatArray:
    """Return the ringing after each step of the voltage."""
    length = max(2, int(8 * tachometer.ringing_decay_s / interval_s))
    time = np.arange(length) * interval_s
    decay = np.exp(-time / tachometer.ringing_decay_s)
    kernel = tachometer.ringing * decay * np.sin(2 * np.pi * tachometer.ringing_hz * time)
    step = np.diff(voltage, prepend=voltage[0])
    return np.convolve(step, kernel)[: voltage.size]


def _wander(samples: int, corner: float, random: np.random.Generator) -> FloatArray:
    """Return a slow random function of unit standard deviation, its power falling as 1/f^4 above the corner."""
    frequency = np.fft.rfftfreq(2 * samples)
    white = random.standard_normal((2, frequency.size))
    shape = 1 / (1 + (frequency / corner) ** 2)
    shape[0] = 0
    slow = np.fft.irfft((white[0] + 1j * white[1]) * shape)[:samples]
    spread = float(np.std(slow))
    return slow / spread if spread else slow
