"""Text of a search for the next rotor."""

from __future__ import annotations

from collections.abc import Iterator

from edgewind.formatting import RPM_PER_RAD_S, duration, format_number, text_table
from edgewind.plan.new_rotors import cautions_for
from edgewind.plan.rotor_search import DEFAULT_DRY_N_M, DEFAULT_THICKNESS_M, Evaluation, Goal, RotorSearch
from edgewind.rotor.drives import NAMES

# Observations that would show that a search is wrong.
FALSIFIED_BY = (
    "A built rotor of the front that deviates from its predicted speed by more than the present rotor does: then "
    "something that changes with size is not in the model.",
    "A break-away torque that does not follow the weight: measure the least light that starts two rotors.",
    "A spin-up time of the new rotor other than the one given: then its mass or its drag is not as described.",
)


def assumptions(found: RotorSearch) -> tuple[str, ...]:
    """Return the assumptions of the search, a sentence each."""
    rotor = found.bench.rotor
    texts = [
        "All vanes are cut from the sheet of this bench, with its paint: mass and heat capacity go with the "
        "thickness, conductance from face to face with its inverse.",
        "Dry friction of the pivot grows as the weight of the vanes to the power 4/3, as for a tip in a cup.",
        "The lamp illuminates all vanes equally.",
        "Two or four vanes have the coefficients of whole rotors where the shipped tables reach; for other numbers the "
        "loss to the vane ahead is an estimate.",
    ]
    if rotor.vane_thickness is None:
        texts.append(f"rotor.vane_thickness is not given: {1e3 * DEFAULT_THICKNESS_M:g} mm is taken for the sheet.")
    if rotor.pivot_dry_torque is None or rotor.pivot_dry_torque.value == 0:
        texts.append(f"rotor.pivot_dry_torque is not given: {DEFAULT_DRY_N_M:g} N m is taken for the present rotor.")
    if "test" in {goal.key for goal in found.goals}:
        first, second = (NAMES[key] for key in found.between)
        texts.append(
            f"Apart: {first} alone against {second} alone, each of free strength, in 20 readings that scatter by 2 %."
        )
    return tuple(texts)


def goal_value(goal: Goal, judged: Evaluation) -> str:
    """Write the value of a goal, speeds in rpm."""
    value = judged.values[goal.key]
    if judged.problems:
        return "-"
    return format_number(RPM_PER_RAD_S * value if goal.unit == "rad/s" else value, 3)


def goal_unit(goal: Goal) -> str:
    """Return the unit in which a goal is written."""
    return {"rad/s": "rpm", "standard deviations": "sd"}.get(goal.unit, goal.unit)


def trade_sentence(found: RotorSearch) -> str:
    """Return a sentence on the extremes of the front and on the present rotor."""
    if len(found.goals) == 1:
        best = found.front[0]
        goal = found.goals[0]
        now = (
            "the present rotor does not turn"
            if found.own.problems
            else f"the present rotor has {goal_value(goal, found.own)}"
        )
        return f"{goal.words.capitalize()}: {goal_value(goal, best)} {goal_unit(goal)}; {now}."
    ends = []
    for goal in found.goals:
        best = found.front[found.best_of[goal.key]]
        cost = ", ".join(
            f"{other.words} {goal_value(other, best)} {goal_unit(other)}" for other in found.goals if other is not goal
        )
        ends.append(f"{goal.words} {goal_value(goal, best)} {goal_unit(goal)} (with {cost})")
    beaten = found.better_than_own
    own = (
        f"{beaten} of them are better than the present rotor in every goal."
        if beaten
        else "None of them is better than the present rotor in every goal."
    )
    front = (
        f"{len(found.front)} of {found.tried} designs tried are on the front, where no other is better in every goal"
    )
    return f"{front}: {'; '.join(ends)}. {own}"


def rotor_rows(found: RotorSearch) -> list[list[str]]:
    """Return the rows of a table: two of titles and units, the present rotor, and some of the front."""
    goals = found.goals
    rows = [
        ["", "width", "height", "thick", "arm", "vanes", "gas", *(goal.key for goal in goals), "best at", "spin-up"]
    ]
    rows.append(["", "mm", "mm", "mm", "mm", "", "", *(goal_unit(goal) for goal in goals), "Pa", ""])
    for name, one in [("now", found.own), *((str(k), one) for k, one in enumerate(found.picked(8), start=1))]:
        b = one.built
        sizes = (b.vane_width_m, b.vane_height_m, b.vane_thickness_m, b.arm_m)
        rows.append(
            [
                name, *(format_number(1e3 * length, 3) for length in sizes), str(b.vanes), b.gas,
                *(goal_value(goal, one) for goal in goals),
                *(("-", "-") if one.problems else (format_number(one.pressure_pa, 2), duration(one.spin_up_s))),
            ]
        )  # fmt: skip
    return rows


def search_lines(found: RotorSearch) -> Iterator[str]:
    """Yield the extremes of the front, the table, the assumptions, and the cautions for such work."""
    return map(found.bench.shown.text, _search_lines(found))


def _search_lines(found: RotorSearch) -> Iterator[str]:
    yield trade_sentence(found)
    yield ""
    rows = rotor_rows(found)
    yield from text_table(found.bench.shown.table(rows))
    if len(found.front) > len(rows) - 3:
        yield f"({len(rows) - 3} of {len(found.front)} on the front, spread along it; --json has all)"
    for problem in found.own.problems:
        yield f"The present rotor: {problem}."
    yield ""
    for text in assumptions(found):
        yield f"assumed: {text}"
    for text in FALSIFIED_BY:
        yield f"would show that it is wrong: {text}"
    yield ""
    for text in cautions_for(found.gases):
        yield f"caution: {text}"
