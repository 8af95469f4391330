"""The next experiment: which pressure, how long, which study, which rotor."""

from edgewind.plan.chamber import Vacuum, pump_down_closed_form, vacuum_of
from edgewind.plan.conductance import Tube, conductance, transmission_probability
from edgewind.plan.dwell import BenchTimes, TimePlan, bench_times, plan_time
from edgewind.plan.rotor_search import GOALS, RotorSearch, search_rotor
from edgewind.plan.scaling_study import ScalingStudy, Settings, plan_scaling_study

__all__ = [
    "GOALS",
    "BenchTimes",
    "RotorSearch",
    "ScalingStudy",
    "Settings",
    "TimePlan",
    "Tube",
    "Vacuum",
    "bench_times",
    "conductance",
    "plan_scaling_study",
    "plan_time",
    "pump_down_closed_form",
    "search_rotor",
    "transmission_probability",
    "vacuum_of",
]
