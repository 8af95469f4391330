"""Whether a rate found in a trace is that of the rotor: of a hum, of a part of it, or of another rate as likely."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.edges import EdgeEstimate
from edgewind.signals.lines import LineSpectrum
from edgewind.signals.mains import on_grid, shows_pulses
from edgewind.signals.method import MethodResult
from edgewind.signals.rivals import doubtful, holds_alone, rivals_of
from edgewind.signals.scrutiny import explained_share, other_rate
from edgewind.signals.thresholds import (
    EVEN_SHARE,
    FEW_TURNS,
    HUM_MISSES,
    HUM_SHARE,
    KEPT_QUALITY,
    MISSES_STRENGTH,
    MOST_EXTRA,
    MOSTLY,
    RIVAL_CELLS,
    RIVAL_HUM_PITCHES,
    SAME_RATE,
    STRONG_SHARE,
    WHOLE_QUALITY,
)
from edgewind.signals.turn_rate import RateFound
from edgewind.signals.two_methods import is_multiple

FloatArray = NDArray[np.float64]


def removed_line_is_own(best: MethodResult, marks: int, mains_hz: float | None, duration_s: float) -> bool:
    """Return whether the line removed for the mains is one of the pulses found."""
    if mains_hz is None:
        return False
    pulse = best.turn_rate_hz * marks
    return abs(mains_hz - pulse * max(1, round(mains_hz / pulse))) * duration_s < 1


def is_whole(found: RateFound) -> bool:
    """Return whether pulses, none missing, and lines agree on a rate that explains most of the trace."""
    seen, lines = found.edges.result, found.spectrum
    if seen is None or lines is None or not found.edges.sure or seen.missed or seen.extra:
        return False
    same = abs(lines.turn_rate_hz / seen.turn_rate_hz - 1) < SAME_RATE
    return same and found.edges.quality > WHOLE_QUALITY and found.share > EVEN_SHARE


def is_settled(found: RateFound) -> bool:
    """Return whether pulses confirm a result so well that a line removed for the mains changes nothing."""
    edges, seen = found.edges, found.edges.result
    if found.certain or not is_strong(found) or seen is None:
        return found.certain
    whole = edges.quality > WHOLE_QUALITY and not seen.missed and not seen.extra and found.share > EVEN_SHARE
    return whole or (edges.even and edges.quality > KEPT_QUALITY)


def is_part_of(whole: RateFound, quiet: RateFound) -> bool:
    """Return whether a trace as recorded shows only every second or third line of what it shows without its hum."""
    if whole.best is None or quiet.best is None or quiet.share < max(whole.share, EVEN_SHARE):
        return False
    return is_multiple(whole.best.turn_rate_hz, quiet.best.turn_rate_hz)


def is_of_mains(best: MethodResult, marks: int, lines: LineSpectrum, mains_hz: float | None, duration_s: float) -> bool:
    """Return whether most of the power at the harmonics of a turn is at those of the mains, in step with none of them.

    A hum fills every second or third harmonic of a turn at a half or a third of its rate.
    """
    if mains_hz is None:
        return False
    own = np.multiply(np.arange(1, 4 * marks + 1), best.turn_rate_hz, dtype=np.float64)
    power = lines.at(own)
    on = on_grid(own, mains_hz, 1 / duration_s)
    return bool(best.turn_rate_hz < mains_hz and not on.all() and power[on].sum() > HUM_SHARE * power.sum())


def is_rotor(
    found: RateFound, quiet: FloatArray, interval_s: float, marks: int, bases: tuple[float, ...], seen_hz: float
) -> bool:
    """Return whether a trace without its hum shows the pulses of a rotor that turns in step with the mains, nearly."""
    strong = is_strong(found) and found.share > EVEN_SHARE
    return strong and pulses_show_rotor(found, quiet, quiet, interval_s, marks, bases, seen_hz)


def certain_in_step(quiet: RateFound, whole: RateFound) -> RateFound:
    """Return the certain result for a rotor in step with the mains, whose own line may be removed with the hum."""
    if whole.best is None or quiet.best is None or whole.edges.quality <= quiet.edges.quality:
        return replace(quiet, certain=True)
    same = abs(whole.best.turn_rate_hz / quiet.best.turn_rate_hz - 1) < SAME_RATE
    return replace(whole if same else quiet, certain=True)


def pulses_show_rotor(
    found: RateFound,
    voltage: FloatArray,
    quiet: FloatArray,
    interval_s: float,
    marks: int,
    bases: tuple[float, ...],
    seen_hz: float | None,
) -> bool:
    """Return whether pulses themselves show a rate near the mains: by their shape, or because some are missing."""
    best, seen = found.best, found.edges.result
    if best is None:
        return False
    if seen is not None and found.edges.even and seen.strength > MISSES_STRENGTH and is_strong(found):
        pulse = seen.turn_rate_hz * marks
        absent = seen.missed / max(pulse * voltage.size * interval_s, 1.0)
        # an amplifier in saturation hides periods of a hum, but its harmonics are lower than itself
        own = seen_hz is None or pulse > 2.5 * seen_hz
        same = abs(best.turn_rate_hz / seen.turn_rate_hz - 1) < SAME_RATE
        if own and same and absent > HUM_MISSES and seen.missed >= 3:
            return True
    return shows_pulses(voltage, quiet, interval_s, best.turn_rate_hz, marks, bases)


def is_strong(found: RateFound) -> bool:
    """Return whether pulses and lines of a trace without its hum are those of one rotor, without any hum left.

    Two methods that agree, or pulses at even places: a residual hum has neither.
    """
    edges, best = found.edges, found.best
    if found.certain:
        return True
    if best is None or not edges.sure or edges.result is None or found.share < STRONG_SHARE:
        return False
    if abs(best.turn_rate_hz / edges.result.turn_rate_hz - 1) > SAME_RATE:
        return False
    other = found.spectrum
    return edges.even or (other is not None and abs(other.turn_rate_hz / edges.result.turn_rate_hz - 1) < SAME_RATE / 2)


def another_rate_is_likely(
    found: RateFound, best: MethodResult, quiet: FloatArray, interval_s: float, marks: int
) -> bool:
    """Return whether another rate is as likely, so that the result may jump from trace to trace."""
    edges = found.edges
    if edges.contested:
        return True
    if found.certain:
        return False
    if not (edges.sure and edges.even) and (found.share < MOSTLY or _has_many_extra(edges)):
        return True
    return _may_jump(edges, best) and other_rate(quiet, interval_s, best.turn_rate_hz, best.acceleration_hz_s, marks)


def _has_many_extra(edges: EdgeEstimate) -> bool:
    """Return whether more pulses fit nowhere than noise makes: the pattern has too few places for them."""
    if edges.result is None or edges.pulses is None or not edges.sure:
        return False
    return edges.result.extra > MOST_EXTRA * edges.pulses.time_s.size


def _may_jump(edges: EdgeEstimate, best: MethodResult) -> bool:
    """Return whether pulses missing or too many may have made the pattern that a rate rests on."""
    seen = edges.result
    if seen is not None and edges.sure and edges.even and abs(best.turn_rate_hz / seen.turn_rate_hz - 1) < SAME_RATE:
        return False
    return seen is None or not edges.sure or bool(seen.missed or seen.extra) or seen.explained < 0.97


def _fine_share(voltage: FloatArray, interval_s: float, marks: int, result: MethodResult) -> float:
    """Return the share of a trace as recorded, hum and all, that a result explains."""
    return explained_share(voltage, interval_s, result.turn_rate_hz, result.acceleration_hz_s, marks, fine=True)


def fits_better(whole: RateFound, other: RateFound) -> bool:
    """Return whether the pulses of a trace as recorded make a pattern, and those without its hum hardly one."""
    return whole.edges.sure and whole.edges.quality > other.edges.quality + 0.2 and whole.share > other.share - 0.05


def explains_better(
    voltage: FloatArray,
    quiet: FloatArray,
    interval_s: float,
    marks: int,
    whole: RateFound,
    other: MethodResult,
    bases: tuple[float, ...],
    seen_hz: float | None,
) -> bool:
    """Return whether the result from a trace as recorded is to be preferred to that without its hum.

    It is where it explains more of the trace and shows pulses: those of a rotor in step with the mains, of which the
    removal of hum has left bumps.
    """
    best = whole.best
    if best is None or abs(best.turn_rate_hz / other.turn_rate_hz - 1) < SAME_RATE:
        return False
    gain = _fine_share(voltage, interval_s, marks, best) - _fine_share(voltage, interval_s, marks, other)
    faster = best.turn_rate_hz > other.turn_rate_hz
    return gain > (-0.02 if faster else 0.1) and pulses_show_rotor(
        whole, voltage, quiet, interval_s, marks, bases, seen_hz
    )


def other_ratios(
    found: RateFound,
    best: MethodResult,
    voltage: FloatArray,
    quiet: FloatArray,
    interval_s: float,
    marks: int,
    mains_hz: float | None,
) -> tuple[float, ...] | None:
    """Return the ratios of other rates that a trace allows; None where the one found is clearly the likeliest.

    The line removed for the mains may have been one of the rotor: then the trace is analysed as recorded.
    """
    duration, pulse = voltage.size * interval_s, best.turn_rate_hz * marks

    def taken_out(line_hz: float) -> bool:
        if mains_hz is None or mains_hz > RIVAL_HUM_PITCHES * pulse:
            return False
        return abs(mains_hz - line_hz * max(1, round(mains_hz / line_hz))) * duration < RIVAL_CELLS

    turning = best.turn_rate_hz, best.acceleration_hz_s, marks
    own = taken_out(best.turn_rate_hz / 2)
    if (
        best.turn_rate_hz * duration > FEW_TURNS
        and is_whole(found)
        and (not own or (not taken_out(pulse) and holds_alone(voltage, interval_s, *turning)))
    ):
        return None
    even = found.edges.even and found.edges.sure
    if own:
        return doubtful(rivals_of(voltage, interval_s, *turning, mains_hz), even)
    return doubtful(rivals_of(quiet, interval_s, *turning), even)
