"""The figures. A new one is one file here and one line in a registry below."""

from collections.abc import Sequence

from edgewind.evidence import Findings
from edgewind.plan import Plan
from edgewind.report.figures.base import Drawing
from edgewind.report.figures.budget import BUDGET
from edgewind.report.figures.curve import CURVE
from edgewind.report.figures.misfit import MISFIT
from edgewind.report.figures.plan import PLAN
from edgewind.report.figures.reversal import REVERSAL
from edgewind.report.figures.scaling import SCALING
from edgewind.report.figures.together import TOGETHER
from edgewind.report.figures.why import WHY

ROTOR_FIGURES: tuple[Drawing[Findings], ...] = (CURVE, BUDGET, WHY, MISFIT, REVERSAL, SCALING)
JOINT_FIGURES: tuple[Drawing[Sequence[Findings]], ...] = (TOGETHER,)
PLAN_FIGURES: tuple[Drawing[Plan], ...] = (PLAN,)

__all__ = ["JOINT_FIGURES", "PLAN_FIGURES", "ROTOR_FIGURES", "Drawing"]
