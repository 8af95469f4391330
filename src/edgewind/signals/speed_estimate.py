"""The speed of a trace with its flags: the result of every estimate."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal, get_args

from edgewind.signals.edges import EdgeEstimate
from edgewind.signals.method import MethodResult
from edgewind.signals.thresholds import CLEAR_STRENGTH, MATERIAL_DRIFT, SHORT_TURNS

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


def nothing(
    flags: Iterable[str] = (), edges: MethodResult | None = None, spectrum: MethodResult | None = None
) -> SpeedEstimate:
    """Return an estimate without a result."""
    nan = math.nan
    return SpeedEstimate(nan, nan, in_flag_order({*flags, "no-signal"}), "none", nan, nan, nan, edges, spectrum)


def in_flag_order(flags: set[str]) -> tuple[str, ...]:
    """Return flags in the order of :data:`FLAGS`."""
    return tuple(flag for flag in FLAGS if flag in flags)


def estimate_of_rate(
    best: MethodResult,
    method: str,
    flags: set[str],
    duration: float,
    edges: EdgeEstimate,
    spectrum: MethodResult | None,
) -> SpeedEstimate:
    """Return the estimate, in rad/s and with all flags, from the rate found in a trace of a duration in s."""
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
        return replace(nothing(flags, pulses, spectrum), flags=in_flag_order(flags), method=method)
    return SpeedEstimate(
        circle * best.turn_rate_hz,
        circle * best.turn_rate_u_hz,
        in_flag_order(flags),
        method,
        turns,
        circle * best.acceleration_hz_s,
        circle * best.acceleration_u_hz_s,
        pulses,
        spectrum,
    )
