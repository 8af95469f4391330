"""The next experiment: which pressure, how long, which study, which rotor, and when to stop."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from edgewind.plan.chamber import Vacuum, vacuum_of
    from edgewind.plan.conductance import Tube, conductance, transmission_probability
    from edgewind.plan.cost import Cost, PlainCost, cost_from_record
    from edgewind.plan.dwell import BenchTimes, TimePlan, bench_times, plan_time
    from edgewind.plan.dwell_result import TimePlanResult, time_plan_result
    from edgewind.plan.next_target import AdaptiveChoice, Target
    from edgewind.plan.propose import propose, propose_if_possible
    from edgewind.plan.ranges import gauge_range
    from edgewind.plan.rotor_result import RotorSearchResult, rotor_search_result
    from edgewind.plan.rotor_search import GOALS, RotorSearch, search_rotor
    from edgewind.plan.scaling_result import ScalingStudyResult, scaling_result
    from edgewind.plan.scaling_study import ScalingStudy, Settings, plan_scaling_study
    from edgewind.plan.target import TargetInterval, parse_target
    from edgewind.plan.values import Plan, PlannedMeasurement, PlanResult, Stop
else:
    from edgewind.doors import names_on_demand

    __getattr__ = names_on_demand(__name__, __file__)

__all__ = [
    "GOALS",
    "AdaptiveChoice",
    "BenchTimes",
    "Cost",
    "PlainCost",
    "Plan",
    "PlanResult",
    "PlannedMeasurement",
    "RotorSearch",
    "RotorSearchResult",
    "ScalingStudy",
    "ScalingStudyResult",
    "Settings",
    "Stop",
    "Target",
    "TargetInterval",
    "TimePlan",
    "TimePlanResult",
    "Tube",
    "Vacuum",
    "bench_times",
    "conductance",
    "cost_from_record",
    "gauge_range",
    "parse_target",
    "plan_scaling_study",
    "plan_time",
    "propose",
    "propose_if_possible",
    "rotor_search_result",
    "scaling_result",
    "search_rotor",
    "time_plan_result",
    "transmission_probability",
    "vacuum_of",
]
