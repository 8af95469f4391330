"""The torque that the readings imply, against direct integration over the molecules."""

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import quad

from edgewind.evidence import needed_torque
from edgewind.evidence.torque import (
    FREE_MOLECULAR_DRAG,
    FREE_MOLECULAR_DRAG_U,
    LEAST_KNUDSEN,
    free_molecular_drag_torque,
)
from edgewind.gas import GasState, most_probable_speed

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


def test_a_face_at_rest_at_the_temperature_of_its_gas_feels_the_pressure_of_the_gas():
    assert face_pressure() == pytest.approx(P0)


def test_free_molecular_drag_matches_integration_over_the_molecules():
    """A plate moving along its normal at U, both faces diffuse at the temperature of the gas: front minus back over
    ``p0`` per ``U/v0`` is ``4/sqrt(pi) + sqrt(pi)``; the integral here knows nothing of that form.
    """
    u = 1e-4
    drag = (face_pressure(towards=u) - face_pressure(towards=-u)) / P0 / u
    assert drag == pytest.approx(FREE_MOLECULAR_DRAG, rel=1e-6)


def test_specular_reflection_would_raise_the_drag_by_no_more_than_is_allowed_for():
    """Specular faces return the momentum that arrives, ``8/sqrt(pi)`` in all: 12 % more, one standard uncertainty and a
    little.
    """
    u = 1e-4
    specular = 2 * (arriving(2, u) - arriving(2, -u)) / P0 / u
    assert specular == pytest.approx(8 / np.sqrt(np.pi), rel=1e-6)
    assert specular / FREE_MOLECULAR_DRAG - 1 < 1.25 * FREE_MOLECULAR_DRAG_U


def test_free_molecular_thermal_force_matches_integration_over_the_molecules():
    """Faces at T0 +- dT/2: the warm face is pushed harder by ``p0 dT / (4 T0)``, whatever the shape.

    M. Knudsen, Ann. Phys. 337, 809 (1910), to first order in dT.
    """
    dt = 1e-3
    push = face_pressure(K_T0 * (1 + dt / 2)) - face_pressure(K_T0 * (1 - dt / 2))
    assert push == pytest.approx(P0 * dt / 4, rel=1e-5)


def test_free_molecular_heat_loss_matches_integration_over_the_molecules():
    """Energy that leaves less energy that arrives, to first order in dT: ``p0 v0 / sqrt(pi)`` per ``dT/T0``."""
    dt = 1e-4
    flux = arriving(1)
    arrives = arriving(3) / 2 + flux * K_T0
    loss = leaving(flux, K_T0 * (1 + dt))[1] - arrives
    assert loss / dt == pytest.approx(P0 / np.sqrt(np.pi), rel=1e-5)


def test_drag_torque_is_the_sum_over_strips_of_the_vanes(make_bench):
    rotor, pressure, speed, v0 = make_bench().rotor, 0.02, 30.0, 420.0
    edges = rotor.arm.value + np.linspace(-0.5, 0.5, 2001) * rotor.vane_width.value
    r, dr = (edges[1:] + edges[:-1]) / 2, np.diff(edges)
    strips = FREE_MOLECULAR_DRAG * pressure * rotor.vane_height.value * dr * (speed * r / v0) * r
    whole = free_molecular_drag_torque(
        pressure, speed, rotor.vane_area_m2, rotor.mean_square_arm_m2, FREE_MOLECULAR_DRAG, rotor.vanes, v0
    )
    assert whole == pytest.approx(rotor.vanes * strips.sum(), rel=1e-6)


# The reading that tells


def used(*rows):
    """Readings with pressure (Pa), speed (rad/s), its uncertainty, and the relative uncertainty of the pressure."""
    frame = pd.DataFrame(rows, columns=["pressure_pa", "speed_rad_s", "speed_u_rad_s", "log_pressure_u"])
    return frame.assign(
        line=range(2, len(frame) + 2),
        log_pressure_u_common=0.05,
        pressure_u_pa=frame["pressure_pa"] * np.hypot(frame["log_pressure_u"], 0.05),
    )


def test_needed_torque_by_hand(make_bench):
    bench = make_bench()
    found = needed_torque(used((0.02, 30.0, 0.3, 0.01)), bench, 0.9)
    v0 = most_probable_speed(295.15, bench.gas.gas.molecular_mass_kg)
    by_hand = 4 * (4 / np.sqrt(np.pi) + np.sqrt(np.pi)) * 0.02 * 0.012**2 * (0.020**2 + 0.012**2 / 12) * 30.0 / v0
    assert found.torque.value == pytest.approx(by_hand, rel=0.01)
    assert found.knudsen == pytest.approx(GasState(bench.gas.gas, 0.02, 295.15).mean_free_path_m() / 0.012)
    assert found.line == 2
    relative = np.sqrt(0.01**2 + 0.05**2 + 0.01**2 + (0.1 / 12) ** 2 + (2 * 0.2 / 20) ** 2 + FREE_MOLECULAR_DRAG_U**2)
    assert found.torque.u / found.torque.value == pytest.approx(relative, rel=0.05)
    low, high = found.torque.interval
    assert low < found.torque.value < high


def test_the_best_known_of_the_thin_readings_is_taken(make_bench):
    rows = [(0.02, 30.0, 3.0, 0.01), (0.03, 35.0, 0.35, 0.01), (0.04, 40.0, 0.4, 0.20), (5.0, 50.0, 0.01, 0.001)]
    assert needed_torque(used(*rows), make_bench(), 0.9).line == 3


def test_the_sense_of_rotation_does_not_matter_to_the_size(make_bench):
    one, other = (needed_torque(used((0.02, speed, 0.3, 0.01)), make_bench(), 0.9) for speed in (30.0, -30.0))
    assert one.torque == other.torque
    assert other.speed_rad_s == 30.0


@pytest.mark.parametrize(
    "rows",
    [[], [(1.0, 30.0, 0.3, 0.01)], [(0.02, 0.5, 0.3, 0.01)]],
    ids=["no readings", "gas too dense", "not turning"],
)
def test_without_a_turning_rotor_in_thin_gas_nothing_is_said(make_bench, rows):
    assert needed_torque(used(*rows), make_bench(), 0.9) is None


def test_thin_means_the_least_knudsen_number_at_which_the_closed_form_is_used(make_bench):
    bench = make_bench()
    border = GasState(bench.gas.gas, 1.0, 295.15).mean_free_path_m() / (0.012 * LEAST_KNUDSEN)
    assert needed_torque(used((0.99 * border, 30.0, 0.3, 0.01)), bench, 0.9) is not None
    assert needed_torque(used((1.01 * border, 30.0, 0.3, 0.01)), bench, 0.9) is None
