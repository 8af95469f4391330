"""The response of the gas as the rotor reads it: limits, interpolation, and what it refuses."""

import pickle

import numpy as np
import pytest

from edgewind.errors import OutOfRangeError
from edgewind.kinetics import ResponseTable
from edgewind.rotor import area_share, response_for
from edgewind.rotor.response import KINETIC


@pytest.fixture(scope="module")
def table():
    return response_for(8.0)


def test_free_flight_is_a_quarter_and_one_over_root_pi(table):
    """Thermal force dT/(4 T0) p A and heat p v0/sqrt(pi) per face: exact in any closed room (Knudsen 1910; kinetic
    theory).
    """
    free = table.at(np.inf, 1.0)
    assert float(free.thermal_force) == pytest.approx(0.25, rel=2e-3)
    assert float(free.loss) == pytest.approx(1 / np.sqrt(np.pi), rel=2e-3)
    assert float(free.heat) == pytest.approx(0.5 / np.sqrt(np.pi), rel=2e-3)
    assert float(free.area_share) == pytest.approx(1.0, abs=2e-3)


def test_greatest_force_at_a_given_temperature_difference_is_near_kn_a_tenth(table):
    """Selden et al., Phys. Rev. E 79, 041201 (2009), abstract: the dimensional force is greatest near Kn 0.1."""
    kn = np.geomspace(0.02, 2, 200)
    force = table.at(kn, 1.0).thermal_force / kn
    assert 0.07 < kn[np.argmax(force)] < 0.2


def test_the_edge_dominates_towards_the_continuum(table):
    share = table.at(np.array([10.0, 0.3, 0.1, 0.03]), 1.0).area_share
    assert share[0] > 0.98
    assert np.all(np.diff(share) < 0)
    assert share[-1] < 0.5


def test_table_entries_are_reproduced_and_the_approach_to_free_flight_is_smooth(table):
    kn = table.knudsen
    found = table.at(kn, 1.0)
    assert np.allclose(table.at(kn[::-1], 1.0).drag, found.drag[::-1])
    above = table.at(np.array([99.9, 100.0, 100.1, 1e6]), 1.0).drag
    assert np.allclose(np.diff(above)[:2], 0, atol=2e-4)
    assert above[-1] == pytest.approx(float(table.at(np.inf, 1.0).drag), rel=1e-5)


def test_accommodations_broadcast_and_lie_between_their_neighbours(table):
    kn, alpha = np.array([[0.1, 1.0, 10.0]]), np.array([[0.7], [0.9]])
    found = table.at(kn, alpha).heat
    assert found.shape == (2, 3)
    assert np.allclose(found[0], table.at(kn[0], 0.7).heat)
    ends = [table.at(kn[0], a).heat for a in (0.6, 0.8)]
    assert np.all((found[0] - ends[0]) * (found[0] - ends[1]) < 0)


def test_values_outside_the_table_are_refused(table):
    with pytest.raises(OutOfRangeError, match="Knudsen"):
        table.at(1e-3, 1.0)
    for alpha in (0.1, 1.1):
        with pytest.raises(OutOfRangeError, match="accommodation"):
            table.at(1.0, alpha)


def test_coefficients_of_an_intermediate_room_lie_between_its_neighbours():
    drags = [float(response_for(room).at(1.0, 1.0).drag) for room in (4.0, 6.0, 8.0)]
    assert drags[0] > drags[1] > drags[2]


def test_area_share_is_one_for_uniform_stress_and_zero_for_a_pure_edge_force():
    assert area_share([2.0, 2.0], [0.3, 0.2]) == pytest.approx(1.0)
    assert area_share([0.0, 5.0], [0.3, 0.2]) == 0.0


@pytest.mark.parametrize(("room", "accommodation"), [(4.0, 1.0), (4.0, 0.6), (8.0, 0.8)])
def test_the_tables_of_the_kinetics_package_are_reproduced(room, accommodation):
    """At the nodes exactly; between them the monotone cubic and the spline part by less than 1e-3."""
    held, read = ResponseTable.standard("strip", room=room, accommodation=accommodation), response_for(room)
    assert np.array_equal(read.knudsen, held.knudsen)
    for kn, within in ((held.knudsen, 1e-9), (np.sqrt(held.knudsen[1:] * held.knudsen[:-1]), 2e-3), (np.inf, 1e-9)):
        found = read.at(kn, accommodation)
        for name, of in KINETIC.items():
            wanted = held.coefficient(of, np.minimum(kn, 1e15))
            assert getattr(found, name) == pytest.approx(wanted, rel=within, abs=1e-9), (name, within)


def test_an_error_function_is_evaluated_once_and_pickled_as_numbers(table):
    asked = []

    def relative():
        asked.append(1)
        return {name: np.full(table.knudsen.size, 0.3) for name in KINETIC.values()}

    less = table.less_certain(relative, together=True).less_certain(0.4)
    assert not asked
    expected = np.sqrt(table.relative_errors(1.0) ** 2 + 0.3**2 + 0.4**2)
    for one in (less, pickle.loads(pickle.dumps(less))):
        np.testing.assert_allclose(one.relative_errors(1.0), expected)
        np.testing.assert_allclose(one.shared_errors(1.0), 0.3)
        np.testing.assert_allclose(one.less_certain(0.1).relative_errors(1.0), np.hypot(expected, 0.1))
    assert len(asked) == 1
    assert np.all(table.relative_errors(1.0) < expected)
