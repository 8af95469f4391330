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
_COLUMNS = (*CURVE_COLUMNS, "sweep", "used", "lamp")


def next_pressure(bench: Bench, rows: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Return the pressure to measure next and why, or the sentence that says why none is.

    Parameters
    ----------
    bench : Bench
        The bench.
    rows : sequence of mapping
        Readings as :func:`edgewind.web.views.part_views` gives them.
    """
    from edgewind.evidence import sweep_data
    from edgewind.plan import AdaptiveChoice, Target, propose
    from edgewind.plan.ranges import gauge_range

    table = pd.DataFrame({name: [row[name] for row in rows] for name in _COLUMNS})
    table[list(CURVE_COLUMNS)] = table[list(CURVE_COLUMNS)].astype(float)
    used = table[table["used"].astype(bool)].assign(time_s=np.nan)
    if used["pressure_pa"].nunique() < FEWEST:
        step = AdaptiveChoice(bench, *span(bench, rows)).next(table)
        if isinstance(step, Target):
            return {"pressure_pa": step.pressure_pa, "why": step.why}
        return {"pressure_pa": None, "sentence": step.sentence}
    plan = propose(sweep_data(used), level=bench.study.level, seed=bench.study.seed, range_pa=gauge_range(bench))
    if plan.stop is not None or not plan.readings:
        return {"pressure_pa": None, "sentence": plan.stop.sentence if plan.stop is not None else ""}
    return {"pressure_pa": plan.readings[0].pressure_pa, "why": plan.readings[0].why}


def span(bench: Bench, rows: Sequence[Mapping[str, Any]]) -> tuple[float, float]:
    """Return the pressures between which to look before a maximum shows, Pa.

    They lie around the usual place of an optimum, as far as the gauge reaches and, towards thin gas, as far as the
    apparatus has been seen to reach once there are two readings.
    """
    from edgewind.plan.ranges import gauge_range

    scale = path_at_one_pascal(bench) / bench.rotor.vane_width.value
    low, high = scale / THIN, scale / DENSE
    measured = [row["pressure_pa"] for row in rows if row["pressure_pa"]]
    if len(set(measured)) >= 2:
        low, high = min(measured), max(high, *measured)
    elif measured:
        low, high = min(low, *measured), max(high, *measured)
    reached = gauge_range(bench)
    if reached is not None:
        low, high = max(low, reached[0]), min(high, reached[1])
    return (low, high) if low < high else (scale / THIN, scale / DENSE)
