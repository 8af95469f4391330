"""Free-molecular force, drag and heat, by direct integration over the molecules."""

import numpy as np
import pytest
from scipy.integrate import quad

from edgewind.rotor import parameters_of
from edgewind.rotor.drag import FREE_MOLECULAR_DRAG, vane_drag
from edgewind.rotor.film import diffuse_share

# A gas in units of its own: m = n = 1 and v0 = sqrt(2 k T0 / m) = 1, so that k T0 = p0 = 1/2.
P0, K_T0 = 0.5, 0.5


def arriving(power, drift=0.0):
    """Integral of ``c^power f`` over molecules flying towards a wall that lies in the way of positive c; f drifts."""
    return quad(lambda c: c**power * np.exp(-((c - drift) ** 2)) / np.sqrt(np.pi), 0, 12)[0]


def leaving(flux, k_t):
    """Momentum and energy carried off by a flux that leaves as a half Maxwellian (diffuse reflection)."""
    speed = np.sqrt(2 * k_t)
    normal = [
        quad(lambda c, power=power: c**power * np.exp(-((c / speed) ** 2)), 0, 12 * speed)[0] for power in (1, 2, 3)
    ]
    momentum = flux * normal[1] / normal[0]
    # Half of m c^2 along the normal, and k T for the two directions along the wall.
    energy = flux * (normal[2] / normal[0] / 2 + k_t)
    return momentum, energy


def face_pressure(k_t_wall=K_T0, towards=0.0):
    """Pressure on a diffuse face that moves towards its gas."""
    flux, pressure = arriving(1, towards), arriving(2, towards)
    return pressure + leaving(flux, k_t_wall)[0]


def test_the_force_on_a_face_at_rest_in_equilibrium_is_the_pressure():
    assert face_pressure() == pytest.approx(P0)


def test_free_molecular_drag_matches_integration_over_the_molecules():
    """A plate moving along its normal at U, both faces diffuse at the temperature of the gas: front minus back over
    ``p0`` per ``U/v0`` is ``4/sqrt(pi) + sqrt(pi)``; the integral here knows nothing of that form.
    """
    u = 1e-4
    drag = (face_pressure(towards=u) - face_pressure(towards=-u)) / P0 / u
    assert drag == pytest.approx(FREE_MOLECULAR_DRAG, rel=1e-6)


def test_specular_reflection_would_raise_the_drag_by_an_eighth():
    """Specular faces return the momentum that arrives, ``8/sqrt(pi)`` in all."""
    u = 1e-4
    specular = 2 * (arriving(2, u) - arriving(2, -u)) / P0 / u
    assert specular == pytest.approx(8 / np.sqrt(np.pi), rel=1e-6)
    assert specular / FREE_MOLECULAR_DRAG - 1 == pytest.approx(0.12, abs=0.005)


def test_free_molecular_thermal_force_matches_integration_over_the_molecules():
    """Faces at T0 +- dT/2: the warm face is pushed harder by ``p0 dT / (4 T0)``, whatever the shape.

    M. Knudsen, Ann. Phys. 337, 809 (1910), to first order in dT.
    """
    dt = 1e-3
    push = face_pressure(K_T0 * (1 + dt / 2)) - face_pressure(K_T0 * (1 - dt / 2))
    assert push == pytest.approx(P0 * dt / 4, rel=1e-5)


@pytest.mark.parametrize(("warm", "cold"), [(1.2, 1.1), (1.5, 0.9)])
def test_force_and_drag_at_finite_warmth_match_integration_over_the_molecules(warm, cold):
    """``(p A/2) (sqrt(T1/T0) - sqrt(T2/T0))``, and drag ``4/sqrt(pi) + sqrt(pi) sqrt(T/T0)`` of both faces at T."""
    push = face_pressure(K_T0 * warm) - face_pressure(K_T0 * cold)
    assert push == pytest.approx(P0 / 2 * (np.sqrt(warm) - np.sqrt(cold)), rel=1e-8)
    u = 1e-4
    drag = (face_pressure(K_T0 * warm, towards=u) - face_pressure(K_T0 * warm, towards=-u)) / P0 / u
    assert drag / FREE_MOLECULAR_DRAG == pytest.approx(1 + diffuse_share(1.0) * (np.sqrt(warm) - 1), rel=1e-6)


def test_free_molecular_heat_loss_matches_integration_over_the_molecules():
    """Energy that leaves less energy that arrives, to first order in dT: ``p0 v0 / sqrt(pi)`` per ``dT/T0``."""
    dt = 1e-4
    flux = arriving(1)
    arrives = arriving(3) / 2 + flux * K_T0
    loss = leaving(flux, K_T0 * (1 + dt))[1] - arrives
    assert loss / dt == pytest.approx(P0 / np.sqrt(np.pi), rel=1e-5)


def test_drag_of_the_vanes_is_the_sum_over_strips(make_bench, standin):
    """Each strip of a vane at distance r moves at ``w r`` and feels ``c p dA (w r / v0)`` (free flight)."""
    rotor, pressure = parameters_of(make_bench()), 1e-5
    edges = rotor.arm_m + np.linspace(-0.5, 0.5, 2001) * rotor.vane_width_m
    r, dr = (edges[1:] + edges[:-1]) / 2, np.diff(edges)
    strips = FREE_MOLECULAR_DRAG * pressure * rotor.vane_height_m * dr * r**2 / rotor.most_probable_speed_m_s
    gas = standin.at(np.inf, 1.0)
    assert vane_drag(pressure, gas, rotor) == pytest.approx(rotor.vanes * strips.sum(), rel=1e-6)
