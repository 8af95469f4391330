"""What a plan is made of: things to measure, why to stop, and both together."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from edgewind.evidence import Optimum
from edgewind.evidence.next_test import ProposedTest
from edgewind.plan.target import TargetInterval

Array = NDArray[np.float64]
Kind = Literal["reading", "repeat", "sweep", "coast-down"]
StopReason = Literal["target reached", "readings spent", "gain below cost", "drift dominates", "gauge dominates"]


@dataclass(frozen=True)
class Stop:
    """Why no more should be measured.

    Attributes
    ----------
    reason : StopReason
        Reason in short.
    sentence : str
        Reason in plain words, with numbers.
    reached : bool
        Whether the aim was reached; otherwise something other than a reading is wanted.
    interval_pa : tuple of float or None
        Interval of the maximising pressure, Pa, where one is claimed.
    pressure_pa : float or None
        The maximising pressure, Pa.
    """

    reason: StopReason
    sentence: str
    reached: bool
    interval_pa: tuple[float, float] | None = None
    pressure_pa: float | None = None


@dataclass(frozen=True)
class Proposal:
    """One thing to measure, and what it is expected to do.

    Attributes
    ----------
    kind : Kind
        What to take.
    about : str
        What it tells of: ``maximising pressure``, ``difference of sweeps`` or ``drag and pivot``.
    pressure_pa : float
        Pressure at which to measure, Pa; of a sweep, the first.
    pressures_pa : tuple of float
        All pressures of a sweep, Pa, in order; else that one.
    why : str
        Reason for it in one sentence.
    interval_before_pa : tuple of float or None
        Interval of the maximising pressure, Pa, as it is, or as expected once the proposals before this one are carried
        out; None where no readings allow one, or the proposal is about other things.
    interval_after_pa : tuple of float or None
        Interval of the maximising pressure, Pa, as expected after this proposal.
    information_bits : float or None
        Expected information on what it is about, bits.
    cost_s : float
        Expected time, s.
    """

    kind: Kind
    about: str
    pressure_pa: float
    pressures_pa: tuple[float, ...]
    why: str
    interval_before_pa: tuple[float, float] | None
    interval_after_pa: tuple[float, float] | None
    information_bits: float | None
    cost_s: float

    def as_plain(self) -> dict[str, Any]:
        """Plain types for JSON."""
        plain = {name: getattr(self, name) for name in self.__dataclass_fields__}
        return {name: list(value) if isinstance(value, tuple) else value for name, value in plain.items()}


@dataclass(frozen=True, eq=False)
class Plan:
    """What to measure next, in the order in which it is worth its time.

    Attributes
    ----------
    name : str
        Name of the experiment.
    proposals : tuple of Proposal
        Readings first, in the order to take them; then whatever else would pay.
    stop : Stop or None
        Why no more readings are worth their time, None while some are; the proposals then say what could still be done.
    level : float
        Coverage probability of the intervals.
    target : TargetInterval or None
        Width of the interval that the owner wants; None where none was asked for.
    opening : str
        State of things in one sentence.
    assumptions : tuple of str
        What the plan rests on.
    falsified_by : tuple of str
        What would show the plan wrong.
    optimum : Optimum
        The optimum as the readings so far show it.
    range_pa : tuple of float
        Lowest and highest pressure at which readings were weighed, Pa.
    pressure_pa, information_bits : ndarray, shape (m,)
        Grid of pressures, and what one reading there is expected to tell, bits; empty without a curve.
    widths : ndarray, shape (b + 1,)
        Expected full width of the interval over the pressure, now and after each further reading of the batch.
    floor_width : float
        The part of it that no reading can narrow: what all pressures share, and a difference between sweeps.
    tests : tuple of ProposedTest
        Tests made on purpose that tell the mechanisms apart, the one that tells most per hour first.
    """

    name: str
    proposals: tuple[Proposal, ...]
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
    floor_width: float = 0.0
    tests: tuple[ProposedTest, ...] = ()

    @property
    def readings(self) -> tuple[Proposal, ...]:
        """The proposals that are readings or repeats, in the order to take them."""
        return tuple(one for one in self.proposals if one.kind in ("reading", "repeat"))

    @property
    def cost_s(self) -> float:
        """Time of all proposals, s."""
        return float(sum(one.cost_s for one in self.proposals))

    def as_plain(self) -> dict[str, Any]:
        """Plain types for JSON: SI, the unit in the key.

        Returns
        -------
        name : as in Plan
        next : list of Proposal
            What to measure next, in the order in which it is worth its time.
        stop, opening, level, target : as in Plan
        optimum : dict
            The optimum as the readings so far show it.
        optimum.found, optimum.pressure_pa, optimum.interval_pa, optimum.reason : as in Optimum
        range_pa : as in Plan
        expected_relative_widths : list of float
            Expected full width of the interval over the pressure, now and after each further reading of the batch.
        floor_relative_width : float
            Part of that width that no reading can narrow.
        tests : list of ProposedTest
            Tests made on purpose that tell the mechanisms apart, the one that tells most per hour first.
        assumptions, falsified_by : as in Plan
        """
        stop = None if self.stop is None else {name: getattr(self.stop, name) for name in Stop.__dataclass_fields__}
        if stop is not None and stop["interval_pa"] is not None:
            stop["interval_pa"] = list(stop["interval_pa"])
        target = self.target
        optimum = self.optimum
        return {
            "name": self.name,
            "next": [one.as_plain() for one in self.proposals],
            "stop": stop,
            "opening": self.opening,
            "level": self.level,
            "target": None if target is None else {"relative": target.relative, "absolute_pa": target.absolute_pa},
            "optimum": {
                "found": optimum.found,
                "pressure_pa": optimum.pressure_pa,
                "interval_pa": None if optimum.interval_pa is None else list(optimum.interval_pa),
                "reason": optimum.reason,
            },
            "range_pa": list(self.range_pa),
            "expected_relative_widths": [float(value) for value in self.widths],
            "floor_relative_width": float(self.floor_width),
            "tests": [one.model_dump() for one in self.tests],
            "assumptions": list(self.assumptions),
            "falsified_by": list(self.falsified_by),
        }
