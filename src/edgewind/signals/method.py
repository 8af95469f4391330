"""Result of one method of estimating a turn rate."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class MethodResult:
    """A turn rate by one method.

    Attributes
    ----------
    turn_rate_hz, turn_rate_u_hz : float
        Turns per second at the middle of the trace, and its standard uncertainty.
    acceleration_hz_s, acceleration_u_hz_s : float
        Change of the turn rate per second, and its standard uncertainty.
    strength : float
        How far the signal stands above its noise: for edges, height of the pulses over the standard deviation of the
        noise; for the spectrum, power of the comb of lines over that of the noise at the same places.
    explained : float
        Share of what was found (pulses, or power in lines) that one steady pattern of marks explains, from 0 to 1.
    missed, extra : int
        Pulses that the pattern expects and that are not there; pulses that it does not expect.
    uneven : bool
        Whether the turning departs from a constant acceleration by more than the noise allows.
    """

    turn_rate_hz: float
    turn_rate_u_hz: float
    acceleration_hz_s: float
    acceleration_u_hz_s: float
    strength: float
    explained: float
    missed: int = 0
    extra: int = 0
    uneven: bool = False
