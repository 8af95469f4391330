"""Speed of a rotor that a camera sees from the side, from the brightness of columns across it, frame by frame.

Vanes move to and fro in front of and behind the axis, so both directions look the same. But every column has the
frequency of the vanes, m f for m vanes at f turns a second, and that of the turn where one vane differs. Frames show it
folded, at |n F - m f| for F frames a second; only a vane that differs, or a speed that the rotor cannot exceed,
determines n.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.thresholds import (
    CLIP_LINE,
    SIDE_FLAT,
    SIDE_STANDING,
    SIDE_TOLD,
)
from edgewind.signals.video import ByteArray

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

COLUMNS = 24
REACH, BREADTH = 1.8, 1.5
"""How far the columns reach along what moves and across it, over its half axes."""
PADDING = 4
HARMONICS, STRONG, HIGHER = 12, 5, 0.1
"""Multiples of the rhythm of the vanes that may lie beside a line of the turn; how many of them, from none on, are
strong; and the power of the others over that of the first, at the most: 0.04 was measured."""
LOBE = 2.5
"""Cells beside a line within which it has power of its own: two of a Hann window, and the neighbours looked at."""
WEIGHTS = (1.0, 0.6, 0.4)
"""Of the multiples of the rhythm of the vanes: the second may be stronger than the first, since vanes pass twice."""


@dataclass(frozen=True)
class Rhythm:
    """Rotation from the columns of a picture.

    Attributes
    ----------
    turn_rate_hz : float
        Turns a second.
    seen_hz : float
        Where its vanes are seen in the frames, from zero to half of their rate.
    possible_hz : tuple of float
        Other turn rates that the frames allow.
    strength : float
        Power of the lines of the vanes over that of the noise.
    wave : array of complex, shape (frames,)
        All columns together, in step at the line of the vanes, which goes as exp(-2 pi i seen t).
    """

    turn_rate_hz: float
    seen_hz: float
    possible_hz: tuple[float, ...]
    strength: float
    wave: ComplexArray


def is_from_side(wound: ComplexArray, axes: tuple[float, float]) -> bool:
    """Return whether the waves round what moves run both ways, as those of vanes do that a camera sees from the side.

    Parameters
    ----------
    wound : array of complex, shape (windings, frames)
        Sums of the patches round the axis, each winding its own phase.
    axes : tuple of float
        Half axes of what moves, the longer first.
    """
    if axes[1] > SIDE_FLAT * axes[0]:
        return False
    power = np.abs(np.fft.fft(wound * np.hanning(wound.shape[1]), axis=1)) ** 2
    power[:, :3] = power[:, -2:] = 0.0
    forwards, backwards = power, np.roll(power[:, ::-1], 1, axis=1)
    strong = np.maximum(forwards, backwards) > 0.05 * float(np.max(power))
    least, most = np.minimum(forwards, backwards)[strong], np.maximum(forwards, backwards)[strong]
    return bool(np.sum(least) > SIDE_STANDING * np.sum(most))


def column_brightness(
    frames: ByteArray, centre: tuple[float, float], axes: tuple[float, float], tilt_rad: float
) -> FloatArray:
    """Return the mean brightness of each column across what moves, that of all its time taken out.

    Returns
    -------
    array, shape (columns, frames)
    """
    count, height, width = frames.shape
    y, x = np.mgrid[:height, :width]
    dx, dy = x - centre[0], y - centre[1]
    along = (dx * math.cos(tilt_rad) + dy * math.sin(tilt_rad)) / axes[0]
    across = (-dx * math.sin(tilt_rad) + dy * math.cos(tilt_rad)) / axes[1]
    column = np.floor((along / REACH + 1) / 2 * COLUMNS).astype(int)
    within = (np.abs(across) < BREADTH) & (column >= 0) & (column < COLUMNS)
    masks = np.array([((column == one) & within).ravel() for one in range(COLUMNS)], dtype=np.float32)
    masks /= np.maximum(masks.sum(axis=1, keepdims=True), 1)
    series = masks @ frames.reshape(count, -1).T.astype(np.float32)
    outside = frames.reshape(count, -1)[:, ~within.ravel()]
    if outside.size:  # a lamp that flickers, an exposure that hunts
        light = outside.mean(axis=1)
        series = series - np.outer(series.mean(axis=1) / max(float(light.mean()), 1.0), light - light.mean())
    return np.asarray(series - series.mean(axis=1, keepdims=True), dtype=np.float64)


def rhythm_of(series: FloatArray, time: FloatArray, vanes: int, fastest_hz: float) -> Rhythm | None:
    """Return the turn rate of so many vanes from the columns of a picture; None where they have no rhythm.

    Parameters
    ----------
    series : array, shape (columns, frames)
        Brightness.
    time : array, shape (frames,)
        Time stamps, from the middle of the clip, s.
    vanes : int
        Their number.
    fastest_hz : float
        Turns a second that the rotor cannot exceed.
    """
    even = np.linspace(time[0], time[-1], time.size)
    level = np.array([np.interp(even, time, row) for row in series])
    frame_rate = (time.size - 1) / float(time[-1] - time[0])
    length = PADDING * time.size
    power = (np.abs(np.fft.rfft(level * np.hanning(time.size), length, axis=1)) ** 2).sum(axis=0)
    power[: 2 * PADDING] = 0.0
    cell = frame_rate / length
    noise = float(np.median(power[2 * PADDING :]))
    ratio = np.maximum.reduce([power, np.roll(power, 1), np.roll(power, -1)]) / max(noise, 1e-300)
    ratio = np.where(ratio > CLIP_LINE, ratio, 0.0)

    def at(frequency: FloatArray) -> FloatArray:
        folded = np.abs(frequency - frame_rate * np.rint(frequency / frame_rate))
        return np.asarray(ratio[np.minimum(np.rint(folded / cell).astype(int), ratio.size - 1)])

    seen = cell * np.arange(2 * PADDING, power.size - PADDING)
    if int(np.argmax(power)) >= power.size - 2 * PADDING:
        return None  # at half the frame rate a line and its reflection are one
    lines = np.sum([weight * at(order * seen) for order, weight in enumerate(WEIGHTS, start=1)], axis=0)
    best = int(np.argmax(lines))
    own = float(at(seen[best : best + 1])[0])
    if not own > 0:
        return None
    near = slice(max(0, best - PADDING), best + PADDING + 1)
    place = float(seen[near][int(np.argmax(power[2 * PADDING : power.size - PADDING][near]))])
    folds = np.arange(vanes // 2 + 1) * frame_rate
    rates = np.unique(np.concatenate([folds + place, np.abs(folds[1:] - place)])) / vanes
    rates = rates[rates <= min(fastest_hz, frame_rate / 2)]  # faster ones look the same in every line
    if rates.size == 0:
        return None
    chosen, told = 0, rates.size == 1
    if vanes > 1 and not told:
        orders = np.array([order for order in range(1, 2 * vanes) if order % vanes])
        # the lines of the vanes are common to all speeds; the other lines decide
        multiples = np.multiply(place, np.arange(HARMONICS + 1), dtype=np.float64)
        few, higher = multiples[:STRONG], multiples[STRONG:]
        lines_of_turn = []
        for rate in rates:
            power_at = at(orders * rate)
            weak = power_at < HIGHER * own  # a higher harmonic of the vanes may be all of it
            apart = _beside(orders * rate, few, frame_rate, cell)
            apart &= _beside(orders * rate, higher, frame_rate, cell) | ~weak
            lines_of_turn.append(np.where(apart, power_at, 0.0))
        score = np.array([math.sqrt(each[0] * float(np.max(each[1:], initial=0.0))) for each in lines_of_turn])
        chosen = int(np.argmax(score))
        told = bool(score[chosen] > SIDE_TOLD * np.sort(score)[-2])
        chosen = chosen if told else 0
    wave = np.exp(-2j * np.pi * place * even)
    amplitude = (level * np.hanning(time.size)) @ wave
    others = () if told else tuple(round(float(rate), 4) for rate in np.delete(rates, chosen)[:6])
    return Rhythm(float(rates[chosen]), place, others, own, np.asarray(amplitude @ level))


def _beside(frequency: FloatArray, shared: FloatArray, frame_rate: float, cell: float) -> NDArray[np.bool_]:
    """Return which lines, as folded, differ from those that all speeds share."""

    def folded(one: FloatArray) -> FloatArray:
        return np.asarray(np.abs(one - frame_rate * np.rint(one / frame_rate)))

    away = np.abs(folded(frequency)[:, None] - folded(shared))
    return np.asarray(np.min(away, axis=1) > LOBE * PADDING * cell)
