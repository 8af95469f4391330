"""Fixtures of the tests of fits: one bench, and one fit of it."""

import pytest
from support.rotor_readings import ROTOR, data_of

from edgewind.bench import Bench
from edgewind.evidence.fit import Fit, fit


@pytest.fixture(scope="session")
def bench(make_bench) -> Bench:
    """Return a bench whose rotor made the readings of `support.rotor_readings`."""
    return make_bench(rotor=ROTOR)


@pytest.fixture(scope="session")
def found(bench) -> Fit:
    """Return the fit of 24 readings and three coast-downs with every drive."""
    return fit(bench, data_of(bench, coasts=True), steps=40)
