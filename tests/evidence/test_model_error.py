"""The smooth errors of the model: their size, their length, and that they hold at every pressure."""

import numpy as np
import pytest

from edgewind.evidence.model_error import DRAG_U, FORCE_U, HEAT_U, model_error
from edgewind.evidence.priors import unknowns_of

DISPLAY = {"kind": "display", "principle": "diaphragm", "transfer_uncertainty": "5 %"}


@pytest.fixture
def error(standin):
    return model_error(standin, np.log(0.01), np.geomspace(0.01, 1.0, 9), 0.05)


def test_draws_have_the_stated_size_and_change_over_a_decade(error):
    pressure = np.array([0.03, 0.03 * np.exp(0.1), 0.3])
    drawn = np.random.default_rng(1).standard_normal((4000, error.size))
    factors, shift = error.factors(drawn, pressure)
    logs = np.log(factors)
    assert logs.std(axis=0) == pytest.approx(error.sizes(pressure)[:4], rel=0.06)
    assert np.log(shift).std(axis=0) == pytest.approx(0.05 * np.sqrt(0.5), rel=0.08)
    near, far = (np.corrcoef(logs[:, 1, 0], logs[:, 1, k])[0, 1] for k in (1, 2))
    assert near > 0.99
    # a decade apart, with lengths of half a decade, one and two
    assert far == pytest.approx(np.exp(-0.5 * np.array([4.0, 1.0, 0.25])).mean(), abs=0.06)
    # the slope, by which a place of greatest torque moves: root mean square of 1/length, which is 1.32 per decade
    slope = (logs[:, 0, 1] - logs[:, 0, 0]) / 0.1 * np.log(10) / error.sizes([0.03])[0]
    assert slope.std() == pytest.approx(np.sqrt((4 + 1 + 0.25) / 3), rel=0.06)


def test_force_and_drag_share_the_error_of_the_shape_and_other_errors_are_independent(error):
    logs = np.log(error.factors(np.random.default_rng(2).standard_normal((4000, error.size)), [0.1])[0][:, :, 0])
    found = np.corrcoef(logs.T)
    # beside the shape there is only the table, of 0.1 %
    assert found[0, 1] == pytest.approx(FORCE_U * DRAG_U / np.prod(error.sizes([0.1])[:2]), abs=0.01)
    assert found[[0, 0, 1, 1], [2, 3, 2, 3]] == pytest.approx(0, abs=0.06)


def test_the_error_of_the_heat_moves_the_force_of_unequal_accommodation_with_it(standin, monkeypatch):
    """Its part by the response, of 6 %, and not that by the internal energy, which presses on nothing."""
    monkeypatch.setattr(type(standin), "relative_errors", lambda self, knudsen: np.full((3, *np.shape(knudsen)), 0.06))
    error = model_error(standin, np.log(0.01), np.geomspace(0.01, 1.0, 9), 0.05)
    logs = np.log(error.factors(np.random.default_rng(4).standard_normal((40_000, error.size)), [0.03, 0.3])[0])
    for place in (0, 1):
        found = np.cov(logs[:, 2:, place].T)
        assert np.sqrt(np.diag(found)) == pytest.approx([np.hypot(0.06, HEAT_U), np.hypot(0.06, 0.1)], rel=0.02)
        assert found[0, 1] == pytest.approx(0.06**2, rel=0.08)


def test_an_error_is_constant_beyond_the_nodes(error):
    drawn = np.random.default_rng(3).standard_normal((5, error.size))
    far, farther = (error.factors(drawn, [pressure])[0] for pressure in (1e-5, 1e-6))
    assert far == pytest.approx(farther)


def test_the_stated_size_combines_the_errors_of_the_response_and_of_neglected_effects(error):
    assert error.sizes([0.01])[1] == pytest.approx([np.hypot(DRAG_U, 1e-3)], rel=1e-3)


def test_the_force_of_unequal_accommodation_has_the_error_that_the_response_states(error, standin):
    """Besides that of the heat, in proportion to which it is."""
    expected = np.hypot(standin.unequal_error([0.1, 1.0]), 1e-3)
    assert error.sizes([0.1, 0.01])[3] == pytest.approx(expected, rel=1e-3)


def test_a_stated_accommodation_difference_keeps_the_error_of_the_wall_law(make_bench, standin):
    """Twice the force at most in free flight, so half of the difference and of its uncertainty once more."""
    bench = make_bench(rotor={"dark_accommodation": "0.95 +/- 0.03", "bright_accommodation": "0.80 +/- 0.04"})
    found = {unknown.name: unknown for unknown in unknowns_of(bench, standin, 0.05, coasts=False)}
    apart = found["accommodation_difference"]
    assert apart.stated and apart.first == pytest.approx(0.15)
    assert apart.second == pytest.approx(np.sqrt(0.05**2 + 0.25 * (0.15**2 + 0.05**2)))


@pytest.mark.parametrize("stated", [0.3, 0.45])
def test_a_low_stated_accommodation_is_the_middle_of_its_prior(make_bench, standin, stated):
    bench = make_bench(gas={"species": "He"}, gauge=DISPLAY, rotor={"accommodation": f"{stated} +/- 0.03"})
    found = {unknown.name: unknown for unknown in unknowns_of(bench, standin, 0.05, coasts=False)}["accommodation"]
    assert [found.value(score) for score in (-1, 0, 1)] == pytest.approx(
        [stated - 0.03, stated, stated + 0.03], abs=1e-3
    )


def test_the_prior_of_an_unstated_accommodation_contains_what_was_measured_in_each_gas(make_bench, standin):
    """On metals, 0.95 for argon, 0.85 for nitrogen, 0.45 for helium: Trott et al., Sandia, 2010, abstract."""
    for species, measured in (("Ar", 0.95), ("N2", 0.85), ("He", 0.45)):
        bench = make_bench(gas={"species": species}, gauge=DISPLAY)
        unknown = {one.name: one for one in unknowns_of(bench, standin, 0.05, coasts=False)}["accommodation"]
        assert not unknown.stated and 0.05 < unknown.share(measured) < 0.95
