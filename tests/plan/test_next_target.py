"""The steps of an adaptive recording."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from edgewind.bench import Bench, read_bench
from edgewind.errors import InputError
from edgewind.plan import AdaptiveChoice, Stop, Target, gauge_range
from edgewind.signals import read_experiment

EXAMPLE = Path(__file__).parents[2] / "examples" / "two-rotors" / "vane-12mm"
COLUMNS = ["pressure_pa", "log_pressure_u", "log_pressure_u_common", "speed_rad_s", "speed_u_rad_s"]


@pytest.fixture(scope="module")
def bench() -> Bench:
    return read_bench(EXAMPLE / "bench.toml")


def hump(pressure: float) -> float:
    return 40 * pressure / (1 + pressure) ** 2


def record(choice: AdaptiveChoice, most: int, seed: int = 0) -> tuple[pd.DataFrame, list[Target], Stop | None]:
    """Follow a choice at an invented bench with 2 % noise."""
    random = np.random.default_rng(seed)
    table, steps = pd.DataFrame(columns=COLUMNS, dtype=float), []
    for _ in range(most):
        step = choice.next(table)
        if isinstance(step, Stop):
            return table, steps, step
        steps.append(step)
        speed = hump(step.pressure_pa) * (1 + 0.02 * random.standard_normal())
        row = [step.pressure_pa * np.exp(0.01 * random.standard_normal()), 0.01, 0.0, speed, 0.02 * speed]
        table = pd.DataFrame([*table.to_numpy().tolist(), row], columns=COLUMNS)
    return table, steps, None


@pytest.fixture(scope="module")
def recorded(bench: Bench) -> tuple[pd.DataFrame, list[Target], Stop | None]:
    return record(AdaptiveChoice(bench, 0.03, 30.0, target="15%", max_readings=40), 40)


def test_an_adaptive_sweep_starts_even_continues_by_information_and_stops_at_the_target(recorded) -> None:
    table, steps, stop = recorded
    start = [step.pressure_pa for step in steps[:6]]
    assert start == pytest.approx(np.geomspace(0.03, 30.0, 6))
    # one step may look at an end instead, above which the maximum must stand: on some sweeps that is worth most
    assert sum(not 0.1 < step.pressure_pa < 10 for step in steps[6:]) <= 1
    assert len(steps) > 8
    assert stop is not None and stop.reason == "target reached" and stop.reached
    assert stop.interval_pa[0] < 1.0 < stop.interval_pa[1]
    assert stop.interval_pa[1] - stop.interval_pa[0] <= 0.15 * stop.pressure_pa
    assert 8 <= len(table) <= 25
    assert [step.number for step in steps] == list(range(1, len(steps) + 1))


def test_the_same_table_gives_the_same_step(bench: Bench, recorded) -> None:
    table, steps, _ = recorded
    again = AdaptiveChoice(bench, 0.03, 30.0, target="15%", max_readings=40)
    assert again.next(table.iloc[:7]) == steps[7]


def test_unusable_rows_are_left_out_and_failed_starts_are_limited(bench: Bench, recorded) -> None:
    table, _, _ = recorded
    choice = AdaptiveChoice(bench, 0.03, 30.0)
    spoilt = pd.concat([table.iloc[:6], table.iloc[5:6].assign(speed_rad_s=np.nan)], ignore_index=True)
    assert choice.next(spoilt).number == 7
    bad = table.iloc[:1].assign(speed_rad_s=np.nan)
    assert choice.next(bad).pressure_pa == pytest.approx(0.03)
    assert choice.next(pd.concat([bad, bad])).pressure_pa > 0.05
    used = table.assign(used=[True] * 3 + [False] * (len(table) - 3))
    assert choice.next(used).number == 4


def test_a_sweep_without_a_usable_reading_ends_with_a_reason(bench: Bench) -> None:
    choice = AdaptiveChoice(bench, 0.03, 30.0)
    tried = np.repeat(np.geomspace(0.03, 30.0, 6), 2)
    table = pd.DataFrame({name: tried if name == "pressure_pa" else np.nan for name in COLUMNS})
    stop = choice.next(table)
    assert isinstance(stop, Stop) and "flags" in stop.sentence


def test_the_sweep_ends_at_the_greatest_number_of_readings(bench: Bench, recorded) -> None:
    table, _, _ = recorded
    stop = AdaptiveChoice(bench, 0.03, 30.0, target="0.1%", max_readings=8).next(table.iloc[:8])
    assert isinstance(stop, Stop) and stop.reason == "readings spent" and not stop.reached


def test_the_choice_works_during_a_recording(bench: Bench) -> None:
    readings = read_experiment(EXAMPLE).readings
    stop = AdaptiveChoice(bench, 0.02, 20.0, target="60%").next(readings)
    assert isinstance(stop, Stop) and stop.reached
    step = AdaptiveChoice(bench, 0.02, 20.0).next(readings)
    assert isinstance(step, Target) and step.why and 0.02 <= step.pressure_pa <= 20.0


def test_a_known_maximum_replaces_the_even_start(bench: Bench) -> None:
    """Twelve readings with a maximum inside, as a class types them, and a range asked for that reaches far beyond."""
    pressure = np.geomspace(0.07, 27.0, 12)
    speed = np.array([hump(p) for p in pressure])
    table = pd.DataFrame(dict(zip(COLUMNS, [pressure, 0.01, 0.0, speed, 0.02 * speed], strict=True)))
    step = AdaptiveChoice(bench, 0.01, 100.0).next(table)
    assert isinstance(step, Stop) or 0.2 < step.pressure_pa < 5.0
    flank = table.iloc[:5]
    assert "log-even start" in AdaptiveChoice(bench, 0.01, 100.0).next(flank).why


def test_impossible_targets_are_refused(bench: Bench) -> None:
    low, high = gauge_range(bench)
    assert low < 0.01 and high > 100.0
    with pytest.raises(InputError, match="beyond the range of the gauge"):
        AdaptiveChoice(bench, low / 10, 1.0)
    with pytest.raises(InputError, match="closed"):
        AdaptiveChoice(bench, 1.0, 1.0)
    with pytest.raises(InputError, match="6 or more"):
        AdaptiveChoice(bench, 0.1, 10.0, max_readings=5)
    with pytest.raises(InputError, match="between 0 and 1"):
        AdaptiveChoice(bench, 0.1, 10.0, level=1.0)
    with pytest.raises(InputError, match="no column speed_u_rad_s"):
        AdaptiveChoice(bench, 0.1, 10.0).next(pd.DataFrame(columns=COLUMNS[:-1]))
