"""Adaptive choice of the next pressure of a running recording, or of its end."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from edgewind.bench import Bench
from edgewind.errors import InputError
from edgewind.evidence import SweepData, find_optimum, sweep_data
from edgewind.evidence.optimum import FEWEST_PRESSURES
from edgewind.plan.cost import Cost, PlainCost
from edgewind.plan.propose import propose
from edgewind.plan.ranges import check_range, even_places
from edgewind.plan.target import TargetInterval, parse_target
from edgewind.plan.values import Kind, Stop

_NEEDED = ("pressure_pa", "log_pressure_u", "log_pressure_u_common", "speed_rad_s", "speed_u_rad_s")
# A pressure of the start counts as measured if a reading lies within this share of the spacing.
_TAKEN = 0.4
# Number of attempts at a pressure of the start whose readings cannot be used.
_TRIES = 2


@dataclass(frozen=True)
class Target:
    """The next pressure to measure.

    Attributes
    ----------
    pressure_pa : float
        Pressure to set, Pa.
    kind : str
        ``reading`` or ``repeat``.
    why : str
        The reason in one sentence.
    number : int
        Index of this reading among the usable ones, from 1.
    interval_before_pa, interval_after_pa : tuple of float or None
        Interval of the maximising pressure now, and as expected after the reading, Pa.
    information_bits : float or None
        Expected information, bits; None in the start.
    cost_s : float
        Expected time, s.
    """

    pressure_pa: float
    kind: Kind
    why: str
    number: int
    interval_before_pa: tuple[float, float] | None
    interval_after_pa: tuple[float, float] | None
    information_bits: float | None
    cost_s: float


class AdaptiveChoice:
    """Choose pressures one after the other between two ends until the interval is as narrow as wanted.

    It has no state between calls: the same table of readings gives the same step, so that an interrupted recording
    resumes.

    Parameters
    ----------
    bench : Bench
        The apparatus; its gauge bounds the range, its section ``[study]`` gives level and seed.
    low_pa, high_pa : float
        Lowest and highest pressure to measure, Pa.
    level : float, optional
        Level of the interval.
    target : str, float, TargetInterval or None
        Wanted full width of the interval: ``"10%"`` of the pressure or ``"0.1 Pa"``; without one, readings continue
        until none narrows the interval enough for its time.
    max_readings : int
        Largest number of usable readings, existing ones included.
    cost : Cost, optional
        Time of a reading, s.
    seed : int, optional
        Seed of the draws.

    Raises
    ------
    InputError
        A range that is closed or beyond the gauge, a target not above zero, fewer than six readings.
    """

    def __init__(
        self,
        bench: Bench,
        low_pa: float,
        high_pa: float,
        *,
        level: float | None = None,
        target: str | float | TargetInterval | None = None,
        max_readings: int = 60,
        cost: Cost | None = None,
        seed: int | None = None,
    ) -> None:
        self.range_pa = check_range(low_pa, high_pa, bench)
        self.level = bench.study.level if level is None else level
        if not 0 < self.level < 1:
            raise InputError(
                f"the level of an interval cannot be {level!r}", fix="give a number between 0 and 1, such as 0.9"
            )
        self.target = parse_target(target)
        if isinstance(max_readings, bool) or max_readings < FEWEST_PRESSURES:
            raise InputError(
                f"{max_readings!r} readings are too few", fix=f"allow {FEWEST_PRESSURES} or more: fewer show no maximum"
            )
        self.max_readings, self.cost = int(max_readings), cost
        self.seed = bench.study.seed if seed is None else seed

    def next(self, readings: pd.DataFrame) -> Target | Stop:
        """Choose the next pressure, or stop.

        Parameters
        ----------
        readings : DataFrame
            One row a reading so far, in the order taken, with ``pressure_pa, log_pressure_u, log_pressure_u_common,
            speed_rad_s, speed_u_rad_s``; ``sweep``, ``time_s`` and ``used`` where known. Rows that cannot be used are
            left out.

        Raises
        ------
        InputError
            A column is missing.
        """
        data = _usable(readings)
        tried = _pressures(readings)
        opening = self._opening(data, tried)
        if opening is not None and not self._maximum_seen(data):
            return opening
        if data.distinct_pressures() < 2:
            return Stop(
                reason="readings spent",
                sentence="None of the readings of the start can be used: look at their flags.",
                reached=False,
            )
        if data.size >= self.max_readings or tried.size >= 2 * self.max_readings:
            optimum = find_optimum(data, level=self.level, seed=self.seed)
            sentence = f"{data.size} readings have been taken, as many as allowed."
            return Stop(
                reason="readings spent",
                sentence=sentence,
                reached=False,
                interval_pa=optimum.interval_pa,
                pressure_pa=optimum.pressure_pa,
            )
        plan = propose(
            data, target=self.target, level=self.level, range_pa=self.range_pa, cost=self.cost, seed=self.seed
        )
        if plan.stop is not None:
            return plan.stop
        best = plan.readings[0]
        return Target(
            best.pressure_pa, best.kind, best.why, data.size + 1, best.interval_before_pa, best.interval_after_pa,
            best.information_bits, best.cost_s,
        )  # fmt: skip

    def _maximum_seen(self, data: SweepData) -> bool:
        """Whether the readings so far show a maximum, so that an even start over the range adds little."""
        if data.distinct_pressures() < FEWEST_PRESSURES:
            return False
        return find_optimum(data, level=self.level, seed=self.seed).found

    def _opening(self, data: SweepData, tried: np.ndarray) -> Target | None:
        """The next pressure of the log-even start, ascending; None after its end."""
        places = even_places(*self.range_pa, FEWEST_PRESSURES)
        spacing = float(np.log(places[1] / places[0]))
        for place in places:
            if np.any(np.abs(data.log_pressure - np.log(place)) < _TAKEN * spacing):
                continue
            if int(np.sum(np.abs(tried - np.log(place)) < _TAKEN * spacing)) >= _TRIES:
                continue
            before = float(data.pressure_pa[-1]) if data.size else None
            plan = "one of the log-even start, which covers the range before the curve is known"
            seconds = float((self.cost or PlainCost())(np.array([place]), before)[0])
            return Target(place, "reading", f"This is {plan}.", data.size + 1, None, None, None, seconds)
        return None


def _usable(readings: pd.DataFrame) -> SweepData:
    missing = [name for name in _NEEDED if name not in readings]
    if missing:
        raise InputError(
            f"the table of readings has no column {', '.join(missing)}", fix=f"give the columns {', '.join(_NEEDED)}"
        )
    table = readings if "used" not in readings else readings[readings["used"].astype(bool)]
    numbers = table[list(_NEEDED)].astype(float)
    good = np.isfinite(numbers.to_numpy()).all(axis=1)
    good &= (numbers["pressure_pa"] > 0).to_numpy() & (numbers["speed_u_rad_s"] > 0).to_numpy()
    table = table[good]
    extra = {name: value for name, value in (("sweep", ""), ("time_s", np.nan)) if name not in table}
    return sweep_data(table.assign(**extra))


def _pressures(readings: pd.DataFrame) -> np.ndarray:
    """ln(pressure) of every reading tried, usable or not; a gauge out of range gives none."""
    pressure = readings["pressure_pa"].to_numpy(float)
    return np.asarray(np.log(pressure[np.isfinite(pressure) & (pressure > 0)]))
