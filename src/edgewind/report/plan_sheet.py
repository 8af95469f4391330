"""The plan of a scaling study as a page to print, with its figures, text and JSON."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from edgewind.errors import InputError
from edgewind.formatting import format_number
from edgewind.plan.scaling_result import scaling_result
from edgewind.plan.scaling_text import answer_sentences, claim_name, millimetres, run_order, size_rows, study_lines
from edgewind.report.figures.claims import CLAIMS
from edgewind.report.illustrate import illustrate
from edgewind.report.page import page_environment
from edgewind.serialize import to_plain

if TYPE_CHECKING:
    from edgewind.plan.scaling_study import ScalingStudy

SHEET_FILE, TEXT_FILE, JSON_FILE = "plan.html", "plan.txt", "plan.json"


def write_plan_sheet(study: ScalingStudy, out: Path, *, command: str) -> Path:
    """Write the plan into a new or empty folder and return the page; the same plan gives the same bytes.

    Parameters
    ----------
    study : ScalingStudy
        The plan.
    out : Path
        The folder. It receives ``plan.html``, ``plan.txt``, ``plan.json`` and ``figures/``.
    command : str
        Command that makes it again.

    Raises
    ------
    InputError
        The folder is not empty, or cannot be created.
    """
    if out.exists() and not (out.is_dir() and not any(out.iterdir())):
        raise InputError("this path already exists", file=out, fix="name a folder that does not exist yet with --out")
    units = study.bench.shown
    try:
        out.mkdir(exist_ok=True)
        figure = illustrate(CLAIMS, study, "", out, units)
        best, result = study.best, scaling_result(study)
        ends = [[run.low, run.high] for run in run_order(study)]
        ends = units.table([["from", "to"], ["Pa", "Pa"], *ends])[2:]
        runs = [replace(run, low=low, high=high) for run, (low, high) in zip(run_order(study), ends, strict=True)]
        claims = [claim_name(study, name) for name in study.exponents]
        page = page_environment(units).get_template("plan_sheet.html").render(
            plan=result,
            title=study.bench.experiment.title,
            best=best,
            answer=answer_sentences(study),
            figure=figure,
            sizes=size_rows(study)[2:],
            claims=claims,
            power=[] if best is None else _power_rows(study),
            trade=_trade_rows(study),
            runs=runs,
            command=command,
        )  # fmt: skip
        (out / SHEET_FILE).write_bytes(page.encode())
        (out / TEXT_FILE).write_bytes(("\n".join(study_lines(study)) + "\n").encode())
        text = json.dumps(to_plain(result), indent=1, ensure_ascii=False, allow_nan=False) + "\n"
        (out / JSON_FILE).write_bytes(text.encode())
    except OSError as error:
        raise InputError(f"cannot be written: {error.strerror}", file=out) from error
    return out / SHEET_FILE


def _power_rows(study: ScalingStudy) -> list[tuple[str, list[str]]]:
    best = study.best
    assert best is not None
    return [
        (
            claim_name(study, truth),
            ["–" if rival == truth else f"{100 * best.power[truth][rival]:.0f}" for rival in study.exponents],
        )
        for truth in study.exponents
    ]


def _trade_rows(study: ScalingStudy) -> list[list[str]]:
    return [
        [
            str(one.design.rotors * len(one.design.widths_m)),
            f"{one.design.rotors} each of {millimetres(one.design.widths_m)}",
            str(one.design.sweeps), format_number(one.design.hours, 3), f"{one.exponent_u:.2f}",
            f"{100 * one.least_power:.0f}",
        ]
        for one in study.others
    ]  # fmt: skip
