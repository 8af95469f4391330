"""Proposals of the next readings, their reasons, and when to stop."""

from __future__ import annotations

from dataclasses import replace
from math import comb
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.adaptive import EVEN, binomial_interval, race
from support.sweeps import Bench, Truth, take_readings

from edgewind.errors import InputError
from edgewind.evidence import SweepData
from edgewind.plan import PlainCost, TargetInterval, cost_from_record, parse_target, propose
from edgewind.plan.others import open_direction, other_proposals
from edgewind.plan.ranges import check_range
from edgewind.units import Measured

TRUTH = Truth("balance", 0.0, 0.8, 0.0, 10.0)


def readings(count: int = 12, seed: int = 0, truth: Truth = TRUTH, **bench: float) -> SweepData:
    return take_readings(truth, replace(Bench(readings=count), **bench), np.random.default_rng(seed))


@pytest.fixture(scope="module")
def races() -> list[dict]:
    """Adaptive against even sweeps on two invented benches; the benchmark has a hundred, and counts intervals."""
    return [row for row in map(race, (500, 501)) if row is not None]


def test_adaptive_sweeps_need_fewer_readings_than_even_ones(races: list[dict]) -> None:
    assert len(races) == 2
    for row in races:
        assert row["first"] <= 0.8 * EVEN and row["stop"] <= 0.9 * EVEN
        assert np.all(np.array(row["expected"]) <= 0)


def test_readings_are_proposed_on_the_flanks_of_the_maximum() -> None:
    plan = propose(readings(), batch=4)
    places = np.log([one.pressure_pa for one in plan.readings])
    assert np.all(np.abs(places) < 2.0)
    assert np.any(places < 0) and np.any(places > 0)
    assert all(one.information_bits > 0 for one in plan.readings)


def test_each_reading_of_a_batch_narrows_the_width_left_by_those_before() -> None:
    plan = propose(readings(), batch=5)
    assert len(plan.readings) == 5
    assert np.all(np.diff(plan.widths) < 0)
    for one, following in zip(plan.readings[:-1], plan.readings[1:], strict=True):
        assert following.interval_before_pa == one.interval_after_pa


def test_a_batch_of_one_is_the_first_of_a_batch_of_many() -> None:
    assert propose(readings()).readings[0].pressure_pa == propose(readings(), batch=4).readings[0].pressure_pa


def test_few_readings_get_an_even_start_with_that_reason() -> None:
    data = readings(30).take([0, 29])
    plan = propose(data, batch=4, range_pa=(float(data.pressure_pa[0]), float(data.pressure_pa[1])))
    assert [one.information_bits for one in plan.readings] == [None] * 4
    steps = np.diff(np.log([data.pressure_pa[0], *(one.pressure_pa for one in plan.readings), data.pressure_pa[1]]))
    assert steps == pytest.approx(np.full(5, steps.mean()), rel=0.02)
    assert "Too few pressures" in plan.opening and plan.stop is None


def test_where_the_speed_still_rises_a_reading_beyond_the_end_is_proposed() -> None:
    data = readings(14, truth=replace(TRUTH, place=3.8), high=2.5)
    plan = propose(data, range_pa=(0.01, 100.0))
    assert not plan.optimum.found and plan.optimum.reason == "peak at the high edge"
    assert plan.readings[0].pressure_pa > data.pressure_pa.max()
    assert "still rises" in plan.readings[0].why
    held = propose(data, range_pa=(0.01, float(data.pressure_pa.max())))
    assert held.readings[0].pressure_pa <= data.pressure_pa.max() * 1.001


def test_a_costly_change_of_pressure_keeps_the_next_reading_near() -> None:
    data = readings()
    far = propose(data, cost=PlainCost(60.0, 0.0, 0.0)).readings[0]
    near = propose(data, cost=PlainCost(60.0, 0.0, 3600.0)).readings[0]
    last = float(data.pressure_pa[-1])
    assert abs(np.log(near.pressure_pa / last)) < abs(np.log(far.pressure_pa / last))
    assert near.cost_s > 60.0


def test_the_plan_stops_when_the_target_is_reached_and_confirmed() -> None:
    wide = propose(readings(30), target="60%")
    assert wide.stop is not None and wide.stop.reason == "target reached" and wide.stop.reached
    narrow = propose(readings(30), target="0.5%")
    assert narrow.stop is None or not narrow.stop.reached


def test_a_target_reached_by_the_newest_reading_alone_is_not_accepted() -> None:
    data = readings(30)
    widths = {}
    for count in (29, 30):
        low, high = propose(data.take(range(count))).optimum.interval_pa
        widths[count] = high - low
    between = 0.5 * (widths[29] + widths[30])
    stop = propose(data, target=TargetInterval(absolute_pa=between)).stop
    if widths[30] < widths[29]:
        assert stop is None
    both = propose(data, target=TargetInterval(absolute_pa=1.001 * max(widths.values()))).stop
    assert both is not None and both.reached


def test_the_plan_stops_when_the_gauge_dominates_the_width() -> None:
    plan = propose(replace(readings(30), common_log_pressure_u=0.10), target="10%")
    assert plan.stop is not None and plan.stop.reason == "gauge dominates" and not plan.stop.reached
    assert "gauge" in plan.stop.sentence


def test_the_plan_stops_when_the_sweeps_disagree() -> None:
    data = readings(32, seed=3, sweeps=2, noise=0.02, lag=0.5)
    plan = propose(data)
    assert plan.stop is not None and plan.stop.reason == "drift dominates"
    assert plan.proposals[0].kind == "sweep"


def test_a_sweep_in_one_direction_only_gets_one_in_the_other_proposed() -> None:
    data = readings(16)
    assert open_direction(data) == -1
    back = [one for one in propose(data).proposals if one.kind == "sweep"]
    assert len(back) == 1 and list(back[0].pressures_pa) == sorted(back[0].pressures_pa, reverse=True)
    assert back[0].information_bits > 0
    both = readings(32, sweeps=2)
    assert open_direction(both) == 0
    assert not [one for one in propose(both).proposals if one.kind == "sweep"]


@pytest.mark.parametrize(
    ("inertia_u", "said"), [(0.1e-7, "about 10 %,"), (1e-7, "about 100 %,"), (0.08e-7, "about 8.5 %,")]
)
def test_what_a_coast_down_would_leave_is_a_plain_percentage(inertia_u: float, said: str) -> None:
    """Of drag over inertia 3 %, stated in the program, and of the inertia; in quadrature."""
    rotor = SimpleNamespace(moment_of_inertia=Measured(1e-7, inertia_u))
    used = pd.DataFrame({"pressure_pa": [0.02, 20.0]})
    experiment = SimpleNamespace(bench=SimpleNamespace(rotor=rotor), used=used)
    found: Any = SimpleNamespace(experiment=experiment, explanation=None, coasts=(), runs=())
    plan: Any = SimpleNamespace(optimum=SimpleNamespace(found=False, curve=None, sweeps=None), range_pa=(0.02, 20.0))
    data = readings()
    proposals = other_proposals(found, data, plan, PlainCost(60.0, 0.0, 0.0))
    assert [one.kind for one in proposals] == ["coast-down", "coast-down"]
    assert all(said in one.why for one in proposals)


def test_unexplained_scatter_leads_to_a_repeat() -> None:
    data = readings(24, seed=4, noise=0.08, proportional=False)
    stated = replace(data, speed_u_rad_s=data.speed_u_rad_s / 20)
    plan = propose(stated)
    assert plan.readings[0].kind == "repeat" and "scatter" in plan.readings[0].why
    assert np.min(np.abs(np.log(plan.readings[0].pressure_pa / data.pressure_pa))) < 0.02


@pytest.mark.parametrize("batch", [0, -1, 25, 1.5, True])
def test_an_invalid_batch_size_is_refused(batch: float) -> None:
    with pytest.raises(InputError, match="whole number from 1 to 24"):
        propose(readings(), batch=batch)


@pytest.mark.parametrize("target", ["0%", "-3 %", "0 Pa", "nan", "ten", "10", "5 rpm", 0.0, -1.0, float("nan"), "inf%"])
def test_an_invalid_target_is_refused(target: str | float) -> None:
    with pytest.raises(InputError, match="10%"):
        propose(readings(), target=target)


@pytest.mark.parametrize("ends", [(1.0, 1.0), (2.0, 1.0), (0.0, 1.0), (-1.0, 1.0), (1.0, float("nan"))])
def test_an_invalid_range_is_refused(ends: tuple[float, float]) -> None:
    with pytest.raises(InputError, match=r"two pressures above zero|lower pressure first"):
        propose(readings(), range_pa=ends)


def test_a_plan_without_a_usable_range_names_the_remedy() -> None:
    with pytest.raises(InputError, match="--range"):
        propose(readings().take([]))
    with pytest.raises(InputError, match="holds some of the readings"):
        propose(readings(), range_pa=(1e4, 1e5))


@given(st.floats(1e-4, 10.0), st.floats(1e-3, 1e3))
def test_a_target_in_percent_and_one_in_pascal_agree(share: float, pressure: float) -> None:
    relative, absolute = TargetInterval(relative=share), TargetInterval(absolute_pa=share * pressure)
    assert relative.log_width(pressure) == pytest.approx(absolute.log_width(pressure), rel=1e-9)
    half = 0.5 * relative.log_width(pressure)
    ends = (pressure * np.exp(-half * 0.999), pressure * np.exp(half * 0.999))
    assert relative.reached(ends, pressure) and absolute.reached(ends, pressure)
    assert not relative.reached((ends[0], pressure * np.exp(half * 1.01)), pressure)


def test_targets_are_read_in_common_notations() -> None:
    assert parse_target("12.5 %") == TargetInterval(relative=0.125)
    assert parse_target("2 mTorr").absolute_pa == pytest.approx(0.26664, rel=1e-4)
    assert parse_target(None) is None


def test_the_time_of_a_reading_is_taken_from_the_record() -> None:
    pressure = np.geomspace(0.1, 10.0, 11)
    time = 420.0 * np.arange(11) + np.where(np.arange(11) > 5, 7200.0, 0.0)
    cost = cost_from_record(pressure, time)
    assert float(cost(pressure[1:2], float(pressure[0]))[0]) == pytest.approx(420.0)
    assert cost_from_record(pressure, np.full(11, np.nan)) is None
    assert cost_from_record(pressure, time / 1000) is None  # simulated faster than the clock
    with pytest.raises(InputError, match="zero or more"):
        PlainCost(dwell_s=-1.0)


@settings(max_examples=12, deadline=None)
@given(st.data())
def test_any_readings_get_a_plan_inside_the_range(data: st.DataObject) -> None:
    size = data.draw(st.integers(0, 12))

    def column(low: float, high: float) -> list[float]:
        return data.draw(st.lists(st.floats(low, high), min_size=size, max_size=size))

    taken = SweepData(column(0.02, 50.0), column(0.0, 0.3), column(-20.0, 100.0), column(0.01, 10.0))
    try:
        plan = propose(taken, batch=2, range_pa=(0.01, 100.0), target="10%")
    except InputError:
        return
    assert all(0.01 <= one.pressure_pa <= 100.0 and one.cost_s > 0 for one in plan.readings)
    assert len(plan.readings) == 2


def test_a_rotor_that_never_turned_gets_a_plan_and_no_claim() -> None:
    data = replace(readings(), speed_rad_s=np.zeros(12), speed_u_rad_s=np.full(12, 0.1))
    plan = propose(data, range_pa=(0.001, 1000.0))
    assert not plan.optimum.found and plan.readings


def test_the_binomial_interval_is_the_published_one() -> None:
    """C. J. Clopper and E. S. Pearson, Biometrika 26, 404 (1934), by its definition: at the lower end 8 or more of 10,
    at the upper 8 or fewer, have a chance of 2.5 %, added up term by term.
    """
    low, high = (0.01 * end for end in binomial_interval(8, 10))

    def chance(share: float, hits: range) -> float:
        return sum(comb(10, k) * share**k * (1 - share) ** (10 - k) for k in hits)

    assert chance(low, range(8, 11)) == pytest.approx(0.025, rel=0.01)
    assert chance(high, range(9)) == pytest.approx(0.025, rel=0.01)


def test_the_range_must_lie_within_that_of_the_gauge() -> None:
    assert check_range(0.1, 10.0) == (0.1, 10.0)
