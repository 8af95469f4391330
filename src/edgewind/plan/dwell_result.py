"""A plan of the time on the bench for JSON, with its sentences."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from edgewind.frozen_model import FrozenModel
from edgewind.plan.dwell import Order, SweepStep, TimePlan
from edgewind.plan.dwell_text import assumptions, falsified_by


class PressureTimes(FrozenModel):
    """One pressure with its three lags."""

    pressure_pa: float = Field(description="Pressure, Pa.")
    speed_rad_s: float = Field(description="Predicted steady speed there, rad/s, positive when the bright face leads.")
    chamber_time_s: float = Field(description="Time constant of the gas in the chamber, s; zero without `[vacuum]`.")
    heat_time_s: float = Field(description="Time constant of the heat of the vane, s.")
    spin_up_time_s: float = Field(description="Time constant of the spin of the rotor, s: moment of inertia over drag.")


class SweepResult(FrozenModel):
    """A sweep over the pressures in one order."""

    order: Order = Field(description="Order of the pressures.")
    total_s: float = Field(
        description="Length of the sweep from the start of pumping, s; infinite where a pressure is out of reach."
    )
    steps: tuple[SweepStep, ...] = Field(description="The readings in their order.")


class TimePlanResult(FrozenModel):
    """A plan of the time on the bench for JSON, SI; null for an infinite time."""

    within: float = Field(description="Relative difference from the new speed at which the rotor counts as settled.")
    points: tuple[PressureTimes, ...] = Field(description="Each pressure with its three lags, in ascending order.")
    sweeps: tuple[SweepResult, ...] = Field(description="The sweep over these pressures in each order.")
    best_order: Literal["down", "up"] = Field(description="Order of the shorter of the two single sweeps.")
    out_of_reach_pa: tuple[float, ...] = Field(
        description="Pressures at which the leak alone brings too much foreign gas, Pa."
    )
    assumptions: tuple[str, ...] = Field(description="Assumptions of the plan.")
    falsified_by: tuple[str, ...] = Field(description="Observations that would show that the plan is wrong.")


def time_plan_result(plan: TimePlan) -> TimePlanResult:
    """Return a plan with the sentences about it."""
    rotor, chamber = plan.times.rotor(plan.pressure_pa), plan.times.chamber_s(plan.pressure_pa)
    columns = (plan.pressure_pa, rotor.speed_rad_s, chamber, rotor.heat_s, rotor.spin_up_s)
    names = tuple(PressureTimes.model_fields)
    return TimePlanResult(
        within=plan.times.within,
        points=tuple(
            PressureTimes(**dict(zip(names, map(float, row), strict=True))) for row in zip(*columns, strict=True)
        ),
        sweeps=tuple(SweepResult(order=sweep.order, total_s=sweep.total_s, steps=sweep.steps) for sweep in plan.sweeps),
        best_order="down" if plan.best.order == "down" else "up",
        out_of_reach_pa=plan.out_of_reach,
        assumptions=assumptions(plan),
        falsified_by=falsified_by(plan),
    )
