"""The speed of a trace that passed a capacitor: as it was recorded, and with the capacitor undone."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from edgewind.signals.coupling import counts_flanks, restored
from edgewind.signals.hum_estimate import estimate_voltage, mains_of
from edgewind.signals.lines import decimate, line_spectrum
from edgewind.signals.mains import remove_hum
from edgewind.signals.speed_estimate import SET_ASIDE_FLAGS, SpeedEstimate, in_flag_order
from edgewind.signals.thresholds import (
    COUPLED_HIGHEST,
    DISAGREE,
    RESTORED_BASELINE,
    RESTORED_BASELINE_SEEN,
    RESTORED_FASTEST,
    RESTORED_HIGHEST,
    RESTORED_UNKNOWN,
    SAME_RATE,
)
from edgewind.signals.two_methods import is_multiple

FloatArray = NDArray[np.float64]


def estimate_coupled(voltage: FloatArray, interval_s: float, marks: int, mains_hz: float | str | None) -> SpeedEstimate:
    """Estimate from what passed a capacitor: as it was recorded, and with the capacitor undone.

    As recorded, wide pulses have a bump at each flank, and the rate may be twice that of the rotor, or none be found.
    Restored, there is one bump a pulse, but more noise. A rate that both show holds, within the smaller uncertainty.
    Where the recording leaves several open, or shows a multiple of what the restored trace does, a rate has to hold for
    a capacitor alone and for one with an amplifier behind it.
    """
    voltage, interval_s = decimate(voltage, interval_s, COUPLED_HIGHEST)
    seen = estimate_voltage(voltage, interval_s, marks, mains_hz, coupled=True)

    def pulse_rate(one: SpeedEstimate) -> float:
        return marks * one.speed_rad_s / (2 * math.pi)

    pulse = pulse_rate(seen) if math.isfinite(seen.speed_rad_s) else RESTORED_UNKNOWN
    if pulse > RESTORED_FASTEST:
        return seen
    coarse, step = decimate(voltage, interval_s, RESTORED_HIGHEST)
    light = estimate_voltage(restored(coarse, step, 1, RESTORED_BASELINE * pulse), step, marks, mains_hz)
    given, whole = _is_given(seen), _is_given(light)
    if given and not whole:
        return seen
    if given and _agree(seen, light):
        return _merged(seen, light)
    if math.isfinite(light.speed_rad_s):
        pulse = RESTORED_BASELINE_SEEN / RESTORED_BASELINE * pulse_rate(light)
    again = estimate_voltage(restored(coarse, step, 2, RESTORED_BASELINE * pulse), step, marks, mains_hz)
    told = light.speed_rad_s, *light.possible_rad_s[:1], *(() if given else (seen.speed_rad_s, *seen.possible_rad_s))
    same = any(abs(speed / again.speed_rad_s - 1) < SAME_RATE for speed in told)
    if _is_given(again) and same and (not given or is_multiple(seen.speed_rad_s, again.speed_rad_s)):
        found = _merged(light, again) if whole and _agree(light, again) else again
        if not given and not _agree(seen, found) and _may_be_half(found, voltage, interval_s, marks, mains_hz):
            return replace(found, flags=in_flag_order({*found.flags, "jumps"}), possible_rad_s=(2 * found.speed_rad_s,))
        only_jumps = _agree(seen, found) and set(seen.flags) & set(SET_ASIDE_FLAGS) == {"jumps"}
        return _merged(seen, found) if only_jumps else _clipped_as(found, seen)
    if not given:
        return seen
    flags = in_flag_order({*seen.flags, "jumps"})
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
    return _clipped_as(replace(best, speed_u_rad_s=u, flags=in_flag_order(flags), possible_rad_s=()), seen)


def _clipped_as(light: SpeedEstimate, seen: SpeedEstimate) -> SpeedEstimate:
    """Return an estimate from a restored trace with what the trace shows of clipping as it was recorded."""
    return replace(light, flags=in_flag_order({*light.flags, *({"clipped"} & set(seen.flags))}))
