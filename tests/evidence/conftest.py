"""What the tests of fits share: one bench, and one fit of it."""

import pytest
from support.rotor_readings import ROTOR, data_of

from edgewind.bench import Bench
from edgewind.evidence.fit import Fit, fit


@pytest.fixture(scope="session")
def bench(make_bench) -> Bench:
    """A bench whose rotor made the readings of `support.rotor_readings`."""
    return make_bench(rotor=ROTOR)


@pytest.fixture(scope="session")
def found(bench) -> Fit:
    """The fit of 24 readings and three coast-downs, every drive acting."""
    return fit(bench, data_of(bench, coasts=True), steps=40)
