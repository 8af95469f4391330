"""The speed of a trace that may hold a hum of the mains: without the hum first, then with it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.coupling import counts_flanks
from edgewind.signals.faults import is_aliased, is_clipped
from edgewind.signals.lines import LineSpectrum, line_spectrum
from edgewind.signals.mains import crowded_by, mains_bases, mains_line, remove_hum
from edgewind.signals.method import MethodResult
from edgewind.signals.rate_checks import (
    another_rate_is_likely,
    certain_in_step,
    explains_better,
    fits_better,
    is_of_mains,
    is_part_of,
    is_rotor,
    is_settled,
    is_strong,
    is_whole,
    other_ratios,
    pulses_show_rotor,
    removed_line_is_own,
)
from edgewind.signals.scrutiny import likely_marks
from edgewind.signals.spectrum import comb_stands_out, refine_comb, result_of, useful_orders, without_mains
from edgewind.signals.speed_estimate import SpeedEstimate, estimate_of_rate, nothing
from edgewind.signals.thresholds import (
    CROWDED_WIDENS,
    HIDDEN_CELLS,
    LEAK_WIDENS,
    LINES_HOLD,
    MANY_MARKS,
    MUTED_CELLS,
    SAME_RATE,
    SHORT_TURNS,
)
from edgewind.signals.turn_rate import find_rate, is_near_mains, rate_on_wander
from edgewind.signals.two_methods import has_few, widened

FloatArray = NDArray[np.float64]


def mains_of(lines: LineSpectrum, mains_hz: float | str | None) -> tuple[float, ...]:
    """Return the frequency of the mains, if it shows: as named; or 50 Hz and 60 Hz, the stronger first.

    There is one grid on a bench: where both show, one of them is a line of the rotor.
    """
    if mains_hz is None:
        return ()
    named = (50.0, 60.0) if isinstance(mains_hz, str) else (float(mains_hz),)
    found = [line for line in (mains_line(lines, one) for one in named) if line is not None]
    return tuple(sorted(found, key=lambda line: -float(np.sum(lines.at(line * np.arange(1.0, 4.0))))))


def estimate_voltage(
    voltage: FloatArray, interval_s: float, marks: int, mains_hz: float | str | None, coupled: bool = False
) -> SpeedEstimate:
    """Estimate from a voltage scaled to unit range: first without its hum, then, if that shows no rotor, with it."""
    duration, highest = voltage.size * interval_s, 0.5 / interval_s
    lines = humless = line_spectrum(voltage, interval_s)
    mains, *others = mains_of(lines, mains_hz) or (None,)
    bases = mains_bases(mains_hz, mains)
    found, quiet = None, voltage
    if mains is not None:
        quiet, mains = remove_hum(voltage, interval_s, mains)
        found = find_rate(quiet, interval_s, marks, mains, voltage)
        humless = found.lines
        if found.best is not None and is_near_mains(found.best, marks, mains_hz, mains, duration):
            # if both grids show, one is a line of the rotor: the removed line may be the rotor, the other the hum
            pulse = found.best.turn_rate_hz * marks
            other = not is_whole(found) and any(abs(pulse - line) * duration < 1 for line in others)
            found = (
                certain_in_step(found, find_rate(voltage, interval_s, marks, None, None, lines))
                if not other and is_rotor(found, quiet, interval_s, marks, bases, mains)
                else None
            )
    own = found is not None and found.best is not None and removed_line_is_own(found.best, marks, mains, duration)
    if found is None or found.best is None or not is_strong(found) or (own and not is_settled(found)):
        whole = find_rate(voltage, interval_s, marks, None, None, lines)
        doubted = whole.best is not None and (
            is_near_mains(whole.best, marks, mains_hz, mains, duration)
            or is_of_mains(whole.best, marks, lines, mains, duration)
        )
        if (
            found is None
            or found.best is None
            or (fits_better(whole, found) and not doubted)
            or (is_strong(whole) and not doubted and not is_part_of(whole, found))
            or explains_better(voltage, quiet, interval_s, marks, whole, found.best, bases, mains)
        ):
            found = whole
    flags = {"clipped"} if is_clipped(voltage) else set()
    best, edges = found.best, found.edges
    near = best is not None and not found.certain and is_near_mains(best, marks, mains_hz, mains, duration)
    if found.lines is lines and best is not None:
        near = near or is_of_mains(best, marks, lines, mains, duration)
    hum = best is not None and near and not pulses_show_rotor(found, voltage, quiet, interval_s, marks, bases, mains)
    if best is None or hum:
        slow = rate_on_wander(voltage, interval_s, marks, mains, mains_hz, lines)
        if slow is not None:
            found, best, edges, near, hum = slow, slow.best, slow.edges, False, False
    if hum:
        return nothing({*flags, "near-mains"}, edges.result, found.spectrum)
    if best is None:
        if edges.pulses is not None and has_few(edges.pulses, duration):
            flags.add("short")
        return nothing(flags, edges.result, found.spectrum)
    method, hidden = found.method, crowded_by(best.turn_rate_hz, marks, lines, bases, duration)
    if hidden and found.lines is not lines and found.spectrum is not None and not near:
        # fitted without the lines next to those of the mains
        beneath = crowded_by(best.turn_rate_hz, marks, lines, bases, duration, HIDDEN_CELLS)
        widens = CROWDED_WIDENS if beneath else LEAK_WIDENS
        best, method = replace(found.spectrum, turn_rate_u_hz=widens * found.spectrum.turn_rate_u_hz), "spectrum"
        if edges.sure and edges.result is not None:
            best = widened(best, edges.result)
    elif hidden:
        best, method = beside_mains(voltage, interval_s, marks, best, method, hidden, lines)
    elif mains is not None and method == "edges":
        best = beside_hum(best, found.spectrum)
    compared = other_ratios(found, best, voltage, quiet, interval_s, marks, mains)
    if coupled and counts_flanks(quiet, interval_s, best.turn_rate_hz, best.acceleration_hz_s, marks):
        compared = tuple(dict.fromkeys((0.5, *(compared or ()))))
    if compared is not None or another_rate_is_likely(found, best, quiet, interval_s, marks):
        flags.add("jumps")
    if not edges.result or not (edges.result.missed or edges.result.extra or best.uneven):
        likely = likely_marks(quiet, interval_s, best.turn_rate_hz, best.acceleration_hz_s, marks)
        if likely != marks:
            flags.add("marks-doubtful")
    if is_aliased(humless, best.turn_rate_hz, marks, highest):
        flags.add("aliased")
    estimate = estimate_of_rate(best, method, flags, duration, edges, found.spectrum)
    return replace(estimate, possible_rad_s=tuple(2 * math.pi * ratio * best.turn_rate_hz for ratio in compared or ()))


def beside_mains(
    voltage: FloatArray,
    interval_s: float,
    marks: int,
    best: MethodResult,
    method: str,
    bases: tuple[float, ...],
    lines: LineSpectrum,
) -> tuple[MethodResult, str]:
    """Return a rate some of whose lines the trace does not tell from those of the mains, from the other lines alone.

    Lines that a trace cannot resolve bias each other, and a hum beneath the pulses shifts their edges. Where the
    other lines do not hold a rate by themselves, the uncertainty is widened by a factor measured on invented scenes.
    """
    duration = voltage.size * interval_s
    if marks <= MANY_MARKS and best.turn_rate_hz * duration > SHORT_TURNS:
        orders = useful_orders(lines, best.turn_rate_hz, marks, 0.45 / interval_s)
        start = best.turn_rate_hz, best.acceleration_hz_s
        comb = refine_comb(voltage, interval_s, *start, orders, marks, bases)
        alone = without_mains(comb, bases, duration)
        if alone is not None and comb_stands_out(alone, best.turn_rate_hz, duration, 2.5):
            # slips seen by the edges were due to the hum; lines left out still leak into their neighbours
            result = result_of(comb, best.explained)
            result = replace(result, turn_rate_u_hz=LEAK_WIDENS * result.turn_rate_u_hz, uneven=False)
            apart = abs(result.turn_rate_hz - best.turn_rate_hz)
            if apart < 4 * math.hypot(result.turn_rate_u_hz, CROWDED_WIDENS * best.turn_rate_u_hz):
                return widened(result, best), "spectrum"
    pulse = best.turn_rate_hz * marks
    # the bias of two unresolved lines is their distance at most, times the share of the lesser
    away = min((abs(pulse - base * max(1, round(pulse / base))) for base in bases), default=0.0)
    if away * duration < MUTED_CELLS:
        return replace(best, turn_rate_u_hz=math.hypot(best.turn_rate_u_hz, away / marks / 2)), method
    return replace(best, turn_rate_u_hz=CROWDED_WIDENS * best.turn_rate_u_hz), method


def beside_hum(best: MethodResult, spectrum: MethodResult | None) -> MethodResult:
    """Return a result of edges with the residual hum added to its uncertainty.

    The frequency of a hum is known as well as pulses let it be, and at the ends of a trace the more is left of it.
    The scatter of the pulses does not show it, but the lines, of which each is distinguished from those of the hum,
    hold the rate without it.
    """
    if spectrum is None or abs(spectrum.turn_rate_hz / best.turn_rate_hz - 1) > SAME_RATE:
        return best
    return replace(best, turn_rate_u_hz=max(best.turn_rate_u_hz, spectrum.turn_rate_u_hz / LINES_HOLD))
