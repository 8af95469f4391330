r"""Test of steadiness, instead of a fixed wait.

The test uses ``y = ln p`` or ``y = ln speed`` at times t. A straight line is fitted to the later half of the record
since the last move, at least `at_least` seconds. Let b be its slope, and D the dwell: the time for which the reading
must be steady. The drift over a dwell is ``b D``, and y counts as steady when the whole confidence interval of that
drift lies within the stated margin m (an equivalence test: two one-sided tests, Schuirmann 1987, J. Pharmacokin.
Biopharm. 15, 657):

    ``|b| D + t(1 - alpha_k, nu) s_b D < m``

Successive values are correlated: with the correlation r of successive residuals, n values count as ``n_e = n (1 - r) /
(1 + r)`` independent ones. The standard error is that of n_e values, and t has ``nu = n_e - 2`` degrees of freedom
(Santer et al. 2000, J. Geophys. Res. 105, 7337). The estimate of r about a straight line is biased low in short series,
by near ``(2 + 6 r) / n``, which is added to it: found by simulation (autoregressive series of first order, n from 20 to
100, r from 0 to 0.8; a test holds it). About a mean it is ``(1 + 4 r) / n`` (Marriott and Pope 1954, Biometrika 41,
390). The estimate is also uncertain: its upper one-sided 95 % bound is taken, ``r + 1.645 sqrt((1 - r^2) / n)``, and
below five degrees of freedom the test does not decide.

A test that is repeated often enough passes once by chance. Test k therefore uses ``alpha_k = alpha / (k (k + 1))``,
which adds up to alpha over any number of tests: a drift as large as the margin passes in at most a share alpha of all
waits, however long. A test is made each time the record has become a tenth longer.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

FloatArray = NDArray[np.float64]

LEAST_SAMPLES = 8
LEAST_FREE = 5.0
_CAUTION = 1.645
_MOST_SAMPLES = 4000
_GROWTH = 1.1


@dataclass(frozen=True)
class Drift:
    """Drift of a record of values.

    Attributes
    ----------
    per_dwell : float
        Drift of the logarithm over one dwell: 0.01 is one per cent.
    u : float
        Its standard uncertainty.
    bound : float
        The largest drift, either way, that is not excluded.
    margin : float
        The allowed drift.
    samples : int
        Number of values.
    correlation : float
        Correlation of the residuals from one to the next, corrected.
    """

    per_dwell: float
    u: float
    bound: float
    margin: float
    samples: int
    correlation: float

    @property
    def steady(self) -> bool:
        """Whether the whole interval lies within the margin."""
        return self.bound < self.margin


def drift_of(time_s: ArrayLike, values: ArrayLike, dwell_s: float, margin: float, alpha: float) -> Drift:
    """Test whether values drift by less than a margin over a dwell; see the module for the test.

    Parameters
    ----------
    time_s, values : array_like, shape (n,)
        Times, s, and logarithms.
    dwell_s : float
        The dwell, s.
    margin : float
        Most drift of the logarithm over it.
    alpha : float
        Probability with which a drift as large as the margin may pass in one test.

    Returns
    -------
    Drift
        With an infinite bound if there are too few values.

    Examples
    --------
    >>> time = np.arange(40.0)
    >>> drift_of(time, 1e-3 * np.sin(time**2), 10.0, 0.02, 0.05).steady
    True
    >>> drift_of(time, 3e-3 * time, 10.0, 0.02, 0.05).steady
    False
    """
    t, y = np.asarray(time_s, float), np.asarray(values, float)
    n = t.size
    if n < LEAST_SAMPLES or not np.isfinite(y).all() or t[-1] <= t[0]:
        return Drift(math.nan, math.nan, math.inf, margin, n, math.nan)
    away = t - t.mean()
    spread = float(away @ away)
    slope = float(away @ y) / spread
    residual = y - y.mean() - slope * away
    total = float(residual @ residual)
    r = float(residual[1:] @ residual[:-1]) / total if total > 0 else 0.0
    r += (2 + 6 * r) / n
    r = min(max(r + _CAUTION * math.sqrt(max(1 - r * r, 1 / n) / n), 0.0), 0.99)
    free = n * (1 - r) / (1 + r) - 2
    if free < LEAST_FREE:
        return Drift(slope * dwell_s, math.nan, math.inf, margin, n, r)
    u = math.sqrt(total / free / spread) * dwell_s
    bound = abs(slope) * dwell_s + float(stdtrit(free, 1 - alpha)) * u
    return Drift(slope * dwell_s, u, bound, margin, n, r)


@dataclass(frozen=True)
class Steadiness:
    """Steadiness of pressure and speed over a record.

    Attributes
    ----------
    pressure, speed : Drift or None
        None if not tested, or if nothing turns.
    watched_s : float
        Time since the last move, s.
    looks : int
        Number of tests.
    at_rest : bool
        Whether no rotation was seen in the whole record, so that only the pressure could be tested.
    """

    pressure: Drift | None = None
    speed: Drift | None = None
    watched_s: float = 0.0
    looks: int = 0
    at_rest: bool = False

    @property
    def steady(self) -> bool:
        """Whether all tested quantities are steady."""
        drifts = [one for one in (self.pressure, self.speed) if one is not None]
        return bool(drifts) and all(one.steady for one in drifts)


class SteadinessMonitor:
    """Record of pressure and speed since the last move, and its tests.

    Parameters
    ----------
    dwell_s, at_least_s : float
        The dwell, and the shortest record to test, s.
    pressure_margin, speed_margin : float
        Most drift of each over a dwell.
    confidence : float
        Confidence over all tests together.
    with_speed : bool
        Whether the speed must be steady as well.
    """

    def __init__(
        self,
        *,
        dwell_s: float,
        at_least_s: float,
        pressure_margin: float,
        speed_margin: float,
        confidence: float,
        with_pressure: bool = True,
        with_speed: bool = True,
    ) -> None:
        self._dwell, self._least = dwell_s, at_least_s
        self._margins = (pressure_margin, speed_margin)
        self._alpha = 1 - confidence
        self._with = (with_pressure, with_speed)
        self._values: tuple[deque[tuple[float, float]], ...] = tuple(deque(maxlen=_MOST_SAMPLES) for _ in range(2))
        self._began: float | None = None
        self._looks = 0
        self._next = 0.0
        self.last = Steadiness()

    def add_pressure(self, time_s: float, pressure_pa: float) -> None:
        """Add a pressure, Pa; nan if the gauge gave none."""
        self._add(0, time_s, pressure_pa)

    def add_speed(self, time_s: float, speed_rad_s: float) -> None:
        """Add a speed, rad/s; nan if no rotation was seen."""
        self._add(1, time_s, speed_rad_s)

    def _add(self, which: int, time_s: float, value: float) -> None:
        if self._began is None:
            self._began = time_s
        self._values[which].append((time_s, math.log(value) if value > 0 and math.isfinite(value) else math.nan))

    def look(self, now_s: float) -> Steadiness:
        """Test the record if enough is new; otherwise return the last result."""
        if self._began is None:
            return self.last
        watched = now_s - self._began
        if watched < max(self._least, self._next):
            self.last = replace(self.last, watched_s=watched)
            return self.last
        self._next = watched * _GROWTH
        self._looks += 1
        alpha = self._alpha / (self._looks * (self._looks + 1))
        since = now_s - max(self._least, watched / 2)
        drifts = [self._drift(which, since, alpha) if self._with[which] else None for which in range(2)]
        recent = [value for when, value in self._values[1] if when >= since]
        at_rest = self._with[1] and len(recent) > 2 and all(math.isnan(value) for value in recent)
        if at_rest:
            drifts[1] = None
        self.last = Steadiness(drifts[0], drifts[1], watched, self._looks, at_rest)
        return self.last

    def _drift(self, which: int, since: float, alpha: float) -> Drift:
        part = [(when, value) for when, value in self._values[which] if when >= since]
        times, values = np.array(part).reshape(-1, 2).T
        return drift_of(times, values, self._dwell, self._margins[which], alpha)
