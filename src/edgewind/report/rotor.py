"""Contents of the page for one rotor, ready for the template."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from edgewind.evidence.words import explanation_lines
from edgewind.formatting import duration, format_interval, format_measured, format_number, raise_exponents
from edgewind.plan.text import TITLES, where
from edgewind.report.deliberate import TestRow, test_rows
from edgewind.report.figures.budget import combined, reading_number
from edgewind.report.gauge_chain import gauge_chain
from edgewind.report.rows import LAMP_ON, NOTHING, ReadingRow, reading_rows
from edgewind.report.words import VERDICTS

if TYPE_CHECKING:
    from edgewind.evidence import Claim, Findings, SweepComparison
    from edgewind.plan import Plan, PlannedMeasurement
    from edgewind.report.illustrate import Illustration
    from edgewind.report.planned_time import TimeView
    from edgewind.units import Measured


@dataclass(frozen=True)
class BudgetRow:
    """A line of the uncertainty budget."""

    name: str
    percent: str
    kind: str


@dataclass(frozen=True)
class SweepRow:
    """An effect that could differ between sweeps, its size and the probability of one as large by chance."""

    name: str
    size: str
    chance: str


@dataclass(frozen=True)
class MechanismRow:
    """A candidate mechanism and its verdict."""

    name: str
    verdict: str
    verdict_means: str
    sign: str
    ratio: str
    interval: str
    why: str


@dataclass(frozen=True)
class UnknownRow:
    """An unknown of the fit, before and after the readings."""

    label: str
    prior: str
    median: str
    interval: str
    fixed: str
    settled_by: str


@dataclass(frozen=True)
class PlanRow:
    """A proposed measurement."""

    what: str
    pressure: str
    bits: str
    time: str
    interval: str
    why: str


@dataclass(frozen=True)
class RotorView:
    """One rotor's part of the page."""

    findings: Findings
    anchor: str
    curve: Illustration | None
    budget_figure: Illustration | None
    budget: list[BudgetRow]
    budget_total: str
    chain: tuple[str, ...]
    sweeps: SweepComparison | None
    sweep_rows: list[SweepRow]
    mechanisms: list[MechanismRow]
    needed: str
    bench: list[tuple[str, str]]
    rows: list[ReadingRow]
    why_figure: Illustration | None
    scaling_figure: Illustration | None
    misfit_figure: Illustration | None
    reversal_figure: Illustration | None
    tests: tuple[TestRow, ...]
    fitted: list[str]
    unknowns: list[UnknownRow]
    plan: Plan | None
    plan_figure: Illustration | None
    plan_rows: list[PlanRow]
    time: TimeView | None = None

    @property
    def scaling_withheld(self) -> str:
        """Why the effect of other widths is not shown; empty if it is, or if there is no fit."""
        explanation = self.findings.explanation
        return "" if explanation is None else explanation.laws_withheld

    @property
    def set_aside(self) -> list[ReadingRow]:
        """Rows that the curve does not use."""
        return [row for row in self.rows if not row.used]

    @property
    def noted(self) -> list[tuple[str, str]]:
        """Title and attribute of the columns of conditions that are not empty."""
        usual = {"leading_face": (NOTHING, "not observed"), "lamp": (LAMP_ON,), "envelope": (NOTHING,)}
        titles = {"leading_face": "leading face", "lamp": "lamp", "envelope": "envelope / °C"}
        return [
            (titles[name], name)
            for name, nothing in usual.items()
            if any(getattr(row, name) not in nothing for row in self.rows)
        ]

    @property
    def thumbnails(self) -> list[ReadingRow]:
        """Rows that have a trace."""
        return [row for row in self.rows if row.thumbnail is not None]

    @property
    def flags(self) -> list[str]:
        """Flags that occur, in order of first appearance."""
        return list(dict.fromkeys(flag for row in self.rows for flag in row.flags))


def view_rotor(
    findings: Findings,
    anchor: str,
    curve: Illustration | None,
    budget_figure: Illustration | None,
    why_figure: Illustration | None = None,
    scaling_figure: Illustration | None = None,
    misfit_figure: Illustration | None = None,
    reversal_figure: Illustration | None = None,
    *,
    plan: Plan | None = None,
    plan_figure: Illustration | None = None,
    time: TimeView | None = None,
) -> RotorView:
    """Prepare one rotor's part of the page."""
    return RotorView(
        findings=findings,
        anchor=anchor,
        curve=curve,
        budget_figure=budget_figure,
        budget=[
            BudgetRow(
                line.name,
                f"{100 * line.relative_u:.2g}",
                "shared by all readings" if line.common else "each reading's own",
            )
            for line in findings.budget
        ],
        budget_total=f"{100 * combined(findings):.2g}",
        chain=gauge_chain(findings.experiment.bench),
        sweeps=findings.optimum.sweeps,
        sweep_rows=_sweep_rows(findings.optimum.sweeps),
        mechanisms=[_mechanism_row(claim) for claim in findings.mechanisms],
        needed=_needed(findings),
        bench=_bench_rows(findings),
        rows=reading_rows(findings),
        why_figure=why_figure,
        scaling_figure=scaling_figure,
        misfit_figure=misfit_figure,
        reversal_figure=reversal_figure,
        tests=test_rows(findings),
        fitted=_fitted(findings),
        unknowns=_unknown_rows(findings),
        plan=plan,
        plan_figure=plan_figure,
        plan_rows=[] if plan is None else [_plan_row(one) for one in plan.proposals],
        time=time,
    )


def _sweep_rows(sweeps: SweepComparison | None) -> list[SweepRow]:
    if sweeps is None:
        return []
    rows = []
    contrast = sweeps.contrast or "no contrast"
    effects = (
        (f"difference of speeds, {contrast}", sweeps.offset_relative, sweeps.offset_relative_u, sweeps.offset_p, "%"),
        (
            f"shift in pressure, {contrast}",
            sweeps.log_pressure_shift,
            sweeps.log_pressure_shift_u,
            sweeps.log_pressure_shift_p,
            "%",
        ),
        ("drift of the speed", sweeps.drift_per_hour, sweeps.drift_per_hour_u, sweeps.drift_p, "% an hour"),
        (
            f"distance of the sweeps' own optima in pressure, {contrast}",
            sweeps.optimum_shift,
            sweeps.optimum_shift_u,
            None,
            "%",
        ),
    )
    for name, value, u, chance, unit in effects:
        if value is not None and u is not None:
            rows.append(
                SweepRow(name, raise_exponents(format_measured(100 * value, 100 * u)) + f" {unit}", _chance(chance))
            )
    if sweeps.repeat_scatter_ratio is not None:
        ratio = f"{sweeps.repeat_scatter_ratio:.2g} ({sweeps.repeat_freedom} degrees of freedom)"
        rows.append(SweepRow("scatter of repeats over their stated uncertainty", ratio, _chance(sweeps.repeat_p)))
    if sweeps.joint_p is not None:
        rows.append(SweepRow("all effects between sweeps together", NOTHING, _chance(sweeps.joint_p)))
    return rows


def _chance(p: float | None) -> str:
    if p is None:
        return NOTHING
    return "below 0.001" if p < 0.001 else f"{p:.2g}"


def _fitted(findings: Findings) -> list[str]:
    """Return the results of the fit in sentences: its optima, its check, needed coast-downs; or why there is none."""
    explanation = findings.explanation
    if explanation is None:
        return []
    return [line for line in explanation_lines(explanation) if not line.startswith("  ")]


def _unknown_rows(findings: Findings) -> list[UnknownRow]:
    fitted = None if findings.explanation is None else findings.explanation.fit
    if fitted is None:
        return []
    return [
        UnknownRow(
            one.unknown.label,
            raise_exponents(one.unknown.words),
            f"{raise_exponents(format_number(one.median, 3))} {one.unknown.unit}".strip(),
            " to ".join(raise_exponents(format_number(end, 3)) for end in one.interval),
            one.fixed_by_data,
            one.settled_by or NOTHING,
        )
        for one in fitted.marginals
    ]


def _plan_row(one: PlannedMeasurement) -> PlanRow:
    bits, after = one.information_bits, one.interval_after_pa
    return PlanRow(
        what=TITLES[one.kind],
        pressure=where(one),
        bits=NOTHING if bits is None else f"{raise_exponents(format_number(bits, 2, keep_zeros=True))} bits",
        time=duration(one.cost_s),
        interval=NOTHING if after is None else format_interval(*after, "Pa"),
        why=one.why,
    )


def _mechanism_row(claim: Claim) -> MechanismRow:
    sign = {True: "agrees", False: "contradicts", None: "not decided"}[claim.sign_ok]
    interval = NOTHING if claim.size_ratio_interval is None else format_interval(*claim.size_ratio_interval, digits=2)
    return MechanismRow(
        name=claim.name,
        verdict=claim.verdict,
        verdict_means=VERDICTS.get(claim.verdict, ""),
        sign=sign,
        ratio=NOTHING if claim.size_ratio is None else raise_exponents(format_number(claim.size_ratio, 2)),
        interval=" to ".join(raise_exponents(end) for end in interval.split(" to ")),
        why=claim.why,
    )


def _needed(findings: Findings) -> str:
    need = findings.need
    if need is None:
        return "Sizes are not compared: too few readings of a moving rotor are within the range of the gas response."
    low, high = (format_number(end, 2) for end in need.interval_n_m)
    pivot = "the gas and the stated friction of the pivot" if need.pivot_included else "the gas, without the pivot"
    return raise_exponents(
        f"Sizes are compared at the fastest reading, at {format_number(need.pressure_pa, 3)} Pa "
        f"(no. {reading_number(findings, need.line)}). The torque needed to keep the rotor turning there against "
        f"{pivot} is {format_number(need.torque_n_m, 2)} N m ({100 * need.level:g} % interval {low} to {high} N m). "
        "The ratios in the table are relative to it."
    )


def _bench_rows(findings: Findings) -> list[tuple[str, str]]:
    bench = findings.experiment.bench
    rotor, light, chamber = bench.rotor, bench.light, bench.chamber
    pairs = [
        ("gas", f"{bench.gas.gas.name} at {_of(bench.gas.temperature, 'K')}"),
        (
            "rotor",
            f"{rotor.vanes} vanes, {_mm(rotor.vane_width)} wide and {_mm(rotor.vane_height)} high, {_mm(rotor.arm)} "
            "from the axis",
        ),
        (
            "faces",
            f"absorptance {_of(rotor.dark_absorptance)} dark and {_of(rotor.bright_absorptance)} bright; leading face: "
            f"{rotor.leading_face}",
        ),
        (
            "light",
            f"{light.arrangement}, {_of(light.irradiance, 'W/m²')}" + (f", {light.source}" if light.source else ""),
        ),
        (
            "chamber",
            f"{_mm(chamber.width)} wide, {_mm(chamber.height)} high, envelope at "
            f"{_of(bench.envelope_temperature, 'K')}",
        ),
        ("tachometer", f"{bench.tachometer.marks} marks a turn"),
    ]
    about = bench.experiment
    return pairs + [
        (name, text)
        for name, text in (("place", about.place), ("people", about.people), ("notes", about.notes))
        if text
    ]


def _mm(measured: Measured) -> str:
    return format_measured(1e3 * measured.value, 1e3 * measured.u, "mm")


def _of(measured: Measured, unit: str = "") -> str:
    return format_measured(measured.value, measured.u, unit)
