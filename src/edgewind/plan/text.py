"""Text of a plan."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from edgewind.cautions import DEFER, HAZARDS
from edgewind.evidence.next_test import NOISE_OF_TESTS
from edgewind.formatting import RPM_PER_RAD_S, duration, format_interval, format_number
from edgewind.plan.values import Plan, PlannedMeasurement

TITLES = {
    "reading": "reading",
    "repeat": "repeat",
    "sweep": "readings the other way",
    "coast-down": "coast-down",
}


def where(proposal: PlannedMeasurement) -> str:
    """Return the pressures of a proposal, in Pa."""
    return ", ".join(f"{format_number(pressure, 3)} Pa" for pressure in proposal.pressures_pa)


def effect(proposal: PlannedMeasurement) -> str:
    """Return the expected effect of a proposal."""
    said = []
    if proposal.information_bits is not None:
        said.append(f"{format_number(proposal.information_bits, 2, keep_zeros=True)} bits on the {proposal.about}")
    if proposal.interval_before_pa is not None and proposal.interval_after_pa is not None:
        before, after = (format_interval(*ends) for ends in (proposal.interval_before_pa, proposal.interval_after_pa))
        said.append(f"interval {before} Pa, expected {after} Pa after it")
    return "; ".join(said)


def plan_lines(plan: Plan) -> Iterator[str]:
    """Yield the plan line by line: state, proposals, assumptions."""
    return map(plan.shown.text, _plan_lines(plan))


def _plan_lines(plan: Plan) -> Iterator[str]:
    yield plan.opening
    if plan.stop is not None:
        yield f"Stop ({plan.stop.reason}): {plan.stop.sentence}"
        if plan.proposals:
            yield "Further measurements that are possible:"
    for number, one in enumerate(plan.proposals, start=1):
        expected = effect(one)
        does = f": {expected}." if expected else "."
        yield f"{number}. {TITLES[one.kind]} at {where(one)}, {duration(one.cost_s)}{does}"
        yield f"   {one.why}"
    if plan.proposals:
        yield f"All of it takes about {duration(plan.cost_s)}."
    yield "Assumed: " + " ".join(plan.assumptions)
    yield "What would show that this plan is wrong: " + " ".join(plan.falsified_by)


def next_lines(plan: Plan, *, everything: bool = False) -> Iterator[str]:
    """Yield the plan and the tests made on purpose; after a stop only that, unless everything is asked for."""
    if plan.stop is None or everything:
        yield from plan_lines(plan)
        yield from deliberate_lines(plan)
    else:
        yield from map(plan.shown.text, _stop_lines(plan))


def _stop_lines(plan: Plan) -> Iterator[str]:
    assert plan.stop is not None
    yield plan.opening
    yield f"Stop ({plan.stop.reason}): {plan.stop.sentence}"
    left = []
    if plan.proposals:
        some = "1 more measurement" if len(plan.proposals) == 1 else f"{len(plan.proposals)} more measurements"
        left.append(f"{some} (about {duration(plan.cost_s)})")
    if shown := plan.tests[:_TESTS_SHOWN]:
        some = "1 test" if len(shown) == 1 else f"{len(shown)} tests"
        left.append(f"{some} made on purpose, which distinguish between the mechanisms still open")
    if left:
        yield f"Still possible: {', and '.join(left)}. Option --all prints them, with assumptions and cautions."


_TESTS_SHOWN = 3


def deliberate_lines(plan: Plan) -> Iterator[str]:
    """Yield the first few tests that distinguish between the mechanisms, with their cautions."""
    return map(plan.shown.text, _deliberate_lines(plan))


def _deliberate_lines(plan: Plan) -> Iterator[str]:
    shown = plan.tests[:_TESTS_SHOWN]
    if not shown:
        return
    yield "Tests made on purpose, those first that distinguish best per hour between the mechanisms still open:"
    for letter, test in zip("abcdefgh", shown, strict=False):
        gain = format_number(test.gain, 2)
        place = f"{format_number(test.pressure_pa, 3)} Pa, {duration(3600 * test.hours)}"
        yield f"{letter}. {test.kind} at {place}: ln(evidence) between two mechanisms changes by about {gain}."
        yield f"   {test.how[0].upper()}{test.how[1:]}."
        for name, what in test.outcomes.items():
            yield f"   {name}: {what}"
    yield from _scattered(plan)
    for hazard in dict.fromkeys(hazard for test in shown for hazard in test.cautions):
        yield f"Caution: {HAZARDS[hazard]}"
    yield DEFER


def _scattered(plan: Plan) -> Iterator[str]:
    """Yield that the readings scatter by more than the numbers of the tests made on purpose allow for."""
    unstated, curve = plan.optimum.unstated, plan.optimum.curve
    if unstated is None or curve is None or unstated.scatter_rad_s <= NOISE_OF_TESTS * np.abs(curve.mean).max():
        return
    yield (
        f"These numbers allow for {100 * NOISE_OF_TESTS:g} % of the speed, and the readings scatter by about "
        f"{format_number(RPM_PER_RAD_S * unstated.scatter_rad_s, 2)} rpm: a single reading of a test distinguishes "
        "less than they say."
    )
