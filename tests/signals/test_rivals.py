"""Rates in simple ratios to one another: the trace shows which is the rotor's, also with missing pulses and hum."""

from __future__ import annotations

import numpy as np
import pytest
from support.scenes import make_scene

from edgewind.signals import SET_ASIDE_FLAGS, Trace, estimate_speed
from edgewind.signals.rivals import doubtful, rivals_of
from edgewind.signals.synthetic import PulseTrain, synthesise

RATE = 7.0


def trace_of(seed: int, marks: int, dropout: float) -> Trace:
    seen = PulseTrain(RATE, marks=marks, noise_v=0.1, wander_v=0.3, height_spread=0.2, dropout=dropout)
    return synthesise(seen, samples=8000, interval_s=5e-4, seed=seed)


@pytest.mark.parametrize("marks", [1, 2, 3, 4])
@pytest.mark.parametrize("dropout", [0.0, 0.25])
def test_a_wrong_rate_has_the_true_one_as_rival_and_the_true_rate_has_none(marks: int, dropout: float) -> None:
    for seed in range(2):
        trace = trace_of(seed, marks, dropout)
        assert doubtful(rivals_of(trace.voltage_v, trace.interval_s, RATE, 0.0, marks)) is None
        for wrong in (1 / 2, 2 / 3, 3 / 2, 2.0):
            found = rivals_of(trace.voltage_v, trace.interval_s, RATE * wrong, 0.0, marks)
            possible = doubtful(found)
            assert possible is not None
            assert possible[0] == pytest.approx(1 / wrong), (wrong, found)


def test_a_rate_with_half_of_its_pulses_missing_is_doubtful_even_without_a_rival() -> None:
    random = np.random.default_rng(1)
    phase = 40.0 * np.arange(8000) * 5e-4
    there = random.random(200) > 0.6
    volts = np.exp(-(((phase % 1 - 0.5) / 0.1) ** 2)) * there[phase.astype(int)] + 0.05 * random.standard_normal(8000)
    found = rivals_of(volts, 5e-4, 10.0, 0.0, 4)
    assert found[0].missing > 0.5 * found[0].places and doubtful(found) is not None


@pytest.mark.parametrize("places", [(0.0, 0.2, 0.5), (0.0, 0.19, 0.53, 0.8)])
def test_uneven_marks_that_show_the_direction_raise_no_doubt(places: tuple[float, ...]) -> None:
    for rate in (2.1, 4.3):
        seen = PulseTrain(rate, marks=len(places), places=places, spacing_spread=0.0, noise_v=0.05, wander_v=0.1)
        found = estimate_speed(synthesise(seen, samples=8000, interval_s=2.5e-4, seed=1), len(places))
        assert found.flags == () and found.speed_rad_s == pytest.approx(2 * np.pi * rate, rel=5e-3)


JUMPED = {
    74159: "twice the rate, a half of its places empty, with a hum that beats with the pulses",
    74357: "twice the rate of six pulses, bumps of the baseline taken for others",
    75391: "half the rate of five pulses, of which one is missing",
    20794: "the sixth line of a turn taken out for the mains, so that it left a pulse between each two",
    76481: "two sevenths of the rate, its pulse line taken out for the mains",
    80767: "four pulses of two turns, taken for three turns with four missing",
    21134: "a fifth of the rate, its pulse line taken out for the mains",
    83068: "a third of the rate, of 23 % of pulses missing, and noise as strong as the rest",
    85605: "42 times the rate, a line beside that of a hum which saturation cuts off",
    106239: "a third of the rate, of the five pulses left of nine",
    108093: "the mains, the rotor's own line taken for those of another grid and taken out",
    108114: "twice the rate of six pulses, bumps of the baseline taken for others",
    106193: "twice the rate, more of its places empty than filled",
    111896: "a seventh of the rate, its pulse line taken out for twice the mains",
}


@pytest.mark.parametrize("seed", JUMPED)
def test_scenes_that_were_wrong_by_a_factor_are_right_or_set_aside(seed: int) -> None:
    scene = make_scene(seed)
    found = estimate_speed(Trace(scene.voltage_v, scene.interval_s), scene.marks)
    right = abs(found.speed_rad_s / (2 * np.pi * scene.rate_hz) - 1) < 0.01
    assert right or set(found.flags) & set(SET_ASIDE_FLAGS)
    if not right and found.possible_rad_s:
        assert min(abs(one / (2 * np.pi * scene.rate_hz) - 1) for one in found.possible_rad_s) < 0.02
