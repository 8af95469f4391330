"""Clocks that are handed to everything that waits."""

from __future__ import annotations

import threading

import pytest

from edgewind.clock import Clock, ScaledClock, SimulatedClock, SystemClock, utc_now
from edgewind.errors import InputError


@pytest.mark.parametrize("clock", [SystemClock(), ScaledClock(100.0), SimulatedClock()])
def test_every_clock_waits_and_never_goes_back(clock: Clock) -> None:
    before, date = clock.monotonic(), clock.time()
    clock.sleep(0.001)
    assert clock.monotonic() >= before + 0.001
    assert clock.time() >= date
    event = threading.Event()
    assert not clock.wait(event, 0.001)
    event.set()
    assert clock.wait(event)
    assert clock.wait(event, -1.0)


def test_scaled_time_stands_still_in_a_pause_longer_than_the_gap(monkeypatch: pytest.MonkeyPatch) -> None:
    now = 50.0
    monkeypatch.setattr("time.monotonic", lambda: now)
    clock = ScaledClock(100.0, longest_gap_s=0.5)
    now = 50.4
    assert clock.monotonic() == pytest.approx(40.0)
    now = 60.4  # suspended
    assert clock.monotonic() == pytest.approx(90.0)
    now = 60.5
    assert clock.monotonic() == pytest.approx(100.0)


def test_simulated_time_passes_only_where_it_is_waited_for() -> None:
    clock = SimulatedClock(start=0.0)
    clock.sleep(3600.0)
    assert clock.monotonic() == 3600.0
    assert utc_now(clock).isoformat() == "1970-01-01T01:00:00+00:00"


def test_due_calls_are_made_in_order_at_their_times() -> None:
    clock = SimulatedClock()
    called: list[tuple[str, float]] = []
    clock.at(2.0, lambda: called.append(("later", clock.monotonic())))
    clock.at(1.0, lambda: called.append(("sooner", clock.monotonic())))
    clock.sleep(1.5)
    assert called == [("sooner", 1.0)]
    clock.advance(1.5)
    assert called == [("sooner", 1.0), ("later", 2.0)]
    assert clock.monotonic() == 3.0


def test_an_event_ends_a_wait_at_the_time_at_which_it_is_set() -> None:
    clock, event = SimulatedClock(), threading.Event()
    clock.at(5.0, event.set)
    assert not clock.wait(event, 1.0)
    assert clock.wait(event, 60.0)
    assert clock.monotonic() == 5.0


def test_an_endless_wait_for_an_impossible_event_is_refused() -> None:
    clock = SimulatedClock()
    with pytest.raises(RuntimeError, match="nothing is due"):
        clock.wait(threading.Event())


@pytest.mark.parametrize("speed_up", [0.0, -1.0, 1e6, float("nan")])
def test_a_speed_up_out_of_range_is_refused(speed_up: float) -> None:
    with pytest.raises(InputError, match="speed-up must be above 0"):
        ScaledClock(speed_up)


def test_time_that_runs_backwards_is_refused() -> None:
    with pytest.raises(InputError, match="zero or more"):
        SimulatedClock().advance(-1.0)


def test_a_wait_below_the_rounding_of_the_clock_ends() -> None:
    clock = SimulatedClock()
    clock.sleep(1e6)
    clock.sleep(1e-12)
    assert clock.monotonic() > 1e6
