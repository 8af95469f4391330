"""Results of a fit and of a coast-down for JSON and manual: SI, the unit in each key."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from edgewind.evidence.coastdown import CoastDown
from edgewind.evidence.explain import Explanation, FittedOptimum
from edgewind.evidence.fit import Marginal
from edgewind.evidence.fit_check import SmoothMisfit
from edgewind.frozen_model import FrozenModel


class UnknownResult(FrozenModel):
    """An unknown of the fit after the readings."""

    name: str = Field(description="Short name of the unknown, a key of tables.")
    label: str = Field(description="Label of the unknown.")
    unit: str = Field(description="Unit of its numbers.")
    prior: str = Field(description="Its prior, in words.")
    median: float = Field(description="Median of the posterior.")
    interval: tuple[float, float] = Field(description="Equal-tailed interval at the level of the fit.")
    width_ratio: float = Field(description="Posterior over prior width: 1 if the readings contain no information.")
    fixed_by_data: Literal["yes", "partly", "no"] = Field(
        description="Whether the readings determine it, by that ratio."
    )
    pull: float = Field(
        description="Score of the median in the prior, in standard deviations: its shift by the readings."
    )
    settled_by: str = Field(description="Reading that would narrow it most; empty if it is determined.")


class FitResult(FrozenModel):
    """The fit of all drives."""

    unknowns: tuple[UnknownResult, ...] = Field(description="Every unknown of the rotor.")
    optimum: FittedOptimum | None = Field(
        description="The pressure of greatest speed by the fit, true pressure; beside `optimum`, which is that of the "
        "curve."
    )
    smooth_misfit: SmoothMisfit = Field(
        description="Misfit that is smooth in pressure, beyond the stated error of the model."
    )
    log_evidence: float = Field(description="Logarithm of the evidence.")
    log_evidence_u: float = Field(description="Numerical uncertainty of that logarithm.")
    p_value: float = Field(
        description="Share of replicated data whose misfit is greater than that of the readings; near 0 or 1 the model "
        "is doubtful."
    )
    p_stated: float = Field(description="The same with the stated scatter, without the scatter that the fit adds.")
    settled: bool = Field(description="Whether the ensembles of walkers agree and hold enough independent draws.")
    level: float = Field(description="Coverage probability of the intervals.")


class CoastDownResult(FrozenModel):
    """Result of one coast-down, per moment of inertia."""

    line: int = Field(description="Line of `readings.csv`, 0 where there is none.")
    pressure_pa: float | None = Field(description="Pressure, Pa; null where it is not known.")
    drag_rate_1_s: float | None = Field(description="Drag over moment of inertia, 1/s.")
    drag_rate_u_1_s: float | None = Field(description="Standard uncertainty of drag over moment of inertia, 1/s.")
    dry_rate_rad_s2: float | None = Field(description="Dry friction over moment of inertia, rad/s^2.")
    dry_rate_u_rad_s2: float | None = Field(
        description="Standard uncertainty of dry friction over moment of inertia, rad/s^2."
    )
    correlation: float | None = Field(description="Correlation of drag and dry friction.")
    flags: tuple[str, ...] = Field(
        description="Faults: ``not-separated``, drag and friction are not distinguished; ``poor-fit``; "
        "``no-fall``; ``few-windows``; ``no-pressure``; ``still-driven``, something else acted."
    )
    used: bool = Field(description="Whether the fit uses it.")
    why_not: str = Field(description="Why it is not used; empty if it is.")


def fit_result(explanation: Explanation | None) -> FitResult | None:
    """Return the results of the fit of all drives; None without one."""
    if explanation is None or explanation.fit is None:
        return None
    fitted = explanation.fit
    keys = ("log_evidence", "log_evidence_u", "p_value", "p_stated", "settled", "level")
    return FitResult(
        unknowns=tuple(_unknown(one) for one in fitted.marginals),
        optimum=explanation.speed_optimum,
        smooth_misfit=fitted.smooth,
        **{key: getattr(fitted, key) for key in keys},
    )


def coast_down_result(coast: CoastDown) -> CoastDownResult:
    """Return the result of a coast-down, used or not."""
    return CoastDownResult(
        line=coast.line,
        pressure_pa=coast.pressure_pa,
        drag_rate_1_s=coast.drag_rate,
        drag_rate_u_1_s=coast.drag_rate_u,
        dry_rate_rad_s2=coast.dry_rate,
        dry_rate_u_rad_s2=coast.dry_rate_u,
        correlation=coast.correlation,
        flags=coast.flags,
        used=coast.usable,
        why_not=coast.why_not,
    )


def _unknown(one: Marginal) -> UnknownResult:
    keys = ("median", "interval", "width_ratio", "fixed_by_data", "pull", "settled_by")
    return UnknownResult(
        **{key: getattr(one.unknown, key) for key in ("name", "label", "unit")},
        **{key: getattr(one, key) for key in keys},
        prior=one.unknown.words,
    )
