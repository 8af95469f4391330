"""Count of the speeds found in invented traces: how many are wrong without a flag, and given where noise allows one."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
from measured import Row, row

from edgewind.signals.speed_estimate import SET_ASIDE_FLAGS, SpeedEstimate

Case = tuple[SpeedEstimate, float, float, float]
"""The estimate, the true turn rate in Hz, its Cramér-Rao bound in Hz, and the length of the trace in s."""


def count_rows(name: str, cases: Iterable[Case], coverage: str | None) -> list[Row]:
    """Return the rows of one kind of trace.

    A speed is possible where the bound is below 1 % and the trace holds two turns.

    Parameters
    ----------
    name : str
        Of the kind of trace.
    cases : iterable of Case
        One a trace.
    coverage : str or None
        Target of the share within one standard uncertainty, if any.
    """
    count = wrong = gross = possible = given = 0
    inside: list[bool] = []
    for found, true_hz, bound_hz, duration_s in cases:
        rate, u = found.speed_rad_s / (2 * math.pi), found.speed_u_rad_s / (2 * math.pi)
        used = math.isfinite(rate) and not set(found.flags) & set(SET_ASIDE_FLAGS)
        count += 1
        if used:
            wrong += abs(rate - true_hz) > 4 * u
            gross += abs(rate / true_hz - 1) > 0.01
            inside.append(abs(rate - true_hz) < u)
        if bound_hz < 0.01 * true_hz and true_hz * duration_s >= 2:
            possible, given = possible + 1, given + used
    return [
        row(f"{name} wrong by over 4 u, not set aside", 1000 * wrong / count, "in 1,000", "at most 1"),
        row(f"{name} wrong by over 1 %, not set aside", 1000 * gross / count, "in 1,000", "at most 1"),
        row(f"speed given where the bound allows 1 %, {name}", 100 * given / max(possible, 1), "%", "at least 97"),
        row(f"coverage of 68 %, {name}", 100 * float(np.mean(inside)), "%", coverage),
    ]
