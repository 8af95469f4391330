"""The smooth errors of the model: their size, their length, and that they hold at every pressure."""

import numpy as np
import pytest

from edgewind.evidence.model_error import DRAG_U, LENGTH, model_error, sizes_of


@pytest.fixture
def error(standin):
    return model_error(standin, np.log(0.01), np.geomspace(0.01, 1.0, 9), 0.05)


def test_draws_have_the_stated_size_and_change_over_a_decade(error, standin):
    pressure = np.array([0.03, 0.03 * np.exp(0.1), 0.3])
    drawn = np.random.default_rng(1).standard_normal((4000, error.size))
    factors, shift = error.factors(drawn, pressure)
    logs = np.log(factors)
    assert logs.std(axis=0) == pytest.approx(sizes_of(standin, 0.01 / pressure), rel=0.06)
    assert np.log(shift).std(axis=0) == pytest.approx(0.05 * np.sqrt(0.5), rel=0.08)
    near, far = (np.corrcoef(logs[:, 1, 0], logs[:, 1, k])[0, 1] for k in (1, 2))
    assert near > 0.99
    assert far == pytest.approx(np.exp(-0.5 * (np.log(10) / LENGTH) ** 2), abs=0.06)


def test_force_drag_and_heat_err_independently(error):
    logs = np.log(error.factors(np.random.default_rng(2).standard_normal((4000, error.size)), [0.1])[0][:, :, 0])
    assert np.corrcoef(logs.T)[np.triu_indices(3, 1)] == pytest.approx(0, abs=0.06)


def test_an_error_is_held_beyond_the_nodes(error):
    drawn = np.random.default_rng(3).standard_normal((5, error.size))
    far, farther = (error.factors(drawn, [pressure])[0] for pressure in (1e-5, 1e-6))
    assert far == pytest.approx(farther)


def test_the_stated_size_is_that_of_the_response_and_of_what_it_leaves_out_together(standin):
    assert sizes_of(standin, [1.0])[1] == pytest.approx(np.hypot(DRAG_U, 1e-3))
