"""Values of a plan: proposed measurements, and the reason to stop."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from edgewind.evidence import Optimum
from edgewind.evidence.next_test import ProposedTest
from edgewind.frozen_model import FrozenModel
from edgewind.plan.target import TargetInterval
from edgewind.serialize import to_plain
from edgewind.shown_units import ShownUnits

Array = NDArray[np.float64]
Kind = Literal["reading", "repeat", "sweep", "coast-down"]
StopReason = Literal["target reached", "readings spent", "gain below cost", "drift dominates", "gauge dominates"]


class Stop(FrozenModel):
    """Reason for a recommendation to stop."""

    reason: StopReason = Field(description="Reason in short.")
    sentence: str = Field(description="Reason in plain words, with numbers.")
    reached: bool = Field(
        description="Whether the target was reached; otherwise something other than a reading is needed."
    )
    interval_pa: tuple[float, float] | None = Field(
        default=None, description="Interval of the maximising pressure, Pa, where one is claimed."
    )
    pressure_pa: float | None = Field(default=None, description="The maximising pressure, Pa.")


class PlannedMeasurement(FrozenModel):
    """A proposed measurement with its expected effect."""

    kind: Kind = Field(description="Kind of the measurement.")
    about: str = Field(
        description="Subject of its information: maximising pressure, scatter of the readings, difference of sweeps, "
        "or drag and pivot."
    )
    pressure_pa: float = Field(description="Pressure at which to measure, Pa; of a sweep, the first.")
    pressures_pa: tuple[float, ...] = Field(description="All pressures of a sweep, Pa, in order; else that one.")
    why: str = Field(description="Reason for it in one sentence.")
    interval_before_pa: tuple[float, float] | None = Field(
        default=None,
        description="Interval of the maximising pressure, Pa, as it is, or as expected once the measurements before "
        "this one are carried out; null for another subject, or where no interval is claimed.",
    )
    interval_after_pa: tuple[float, float] | None = Field(
        default=None, description="Interval of the maximising pressure, Pa, as expected after this measurement."
    )
    information_bits: float | None = Field(default=None, description="Expected information on its subject, bits.")
    cost_s: float = Field(description="Expected time, s.")


class OptimumSoFar(FrozenModel):
    """The optimum by the readings so far."""

    found: bool = Field(description="Whether a maximum is claimed inside the pressures measured.")
    pressure_pa: float | None = Field(description="Pressure of the greatest speed, Pa.")
    interval_pa: tuple[float, float] | None = Field(description="Interval of that pressure, Pa.")
    reason: str | None = Field(description="Why no maximum is claimed; null if one is.")


class PlanResult(FrozenModel):
    """A plan for JSON: SI, the unit in each key."""

    name: str = Field(description="Name of the experiment.")
    next: tuple[PlannedMeasurement, ...] = Field(
        description="Proposed measurements, in order of their value for the time."
    )
    stop: Stop | None = Field(description="Why no further reading is worth its time; null if one is.")
    opening: str = Field(description="State of the experiment in one sentence.")
    level: float = Field(description="Coverage probability of the intervals.")
    target: TargetInterval | None = Field(description="Target width of the interval; null without a target.")
    optimum: OptimumSoFar = Field(description="The optimum by the readings so far.")
    range_pa: tuple[float, float] = Field(
        description="Lowest and highest pressure at which readings were considered, Pa."
    )
    expected_relative_widths: tuple[float, ...] = Field(
        description="Expected full width of the interval over the pressure, now and after each further reading of "
        "the batch; empty where no interval is claimed."
    )
    floor_relative_width: float | None = Field(
        description="Part of that width that no reading can narrow; null where no interval is claimed."
    )
    assumptions: tuple[str, ...] = Field(description="Assumptions of the plan.")
    falsified_by: tuple[str, ...] = Field(description="Observations that would show that the plan is wrong.")


@dataclass(frozen=True, eq=False)
class Plan:
    """Proposed measurements, in order of their value for the time.

    Attributes
    ----------
    name : str
        Name of the experiment.
    proposals : tuple of PlannedMeasurement
        Readings first, in the order to take them; then any other useful measurement.
    stop : Stop or None
        Why no more readings are worth their time, None while some are; the proposals then say what could still be done.
    level : float
        Coverage probability of the intervals.
    target : TargetInterval or None
        Target width of the interval; None if none was stated.
    opening : str
        State of the experiment in one sentence.
    assumptions : tuple of str
        What the plan rests on.
    falsified_by : tuple of str
        What would show the plan wrong.
    optimum : Optimum
        The optimum by the readings so far.
    range_pa : tuple of float
        Lowest and highest pressure at which readings were considered, Pa.
    pressure_pa, information_bits : ndarray, shape (m,)
        Grid of pressures, and what one reading there is expected to tell, bits; empty without a curve, nan beyond the
        readings.
    widths : ndarray, shape (b + 1,)
        Expected full width of the interval over the pressure, now and after each further reading of the batch;
        empty where no interval is claimed.
    floor_width : float or None
        The part of it that no reading can narrow: what all pressures share, and a difference between sweeps.
    tests : tuple of ProposedTest
        Tests made on purpose that tell the mechanisms apart, the one that tells most per hour first.
    shown : ShownUnits
        Units in which people are shown it.
    """

    name: str
    proposals: tuple[PlannedMeasurement, ...]
    stop: Stop | None
    level: float
    target: TargetInterval | None
    opening: str
    assumptions: tuple[str, ...]
    falsified_by: tuple[str, ...]
    optimum: Optimum
    range_pa: tuple[float, float]
    pressure_pa: Array = field(default_factory=lambda: np.empty(0))
    information_bits: Array = field(default_factory=lambda: np.empty(0))
    widths: Array = field(default_factory=lambda: np.empty(0))
    floor_width: float | None = None
    tests: tuple[ProposedTest, ...] = ()
    shown: ShownUnits = field(default_factory=ShownUnits)

    @property
    def readings(self) -> tuple[PlannedMeasurement, ...]:
        """The proposals that are readings or repeats, in the order to take them."""
        return tuple(one for one in self.proposals if one.kind in ("reading", "repeat"))

    @property
    def cost_s(self) -> float:
        """Time of all proposals, s."""
        return float(sum(one.cost_s for one in self.proposals))

    def to_dict(self) -> dict[str, Any]:
        """Return the plan in plain types, SI: the keys of :class:`PlanResult`."""
        optimum = self.optimum
        result = PlanResult(
            name=self.name,
            next=self.proposals,
            stop=self.stop,
            opening=self.opening,
            level=self.level,
            target=self.target,
            optimum=OptimumSoFar(
                found=optimum.found,
                pressure_pa=optimum.pressure_pa,
                interval_pa=optimum.interval_pa,
                reason=optimum.reason,
            ),
            range_pa=self.range_pa,
            expected_relative_widths=tuple(float(value) for value in self.widths),
            floor_relative_width=self.floor_width,
            assumptions=self.assumptions,
            falsified_by=self.falsified_by,
        )
        return dict(to_plain(result))
