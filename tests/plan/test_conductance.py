"""Tubes: Clausing's equation against published tables and other solutions, and the limits of all formulas."""

import sys
from pathlib import Path

import numpy as np
import pytest

from edgewind.errors import InputError
from edgewind.gas import GasState, find_gas
from edgewind.plan.conductance import (
    Tube,
    choked_throughput,
    conductance,
    disc_to_disc,
    effective_speed,
    heat_capacity_ratio,
    molecular_conductance,
    poiseuille_coefficient,
    throughput,
    transmission_probability,
    tube_rarefaction,
    viscous_conductance,
    wall_to_disc,
)

sys.path.insert(0, str(Path(__file__).parent))
from tube_flow import reduced_flow

AIR = GasState(find_gas("air"), 1.0, 293.15)
NITROGEN = GasState(find_gas("N2"), 1.0, 295.15)


@pytest.mark.parametrize(
    ("length", "theirs"),
    [
        (0.1, 0.9524), (0.2, 0.9092), (0.5, 0.8013), (1.0, 0.6720), (2.0, 0.5142), (5.0, 0.3105), (10.0, 0.1909),
        (20.0, 0.1093), (50.0, 0.04848),
    ],
)  # fmt: skip
def test_transmission_agrees_with_cole_to_four_digits(published, length, theirs):
    """R. J. Cole, Progress in Astronautics and Aeronautics 51, 261 (1977), table of L/R, whose numbers an independent
    Galerkin solution in Legendre polynomials gives to its digits (the paper itself was not read).
    """
    published(f"transmission of a tube, L/R = {length:g}", transmission_probability(length), theirs, abs=6e-5)


@pytest.mark.parametrize("length", [0.5, 3.0, 10.0])
def test_another_discretisation_gives_the_same_transmission(length):
    """Nyström's method on Gauss points, the weak kink of the kernel subtracted: no step in common with ours."""
    node, weight = np.polynomial.legendre.leggauss(240)
    x, weight = length / 2 * (1 + node), length / 2 * weight
    apart = np.abs(x[:, None] - x[None, :])
    kernel = 0.5 - apart * (apart**2 + 6) / (2 * (apart**2 + 4) ** 1.5)
    kept = 1 - wall_to_disc(x) - wall_to_disc(length - x)  # integral of the kernel over the tube
    matrix = np.eye(x.size) * (1 - kept + kernel @ weight) - kernel * weight
    chance = np.linalg.solve(matrix, wall_to_disc(length - x))
    other = disc_to_disc(length) + 2 * np.sum(weight * wall_to_disc(x) * chance)
    assert transmission_probability(length) == pytest.approx(float(other), rel=2e-6)


def test_transmission_agrees_with_molecules_traced_one_by_one():
    """200 000 flights through a tube of two radii with diffuse walls."""
    random = np.random.default_rng(3)
    n, length = 200_000, 2.0
    radius, turn = np.sqrt(random.random(n)), 2 * np.pi * random.random(n)
    place = np.stack([radius * np.cos(turn), radius * np.sin(turn), np.zeros(n)])
    way = _cosine(random, np.broadcast_to([[0.0], [0.0], [1.0]], (3, n)))
    passed = 0
    while place.shape[1]:
        a = way[0] ** 2 + way[1] ** 2
        b = place[0] * way[0] + place[1] * way[1]
        c = place[0] ** 2 + place[1] ** 2 - 1
        flight = (-b + np.sqrt(np.maximum(b**2 - a * c, 0))) / a
        place = place + flight * way
        passed += int(np.sum(place[2] >= length))
        inside = (place[2] > 0) & (place[2] < length)
        place = place[:, inside]
        place[:2] /= np.hypot(place[0], place[1])
        way = _cosine(random, np.stack([-place[0], -place[1], np.zeros(place.shape[1])]))
    share = passed / n
    assert abs(share - transmission_probability(length)) < 4 * np.sqrt(share * (1 - share) / n)


def _cosine(random, normal):
    """Directions by the cosine law about a normal: normal plus a point of the unit sphere, made a unit vector."""
    point = random.standard_normal(normal.shape)
    found = normal + point / np.linalg.norm(point, axis=0)
    return found / np.linalg.norm(found, axis=0)


def test_a_long_tube_approaches_eight_thirds_of_its_radius_over_its_length():
    for length in (1e3, 2e3, 1e4, 1e6):
        assert transmission_probability(length) * 3 * length / 8 == pytest.approx(1.0, abs=10 / length)
    before, after = transmission_probability(1999.9), transmission_probability(2000.1)
    assert before > after and before / after == pytest.approx(1 + 0.2 / 2000, abs=2e-6)


@pytest.mark.parametrize("length", [-1.0, np.nan, np.inf])
def test_an_impossible_tube_is_refused(length):
    with pytest.raises(InputError, match="radii"):
        transmission_probability(length)


def test_conductance_reaches_its_limits_in_rarefied_and_in_dense_gas():
    tube = Tube(0.3, 0.02)
    thin = conductance(tube, 1e-6, NITROGEN)
    assert float(thin) == pytest.approx(molecular_conductance(tube, NITROGEN), rel=1e-3)
    dense = 1e5
    viscous = float(viscous_conductance(tube, dense, NITROGEN))
    assert float(conductance(tube, dense, NITROGEN)) == pytest.approx(viscous, rel=1e-3)


def test_a_tube_of_no_length_is_the_orifice_of_sampson_and_of_free_flight():
    """R. A. Sampson (1891): R^3 p / (3 mu) in slow viscous flow; A v_mean / 4 in free flight."""
    hole = Tube(0.0, 2e-3)
    assert float(viscous_conductance(hole, 100.0, AIR)) == pytest.approx(1e-9 * 100 / (3 * AIR.viscosity_pa_s))
    mean_speed = 2 * AIR.most_probable_speed_m_s / np.sqrt(np.pi)
    assert molecular_conductance(hole, AIR) == pytest.approx(hole.area_m2 * mean_speed / 4)


def test_conductance_matches_rules_of_thumb_for_air_at_20_degrees(published):
    """Handbook figures, common practice: 11.6 l/s a square centimetre; 12.1 d^3/l and 135 d^4 p/l (cm, mbar)."""
    opening = 1e3 * molecular_conductance(Tube(0.0, 0.01), AIR) / (np.pi / 4)
    published("opening for air, a square centimetre", opening, 11.6, rel=0.005, unit="l/s")
    long = Tube(10.0, 0.01)
    thin, dense = molecular_conductance(long, AIR), viscous_conductance(long, 100.0, AIR)
    published("tube of 1 cm by 1 cm, molecular", 1e6 * thin, 12.1, rel=0.01, unit="l/s")
    published("tube of 1 cm by 1 cm at 1 mbar, viscous", 1e6 * dense, 135, rel=0.01, unit="l/s")


@pytest.mark.parametrize(("delta", "theirs"), [(0.01, 1.4768), (0.02, 1.4608), (0.04, 1.4391), (0.08, 1.4131)])
def test_poiseuille_coefficient_agrees_with_published_solutions(published, delta, theirs):
    """C. Cercignani and F. Sernagiotto, Phys. Fluids 9, 40 (1966), cylindrical Poiseuille flow, as table 15.5 of G. E.
    Karniadakis, A. Beskok and N. Aluru, Microflows and Nanoflows (2005), gives it; it lies 0.04 % above an exact
    solution of the same equation.
    """
    published(f"flow through a long tube, delta = {delta:g}", poiseuille_coefficient(delta), theirs, rel=0.001)


@pytest.mark.parametrize(
    ("delta", "exact"), [(0.01, 1.4763), (0.08, 1.4125), (0.1, 1.4040), (1.0, 1.4583), (10.0, 3.5641)]
)
def test_poiseuille_coefficient_agrees_with_an_independent_solution(delta, exact):
    """The linear BGK equation as an integral equation in polar coordinates, solved by code that shares nothing with
    this one (30 and 36 points agree to 1e-6).
    """
    assert float(poiseuille_coefficient(delta)) == pytest.approx(exact, rel=0.001)


@pytest.mark.parametrize("delta", [0.005, 0.14, 1.0, 6.0, 15.0])
def test_the_table_of_tube_flow_agrees_with_the_equation(delta):
    assert float(poiseuille_coefficient(delta)) == pytest.approx(reduced_flow(delta), rel=1.5e-3)


def test_the_flow_stays_within_ten_per_cent_of_knudsens_formula():
    """M. Knudsen, Ann. Phys. 333, 75 (1909): the molecular part falls as ``(1 + 2.507 b) / (1 + 3.095 b)`` with ``b = d
    p / (mu sqrt(2 pi k T/m))``, the constants as Karniadakis, Beskok and Aluru (2005), eq. 4.31, take them from Loeb
    (1961).
    """
    tube = Tube(4.0, 0.02)
    pressure = np.geomspace(1e-3, 1e3, 40)
    a = 2 * np.sqrt(2) * tube_rarefaction(tube, pressure, NITROGEN)
    part = (1 + a) / (1 + 3.095 / 2.507 * a)
    knudsen = viscous_conductance(tube, pressure, NITROGEN) + part * molecular_conductance(tube, NITROGEN)
    ratio = knudsen / conductance(tube, pressure, NITROGEN)
    assert ratio.min() > 0.90 and ratio.max() < 1.10


def test_a_long_tube_has_its_least_conductance_near_rarefaction_one():
    """Knudsen's minimum, of the flow over the mean pressure's share: G_P is least at delta near 1."""
    delta = np.geomspace(0.01, 10, 400)
    assert 0.3 < delta[np.argmin(poiseuille_coefficient(delta))] < 1.5
    assert float(tube_rarefaction(Tube(1.0, 0.02), 1.0, NITROGEN)) == pytest.approx(
        0.01 / (NITROGEN.viscosity_pa_s * NITROGEN.most_probable_speed_m_s)
    )


def test_flow_never_exceeds_the_choked_flow():
    """200 l/(s cm^2) for air into vacuum at 20 degC is the common figure."""
    hole = Tube(0.0, 0.01)
    assert heat_capacity_ratio(GasState(find_gas("Ar"), 1.0, 293.15)) == pytest.approx(5 / 3, abs=1e-4)
    assert float(choked_throughput(hole, 1e5, AIR)) / 1e5 / hole.area_m2 / 10 == pytest.approx(20, rel=0.02)
    high = np.geomspace(1.0, 1e5, 30)
    assert np.all(throughput(hole, high, 0.0, AIR) <= choked_throughput(hole, high, AIR) * (1 + 1e-12))


def test_pumping_speed_at_the_chamber_combines_pump_and_tube_in_series():
    tube, pump = Tube(0.5, 0.025), 0.010
    found = float(effective_speed(tube, pump, 1e-5, NITROGEN))
    passes = molecular_conductance(tube, NITROGEN)
    assert found == pytest.approx(1 / (1 / pump + 1 / passes), rel=1e-4)
    assert float(effective_speed(None, pump, 1.0, NITROGEN)) == pump
    speeds = effective_speed(tube, pump, np.geomspace(1e-3, 1e4, 40), NITROGEN)
    assert np.all(speeds < pump) and speeds[-1] > 0.99 * pump
