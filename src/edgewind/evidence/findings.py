"""Findings of a study on one experiment, from readings to claims."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from edgewind.evidence.claims import Claim, TorqueNeed
from edgewind.evidence.coastdown import CoastDown, coast_downs
from edgewind.evidence.deliberate_results import DeliberateTest, TestWeights
from edgewind.evidence.deliberate_weights import AGAINST_TESTS, judge_with_tests, tensions_of_tests
from edgewind.evidence.explain import Explanation, Progress, explain, explain_all
from edgewind.evidence.fit import STEPS
from edgewind.evidence.knudsen import KnudsenAtOptimum, knudsen_at_optimum
from edgewind.evidence.mechanism_case import case_of
from edgewind.evidence.mechanisms import MECHANISMS
from edgewind.evidence.optimum import REASONS, Optimum, find_optimum
from edgewind.evidence.run_data import FitRun
from edgewind.evidence.sentences import Sentences, sentences_of
from edgewind.evidence.sweep_data import SweepData
from edgewind.evidence.tensions import Tension, tensions_of_readings
from edgewind.formatting import RPM_PER_RAD_S, format_interval, format_number, raise_exponents
from edgewind.runner import Runner
from edgewind.signals import Experiment
from edgewind.units import from_si

COAST_AS_RUN = "coast-down of warm vanes, used by the fit as a run from the moment the lamp was switched off"
# Tests made on purpose that the answer says one by one.
MOST_TESTS_SAID = 3


@dataclass(frozen=True)
class BudgetLine:
    """One line of the pressure's uncertainty budget at a stated reading, as a fraction of the pressure."""

    name: str
    relative_u: float
    common: bool


@dataclass(frozen=True)
class Findings:
    """Findings of a study on one experiment.

    Attributes
    ----------
    experiment : Experiment
        The experiment with its readings.
    optimum : Optimum
        The pressure of greatest speed, or why there is none.
    knudsen : KnudsenAtOptimum or None
        The Knudsen number there.
    mechanisms : tuple of Claim
        Candidate explanations, judged.
    need : TorqueNeed or None
        The torque needed, to which the sizes of the mechanisms refer.
    budget : tuple of BudgetLine
        Uncertainty budget of the pressure at the fastest reading.
    coasts : tuple of CoastDown
        Coast-downs, used or not.
    tensions : tuple of Tension
        Contradictions, the gravest first.
    sentences : Sentences or None
        The answer in three sentences; None without a fit.
    explanation : Explanation or None
        Fits and coast-downs, where they were made; the mechanisms are then judged on them.
    budget_line : int or None
        Line of `readings.csv` of that reading.
    tests : tuple of DeliberateTest
        Tests made on purpose, judged.
    test_weights : TestWeights or None
        Their combined weights.
    """

    experiment: Experiment
    optimum: Optimum
    knudsen: KnudsenAtOptimum | None
    mechanisms: tuple[Claim, ...]
    budget: tuple[BudgetLine, ...]
    budget_line: int | None
    explanation: Explanation | None = None
    need: TorqueNeed | None = None
    coasts: tuple[CoastDown, ...] = ()
    tensions: tuple[Tension, ...] = ()
    sentences: Sentences | None = None
    tests: tuple[DeliberateTest, ...] = ()
    test_weights: TestWeights | None = None

    @property
    def answer(self) -> tuple[str, ...]:
        """The answer in plain sentences: the optimum, its Knudsen number, the mechanisms, and tests made on purpose."""
        said = (_optimum_sentence(self), _knudsen_sentence(self))
        return (*(raise_exponents(one) for one in said), _mechanism_sentence(self), *_test_sentences(self))

    @property
    def runs(self) -> tuple[FitRun, ...]:
        """Runs through a change, and coast-downs followed as runs, that the fit includes."""
        return () if self.explanation is None else self.explanation.runs

    def other_use(self, line: int) -> str:
        """Return the use of a reading outside the curve: a coast-down or a test; empty if it is unused."""
        for coast in self.coasts:
            if coast.line == line and coast.usable:
                return "coast-down, used for drag and friction"
        for run in self.runs:
            if run.line == line and run.kind == "coast-down":
                return COAST_AS_RUN
        for test in self.tests:
            if line in test.lines:
                return f"used as a test made on purpose: {test.condition}"
        table = self.experiment.readings
        for changed in table["changed"][(table["line"] == line) & table["usable"]]:
            if changed:
                return f"shown but not used: no mechanism predicts the effect of '{changed}'"
        return ""


def find(experiment: Experiment) -> Findings:
    """Draw the findings from an experiment; the same experiment gives the same findings."""
    bench, used = experiment.bench, experiment.used
    level, seed = bench.study.level, bench.study.seed
    optimum = find_optimum(sweep_data(used), level=level, seed=seed)
    budget, line = _budget_at_fastest(experiment)
    coasts = coast_downs(experiment)
    case = case_of(bench, experiment.readings, level=level, seed=seed, coasts=coasts)
    claims = tuple(judge(case) for judge in MECHANISMS.values())
    judged = judge_with_tests(claims, experiment, case.draws if len(used) else None)
    return Findings(
        experiment=experiment,
        optimum=optimum,
        knudsen=knudsen_at_optimum(optimum, bench, seed=seed),
        mechanisms=judged.claims,
        budget=budget,
        budget_line=line,
        need=case.need,
        coasts=coasts,
        tensions=(*tensions_of_tests(claims, judged.weights), *tensions_of_readings(used, bench)),
        tests=judged.tests,
        test_weights=judged.weights,
    )


def find_why(found: Findings, *, steps: int = STEPS, progress: Progress | None = None) -> Findings:
    """Return the findings with the unknowns fitted and the mechanisms judged on the fits; see :func:`explain`."""
    explanation = explain(found.experiment, found.optimum, steps=steps, progress=progress, coasts=found.coasts)
    return _explained(found, explanation)


def _explained(found: Findings, explanation: Explanation) -> Findings:
    return replace(
        found,
        mechanisms=explanation.claims,
        explanation=explanation,
        need=explanation.need,
        tensions=(*explanation.tensions, *(one for one in found.tensions if not one.about.endswith(AGAINST_TESTS))),
        tests=explanation.tests,
        test_weights=explanation.test_weights,
        sentences=sentences_of(
            explanation.claims,
            explanation.fit,
            found.optimum,
            found.experiment.bench.study.seed,
            tests=explanation.tests,
            usual_face=_usual_face(found.experiment),
        ),
    )


def find_why_all(
    found: Sequence[Findings],
    *,
    steps: int = STEPS,
    runner: Runner | None = None,
    progress: Callable[[int, str, int, float], None] | None = None,
) -> list[Findings]:
    """Do the same for several findings at once; see :func:`edgewind.evidence.explain.explain_all`."""
    experiments = [one.experiment for one in found]
    optima, coasts = [one.optimum for one in found], [one.coasts for one in found]
    explained = explain_all(experiments, optima, coasts=coasts, steps=steps, runner=runner, progress=progress)
    return [_explained(one, explanation) for one, explanation in zip(found, explained, strict=True)]


def sweep_data(used: pd.DataFrame) -> SweepData:
    """Return the readings as input of the curve.

    The common uncertainty of pressure is that of the fastest reading, near the optimum.
    """
    speed, common = used["speed_rad_s"].to_numpy(float), used["log_pressure_u_common"].to_numpy(float)
    return SweepData(
        pressure_pa=used["pressure_pa"].to_numpy(float),
        log_pressure_u=used["log_pressure_u"].to_numpy(float),
        speed_rad_s=used["speed_rad_s"].to_numpy(float),
        speed_u_rad_s=used["speed_u_rad_s"].to_numpy(float),
        sweep=tuple(used["sweep"]),
        time_s=used["time_s"].to_numpy(float),
        common_log_pressure_u=float(common[np.argmax(np.abs(speed))]) if len(used) else 0.0,
    )


def _usual_face(experiment: Experiment) -> str:
    """Return the face that was seen to lead under the lamp, as most readings of the curve have it; empty if unknown."""
    seen = [face for face in experiment.used["leading_face"] if face in ("bright", "dark")]
    return max(("bright", "dark"), key=seen.count) if seen else ""


def _budget_at_fastest(experiment: Experiment) -> tuple[tuple[BudgetLine, ...], int | None]:
    used = experiment.used
    if used.empty:
        return (), None
    fastest = int(np.argmax(used["speed_rad_s"].abs().to_numpy(float)))
    position = int(np.flatnonzero(experiment.readings["used"])[fastest])
    lines = [BudgetLine(part.name, float(part.log_u[position]), part.common) for part in experiment.budget]
    kept = sorted(
        (line for line in lines if np.isfinite(line.relative_u) and line.relative_u > 0),
        key=lambda line: -line.relative_u,
    )
    return tuple(kept), int(used["line"].to_numpy()[fastest])


def _optimum_sentence(findings: Findings) -> str:
    optimum, used = findings.optimum, len(findings.experiment.used)
    if not optimum.found or optimum.pressure_pa is None or optimum.interval_pa is None:
        why = f"{REASONS[optimum.reason]} ({optimum.reason})"
        return f"These {used} readings do not show a pressure of greatest speed: {why}."
    low, high = optimum.interval_pa
    rpm = RPM_PER_RAD_S * (optimum.speed_rad_s or 0.0)
    mtorr = float(from_si(optimum.pressure_pa, "mTorr", "pressure"))
    in_mtorr = mtorr / optimum.pressure_pa
    return (
        f"The rotor is fastest at {format_number(optimum.pressure_pa, 3)} Pa ({format_number(mtorr, 3)} mTorr), with a "
        f"{100 * optimum.level:g} % interval of {format_interval(low, high, 'Pa')} "
        f"({format_interval(low * in_mtorr, high * in_mtorr, 'mTorr')}), at "
        f"{format_number(rpm, 3)} rpm, from {used} readings."
    )


def _knudsen_sentence(findings: Findings) -> str:
    knudsen, width = findings.knudsen, findings.experiment.bench.rotor.vane_width.value
    if knudsen is None:
        return "Without that pressure no Knudsen number can be stated."
    return (
        f"There the mean free path is {format_number(1e3 * knudsen.mean_free_path_m, 3)} mm against a vane width of "
        f"{format_number(1e3 * width, 3)} mm: Knudsen number {format_number(knudsen.value, 2)} "
        f"({format_interval(*knudsen.interval, digits=2)}), in the {knudsen.regime} regime."
    )


_SAID = {
    "sufficient": "sufficient by itself is {}",
    "compatible": "compatible with the readings, but not the only explanation, is {}",
    "contributes": "{} contributes",
    "ruled out": "ruled out as the main drive is {}",
    "cannot tell": "these readings cannot decide on {}",
}


def _mechanism_sentence(findings: Findings) -> str:
    said = []
    for verdict, words in _SAID.items():
        names = [claim.name for claim in findings.mechanisms if claim.verdict == verdict]
        if names:
            listed = names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]
            words = words.replace(" is {}", " are {}") if len(names) > 1 else words
            said.append(words.replace("contributes", "contribute" if len(names) > 1 else "contributes").format(listed))
    count = len(findings.tests)
    on = "" if not count else f" by the curve and by {count} test{'s' if count > 1 else ''} made on purpose"
    return f"Of the candidates judged{on}, {'; '.join(said)}; the numbers are given below."


def _test_sentences(findings: Findings) -> tuple[str, ...]:
    """Return the results of the tests made on purpose in sentences, those with the greatest weight first."""
    if not findings.tests:
        return ()
    by_weight = sorted(findings.tests, key=lambda test: min(test.log_evidence.values()))
    said = [test.why for test in by_weight[:MOST_TESTS_SAID]]
    more = len(by_weight) - len(said)
    if more > 0:
        said.append(f"{more} more {'test is' if more == 1 else 'tests are'} listed below.")
    return (f"Of the tests made on purpose: {' '.join(said)}",)
