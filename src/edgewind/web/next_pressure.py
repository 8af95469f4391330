"""The next pressure to measure, chosen as by `edgewind next`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from edgewind.bench import Bench
from edgewind.report.physics import path_at_one_pascal
from edgewind.signals.columns import CURVE_COLUMNS

# Knudsen numbers between which an optimum is sought before the first reading: its usual place, and a decade
# and more on either side.
THIN, DENSE = 30.0, 0.05
# Fewer pressures show no maximum: up to this number, the range is covered evenly.
FEWEST = 6
# Largest factor of a pressure beyond the densest measured gas if the gauge states no range.
BEYOND = 1.6
_COLUMNS = (*CURVE_COLUMNS, "sweep", "used", "lamp")


def next_pressure(bench: Bench, rows: Sequence[Mapping[str, Any]], lowest_pa: float | None = None) -> dict[str, Any]:
    """Return the pressure to measure next with the reason, or a sentence why there is none.

    Parameters
    ----------
    bench : Bench
        The bench.
    rows : sequence of mapping
        Readings as :func:`edgewind.web.views.part_views` gives them.
    lowest_pa : float, optional
        Lowest pressure that the pump reaches, Pa; default: the lowest so far.
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
    """Return the lowest and highest pressure of the search, Pa. They surround the usual place of an optimum, within the
    range of the gauge and, towards thin gas, down to the stated pressure of the pump, or to the lowest of two or more
    readings.
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
