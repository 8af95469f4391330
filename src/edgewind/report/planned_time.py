"""The time on the bench for the pressures of a study, where the bench tells of its vacuum."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from edgewind.errors import OutOfRangeError
from edgewind.evidence import Findings
from edgewind.plan import TimePlan, plan_time

# Pressures of a study closer together than this factor are one stop of the plan, and no more stops than this are made.
_ONE_STOP = 1.05
_MOST_STOPS = 40


@lru_cache(maxsize=8)
def time_of(findings: Findings) -> TimePlan | None:
    """Plan the time of a sweep over the pressures that a study used; None without ``[vacuum]`` or readings."""
    bench = findings.experiment.bench
    pressure = findings.experiment.used["pressure_pa"].to_numpy(float)
    pressure = np.sort(pressure[np.isfinite(pressure) & (pressure > 0)])
    if bench.vacuum is None or not pressure.size:
        return None
    stops = [pressure[0]]
    for p in pressure[1:]:
        if p > _ONE_STOP * stops[-1]:
            stops.append(p)
    if len(stops) > _MOST_STOPS:
        stops = list(np.geomspace(stops[0], stops[-1], _MOST_STOPS))
    try:
        return plan_time(bench, np.array(stops))
    except OutOfRangeError:
        return None  # pressures so high that the response of the gas does not reach there
