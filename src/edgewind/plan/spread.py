"""Expected interval of the maximising pressure after further readings, and the part that they cannot narrow."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from edgewind.evidence import Optimum
from edgewind.plan.information import NATS_PER_BIT, InformationGain


@dataclass(frozen=True)
class IntervalWidth:
    """The interval of the maximising pressure in ln(pressure): the part due to the curve alone, and the rest.

    ``low``, ``middle`` and ``high`` are quantiles of the whole; ``own`` is the half width due to the curve alone, which
    readings can narrow, and ``fixed`` the other half width, in quadrature, which they cannot.
    """

    low: float
    middle: float
    high: float
    own: float
    fixed: float

    def after(self, bits: float) -> tuple[float, float]:
        """Return the interval, Pa, after readings with an information in bits: the width falls with the entropy."""
        shrink = self.shrink(bits)
        ends = (self.middle - (self.middle - self.low) * shrink, self.middle + (self.high - self.middle) * shrink)
        return float(np.exp(ends[0])), float(np.exp(ends[1]))

    def shrink(self, bits: float) -> float:
        """Return the width after over width before."""
        own = self.own * 2.0**-bits
        return float(np.hypot(own, self.fixed) / max(np.hypot(self.own, self.fixed), 1e-12))


def spread_of(optimum: Optimum, outlook: InformationGain, level: float) -> IntervalWidth:
    """Split the interval of an optimum into the part that readings can narrow and the part that they cannot."""
    tails = (0.5 - level / 2, 0.5, 0.5 + level / 2)
    low, middle, high = np.quantile(np.log(optimum.draws_pa), tails)
    ends = np.quantile(outlook.places, (tails[0], tails[2]))
    step = float(outlook.curve.log_pressure[1] - outlook.curve.log_pressure[0])
    own = max(float(ends[1] - ends[0]) / 2, step / 8)
    whole = float(high - low) / 2
    if own > whole:  # planning extends beyond the readings and the draws of the optimum
        low, high = float(ends[0]), float(ends[1])
        middle = float(np.median(outlook.places))
        whole = own
    return IntervalWidth(float(low), float(middle), float(high), own, math.sqrt(max(whole**2 - own**2, 0.0)))


def other_interval(spread: IntervalWidth, extra: float) -> tuple[float, float]:
    """Return the interval, Pa, of a spread with a further half width in quadrature."""
    grow = float(np.hypot(np.hypot(spread.own, spread.fixed), extra) / max(np.hypot(spread.own, spread.fixed), 1e-12))
    low, high = (
        spread.middle - (spread.middle - spread.low) * grow,
        spread.middle + (spread.high - spread.middle) * grow,
    )
    return float(np.exp(low)), float(np.exp(high))


def bits_of(before: Sequence[float], after: Sequence[float]) -> float:
    """Return the information, bits, of a narrowed interval of pressures; zero for one without width."""
    widths = float(np.log(before[1] / before[0])), float(np.log(after[1] / after[0]))
    return float(np.log(widths[0] / widths[1])) / NATS_PER_BIT if min(widths) > 0 else 0.0


def rounded(pressure_pa: float, allowed: tuple[float, float]) -> float:
    """Round a pressure to three digits within the range."""
    return float(np.clip(float(f"{pressure_pa:.2e}"), *allowed))
