"""Coast-downs: drag and dry friction from invented traces whose truth is known, and the torque they measure."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from edgewind.errors import InputError
from edgewind.evidence.coastdown import (
    CoastDown,
    coast_down_wanted,
    coast_downs,
    common_dry_rate,
    fit_coast_down,
    fit_passages,
    measured_torque,
)
from edgewind.rotor import coast_down_angle, coast_down_speed
from edgewind.signals.coastdown import SpeedHistory, passages, speed_history
from edgewind.signals.recent import Recent
from edgewind.signals.trace import Trace
from edgewind.units import Measured


def trace_of(start, drag, dry, *, seconds, samples=60_000, noise=0.05, seed=1):
    """Return an invented trace of a whole coast-down, four unequal bell-shaped pulses per turn."""
    random = np.random.default_rng(seed)
    time = np.arange(samples) * seconds / samples
    turns = coast_down_angle(time, start, dry, drag) / (2 * np.pi)
    places = (np.arange(4) + 0.05 * random.standard_normal(4)) / 4
    heights = 1 + 0.15 * random.standard_normal(4)
    voltage = noise * random.standard_normal(samples)
    for place, height in zip(places, heights, strict=True):
        distance = (turns - place - np.round(turns - place)) / 0.03
        voltage += height * np.exp2(-(distance**2))
    return Trace(voltage, seconds / samples, channel="invented", source="invented")


def history_of(start, drag, dry, *, seconds, windows=20, relative=1e-3, seed=1):
    random = np.random.default_rng(seed)
    time = (np.arange(windows) + 0.5) * seconds / windows
    speed = coast_down_speed(time, start, dry, drag)
    return SpeedHistory(time, speed * (1 + relative * random.standard_normal(windows)), relative * speed, 1e-9)


@pytest.mark.parametrize(("drag", "dry"), [(0.02, 0.05), (0.05, 0.01)])
def test_drag_and_friction_are_recovered_from_a_trace(drag, dry):
    found = fit_coast_down(speed_history(trace_of(12.0, drag, dry, seconds=50.0), 4))
    assert found.usable
    assert abs(found.drag_rate - drag) < 4 * found.drag_rate_u + 0.01 * drag
    assert abs(found.dry_rate - dry) < 4 * found.dry_rate_u + 0.01 * dry
    assert found.drag_rate_u < 0.1 * drag


@pytest.mark.parametrize(("drag", "dry"), [(0.06, 0.01), (0.05, 0.04)])
def test_a_coast_down_of_few_turns_is_read_mark_by_mark(drag, dry):
    trace = trace_of(4.0, drag, dry, seconds=15.0, samples=12_000)
    assert not speed_history(trace, 4).enough
    found = fit_passages(passages(trace, 4))
    assert found.usable and "poor-fit" not in found.flags
    assert abs(found.drag_rate - drag) < 4 * found.drag_rate_u
    assert abs(found.dry_rate - dry) < 4 * found.dry_rate_u
    lost = dry + 3.0 * drag  # the deceleration half way down, which a trace determines better than its parts
    assert found.dry_rate + 3.0 * found.drag_rate == pytest.approx(lost, rel=0.05)


def test_intervals_hold_the_truth_as_often_as_they_say():
    drag, dry = 0.03, 0.02
    hits = np.zeros(2)
    for seed in range(200):
        found = fit_coast_down(history_of(5.0, drag, dry, seconds=60.0, seed=seed))
        hits += [
            abs(found.drag_rate - drag) < 1.645 * found.drag_rate_u,
            abs(found.dry_rate - dry) < 1.645 * found.dry_rate_u,
        ]
    assert np.all(hits >= 0.84 * 200)


def test_a_small_fall_of_speed_is_flagged_as_not_separated():
    found = fit_coast_down(history_of(5.0, 0.002, 0.002, seconds=60.0))
    assert "not-separated" in found.flags


def test_a_steady_rotor_is_not_a_coast_down():
    found = fit_coast_down(history_of(5.0, 1e-6, 0.0, seconds=10.0))
    assert not found.usable
    with pytest.raises(InputError, match="lamp off"):
        fit_coast_down(SpeedHistory(np.array([1.0]), np.array([1.0]), np.array([0.1]), 1.0))


def test_the_coast_down_of_a_trace_is_computed_once_and_for_another_trace_again(make_bench, monkeypatch):
    followed = []

    def counted(trace, *how, **named):
        followed.append(trace)
        return speed_history(trace, *how, **named)

    monkeypatch.setattr("edgewind.evidence.coastdown.speed_history", counted)
    monkeypatch.setattr("edgewind.evidence.coastdown._FOUND", Recent(most=10))
    row = {"lamp": False, "exclude": "", "pressure_flag": "", "pressure_pa": 1.0, "line": 2}
    readings = pd.DataFrame([row | {"log_pressure_u": 0.01, "log_pressure_u_common": 0.02}])
    bench = make_bench(tachometer={"marks": 4})

    def seen(trace):
        traces = {0: SimpleNamespace(trace=trace, speed=SimpleNamespace(flags=()))}
        return coast_downs(SimpleNamespace(bench=bench, readings=readings, traces=traces))

    first, again, other = (seen(trace_of(30.0, 0.03, 0.02, seconds=40.0, seed=seed)) for seed in (1, 1, 2))
    assert len(followed) == 2
    assert first[0].drag_rate == again[0].drag_rate != other[0].drag_rate


def coast(pressure, drag, dry=0.01, relative=0.02):
    return CoastDown(drag, relative * drag, dry, 0.1 * dry, 0.5, 5.0, 0.5, 1.0, pressure, 0.05)


def test_measured_torque_is_drag_times_speed_plus_friction_with_its_uncertainty():
    coasts = [coast(0.1, 0.01), coast(1.0, 0.05), coast(10.0, 0.06)]
    used = pd.DataFrame(
        {
            "line": [2, 3, 4],
            "pressure_pa": [0.1, 1.0, 50.0],
            "speed_rad_s": [3.0, -4.0, 1.0],
            "speed_u_rad_s": [0.01] * 3,
        }
    )
    found = measured_torque(used, coasts, Measured(1e-7, 5e-9))
    assert list(found["line"]) == [2, 3]  # 50 Pa lies outside the coast-downs
    assert found["torque_n_m"].to_numpy() == pytest.approx([1e-7 * (0.01 * 3 + 0.01), 1e-7 * (0.05 * 4 + 0.01)])
    by_hand = np.sqrt((0.03 * 0.02) ** 2 + (0.01 * 0.01) ** 2 + (1e-3 / np.sqrt(3)) ** 2)
    assert found["torque_over_inertia_u_rad_s2"].iloc[0] == pytest.approx(by_hand)
    assert "torque_n_m" not in measured_torque(used, coasts, None)
    assert measured_torque(used, coasts[:1], None) is None


def test_scatter_of_the_friction_widens_its_uncertainty():
    alike = common_dry_rate([coast(1.0, 0.1, 0.01), coast(2.0, 0.1, 0.01)])
    apart = common_dry_rate([coast(1.0, 0.1, 0.005), coast(2.0, 0.1, 0.02)])
    assert apart.relative > alike.relative
    assert common_dry_rate([]) is None


def test_coast_downs_are_proposed_where_there_are_none():
    used = pd.DataFrame({"pressure_pa": [0.02, 20.0]})
    assert "0.02 Pa, 0.63 Pa, 20 Pa" in coast_down_wanted(used, [])
    assert coast_down_wanted(used, [coast(0.02, 0.1), coast(0.6, 0.1), coast(15.0, 0.1)]) is None


def test_torque_between_coast_downs_holds_the_truth_within_its_interpolation():
    """Drag that bends over as that of a rotor, c = p/(1 + p/2): the error of the spline is within its statement."""
    places = np.geomspace(0.02, 20, 25)
    used = pd.DataFrame({"line": range(25), "pressure_pa": places, "speed_rad_s": 4.0, "speed_u_rad_s": 1e-4})
    for known in ([0.05, 0.6, 8.0], [0.05, 8.0]):
        coasts = [coast(p, 0.02 * p / (1 + p / 2), dry=1e-4, relative=0.01) for p in known]
        found = measured_torque(used, coasts, Measured(1e-7, 1e-12))
        true = 1e-7 * (4.0 * 0.02 * found["pressure_pa"] / (1 + found["pressure_pa"] / 2) + 1e-4)
        assert np.all(np.abs(found["torque_n_m"] - true) < 2.5 * found["torque_u_n_m"])


def test_a_coast_down_that_slows_fast_is_still_read_mark_by_mark():
    trace = trace_of(4.8, 0.045, 0.001, seconds=24.0, samples=12_000)
    found = fit_passages(passages(trace, 4))
    assert abs(found.drag_rate - 0.045) < 4 * found.drag_rate_u


def test_torque_between_coast_downs_follows_the_shape_of_the_gas():
    """The shape is the true one except for its place in pressure; friction and a constant share are fitted."""
    random = np.random.default_rng(2)
    places = np.geomspace(0.05, 8, 25)
    speed = 4.0

    def drag(p):
        return 0.02 * p / (1 + p / 2)

    used = pd.DataFrame(
        {
            "line": range(25), "pressure_pa": places, "speed_rad_s": speed, "speed_u_rad_s": 1e-4,
            "log_pressure_u": 0.005, "log_pressure_u_common": 0.03,
        }
    )  # fmt: skip
    coasts = [coast(p, drag(p) + 0.002, dry=1e-3, relative=0.01) for p in (0.05, 0.6, 8.0)]
    coasts[1] = replace(coasts[1], flags=("not-separated", "few-windows"))  # flags are no numbers, and not alike in all
    scale = np.exp(0.03 * random.standard_normal((300, 1)))
    found = measured_torque(used, coasts, Measured(1e-7, 1e-12), shapes=lambda p: drag(p * scale))
    true = 1e-7 * ((drag(places) + 0.002) * speed + 1e-3)
    apart = np.abs(found["torque_n_m"] / true - 1)
    assert np.all(apart < 2.5 * found["torque_u_n_m"] / true)
    assert np.all(apart < 0.03)
    assert np.all(found["torque_u_n_m"] / true < 0.04)
