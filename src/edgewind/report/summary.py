"""A study as one JSON document with stable keys: SI, the unit in the key, null where there is no number."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from edgewind.evidence import Findings, FittedOptimum, Optimum, SizeComparison
from edgewind.evidence.results import coast_down_result, fit_result
from edgewind.plan import Plan, time_plan_result
from edgewind.report.planned_time import time_of
from edgewind.serialize import to_plain
from edgewind.signals.columns import COLUMNS

if TYPE_CHECKING:
    import pandas as pd

# The optimum of the force needs drive and drag separately, which a fit gives.
FORCE_NOT_SEPARATED = "drive and drag not separated"


def study_summary(
    findings: Sequence[Findings],
    comparison: SizeComparison | None,
    report: str | None,
    plans: Sequence[Plan | None] = (),
) -> dict[str, Any]:
    """Return the study as plain data for JSON.

    One experiment gives its keys at the top; several stand in a list under ``experiments``, with ``comparison``.

    Parameters
    ----------
    findings : sequence of Findings
        One for each experiment.
    comparison : SizeComparison or None
        The two rotors compared.
    report : str or None
        Path of the report.
    plans : sequence of Plan
        Plans of the next measurements, one for each experiment, or none.

    Returns
    -------
    report : str or None
        File of the report; null where none was written.
    experiments : list of _experiment
        One for each experiment, where there are several.
    comparison : SizeComparison or None
        The first two rotors compared, where there are several experiments.
    """
    planned = plans or [None] * len(findings)
    experiments = [_experiment(found, plan) for found, plan in zip(findings, planned, strict=True)]
    if len(experiments) == 1:
        return experiments[0] | {"report": report}
    compared = None if comparison is None else to_plain(vars(comparison))
    return {"experiments": experiments, "comparison": compared, "report": report}


def _experiment(found: Findings, plan: Plan | None) -> dict[str, Any]:
    """Return one experiment as plain data.

    Returns
    -------
    name : str
        Name of the experiment.
    title : str
        Title of the experiment in `bench.toml`.
    answer : list of str
        The answer in plain sentences.
    sentences : edgewind.evidence.sentences.Sentences or None
        The answer in three sentences; null without a fit.
    tensions : list of edgewind.evidence.tensions.Tension
        Contradictions within the study, each with an action that would resolve it; empty without any.
    tests : list of edgewind.evidence.deliberate_results.DeliberateTest
        Tests made on purpose: prediction of each mechanism, and observation.
    tests_together : edgewind.evidence.deliberate_results.TestWeights or None
        Combined weights of all tests.
    optimum : _optimum
        The pressure at which the rotor turns fastest.
    force_optimum : _force_optimum
        The pressure at which the torque of all drives is greatest.
    fit : edgewind.evidence.results.FitResult or None
        The unknowns of the rotor after the fit of all drives; null without a fit.
    coast_downs : list of edgewind.evidence.results.CoastDownResult
        Drag and friction from each coast-down, used or not.
    scaling : list of edgewind.evidence.scaling.ScalingResult
        Change of the optima of the fit with the width of the vane; empty without a fit, and where tests made on
        purpose rule out its drives.
    knudsen_at_optimum : float or None
        Mean free path over the width of the vane at the optimum, median.
    knudsen_at_optimum_interval : tuple of float or None
        Interval of that Knudsen number at the level of the optimum.
    mean_free_path_at_optimum_m : float or None
        Mean free path at the optimum, m.
    readings : list of readings_records
        Every reading, with its evaluation.
    torque_needed : edgewind.evidence.claims.TorqueNeed or None
        The torque needed, denominator of the size ratios of the mechanisms; null with too few readings.
    mechanisms : list of edgewind.evidence.Claim
        Every candidate mechanism, judged.
    next : list of edgewind.plan.PlannedMeasurement
        Proposed measurements, in order of their value for the time.
    next_stop : edgewind.plan.Stop or None
        Why no further reading is worth its time; null if one is.
    time : edgewind.plan.TimePlanResult or None
        Time on the bench for the pressures of the study; null without `[vacuum]` in `bench.toml`.
    inputs : list of dict
        Every file that was read.
    inputs[].path, inputs[].sha256 : as in edgewind.signals.experiment.InputFile
    inputs[].bytes : int
        Size of the file.
    """
    knudsen = found.knudsen
    return {
        "name": found.experiment.name,
        "title": found.experiment.bench.experiment.title,
        "answer": list(found.answer),
        "sentences": None if found.sentences is None else found.sentences.model_dump(),
        "tensions": [one.model_dump() for one in found.tensions],
        "tests": [test.model_dump(mode="json") for test in found.tests],
        "tests_together": None if found.test_weights is None else found.test_weights.model_dump(mode="json"),
        "optimum": _optimum(found.optimum),
        "force_optimum": _force_optimum(found),
        "fit": to_plain(fit_result(found.explanation)),
        "coast_downs": to_plain([coast_down_result(coast) for coast in found.coasts]),
        "scaling": [] if found.explanation is None else to_plain([law.to_result() for law in found.explanation.laws]),
        "knudsen_at_optimum": None if knudsen is None else knudsen.value,
        "knudsen_at_optimum_interval": None if knudsen is None else list(knudsen.interval),
        "mean_free_path_at_optimum_m": None if knudsen is None else knudsen.mean_free_path_m,
        "readings": readings_records(found.experiment.readings),
        "torque_needed": None if found.need is None else found.need.model_dump(mode="json"),
        "mechanisms": to_plain(found.mechanisms),
        "next": [] if plan is None else [to_plain(one) for one in plan.proposals],
        "next_stop": None if plan is None else to_plain(plan.stop),
        "time": _time(found),
        "inputs": [{"path": file.path, "sha256": file.sha256, "bytes": file.size} for file in found.experiment.inputs],
    }  # fmt: skip


def readings_records(readings: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the table of readings as plain rows, SI, null for missing numbers.

    Returns
    -------
    line, time, time_s, sweep, gauge_v : as in edgewind.signals.columns.COLUMNS
    pressure_pa, pressure_u_pa, log_pressure_u, log_pressure_u_common : as in edgewind.signals.columns.COLUMNS
    pressure_flag, trace, speed_rad_s, speed_u_rad_s, leading_face : as in edgewind.signals.columns.COLUMNS
    turns, turns_time_s, speed_method, speed_flags : as in edgewind.signals.columns.COLUMNS
    lamp, lamp_share, lamp_side, envelope_k, gas, changed, condition : as in edgewind.signals.columns.COLUMNS
    note, exclude, usable, used, why_not : as in edgewind.signals.columns.COLUMNS
    """
    table = readings[[column.name for column in COLUMNS]]
    return [dict(to_plain({str(name): value for name, value in row.items()})) for row in table.to_dict("records")]


def _optimum(optimum: Optimum) -> dict[str, Any]:
    """Return the optimum as plain data.

    Returns
    -------
    found, pressure_pa, interval_pa, level, reason, speed_rad_s, speed_u_rad_s, warnings, sweeps : as in Optimum
    """
    keys = ("found", "pressure_pa", "interval_pa", "level", "reason", "speed_rad_s", "speed_u_rad_s", "warnings")
    sweeps = optimum.sweeps
    told = {key: getattr(optimum, key) for key in keys} | {"sweeps": None if sweeps is None else vars(sweeps)}
    return dict(to_plain(told))


def _force_optimum(found: Findings) -> dict[str, Any]:
    """Return the optimum of the torque as plain data.

    Returns
    -------
    found, pressure_pa, interval_pa, level, reason, flat_pa : as in FittedOptimum
    torque_n_m : float or None
        Greatest torque of all drives, N m, median over the posterior.
    """
    fitted = None if found.explanation is None else found.explanation.force_optimum
    if fitted is None:
        fitted = FittedOptimum(found=False, level=found.optimum.level, reason=FORCE_NOT_SEPARATED)
    values = fitted.model_dump(exclude={"value"})
    return dict(to_plain(values | {"torque_n_m": fitted.value}))


def _time(found: Findings) -> dict[str, Any] | None:
    """Return the plan of the time on the bench; None without ``[vacuum]``."""
    plan = time_of(found)
    return None if plan is None else dict(to_plain(time_plan_result(plan)))
