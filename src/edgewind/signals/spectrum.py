"""Turn rate from the spectrum: find the comb of lines of a rotor with marks, then fit it.

The search reads candidates for the turn rate off a windowed periodogram; the fit (`edgewind.signals.comb`) is that of
maximum likelihood. Lines of the mains are removed first, and restored if they prove to be those of the rotor.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.comb import Comb, centred_time, fit_comb, phasors
from edgewind.signals.lines import (
    PADDING,
    LineSpectrum,
    decimate,
    peaks,
)
from edgewind.signals.mains import (
    hum_at,
    on_grid,
)
from edgewind.signals.method import MethodResult
from edgewind.signals.scrutiny import pulses_in
from edgewind.signals.smooth import slow_part
from edgewind.signals.thresholds import (
    LINE,
    LOW_PULSE,
    MAINS_STRAY,
    MOST_ORDERS,
    MUTED_CELLS,
    WEAK_LINE,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class Candidate:
    """A turn rate that is compatible with the lines.

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
    found = peaks(spectrum, 12 if mains_hz is None else 40)
    reach = 1.5 * PADDING * spectrum.step_hz
    if found.size:
        hum = on_grid(found, mains_hz, np.maximum(reach, MAINS_STRAY * found) if mains_hz is not None else reach)
        found = found[~hum & (found < highest_hz)][:12]
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


def low_pulses_in(pattern: FloatArray) -> int:
    """Return the number of pulses in a closed pattern, low ones included; zero if noise could cause some."""
    low, middle, high = (float(level) for level in np.percentile(pattern, (0, 50, 100)))
    if high - middle < middle - low:
        pattern = -pattern
    second = pattern - (np.roll(pattern, 1) + np.roll(pattern, -1)) / 2
    noise = float(np.median(np.abs(second))) / 0.6745 / np.sqrt(1.5)
    return pulses_in(pattern, LOW_PULSE, LOW_PULSE / 2) if noise < 0.1 * LOW_PULSE * (high - low) else 0


def choose_candidate(
    found: list[Candidate],
    voltage: FloatArray,
    interval_s: float,
    marks: int,
    raw: FloatArray | None = None,
    mains_hz: float | None = None,
) -> Candidate | None:
    """Return the candidate whose turn, folded, shows as many pulses as there are marks; else the one of best score.

    Marks of very unequal heights show as many high pulses in several turns as there are marks: the low ones between
    them then show that these are several turns, if one turn explains the lines as well: bumps between the pulses, such
    as of ringing, leave lines over. Where the mains were taken out of the voltage, and lie at a harmonic of the turn,
    the low pulses must also be in the raw trace, since harmonics taken out with the mains leave bumps behind.
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
        own = np.multiply(np.arange(1, 4 * marks + 1), one.rate_hz, dtype=np.float64)
        coincide = on_grid(own, mains_hz, 0.7 / (voltage.size * interval_s)).any()
        if turns > 1 and raw is not None and coincide:
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


def comb_of(comb: Comb, voltage: FloatArray, interval_s: float) -> FloatArray:
    """Return the harmonics of a comb, without baseline, at the samples of a trace with the same middle."""
    time = centred_time(voltage.size, interval_s)
    waves = phasors(time, comb.rate_hz, comb.acceleration_hz_s, int(comb.orders[-1]))[comb.orders]
    return np.asarray(np.real(comb.amplitudes @ waves))


def refine_comb(
    voltage: FloatArray,
    interval_s: float,
    rate_hz: float,
    acceleration_hz_s: float,
    orders: IntArray,
    marks: int,
    mains_hz: float | tuple[float, ...] | None,
    near: bool = False,
) -> Comb:
    """Fit the comb in stages, few harmonics first: the start need only be within reach of the lowest stage.

    With `near`, the start is within reach of all of them, and the stages are skipped.
    """
    duration = voltage.size * interval_s
    reach = MUTED_CELLS / duration
    bases = () if mains_hz is None else (mains_hz,) if isinstance(mains_hz, int | float) else mains_hz
    own = np.multiply(orders, rate_hz, dtype=np.float64)
    muted = orders[np.any([on_grid(own, base, reach) for base in bases], axis=0)] if bases else orders[:0]
    if muted.size == orders.size:
        muted = muted[:0]
    spoken = np.setdiff1d(orders, muted)
    top = int(orders[-1]) if near else max(marks, int(spoken[0]))
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
            steady=turns < 3.0,
            tolerance=0.02 if last else 0.3,
            uncertain=last and not cells,
        )
        rate_hz, acceleration_hz_s = comb.rate_hz, comb.acceleration_hz_s
        if last:
            break
        top = min(int(orders[-1]), 3 * top)
    if not cells:
        return comb
    # the residual of the comb shows baseline and hum more clearly than the trace
    wave = comb_of(comb, coarse, coarse_interval)
    clean = coarse - slow_part(coarse - wave, cells)
    spared = np.multiply(orders, rate_hz, dtype=np.float64)
    for base in bases:
        clean = clean - hum_at(clean - wave, coarse_interval, base, reach, spared)
    return fit_comb(clean, coarse_interval, rate_hz, acceleration_hz_s, orders, mute=muted, passes=1)


def without_mains(comb: Comb, bases: tuple[float, ...], duration_s: float) -> Comb | None:
    """Return a comb without the lines that did not determine its rate; None if none is left."""
    own = np.multiply(comb.orders, comb.rate_hz, dtype=np.float64)
    muted = np.any([on_grid(own, base, MUTED_CELLS / duration_s) for base in bases], axis=0)
    if muted.all():
        return None
    kept = ~muted
    return replace(comb, orders=comb.orders[kept], amplitudes=comb.amplitudes[kept], noise_v2=comb.noise_v2[kept])


def comb_stands_out(comb: Comb, start_hz: float, duration_s: float, least_periods: float = 6.0) -> bool:
    """Return whether a fitted comb is significant against the noise.

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
