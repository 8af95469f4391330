"""A gas of uncertain composition: an unknown of the fit, in predictions, and in the factor of the gauge."""

import numpy as np
import pytest

from edgewind.evidence.draws import draws_of, moved_numbers
from edgewind.evidence.likelihood import FitData, Likelihood
from edgewind.evidence.priors import unknowns_of
from edgewind.rotor import gas_slopes, parameters_of, response_of
from edgewind.rotor.speed_kernel import Place, flat

GAS_PLACES = [Place.VISCOSITY, Place.VISCOSITY_EXPONENT, Place.V0, Place.INTERNAL, Place.CONDUCTIVITY_FACTOR]
WET = {"N2": 0.95, "H2O": "0.05 +/- 0.02"}


@pytest.fixture
def make(make_bench):
    """Make a bench with a diaphragm gauge, which reads true in every gas."""
    return lambda species: make_bench(gas={"species": species}, gauge={"principle": "diaphragm"})


def prior(bench):
    return {u.name: u for u in unknowns_of(bench, response_of(parameters_of(bench)), 0.05, coasts=False)}


def test_an_uncertain_fraction_is_an_unknown_and_an_exact_one_is_not(make):
    unknown = prior(make(WET))["fraction_H2O"]
    assert (unknown.law, unknown.first, unknown.second, unknown.low, unknown.high) == ("normal", 0.05, 0.02, 0.0, 1.0)
    assert not [name for name in prior(make({"N2": 0.95, "H2O": 0.05})) if name.startswith("fraction")]


def test_fit_uses_the_gas_properties_of_each_trial_composition(make):
    """Against the bench written with that fraction: the gas properties of a rotor."""
    pressure = np.geomspace(0.1, 5.0, 8)
    data = FitData(pressure, np.full(8, 0.01), np.full(8, 3.0), np.full(8, 0.03), True, 0.05)
    problem = Likelihood(make(WET), data)
    values = problem.values(np.zeros(len(problem.unknowns)))
    column = [u.name for u in problem.unknowns].index("fraction_H2O")
    assert values[column] == pytest.approx(0.05, abs=5e-4)
    for fraction in (0.03, 0.08):
        values[column] = fraction
        expected = flat(parameters_of(make({"N2": 1.0 - fraction, "H2O": fraction})))
        assert problem.numbers(values)[0, GAS_PLACES] == pytest.approx(expected[GAS_PLACES], rel=1e-3)


def test_predictions_draw_the_composition_once_for_all_pressures(make):
    bench = make(WET)
    drawn = draws_of(bench, draws=60)
    speed = drawn.numbers[:, Place.V0]
    slope = gas_slopes(bench)["H2O"]["most_probable_speed_m_s"]
    assert slope > 0.0  # water is lighter
    assert np.std(speed) == pytest.approx(0.02 * slope, rel=0.35)
    assert np.ptp(draws_of(make({"N2": 0.95, "H2O": 0.05}), draws=20).numbers[:, Place.V0]) == 0.0
    rotor = parameters_of(bench)
    wider = moved_numbers(drawn.numbers, rotor, rotor.with_(vane_width_m=rotor.vane_width_m * 1.5))
    np.testing.assert_array_equal(wider[:, Place.V0], speed)
    helium = moved_numbers(drawn.numbers, rotor, parameters_of(make("He")))
    assert np.ptp(helium[:, Place.V0]) == 0.0


def test_factor_of_an_ionisation_gauge_is_less_certain_in_an_uncertain_mixture(make_bench):
    sure, unsure = (
        make_bench(gas={"species": {"Ar": 0.8, "He": he}}, gauge={"principle": "ionisation"}).gas_factor
        for he in (0.2, "0.2 +/- 0.1")
    )
    assert unsure.value == sure.value
    # Relative sensitivities of argon and helium are 1.4 and 0.18.
    assert unsure.relative == pytest.approx(np.hypot(sure.relative, 0.1 * (1.4 - 0.18) * sure.value), rel=1e-3)
