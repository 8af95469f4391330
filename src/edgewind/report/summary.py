"""A study as one JSON document with stable keys: SI, the unit in the key, null where there is no number."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import pandas as pd

from edgewind.evidence import Claim, Findings, Optimum, SizeComparison
from edgewind.plan import Plan
from edgewind.report.planned_time import time_of

_READING_KEYS = (
    "line", "time", "pressure_pa", "pressure_u_pa", "pressure_flag", "speed_rad_s", "speed_u_rad_s", "speed_flags",
    "speed_method", "lamp", "sweep", "envelope_k", "note", "used", "why_not",
)  # fmt: skip
# The force has its own optimum; finding it takes drive and drag apart, which a fit does.
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
        Where the report is.
    plans : sequence of Plan
        What to measure next, one for each experiment, or none.
    """
    planned = plans or [None] * len(findings)
    experiments = [_experiment(found, plan) for found, plan in zip(findings, planned, strict=True)]
    if len(experiments) == 1:
        return experiments[0] | {"report": report}
    compared = None if comparison is None else _plain(vars(comparison))
    return {"experiments": experiments, "comparison": compared, "report": report}


def _experiment(found: Findings, plan: Plan | None) -> dict[str, Any]:
    knudsen = found.knudsen
    return {
        "name": found.experiment.name,
        "title": found.experiment.bench.experiment.title,
        "answer": list(found.answer),
        "optimum": _optimum(found.optimum),
        "force_optimum": _force_optimum(found),
        "fit": _fit(found),
        "coast_downs": _coast_downs(found),
        "scaling": _scaling(found),
        "knudsen_at_optimum": None if knudsen is None else knudsen.value,
        "knudsen_at_optimum_interval": None if knudsen is None else list(knudsen.interval),
        "mean_free_path_at_optimum_m": None if knudsen is None else knudsen.mean_free_path_m,
        "readings": readings_records(found.experiment.readings),
        "mechanisms": [_claim(claim) for claim in found.mechanisms],
        "next": [] if plan is None else [_plain(one.as_plain()) for one in plan.proposals],
        "next_stop": None if plan is None else plan.as_plain()["stop"],
        "time": _time(found),
        "inputs": [{"path": file.path, "sha256": file.sha256, "bytes": file.size} for file in found.experiment.inputs],
    }  # fmt: skip


def readings_records(readings: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the table of readings as plain rows, SI, null for missing numbers."""
    return [_plain_dict({key: row[key] for key in _READING_KEYS}) for row in readings.to_dict("records")]


def _optimum(optimum: Optimum) -> dict[str, Any]:
    keys = ("found", "pressure_pa", "interval_pa", "level", "reason", "speed_rad_s", "speed_u_rad_s", "warnings")
    sweeps = optimum.sweeps
    told = {key: getattr(optimum, key) for key in keys} | {"sweeps": None if sweeps is None else vars(sweeps)}
    return _plain_dict(told)


def _force_optimum(found: Findings) -> dict[str, Any]:
    fitted = None if found.explanation is None else found.explanation.force_optimum
    if fitted is None:
        told = {"found": False, "pressure_pa": None, "interval_pa": None, "level": found.optimum.level}
        return told | {"reason": FORCE_NOT_SEPARATED}
    values = {key: value for key, value in vars(fitted).items() if key != "value"}
    return _plain_dict(values | {"torque_n_m": fitted.value})


def _fit(found: Findings) -> dict[str, Any] | None:
    """What is known of the unknowns after the fit of all drives; null without one."""
    fitted = None if found.explanation is None else found.explanation.fit
    if fitted is None:
        return None
    unknowns = [
        {
            "name": one.unknown.name, "label": one.unknown.label, "unit": one.unknown.unit, "median": one.median,
            "interval": one.interval, "prior": one.unknown.words, "width_ratio": one.width_ratio,
            "fixed_by_data": one.fixed_by_data, "settled_by": one.settled_by,
        }
        for one in fitted.marginals
    ]  # fmt: skip
    keys = ("log_evidence", "log_evidence_u", "p_value", "level")
    return _plain_dict({"unknowns": unknowns} | {key: getattr(fitted, key) for key in keys})


def _scaling(found: Findings) -> list[dict[str, Any]]:
    """How the optima of the fit move with the width of the vane; empty without a fit."""
    laws = () if found.explanation is None else found.explanation.laws
    return [_plain_dict(law.as_plain()) for law in laws]


def _coast_downs(found: Findings) -> list[dict[str, Any]]:
    names = ("line", "pressure_pa", "drag_rate", "drag_rate_u", "dry_rate", "dry_rate_u", "correlation", "flags")
    units = {"drag_rate": "drag_rate_1_s", "drag_rate_u": "drag_rate_u_1_s", "dry_rate": "dry_rate_rad_s2"}
    units |= {"dry_rate_u": "dry_rate_u_rad_s2"}
    coasts = () if found.explanation is None else found.explanation.coasts
    return [_plain_dict({units.get(name, name): getattr(coast, name) for name in names}) for coast in coasts]


def _time(found: Findings) -> dict[str, Any] | None:
    """Plan of the time on the bench; null without ``[vacuum]``."""
    plan = time_of(found)
    return None if plan is None else _plain_dict(plan.as_plain())


def _claim(claim: Claim) -> dict[str, Any]:
    return _plain_dict(vars(claim))


def _plain_dict(values: dict[str, Any]) -> dict[str, Any]:
    return {str(key): _plain(item) for key, item in values.items()}


def _plain(value: Any) -> Any:
    """Return `value` as JSON can hold it."""
    if isinstance(value, dict):
        return _plain_dict(value)
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
