"""Claims about rotors that obey laws written by hand (tests/support/outside_laws.py), none the model of the program.

For each law: how often the program calls a cause sufficient that is not the cause, rules the cause out, claims an
optimum that is not there, or prints a prediction that the law contradicts; and how often it finds the cause at least
compatible where the law is that of a candidate.

EDGEWIND_OUTSIDE sets the rotors per law, EDGEWIND_OUTSIDE_LAWS names laws by commas. If EDGEWIND_OUTSIDE_KEPT names a
file, each finished rotor is stored there, and rotors found there are not run again.
"""

from __future__ import annotations

import json
import os
import re
import tempfile
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from measured import Row, row
from support.outside_laws import FOREIGN, LAWS, PIVOT, Array, Law, Rotor, true_optima, write

from edgewind.evidence import find, find_why
from edgewind.evidence.findings import Findings
from edgewind.runner import open_runner
from edgewind.signals import read_experiment

COUNT = int(os.environ.get("EDGEWIND_OUTSIDE", "10"))
CHOSEN = [name for name in os.environ.get("EDGEWIND_OUTSIDE_LAWS", "").split(",") if name] or list(LAWS)
KEPT = os.environ.get("EDGEWIND_OUTSIDE_KEPT", "")
_MOVES = re.compile(
    r"fastest at about ([\d.e-]+) Pa(?: \([^)]*\))? instead of ([\d.e-]+) Pa, "
    r"at about ([\d.e-]+) instead of ([\d.e-]+)"
)
# An effect of larger vanes is contradicted if pressure or speed is off by more than this factor.
_OFF = 1.7

Result = dict[str, Any]


def study_one(name: str, seed: int) -> Result:
    """Write the readings of a law, study them, and return what was said and what is true."""
    with tempfile.TemporaryDirectory() as folder:
        rotor, p = write(Path(folder) / "rotor", name, np.random.default_rng([seed, list(LAWS).index(name), 13]))
        found = find_why(find(read_experiment(Path(folder) / "rotor")))
    return {"law": name, "seed": seed, **said(found), **truth(LAWS[name], rotor, p)}


def said(found: Findings) -> Result:
    """Return what a study says."""
    explanation, sentences = found.explanation, found.sentences
    assert explanation is not None
    assert sentences is not None
    by_fit, fitted = explanation.speed_optimum, explanation.fit
    return {
        "verdicts": {claim.name: claim.verdict for claim in found.mechanisms},
        "signs": {claim.name: claim.sign_ok for claim in found.mechanisms},
        "curve_pa": found.optimum.interval_pa if found.optimum.found else None,
        "fit_pa": by_fit.interval_pa if by_fit is not None and by_fit.found else None,
        "tensions": [one.about for one in found.tensions], "no_fit": explanation.no_fit,
        "p": None if fitted is None else [fitted.p_value, fitted.p_stated],
        "why": sentences.why_it_turns, "larger": sentences.a_larger_one, "cold": sentences.in_the_cold,
        "answer": list(found.answer),
    }  # fmt: skip


def truth(law: Law, rotor: Rotor, p: Array) -> Result:
    """Return what is true of a law: its optima, and how larger vanes would move the first."""
    tops = true_optima(law, rotor, p)
    larger = []
    for factor in (2.0, 1.5, 1.25):
        grown = replace(rotor, width_m=factor * rotor.width_m)
        after = true_optima(law, grown, np.array([p.min() / 3, p.max()]))
        if len(tops) == len(after) == 1:
            speeds = [
                float(np.abs(law.speed(r, np.array([at[0], at[0]])))[0]) for r, at in ((rotor, tops), (grown, after))
            ]
            larger.append([after[0] / tops[0], speeds[1] / speeds[0]])
    return {"optima_pa": tops, "larger_truth": larger}


def faults(one: Result) -> dict[str, bool]:
    """Return which claims of a study the law contradicts."""
    law, verdicts = LAWS[one["law"]], one["verdicts"]
    shown = [one["curve_pa"], one["fit_pa"]]
    # the common error of the gauge is 5 %, and a pressure that is not the gauge's is no fault of the curve
    inside = [any(low / 1.1 <= top <= 1.1 * high for top in one["optima_pa"]) for low, high in filter(None, shown)]
    moved = _MOVES.search(one["larger"])
    off = False
    if moved:
        at, was, speed, before = (float(number) for number in moved.groups())
        off = not any(
            max(at / was / place, place * was / at) < _OFF and max(speed / before / pace, pace * before / speed) < _OFF
            for place, pace in one["larger_truth"]
        )
    none = not one["optima_pa"]
    allowed = {law.drive, PIVOT} if law.drive == FOREIGN else {law.drive}
    return {
        "called sufficient, and is not the cause": any(
            verdict == "sufficient" and name not in allowed for name, verdict in verdicts.items()
        ),
        "called contributing, and nothing of it is there": bool(law.drive) and any(
            verdict == "contributes" and name not in allowed for name, verdict in verdicts.items()
        ),
        "the cause ruled out": bool(law.drive) and verdicts[law.drive] == "ruled out",
        "an optimum claimed by the curve that is not there": shown[0] is not None and none,
        "an optimum claimed by the fit that is not there": shown[1] is not None and none and not one["tensions"],
        "the optimum outside the interval, and no tension": not none and not all(inside) and not one["tensions"],
        "said to reverse in the cold, and does not": law.reverses is False
        and "it would reverse for a while" in one["cold"],
        "said not to reverse in the cold, and does": law.reverses is True and "need not reverse" in one["cold"],
        "effect of larger vanes contradicted": off,
    }  # fmt: skip


def found_cause(one: Result) -> bool:
    """Return whether the cause is at least compatible."""
    return one["verdicts"].get(LAWS[one["law"]].drive) in ("sufficient", "compatible")


def summarise(results: Iterable[Result]) -> list[Row]:
    """Return one row for each law, with the number of studies with a fault, and one for each fault that occurs."""
    results = list(results)
    rows = []
    for name in dict.fromkeys(one["law"] for one in results):
        of_it = [one for one in results if one["law"] == name]
        every = f"of {len(of_it)}"
        rows.append(
            row(f"{name}: contradicted by the law", _count(of_it, lambda one: any(faults(one).values())), every, 0)
        )
        for fault in faults(of_it[0]):
            count = _count(of_it, lambda one, fault=fault: faults(one)[fault])  # type: ignore[misc]
            if count:
                rows.append(row(f"  {fault}", count, every, "0"))
        if LAWS[name].drive:
            rows.append(row("  the cause at least compatible", _count(of_it, found_cause), every))
        rows.append(row("  a tension is raised", _count(of_it, lambda one: bool(one["tensions"])), every))
    return rows


def _count(results: list[Result], holds: Callable[[Result], bool]) -> int:
    return sum(holds(one) for one in results)


def _kept() -> list[Result]:
    """Return the rotors stored by an earlier, interrupted run."""
    if not KEPT or not Path(KEPT).exists():
        return []
    return [json.loads(line) for line in Path(KEPT).read_text(encoding="utf-8").splitlines()]


def _keep(result: Result) -> None:
    if KEPT:
        with Path(KEPT).open("a", encoding="utf-8") as file:
            file.write(json.dumps(result, default=lambda value: value.item()) + "\n")


def run(full: bool) -> list[Row]:
    """Return the rows of this benchmark; EDGEWIND_OUTSIDE sets the number of rotors of each law."""
    wanted = [(name, seed) for seed in range(COUNT if full else 1) for name in CHOSEN]
    known = {(one["law"], one["seed"]): one for one in _kept()}
    with open_runner() as runner:
        left = [piece for piece in wanted if piece not in known]
        for one in runner.map(study_one, left, on_result=lambda _, one: _keep(one)):
            known[one["law"], one["seed"]] = one
    return summarise(known[piece] for piece in sorted(wanted, key=lambda piece: CHOSEN.index(piece[0])))
