"""Claims of studies of rotors whose physics is not that of the program, against the truth behind their readings.

Coverage of both optima and their errors over the stated standard deviation, false *sufficient* verdicts where another
drive gives a large share of the torque, and drives with a large share that were ruled out. The rotors are invented; see
`edgewind.virtual.invented_sweeps`.

EDGEWIND_CLAIMS sets the number of rotors, EDGEWIND_CLAIMS_FIRST the first seed. If EDGEWIND_CLAIMS_KEPT names a file,
each finished rotor is stored there, and rotors found there are not run again. Seeds 0 to 299, 20000 to 20299, 30000 to
30029 and 40000 to 40106 were seen while the program was made: errors and faults were mended with their results in view.
50000 to 50299 were run once, on an older generator, and
60000 to 60013 for a look. 60014 to 60313 were run before gauges and lengths erred as stated, 60314 to 60613 after; with
their results in view ruling out was made to ask for share and evidence. 60614 to 60689, and 60691, were run on that, as
were 60714 to 60830, the generator's drag in dense gas not mended yet; 60831 to 61130 after, its force of unequal
accommodation not mended yet; 61131 to 61346 after that, and 61131 to 61180 again on
the generator with a deviation of both gas forces and with the torques from outside that it claims. 61347 to 61355 and
61600 to 61601 were run before its law of the walls was mended; 61360 to 61546 and 61610 to 61687 after that,
once, with nothing changed in view of them. What is to confirm a later change takes others.
"""

from __future__ import annotations

import json
import os
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
from measured import row

from edgewind.evidence import find, find_why
from edgewind.runner import open_runner
from edgewind.signals import read_experiment
from edgewind.virtual.hidden_rotor import BenchConditions
from edgewind.virtual.invented_sweeps import invented_sweep

COUNT = int(os.environ.get("EDGEWIND_CLAIMS", "300"))
FIRST = int(os.environ.get("EDGEWIND_CLAIMS_FIRST", "61800"))
KEPT = os.environ.get("EDGEWIND_CLAIMS_KEPT", "")
# Names of drives in the study, by those of the generator.
NAMES = {
    "thermal force": "thermal force of the gas",
    "unequal accommodation": "unequal accommodation",
    "light": "light pressure",
    "foreign": "constant torque from outside",
}
_FOREIGN_SHARE = 0.15
_UNITS = {"rotors": "", "median": "s"}
_WIDTH = 3.29  # of a normal interval at 90 %, in standard deviations


def study_one(seed: int) -> dict[str, Any]:
    """Invent a rotor, study its readings, and compare the claims with the truth."""
    with tempfile.TemporaryDirectory() as folder:
        rotor, truth = invented_sweep(Path(folder) / "rotor", np.random.default_rng([seed, 300]))
        began = time.perf_counter()
        experiment = read_experiment(Path(folder) / "rotor")
        found = find_why(find(experiment))
        seconds = time.perf_counter() - began
    explanation = found.explanation
    assert explanation is not None
    used = experiment.used["pressure_pa"]
    around = BenchConditions(np.geomspace(used.min(), used.max(), 600))
    parts = rotor.torques(*rotor.faces(around), around)
    net = sum(parts.values())
    # Greatest in the direction in which the rotor is driven over most of the sweep, as in the fit; an external
    # outside that turns it back at an end is no optimum.
    sense = np.sign(net.sum())
    net, parts = sense * net, {drive: sense * part for drive, part in parts.items()}
    torque_pa = float(around.pressure_pa[int(np.argmax(net))])
    verdicts = {claim.name: claim.verdict for claim in found.mechanisms}
    shares = {claim.name: claim.size_ratio_interval for claim in found.mechanisms}
    there = int(np.argmin(np.abs(np.log(around.pressure_pa / truth.speed_optimum_pa))))
    told = {
        "seed": seed, "seconds": seconds, "no_fit": explanation.no_fit, "main": truth.main_drive,
        "foreign_share": truth.foreign_share, "verdicts": verdicts, "tensions": [t.about for t in found.tensions],
        "why": [t.why for t in found.tensions], "speed_pa": truth.speed_optimum_pa, "torque_pa": torque_pa,
        "shares": shares, "true_shares": {NAMES[drive]: part[there] / net[there] for drive, part in parts.items()},
        "inside": bool(used.min() * 1.1 < torque_pa < used.max() / 1.1),
    }  # fmt: skip
    for name, optimum in (
        ("curve", found.optimum), ("fit", explanation.speed_optimum), ("force", explanation.force_optimum)
    ):  # fmt: skip
        told[name] = None if optimum is None or not optimum.found else optimum.interval_pa
        told[f"{name}_pa"] = None if optimum is None else optimum.pressure_pa
    fitted = explanation.fit
    if fitted is not None:
        told |= {"p": fitted.p_value, "p_stated": fitted.p_stated, "settled": fitted.settled, "calls": fitted.calls}
        told["r_hat"] = fitted.r_hat
        told["evidence"] = {name: one.log_evidence for name, one in explanation.fits.items()} | explanation.laplace
    return told


def summarise(results: list[dict[str, Any]]) -> dict[str, float]:
    """Return shares in per cent, and counts."""

    def held(key: str, truth: str, *, or_tension: bool) -> list[bool]:
        return [
            one[key][0] <= one[truth] <= one[key][1] or (or_tension and bool(one["tensions"]))
            for one in results
            if one[key] is not None
        ]

    def percent(values: list[bool]) -> float:
        return 100 * float(np.mean(values)) if values else float("nan")

    thermal = [one["verdicts"][NAMES["thermal force"]] for one in results]
    foreign = [one["foreign_share"] > _FOREIGN_SHARE for one in results]
    main = [one["verdicts"].get(NAMES[one["main"]], "") for one in results]
    told = {"rotors": len(results), "fitted": percent([not one["no_fit"] for one in results])}
    for key, truth in (("curve", "speed_pa"), ("fit", "speed_pa"), ("force", "torque_pa")):
        told[f"{key} found"] = percent([one[key] is not None for one in results])
        told[f"{key} holds the truth"] = percent(held(key, truth, or_tension=False))
        told[f"{key} holds the truth or a tension is raised"] = percent(held(key, truth, or_tension=True))
        told[f"{key}, errors over their stated standard deviation"] = _errors(results, key, truth)
    return told | {
        "fits that did not converge": percent([not one.get("settled", True) for one in results]),
        "a tension is raised": percent([bool(one["tensions"]) for one in results]),
        "sufficient, of all": percent([verdict == "sufficient" for verdict in thermal]),
        "sufficient, of those with a foreign share above 15 %": percent(
            [verdict == "sufficient" for verdict, other in zip(thermal, foreign, strict=True) if other]
        ),
        "with a foreign share above 15 %": percent(foreign),
        "thermal force compatible or sufficient": percent([v in ("compatible", "sufficient") for v in thermal]),
        "true main drive ruled out": percent([verdict == "ruled out" for verdict in main]),
        # It means as the main drive, so that less than 30 % of the torque does not contradict it.
        "share of drives that were ruled out above 15 %": percent([share > 0.15 for share in _ruled_out(results)]),
        "share of drives that were ruled out above 30 %": percent([share > 0.3 for share in _ruled_out(results)]),
        "median seconds": float(np.median([one["seconds"] for one in results])),
    }


def _errors(results: list[dict[str, Any]], key: str, truth: str) -> float:
    """Return the root mean square error of ln(pressure) over the standard deviation by the width of the interval."""
    known = [one for one in results if one[key] is not None]
    apart = np.log([one[truth] / one[f"{key}_pa"] for one in known])
    return float(np.sqrt(np.mean((apart / (np.log([one[key][1] / one[key][0] for one in known]) / _WIDTH)) ** 2)))


def _ruled_out(results: list[dict[str, Any]]) -> list[float]:
    """Return the true share of the torque, in the direction of rotation, of every drive that was ruled out."""
    return [
        share
        for one in results
        for name, share in one["true_shares"].items()
        if one["verdicts"].get(name) == "ruled out"
    ]


def _kept() -> list[dict[str, Any]]:
    """Return the rotors stored by an earlier, interrupted run."""
    if not KEPT or not Path(KEPT).exists():
        return []
    return [json.loads(line) for line in Path(KEPT).read_text(encoding="utf-8").splitlines()]


def _keep(result: dict[str, Any]) -> None:
    if KEPT:
        with Path(KEPT).open("a", encoding="utf-8") as file:
            file.write(json.dumps(result, default=lambda value: value.item()) + "\n")


def run(full: bool) -> list[dict[str, Any]]:
    """Return the rows of this benchmark; EDGEWIND_CLAIMS sets the number of rotors."""
    seeds = range(FIRST, FIRST + (COUNT if full else 8))
    known = {one["seed"]: one for one in _kept()}
    left = [seed for seed in seeds if seed not in known]
    with open_runner() as runner:
        for one in runner.map(study_one, [(seed,) for seed in left], on_result=lambda _, one: _keep(one)):
            known[one["seed"]] = one
    results = [known[seed] for seed in seeds]
    targets = {
        "fit holds the truth or a tension is raised": "84 to 96",
        "force holds the truth or a tension is raised": "84 to 96",
        "sufficient, of those with a foreign share above 15 %": "below 3", "true main drive ruled out": "0",
    }  # fmt: skip
    return [
        row(
            name,
            value,
            "s" if "seconds" in name else "" if name == "rotors" or "errors" in name else "%",
            targets.get(name, ""),
        )
        for name, value in summarise(results).items()
    ]
