"""Motion in time against closed forms, a stiff solver, and the behaviour after the lamp is switched off."""

import numpy as np
import pytest
from scipy.integrate import quad, simpson, solve_ivp

from edgewind.errors import InputError
from edgewind.rotor import (
    DRIVES,
    Conditions,
    Surroundings,
    coast_down_angle,
    coast_down_speed,
    constant,
    face_heat,
    parameters_of,
    run,
    state_of_warm_vane,
    steady_state,
    stopping_time,
    thermal_times,
)
from edgewind.rotor.drag import arm_drag, vane_drag
from edgewind.rotor.film import film_gas


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


def test_a_stopped_rotor_stays_at_rest():
    assert coast_down_speed([100.0, 1000.0], 1.0, 0.1, 0.1).tolist() == [0.0, 0.0]


def test_run_in_the_dark_is_the_closed_form(rotor, standin):
    time = np.linspace(0, 30, 31)
    found = run(constant(0.5, rotor.envelope_temperature_k, 0.0), rotor, standin, time, speed_rad_s=2.0)
    state = steady_state(np.array([0.5]), rotor.lamp_off(), standin)
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
    dark = constant(0.3, good.envelope_temperature_k, 0.0)
    found = run(dark, good, standin, np.linspace(0, 100, 101), faces_k=warm)
    assert found["torque_n_m"].iloc[10] < 0
    assert found["speed_rad_s"].min() < -0.01


def test_thermal_times_are_those_of_the_linear_balance(rotor, standin):
    """Without radiation: C/2 over (loss) for the whole vane, and over (2 G + 2 heat) for the difference."""
    cool = rotor.with_(dark_emissivity=0.0, bright_emissivity=0.0, internal_heat=0.0, conductivity_factor=1.0)
    pressure = np.array([0.2, 2.0])
    at = steady_state(pressure, cool, standin).at
    gas = film_gas(pressure, (at.dark_k + at.bright_k) / 2, cool, standin)
    p_v0_t = pressure * rotor.most_probable_speed_m_s / rotor.gas_temperature_k
    half = rotor.heat_capacity_j_m2_k / 2
    found = thermal_times(pressure, cool, standin)
    assert np.allclose(found.whole, half / (p_v0_t * gas.loss), rtol=1e-5)
    assert np.allclose(found.difference, half / (2 * 60.0 + 2 * p_v0_t * gas.heat), rtol=1e-5)


def test_times_out_of_order_are_refused(rotor, standin):
    with pytest.raises(InputError, match="must ascend"):
        run(1.0, rotor, standin, [0.0, 2.0, 1.0])


# Through standstill, and reversal


def chill(rotor, low_k=253.15, start_s=10.0, fall_s=30.0, end_s=400.0, pressure_pa=0.5):
    """A dark envelope that is chilled."""
    room = float(rotor.envelope_temperature_k)
    return Surroundings(
        np.array([0.0, start_s, start_s + fall_s, end_s]),
        np.full(4, pressure_pa),
        np.array([room, room, low_k, low_k]),
        np.zeros(4),
    )


def test_spin_down_through_standstill_is_the_closed_form_with_dry_friction(rotor, standin):
    """A constant torque from outside against the motion: ``w(t)`` to rest, then as long as the pivot holds, at rest; a
    larger one starts the rotor the other way, ``w = -(T - T_dry)/c (1 - exp(-c t/I))``.
    """
    time = np.linspace(0, 150, 601)
    dark = constant(0.5, rotor.envelope_temperature_k, 0.0)
    dry, inertia = rotor.pivot_dry_n_m, rotor.moment_of_inertia_kg_m2
    drag = steady_state(np.array([0.5]), rotor.lamp_off(), standin).drag[0]
    for torque, breakaway in ((0.5 * dry, dry), (-0.5 * dry, dry), (-3 * dry, dry), (-2 * dry, 4 * dry)):
        here = rotor.with_(pivot_breakaway_n_m=breakaway)
        found = run(dark, here, standin, time, speed_rad_s=0.1, outside_n_m=torque, drives=())
        speed = found["speed_rad_s"].to_numpy()
        stop = float(stopping_time(0.1, (dry - torque) / inertia, drag / inertia))
        assert 0 < stop < 140
        expected = coast_down_speed(time, 0.1, (dry - torque) / inertia, drag / inertia)
        if -torque > breakaway:
            back = -(-torque - dry) / drag * -np.expm1(-drag / inertia * (time - stop))
            expected = np.where(time > stop, back, expected)
            assert not found["standing"].any()
        else:
            assert found["standing"].to_numpy()[time > stop + 0.1].all()
        assert np.allclose(speed, expected, atol=2e-7)


def test_energy_of_the_faces_is_closed_over_a_run(rotor, standin):
    """What warms the faces is the heat that came in less the heat that left, to 3e-5 of what was exchanged: the run has
    the film's change of the heat to the gas on a straight line.
    """
    time = np.linspace(0, 200, 40_001)
    warm = rotor.with_(envelope_temperature_k=295.15, gas_temperature_k=295.15)
    around = chill(warm, end_s=200.0)
    lit = Surroundings(around.time_s, around.pressure_pa, around.envelope_k, np.array([1.0, 0.0, 0.3, 0.3]))
    found = run(lit, warm, standin, time)
    dark, bright = found["t_hot_k"].to_numpy(), found["t_cold_k"].to_numpy()
    at = warm.in_surroundings(np.interp(time, lit.time_s, lit.envelope_k))
    gas = film_gas(0.5, (dark + bright) / 2, at, standin)
    share = lit.lamp_share[np.clip(np.searchsorted(lit.time_s, time, side="right") - 1, 0, None)]
    flows = face_heat(dark, bright, 0.5, found["speed_rad_s"].to_numpy(), gas, at.with_(irradiance_w_m2=share * 800.0))
    surplus, half = sum(flows.surplus), warm.heat_capacity_j_m2_k / 2
    inside = [(time >= start) & (time <= end) for start, end in ((0, 9.995), (10, 39.995), (40, 200))]
    for part in inside:
        kept = half * ((dark + bright)[part][-1] - (dark + bright)[part][0])
        exchanged = simpson(np.abs(flows.absorbed_dark + flows.radiated_dark)[part], x=time[part])
        assert abs(kept - simpson(surplus[part], x=time[part])) < 3e-5 * max(exchanged, abs(kept))


def test_a_chilled_dark_envelope_reverses_the_rotor_before_it_comes_to_rest(rotor, standin):
    """Both faces are warmer than the chilled wall; the dark one radiates more and becomes the colder of the two."""
    good = rotor.with_(bright_emissivity=0.1, pivot_dry_n_m=1e-12, pivot_breakaway_n_m=2e-12)
    found = run(chill(good, end_s=3000.0), good, standin, np.linspace(0, 3000, 3001))
    speed = found["speed_rad_s"].to_numpy()
    assert found["standing"].iloc[5]
    assert speed.min() < -0.02
    assert speed.max() < 1e-9
    assert found["t_hot_k"].iloc[60] < found["t_cold_k"].iloc[60]
    assert found["standing"].iloc[-1]
    assert found["t_hot_k"].iloc[-1] == pytest.approx(253.15, abs=0.01)


def test_a_warmed_dark_envelope_drives_the_rotor_forward_unless_emissivities_are_equal(rotor, standin):
    good = rotor.with_(bright_emissivity=0.1, pivot_dry_n_m=1e-12, pivot_breakaway_n_m=2e-12)
    time = np.linspace(0, 300, 301)
    assert run(chill(good, low_k=330.0), good, standin, time)["speed_rad_s"].max() > 0.02
    equal = good.with_(bright_emissivity=float(good.dark_emissivity))
    assert run(chill(equal), equal, standin, time)["standing"].all()


def test_a_run_agrees_with_a_plain_integration_of_the_balances(rotor, standin):
    """Against Radau on the rotor's own balances written out, without a table and without a pivot."""
    free = rotor.with_(pivot_dry_n_m=0.0, pivot_breakaway_n_m=0.0, bright_emissivity=0.3)
    around, time = chill(free, end_s=120.0), np.linspace(0, 120, 61)

    def rates(t, state):
        at = free.in_surroundings(float(np.interp(t, around.time_s, around.envelope_k))).with_(irradiance_w_m2=0.0)
        kn = at.knudsen(0.5)
        gas = film_gas(0.5, (state[0] + state[1]) / 2, at, standin)
        here = Conditions(np.asarray(0.5), kn, gas, np.asarray(state[0]), np.asarray(state[1]), at)
        torque = float(sum(drive(here) for drive in DRIVES.values()))
        drag = float(vane_drag(0.5, gas, at) + arm_drag(0.5, standin, at))
        over = face_heat(state[0], state[1], 0.5, state[2], gas, at).surplus
        half = at.heat_capacity_j_m2_k / 2
        return [float(over[0]) / half, float(over[1]) / half, (torque - drag * state[2]) / at.moment_of_inertia_kg_m2]

    start = [float(free.envelope_temperature_k)] * 2 + [0.5]
    plain = solve_ivp(rates, (0, 120), start, method="Radau", t_eval=time, rtol=1e-8, atol=1e-9, max_step=2.0)
    found = run(around, free, standin, time, speed_rad_s=0.5)
    assert np.allclose(found["speed_rad_s"], plain.y[2], atol=1e-3)
    assert np.allclose(found["t_hot_k"], plain.y[0], atol=5e-3)


def test_impossible_surroundings_are_refused():
    one, two = np.array([0.0]), np.array([0.0, 0.0])
    with pytest.raises(InputError, match="must be equally long"):
        Surroundings(one, two, one, one)
    with pytest.raises(InputError, match="must ascend"):
        Surroundings(two, two, two, two)


def test_a_run_started_with_a_warm_vane_continues_one_through_that_temperature(rotor, standin):
    """Against the motion in time, well after the difference of the faces has settled."""
    free = rotor.with_(pivot_dry_n_m=0.0, pivot_breakaway_n_m=0.0, bright_emissivity=0.2)
    dark = constant(0.2, 253.15, 0.0)
    found = run(dark, free, standin, np.linspace(0, 40, 401), faces_k=(295.15, 295.15))
    at = free.in_surroundings(253.15, 0.0)
    for k in (100, 250):
        faces = found["t_hot_k"].iloc[k], found["t_cold_k"].iloc[k]
        held = state_of_warm_vane(0.2, sum(faces) / 2, at, standin)
        assert float(held.at.dark_k - held.at.bright_k) == pytest.approx(faces[0] - faces[1], rel=0.03)
        assert float(held.net_torque) == pytest.approx(found["torque_n_m"].iloc[k], rel=0.03)
        assert float(held.speed_rad_s) < 0
    rest = state_of_warm_vane(0.2, 253.15, at, standin)
    assert float(rest.net_torque) == pytest.approx(0.0, abs=1e-18)


def test_a_stronger_drive_is_a_weaker_brake(rotor, standin):
    time = np.linspace(0, 20, 21)
    strong = run(1.0, rotor, standin, time, strength=3.0)
    plain = run(1.0, rotor, standin, time)
    assert strong["torque_n_m"].iloc[5] == pytest.approx(3 * plain["torque_n_m"].iloc[5], rel=0.02)
