"""Range of pressures for proposed readings: that of the gauge, or the stated one."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from edgewind.bench import Bench
from edgewind.errors import InputError
from edgewind.formatting import format_number
from edgewind.signals import pressure_from_volts

_VOLTAGES = 2001


def gauge_range(bench: Bench) -> tuple[float, float] | None:
    """Return the range of the gauge of a bench, Pa; None for a display, whose range is not stated.

    It follows from the transfer function of the gauge and its flags over the output voltages.
    """
    if bench.gauge.kind == "display":
        return None
    volts = np.linspace(bench.gauge.signal_low.value, bench.gauge.signal_high.value, _VOLTAGES)
    told = pressure_from_volts(volts, bench)
    good = np.isfinite(told.pressure_pa) & np.array([not flag for flag in told.flags])
    if not good.any():
        raise InputError(
            "the gauge gives no pressure at any voltage between signal_low and signal_high",
            key="gauge",
            fix="check signal_low, signal_high and the uncertainty of the zero",
        )
    return float(told.pressure_pa[good].min()), float(told.pressure_pa[good].max())


def check_range(low_pa: float, high_pa: float, bench: Bench | None = None) -> tuple[float, float]:
    """Check a range: ascending, above zero, and inside the range of the gauge.

    Raises
    ------
    InputError
        It is not; the message states the right form.
    """
    if not (np.isfinite(low_pa) and np.isfinite(high_pa) and low_pa > 0):
        raise InputError(
            f"{low_pa!r} to {high_pa!r} Pa is not a range of pressures", fix="give two pressures above zero"
        )
    if not high_pa > 1.05 * low_pa:
        raise InputError(
            f"the range from {format_number(low_pa)} to {format_number(high_pa)} Pa is closed: no two readings fit in",
            fix="give the lower pressure first, and a higher one at least 5 % above it",
        )
    known = None if bench is None else gauge_range(bench)
    slack = 1e-6
    if known is not None and (low_pa < known[0] * (1 - slack) or high_pa > known[1] * (1 + slack)):
        ends = f"{format_number(low_pa)} to {format_number(high_pa)} Pa"
        raise InputError(
            f"the range from {ends} goes beyond the range of the gauge",
            key="gauge",
            fix=f"stay between {format_number(known[0])} and {format_number(known[1])} Pa",
        )
    return float(low_pa), float(high_pa)


@lru_cache(maxsize=128)
def even_places(low_pa: float, high_pa: float, count: int) -> tuple[float, ...]:
    """Return pressures evenly spaced in the logarithm, both ends included, Pa, ascending."""
    return tuple(float(value) for value in np.geomspace(low_pa, high_pa, count))
