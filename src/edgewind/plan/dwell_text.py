"""A plan of the time on the bench as people read it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from edgewind.formatting import RPM_PER_RAD_S, duration, format_number, text_table
from edgewind.plan.dwell import SweepTimes, TimePlan


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
    """Yield the quickest order, what is slowest, a table with units, and what was assumed."""
    yield order_sentence(plan)
    yield slowest_sentence(plan)
    yield ""
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
                format_number(RPM_PER_RAD_S * float(rotor.speed_rad_s[k]), 3),
                *(duration(float(time[k])) for time in (chamber, rotor.heat_s, rotor.spin_up_s)),
                *(duration(time) for time in (step.wait_s, step.settle_s, step.measure_s)),
            ]
        )
    yield from text_table(rows)
    yield ""
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
