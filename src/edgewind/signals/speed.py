"""Speed of rotation from a trace: edges and spectrum, compared, and the better one chosen."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import ThreadpoolController

from edgewind.errors import InputError
from edgewind.signals.comb import Comb
from edgewind.signals.coupling import counts_flanks, restored
from edgewind.signals.edges import (
    EdgeEstimate,
    estimate_from_edges,
)
from edgewind.signals.faults import is_aliased, is_clipped
from edgewind.signals.lines import LineSpectrum, decimate, line_spectrum
from edgewind.signals.mains import crowded_by, mains_bases, mains_line, near_mains, on_grid, remove_hum, shows_pulses
from edgewind.signals.method import MethodResult
from edgewind.signals.pulses import Pulses
from edgewind.signals.repeats import repeating_rate
from edgewind.signals.rivals import doubtful, holds_alone, rivals_of
from edgewind.signals.scrutiny import explained_share, likely_marks, other_rate, turns_in_one
from edgewind.signals.spectrum import (
    Candidate,
    candidates,
    choose_candidate,
    comb_stands_out,
    refine_comb,
    result_of,
    share_of_lines,
    useful_orders,
    without_mains,
)
from edgewind.signals.thresholds import (
    CLEAR_STRENGTH,
    COUPLED_HIGHEST,
    CROWDED_WIDENS,
    DISAGREE,
    EVEN_SHARE,
    FEW_TURNS,
    HIDDEN_CELLS,
    HUM_MISSES,
    HUM_SHARE,
    KEPT_QUALITY,
    LEAK_WIDENS,
    LEAST_SHARE,
    LINES_HOLD,
    MANY_MARKS,
    MATERIAL_DRIFT,
    MISSES_STRENGTH,
    MOST_EXTRA,
    MOST_FEW_ORDERS,
    MOSTLY,
    MUTED_CELLS,
    NEARLY_SAME,
    RESTORED_BASELINE,
    RESTORED_BASELINE_SEEN,
    RESTORED_FASTEST,
    RESTORED_HIGHEST,
    RESTORED_UNKNOWN,
    RIVAL_CELLS,
    RIVAL_HUM_PITCHES,
    SAME_RATE,
    SCALES,
    SHORT_TURNS,
    STRONG_SHARE,
    WANDER_PULSES,
    WHOLE_QUALITY,
)
from edgewind.signals.trace import Trace
from edgewind.signals.wandering import pulses_on_wander

FloatArray = NDArray[np.float64]

Flag = Literal[
    "time-assumed",
    "channel-assumed",
    "near-mains",
    "drifting",
    "short",
    "aliased",
    "no-signal",
    "jumps",
    "marks-doubtful",
    "missed-marks",
    "clipped",
]
FLAGS: tuple[Flag, ...] = get_args(Flag)
SET_ASIDE_FLAGS = (
    "time-assumed",
    "channel-assumed",
    "near-mains",
    "jumps",
    "marks-doubtful",
    "no-signal",
    "aliased",
    "short",
    "drifting",
)
"""A trace with one of these flags has no single, certain, steady speed: the curve does not use it."""


@dataclass(frozen=True)
class SpeedEstimate:
    """Speed of rotation at the middle of a trace.

    Attributes
    ----------
    speed_rad_s : float
        Angular speed in the middle of the trace, rad/s; nan where no number can be given.
    speed_u_rad_s : float
        Standard uncertainty of that speed, rad/s; nan without one.
    flags : tuple of Flag
        Faults of the trace.
    method : {"edges", "spectrum", "none"}
        Method that gave the speed.
    turns : float
        Number of turns in the trace; nan if nothing turns.
    acceleration_rad_s2 : float
        Angular acceleration, rad/s^2; nan where nothing turns.
    acceleration_u_rad_s2 : float
        Standard uncertainty of the acceleration, rad/s^2; nan where nothing turns.
    edges, spectrum : MethodResult or None
        Result of each method.
    possible_rad_s : tuple of float
        Other possible speeds, most likely first, if the trace is flagged ``jumps``; empty if none was found.
    """

    speed_rad_s: float
    speed_u_rad_s: float
    flags: tuple[str, ...]
    method: str
    turns: float
    acceleration_rad_s2: float
    acceleration_u_rad_s2: float
    edges: MethodResult | None = None
    spectrum: MethodResult | None = None
    possible_rad_s: tuple[float, ...] = ()


def estimate_speed(trace: Trace, marks: int, *, mains_hz: float | str | None = "auto") -> SpeedEstimate:
    """Estimate the speed of rotation from the trace of a tachometer.

    Parameters
    ----------
    trace : Trace
        Voltage of the tachometer.
    marks : int
        Pulses a turn.
    mains_hz : float, "auto" or None
        Frequency of the mains, whose hum is not taken for rotation. "auto" takes 50 Hz or 60 Hz, whichever shows;
        None looks for no hum.

    Returns
    -------
    SpeedEstimate
        Speed in the middle of the trace, with flags; no number where there is none.

    Raises
    ------
    InputError
        When the number of marks or the mains frequency makes no sense.

    Examples
    --------
    >>> from edgewind.signals.synthetic import PulseTrain, synthesise
    >>> trace = synthesise(PulseTrain(turn_rate_hz=5.0, marks=4, noise_v=0.02), samples=20_000, interval_s=1e-4, seed=3)
    >>> estimate = estimate_speed(trace, marks=4)
    >>> round(estimate.speed_rad_s / (2 * math.pi), 3), estimate.flags
    (5.0, ())
    """
    if isinstance(marks, bool) or not isinstance(marks, int | np.integer) or not 1 <= marks <= 10_000:
        raise InputError(
            f"the number of marks cannot be {marks!r}", fix="give a whole number of pulses a turn, 1 or more"
        )
    if isinstance(mains_hz, str) and mains_hz != "auto":
        raise InputError(f"the mains frequency cannot be '{mains_hz}'", fix="give it in hertz, or 'auto', or None")
    if isinstance(mains_hz, int | float) and not (math.isfinite(mains_hz) and mains_hz > 0):
        raise InputError(f"the mains frequency cannot be {mains_hz} Hz", fix="give a positive number, 'auto' or None")
    voltage = np.asarray(trace.voltage_v, dtype=np.float64)
    if voltage.size < 16 or not 0 < float(np.ptp(voltage)) < np.inf:
        return nothing(trace.flags)
    unit = float(np.ptp(voltage))
    key = (hashlib.sha256(voltage.tobytes()).digest(), trace.interval_s, int(marks), mains_hz, trace.coupled)
    found = _KNOWN.get(key)
    if found is None:
        # threads of the linear algebra cost more than they give on matrices this small
        with _linear_algebra().limit(limits=1, user_api="blas"):
            scaled = (voltage - np.median(voltage)) / unit
            analyse = _estimate_coupled if trace.coupled else _estimate
            found = analyse(scaled, trace.interval_s, int(marks), mains_hz)
        _KNOWN[key] = found
        while len(_KNOWN) > _MOST_KNOWN:
            _KNOWN.pop(next(iter(_KNOWN)), None)
    u = math.hypot(found.speed_u_rad_s, trace.interval_u_rel * found.speed_rad_s)
    return replace(found, speed_u_rad_s=u, flags=_ordered({*found.flags, *trace.flags}))


# Results by the samples of traces: an experiment is read again with each new reading, with unchanged old traces.
_KNOWN: dict[tuple[bytes, float, int, float | str | None, bool], SpeedEstimate] = {}
_MOST_KNOWN = 4096


@cache
def _linear_algebra() -> ThreadpoolController:
    """Return the handle on the threads of the linear algebra; to find them takes longer than an analysis."""
    return ThreadpoolController()


def nothing(
    flags: Iterable[str] = (), edges: MethodResult | None = None, spectrum: MethodResult | None = None
) -> SpeedEstimate:
    """Return an estimate without a result."""
    nan = math.nan
    return SpeedEstimate(nan, nan, _ordered({*flags, "no-signal"}), "none", nan, nan, nan, edges, spectrum)


def _ordered(flags: set[str]) -> tuple[str, ...]:
    return tuple(flag for flag in FLAGS if flag in flags)


@dataclass(frozen=True)
class _Found:
    """Results of both methods for one version of a trace.

    Attributes
    ----------
    best : MethodResult or None
        The better result, where there is one.
    method : str
        Which method gave it.
    edges : EdgeEstimate
        Estimate from the pulses.
    spectrum : MethodResult or None
        Estimate from the comb of lines.
    lines : LineSpectrum
        The lines.
    share : float
        Share of the trace that the best result explains.
    certain : bool
        Whether no other rate is possible: the trace repeats itself as a whole, or its pulses stand out from any hum.
    """

    best: MethodResult | None
    method: str
    edges: EdgeEstimate
    spectrum: MethodResult | None
    lines: LineSpectrum
    share: float = 0.0
    certain: bool = False


def _estimate_coupled(
    voltage: FloatArray, interval_s: float, marks: int, mains_hz: float | str | None
) -> SpeedEstimate:
    """Estimate from what passed a capacitor: as it was recorded, and with the capacitor undone.

    As recorded, wide pulses have a bump at each flank, and the rate may be twice that of the rotor, or none be found.
    Restored, there is one bump a pulse, but more noise. A rate that both show holds, within the smaller uncertainty.
    Where the recording leaves several open, or shows a multiple of what the restored trace does, a rate has to hold for
    a capacitor alone and for one with an amplifier behind it.
    """
    voltage, interval_s = decimate(voltage, interval_s, COUPLED_HIGHEST)
    seen = _estimate(voltage, interval_s, marks, mains_hz, coupled=True)

    def pulse_rate(one: SpeedEstimate) -> float:
        return marks * one.speed_rad_s / (2 * math.pi)

    pulse = pulse_rate(seen) if math.isfinite(seen.speed_rad_s) else RESTORED_UNKNOWN
    if pulse > RESTORED_FASTEST:
        return seen
    coarse, step = decimate(voltage, interval_s, RESTORED_HIGHEST)
    light = _estimate(restored(coarse, step, 1, RESTORED_BASELINE * pulse), step, marks, mains_hz)
    given, whole = _is_given(seen), _is_given(light)
    if given and not whole:
        return seen
    if given and _agree(seen, light):
        return _merged(seen, light)
    if math.isfinite(light.speed_rad_s):
        pulse = RESTORED_BASELINE_SEEN / RESTORED_BASELINE * pulse_rate(light)
    again = _estimate(restored(coarse, step, 2, RESTORED_BASELINE * pulse), step, marks, mains_hz)
    told = light.speed_rad_s, *light.possible_rad_s[:1], *(() if given else (seen.speed_rad_s, *seen.possible_rad_s))
    same = any(abs(speed / again.speed_rad_s - 1) < SAME_RATE for speed in told)
    if _is_given(again) and same and (not given or _is_multiple(seen.speed_rad_s, again.speed_rad_s)):
        found = _merged(light, again) if whole and _agree(light, again) else again
        if not given and not _agree(seen, found) and _may_be_half(found, voltage, interval_s, marks, mains_hz):
            return replace(found, flags=_ordered({*found.flags, "jumps"}), possible_rad_s=(2 * found.speed_rad_s,))
        only_jumps = _agree(seen, found) and set(seen.flags) & set(SET_ASIDE_FLAGS) == {"jumps"}
        return _merged(seen, found) if only_jumps else _clipped_as(found, seen)
    if not given:
        return seen
    flags = _ordered({*seen.flags, "jumps"})
    return replace(seen, flags=flags, possible_rad_s=(light.speed_rad_s, *seen.possible_rad_s))


def _may_be_half(
    light: SpeedEstimate, voltage: FloatArray, interval_s: float, marks: int, mains_hz: float | str | None
) -> bool:
    """Return whether a recording has alike pulses at twice the rate found where the capacitor was undone.

    Of a capacitor there are bumps of two kinds at twice the rate. Where there was none, as in a logger's file that only
    looks like sound, undoing it amplifies slow lines, and unequal marks, alternately high and low, are taken for one.
    """
    seen = mains_of(line_spectrum(voltage, interval_s), mains_hz)
    quiet = remove_hum(voltage, interval_s, seen[0])[0] if seen else voltage
    twice = light.speed_rad_s / math.pi, light.acceleration_rad_s2 / math.pi
    return not counts_flanks(quiet, interval_s, *twice, marks)


def _is_given(one: SpeedEstimate) -> bool:
    """Return whether an estimate is a speed that is not set aside."""
    return math.isfinite(one.speed_rad_s) and not set(one.flags) & set(SET_ASIDE_FLAGS)


def _agree(one: SpeedEstimate, other: SpeedEstimate) -> bool:
    """Return whether two estimates found the same rate."""
    return abs(one.speed_rad_s / other.speed_rad_s - 1) < SAME_RATE


def _merged(seen: SpeedEstimate, light: SpeedEstimate) -> SpeedEstimate:
    """Return the surer of two estimates of the same rate, its uncertainty widened where they contradict each other."""
    best, other = (seen, light) if seen.speed_u_rad_s < light.speed_u_rad_s else (light, seen)
    apart = abs(best.speed_rad_s - other.speed_rad_s)
    u = best.speed_u_rad_s
    if apart > DISAGREE * math.hypot(u, other.speed_u_rad_s):
        u = math.hypot(u, apart / 2)
    flags = {flag for flag in best.flags if flag not in SET_ASIDE_FLAGS}
    return _clipped_as(replace(best, speed_u_rad_s=u, flags=_ordered(flags), possible_rad_s=()), seen)


def _clipped_as(light: SpeedEstimate, seen: SpeedEstimate) -> SpeedEstimate:
    """Return an estimate from a restored trace with what the trace shows of clipping as it was recorded."""
    return replace(light, flags=_ordered({*light.flags, *({"clipped"} & set(seen.flags))}))


def _estimate(
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
        found = _find(quiet, interval_s, marks, mains, voltage)
        humless = found.lines
        if found.best is not None and _near(found.best, marks, mains_hz, mains, duration):
            # if both grids show, one is a line of the rotor: the removed line may be the rotor, the other the hum
            pulse = found.best.turn_rate_hz * marks
            other = not _is_whole(found) and any(abs(pulse - line) * duration < 1 for line in others)
            found = (
                _in_step(found, _find(voltage, interval_s, marks, None, None, lines))
                if not other and _is_rotor(found, quiet, interval_s, marks, bases, mains)
                else None
            )
    own = found is not None and found.best is not None and _took_its_own(found.best, marks, mains, duration)
    if found is None or found.best is None or not _is_strong(found) or (own and not _is_settled(found)):
        whole = _find(voltage, interval_s, marks, None, None, lines)
        doubted = whole.best is not None and (
            _near(whole.best, marks, mains_hz, mains, duration)
            or _is_of_mains(whole.best, marks, lines, mains, duration)
        )
        if (
            found is None
            or found.best is None
            or (_fits_better(whole, found) and not doubted)
            or (_is_strong(whole) and not doubted and not _is_part_of(whole, found))
            or _is_better(voltage, quiet, interval_s, marks, whole, found.best, bases, mains)
        ):
            found = whole
    flags = {"clipped"} if is_clipped(voltage) else set()
    best, edges = found.best, found.edges
    near = best is not None and not found.certain and _near(best, marks, mains_hz, mains, duration)
    if found.lines is lines and best is not None:
        near = near or _is_of_mains(best, marks, lines, mains, duration)
    hum = best is not None and near and not _shown(found, voltage, quiet, interval_s, marks, bases, mains)
    if best is None or hum:
        slow = _on_wander(voltage, interval_s, marks, mains, mains_hz, lines)
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
            best = _widened(best, edges.result)
    elif hidden:
        best, method = _beside_mains(voltage, interval_s, marks, best, method, hidden, lines)
    elif mains is not None and method == "edges":
        best = _beside_hum(best, found.spectrum)
    compared = _compared(found, best, voltage, quiet, interval_s, marks, mains)
    if coupled and counts_flanks(quiet, interval_s, best.turn_rate_hz, best.acceleration_hz_s, marks):
        compared = tuple(dict.fromkeys((0.5, *(compared or ()))))
    if compared is not None or _jumps(found, best, quiet, interval_s, marks):
        flags.add("jumps")
    if not edges.result or not (edges.result.missed or edges.result.extra or best.uneven):
        likely = likely_marks(quiet, interval_s, best.turn_rate_hz, best.acceleration_hz_s, marks)
        if likely != marks:
            flags.add("marks-doubtful")
    if is_aliased(humless, best.turn_rate_hz, marks, highest):
        flags.add("aliased")
    estimate = _estimate_of(best, method, flags, duration, edges, found.spectrum)
    return replace(estimate, possible_rad_s=tuple(2 * math.pi * ratio * best.turn_rate_hz for ratio in compared or ()))


def _compared(
    found: _Found,
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
        and _is_whole(found)
        and (not own or (not taken_out(pulse) and holds_alone(voltage, interval_s, *turning)))
    ):
        return None
    even = found.edges.even and found.edges.sure
    if own:
        return doubtful(rivals_of(voltage, interval_s, *turning, mains_hz), even)
    return doubtful(rivals_of(quiet, interval_s, *turning), even)


def _took_its_own(best: MethodResult, marks: int, mains_hz: float | None, duration_s: float) -> bool:
    """Return whether the line removed for the mains is one of the pulses found."""
    if mains_hz is None:
        return False
    pulse = best.turn_rate_hz * marks
    return abs(mains_hz - pulse * max(1, round(mains_hz / pulse))) * duration_s < 1


def _is_whole(found: _Found) -> bool:
    """Return whether pulses, none missing, and lines agree on a rate that explains most of the trace."""
    seen, lines = found.edges.result, found.spectrum
    if seen is None or lines is None or not found.edges.sure or seen.missed or seen.extra:
        return False
    same = abs(lines.turn_rate_hz / seen.turn_rate_hz - 1) < SAME_RATE
    return same and found.edges.quality > WHOLE_QUALITY and found.share > EVEN_SHARE


def _is_settled(found: _Found) -> bool:
    """Return whether pulses confirm a result so well that a line removed for the mains changes nothing."""
    edges, seen = found.edges, found.edges.result
    if found.certain or not _is_strong(found) or seen is None:
        return found.certain
    whole = edges.quality > WHOLE_QUALITY and not seen.missed and not seen.extra and found.share > EVEN_SHARE
    return whole or (edges.even and edges.quality > KEPT_QUALITY)


def _is_part_of(whole: _Found, quiet: _Found) -> bool:
    """Return whether a trace as recorded shows only every second or third line of what it shows without its hum."""
    if whole.best is None or quiet.best is None or quiet.share < max(whole.share, EVEN_SHARE):
        return False
    return _is_multiple(whole.best.turn_rate_hz, quiet.best.turn_rate_hz)


def _is_of_mains(
    best: MethodResult, marks: int, lines: LineSpectrum, mains_hz: float | None, duration_s: float
) -> bool:
    """Return whether most of the power at the harmonics of a turn is at those of the mains, in step with none of them.

    A hum fills every second or third harmonic of a turn at a half or a third of its rate.
    """
    if mains_hz is None:
        return False
    own = np.multiply(np.arange(1, 4 * marks + 1), best.turn_rate_hz, dtype=np.float64)
    power = lines.at(own)
    on = on_grid(own, mains_hz, 1 / duration_s)
    return bool(best.turn_rate_hz < mains_hz and not on.all() and power[on].sum() > HUM_SHARE * power.sum())


def _is_rotor(
    found: _Found, quiet: FloatArray, interval_s: float, marks: int, bases: tuple[float, ...], seen_hz: float
) -> bool:
    """Return whether a trace without its hum shows the pulses of a rotor that turns in step with the mains, nearly."""
    strong = _is_strong(found) and found.share > EVEN_SHARE
    return strong and _shown(found, quiet, quiet, interval_s, marks, bases, seen_hz)


def _in_step(quiet: _Found, whole: _Found) -> _Found:
    """Return the certain result for a rotor in step with the mains, whose own line may be removed with the hum."""
    if whole.best is None or quiet.best is None or whole.edges.quality <= quiet.edges.quality:
        return replace(quiet, certain=True)
    same = abs(whole.best.turn_rate_hz / quiet.best.turn_rate_hz - 1) < SAME_RATE
    return replace(whole if same else quiet, certain=True)


def _shown(
    found: _Found,
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
    if seen is not None and found.edges.even and seen.strength > MISSES_STRENGTH and _is_strong(found):
        pulse = seen.turn_rate_hz * marks
        absent = seen.missed / max(pulse * voltage.size * interval_s, 1.0)
        # an amplifier in saturation hides periods of a hum, but its harmonics are lower than itself
        own = seen_hz is None or pulse > 2.5 * seen_hz
        same = abs(best.turn_rate_hz / seen.turn_rate_hz - 1) < SAME_RATE
        if own and same and absent > HUM_MISSES and seen.missed >= 3:
            return True
    return shows_pulses(voltage, quiet, interval_s, best.turn_rate_hz, marks, bases)


def _is_strong(found: _Found) -> bool:
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


def _beside_mains(
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
                return _widened(result, best), "spectrum"
    pulse = best.turn_rate_hz * marks
    # the bias of two unresolved lines is their distance at most, times the share of the lesser
    away = min((abs(pulse - base * max(1, round(pulse / base))) for base in bases), default=0.0)
    if away * duration < MUTED_CELLS:
        return replace(best, turn_rate_u_hz=math.hypot(best.turn_rate_u_hz, away / marks / 2)), method
    return replace(best, turn_rate_u_hz=CROWDED_WIDENS * best.turn_rate_u_hz), method


def _beside_hum(best: MethodResult, spectrum: MethodResult | None) -> MethodResult:
    """Return a result of edges with the residual hum added to its uncertainty.

    The frequency of a hum is known as well as pulses let it be, and at the ends of a trace the more is left of it.
    The scatter of the pulses does not show it, but the lines, of which each is distinguished from those of the hum,
    hold the rate without it.
    """
    if spectrum is None or abs(spectrum.turn_rate_hz / best.turn_rate_hz - 1) > SAME_RATE:
        return best
    return replace(best, turn_rate_u_hz=max(best.turn_rate_u_hz, spectrum.turn_rate_u_hz / LINES_HOLD))


def _jumps(found: _Found, best: MethodResult, quiet: FloatArray, interval_s: float, marks: int) -> bool:
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


def _near(
    result: MethodResult, marks: int, mains_hz: float | str | None, seen_hz: float | None, duration_s: float
) -> bool:
    return near_mains(result.turn_rate_hz, marks, mains_hz, seen_hz, duration_s)


def _fine_share(voltage: FloatArray, interval_s: float, marks: int, result: MethodResult) -> float:
    """Return the share of a trace as recorded, hum and all, that a result explains."""
    return explained_share(voltage, interval_s, result.turn_rate_hz, result.acceleration_hz_s, marks, fine=True)


def _fits_better(whole: _Found, other: _Found) -> bool:
    """Return whether the pulses of a trace as recorded make a pattern, and those without its hum hardly one."""
    return whole.edges.sure and whole.edges.quality > other.edges.quality + 0.2 and whole.share > other.share - 0.05


def _is_better(
    voltage: FloatArray,
    quiet: FloatArray,
    interval_s: float,
    marks: int,
    whole: _Found,
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
    return gain > (-0.02 if faster else 0.1) and _shown(whole, voltage, quiet, interval_s, marks, bases, seen_hz)


def _find(
    voltage: FloatArray,
    interval_s: float,
    marks: int,
    mains_hz: float | None,
    raw: FloatArray | None,
    lines: LineSpectrum | None = None,
) -> _Found:
    """Return the results of edges and spectrum for a trace, and the share of it that they explain."""
    duration, highest = voltage.size * interval_s, 0.5 / interval_s
    lines = lines or line_spectrum(voltage, interval_s)
    likely = candidates(lines, marks, mains_hz, duration, highest)
    chosen = choose_candidate(likely, voltage, interval_s, marks, raw, mains_hz)
    edges = edges_of(voltage, interval_s, marks, chosen, likely, lines)
    comb, explained = spectrum_of(voltage, interval_s, marks, mains_hz, lines, chosen, edges)
    spectrum = None if comb is None else result_of(comb, explained)
    if spectrum is not None:
        spectrum = with_sampling(spectrum, edges.pulses, interval_s, duration)
    shares = {
        id(one): explained_share(voltage, interval_s, one.turn_rate_hz, one.acceleration_hz_s, marks)
        for one in (edges.result if edges.sure else None, spectrum)
        if one is not None
    }
    if edges.sure and edges.result is not None and spectrum is not None:
        apart = abs(edges.result.turn_rate_hz / spectrum.turn_rate_hz - 1)
        ours, theirs = shares[id(edges.result)], shares[id(spectrum)]
        if apart > 0.02 and not edges.result.uneven and max(ours, theirs) > 2 * min(ours, theirs) + 0.1:
            # one of the two followed another signal: it explains little of the trace
            if ours > theirs:
                spectrum = None
            else:
                edges = replace(edges, sure=False)
        elif edges.result is not None and edges.result.uneven and apart < SAME_RATE and theirs > max(ours, EVEN_SHARE):
            # a rotor that slips has no comb that explains so much: it was hum, or noise, that moved the edges
            edges = replace(edges, result=replace(edges.result, uneven=False), sure=False)
    best, method = better(edges, spectrum, marks)
    if best is None:
        return _of_few_turns(voltage, interval_s, marks, mains_hz, lines, edges, spectrum)
    times = turns_in_one(voltage, interval_s, best.turn_rate_hz, best.acceleration_hz_s, marks)
    if times > 1 and best.turn_rate_hz * times * marks < highest:
        # marks of very unequal heights: the high ones alone fill a pattern of as many turns as they are too few
        single = Candidate(times * best.turn_rate_hz, 1.0, 1.0, counted=True, clear=True)
        first = edges
        edges = edges_of(voltage, interval_s, marks, single, [single], lines)
        comb, explained = spectrum_of(voltage, interval_s, marks, mains_hz, lines, single, edges)
        spectrum = (
            None if comb is None else with_sampling(result_of(comb, explained), edges.pulses, interval_s, duration)
        )
        again, method_again = better(edges, spectrum, marks)
        if again is not None and abs(again.turn_rate_hz / single.rate_hz - 1) < NEARLY_SAME:
            best, method = again, method_again
        elif first.quality > KEPT_QUALITY:
            return _Found(None, "none", edges, spectrum, lines)  # pulses and the mean turn disagree
        else:
            # noise hides pulses from the edges, and those left fill a pattern of their own: the lines tell
            edges = replace(first, sure=False, result=None)
            comb, explained = spectrum_of(
                voltage, interval_s, marks, mains_hz, lines, single, replace(edges, pulses=None)
            )
            if comb is None:
                return _Found(None, "none", edges, None, lines)
            best, method = result_of(comb, explained), "spectrum"
            spectrum = best
    share = explained_share(voltage, interval_s, best.turn_rate_hz, best.acceleration_hz_s, marks)
    scarce = method == "edges" and edges.pulses is not None and edges.pulses.time_s.size < WANDER_PULSES
    if share < (STRONG_SHARE if scarce else LEAST_SHARE):
        few = _of_few_turns(voltage, interval_s, marks, mains_hz, lines, edges, spectrum)
        if few.best is not None or not best.uneven:
            return few
    return _Found(best, method, edges, spectrum, lines, share)


def _on_wander(
    voltage: FloatArray,
    interval_s: float,
    marks: int,
    mains: float | None,
    mains_hz: float | str | None,
    lines: LineSpectrum,
) -> _Found | None:
    """Return the result from pulses on a wandering baseline, if there is no other."""
    seen = pulses_on_wander(voltage, interval_s, marks, mains)
    if seen is None:
        return None
    edges, level, step = seen
    best = edges.result
    if best is None or _near(best, marks, mains_hz, mains, voltage.size * interval_s):
        return None
    turning = best.turn_rate_hz, best.acceleration_hz_s
    if turns_in_one(level, step, *turning, marks) > 1 or turns_in_one(voltage, interval_s, *turning, marks) > 1:
        return None  # the high ones of very unequal marks
    share = explained_share(level, step, *turning, marks)
    return _Found(best, "edges", edges, None, lines, share, certain=True) if share > LEAST_SHARE else None


def _of_few_turns(
    voltage: FloatArray,
    interval_s: float,
    marks: int,
    mains_hz: float | None,
    lines: LineSpectrum,
    edges: EdgeEstimate,
    spectrum: MethodResult | None,
) -> _Found:
    """Return the result for a trace of few similar turns, if pulses and lines give none."""
    duration = voltage.size * interval_s
    rate = repeating_rate(voltage, interval_s, marks)
    if rate is None or rate * marks * interval_s > 0.1:
        return _Found(None, "none", edges, spectrum, lines)
    orders = np.arange(1, int(min(max(MOST_FEW_ORDERS, 3 * marks), 0.45 / (interval_s * rate))) + 1)
    comb = refine_comb(voltage, interval_s, rate, 0.0, orders, marks, mains_hz, near=True)
    if not comb_stands_out(comb, rate, duration, 2.5):
        return _Found(None, "none", edges, spectrum, lines)
    best = with_sampling(result_of(comb, 1.0), edges.pulses, interval_s, duration)
    share = explained_share(voltage, interval_s, best.turn_rate_hz, best.acceleration_hz_s, marks)
    return _Found(best, "spectrum", replace(edges, sure=False), best, lines, share, certain=True)


def with_sampling(result: MethodResult, pulses: Pulses | None, interval_s: float, duration_s: float) -> MethodResult:
    """Return the result of the spectrum with the effect of sampling added to its uncertainty.

    Pulses that rise within a sample are timed to whole samples: uniformly distributed errors, of standard deviation
    Ts / sqrt(24) for the mean of two edges, act on a slope as sqrt(12 / n) / T. Of smooth pulses a thousandth of a
    sample over the trace is as much as is ever claimed.
    """
    blur = 1e-3
    if pulses is not None and pulses.sharp:
        blur = math.sqrt(12 / (24 * max(pulses.time_s.size, 1)))
    extra = result.turn_rate_hz * blur * interval_s / duration_s
    return replace(result, turn_rate_u_hz=math.hypot(result.turn_rate_u_hz, extra))


def has_few(pulses: Pulses, duration_s: float) -> bool:
    """Return whether there are one or two clear narrow pulses: a rotor that turns, but too slowly for this trace."""
    clear = pulses.height_v > 20 * pulses.noise_v
    return pulses.time_s.size <= 2 and clear and float(np.max(pulses.width_s)) < duration_s / 12


def mains_of(lines: LineSpectrum, mains_hz: float | str | None) -> tuple[float, ...]:
    """Return the frequency of the mains, if it shows: as named; or 50 Hz and 60 Hz, the stronger first.

    There is one grid on a bench: where both show, one of them is a line of the rotor.
    """
    if mains_hz is None:
        return ()
    named = (50.0, 60.0) if isinstance(mains_hz, str) else (float(mains_hz),)
    found = [line for line in (mains_line(lines, one) for one in named) if line is not None]
    return tuple(sorted(found, key=lambda line: -float(np.sum(lines.at(line * np.arange(1.0, 4.0))))))


def edges_of(
    voltage: FloatArray,
    interval_s: float,
    marks: int,
    chosen: Candidate | None,
    found: list[Candidate],
    lines: LineSpectrum,
) -> EdgeEstimate:
    """Return the best estimate from edges, the scale of the pulses taken from the spectrum, or tried out."""
    duration = voltage.size * interval_s
    rates = dict.fromkeys(one.rate_hz for one in (chosen, *found[:1]) if one is not None)
    trials: list[tuple[float, tuple[float, float] | None]] = [(1 / (rate * marks), (rate, 0.0)) for rate in rates]
    trials += [(duration / 12, None)] if trials else [(duration / 6, None), (duration / 60, None)]
    best = EdgeEstimate()
    for pitch, start in trials:
        one = estimate_from_edges(voltage, interval_s, marks, pitch, start)
        if one.sure and chosen and not _as_good(one, chosen, lines, marks):
            one = replace(one, sure=False)
        if (one.sure, one.quality) > (best.sure, best.quality) or best.pulses is None:
            best = one
        if best.sure and best.quality > 0.85:
            break
    if not best.sure:
        # no line gives the distance of the pulses: all scales are tried
        tried = (estimate_from_edges(voltage, interval_s, marks, duration / pulses, None) for pulses in SCALES)
        sure = [one for one in tried if one.sure and one.result is not None]
        best = max(sure, key=lambda one: round(one.quality, 1), default=best)
    return best


def _as_good(edges: EdgeEstimate, chosen: Candidate, lines: LineSpectrum, marks: int) -> bool:
    """Return whether the rate from edges leaves no more of the lines over than the candidate of the spectrum does.

    Pulses too low to be seen, or noise taken for pulses, can make a false pattern; lines of a drifting rotor are
    broadened and cannot refute it. Where marks are very unequal and only the high ones are seen as pulses, they fill a
    pattern of as many turns as they are too few.
    """
    if edges.result is None:
        return True
    if chosen.clear and chosen.explained > 0.8 and _is_multiple(chosen.rate_hz, edges.result.turn_rate_hz):
        return False
    if edges.quality > 0.97 or edges.result.uneven:
        return True
    if abs(edges.result.turn_rate_hz / chosen.rate_hz - 1) < 0.02:
        return True
    if chosen.counted and chosen.explained > 0.8:
        return False
    drifts = abs(edges.result.acceleration_hz_s) > 4 * edges.result.acceleration_u_hz_s
    return drifts or share_of_lines(lines, edges.result.turn_rate_hz, marks) > chosen.explained - 0.15


def _is_multiple(rate_hz: float, base_hz: float) -> bool:
    """Return whether a rate is a whole number of times another, two or more."""
    times = round(rate_hz / base_hz)
    return times >= 2 and abs(rate_hz / (times * base_hz) - 1) < 0.005


def spectrum_of(
    voltage: FloatArray,
    interval_s: float,
    marks: int,
    mains_hz: float | None,
    lines: LineSpectrum,
    chosen: Candidate | None,
    edges: EdgeEstimate,
) -> tuple[Comb | None, float]:
    """Return the comb fitted from the candidate of the spectrum, or from the edges where they are sure and disagree."""
    duration = voltage.size * interval_s
    rate, acceleration, explained = (chosen.rate_hz, 0.0, chosen.explained) if chosen else (0.0, 0.0, 0.0)
    near = False
    if edges.sure and edges.result is not None:
        start = edges.result
        rate = start.turn_rate_hz
        acceleration = start.acceleration_hz_s if abs(start.acceleration_hz_s) > 2 * start.acceleration_u_hz_s else 0.0
        explained = explained if chosen and abs(rate - chosen.rate_hz) < 0.1 * rate else start.explained
    if not rate * duration > SHORT_TURNS or rate * marks * interval_s > 0.5:
        return None, 0.0
    # with many marks the lines between those of the pulses are too many to fit, and little is lost without them
    scale = marks if marks > MANY_MARKS else 1
    orders = useful_orders(lines, rate * scale, marks // scale, 0.45 / interval_s)
    if edges.sure and edges.result is not None and not edges.result.uneven:
        blur = edges.result.turn_rate_u_hz * duration + min(edges.result.acceleration_u_hz_s, 1e9) * duration**2 / 8
        near = blur * scale * int(orders[-1]) < 0.1
    comb = refine_comb(
        voltage, interval_s, rate * scale, acceleration * scale, orders, marks // scale, mains_hz, near
    ).slowed(scale)
    # low marks beside high ones are no pulses to the edges, but were counted over many turns
    told = chosen is not None and chosen.clear and chosen.explained > 0.8 and chosen.rate_hz * duration > 6
    if not edges.sure and not told and edges.pulses and contradicts(edges.pulses, rate * marks * duration):
        return None, 0.0
    return (comb, explained) if comb_stands_out(comb, rate, duration, 2.5 if edges.sure else 6.0) else (None, 0.0)


def contradicts(pulses: Pulses, expected: float) -> bool:
    """Return whether clear pulses are far fewer than a turn rate asks for."""
    return pulses.height_v > 20 * pulses.noise_v and pulses.time_s.size < 0.6 * expected


def better(seen: EdgeEstimate, spectrum: MethodResult | None, marks: int) -> tuple[MethodResult | None, str]:
    """Return the result of the smaller uncertainty, widened by half the difference where the two contradict each other.

    A slip breaks the harmonics but not the edges, which are then preferred; of few edges the scatter is hardly known,
    and the spectrum is preferred, unless they are sharp: then it is that of the sampling.
    """
    edges = seen.result if seen.sure else None
    if edges is None or spectrum is None:
        return (edges, "edges") if edges else (spectrum, "spectrum" if spectrum else "none")
    if edges.uneven:
        return edges, "edges"
    sharp = seen.pulses is not None and seen.pulses.sharp
    few = seen.pulses is not None and seen.pulses.time_s.size < marks + 12
    if not sharp and (few or spectrum.turn_rate_u_hz < edges.turn_rate_u_hz):
        return _widened(spectrum, edges), "spectrum"
    return _widened(edges, spectrum), "edges"


def _widened(best: MethodResult, other: MethodResult) -> MethodResult:
    """Return a result whose uncertainty covers half of its difference from another that contradicts it."""
    apart = abs(best.turn_rate_hz - other.turn_rate_hz)
    if apart > DISAGREE * math.hypot(best.turn_rate_u_hz, other.turn_rate_u_hz):
        return replace(best, turn_rate_u_hz=math.hypot(best.turn_rate_u_hz, apart / 2))
    return best


def _estimate_of(
    best: MethodResult,
    method: str,
    flags: set[str],
    duration: float,
    edges: EdgeEstimate,
    spectrum: MethodResult | None,
) -> SpeedEstimate:
    turns, circle, pulses = best.turn_rate_hz * duration, 2 * math.pi, edges.result
    if edges.sure and pulses is not None and (pulses.missed or pulses.extra) and pulses.strength > CLEAR_STRENGTH:
        flags.add("missed-marks")
    change = abs(best.acceleration_hz_s) * duration / best.turn_rate_hz
    slipped = edges.sure and pulses is not None and pulses.uneven
    if slipped or (change > MATERIAL_DRIFT and abs(best.acceleration_hz_s) > 4 * best.acceleration_u_hz_s):
        flags.add("drifting")
    if turns < SHORT_TURNS:
        flags.add("short")
    if "aliased" in flags:
        return replace(nothing(flags, pulses, spectrum), flags=_ordered(flags), method=method)
    return SpeedEstimate(
        circle * best.turn_rate_hz,
        circle * best.turn_rate_u_hz,
        _ordered(flags),
        method,
        turns,
        circle * best.acceleration_hz_s,
        circle * best.acceleration_u_hz_s,
        pulses,
        spectrum,
    )
