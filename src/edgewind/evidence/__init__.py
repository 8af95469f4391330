"""From readings to claims: sweeps compared, the response curve, its optimum, mechanisms judged."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from edgewind.evidence.claims import Claim
    from edgewind.evidence.coastdown import CoastDown, coast_downs, fit_coast_down, measured_torque
    from edgewind.evidence.curve import ResponseCurve, fit_curve
    from edgewind.evidence.draws import RotorDraws, draws_of
    from edgewind.evidence.explain import Explanation, FittedOptimum, explain
    from edgewind.evidence.findings import BudgetLine, Findings, find, find_why, find_why_all, sweep_data
    from edgewind.evidence.fit import Fit, FitData, fit, fit_data
    from edgewind.evidence.hysteresis import SweepComparison, compare_sweeps
    from edgewind.evidence.knudsen import KnudsenAtOptimum, knudsen_at_optimum
    from edgewind.evidence.mechanisms import MECHANISMS
    from edgewind.evidence.optimum import Optimum, find_optimum
    from edgewind.evidence.scaling import Scaling, both_laws, scaling_of
    from edgewind.evidence.sizes import SizeComparison, compare_sizes
    from edgewind.evidence.sweep_data import SweepData
    from edgewind.evidence.what_if import Moved, WhatIf, WhatIfResult, what_if
else:
    from edgewind.doors import names_on_demand

    __getattr__ = names_on_demand(__name__, __file__)

__all__ = [
    "MECHANISMS",
    "BudgetLine",
    "Claim",
    "CoastDown",
    "Explanation",
    "Findings",
    "Fit",
    "FitData",
    "FittedOptimum",
    "KnudsenAtOptimum",
    "Moved",
    "Optimum",
    "ResponseCurve",
    "RotorDraws",
    "Scaling",
    "SizeComparison",
    "SweepComparison",
    "SweepData",
    "WhatIf",
    "WhatIfResult",
    "both_laws",
    "coast_downs",
    "compare_sizes",
    "compare_sweeps",
    "draws_of",
    "explain",
    "find",
    "find_optimum",
    "find_why",
    "find_why_all",
    "fit",
    "fit_coast_down",
    "fit_curve",
    "fit_data",
    "knudsen_at_optimum",
    "measured_torque",
    "scaling_of",
    "sweep_data",
    "what_if",
]
