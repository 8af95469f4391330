"""Plans under each reason for which no optimum is claimed, on readings by laws of our own."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
from numpy.typing import NDArray

from edgewind.errors import InputError
from edgewind.evidence import SweepData
from edgewind.evidence.next_test import ProposedTest
from edgewind.evidence.optimum import REASONS, Reason
from edgewind.formatting import RPM_PER_RAD_S, format_number
from edgewind.plan import Plan, propose
from edgewind.plan.repeats import repeats_needed
from edgewind.plan.text import deliberate_lines, plan_lines
from edgewind.report import plot_plan

Array = NDArray[np.float64]
EVEN = np.geomspace(0.06, 20.0, 14)
RANGE = (0.005, 200.0)


def _hump(pressure: Array, top: float = 2.0) -> Array:
    return np.asarray(4 / np.cosh(np.log(pressure / top) / 1.5))


def _readings(pressure: Array, speed: Array, noise: float = 0.01, stated: float = 0.01, seed: int = 0) -> SweepData:
    factor = np.exp(noise * np.random.default_rng([seed, 91]).standard_normal(pressure.size))
    return SweepData(pressure, np.full(pressure.size, 0.01), speed * factor, stated * np.abs(speed * factor) + 0.002)


def _drifting() -> SweepData:
    both = np.concatenate([EVEN, EVEN[::-1]])
    data = _readings(both, _hump(both) * np.repeat([1.0, 2.2], 14))
    return replace(data, sweep=("up",) * 14 + ("down",) * 14)


REFUSED = {
    "peak at the low edge": _readings(EVEN, _hump(EVEN, 0.02)),
    "peak at the high edge": _readings(EVEN, _hump(EVEN, 60.0)),
    "no clear fall at the low edge": _readings(EVEN, _hump(EVEN, 0.1), 0.08, 0.08, 3),
    "no clear fall at the high edge": _readings(EVEN, _hump(EVEN, 12.0), 0.08, 0.08, 1),
    "flat within noise": _readings(EVEN, np.full(14, 3.0), 0.03, 0.03),
    "too few readings": _readings(EVEN[:4], _hump(EVEN[:4])),
    "drift between sweeps": _drifting(),
    "scatter above that stated": _readings(EVEN, _hump(EVEN), 0.3, 0.02, 4),
}


@pytest.fixture(scope="module")
def plans() -> dict[str, Plan]:
    return {reason: propose(data, batch=3, range_pa=RANGE) for reason, data in REFUSED.items()}


def test_every_reason_has_a_plan_here(plans: dict[str, Plan]) -> None:
    assert set(REFUSED) == set(get_args(Reason)) - {""} == set(REASONS)
    assert {reason: plan.optimum.reason for reason, plan in plans.items()} == {reason: reason for reason in REFUSED}


@pytest.mark.parametrize("reason", REASONS)
def test_without_a_claim_no_interval_is_stated_and_none_expected(plans: dict[str, Plan], reason: str) -> None:
    plan = plans[reason]
    written = plan.to_dict()
    assert plan.proposals and not plan.widths.size
    assert written["expected_relative_widths"] == [] and written["floor_relative_width"] is None
    for one in written["next"]:
        assert one["interval_before_pa"] is None and one["interval_after_pa"] is None
    text = "\n".join(plan_lines(plan))
    assert "interval" not in text.replace("the interval does not", "") and "Expected widths" not in text
    if reason != "too few readings":
        assert plan.opening.startswith(f"No optimum is claimed yet ({reason}): {REASONS[reason]}.")


def test_beyond_an_end_only_a_rising_curve_is_called_rising(plans: dict[str, Plan]) -> None:
    for end, sense in (("low", -1), ("high", 1)):
        for lead, words in (("peak", "still rises"), ("no clear fall", "is not shown to fall")):
            plan = plans[f"{lead} at the {end} edge"]
            beyond = [one for one in plan.readings if not 0.06 <= one.pressure_pa <= 20]
            assert beyond and all(words in one.why for one in beyond)
            assert all(sense * np.log(one.pressure_pa) > 0 for one in beyond)
            assert all(one.information_bits is None for one in beyond)
            measured = (plan.pressure_pa > 0.061) & (plan.pressure_pa < 19.9)
            assert np.isfinite(plan.information_bits[measured]).all()
            assert np.isnan(plan.information_bits[(plan.pressure_pa < 0.059) | (plan.pressure_pa > 20.5)]).all()
            if plan.readings[0] in beyond:  # what the curve is there, no reading bounds
                assert "rpm" not in plan.falsified_by[0]
            assert ("a fall is shown by 3 standard deviations" in plan.opening) is (lead == "no clear fall")
    flat = plans["flat within noise"]
    assert not any("still rises" in one.why for one in flat.readings)
    assert any("is flat so far" in one.why for one in flat.readings)


def test_an_end_beyond_which_nothing_is_measured_is_named() -> None:
    plan = propose(REFUSED["peak at the high edge"], range_pa=(0.06, 20.0))
    assert "lie outside the range considered (0.0600 to 20.0 Pa)" in plan.opening
    assert all(0.06 <= one.pressure_pa <= 20 for one in plan.readings)


def test_readings_that_alternate_are_repeated_at_two_measured_pressures_in_turn(plans: dict[str, Plan]) -> None:
    plan = plans["scatter above that stated"]
    places = [one.pressure_pa for one in plan.readings]
    assert [one.kind for one in plan.proposals] == ["repeat"] * 3
    assert places[0] == places[2] != places[1]
    assert all(np.min(np.abs(np.log(EVEN / place))) < 0.01 for place in places)
    assert all(one.information_bits is None and one.about == "scatter of the readings" for one in plan.readings)
    assert plan.stop is None and "times what they state" in plan.opening
    assert "chi-squared" in plan.falsified_by[0].lower() and "11.3" in plan.falsified_by[0]
    with pytest.raises(InputError, match="repeated first"):
        plot_plan(plan, Path("plan.png"))


@pytest.mark.parametrize("ratio", [2.5, 4.0, 8.0, 20.0])
def test_as_many_repeats_as_asked_for_show_the_scatter(ratio: float) -> None:
    """Drawn repeats about the mean of two pressures, against the 99 % point of chi-squared by drawing, too."""
    count = repeats_needed(ratio)
    random = np.random.default_rng(5)
    sizes = 1 + count // 2, 1 + count - count // 2
    groups = [random.standard_normal((200_000, size)) for size in sizes]
    chi = sum(((one - one.mean(1, keepdims=True)) ** 2).sum(1) for one in groups)
    limit = np.quantile(chi, 0.99)
    assert np.mean(ratio**2 * chi > limit) > 0.94
    if count > 3:
        fewer = random.chisquare(count - 1, 200_000)
        assert np.mean(ratio**2 * fewer > np.quantile(random.chisquare(count - 1, 200_000), 0.99)) < 0.955


def test_the_proposed_repeats_end_the_refusal_if_the_scatter_is_at_one_pressure() -> None:
    claimed = held = lifted = 0
    for seed in range(10, 22):
        data = _readings(EVEN, _hump(EVEN), 0.3, 0.02, seed)
        if propose(data, range_pa=RANGE).optimum.reason != "scatter above that stated":
            continue
        plan = propose(data, batch=4, range_pa=RANGE)
        pressure = np.append(EVEN, [one.pressure_pa for one in plan.readings])
        speed = np.append(
            data.speed_rad_s, _readings(pressure[14:], _hump(pressure[14:]), 0.3, 0.02, seed + 900).speed_rad_s
        )
        after = propose(SweepData(pressure, np.full(18, 0.01), speed, 0.02 * speed + 0.002), range_pa=RANGE).optimum
        lifted += after.reason != "scatter above that stated"
        assert not after.reason.startswith("peak at")
        if after.interval_pa is not None:
            claimed += 1
            held += after.interval_pa[0] <= 2 <= after.interval_pa[1]
    assert lifted >= 8 and held >= 0.7 * claimed


def test_repeats_that_agree_lead_on_to_other_pressures() -> None:
    """The speeds repeat to 1 %, the pressures are set to a factor of 1.5 and stated to 1 %."""
    random = np.random.default_rng(8)
    true = EVEN * np.exp(0.5 * random.standard_normal(14))
    data = _readings(EVEN, 4 / np.cosh(np.log(true / 2) / 0.8))
    first = propose(data, batch=4, range_pa=RANGE)
    assert first.optimum.reason == "scatter above that stated"
    pairs = [int(np.argmin(np.abs(np.log(EVEN / one.pressure_pa)))) for one in first.readings]
    speed = np.append(data.speed_rad_s, data.speed_rad_s[pairs] * 1.003)
    pressure = np.append(EVEN, EVEN[pairs])
    second = propose(SweepData(pressure, np.full(18, 0.01), speed, 0.01 * speed + 0.002), range_pa=RANGE)
    assert second.optimum.reason == "scatter above that stated"
    assert "repeats so far agree" in second.readings[0].why
    assert all(abs(np.log(second.readings[0].pressure_pa / EVEN[at])) > 0.1 for at in pairs)


def test_of_several_maxima_the_one_with_fewest_readings_is_repeated() -> None:
    pressure = np.geomspace(0.06, 20, 20)
    at = np.log(pressure)
    speed = 0.5 + 3 * np.exp(-((at - np.log(0.2)) ** 2) / 0.5) + 3.5 * np.exp(-((at - np.log(6)) ** 2) / 0.32)
    data = _readings(pressure, speed, 0.02, 0.02, 4)
    plan = propose(data, range_pa=RANGE)
    assert plan.optimum.found and any("has maxima at" in one for one in plan.optimum.warnings)
    first = plan.readings[0]
    assert first.kind == "repeat" and "more than one maximum" in first.why
    nearest = {float(pressure[np.argmin(np.abs(at - np.log(top)))]) for top in (0.2, 6.0)}
    assert any(abs(np.log(first.pressure_pa / place)) < 0.3 for place in nearest)


def test_tests_made_on_purpose_say_that_the_readings_scatter_by_more_than_they_allow_for(
    plans: dict[str, Plan],
) -> None:
    test = ProposedTest(
        kind="lamp off", how="switch it off", pressure_pa=1.0, hours=0.25, gain=3.0, gain_per_hour=12.0, outcomes={},
        cautions=(),
    )  # fmt: skip
    for reason, plan in plans.items():
        text = " ".join(deliberate_lines(replace(plan, tests=(test,))))
        unstated = plan.optimum.unstated
        assert ("allow for 10 % of the speed" in text) == (reason == "scatter above that stated"), reason
        if unstated is not None:
            assert f"scatter by about {format_number(RPM_PER_RAD_S * unstated.scatter_rad_s, 2)} rpm" in text
