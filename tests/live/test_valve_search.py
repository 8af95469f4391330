"""The search for the voltage that gives a pressure, on invented valves."""

import math

from hypothesis import given
from hypothesis import strategies as st

from edgewind.live.valve_search import ValveSearch

MOST = 50.0


def valve(base, top, bend, dead):
    """Pressure of an opening from 0 to 1: a dead band, then between proportional and exponential."""

    def pressure(x):
        y = max(x - dead, 0.0) / (1 - dead)
        return base + top * ((1 - bend) * y + bend * (math.expm1(8 * y) / math.expm1(8)))

    return pressure


@given(
    base=st.floats(1e-4, 1e-2), top=st.floats(20.0, 80.0), bend=st.floats(0.0, 1.0), dead=st.floats(0.0, 0.4),
    target=st.floats(-1.5, 1.3), falling=st.booleans(),
)  # fmt: skip
def test_every_reachable_pressure_is_found_without_passing_the_limit(base, top, bend, dead, target, falling):
    pressure, wanted = valve(base, top, bend, dead), 10**target
    closed, opened = (5.0, 1.0) if falling else (0.0, 4.0)
    search, tried = ValveSearch(closed, opened, MOST), []
    for _ in range(60):
        move = search.next(wanted)
        assert move.voltage_v is not None, move.why_not
        assert min(closed, opened) - 1e-9 <= move.voltage_v <= max(closed, opened) + 1e-9
        found = pressure(min(max((move.voltage_v - closed) / (opened - closed), 0.0), 1.0))
        tried.append(found)
        if abs(math.log(found / wanted)) < math.log(1.1):
            break
        search.learn(move.voltage_v, found)
    else:
        raise AssertionError(tried)


def test_unreachable_pressures_are_reported():
    search = ValveSearch(0.0, 4.0, MOST)
    assert search.next(1e-6).voltage_v == 0.0
    search.learn(0.0, 1e-3)
    assert "even with the valve closed" in search.next(1e-6).why_not
    search.learn(4.0, 2.0)
    assert "largest allowed opening" in search.next(5.0).why_not


def test_no_step_is_expected_to_exceed_the_limit():
    search = ValveSearch(0.0, 4.0, 1.0)
    search.learn(0.5, 0.1)
    search.learn(0.6, 0.9)
    move = search.next(0.95)
    assert move.voltage_v is None or move.voltage_v <= 0.6 + 4 / 32
