"""The next experiment: which pressure to measure, what it would settle, and when to stop."""

from edgewind.plan.cost import Cost, PlainCost, cost_from_record
from edgewind.plan.next_target import AdaptiveChoice, Target
from edgewind.plan.propose import propose, propose_if_possible
from edgewind.plan.ranges import gauge_range
from edgewind.plan.target import TargetInterval, parse_target
from edgewind.plan.values import Plan, Proposal, Stop

__all__ = [
    "AdaptiveChoice",
    "Cost",
    "PlainCost",
    "Plan",
    "Proposal",
    "Stop",
    "Target",
    "TargetInterval",
    "cost_from_record",
    "gauge_range",
    "parse_target",
    "propose",
    "propose_if_possible",
]
