"""Claims of a study of a rotor whose physics is not that of the program. The benchmark takes 300 of them."""

import numpy as np
import pytest

from edgewind.evidence import find, find_why
from edgewind.signals import read_experiment
from edgewind.virtual.invented_sweeps import invented_sweep

NAMES = {"thermal force": "thermal force of the gas", "unequal accommodation": "unequal accommodation"}


@pytest.fixture(scope="module")
def studied(tmp_path_factory):
    folder = tmp_path_factory.mktemp("claims") / "rotor"
    _, truth = invented_sweep(folder, np.random.default_rng([39, 300]))
    return find_why(find(read_experiment(folder)), steps=25), truth


def test_intervals_hold_the_truth_or_a_tension_is_reported(studied):
    found, truth = studied
    for optimum in (found.optimum, found.explanation.speed_optimum):
        low, high = optimum.interval_pa
        assert low < truth.speed_optimum_pa < high or found.tensions


def test_the_true_main_drive_is_not_ruled_out_and_no_other_is_called_sufficient(studied):
    found, truth = studied
    verdicts = {claim.name: claim.verdict for claim in found.mechanisms}
    assert verdicts[NAMES[truth.main_drive]] != "ruled out"
    if truth.foreign_share > 0.15:
        assert verdicts["thermal force of the gas"] != "sufficient"


def test_the_three_sentences_are_written(studied):
    said = studied[0].sentences
    assert said.why_it_turns.startswith(("It turns", "It may turn", "These readings do not"))
    assert (said.a_larger_one and "cold" in said.in_the_cold) or "chill" in said.in_the_cold
