"""The dwell at each pressure against the rotor followed in time, and the order of a sweep against all orders."""

import itertools
from pathlib import Path

import numpy as np
import pytest
import tomlkit

from edgewind.bench import parse_bench
from edgewind.errors import InputError
from edgewind.plan import bench_times, plan_time, time_plan_result
from edgewind.plan.dwell import lag_residual, lag_time, sweep_steps
from edgewind.plan.dwell_text import assumptions, order_sentence, plan_lines, slowest_sentence
from edgewind.report.figures.canvas import our_style
from edgewind.report.figures.dwell import draw_dwell
from edgewind.report.figures.file import FILM
from edgewind.report.palette import LIGHT
from edgewind.rotor import coast_down_speed, run
from edgewind.serialize import to_plain

WHOLE = {
    name: section
    for name, section in tomlkit.parse((Path(__file__).parents[1] / "whole.toml").read_text()).unwrap().items()
    if name != "vacuum"
}


@pytest.fixture(scope="module")
def times(vacuum_bench):
    return bench_times(vacuum_bench)


def test_a_chain_of_lags_agrees_with_its_differential_equations():
    lags = [2.0, 5.0, 5.0]
    step, state = 1e-3, np.array([1.0, 1.0, 1.0])
    for _ in range(20_000):
        before = np.array([0.0, state[0], state[1]])
        state = state + step * (before - state) / np.array(lags)
    assert float(lag_residual(20.0, lags)) == pytest.approx(state[2], abs=5e-3)
    assert float(lag_residual(float(lag_time(0.01, lags)), lags)) == pytest.approx(0.01, rel=1e-6)
    assert float(lag_time(1.5, lags)) == 0.0


@pytest.mark.parametrize("pressure", [0.1, 1.0, 10.0])
def test_the_dwell_from_rest_is_just_as_long_as_the_rotor_needs(times, pressure):
    """Followed in time from rest, lamp just lit: within 1 % at the end of the dwell, outside at half of it."""
    dwell = float(times.settle_s(pressure))
    moving = run(pressure, times.rotor_parameters, times.response, np.linspace(0.0, dwell, 200))
    steady = float(times.rotor(pressure).speed_rad_s)
    off = np.abs(moving["speed_rad_s"].to_numpy() / steady - 1)
    assert off[-1] < 0.01 < off[90]


def test_spin_up_time_is_that_of_a_coast_down(times):
    """Without dry friction the rotor loses all but 1/e of its speed in I/c."""
    spin = float(times.rotor(0.5).spin_up_s)
    assert float(coast_down_speed(spin, 1.0, 0.0, 1 / spin)) == pytest.approx(np.exp(-1))


def test_cost_has_the_shape_of_its_arguments_and_grows_with_the_step(times):
    cost = times.cost_s(np.array([[0.1], [1.0]]), np.array([0.11, 0.5, 5.0]))
    assert cost.shape == (2, 3) and np.all(cost > 0)
    assert cost[1, 1] < cost[1, 2] or cost[1, 1] < times.cost_s(1.0, 0.05)
    assert times.cost_s(1.0).shape == ()
    assert np.all(times.measure_s(np.array([0.1, 1.0])) >= 20.0)


def test_the_times_of_a_bench_determine_the_cost_of_the_next_reading(times):
    pressure = np.array([0.1, 1.0, 1e6])
    cost = times(pressure, 0.5)
    assert cost[:2] == pytest.approx(times.cost_s(pressure[:2], 0.5)) and np.isfinite(cost[2])
    assert times(pressure, None).shape == (3,) and "chamber, heat and spin-up" in times.sentence


def test_no_order_of_the_pressures_is_much_quicker_than_the_best_single_sweep(vacuum_bench):
    pressures = np.geomspace(0.05, 20.0, 4)
    plan = plan_time(vacuum_bench, pressures)
    best = min(sweep_steps(plan.times, order)[-1].ends_s for order in itertools.permutations(pressures))
    assert best <= plan.best.total_s * (1 + 1e-9)
    assert plan.best.total_s < 1.1 * best


def test_descending_pressures_save_time_of_outgassing(vacuum_bench):
    plan = plan_time(vacuum_bench, np.geomspace(0.05, 20.0, 8))
    down, up, both = plan.sweeps
    assert plan.best is down and down.steps[0].wait_s < up.steps[0].wait_s
    assert both.total_s > up.total_s
    for step in (*down.steps, *up.steps):
        assert step.foreign_share <= 0.1 * (1 + 1e-6)
    assert down.total_s == pytest.approx(sum(step.total_s for step in down.steps))


def test_a_leak_that_contaminates_the_gas_makes_a_pressure_unreachable(vacuum_text):
    bench = parse_bench(vacuum_text.replace('leak = "1e-6 mbar l/s"', 'leak = "1e-3 mbar l/s"'))
    plan = plan_time(bench, [0.05, 20.0])
    assert plan.out_of_reach == (0.05,)
    assert to_plain(time_plan_result(plan))["sweeps"][0]["total_s"] is None
    assert any("Out of reach" in line for line in plan_lines(plan))


def test_a_constant_external_torque_is_included_in_the_plan(vacuum_bench):
    plain, pushed = (plan_time(vacuum_bench, [1.0], parameters=extra) for extra in ({}, {"foreign_torque_n_m": 1e-9}))
    assert pushed.times.rotor(1.0).speed_rad_s > 1.01 * plain.times.rotor(1.0).speed_rad_s


def test_without_a_vacuum_section_only_the_rotor_takes_time(bench_text):
    plan = plan_time(parse_bench(bench_text), [0.5, 1.0])
    assert np.all(plan.times.chamber_s([0.5, 1.0]) == 0)
    assert any("no [vacuum]" in text for text in assumptions(plan))
    assert plan.best.steps[0].wait_s == 0


def test_one_pressure_is_a_valid_sweep(vacuum_bench):
    plan = plan_time(vacuum_bench, [1.0])
    assert [len(sweep.steps) for sweep in plan.sweeps] == [1, 1, 1] and np.isfinite(plan.best.total_s)
    assert "1 reading takes" in order_sentence(plan)
    with our_style(LIGHT, FILM):
        draw_dwell(plan, LIGHT, FILM)


def test_a_plan_states_the_observation_that_would_refute_it(vacuum_bench):
    plain = to_plain(time_plan_result(plan_time(vacuum_bench, [0.5, 1.0])))
    assert plain["assumptions"] and plain["falsified_by"]
    assert {"pressure_pa", "chamber_time_s", "heat_time_s", "spin_up_time_s", "speed_rad_s"} == set(plain["points"][0])


def test_impossible_plans_are_refused(vacuum_bench):
    with pytest.raises(InputError, match="between 0 and 1"):
        bench_times(vacuum_bench, within=0.0)
    with pytest.raises(InputError, match="turns"):
        bench_times(vacuum_bench, turns=-1.0)
    with pytest.raises(InputError, match="no pressures"):
        plan_time(vacuum_bench, [])
    with pytest.raises(InputError, match="above the range of the response tables"):
        plan_time(vacuum_bench, [1e6])


@pytest.mark.parametrize(
    ("dry_torque", "turns", "said"),
    [
        ("1e-12 N m", 5.0, ("most of it settling", "the spin of the rotor is the slowest part")),
        ("1e-12 N m", 400.0, ("most of it the 400 turns of the reading",)),
        ("1 N m", 5.0, ("most of it settling", "the rotor does not turn at 0.5 Pa, 5 Pa.")),
    ],
)
def test_the_longest_dwell_is_put_down_to_what_takes_most_of_it(make_bench_text, dry_torque, turns, said):
    text = make_bench_text(**(WHOLE | {"rotor": WHOLE["rotor"] | {"pivot_dry_torque": dry_torque}}))
    plan = plan_time(parse_bench(text), [0.5, 5.0], turns=turns)
    assert all(words in slowest_sentence(plan) for words in said), slowest_sentence(plan)
