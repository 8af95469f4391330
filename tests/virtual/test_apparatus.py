"""The simulated apparatus agrees with closed forms and other solvers, whenever it is queried."""

from __future__ import annotations

import numpy as np
import pytest
from desk import Desk, plain_bench
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import RK45, solve_ivp

from edgewind.clock import SimulatedClock
from edgewind.rotor import coast_down_angle, coast_down_speed, parameters_of, predict, response_of, run
from edgewind.rotor.film import film_gas
from edgewind.rotor.heat import face_heat
from edgewind.rotor.steady import steady_state
from edgewind.virtual import Apparatus, invented_bench, step_kernel
from edgewind.virtual.gas_table import gas_table
from edgewind.virtual.hidden_rotor import BenchConditions
from edgewind.virtual.step_kernel import State, rates


def at_rest(**virtual):
    clock = SimulatedClock()
    return Apparatus(plain_bench(**virtual), clock), clock


def test_pump_down_is_the_closed_form():
    """V dp/dt = Q - S p: exponential with V/S to Q/S; the equation of every textbook of vacuum."""
    apparatus, clock = at_rest(
        volume="6 l", pumping_speed="1.5 l/s", outgassing="7.5e-6 Pa*m^3/s", start_pressure="5 Pa"
    )
    clock.advance(60)
    times = np.linspace(0, 60, 301)[-20:]
    expected = 5e-3 + (5 - 5e-3) * np.exp(-times * 1.5e-3 / 6e-3)
    assert apparatus.states(times)[:, State.PRESSURE] == pytest.approx(expected, rel=2e-6)


def test_coefficients_of_the_runge_kutta_pair_are_those_of_dormand_and_prince():
    """Dormand and Prince, J. Comput. Appl. Math. 6, 19 (1980), table 2, as SciPy has it in RK45."""
    assert step_kernel._A[:6, :5] == pytest.approx(RK45.A, rel=1e-15)
    assert step_kernel._A[6] == pytest.approx(RK45.B, rel=1e-15)
    # SciPy's error is the fourth order less the fifth.
    assert np.abs(step_kernel._E) == pytest.approx(np.abs(RK45.E), rel=1e-12)


def test_the_final_pressure_is_log_linear_in_the_valve_voltage():
    """Steady: p = Q/S, with ten times the flow for each 2 V, and no flow at 0 V."""
    apparatus, clock = at_rest()
    found = []
    for volts in (0, 3, 5, 7, 9):
        apparatus.open_valve(volts)
        clock.advance(400)
        found.append(apparatus.state()["pressure"] - 5e-3)
    assert found[0] == pytest.approx(0, abs=1e-8)
    expected = 10 ** ((np.array([3, 5, 7, 9]) - 5) / 2) - 10**-2.5
    assert found[1:] == pytest.approx(expected, rel=1e-6)


def test_chamber_valve_and_gauge_agree_with_an_independent_integration():
    """The same equations written down again and given to LSODA of SciPy."""
    apparatus, clock = at_rest()
    clock.advance(7.3)
    apparatus.open_valve(6.0)
    clock.advance(5.0)
    apparatus.open_valve(0.0)
    clock.advance(8.0)

    def equations(t, y):
        to = 6.0 if 7.3 <= t < 12.3 else 0.0
        flow = 7.5e-6 + 1.5e-3 * (10 ** ((y[2] - 5) / 2) - 10**-2.5)
        return [(flow - 1.5e-3 * y[0]) / 6e-3, (y[0] - y[1]) / 0.2, (to - y[2]) / 0.3]

    times = np.linspace(15.4, 20.3, 50)
    state = [5.0, 5.0, 0.0]
    for start, end in ((0, 7.3), (7.3, 12.3), (12.3, 20.3)):
        found = solve_ivp(
            equations, (start, end - 1e-12), state, method="LSODA", rtol=1e-10, atol=1e-14, dense_output=True
        )
        state = found.y[:, -1]
    expected = found.sol(times)
    rows = apparatus.states(times)
    assert rows[:, State.PRESSURE] == pytest.approx(expected[0], rel=1e-5)
    assert rows[:, State.GAUGE] == pytest.approx(expected[1], rel=1e-5)
    assert rows[:, State.VALVE] == pytest.approx(expected[2], abs=1e-5)


@pytest.mark.parametrize("volts", [3.0, 4.5, 6.0, 7.5])
def test_steady_speed_equals_the_predicted_one(volts):
    """The same numbers as `edgewind predict` at that pressure: speed and both faces, but for the inner heat of the
    molecules, which the table has at the Knudsen number of the film: some millikelvins of a face.
    """
    apparatus, clock = at_rest()
    apparatus.open_valve(volts)
    apparatus.light(1.0)
    clock.advance(8000)
    state = apparatus.state()
    (expected,) = predict(apparatus.bench, [state["pressure"]]).to_dict("records")
    assert state["speed"] == pytest.approx(expected["speed_rad_s"], rel=1e-3)  # recoil of infrared is linear there
    assert state["dark"] == pytest.approx(expected["t_hot_k"], abs=1e-2)
    assert state["bright"] == pytest.approx(expected["t_cold_k"], abs=1e-2)


def test_spin_up_agrees_with_the_rotor_package():
    """`edgewind.rotor.run` follows the same rotor with another integrator (Radau) and another table."""
    apparatus, clock = at_rest(lamp_lag="1 ms", start_pressure="1 Pa", outgassing="1.5e-3 Pa*m^3/s")
    rotor = parameters_of(apparatus.bench)
    apparatus.light(1.0)
    times = np.linspace(0, 120, 61)
    clock.advance(120)
    rows = [apparatus.states(times[-2])[0], apparatus.states(times[-1])[0]]
    expected = run(1.0, rotor, response_of(rotor), times)
    for row, wanted in zip(rows, expected.to_dict("records")[-2:], strict=True):
        assert row[State.SPEED] == pytest.approx(wanted["speed_rad_s"], rel=2e-4)
        assert row[State.DARK] - row[State.BRIGHT] == pytest.approx(wanted["t_hot_k"] - wanted["t_cold_k"], rel=2e-4)


def with_truth(bench, **truth):
    """The bench with other values in `[virtual] truth`: ``pivot_viscous="1e-10 N m s"`` is `rotor.pivot_viscous`."""
    named = {f"rotor.{name}": value for name, value in truth.items()}
    return bench.model_copy(update={"virtual": bench.virtual.model_copy(update={"truth": named})})


def test_coast_down_has_the_time_constant_of_inertia_over_drag():
    """``I dw/dt = -T_c - c w`` in the dark: the closed form of `rotor.coast_down_speed`, and its angle.

    A vane that conducts well keeps its faces together; else its own motion would warm one of them and brake more.
    """
    bench = with_truth(
        plain_bench(start_pressure="1 Pa", outgassing="1.5e-3 Pa*m^3/s"),
        pivot_dry_torque="1e-10 N m", pivot_viscous="1e-10 N m s", vane_conductance="20000 W/(m^2 K)",
    )  # fmt: skip
    clock = SimulatedClock()
    apparatus = Apparatus(bench, clock)
    apparatus._state[State.SPEED], apparatus._sense = 6.0, 1
    clock.advance(30)
    times = np.linspace(25.5, 30, 46)
    rows = apparatus.states(times)
    rotor = apparatus.rotor
    inertia = rotor.moment_of_inertia_kg_m2
    drag = float(steady_state([1.0], rotor.lamp_off(), response_of(rotor)).drag[0]) / inertia
    dry = rotor.pivot_dry_n_m / inertia
    assert rows[:, State.SPEED] == pytest.approx(coast_down_speed(times, 6.0, dry, drag), rel=1e-4)
    assert rows[:, State.TURNS] * 2 * np.pi == pytest.approx(coast_down_angle(times, 6.0, dry, drag), rel=1e-4)


def test_the_pivot_holds_below_break_away_and_stops_the_rotor_in_the_dark():
    bench = plain_bench(start_pressure="1 Pa", outgassing="1.5e-3 Pa*m^3/s")

    def with_pivot(dry, breakaway):
        changed = with_truth(bench, pivot_dry_torque=f"{dry} N m", pivot_breakaway_torque=f"{breakaway} N m")
        clock = SimulatedClock()
        return Apparatus(changed, clock), clock

    # Full light drives this rotor with 7e-9 N m at 1 Pa.
    stuck, clock = with_pivot(1e-9, 2e-8)
    stuck.light(1.0)
    clock.advance(300)
    assert stuck.state()["speed"] == 0.0 and stuck.state()["turns"] == 0.0
    free, clock = with_pivot(1e-9, 2e-9)
    free.light(1.0)
    clock.advance(1500)
    assert free.state()["speed"] == pytest.approx(predict_with(free, 1e-9, 2e-9), rel=3e-4)
    free.light(0.0)
    clock.advance(400)
    state = free.state()
    assert state["speed"] == 0.0
    clock.advance(100)
    assert free.state()["turns"] == pytest.approx(state["turns"], rel=1e-12)


def predict_with(apparatus, dry, breakaway):
    changes = {"rotor.pivot_dry_torque": f"{dry} N m", "rotor.pivot_breakaway_torque": f"{breakaway} N m"}
    return predict(apparatus.bench, [apparatus.state()["pressure"]], changes=changes)["speed_rad_s"][0]


def test_a_chilled_rotor_turns_the_other_way_through_zero():
    """Where the light goes out, the dark face cools faster here: a rotor at rest starts backwards, and stops again."""
    apparatus, clock = at_rest(start_pressure="1 Pa", outgassing="1.5e-3 Pa*m^3/s")
    apparatus.light(1.0)
    clock.advance(2.0)
    apparatus.light(0.0)
    clock.advance(400.0)
    speeds = [apparatus.state()["speed"]]
    assert abs(speeds[0]) < 0.02
    heat = face_heat(
        320.0, 320.0, 1.0, 0.0, response_of(apparatus.rotor).at(apparatus.rotor.knudsen(1.0), 0.9),
        apparatus.rotor.lamp_off(),
    )  # fmt: skip
    assert heat.surplus[0] < heat.surplus[1]  # the dark face emits more


HIDDEN = {
    "model": "hidden", "deviation": "0.2", "accommodation_difference": 0.04, "foreign_torque": "1e-11 N m",
    "gauge_deviation": "0.05", "start_pressure": "1 Pa", "outgassing": "1.5e-3 Pa*m^3/s", "lamp_lag": "1 ms",
}  # fmt: skip


METAL = {"rotor.bright_emissivity": "0.1"}


@pytest.mark.parametrize(("envelope_k", "light"), [(295.15, 1.0), (255.15, 1.0), (330.15, 0.6)])
def test_the_hidden_rotor_settles_at_its_closed_form(envelope_k, light):
    """`HiddenRotor.steady_speed` shares no line with the steps in time; its Knudsen number follows the gas exactly."""
    apparatus, clock = at_rest(**HIDDEN, envelope_lag="1 s", thermostat_lag="1 s")
    apparatus.light(light)
    if envelope_k != 295.15:
        apparatus.hold_envelope(envelope_k)
    clock.advance(4000)
    state, around = apparatus.state(), BenchConditions(1.0, light, envelope_k)
    dark, bright = apparatus.hidden.faces(around)
    assert state["envelope"] == pytest.approx(envelope_k, abs=1e-3)
    assert [state["dark"], state["bright"]] == pytest.approx([float(dark), float(bright)], abs=0.02)
    assert state["speed"] == pytest.approx(float(apparatus.hidden.steady_speed(around)), rel=3e-3)


def test_the_rotor_reverses_while_its_envelope_is_chilled_in_the_dark():
    """Followed by SciPy's LSODA with the closed forms of `HiddenRotor`, and by the steps of the bench.

    The gas takes the temperature of the wall and the vane follows: the dark face cools faster, and the rotor turns
    with the dark face leading until both are as cold as the envelope.
    """
    thermal = HIDDEN | {"foreign_torque": "0 N m", "accommodation_difference": 0.0, "truth": METAL}
    apparatus, clock = at_rest(**thermal, thermostat_lag="40 s")
    hold = apparatus.hold()
    apparatus.hold_envelope(253.15)
    clock.advance(400)
    times = np.linspace(0, 400, 401)
    rows = apparatus.states(times)
    apparatus.release(hold)

    def around(t):
        return BenchConditions(1.0, 0.0, 253.15 + 42.0 * np.exp(-t / 40.0))

    expected = apparatus.hidden.run(times, around, (295.15, 295.15, 0.0))
    assert rows[:, State.SPEED].min() < -0.1
    assert rows[:, State.SPEED].min() == pytest.approx(expected[:, 2].min(), rel=0.02)
    assert int(rows[:, State.SPEED].argmin()) == pytest.approx(int(expected[:, 2].argmin()), abs=3)
    assert np.abs(rows[:, State.DARK] - expected[:, 0]).max() < 0.1
    assert rows[-1, State.SPEED] > 0.2 * rows[:, State.SPEED].min()
    # a push by unequal accommodation does not turn its sign there: the vane stays warmer than the gas
    unequal = thermal | {"accommodation_difference": 0.1, "truth": {"rotor.bright_emissivity": "0.94"}}
    other, clock = at_rest(**unequal, thermostat_lag="40 s")
    other.hold_envelope(253.15)
    clock.advance(80)
    assert other.state()["speed"] > 0.1
    assert np.diff(rows[50:150, State.TURNS]).max() < 0  # it does reverse


def test_the_gauge_of_the_hidden_bench_errs_by_more_than_a_factor():
    apparatus, _ = at_rest(**HIDDEN)
    pressure = np.array([0.1, 1.0, 5.0])
    shown = apparatus.gauge_output.indicated_log_pressure(pressure) - np.log(pressure)
    assert np.ptp(shown) > 0.01 and np.abs(shown).max() <= 0.0501


def test_the_envelope_warms_with_the_lamp():
    apparatus, clock = at_rest(lamp_warms_envelope="2 K", envelope_lag="100 s", lamp_lag="1 ms")
    apparatus.light(1.0)
    clock.advance(100)
    assert apparatus.state()["envelope"] == pytest.approx(295.15 + 2 * (1 - np.exp(-1)), abs=1e-4)


def test_light_fluctuates_by_the_stated_amount_and_the_rotor_follows():
    apparatus, clock = at_rest(lamp_wander="2 %", start_pressure="1 Pa", outgassing="1.5e-3 Pa*m^3/s")
    apparatus.light(1.0)
    hold = apparatus.hold()
    clock.advance(20_000)
    rows = apparatus.states(np.arange(1000.0, 20_000.0, 10.0))
    assert np.std(rows[:, State.LAMP]) == pytest.approx(0.02, rel=0.15)
    assert np.mean(rows[:, State.LAMP]) == pytest.approx(1.0, abs=0.003)
    assert 0.003 < np.std(rows[:, State.SPEED]) / np.mean(rows[:, State.SPEED]) < 0.025
    apparatus.release(hold)
    apparatus.light(0.0)
    clock.advance(100)
    assert apparatus.state()["lamp"] == pytest.approx(0.0, abs=1e-6)


def test_the_true_rotor_may_differ_from_the_description():
    """`[virtual] truth` changes what is simulated, not what bench.toml says."""
    bench = invented_bench()
    apparatus = Apparatus(bench, SimulatedClock())
    assert parameters_of(bench).irradiance_w_m2 == 800
    assert apparatus.rotor.irradiance_w_m2 == 840
    assert apparatus.rotor.pivot_dry_n_m == 0.8e-10


def test_drives_are_linear_as_the_table_assumes(make_bench):
    """Torque against the difference of the faces and against the light, by the drives themselves."""
    from edgewind.rotor import DRIVES, Conditions

    rotor = parameters_of(make_bench(rotor={"vane_thickness": "0.2 mm", "dark_outgassing": "1e-4 Pa*m/s"}))
    table = gas_table(rotor)
    response = response_of(rotor)
    for pressure in (1e-3, 0.1, 3.0, 20.0):
        place = (np.log(pressure) - table.log_least) / table.step
        low = int(place)
        row = table.rows[low] + (place - low) * (table.rows[low + 1] - table.rows[low])
        for apart, light in ((0.0, 0.0), (0.7, 0.5), (-3.0, 1.0)):
            of = rotor.with_(irradiance_w_m2=light * rotor.irradiance_w_m2)
            warm = rotor.gas_temperature_k
            kn = rotor.knudsen(pressure)
            at = Conditions(
                np.asarray(pressure), kn, response.at(kn, rotor.accommodation), warm + apart / 2, warm - apart / 2, of
            )
            expected = float(sum(drive(at) for key, drive in DRIVES.items() if key != "infrared_recoil"))
            found = row[1] * pressure * apart + row[6] + row[7] * light
            assert found == pytest.approx(expected, rel=1e-4, abs=1e-16)


def test_rates_agree_with_the_rotor_package():
    """Heat into the faces as `rotor.heat` has it, at a state far from steady."""
    apparatus, _ = at_rest()
    rotor, table = apparatus.rotor, apparatus.table
    state = np.array([0.3, 0.3, 318.0, 309.0, rotor.envelope_temperature_k, 4.0, 0.0, 0.0, 0.6])
    change = np.empty(9)
    rates(
        0.0, state, 1, apparatus._inputs, apparatus._tones, table.log_least, table.step, table.rows, np.empty(8), change
    )
    gas = film_gas(0.3, (318.0 + 309.0) / 2, rotor, response_of(rotor))
    lit = rotor.with_(irradiance_w_m2=0.6 * rotor.irradiance_w_m2)
    surplus = face_heat(318.0, 309.0, 0.3, 4.0, gas, lit).surplus
    half = rotor.heat_capacity_j_m2_k / 2
    assert change[2:4] == pytest.approx([float(surplus[0]) / half, float(surplus[1]) / half], rel=1e-4)


SCRIPT = [(3.0, "lamp", 1.0), (10.0, "valve", 6.0), (11.5, "valve", 4.0), (40.0, "lamp", 0.0), (55.0, "valve", 0.0)]


def follow(looks):
    """Run the script, looking in between at the given moments, and return the end to the last bit."""
    apparatus, clock = at_rest(lamp_wander="1 %")
    moments = sorted([*SCRIPT, *((look, "look", 0.0) for look in looks)])
    for moment, what, value in moments:
        clock.advance(moment - clock.monotonic())
        if what == "lamp":
            apparatus.light(value)
        elif what == "valve":
            apparatus.open_valve(value)
        else:
            apparatus.state()
    clock.advance(80.0 - clock.monotonic())
    return apparatus.states(80.0)[0]


@settings(max_examples=15)
@given(st.lists(st.floats(0.0, 79.0), max_size=20))
def test_the_state_does_not_depend_on_when_it_is_queried(looks):
    assert follow(looks) == pytest.approx(follow([]), rel=1e-12, abs=1e-15)


def test_commands_take_effect_at_their_own_time():
    """Not from the next step: the lamp is on for half a second, and the heat of half a second comes in."""
    apparatus, clock = at_rest(lamp_lag="1 ms", start_pressure="1e-5 Pa", outgassing="1e-9 Pa*m^3/s")
    clock.advance(7.123)
    apparatus.light(1.0)
    clock.advance(0.5)
    apparatus.light(0.0)
    state = apparatus.state()
    rotor = apparatus.rotor
    warmed = (state["dark"] + state["bright"] - 2 * rotor.gas_temperature_k) * rotor.heat_capacity_j_m2_k / 2
    light = rotor.irradiance_w_m2 * rotor.turn_mean_irradiance * (rotor.dark_absorptance + rotor.bright_absorptance)
    assert warmed == pytest.approx(0.5 * light, rel=0.02)


def test_the_history_is_kept_while_it_is_needed():
    apparatus, clock = at_rest()
    hold, other = apparatus.hold(), apparatus.hold()
    apparatus.release(other)
    assert apparatus._holds == [hold] and apparatus._holds[0] is hold
    expected = apparatus.states(0.0)[0]
    for _ in range(40):
        clock.advance(100.0)
        apparatus.catch_up()
    assert apparatus.states(0.0)[0] == pytest.approx(expected, rel=1e-12)
    assert apparatus._count > 30_000
    apparatus.release(hold)
    apparatus.catch_up()
    assert apparatus._count < 6000


def test_two_benches_with_one_seed_read_the_same():
    """To the last digit, for the same commands at the same bench times; another seed reads otherwise."""

    def readings(seed):
        desk = Desk(invented_bench(), seed)
        desk.ask("lamp", "OUTP ON")
        desk.ask("valve", "VOLT 5;OUTP ON")
        found = []
        for _ in range(5):
            desk.clock.advance(13.7)
            found += [desk.ask("gauge", "READ?"), desk.ask("thermometer", "READ?"), desk.ask("scope", "READ?")]
        return found

    first = readings(4)
    assert readings(4) == first
    assert all(a != b for a, b in zip(first[2::3], readings(5)[2::3], strict=True))
