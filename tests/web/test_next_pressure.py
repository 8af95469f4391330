"""*Next*: the proposal follows the readings, within the pressures that the pump has reached."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from edgewind.bench import Bench
from edgewind.web.next_pressure import FEWEST, next_pressure


@pytest.fixture
def bench(make_bench: Callable[..., Bench]) -> Bench:
    return make_bench(gauge={"kind": "display", "transfer_uncertainty": "5 %"})


def rows_of(pressures: Any, greatest_at_pa: float) -> list[dict[str, Any]]:
    """Invented readings on a curve with its maximum at a pressure: a closed form that is not the model under test."""
    random = np.random.default_rng(len(pressures))
    found = []
    for pressure in pressures:
        ratio = pressure / greatest_at_pa
        speed = 10.0 * 4 * ratio / (1 + ratio) ** 2 * (1 + 0.002 * random.standard_normal())
        found.append({
            "pressure_pa": float(pressure), "pressure_u_pa": 0.01 * pressure, "log_pressure_u": 0.01,
            "log_pressure_u_common": 0.0, "speed_rad_s": speed, "speed_u_rad_s": 0.03, "sweep": "up", "used": True,
            "lamp": True, "exclude": "",
        })  # fmt: skip
    return found


def test_the_proposal_approaches_the_maximum(bench: Bench) -> None:
    """From the same pressures, with another maximum among them, another pressure is proposed."""
    pressures = np.geomspace(0.05, 20.0, 9)
    thin, dense = (next_pressure(bench, rows_of(pressures, at))["pressure_pa"] for at in (0.4, 4.0))
    assert 0.4 / 4 < thin < 0.4 * 4 and 4.0 / 4 < dense < 4.0 * 4


def test_each_reading_changes_the_proposal_until_the_maximum_is_enclosed(bench: Bench) -> None:
    measured, proposed = [0.05, 0.1], []
    for _ in range(9):
        found = next_pressure(bench, rows_of(measured, 2.0))
        if found["pressure_pa"] is None:
            break
        proposed.append(found["pressure_pa"])
        measured.append(found["pressure_pa"])
    assert len({round(float(np.log(one)), 3) for one in proposed[: FEWEST - 2]}) == FEWEST - 2
    assert any(one < 2.0 for one in measured) and any(one > 2.0 for one in measured)
    assert abs(np.log(proposed[-1] / 2.0)) < np.log(4.0), "it does not go to the maximum"
    assert min(measured) == 0.05, "it asks for what the pump has not reached"


def test_a_lower_pressure_is_proposed_only_if_the_pump_reaches_it(bench: Bench) -> None:
    """A speed that still rises towards thin gas: the maximum lies where the pump may not go."""
    rows = rows_of(np.geomspace(1.0, 20.0, 8), 0.2)
    held, free = next_pressure(bench, rows), next_pressure(bench, rows, lowest_pa=0.01)
    assert held["pressure_pa"] is None or held["pressure_pa"] >= 1.0 * (1 - 1e-9)
    assert 0.01 <= free["pressure_pa"] < 1.0
    # a reading that was set aside does not say how far the pump reaches
    away = [row | {"pressure_pa": 1e-4, "used": False, "exclude": "mistyped"} for row in rows[:1]]
    assert next_pressure(bench, [*rows, *away]) == held
