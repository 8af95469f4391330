"""The next pressure that is worth measuring, by the choice that `edgewind next` makes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from edgewind.bench import Bench
from edgewind.report.physics import path_at_one_pascal
from edgewind.signals.columns import CURVE_COLUMNS

# Knudsen numbers between which an optimum is looked for where nothing is measured yet: its usual place, and a decade
# and more on either side.
THIN, DENSE = 30.0, 0.05
# Fewer pressures show no maximum: until there are so many, the range is covered evenly.
FEWEST = 6
# So far beyond the densest gas measured may a reading lie where the gauge does not say how far it reaches.
BEYOND = 1.6
_COLUMNS = (*CURVE_COLUMNS, "sweep", "used", "lamp")


def next_pressure(bench: Bench, rows: Sequence[Mapping[str, Any]], lowest_pa: float | None = None) -> dict[str, Any]:
    """Return the pressure to measure next and why, or the sentence that says why none is.

    Parameters
    ----------
    bench : Bench
        The bench.
    rows : sequence of mapping
        Readings as :func:`edgewind.web.views.part_views` gives them.
    lowest_pa : float, optional
        Lowest pressure that the pump reaches, Pa; where absent, what it has reached so far.
    """
    from edgewind.evidence import sweep_data
    from edgewind.plan import AdaptiveChoice, Target, propose
    from edgewind.plan.ranges import gauge_range

    table = pd.DataFrame({name: [row[name] for row in rows] for name in _COLUMNS})
    table[list(CURVE_COLUMNS)] = table[list(CURVE_COLUMNS)].astype(float)
    used = table[table["used"].astype(bool)].assign(time_s=np.nan)
    if used["pressure_pa"].nunique() < FEWEST:
        step = AdaptiveChoice(bench, *span(bench, rows, lowest_pa)).next(table)
        if isinstance(step, Target):
            return {"pressure_pa": step.pressure_pa, "why": step.why}
        return {"pressure_pa": None, "sentence": step.sentence}
    low, high = span(bench, rows, lowest_pa)
    between = (low, high if gauge_range(bench) is not None else BEYOND * high)
    plan = propose(sweep_data(used), level=bench.study.level, seed=bench.study.seed, range_pa=between)
    if plan.stop is not None or not plan.readings:
        return {"pressure_pa": None, "sentence": plan.stop.sentence if plan.stop is not None else ""}
    return {"pressure_pa": plan.readings[0].pressure_pa, "why": plan.readings[0].why}


def span(bench: Bench, rows: Sequence[Mapping[str, Any]], lowest_pa: float | None = None) -> tuple[float, float]:
    """Return the pressures between which to look, Pa.

    They lie around the usual place of an optimum, as far as the gauge reaches and, towards thin gas, as far as the
    pump is said to reach, or has been seen to once there are two readings.
    """
    from edgewind.plan.ranges import gauge_range

    scale = path_at_one_pascal(bench) / bench.rotor.vane_width.value
    low, high = scale / THIN, scale / DENSE
    measured = [row["pressure_pa"] for row in rows if row["pressure_pa"] and not row["exclude"]]
    if len(set(measured)) >= 2:
        low, high = min(measured), max(high, *measured)
    elif measured:
        low, high = min(low, *measured), max(high, *measured)
    if lowest_pa is not None:
        low = lowest_pa
    reached = gauge_range(bench)
    if reached is not None:
        low, high = max(low, reached[0]), reached[1] if len(set(measured)) >= FEWEST else min(high, reached[1])
    return (low, high) if low < high else (scale / THIN, scale / DENSE)
