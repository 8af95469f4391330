"""Speed and direction of a rotor from the brightness of patches round its axis, frame by frame.

Seen from near its axis, a rotor of m vanes makes the brightness at the angle theta go as exp(i m (theta - omega t)): a
line in time of frequency m omega whose phase winds m times round the axis. The winding gives the repeats of a line in a
turn, and so the speed without a number of marks; its sense gives the direction. All windings are tried together for
each speed. A lamp that flickers makes all patches flicker alike, without winding, and drops out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgewind.errors import InputError
from edgewind.signals.side_view import column_brightness, is_from_side, rhythm_of
from edgewind.signals.thresholds import (
    CLIP_BORNE_OUT,
    CLIP_CHANGES,
    CLIP_LEAST_TURNS,
    CLIP_LINE,
    CLIP_RIVAL,
    CLIP_TOLD,
    CLIP_UNEVEN,
)
from edgewind.signals.video import ByteArray, Clip

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

PATCHES = 24
WINDINGS = 8
"""Highest number of times that a pattern repeats in a turn."""
INNER, OUTER = 0.35, 1.5
"""Of the ring of patches, over the breadth of what moves."""
PADDING = 4


@dataclass(frozen=True)
class Ring:
    """Patches round the axis of what turns.

    Attributes
    ----------
    centre : tuple of float
        Axis in the reduced frames, x and y.
    axes : tuple of float
        Half axes of the ellipse that what moves has, pixels, the longer first.
    tilt_rad : float
        Angle of the longer one from the x axis, towards y.
    series : array, shape (patches, frames)
        Mean brightness of each patch, that of all of them taken out.
    """

    centre: tuple[float, float]
    axes: tuple[float, float]
    tilt_rad: float
    series: FloatArray


@dataclass(frozen=True)
class PictureSpeed:
    """Result from a clip.

    Attributes
    ----------
    turn_rate_hz : float
        Turns a second in the middle of the clip; positive clockwise, as the camera sees it.
    turn_rate_u_hz : float
        Its standard uncertainty.
    acceleration_hz_s, acceleration_u_hz_s : float
        Change of it per second.
    winding : int
        How often the strongest line repeats in a turn.
    possible_hz : tuple of float
        Other speeds that the clip allows, such as those that differ by the frame rate over the winding.
    mirrored : float
        Score of the opposite direction over that of the one given.
    folded : bool
        Whether the speed may be that of a faster rotor, seen folded by the frame rate.
    ring : Ring
        Where it was seen.
    side : bool
        Whether it was seen from the side: then its patches are columns, and the direction is unknown.
    """

    turn_rate_hz: float
    turn_rate_u_hz: float
    acceleration_hz_s: float
    acceleration_u_hz_s: float
    winding: int
    possible_hz: tuple[float, ...]
    mirrored: float
    folded: bool
    ring: Ring
    side: bool = False


def find_ring(frames: ByteArray) -> Ring:
    """Return the patches round the axis of what changes periodically in a picture.

    Raises
    ------
    InputError
        Nothing in the picture does.
    """
    count, height, width = frames.shape
    stack = frames.reshape(count, -1).astype(np.float32)
    stack -= stack.mean(axis=1, keepdims=True)  # a lamp that flickers, an exposure that hunts
    stack -= stack.mean(axis=0)
    stack *= np.hanning(count).astype(np.float32)[:, None]
    power = np.zeros((count // 2 + 1, height * width), dtype=np.float32)
    for begin in range(0, height * width, 4096):
        part = np.fft.rfft(stack[:, begin : begin + 4096], axis=0)
        power[:, begin : begin + 4096] = np.abs(part) ** 2
    power[:3] = 0
    total = power.sum(axis=1)
    noise = float(np.median(total[3:]))
    top = int(np.argmax(total))
    if not total[top] > CLIP_CHANGES * noise > 0:
        raise InputError("nothing in the clip changes periodically", fix="give the region of the rotor, or more light")
    lines = np.flatnonzero(total > max(0.1 * total[top], min(4 * noise, 0.7 * total[top])))
    weight = power[lines].sum(axis=0).reshape(height, width)
    weight = _smooth(weight)
    weight = np.where(weight > 0.15 * np.percentile(weight, 99.5), np.sqrt(weight), 0.0)
    y, x = np.mgrid[:height, :width]
    share = weight / np.sum(weight)
    cx, cy = float(np.sum(share * x)), float(np.sum(share * y))
    dx, dy = x - cx, y - cy
    moments = np.array(
        [[np.sum(share * dx * dx), np.sum(share * dx * dy)], [np.sum(share * dx * dy), np.sum(share * dy * dy)]]
    )
    lengths, vectors = np.linalg.eigh(moments)
    minor, major = (float(math.sqrt(2 * max(length, 0.5))) for length in lengths)
    tilt = float(math.atan2(vectors[1, 1], vectors[0, 1]))
    along = (dx * math.cos(tilt) + dy * math.sin(tilt)) / major
    across = (-dx * math.sin(tilt) + dy * math.cos(tilt)) / minor
    angle = np.arctan2(across, along) + tilt
    radius = np.hypot(across, along)
    within = (radius > INNER) & (radius < OUTER)
    patch = np.floor(np.remainder(angle / (2 * np.pi), 1.0) * PATCHES).astype(int) % PATCHES
    masks = np.array([((patch == one) & within).ravel() for one in range(PATCHES)], dtype=np.float32)
    filled = masks.sum(axis=1)
    if np.any(filled == 0):
        raise InputError(
            f"what moves is only {2 * major:.0f} by {2 * minor:.0f} pixels of the reduced picture",
            fix="give the region of the rotor: x,y,width,height",
        )
    series = (masks / filled[:, None]) @ frames.reshape(count, -1).T.astype(np.float32)
    series = series - series.mean(axis=0)
    return Ring((cx, cy), (major, minor), tilt, np.asarray(series, dtype=np.float64))


def _smooth(image: NDArray[np.float32]) -> FloatArray:
    """Return the means over three by three pixels."""
    padded = np.pad(image.astype(np.float64), 1, mode="edge")
    height, width = image.shape
    return np.asarray(sum(padded[i : i + height, j : j + width] for i in range(3) for j in range(3)) / 9)


def speed_in(clip: Clip, fastest_hz: float = math.inf, vanes: int = 1) -> PictureSpeed:
    """Return speed and direction in a clip.

    Parameters
    ----------
    clip : Clip
        The clip.
    fastest_hz : float
        Turns a second that the rotor cannot exceed: speeds above it are not possible ones.
    vanes : int
        Their number, which a picture from the side does not show; one from near the axis needs none.

    Raises
    ------
    InputError
        Nothing turns in it.
    """
    ring = find_ring(clip.frames)
    time = clip.time_s - clip.time_s[-1] / 2
    frame_rate = (time.size - 1) / float(clip.time_s[-1])
    windings = np.concatenate([np.arange(1, WINDINGS + 1)])
    angle = 2 * np.pi * (np.arange(PATCHES) + 0.5) / PATCHES
    series = ring.series - ring.series.mean(axis=1, keepdims=True)
    wound = np.exp(-1j * np.outer(windings, angle)) @ series  # (windings, frames)
    if is_from_side(wound, ring.axes):
        return _from_side(clip, ring, time, fastest_hz, vanes)
    score, rates, each = _scores(wound, windings, time, frame_rate)
    span = float(clip.time_s[-1])
    if np.max(score) < CLIP_LINE:
        raise InputError(
            "nothing in the clip turns", fix="film it from nearer its axis, or give the region of the rotor"
        )
    score = np.where(np.abs(rates) <= fastest_hz, score, 0.0)
    if np.max(score) < CLIP_LINE:
        raise InputError(f"nothing turns at up to {fastest_hz:g} turns a second", fix="raise 'fastest'")
    likely = _peaks(score, rates, span)
    best = min(likely, key=lambda place: abs(rates[place]))
    once = np.array([_once_a_turn(each[:, place], windings) for place in likely])
    told = bool(len(likely) == 1 or np.max(once) > CLIP_TOLD * np.sort(once)[-2])
    if told and len(likely) > 1:
        best = likely[int(np.argmax(once))]
    if abs(rates[best]) * span < CLIP_LEAST_TURNS / 2:
        raise InputError("the rotor turns less than a turn in the clip", fix="film two turns or more")
    rate = float(rates[best])
    winding = int(windings[int(np.argmax(each[:, best]))])
    rate, u, acceleration, acceleration_u = _followed(wound[winding - 1], winding, rate, time)
    mirrored = float(np.max(score[np.abs(rates + rate) < 2 / span], initial=0.0)) / float(score[best])
    step = frame_rate / winding
    uneven = float(np.std(np.diff(clip.time_s))) * frame_rate > CLIP_UNEVEN
    told = told and (len(likely) > 1 or uneven or bool(once[0] > 0))
    possible = [float(rates[place]) for place in likely if place != best]
    for other in (rate - math.copysign(step, rate), rate + math.copysign(step, rate)):
        if not told and abs(other) <= fastest_hz and all(abs(other - known) > 2 / span for known in possible):
            possible.append(other)
    folded = not told and bool(possible)
    others = () if told else tuple(round(other, 4) for other in sorted(possible, key=abs)[:6])
    return PictureSpeed(rate, u, acceleration, acceleration_u, winding, others, mirrored, folded, ring)


def _from_side(clip: Clip, ring: Ring, time: FloatArray, fastest_hz: float, vanes: int) -> PictureSpeed:
    """Return the speed in a clip that shows the rotor from the side.

    Raises
    ------
    InputError
        Nothing turns in it.
    """
    series = column_brightness(clip.frames, ring.centre, ring.axes, ring.tilt_rad)
    rhythm = rhythm_of(series, time, vanes, fastest_hz)
    if rhythm is None:
        raise InputError(
            "nothing in the clip turns at a steady speed", fix="film it from nearer its axis, or for more turns"
        )
    seen, u, acceleration, acceleration_u = _followed(rhythm.wave, vanes, rhythm.seen_hz / vanes, time, 1.0)
    # folded, the rate goes with that of the frames, and against the line or with it
    rate, place = rhythm.turn_rate_hz, rhythm.seen_hz / vanes
    frame_rate = (time.size - 1) / float(time[-1] - time[0])
    step = vanes * rate / frame_rate
    sense = 1.0 if step - math.floor(step) < 0.5 else -1.0
    rate += sense * (seen - place)
    u = math.hypot(u, 0.05 / (time.size - 1) * rate)
    columns = Ring(ring.centre, ring.axes, ring.tilt_rad, series)
    possible = rhythm.possible_hz
    return PictureSpeed(
        rate, u, sense * acceleration, acceleration_u, vanes, possible, 1.0, bool(possible), columns, side=True
    )


def _once_a_turn(power: FloatArray, windings: NDArray[np.int64]) -> float:
    """Return the power of the line that repeats once in a turn, where others bear out that a vane differs; else zero.

    A vane that differs from the others is a bright spot, and winds in every way: the lines of all windings but those of
    the vanes are of one size. A weak line of one winding alone, as noise and the compression of a clip make, has none.
    """
    strongest = int(windings[int(np.argmax(power))])
    if strongest == 1:
        return float(power[0])
    others = np.sort(power[(windings % strongest != 0) & (windings > 1)])
    return float(power[0]) if others[-1] > CLIP_BORNE_OUT * power[0] else 0.0


def _scores(
    wound: ComplexArray, windings: NDArray[np.int64], time: FloatArray, frame_rate: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the score of each speed, the speeds, and the score by winding: power of its lines over that of the noise.

    The Fourier sum over uneven time stamps is taken on an even grid as fine as the frames, its samples interpolated.
    """
    even = np.linspace(time[0], time[-1], time.size)
    window = np.hanning(time.size)
    level = np.array([np.interp(even, time, row.real) + 1j * np.interp(even, time, row.imag) for row in wound])
    length = PADDING * time.size
    power = np.abs(np.fft.fft(level * window, length, axis=1)) ** 2
    noise = np.median(power, axis=1, keepdims=True) / math.log(2) + 1e-12 * power.max()
    ratio = power / noise
    ratio[:, : 2 * PADDING] = ratio[:, -2 * PADDING :] = 0.0
    span = float(time[-1] - time[0])
    fastest = frame_rate / 2
    step = 0.25 / (span * float(windings[-1]))
    rates = np.arange(-fastest, fastest, step)
    # exp(i m (theta - omega t)): the wound sum of a pattern that goes with theta has the frequency -m omega
    cells = np.rint(-windings[:, None] * rates * span * length / (time.size - 1)).astype(int) % length
    each = np.take_along_axis(ratio, cells, axis=1)
    strong = np.where(each > CLIP_LINE, each, 0.0)
    # all lines together, weighted by their power and not by their noise
    weight = noise / noise.max()
    score = (strong * weight).sum(axis=0)
    return score, rates, strong * weight


def _peaks(score: FloatArray, rates: FloatArray, span: float) -> list[int]:
    """Return the places of the highest scores, those near a higher one left out, the highest first."""
    kept: list[int] = []
    for place in np.argsort(-score)[:4000]:
        if score[place] < CLIP_RIVAL * score[kept[0] if kept else place]:
            break
        if all(abs(rates[place] - rates[other]) > 2 / span for other in kept):
            kept.append(int(place))
    return kept


def _followed(
    wound: ComplexArray, winding: int, rate_hz: float, time: FloatArray, breadth: float = 0.25
) -> tuple[float, float, float, float]:
    """Return rate, acceleration and their uncertainties from the phase of one line, followed frame by frame.

    It is smoothed over so many of its periods to either side.

    Least squares of phase = c + f t + a t^2 / 2; the residuals give the uncertainty, with their correlation from the
    spread over blocks of a turn.
    """
    turned = wound * np.exp(2j * np.pi * winding * rate_hz * time)
    reach = max(1, int(breadth / (winding * abs(rate_hz) * (time[-1] - time[0]) / (time.size - 1))))
    kernel = np.hanning(2 * reach + 3)[1:-1]
    smooth = np.convolve(turned, kernel / kernel.sum(), mode="same")
    phase = -np.unwrap(np.angle(smooth)) / (2 * np.pi * winding)
    weight = np.abs(smooth)
    free = 3 if (time[-1] - time[0]) * abs(rate_hz) > 3 else 2
    columns = np.stack([np.ones_like(time), time, time**2 / 2])[:free]
    scaled = columns * weight
    inverse = np.linalg.inv(scaled @ scaled.T)
    solution = inverse @ (scaled @ (phase * weight))
    left = (phase - solution @ columns) * weight
    span = float(time[-1] - time[0])
    blocks = int(np.clip(span * abs(rate_hz) * winding, 4, time.size // 3))
    sums = np.array([part.sum(axis=1) for part in np.array_split(scaled * left, blocks, axis=1)])
    covariance = inverse @ (sums.T @ sums) @ inverse * blocks / max(blocks - free, 1)
    u = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    # the stamps themselves: a tenth of a frame at each end is as good as is ever claimed
    least = 0.05 / (time.size - 1) * abs(rate_hz)
    rate = rate_hz + float(solution[1])
    return (
        rate,
        float(math.hypot(u[1], least)),
        float(solution[2]) if free == 3 else 0.0,
        float(u[2]) if free == 3 else math.inf,
    )
