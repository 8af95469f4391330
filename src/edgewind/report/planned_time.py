"""The time on the bench for the pressures of a study, if the bench describes its vacuum."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from edgewind.errors import OutOfRangeError
from edgewind.formatting import duration, format_number
from edgewind.plan import TimePlan, plan_time
from edgewind.plan.dwell_text import assumptions, falsified_by, order_sentence, slowest_sentence
from edgewind.shown_units import ShownUnits

if TYPE_CHECKING:
    from edgewind.evidence import Findings
    from edgewind.report.illustrate import Illustration

# Largest number of pressures of the plan, evenly spaced in the logarithm over the measured range.
_MOST_STOPS = 14


def time_of(findings: Findings) -> TimePlan | None:
    """Plan the time of a sweep over the range of pressures that a study used; None without ``[vacuum]`` or readings."""
    bench = findings.experiment.bench
    pressure = findings.experiment.used["pressure_pa"].to_numpy(float)
    pressure = np.sort(pressure[np.isfinite(pressure) & (pressure > 0)])
    if bench.vacuum is None or not pressure.size:
        return None
    stops = np.geomspace(pressure[0], pressure[-1], min(np.unique(pressure).size, _MOST_STOPS))
    try:
        return plan_time(bench, stops)
    except OutOfRangeError:
        return None  # pressures beyond the response of the gas


@dataclass(frozen=True)
class TimeRow:
    """A pressure of the quickest sweep, as text."""

    pressure: str
    chamber: str
    heat: str
    spin: str
    settle: str
    measure: str


@dataclass(frozen=True)
class TimeView:
    """The time on the bench, for the page."""

    figure: Illustration | None
    sentences: tuple[str, ...]
    rows: tuple[TimeRow, ...]
    assumptions: tuple[str, ...]
    falsified_by: tuple[str, ...]


def view_time(plan: TimePlan | None, figure: Illustration | None, units: ShownUnits = ShownUnits()) -> TimeView | None:
    """Prepare the section on the time on the bench; None without a plan."""
    if plan is None:
        return None
    steps, shown = plan.best.steps, units.sizes.get("Pa", ("Pa", 1.0))[1]
    pressure = np.array([step.pressure_pa for step in steps])
    rotor, chamber = plan.times.rotor(pressure), plan.times.chamber_s(pressure)
    rows = tuple(
        TimeRow(
            format_number(step.pressure_pa / shown, 3), duration(float(chamber[k])), duration(float(rotor.heat_s[k])),
            duration(float(rotor.spin_up_s[k])), duration(step.settle_s), duration(step.measure_s),
        )
        for k, step in enumerate(steps)
    )  # fmt: skip
    return TimeView(figure, (order_sentence(plan), slowest_sentence(plan)), rows, assumptions(plan), falsified_by(plan))
