"""The limits that a report states are true of the study that it reports."""

import re
from dataclasses import replace

import pytest

from edgewind.bench import parse_bench
from edgewind.evidence import Findings
from edgewind.report.limits import limits_of
from edgewind.rotor import parameters_of, response_of


def facts(found: Findings) -> dict[str, bool]:
    """For a phrase of each limit, whether it is true of a study: every sentence must hold one."""
    bench = found.experiment.bench
    rotor = parameters_of(bench)
    fit = None if found.explanation is None else found.explanation.fit
    stated = bench.rotor.pivot_dry_torque is not None or bench.rotor.pivot_viscous is not None
    force = None if found.explanation is None else found.explanation.force_optimum
    return {
        "response of the gas to a vane": True,
        "is computed as monatomic": rotor.internal_heat > 0,
        "accommodation is not stated": bench.rotor.accommodation is None,
        "neither stated nor fitted": fit is None and not stated,
        "hard spheres": True,
        "a smooth interpolation of the readings": found.optimum.curve is not None,
        "assumed to be uniform": True,
        "pressure of greatest torque": force is not None and force.found,
    }


def study(found: Findings, make_bench_text, **changes) -> Findings:
    """The findings with another bench: limits are of what the bench states and of what was computed."""
    return replace(found, experiment=replace(found.experiment, bench=parse_bench(make_bench_text(**changes))))


@pytest.fixture
def studies(narrow, fitted, nothing, make_bench_text):
    argon = study(
        narrow, make_bench_text, gas={"species": "Ar"}, gauge={"gas_factor": "1.6"}, rotor={"accommodation": "0.9"}
    )
    pivot = study(narrow, make_bench_text, rotor={"pivot_dry_torque": "1e-10 N m"})
    return [narrow, fitted, nothing, argon, pivot]


def test_the_limits_are_exactly_the_sentences_true_of_the_study(studies):
    for found in studies:
        text = limits_of([found])
        known = facts(found)
        for phrase, holds in known.items():
            assert any(phrase in sentence for sentence in text) == holds, phrase
        for sentence in text:
            assert any(phrase in sentence for phrase in known), sentence


def test_the_least_knudsen_number_and_the_gas_are_those_that_were_used(studies):
    for found in studies:
        bench = found.experiment.bench
        text = " ".join(limits_of([found]))
        least = float(re.search(r"Knudsen numbers from ([0-9.]+) up", text)[1])
        assert least == pytest.approx(response_of(parameters_of(bench)).least_knudsen, rel=0.05)
        monatomic = re.search(r"The gas \((\w+)\) is computed", text)
        assert monatomic is None or monatomic[1] == bench.gas.gas.name


def test_limits_shared_by_two_rotors_are_stated_once(narrow):
    assert limits_of([narrow, narrow]) == limits_of([narrow])
