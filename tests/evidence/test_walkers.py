"""Every kind of step leaves a known density invariant."""

import numpy as np
import pytest

from edgewind.evidence import walkers
from edgewind.evidence.sampling import Mixture, sample
from edgewind.evidence.walkers import Walkers

WIDTHS = np.array([1.0, 2.0, 0.5, 1.0])


def log_density(places):
    return -0.5 * np.sum((places / WIDTHS) ** 2, axis=1)


@pytest.mark.parametrize("kind", ["_DIFFERENCE", "_JUMP", "_SNOOKER", "leaps"])
def test_every_kind_of_step_leaves_a_normal_density_invariant(kind, monkeypatch):
    for name in ("_DIFFERENCE", "_JUMP", "_SNOOKER"):
        monkeypatch.setattr(walkers, name, float(name == kind or (kind == "leaps" and name == "_JUMP")))
    random = np.random.default_rng(4)
    begun = WIDTHS * random.standard_normal((4, 40, 4))
    leaps = Mixture(1.3 * begun.reshape(-1, 4) + 0.4, random, 2) if kind == "leaps" else None
    places, heights = Walkers(log_density, begun, random).walk(800, leaps, share=1.0)
    assert np.mean((places / WIDTHS) ** 2, axis=(0, 1, 2)) == pytest.approx(1.0, rel=0.05)
    assert np.mean(places / WIDTHS, axis=(0, 1, 2)) == pytest.approx(0.0, abs=0.05)
    assert heights[:, -1] == pytest.approx(log_density(places[:, -1].reshape(-1, 4)).reshape(4, 40))


def test_ensembles_started_in_either_of_two_modes_agree_on_weights_and_evidence():
    """Two normal densities ten widths apart, the one with three times the weight of the other."""

    def two(places):
        apart = [np.sum((places - middle) ** 2, axis=1) / 2 for middle in (-5.0, 5.0)]
        return np.logaddexp(np.log(0.75) - apart[0], np.log(0.25) - apart[1])

    def near(middle):
        return lambda count, random, wider=1.0: middle + wider * random.standard_normal((count, 3))

    found = sample(two, [near(-5.0), near(5.0)], seed=2)
    assert found.settled
    assert np.mean(found.draws[:, 0] < 0) == pytest.approx(0.75, abs=0.04)
    assert found.log_evidence == pytest.approx(0.0, abs=0.05)
