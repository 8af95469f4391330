"""The next pressure that is worth measuring, by the same choice as `edgewind next` and an adaptive sweep."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from edgewind.bench import Bench
from edgewind.report.physics import path_at_one_pascal
from edgewind.signals import pressure_from_volts

# Knudsen numbers between which an optimum is looked for where nothing is measured yet: its usual place, and a decade
# and more on either side.
THIN, DENSE = 30.0, 0.05
_COLUMNS = (
    "pressure_pa", "log_pressure_u", "log_pressure_u_common", "speed_rad_s", "speed_u_rad_s", "sweep", "used", "lamp",
)  # fmt: skip
_TEXT = ("sweep", "used", "lamp")


def next_pressure(bench: Bench, rows: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Return the pressure to measure next and why, or the sentence that says why none is.

    Parameters
    ----------
    bench : Bench
        The bench.
    rows : sequence of mapping
        Readings as :func:`edgewind.web.views.part_views` gives them.
    """
    from edgewind.plan import AdaptiveChoice, Target

    low, high = span(bench, rows)
    table = pd.DataFrame({name: [row[name] for row in rows] for name in _COLUMNS})
    for name in _COLUMNS:
        if name not in _TEXT:
            table[name] = table[name].astype(float)
    step = AdaptiveChoice(bench, low, high).next(table)
    if isinstance(step, Target):
        return {"pressure_pa": step.pressure_pa, "why": step.why}
    return {"pressure_pa": None, "sentence": step.sentence}


def span(bench: Bench, rows: Sequence[Mapping[str, Any]]) -> tuple[float, float]:
    """Return the pressures between which to look, Pa: around the usual place of an optimum and what was measured, as
    far as the gauge reaches.
    """
    scale = path_at_one_pascal(bench) / bench.rotor.vane_width.value
    low, high = scale / THIN, scale / DENSE
    measured = [row["pressure_pa"] for row in rows if row["pressure_pa"]]
    if measured:
        low, high = min(low, *measured), max(high, *measured)
    if bench.gauge.kind != "display":
        volts = np.linspace(bench.gauge.signal_low.value, bench.gauge.signal_high.value, 201)
        seen = pressure_from_volts(volts, bench).pressure_pa
        seen = seen[np.isfinite(seen) & (seen > 0)]
        if seen.size:
            low, high = max(low, float(seen.min())), min(high, float(seen.max()))
    return (low, high) if low < high else (scale / THIN, scale / DENSE)
