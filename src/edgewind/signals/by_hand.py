"""Speed from turns counted by eye and timed by a stopwatch."""

from __future__ import annotations

import math

from edgewind.errors import InputError

STOPWATCH_U_S = 0.2
"""Standard uncertainty of a time between two presses of a thumb, s; common practice, no source."""


def speed_by_hand(turns: float, time_s: float, stopwatch_u_s: float = STOPWATCH_U_S) -> tuple[float, float]:
    """Return the speed of turns counted in a time, and its standard uncertainty.

    Turns are whole ones, from one passage of a mark to another, so that only the time is uncertain: speed = 2 pi n / t,
    u / speed = u(t) / t.

    Parameters
    ----------
    turns : float
        Number of turns counted; negative where the dark face leads.
    time_s : float
        Time that they took, s.
    stopwatch_u_s : float
        Standard uncertainty of that time, s.

    Returns
    -------
    tuple of float
        Angular speed and its standard uncertainty, rad/s.

    Raises
    ------
    InputError
        The time is not positive, or no turn was counted.

    Examples
    --------
    >>> speed, u = speed_by_hand(10, 20.0)
    >>> round(speed, 4), round(u, 4)
    (3.1416, 0.0314)
    """
    if not (math.isfinite(time_s) and time_s > 0):
        raise InputError(f"the time of the turns must be above zero, not {time_s:g} s", fix="write it under 'in [s]'")
    if not math.isfinite(turns) or turns == 0:
        raise InputError(
            f"the number of turns cannot be {turns:g}", fix="count one whole turn or more, or write 'speed [rpm]' as 0"
        )
    if not (math.isfinite(stopwatch_u_s) and stopwatch_u_s >= 0):
        raise InputError(f"the uncertainty of the stopwatch cannot be {stopwatch_u_s:g} s", fix="write it as '0.2 s'")
    speed = 2 * math.pi * turns / time_s
    return speed, abs(speed) * stopwatch_u_s / time_s
