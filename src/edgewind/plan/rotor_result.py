"""The search of the next rotor for JSON and manual."""

from __future__ import annotations

from typing import Any

from pydantic import Field

from edgewind.frozen_model import FrozenModel
from edgewind.plan.rotor_search import Evaluation, RotorDesign, RotorSearch
from edgewind.plan.rotor_text import FALSIFIED_BY, assumptions


class GoalResult(FrozenModel):
    """A goal for a rotor."""

    key: str = Field(description="Name on the command line.")
    words: str = Field(description="The goal in words.")
    unit: str = Field(description="Unit of its value.")
    most: bool = Field(description="Whether more is better.")


class EvaluatedRotor(RotorDesign):
    """A rotor with its values by the forward model."""

    pressure_pa: float = Field(description="Pressure at which it turns fastest, Pa.")
    speed_rad_s: float = Field(description="Speed there, rad/s.")
    torque_n_m: float = Field(description="Greatest torque of all drives, N m.")
    spin_up_s: float = Field(description="Moment of inertia over drag where it turns fastest, s.")
    goals: dict[str, float] = Field(description="Value for each goal, by its key, in the unit of that goal.")


class PresentRotor(EvaluatedRotor):
    """The present rotor, evaluated alike."""

    problems: tuple[str, ...] = Field(description="Why it cannot be built or does not turn; empty for a good design.")


class RotorSearchResult(FrozenModel):
    """A search for JSON: SI, the unit in each key."""

    goals: tuple[GoalResult, ...] = Field(description="The goals of the search.")
    between: tuple[str, str] | None = Field(
        description="Keys of the two drives that the goal `test` distinguishes; null without that goal."
    )
    ranges_si: dict[str, tuple[float, float]] = Field(
        description="Least and greatest value of each chosen size, in SI."
    )
    gases: tuple[str, ...] = Field(description="Gases available.")
    tried: int = Field(description="Number of designs that were tried.")
    seed: int = Field(description="Seed of the search; the same seed tries the same designs.")
    own: PresentRotor = Field(description="The present rotor, evaluated alike.")
    front: tuple[EvaluatedRotor, ...] = Field(
        description="Designs of which none is better in every goal, sorted by the first goal, the best first."
    )
    better_than_own_in_every_goal: int = Field(
        description="Number of designs of the front that are better than the present rotor in every goal."
    )
    assumptions: tuple[str, ...] = Field(description="Assumptions of the search.")
    falsified_by: tuple[str, ...] = Field(description="Observations that would show that the search is wrong.")


def rotor_search_result(found: RotorSearch) -> RotorSearchResult:
    """Return a search with the sentences about it."""
    return RotorSearchResult(
        goals=tuple(GoalResult(key=one.key, words=one.words, unit=one.unit, most=one.most) for one in found.goals),
        between=found.between if "test" in {goal.key for goal in found.goals} else None,
        ranges_si=found.ranges,
        gases=found.gases,
        tried=found.tried,
        seed=found.seed,
        own=PresentRotor(**_numbers(found.own), problems=found.own.problems),
        front=tuple(EvaluatedRotor(**_numbers(one)) for one in found.front),
        better_than_own_in_every_goal=found.better_than_own,
        assumptions=assumptions(found),
        falsified_by=FALSIFIED_BY,
    )


def _numbers(evaluated: Evaluation) -> dict[str, Any]:
    return vars(evaluated.built) | {
        "pressure_pa": evaluated.pressure_pa,
        "speed_rad_s": evaluated.speed_rad_s,
        "torque_n_m": evaluated.torque_n_m,
        "spin_up_s": evaluated.spin_up_s,
        "goals": evaluated.values,
    }
