"""Runs in a fit: their information, correlated speeds, coast-downs of warm vanes, and inconsistent runs."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from edgewind.evidence.coastdown import CoastDown
from edgewind.evidence.explain import runs_of
from edgewind.evidence.fit import prepare_likelihood
from edgewind.evidence.likelihood import Likelihood
from edgewind.evidence.mechanism_case import case_of
from edgewind.evidence.run_data import fit_runs, run_of_coast, run_of_table, surroundings_of
from edgewind.rotor import parameters_of
from edgewind.signals import read_experiment
from edgewind.signals.coastdown import SpeedHistory
from edgewind.signals.runs import Run
from edgewind.virtual.hidden_rotor import BenchConditions, HiddenRotor

EXAMPLE = Path(__file__).parents[2] / "examples" / "reversal"
# Of the generator of the example; see examples/make_reversal.py.
TRUE_INERTIA, TRUE_HEAT_CAPACITY = 8.6e-8, 250.0
# Warm vanes: closed forms of a generator whose physics is not that of the program.
HIDDEN = HiddenRotor(
    arm_m=0.022, conductance_w_m2_k=24.0, bright_emissivity=0.36, irradiance_w_m2=840.0, inertia_kg_m2=8.6e-8,
    dry_n_m=8e-11, breakaway_n_m=8e-11, viscous_n_m_s=6e-11,
)  # fmt: skip


@pytest.fixture(scope="module")
def example():
    return read_experiment(EXAMPLE)


@pytest.fixture(scope="module")
def case(example):
    return case_of(example.bench, example.readings, level=0.9, seed=1, runs=runs_of(example, ()))


@pytest.fixture(scope="module")
def mode(case):
    return prepare_likelihood(case.bench, case.data, "all", case.response, 1)


def scores_of(problem, mode):
    """Return scores by the name of the unknown, drawn by Laplace's approximation; 1 is the width of the prior."""
    drawn = np.clip(mode.draw(1500, np.random.default_rng(1)), -6, 6)
    return dict(zip([one.name for one in problem.unknowns], drawn.T, strict=True))


def test_a_run_determines_inertia_and_heat_capacity_and_narrows_other_unknowns(case, mode):
    """A rotor that turns one way shows a constant torque less the dry friction; one that reverses also their sum."""
    problem, place = mode
    value = dict(zip([one.name for one in problem.unknowns], problem.values(place.centre), strict=True))
    assert value["inertia"] == pytest.approx(TRUE_INERTIA, rel=0.2)
    assert value["heat_capacity"] == pytest.approx(TRUE_HEAT_CAPACITY, rel=0.3)
    without = prepare_likelihood(case.bench, replace(case.data, runs=()), "all", case.response, 1)
    assert {one.name for one in without[0].unknowns} == set(value) - {"inertia", "heat_capacity"}
    fewer, more = scores_of(*without), scores_of(*mode)
    torque, friction = (without[0].values(np.stack(list(fewer.values()), 1))[:, list(fewer).index(name)]
                        for name in ("foreign", "pivot_dry"))  # fmt: skip
    assert np.corrcoef(torque, friction)[0, 1] > 0.8
    assert more["foreign"].std() < 0.2 * fewer["foreign"].std()
    assert more["pivot_dry"].std() < 0.4 * fewer["pivot_dry"].std()
    assert more["accommodation_difference"].std() < 0.7 * fewer["accommodation_difference"].std()


def test_a_run_agrees_with_the_curve_and_one_with_a_wrong_clock_does_not(case, mode):
    problem, place = mode
    values = problem.values(place.centre)[None]
    assert problem.run_misfits(values, problem.deviations(values, None))[0, 0] < 1.5
    run = case.data.runs[0]
    late = replace(run, around=replace(run.around, time_s=np.append(run.around.time_s[:1], run.around.time_s[1:] + 60)))
    other = Likelihood(case.bench, replace(case.data, runs=(late,)), "all", case.response)
    other.linearise(values[0])
    assert other.run_misfits(values, other.deviations(values, None))[0, 0] > 3


def test_ten_times_as_many_speeds_of_one_run_add_little_information(example):
    """Speeds of one run are not independent: the error of the model of a run is smooth in time."""
    one = next(iter(example.runs.values()))
    fine = np.linspace(0, one.time_s[-1], 10 * one.time_s.size)
    many = replace(
        one, time_s=fine, **{name: np.interp(fine, one.time_s, getattr(one, name)) for name in _ARRAYS},
        lamp_share=one.lamp_share[np.searchsorted(one.time_s, fine + 1e-9, side="right") - 1],
    )  # fmt: skip
    few, more = (run_of_table(each, 2.5, 0.01, 2) for each in (one, many))
    slow = np.exp(-few.time_s / 200)
    size = [float(np.sum(np.linalg.solve(each.spread, slow) ** 2)) for each in (few, more)]
    assert size[1] < 1.1 * size[0]
    assert size[0] < 30 / (0.05 * np.abs(few.speed_rad_s).max()) ** 2 * np.mean(slow**2)


_ARRAYS = ("speed_rad_s", "speed_u_rad_s", "envelope_k", "pressure_pa")


def coast_of(pressure, late_s, *, seconds=120.0):
    """Return a coast-down of the invented rotor whose trace begins so long after the lamp went off."""
    lit, dark = BenchConditions(pressure, 1.0, 295.15), BenchConditions(pressure, 0.0, 295.15)
    speed = float(HIDDEN.steady_speed(lit))
    faces = HIDDEN.faces(lit)
    time = np.linspace(0, seconds, 13)[1:]
    moved = HIDDEN.run(np.append(0.0, time + late_s), lambda t: dark, (float(faces[0]), float(faces[1]), speed))[1:, 2]
    history = SpeedHistory(time, np.abs(moved), np.full(time.shape, 1e-3), 8.0)
    nan = np.nan
    coast = CoastDown(nan, nan, nan, nan, nan, speed, 0.5, 1e4, pressure, 0.01, 4, ("still-driven",), history)
    return coast, speed


@pytest.mark.parametrize("late_s", [0.0, 12.0])
def test_a_coast_down_of_warm_vanes_is_a_run_that_agrees_with_drag(example, case, mode, late_s):
    """Lamp off at the start of the trace, or before it: it agrees with the drag that curve and reversal ask for."""
    coast, lit = coast_of(0.3, late_s)
    assert coast.as_run and not coast.usable
    run = run_of_coast(coast, coast.history, example.bench, 295.15, lit_rad_s=lit)
    assert np.isfinite(run.before_rad_s) == (late_s > 0)
    problem = Likelihood(case.bench, replace(case.data, runs=(*case.data.runs, run)), "all", case.response)
    values = mode[0].values(mode[1].centre)
    problem.linearise(values)
    misfits = problem.run_misfits(values[None], problem.deviations(values[None], None))[0]
    assert misfits.max() < 3


def test_a_coast_down_is_followed_from_the_speed_under_the_lamp(example):
    coast, lit = coast_of(0.3, 12.0)
    common = float(np.median(example.used["log_pressure_u_common"]))
    coast = replace(coast, log_pressure_u=float(np.hypot(0.02, common)))
    table = example.readings.assign(speed_rad_s=np.where(example.readings["used"], lit, np.nan))
    (run,) = fit_runs(replace(example, readings=table, runs={}), [coast], parameters_of(example.bench), 1e-3)
    assert run.kind == "coast-down" and run.before_rad_s == pytest.approx(lit)
    # the error that all pressures share is an unknown of the fit
    assert common > 0.01 and run.log_pressure_u == pytest.approx(0.02)


def table_of(lamp, speed):
    size = len(lamp)
    time = 10.0 * np.arange(size)
    speeds, shares = np.array(speed, dtype=float), np.array(lamp, dtype=float)
    return Run("t", time, speeds, np.zeros(size), True, np.full(size, 295.0), shares, np.full(size, np.nan))


def test_the_lamp_changed_between_two_rows_unless_its_row_notes_the_moment_alone():
    around, u = surroundings_of(table_of([1, 1, 0, 0], [3, 3, 3, 2]), 0.5)
    assert around.lamp_share.tolist() == [1, 1, 0, 0, 0] and around.time_s.tolist() == [0, 10, 15, 20, 30]
    assert u == pytest.approx(10 / np.sqrt(12))
    around, u = surroundings_of(table_of([1, 1, 0, 0], [3, 3, np.nan, 2]), 0.5)
    assert around.time_s.tolist() == [0, 10, 20, 30] and around.lamp_share.tolist() == [1, 1, 0, 0] and u == 0
    assert around.pressure_pa.tolist() == [0.5] * 4
