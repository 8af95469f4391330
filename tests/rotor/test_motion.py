"""Motion in time against closed forms, a stiff solver, and what is seen when a lamp goes off."""

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp

from edgewind.errors import InputError
from edgewind.rotor import (
    coast_down_angle,
    coast_down_speed,
    parameters_of,
    run,
    steady_state,
    stopping_time,
    thermal_times,
)


@pytest.fixture
def rotor(make_bench):
    return parameters_of(
        make_bench(
            rotor={"bright_emissivity": "0.8", "vane_conductance": "60 W/(m^2 K)", "pivot_dry_torque": "5e-11 N m"}
        )
    )


@pytest.mark.parametrize(("dry", "rate"), [(0.05, 0.2), (0.0, 0.2), (0.05, 1e-9), (2.0, 5.0)])
def test_coast_down_agrees_with_a_stiff_solver(dry, rate):
    stop = min(float(stopping_time(3.0, dry, rate)), 30.0)
    time = np.linspace(0, 0.999 * stop, 50)
    found = solve_ivp(
        lambda t, w: -dry - rate * w, (0, time[-1]), [3.0], method="Radau", t_eval=time, rtol=1e-10, atol=1e-12
    )
    assert np.allclose(coast_down_speed(time, 3.0, dry, rate), found.y[0], rtol=1e-7)
    assert np.allclose(coast_down_speed(time, -3.0, dry, rate), -found.y[0], rtol=1e-7)


@pytest.mark.parametrize(("dry", "rate"), [(0.05, 0.2), (0.0, 0.2), (0.05, 1e-9), (2.0, 5.0)])
def test_angle_is_the_integral_of_the_speed(dry, rate):
    for time in (0.5, 7.0, 40.0):
        stop = min(time, float(stopping_time(3.0, dry, rate)))
        expected = quad(lambda t: float(coast_down_speed(t, 3.0, dry, rate)), 0, stop)[0]
        assert float(coast_down_angle(time, 3.0, dry, rate)) == pytest.approx(expected, rel=1e-7)


def test_a_rotor_that_has_stopped_stays():
    assert coast_down_speed([100.0, 1000.0], 1.0, 0.1, 0.1).tolist() == [0.0, 0.0]


def test_run_in_the_dark_is_the_closed_form(rotor, standin):
    time = np.linspace(0, 30, 31)
    found = run(0.5, rotor, standin, time, lamp=lambda t: False, speed_rad_s=2.0)
    state = steady_state(np.array([0.5]), rotor, standin)
    inertia = rotor.moment_of_inertia_kg_m2
    expected = coast_down_speed(time, 2.0, rotor.pivot_dry_n_m / inertia, state.drag[0] / inertia)
    moving = expected > 0.05
    assert np.allclose(found["speed_rad_s"][moving], expected[moving], rtol=2e-3)


def test_spin_up_ends_at_the_steady_speed(rotor, standin):
    state = steady_state(np.array([1.0]), rotor, standin)
    wait = 12 * float(rotor.moment_of_inertia_kg_m2 / state.drag[0]) + 10 * float(
        thermal_times(np.array([1.0]), rotor, standin).whole[0]
    )
    found = run(1.0, rotor, standin, np.linspace(0, wait, 60))
    assert found["speed_rad_s"].iloc[-1] == pytest.approx(state.speed_rad_s[0], rel=1e-3)
    assert found["t_hot_k"].iloc[-1] == pytest.approx(state.at.dark_k[0], abs=1e-2)


def test_lamp_off_reverses_the_torque_while_the_vane_is_warm(rotor, standin):
    """The dark face radiates more and is for a while the colder one."""
    good = rotor.with_(bright_emissivity=0.5, pivot_dry_n_m=0.0, pivot_breakaway_n_m=0.0)
    lit = steady_state(np.array([0.3]), good, standin)
    assert lit.speed_rad_s[0] > 0
    warm = (float(lit.at.dark_k[0]), float(lit.at.bright_k[0]))
    found = run(0.3, good, standin, np.linspace(0, 100, 101), lamp=lambda t: False, faces_k=warm)
    assert found["torque_n_m"].iloc[10] < 0
    assert found["speed_rad_s"].min() < -0.01


def test_thermal_times_are_those_of_the_linear_balance(rotor, standin):
    """Without radiation: C/2 over (loss) for the whole vane, and over (2 G + 2 heat) for the difference."""
    cool = rotor.with_(dark_emissivity=0.0, bright_emissivity=0.0, internal_heat=0.0)
    pressure = np.array([0.2, 2.0])
    gas = standin.at(rotor.knudsen(pressure), rotor.accommodation)
    p_v0_t = pressure * rotor.most_probable_speed_m_s / rotor.gas_temperature_k
    half = rotor.heat_capacity_j_m2_k / 2
    found = thermal_times(pressure, cool, standin)
    assert np.allclose(found.whole, half / (p_v0_t * gas.loss), rtol=1e-5)
    assert np.allclose(found.difference, half / (2 * 60.0 + 2 * p_v0_t * gas.heat), rtol=1e-5)


def test_times_out_of_order_are_refused(rotor, standin):
    with pytest.raises(InputError, match="ascending"):
        run(1.0, rotor, standin, [0.0, 2.0, 1.0])
