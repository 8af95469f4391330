"""Turn rate from the spectrum: find the comb of lines that a rotor with marks leaves, then fit it.

The search reads candidates for the turn rate off a windowed periodogram; the fit (`edgewind.signals.comb`) is that of
maximum likelihood. Lines of the mains are set aside first, and given back where they turn out to be the rotor's own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from edgewind.signals.comb import Comb, centred_time, fit_comb, phasors
from edgewind.signals.method import MethodResult

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

PADDING = 2
LINE = 30.0
"""Power over the local noise from which a line counts: white noise reaches it in fewer than one of 1e8 cells."""
WEAK_LINE = 8.0
MAINS_TOLERANCE = 0.003
"""Relative departure of the mains from its name that is still the mains; grids keep within 0.2 Hz nearly always."""
MAINS_ORDERS = 6
MOST_ORDERS = 32
LOW_PULSE = 0.1
"""Height over that of the highest pulse of one turn from which a pulse counts, where the noise allows."""


@dataclass(frozen=True)
class LineSpectrum:
    """Periodogram under a Hann window, twice padded, and its noise floor.

    Attributes
    ----------
    power : array
        Squared modulus of the transform.
    floor : array
        What noise alone would have there in the mean.
    step_hz : float
        Distance of the samples in frequency.
    """

    power: FloatArray
    floor: FloatArray
    step_hz: float

    @cached_property
    def ratio(self) -> FloatArray:
        """Power over the noise floor."""
        return np.asarray(self.power / self.floor)

    @cached_property
    def widest(self) -> FloatArray:
        """The greatest of each power and its two neighbours."""
        widest = self.power.copy()
        np.maximum(widest[1:], self.power[:-1], out=widest[1:])
        np.maximum(widest[:-1], self.power[1:], out=widest[:-1])
        return widest

    def at(self, frequency_hz: FloatArray) -> FloatArray:
        """Return the greatest power within one sample of each frequency; folded at half the sample rate, if above."""
        last = self.power.size - 1
        place = np.rint(frequency_hz / self.step_hz).astype(int) % (2 * last)
        place = np.where(place > last, 2 * last - place, place)
        return np.asarray(self.widest[place])

    def ratio_at(self, frequency_hz: FloatArray) -> FloatArray:
        """Return the greatest power over the floor within one sample of each frequency."""
        place = np.clip(np.rint(frequency_hz / self.step_hz).astype(int), 0, self.power.size - 1)
        return np.asarray(self.at(frequency_hz) / self.floor[place])


def line_spectrum(voltage: FloatArray, interval_s: float) -> LineSpectrum:
    """Return the periodogram of a trace, straightened, under a Hann window."""
    samples = voltage.size
    straight = voltage - np.mean(voltage)
    time = centred_time(samples, 1.0)
    straight = straight - time * (time @ straight) / (time @ time)
    window = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(samples) + 0.5) / samples)
    length = fft.next_fast_len(PADDING * samples, real=True)
    power = np.abs(fft.rfft(straight * window, length)) ** 2
    return LineSpectrum(power, noise_floor(power), 1 / (length * interval_s))


def noise_floor(power: FloatArray) -> FloatArray:
    """Return a smooth floor under the lines: medians of stretches that widen with frequency, joined in logarithms.

    The median of exponentially distributed power is ln 2 times its mean.
    """
    tiny = max(float(np.max(power)), np.finfo(float).tiny) * 1e-26
    begin, places, levels = 2, [1.0], [tiny]
    while (width := max(24, begin // 2)) < 600 and begin + width <= power.size:
        places.append(begin + width / 2)
        levels.append(float(np.median(power[begin : begin + width])))
        begin += width
    count = (power.size - begin) // 600
    if count:
        blocks = power[begin : begin + 600 * count].reshape(count, 600)
        places.extend(begin + 600 * (np.arange(count) + 0.5))
        levels.extend(np.median(blocks, axis=1))
    if len(levels) > 1:
        places, levels = places[1:], levels[1:]
    logarithm = np.interp(np.arange(power.size), places, np.log(np.maximum(levels, tiny)))
    return np.asarray(np.exp(logarithm) / np.log(2))


def peaks(spectrum: LineSpectrum, most: int = 12) -> FloatArray:
    """Return the frequencies of the strongest lines, strongest first, from a parabola through the logarithms."""
    power, ratio = spectrum.power, spectrum.ratio
    top = np.flatnonzero((power[1:-1] > power[:-2]) & (power[1:-1] >= power[2:]) & (ratio[1:-1] > LINE)) + 1
    top = top[top >= 2 * PADDING]
    top = top[np.argsort(power[top])[::-1]]
    # side lobes of a strong line are not lines
    kept: list[int] = []
    for cell in top[: 8 * most]:
        if all(abs(cell - other) > 2 * PADDING for other in kept):
            kept.append(int(cell))
        if len(kept) == most:
            break
    cells = np.array(kept, dtype=np.int64)
    if cells.size == 0:
        return np.empty(0)
    with np.errstate(divide="ignore", invalid="ignore"):
        left, middle, right = (np.log(power[cells + i] + np.finfo(float).tiny) for i in (-1, 0, 1))
        shift = np.clip(0.5 * (left - right) / (left - 2 * middle + right), -0.5, 0.5)
    return np.asarray((cells + np.nan_to_num(shift)) * spectrum.step_hz)


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


def on_grid(frequency_hz: FloatArray, base_hz: float | None, reach_hz: float) -> BoolArray:
    """Tell which frequencies lie within reach of a multiple of a base frequency."""
    if base_hz is None:
        return np.zeros(np.shape(frequency_hz), dtype=bool)
    order = np.maximum(np.rint(frequency_hz / base_hz), 1)
    return np.abs(frequency_hz - order * base_hz) < reach_hz


@dataclass(frozen=True)
class Candidate:
    """A turn rate that the lines allow.

    Attributes
    ----------
    rate_hz : float
        Turns per second.
    score : float
        The higher, the likelier.
    explained : float
        Share of the power of the lines that is at its harmonics.
    counted : bool
        Whether a turn, folded, shows as many pulses as there are marks.
    clear : bool
        Whether it does so with low pulses counted as well, little noise being left.
    """

    rate_hz: float
    score: float
    explained: float
    counted: bool = False
    clear: bool = False


def candidates(
    spectrum: LineSpectrum, marks: int, mains_hz: float | None, duration_s: float, highest_hz: float
) -> list[Candidate]:
    """Return turn rates that explain the lines, best first.

    Each strong line may be any harmonic of the turn rate up to a few times the number of marks. A candidate is judged
    by the share of the power in lines that lies on its comb up to the fourth harmonic of the pulse rate, and by the
    share that lies at multiples of the pulse rate itself: half the true rate explains as much, but puts its pulse rate
    where there is little; twice the true rate leaves lines over.
    """
    found = peaks(spectrum)
    reach = 1.5 * PADDING * spectrum.step_hz
    found = found[~on_grid(found, mains_hz, reach) & (found < highest_hz)] if found.size else found
    if found.size == 0:
        return []
    powers = spectrum.at(found)
    orders = np.arange(1, 3 * marks + 1)
    rates = np.sort((found[:6, None] / orders).ravel())
    rates = rates[(rates * duration_s > 0.8) & (rates * marks < highest_hz)]
    if rates.size == 0:
        return []
    nearest = np.rint(found / rates[:, None])
    error = np.abs(found - nearest * rates[:, None])
    good = (nearest >= 1) & (nearest <= 4 * marks) & (error < reach * np.clip(nearest / marks, 0.6, 1.5))
    explained = (good @ powers) / np.sum(powers)
    pulse_lines = rates[:, None] * marks * np.arange(1.0, 5.0)
    pulse = spectrum.at(pulse_lines) * (spectrum.ratio_at(pulse_lines) > LINE)
    strength = np.minimum(pulse @ np.array([1.0, 0.5, 0.5, 0.5]) / np.sum(powers), 1.0)
    score = explained * (0.1 + strength * np.where(pulse[:, 0] > 0, 1.0, 0.2))
    # a turn that repeats itself within the turn, but not mark by mark, is more likely two turns taken for one
    strong = good & (powers > 1e-3 * np.max(powers))
    repeats = np.gcd.reduce(np.where(strong, nearest, 0).astype(np.int64), axis=1)
    score = score * np.where((repeats > 1) & (repeats % marks != 0), 0.25, 1.0)
    order = np.argsort(-score, kind="stable")[:60]
    near = np.abs(rates[order][:, None] - rates[order]) * marks <= reach / 2
    kept: list[int] = []
    for i in range(order.size):
        if not near[i, kept].any():
            kept.append(i)
    return [Candidate(float(rates[i]), float(score[i]), float(explained[i])) for i in order[kept]]


def share_of_lines(spectrum: LineSpectrum, rate_hz: float, marks: int) -> float:
    """Return the share of the power in lines that lies on the comb of a turn rate, to the fourth of the pulse rate."""
    found = peaks(spectrum)
    if found.size == 0:
        return 0.0
    power = spectrum.at(found)
    nearest = np.rint(found / rate_hz)
    on = (
        (nearest >= 1) & (nearest <= 4 * marks) & (np.abs(found - nearest * rate_hz) < 1.5 * PADDING * spectrum.step_hz)
    )
    return float(np.sum(power[on]) / np.sum(power))


def folded(voltage: FloatArray, interval_s: float, rate_hz: float, acceleration_hz_s: float, bins: int) -> FloatArray:
    """Return the mean voltage by angle of turn, in so many equal sectors; sectors without samples are bridged."""
    time = centred_time(voltage.size, interval_s)
    phase = rate_hz * time
    if acceleration_hz_s:
        phase += acceleration_hz_s * time**2 / 2
    phase -= np.floor(phase)
    sector = np.minimum((phase * bins).astype(np.int64), bins - 1)
    count = np.bincount(sector, minlength=bins)
    total = np.bincount(sector, weights=voltage, minlength=bins)
    filled = np.flatnonzero(count)
    means = total[filled] / count[filled]
    return np.interp(np.arange(bins), filled, means, period=bins)


def pulses_in(pattern: FloatArray, rise: float = 0.25, rest: float = 0.12) -> int:
    """Return how many times a closed pattern rises through a share of its height after having been below another."""
    low, high = np.percentile(pattern, 15), np.max(pattern)
    state = np.where(pattern > low + rise * (high - low), 1, np.where(pattern < low + rest * (high - low), -1, 0))
    states = state[state != 0]
    return int(np.sum((states == 1) & (np.roll(states, 1) == -1)))


def low_pulses_in(pattern: FloatArray) -> int:
    """Return how many pulses a closed pattern shows if low ones count as well; zero where noise could make some."""
    low, middle, high = (float(level) for level in np.percentile(pattern, (0, 50, 100)))
    if high - middle < middle - low:
        pattern = -pattern
    second = pattern - (np.roll(pattern, 1) + np.roll(pattern, -1)) / 2
    noise = float(np.median(np.abs(second))) / 0.6745 / np.sqrt(1.5)
    return pulses_in(pattern, LOW_PULSE, LOW_PULSE / 2) if noise < 0.1 * LOW_PULSE * (high - low) else 0


def choose(
    found: list[Candidate], voltage: FloatArray, interval_s: float, marks: int, raw: FloatArray | None = None
) -> Candidate | None:
    """Return the candidate whose turn, folded, shows as many pulses as there are marks; else the one of best score.

    Marks of very unequal heights show as many high pulses in several turns as there are marks: then the low ones
    between them tell that these are several turns, if one turn explains the lines as well: bumps between the pulses,
    such as of ringing, leave lines over. Where the mains were taken out of the voltage, the low pulses must also be in
    the raw trace, since harmonics of the rotor taken out with the mains leave bumps behind.
    """
    best: tuple[float, Candidate] | None = None
    queue, tried = list(found[:4]), 0
    while queue and tried < 6:
        one = queue.pop(0)
        tried += 1
        if best is not None and best[0] > 3 * one.score:
            break
        per_turn = 1 / (one.rate_hz * interval_s)
        bins = int(np.clip(per_turn, 8 * marks, 24 * marks))
        finer = int(np.clip(per_turn / bins, 1, 3))
        fine = folded(voltage, interval_s, one.rate_hz, 0.0, finer * bins)
        pattern = fine.reshape(bins, finer).mean(axis=1)
        counted = marks in (pulses_in(pattern), pulses_in(-pattern))
        turns, left = divmod(low_pulses_in(fine), marks)
        if turns > 1 and raw is not None:
            turns, left = divmod(low_pulses_in(folded(raw, interval_s, one.rate_hz, 0.0, finer * bins)), marks)
        clear = (turns, left) == (1, 0)
        counted = counted or clear
        worth = one.score * (3.0 if counted else 1.0)
        single = _of_rate(found, turns * one.rate_hz) if turns > 1 and left == 0 else None
        if single is not None and single.explained > one.explained - 0.03:
            # several turns: far less likely than one of them
            counted, worth = False, 0.25 * one.score
            queue = [other for other in queue if other is not single]
            if best is None or abs(best[1].rate_hz / single.rate_hz - 1) > 1e-3:
                queue.insert(0, replace(single, score=max(one.score, single.score)))
        if best is None or worth > best[0]:
            best = worth, replace(one, counted=counted, clear=clear)
    return best[1] if best else None


def _of_rate(found: list[Candidate], rate_hz: float) -> Candidate | None:
    """Return the candidate of a rate, to one part in a thousand."""
    return next((one for one in found if abs(one.rate_hz / rate_hz - 1) < 1e-3), None)


def useful_orders(spectrum: LineSpectrum, rate_hz: float, marks: int, highest_hz: float) -> IntArray:
    """Return the harmonics of the turn rate to a little past the last that stands above the noise."""
    most = int(min(max(highest_hz / rate_hz, marks), max(MOST_ORDERS, 2.5 * marks)))
    orders = np.arange(1, most + 1)
    strong = np.flatnonzero(
        (spectrum.ratio_at(np.multiply(orders, rate_hz, dtype=np.float64)) > WEAK_LINE) | (orders == marks)
    )
    return orders[: int(1.3 * (strong[-1] + 1)) + 1]


def decimate(voltage: FloatArray, interval_s: float, highest_hz: float) -> tuple[FloatArray, float]:
    """Return means of neighbouring samples, as many together as leave the given frequency below 0.35 of the rate."""
    factor = max(1, int(0.35 / (highest_hz * interval_s)))
    factor = min(factor, max(1, voltage.size // 200))
    if factor == 1:
        return voltage, interval_s
    count = voltage.size // factor
    spare = voltage.size - count * factor
    begin = spare // 2
    # an odd spare sample would move the middle of the trace by half an interval: far below any uncertainty
    return voltage[begin : begin + count * factor].reshape(count, factor).mean(axis=1), interval_s * factor


def comb_of(comb: Comb, voltage: FloatArray, interval_s: float) -> FloatArray:
    """Return the harmonics of a comb, without baseline, at the samples of a trace with the same middle."""
    time = centred_time(voltage.size, interval_s)
    waves = phasors(time, comb.rate_hz, comb.acceleration_hz_s, int(comb.orders[-1]))[comb.orders]
    return np.asarray(np.real(comb.amplitudes @ waves))


def slow_part(voltage: FloatArray, cells: int) -> FloatArray:
    """Return the slowest cosines of a trace, so many of them: its baseline."""
    if cells == 0:
        return np.zeros_like(voltage)
    coefficients = fft.dct(voltage, norm="ortho")
    coefficients[cells:] = 0
    return fft.idct(coefficients, norm="ortho")


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


def refine(
    voltage: FloatArray,
    interval_s: float,
    rate_hz: float,
    acceleration_hz_s: float,
    orders: IntArray,
    marks: int,
    mains_hz: float | None,
    near: bool = False,
) -> Comb:
    """Fit the comb in stages, few harmonics first: the start need only be within reach of the lowest stage.

    With `near`, the start is within reach of all of them, and the stages are skipped.
    """
    duration = voltage.size * interval_s
    reach = 1.5 / duration
    muted = orders[on_grid(np.multiply(orders, rate_hz, dtype=np.float64), mains_hz, reach)]
    if muted.size == orders.size:
        muted = muted[:0]
    spoken = np.setdiff1d(orders, muted)
    top = int(orders[-1]) if near else marks if marks in spoken else int(spoken[0])
    turns = duration * rate_hz
    while True:
        stage = orders[orders <= top]
        coarse, coarse_interval = decimate(voltage, interval_s, float(stage[-1]) * rate_hz)
        cells = int(2 * 0.6 * turns * int(orders[0])) if turns > 6 else 0
        last = top >= orders[-1]
        comb = fit_comb(
            coarse - slow_part(coarse, cells),
            coarse_interval,
            rate_hz,
            acceleration_hz_s,
            stage,
            mute=muted,
            passes=3,
            steady=turns < 2.5,
            tolerance=0.02 if last else 0.3,
            uncertain=last and not cells,
        )
        rate_hz, acceleration_hz_s = comb.rate_hz, comb.acceleration_hz_s
        if last:
            break
        top = min(int(orders[-1]), 3 * top)
    if not cells:
        return comb
    # what the comb leaves tells the baseline and the hum better than the trace did
    wave = comb_of(comb, coarse, coarse_interval)
    clean = coarse - slow_part(coarse - wave, cells)
    if mains_hz is not None:
        spared = np.multiply(orders, rate_hz, dtype=np.float64)
        clean = clean - hum_at(clean - wave, coarse_interval, mains_hz, reach, spared)
    return fit_comb(clean, coarse_interval, rate_hz, acceleration_hz_s, orders, mute=muted, passes=1)


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


def stands_out(comb: Comb, start_hz: float, duration_s: float, least_periods: float = 6.0) -> bool:
    """Tell whether a fitted comb is more than a whim of the noise.

    Some line of it must hold at least so many periods and carry 36 times the power of the noise around it, where noise
    alone carries 36 times with a chance of exp(-36) a line; and the fit must not have run away from its start.
    """
    power = np.abs(comb.amplitudes) ** 2
    ratio = np.where(
        comb.orders * comb.rate_hz * duration_s >= least_periods, power / np.maximum(comb.noise_v2, 1e-300), 0.0
    )
    best = int(np.argmax(ratio))
    order = int(comb.orders[best])
    return bool(
        ratio[best] > 36
        and comb.rate_u_hz * duration_s * order < 0.2
        and abs(comb.rate_hz - start_hz) * duration_s * order < 1.5
        and comb.rate_hz > 0
    )


def result_of(comb: Comb, explained: float) -> MethodResult:
    """Return a fitted comb as the result of a method."""
    strength = float(np.sum(np.abs(comb.amplitudes) ** 2) / max(np.sum(comb.noise_v2), np.finfo(float).tiny))
    return MethodResult(
        comb.rate_hz, comb.rate_u_hz, comb.acceleration_hz_s, comb.acceleration_u_hz_s, strength, explained
    )
