"""Text of a plan of the time on the bench."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from edgewind.formatting import RPM_PER_RAD_S, duration, format_number, text_table
from edgewind.plan.chamber import HOUR_S
from edgewind.plan.dwell import FOREIGN_SHARE, SweepTimes, TimePlan


def order_sentence(plan: TimePlan) -> str:
    """Return a sentence on the quickest order and its advantage."""
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
    """Return a sentence on the longest dwell and what takes most of it, and where the rotor stands."""
    slow = max(plan.best.steps, key=lambda step: step.total_s)
    what = {"chamber": "the gas in the chamber", "heat": "the heat of the vane", "spin-up": "the spin of the rotor"}
    total = plan.best.total_s
    waits = sum(step.wait_s for step in plan.best.steps)
    pumping = f" Waiting for clean gas takes {duration(waits)} of the whole." if waits > 0.02 * total else ""
    standing = plan.pressure_pa[plan.times.rotor(plan.pressure_pa).speed_rad_s == 0]
    reading = "the reading itself" if slow.pressure_pa in standing else f"the {plan.times.turns:g} turns of the reading"
    most = {
        "waiting for clean gas": slow.wait_s,
        f"settling, of which {what[slow.slowest]} is the slowest part": slow.settle_s,
        reading: slow.measure_s,
    }
    still = [f"{format_number(float(pressure), 3)} Pa" for pressure in standing]
    stands = f" By the forward model the rotor does not turn at {', '.join(still)}." if still else ""
    return (
        f"The longest dwell is {duration(slow.total_s)} at {format_number(slow.pressure_pa, 3)} Pa, most of it "
        f"{max(most, key=lambda part: most[part])}.{pumping}{stands}"
    )


def assumptions(plan: TimePlan) -> tuple[str, ...]:
    """Return the assumptions of the plan, a sentence each."""
    times, rotor = plan.times, plan.times.bench.rotor
    lines = [
        f"A reading waits until the speed is within {100 * times.within:g} % of its steady value, and then takes "
        f"{times.turns:g} turns, {times.least_measure_s:g} s at least and {times.most_measure_s:g} s at most.",
        "The pressure is held by a steady flow of gas against the pump, set at once to what a new pressure needs.",
    ]
    if times.vacuum is None:
        lines.append("bench.toml has no [vacuum]: the chamber is taken to settle at once, and pump-down is left out.")
    else:
        lines.append(
            "The pump has one speed at every pressure, its tube is straight and round, and the walls give off gas "
            f"as 1/t; gas from walls and leak may be {100 * FOREIGN_SHARE:g} % of what is in the chamber."
        )
    if rotor.moment_of_inertia is None:
        lines.append("rotor.moment_of_inertia is not given: that of the vanes alone is taken.")
    if rotor.vane_mass is None:
        lines.append("rotor.vane_mass is not given: 0.3 kg/m^2 is taken for the vane, for its heat and its inertia.")
    return tuple(lines)


def falsified_by(plan: TimePlan) -> tuple[str, ...]:
    """Return the observations that would show that the plan is wrong."""
    slow = max(plan.best.steps, key=lambda step: step.settle_s)
    spin_up_s, vacuum = float(plan.times.rotor(slow.pressure_pa).spin_up_s), plan.times.vacuum
    lines = [
        f"A coast-down or spin-up at {format_number(slow.pressure_pa, 3)} Pa whose time differs from "
        f"{format_number(spin_up_s, 3)} s by more than "
        "a quarter: then the moment of inertia or the drag is not as described.",
        "A speed that still changes by more than the share above after the dwell given here.",
    ]
    if vacuum is not None:
        rise = float(vacuum.load_pa_m3_s(HOUR_S)) / vacuum.volume_m3
        lines.append(
            "A rise of pressure with the pump shut off that does not match walls and leak: the rate should be "
            f"{format_number(rise, 2)} Pa/s after an hour. With the pump on and the inlet closed, the pressure "
            f"should then be {format_number(vacuum.least_pressure_pa(HOUR_S), 2)} Pa."
        )
    return tuple(lines)


def plan_lines(plan: TimePlan) -> Iterator[str]:
    """Yield the quickest order, the slowest lag, a table with units, and the assumptions."""
    return map(plan.times.bench.shown.text, _plan_lines(plan))


def _plan_lines(plan: TimePlan) -> Iterator[str]:
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
    yield from text_table(plan.times.bench.shown.table(rows))
    yield ""
    for text in assumptions(plan):
        yield f"assumed: {text}"
    for text in falsified_by(plan):
        yield f"would show that it is wrong: {text}"


def clock(sweep: SweepTimes) -> list[tuple[float, float, str]]:
    """Return the stretches of a sweep as (start, end, what), s; ``what`` is wait, settle or measure."""
    found, now = [], 0.0
    for step in sweep.steps:
        for what, length in (("wait", step.wait_s), ("settle", step.settle_s), ("measure", step.measure_s)):
            if length > 0:
                found.append((now, now + length, what))
                now += length
    return found
