"""Direction from chiral marks; none from symmetric marks."""

from __future__ import annotations

import numpy as np
import pytest

from edgewind.errors import InputError
from edgewind.signals import Trace, estimate_speed
from edgewind.signals.by_hand import speed_by_hand
from edgewind.signals.direction import direction_of_marks, direction_of_pair, reads_both_ways

CHIRAL = (0.0, 0.2, 0.5)


def trace_of(places: tuple[float, ...], backwards: bool, seed: int, noise: float = 0.05) -> Trace:
    random = np.random.default_rng(seed)
    turns = random.uniform() + random.uniform(3, 12) * np.arange(20_000) * 1e-4
    turns = -turns if backwards else turns
    level = sum(np.exp(-(((turns - place + 0.5) % 1 - 0.5) ** 2) / 2 / 0.02**2) for place in places)
    return Trace(np.asarray(level) + noise * random.standard_normal(turns.size), 1e-4)


@pytest.mark.parametrize("backwards", [False, True])
def test_chiral_marks_show_the_direction(backwards: bool) -> None:
    for seed in range(5):
        trace = trace_of(CHIRAL, backwards, seed)
        found = direction_of_marks(trace, estimate_speed(trace, 3), CHIRAL)
        assert found.sense == (-1 if backwards else 1) and found.confidence > 0.99


@pytest.mark.parametrize("places", [(0.0, 0.5), (0.0, 0.25, 0.5, 0.75), (0.0, 0.1, 0.5, 0.6)])
def test_symmetric_marks_show_no_direction(places: tuple[float, ...]) -> None:
    assert reads_both_ways(places)
    for seed in range(3):
        trace = trace_of(places, False, seed)
        assert direction_of_marks(trace, estimate_speed(trace, len(places)), places).sense == 0


def test_noise_shows_no_direction() -> None:
    trace = Trace(np.random.default_rng(1).standard_normal(5000), 1e-3)
    assert direction_of_marks(trace, estimate_speed(trace, 3), CHIRAL).sense == 0


def test_a_lag_of_half_a_pitch_is_refused() -> None:
    trace = trace_of(CHIRAL, False, 1)
    with pytest.raises(InputError, match="reads the same both ways"):
        direction_of_pair(trace, trace, estimate_speed(trace, 3), 3, 0.5)


def test_speed_of_turns_counted_by_hand_has_the_uncertainty_of_a_stopwatch() -> None:
    """10 turns in 20 s, by hand: 2 pi 10 / 20 = 3.1416 rad/s, 0.2 s in 20 s = 1 %."""
    speed, u = speed_by_hand(-10, 20.0)
    assert speed == pytest.approx(-np.pi) and u == pytest.approx(0.01 * np.pi)
    for turns, time in ((0, 20.0), (10, 0.0), (10, float("nan"))):
        with pytest.raises(InputError):
            speed_by_hand(turns, time)
