"""A plan of the time on the bench as people read it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from edgewind.plan.dwell import SweepTimes, TimePlan
from edgewind.units import format_number, from_si

_RPM = float(from_si(1.0, "rpm", "angular speed"))


def duration(seconds: float) -> str:
    """Write a time as people say it.

    Examples
    --------
    >>> duration(0.43), duration(42.0), duration(400.0), duration(9000.0), duration(float("inf"))
    ('0.43 s', '42 s', '6.7 min', '2.5 h', 'never')
    """
    if not np.isfinite(seconds):
        return "never"
    if seconds < 99.5:
        return f"{format_number(seconds, 2)} s"
    return f"{format_number(seconds / 60, 2)} min" if seconds < 5970 else f"{format_number(seconds / 3600, 2)} h"


def order_sentence(plan: TimePlan) -> str:
    """Say which order is quickest and by how much."""
    down, up, both = plan.sweeps
    best, other = (down, up) if plan.best is down else (up, down)
    if not np.isfinite(best.total_s):
        least = plan.out_of_reach
        reach = ", ".join(f"{format_number(p, 3)} Pa" for p in least)
        return f"Out of reach with this leak: {reach}; the gas there would be more than a tenth leaked air."
    if len(best.steps) == 1:
        return f"1 reading takes {duration(best.total_s)} from the start of pumping."
    return (
        f"{len(best.steps)} readings take {duration(best.total_s)} from high to low pressure"
        if best is down
        else f"{len(best.steps)} readings take {duration(best.total_s)} from low to high pressure"
    ) + f", {duration(other.total_s)} the other way, and {duration(both.total_s)} up and down, which shows drift."


def slowest_sentence(plan: TimePlan) -> str:
    """Say what takes longest."""
    slow = max(plan.best.steps, key=lambda step: step.total_s)
    what = {"chamber": "the gas in the chamber", "heat": "the heat of the vane", "spin-up": "the spin of the rotor"}
    total = plan.best.total_s
    waits = sum(step.wait_s for step in plan.best.steps)
    pumping = f" Waiting for clean gas takes {duration(waits)} of the whole." if waits > 0.02 * total else ""
    return (
        f"The longest stay is {duration(slow.total_s)} at {format_number(slow.pressure_pa, 3)} Pa, where "
        f"{what[slow.slowest]} is slowest.{pumping}"
    )


def plan_lines(plan: TimePlan) -> Iterator[str]:
    """Yield the lines of a table with units, the orders, and what was taken for granted."""
    rotor = plan.times.rotor(plan.pressure_pa)
    chamber = plan.times.chamber_s(plan.pressure_pa)
    steps = {step.pressure_pa: step for step in plan.best.steps}
    rows = [["pressure", "speed", "chamber", "heat", "spin-up", "wait", "settle", "measure"]]
    rows.append(["Pa", "rpm", "V/S", "of vane", "I/drag", "", "", ""])
    for k, pressure in enumerate(plan.pressure_pa):
        step = steps[float(pressure)]
        rows.append(
            [
                format_number(float(pressure), 3),
                format_number(_RPM * float(rotor.speed_rad_s[k]), 3),
                *(duration(float(time[k])) for time in (chamber, rotor.heat_s, rotor.spin_up_s)),
                *(duration(time) for time in (step.wait_s, step.settle_s, step.measure_s)),
            ]
        )
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    for row in rows:
        yield "  ".join(text.rjust(width) for text, width in zip(row, widths, strict=True)).rstrip()
    yield ""
    yield order_sentence(plan)
    yield slowest_sentence(plan)
    for text in plan.assumptions:
        yield f"assumed: {text}"
    for text in plan.falsified_by:
        yield f"would show it wrong: {text}"


def clock(sweep: SweepTimes) -> list[tuple[float, float, str]]:
    """Return the stretches of a sweep as (start, end, what), s; ``what`` is wait, settle or measure."""
    found, now = [], 0.0
    for step in sweep.steps:
        for what, length in (("wait", step.wait_s), ("settle", step.settle_s), ("measure", step.measure_s)):
            if length > 0:
                found.append((now, now + length, what))
                now += length
    return found
