"""From readings to claims: sweeps compared, the response curve, its optimum, mechanisms weighed."""

from edgewind.evidence.curve import ResponseCurve, SweepData, fit_curve
from edgewind.evidence.findings import BudgetLine, Findings, find, sweep_data
from edgewind.evidence.hysteresis import SweepComparison, compare_sweeps
from edgewind.evidence.knudsen import KnudsenAtOptimum, knudsen_at_optimum
from edgewind.evidence.mechanisms import MECHANISMS, Claim
from edgewind.evidence.optimum import Optimum, find_optimum
from edgewind.evidence.sizes import SizeComparison, compare_sizes
from edgewind.evidence.torque import NeededTorque, needed_torque

__all__ = [
    "MECHANISMS",
    "BudgetLine",
    "Claim",
    "Findings",
    "KnudsenAtOptimum",
    "NeededTorque",
    "Optimum",
    "ResponseCurve",
    "SizeComparison",
    "SweepComparison",
    "SweepData",
    "compare_sizes",
    "compare_sweeps",
    "find",
    "find_optimum",
    "fit_curve",
    "knudsen_at_optimum",
    "needed_torque",
    "sweep_data",
]
