"""Weights of the mechanisms by all tests made on purpose, and the verdicts that follow."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import NamedTuple

import numpy as np

from edgewind.evidence.claims import Claim, Verdict
from edgewind.evidence.deliberate import deliberate_tests
from edgewind.evidence.deliberate_results import DECISIVE, PIVOT, DeliberateTest, TestWeights, list_of_names
from edgewind.evidence.tensions import Tension
from edgewind.formatting import RPM_PER_RAD_S, format_interval, format_number, raise_exponents
from edgewind.rotor import (
    RotorParameters,
)
from edgewind.signals import Experiment

AGAINST_TESTS = "curve against tests"


class JudgedTests(NamedTuple):
    """Claims whose reasons include the tests, the tests, and their combined weights."""

    claims: tuple[Claim, ...]
    tests: tuple[DeliberateTest, ...]
    weights: TestWeights


def judge_tests(tests: Sequence[DeliberateTest]) -> TestWeights:
    """Return the likelihood of all tests under each mechanism, and the most decisive test."""
    if not tests:
        return TestWeights(log_likelihood={}, ruled_out=(), weightiest=None, why="")
    names = tests[0].log_evidence.keys()
    total = {name: sum(test.log_evidence[name] for test in tests) for name in names}
    best = max(total.values())
    total = {name: round(value - best, 3) for name, value in total.items()}
    as_main = {name: sum(test.as_main[name] for test in tests) - best for name in names}
    spreads = [max(test.log_evidence.values()) - min(test.log_evidence.values()) for test in tests]
    most = int(np.argmax(spreads))
    against = tests[most].against
    which = _named(tests[most])
    if spreads[most] < 1:
        why = "No test made on purpose distinguishes between the mechanisms"
    elif against:
        why = f"The most decisive test is {which}: it is evidence against {list_of_names(against)}"
    else:
        why = f"The most decisive test is {which}, by a factor of {format_number(float(np.exp(spreads[most])), 2)}"
    ruled_out = tuple(
        name
        for name, weight in as_main.items()
        if weight < -DECISIVE and any(not test.predicted[name].agrees for test in tests)
    )
    return TestWeights(log_likelihood=total, ruled_out=ruled_out, weightiest=most, why=raise_exponents(why + "."))


def judge_with_tests(
    claims: Sequence[Claim],
    experiment: Experiment,
    rotor: RotorParameters | None = None,
    *,
    in_fit: Collection[int] = (),
) -> JudgedTests:
    """Return the claims with the results of the tests made on purpose, and the tests.

    The log-likelihoods of curve and tests add up for each mechanism. A mechanism that a test contradicts, and that all
    tests together make 20 times less likely than the best, is ruled out. An undecided one that the tests allow while
    they rule out rivals is compatible, unless curve and tests together make it 20 times less likely.

    Parameters
    ----------
    claims : sequence of Claim
        Every mechanism, judged on the curve.
    experiment : Experiment
        Its tests.
    rotor : RotorParameters, optional
        Draws of the rotor; see :func:`deliberate_tests`.
    in_fit : collection of int
        Lines of readings.csv whose runs are in the fits of the curve, so that they count once.
    """
    tests = deliberate_tests(experiment, rotor)
    weights = judge_tests(tests)
    besides = {
        name: sum(test.log_evidence[name] for test in tests if not set(test.lines) & set(in_fit))
        for name in weights.log_likelihood
    }
    curve = {claim.name: claim.log_evidence for claim in claims if claim.log_evidence is not None}
    best = max((value for name, value in curve.items() if name in besides), default=0.0)
    combined = {name: round(curve[name] - best + value, 3) for name, value in besides.items() if name in curve}
    top = max(combined.values(), default=0.0)
    weights = weights.model_copy(update={"with_curve": {name: value - top for name, value in combined.items()}})
    return JudgedTests(tuple(_with_tests(claim, tests, weights) for claim in claims), tests, weights)


def _smaller_part(claim: Claim) -> bool:
    """Return whether a mechanism contributes less than half, which a test of main drives does not contradict."""
    return claim.verdict == "contributes" and abs(claim.size_ratio or 0.0) < 0.5


def _named(test: DeliberateTest) -> str:
    return f"reading {test.reading} ({test.kind}, {format_number(test.pressure_pa, 3)} Pa)"


def _with_tests(claim: Claim, tests: Sequence[DeliberateTest], weights: TestWeights) -> Claim:
    if claim.name not in weights.log_likelihood:
        return claim
    weight = weights.log_likelihood[claim.name]
    of_tests = f"{len(tests)} test{'s' if len(tests) > 1 else ''} made on purpose"
    if claim.name in weights.ruled_out:
        worst = min(tests, key=lambda test: test.log_evidence[claim.name])
        seen, stated = worst.seen.speed_rad_s, worst.predicted[claim.name].interval_rad_s
        low, high = (RPM_PER_RAD_S * end for end in stated)
        states = f"it would give {format_interval(low, high)} rpm" if low or high else "the rotor would stand still"
        words = (
            f"In the test of {_named(worst)} {states} and {format_number(RPM_PER_RAD_S * seen, 3)} rpm was "
            f"observed; over {of_tests} ln(likelihood) is {format_number(-weight, 3)} below the best, so it is "
            f"{'not the main drive' if _smaller_part(claim) else 'ruled out as the main drive'}."
        )
        in_dark = claim.name == PIVOT  # judged by readings in the dark, not by the curve
        by_curve = claim.why if in_dark else f"By the curve alone, {claim.why[0].lower()}{claim.why[1:]}"
        stays: Verdict = "contributes" if _smaller_part(claim) else "ruled out"
        return claim.model_copy(update={"verdict": stays, "why": f"{words} {by_curve}"})
    if not weights.ruled_out or weight < -1 or not all(test.predicted[claim.name].agrees for test in tests):
        return claim
    # the test in full for its best explanation; the others do not repeat it
    words = f"{weights.why} {tests[weights.weightiest or 0].why}" if weight == 0 else weights.why
    contradicted = weights.with_curve.get(claim.name, 0.0) < -DECISIVE
    # before a fit a constant torque has no size, only a shape, which is given where it is not that of the readings
    misshapen = claim.size_ratio is None and bool(claim.shape)
    undecided = claim.verdict == "cannot tell" and not contradicted and not misshapen
    verdict: Verdict = "compatible" if undecided else claim.verdict
    return claim.model_copy(update={"verdict": verdict, "why": f"{words} {claim.why}"})


def tensions_of_tests(claims: Sequence[Claim], weights: TestWeights) -> tuple[Tension, ...]:
    """Return the contradictions between tests and curve: a mechanism that the curve calls sufficient or rules out.

    A mechanism that the curve rules out is a contradiction only if none that it leaves open explains the tests equally
    well; one that it calls compatible, only if the tests rule out every other as well that explains the curve.
    """
    found = []
    explain_curve = [
        claim.name
        for claim in claims
        if claim.verdict in ("sufficient", "compatible", "contributes")
        and claim.name in weights.log_likelihood
        and not _smaller_part(claim)
    ]
    none_left = all(name in weights.ruled_out for name in explain_curve)
    left_open = [
        weights.log_likelihood[claim.name]
        for claim in claims
        if claim.verdict != "ruled out" and claim.name in weights.log_likelihood
    ]
    explained = max(left_open, default=-np.inf) > -DECISIVE
    for claim in claims:
        held = claim.verdict != "compatible" or none_left
        if claim.name in weights.ruled_out and claim.name in explain_curve and held:
            why = f"the curve calls {claim.name} {claim.verdict}, and the tests made on purpose rule it out"
        elif (
            not explained
            and claim.verdict == "ruled out"
            and weights.ruled_out
            and weights.log_likelihood.get(claim.name) == 0
        ):
            why = f"the curve rules {claim.name} out, and the tests made on purpose are explained best by it"
        else:
            continue
        found.append(
            Tension(
                about=f"{claim.name}: {AGAINST_TESTS}",
                why=f"{why[0].upper()}{why[1:]}.",
                resolve="Repeat the most decisive test, and state the values that bench.toml leaves out.",
            )
        )
    return tuple(found)
