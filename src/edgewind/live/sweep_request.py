"""Request for a sweep: the pressures in order, coast-downs among them, and readings chosen during the sweep."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from edgewind.errors import InputError
from edgewind.formatting import format_number
from edgewind.live.run_plan import RunPlan, pressure_words, reversal_plan
from edgewind.pressures import parse_pressures

_MOST_STEPS = 2000
_LEAST_ADAPTIVE = 6  # length of the start before the adaptive choice


@dataclass(frozen=True)
class Step:
    """A step: one measurement at one pressure.

    Attributes
    ----------
    number : int
        Number of the step, counted from one through the sweep.
    kind : str
        Kind: ``reading``, lamp on; ``coast-down``: lamp off from full speed, one long trace, lamp on again; or
        ``run``: signed speed against time while something is changed.
    pressure_pa : float
        Pressure to reach, Pa; zero in a run at the present pressure.
    direction : str
        Whether the pressure goes ``up`` or ``down``; empty if neither.
    why : str
        Reason for this pressure, if chosen during the sweep.
    run : RunPlan or None
        Plan of a ``run``.
    """

    number: int
    kind: str
    pressure_pa: float
    direction: str = ""
    why: str = ""
    run: RunPlan | None = None

    @property
    def words(self) -> str:
        """The step in words."""
        way = f", {self.direction}" if self.direction else ""
        if self.run is not None:
            return f"run {pressure_words(self.pressure_pa)}: {self.run.words}"
        return f"{self.kind} at {format_number(self.pressure_pa, 3)} Pa{way}"


@dataclass(frozen=True)
class SweepRequest:
    """The request of the user.

    Parameters
    ----------
    pressures_pa : tuple of float
        Targets in the order in which they are visited, Pa. With `adaptive` they bound the choice, lowest and highest.
    up_and_down : bool
        Whether they are repeated in reverse order.
    coast_downs : int
        Number of pressures of the first pass that are followed by a coast-down.
    adaptive : int
        Largest number of readings chosen during the sweep, instead of the pressures between lowest and highest.
    target : str
        Width of the interval of the optimum at which an adaptive sweep ends: ``"10%"``, ``"0.1 Pa"``; empty for
        none.
    run : RunPlan or None
        A run through a change, after the readings, or alone without pressures.
    """

    pressures_pa: tuple[float, ...]
    up_and_down: bool = False
    coast_downs: int = 0
    adaptive: int = 0
    target: str = ""
    run: RunPlan | None = None

    def __post_init__(self) -> None:
        least = 2 if self.adaptive else 0 if self.run is not None else 1
        if len(self.pressures_pa) < least or not all(math.isfinite(p) and p > 0 for p in self.pressures_pa):
            raise InputError(
                "a sweep needs pressures above zero" if least == 1 else "an adaptive sweep needs two pressures or more",
                fix="write --pressures 0.02Pa:20Pa:12",
            )
        if not 0 <= self.coast_downs <= len(self.pressures_pa):
            raise InputError(
                f"{self.coast_downs} coast-downs are too many for {len(self.pressures_pa)} pressures",
                fix="ask for no more coast-downs than there are pressures",
            )
        if self.adaptive and self.coast_downs:
            raise InputError(
                "coast-downs are placed among fixed pressures, and an adaptive sweep has none",
                fix="take the coast-downs in a sweep of their own",
            )
        if self.adaptive < 0 or (self.adaptive and self.up_and_down):
            raise InputError("an adaptive sweep chooses its own order", fix="leave out --up-and-down")
        if 0 < self.adaptive < _LEAST_ADAPTIVE:
            raise InputError(
                f"{self.adaptive} readings are too few for an adaptive sweep",
                fix=f"allow {_LEAST_ADAPTIVE} readings or more",
            )
        if self.adaptive and self.run is not None:
            raise InputError("an adaptive sweep has no run", fix="record the run by itself")
        if self.target and not self.adaptive:
            raise InputError("a target interval applies to an adaptive sweep only", fix="add --adaptive")
        if self.target:
            from edgewind.plan import parse_target

            parse_target(self.target)
        if len(self.pressures_pa) > _MOST_STEPS or self.adaptive > _MOST_STEPS:
            raise InputError(f"more than {_MOST_STEPS} readings in one sweep", fix="measure fewer")

    def steps(self) -> tuple[Step, ...]:
        """Return the steps of a sweep with fixed pressures; none if they are chosen during the sweep."""
        if self.adaptive:
            return ()
        first = self.pressures_pa
        passes: list[tuple[float, ...]] = (
            [first, first[::-1][1:] if len(first) > 1 else ()] if self.up_and_down else [first]
        )
        chosen = set(np.linspace(0, len(first) - 1, self.coast_downs + 2).round().astype(int)[1:-1].tolist())
        while len(chosen) < self.coast_downs:  # more coast-downs than inner places: fill up from the ends
            chosen.add(next(place for place in (0, len(first) - 1, *range(len(first))) if place not in chosen))
        found: list[Step] = []
        for turn, pressures in enumerate(passes):
            for place, pressure in enumerate(pressures):
                way = _direction(pressures if len(pressures) > 1 else first, place, turn)
                found.append(Step(len(found) + 1, "reading", pressure, way))
                if turn == 0 and place in chosen:
                    found.append(Step(len(found) + 1, "coast-down", pressure, way))
        if self.run is not None:
            found.append(Step(len(found) + 1, "run", self.run.pressure_pa, run=self.run))
        return tuple(found)

    def plain(self) -> dict[str, Any]:
        """Return the request for JSON."""
        run = None if self.run is None else self.run.plain()
        return asdict(self) | {"pressures_pa": list(self.pressures_pa), "run": run}

    @property
    def digest(self) -> str:
        """Eight characters that identify this request."""
        return hashlib.sha256(json.dumps(self.plain(), sort_keys=True).encode()).hexdigest()[:8]

    @classmethod
    def of(cls, plain: Mapping[str, Any]) -> SweepRequest:
        """Return the request that :meth:`plain` wrote, or an earlier version with its reversal."""
        run = plain.get("run")
        made = RunPlan.of(run) if run else None
        if plain.get("reversal_pa"):
            made = reversal_plan(float(plain["reversal_pa"]), float(plain["reversal_k"]))
        return cls(
            tuple(float(p) for p in plain["pressures_pa"]),
            bool(plain["up_and_down"]),
            int(plain["coast_downs"]),
            int(plain["adaptive"]),
            str(plain.get("target", "")),
            made,
        )


def _direction(pressures: tuple[float, ...], place: int, turn: int) -> str:
    if len(pressures) < 2:
        return ""
    before, after = (place - 1, place) if place else (0, 1)
    rises = pressures[after] > pressures[before]
    if len(pressures) == 1:
        rises = turn == 0
    return "up" if rises else "down"


def parse_targets(text: str) -> tuple[float, ...]:
    """Read the pressures of a sweep, Pa: a range, which may go down, or a list.

    Raises
    ------
    InputError
        It is neither.
    """
    return parse_pressures(text, default_count=None, allow_descending=True, most=_MOST_STEPS)
