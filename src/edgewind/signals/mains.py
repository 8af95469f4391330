"""The mains in a trace: detection, removal, and distinction from a rotor at the same rate."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.comb import centred_time, fit_comb, phasors
from edgewind.signals.lines import (
    PADDING,
    LineSpectrum,
    decimate,
)
from edgewind.signals.scrutiny import explained_share
from edgewind.signals.thresholds import (
    LEAST_CROWDED,
    LINE,
    MAINS_CROWDED,
    MAINS_MOSTLY,
    MAINS_NARROW,
    MAINS_ORDERS,
    MAINS_OUTGROWN,
    MAINS_TOLERANCE,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


def mains_line(spectrum: LineSpectrum, mains_hz: float | None) -> float | None:
    """Return the frequency of the mains as this trace shows it, or None where no line of it stands out."""
    if mains_hz is None:
        return None
    best: tuple[float, float] | None = None
    for order in (1, 2):
        reach = MAINS_TOLERANCE * order * mains_hz + 0.1 * PADDING * spectrum.step_hz
        first = max(1, int(np.floor((order * mains_hz - reach) / spectrum.step_hz)))
        last = min(spectrum.power.size - 2, int(np.ceil((order * mains_hz + reach) / spectrum.step_hz)))
        if last <= first:
            continue
        cell = first + int(np.argmax(spectrum.power[first : last + 1]))
        if not spectrum.power[cell - 1] <= spectrum.power[cell] >= spectrum.power[cell + 1]:
            continue
        if spectrum.ratio[cell] > LINE and (best is None or spectrum.power[cell] > best[0]):
            near = spectrum.power[cell - 1 : cell + 2]
            shift = 0.5 * np.log(near[2] / near[0]) / np.log(near[1] ** 2 / (near[0] * near[2]))
            place = float(cell + np.clip(shift, -0.5, 0.5)) * spectrum.step_hz
            if abs(place - order * mains_hz) <= reach:
                best = float(near[1]), place / order
    return None if best is None else best[1]


def on_grid(frequency_hz: FloatArray, base_hz: float | None, reach_hz: float | FloatArray) -> BoolArray:
    """Return which frequencies lie close to a multiple of a base frequency."""
    if base_hz is None:
        return np.zeros(np.shape(frequency_hz), dtype=bool)
    order = np.maximum(np.rint(frequency_hz / base_hz), 1)
    return np.abs(frequency_hz - order * base_hz) < reach_hz


def remove_hum(voltage: FloatArray, interval_s: float, mains_hz: float) -> tuple[FloatArray, float]:
    """Return the trace without the mains and its harmonics, and the frequency of the mains as fitted."""
    highest = int(min(MAINS_ORDERS, 0.45 / (interval_s * mains_hz)))
    if highest < 1:
        return voltage, mains_hz
    orders = np.arange(1, highest + 1)
    coarse, coarse_interval = decimate(voltage, interval_s, highest * mains_hz)
    hum = fit_comb(coarse, coarse_interval, mains_hz, 0.0, orders, steady=True, passes=2, uncertain=False)
    if abs(hum.rate_hz - mains_hz) > 1 / (voltage.size * interval_s):
        return voltage, mains_hz
    gain = np.sinc(orders * hum.rate_hz * coarse_interval) / np.sinc(orders * hum.rate_hz * interval_s)
    time = centred_time(voltage.size, interval_s)
    waves = phasors(time, hum.rate_hz, 0.0, highest)[1:]
    return voltage - np.real((hum.amplitudes / gain) @ waves), hum.rate_hz


def hum_at(
    voltage: FloatArray, interval_s: float, mains_hz: float, reach_hz: float, spared_hz: FloatArray
) -> FloatArray:
    """Return the lines of the mains in a trace, by least squares, but for those within reach of spared frequencies."""
    multiples = mains_hz * np.arange(1, 2 * MAINS_ORDERS)
    multiples = multiples[(multiples * interval_s < 0.45)]
    multiples = multiples[np.min(np.abs(multiples[:, None] - spared_hz), axis=1) > reach_hz]
    if multiples.size == 0:
        return np.zeros_like(voltage)
    angle = 2 * np.pi * np.outer(multiples, centred_time(voltage.size, interval_s))
    columns = np.concatenate([np.cos(angle), np.sin(angle)])
    return np.asarray(np.linalg.solve(columns @ columns.T, columns @ voltage) @ columns)


def mains_bases(mains_hz: float | str | None, seen_hz: float | None) -> tuple[float, ...]:
    """Return the frequencies that the mains may have: as seen, or as named, or 50 Hz and 60 Hz."""
    if mains_hz is None:
        return ()
    if not isinstance(mains_hz, str):
        return (float(mains_hz),) if seen_hz is None else (float(mains_hz), seen_hz)
    return (50.0, 60.0) if seen_hz is None else (seen_hz,)


def near_mains(
    rate_hz: float, marks: int, mains_hz: float | str | None, seen_hz: float | None, duration_s: float
) -> bool:
    """Return whether pulses come at the rate of the mains or of a multiple, to what mains and trace leave open.

    Of mains that a trace does not show only the first two multiples count, and the first alone where it shows others:
    there is one grid on a bench. But what seems to be the other may be a line of the rotor itself.
    """
    if mains_hz is None:
        return False
    pulse_rate_hz = rate_hz * marks
    named = (50.0, 60.0) if isinstance(mains_hz, str) else (float(mains_hz),)
    bases = [(base, 2) for base in named]
    if seen_hz is not None:
        own = abs(seen_hz / rate_hz - round(seen_hz / rate_hz)) * rate_hz * duration_s < 1
        bases = [(base, 2 if own or abs(base / seen_hz - 1) < 2 * MAINS_TOLERANCE else 1) for base in named]
        bases.append((seen_hz, 2 * MAINS_ORDERS))
    for base, orders in bases:
        order = max(1, round(pulse_rate_hz / base))
        # a line that the trace does not show can hide only where it is not told from that of the pulses
        stray = MAINS_TOLERANCE * order * base if base != seen_hz else 0.1 * order / duration_s
        reach = stray + (1.0 if seen_hz is not None else 0.3) / duration_s
        if order <= orders and abs(pulse_rate_hz - order * base) < min(reach, 0.05 * base):
            return True
    return False


def crowded_by(
    rate_hz: float,
    marks: int,
    lines: LineSpectrum,
    bases: tuple[float, ...],
    duration_s: float,
    cells: float = MAINS_CROWDED,
) -> tuple[float, ...]:
    """Return the mains of which a line lies too near to one of the turn to be distinguished in the trace.

    Mains that a trace does not show may do so as well: a hum may hide beneath a line of the pulses.
    """
    own = rate_hz * np.arange(1, max(4 * marks, LEAST_CROWDED) + 1)
    found = []
    for base in bases:
        multiples = base * np.arange(1, MAINS_ORDERS + 1)
        near = np.min(np.abs(own[:, None] - multiples), axis=0) * duration_s < cells
        if np.any(lines.ratio_at(multiples[near]) > LINE):
            found.append(base)
    return tuple(found)


def shows_pulses(
    voltage: FloatArray, quiet: FloatArray, interval_s: float, rate_hz: float, marks: int, bases: tuple[float, ...]
) -> bool:
    """Return whether a trace, folded at a turn rate, shows pulses rather than a hum: unequal ones, or narrow ones.

    Unequal marks leave several harmonics of the turn that are none of the pulse rate, which no hum has, and which
    explain most of the trace without its hum, `quiet`. Narrow pulses
    spend a third of the pitch at most beyond half their height, where a hum spends half, cut off or not.
    """
    turns = voltage.size * interval_s * rate_hz
    most = int(min(4 * marks, 0.45 / (rate_hz * interval_s)))
    if turns < 3 or most < marks:
        return False
    if _is_narrow(voltage, interval_s, rate_hz * marks):
        return True
    orders = np.arange(1, most + 1)
    own = orders % marks != 0
    for base in bases:
        if not _outgrows(voltage, interval_s, rate_hz, marks, base):
            own &= ~on_grid(np.multiply(orders, rate_hz, dtype=np.float64), base, 1.5 / (voltage.size * interval_s))
    if turns < 4 or explained_share(quiet, interval_s, rate_hz, 0.0, marks) < MAINS_MOSTLY:
        return False
    return _is_unequal(voltage, interval_s, rate_hz, orders, own)


def _outgrows(voltage: FloatArray, interval_s: float, rate_hz: float, marks: int, base_hz: float) -> bool:
    """Return whether a turn in step with the mains has a pulse line, third or higher, stronger than those of the mains.

    The harmonics of a hum fall with their order, but for the second, at which lamps flicker.
    """
    order = round(base_hz / rate_hz)
    if order < 1 or marks < 3 * order or abs(base_hz / rate_hz - order) * rate_hz * voltage.size * interval_s > 1.5:
        return False
    time = centred_time(voltage.size, interval_s)
    window = 1 - np.cos(2 * np.pi * (np.arange(voltage.size) + 0.5) / voltage.size)
    centred = (voltage - np.mean(voltage)) * window
    low, high = (abs(np.exp(-2j * np.pi * one * rate_hz * time) @ centred) for one in (order, marks))
    return bool(high > MAINS_OUTGROWN * low)


def _is_narrow(voltage: FloatArray, interval_s: float, pulse_rate_hz: float) -> bool:
    """Return whether the mean of all pulses is narrow, and most of the trace."""
    phase = np.remainder(centred_time(voltage.size, interval_s) * pulse_rate_hz, 1.0)
    place = np.minimum((phase * 24).astype(np.int64), 23)
    count = np.bincount(place, minlength=24)
    if not np.all(count):
        return False
    mean = np.bincount(place, weights=voltage, minlength=24) / count
    low, high = float(np.min(mean)), float(np.max(mean))
    above = float(np.mean(mean > (low + high) / 2))
    most = float(np.var(mean[place])) > 0.6 * float(np.var(voltage))
    return most and not MAINS_NARROW < above < 1 - MAINS_NARROW


def _is_unequal(voltage: FloatArray, interval_s: float, rate_hz: float, orders: IntArray, other: BoolArray) -> bool:
    """Return whether lines of the turn stand out that are neither of the pulse rate nor of the mains, and several."""
    if other.sum() < 2:
        return False
    time = centred_time(voltage.size, interval_s)
    window = 1 - np.cos(2 * np.pi * (np.arange(voltage.size) + 0.5) / voltage.size)
    centred = (voltage - np.mean(voltage)) * window
    power = np.array([abs(np.exp(-2j * np.pi * order * rate_hz * time) @ centred) ** 2 for order in orders])
    noise = float(np.median(np.abs(np.fft.rfft(centred)) ** 2)) / np.log(2)
    lines = power[other & (power > LINE * noise)]
    several = lines.size >= min(3, int(other.sum())) and float(np.max(lines)) < 0.7 * float(np.sum(lines))
    return several and float(np.sum(lines)) > 0.02 * float(np.sum(power))
