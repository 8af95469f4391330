"""Bringing the pressure to a target, and waiting until pressure and speed are steady there."""

from __future__ import annotations

import math
import time
from typing import Any

from edgewind.bench import Bench
from edgewind.live.commands import SkipError
from edgewind.live.events import SweepState
from edgewind.live.hands import Hands
from edgewind.live.instruments import Instruments
from edgewind.live.interlocks import Observation
from edgewind.live.operator import Operator
from edgewind.live.steadiness import Steadiness
from edgewind.live.sweep_request import Step
from edgewind.live.valve_search import ValveSearch
from edgewind.units import format_number

_MOST_MOVES = 60


class Reaching:
    """Reaches the pressures of a sweep; what it learns of the valve serves the next step."""

    def __init__(
        self, bench: Bench, instruments: Instruments, board: SweepState, attention: Operator, hands: Hands
    ) -> None:
        self._bench, self._instruments = bench, instruments
        self._board, self._attention, self._hands = board, attention, hands
        self._search = _new_search(bench, instruments)

    def reach(self, step: Step) -> None:
        """Bring the pressure to the target and wait until pressure and speed are steady.

        Raises
        ------
        SkipError
            It cannot be reached, or does not come to rest.
        """
        self._board.phase("setting", step.words)
        began = time.monotonic()
        if self._search is None:
            self._attention.ask(f"Set the pressure to about {format_number(step.pressure_pa, 3)} Pa, then press Enter.")
            if self._instruments.gauge is None and self._instruments.tachometer is None:
                self._attention.ask("Wait until pressure and speed are steady, then press Enter.")
            else:
                self.settle(None, began)
            return
        valve = self._instruments.valve
        assert valve is not None
        if self._is_near(step) and valve.voltage is not None and self.settle(step, began):
            return
        for _ in range(_MOST_MOVES):
            move = self._search.next(step.pressure_pa)
            if move.voltage_v is None:
                raise SkipError(move.why_not)
            self._board.phase("setting", f"valve to {move.voltage_v:.3f} V")
            self._hands.set_valve(move.voltage_v)
            if self.settle(step, began):
                return
        raise SkipError(f"the pressure was not reached in {_MOST_MOVES} moves of the valve")

    def settle(self, step: Step | None, began: float) -> bool:
        """Wait until steady; False where the pressure came to rest away from the target, and the valve has to move."""
        rules = self._bench.steadiness
        self._board.phase("settling", "waiting until pressure and speed are steady")
        watch = self._attention.new_watch()
        while True:
            self._attention.tick()
            seen = self._attention.observe_when_due(watch)
            if seen is None:
                continue
            found = watch.look(time.monotonic())
            self._board.set(steadiness=found)
            if step is not None and self._came_to_rest_away(step, found, seen):
                return False
            if found.steady:
                self._board.tell("steady", _words_of(found), **_plain(found))
                return True
            if time.monotonic() - began > rules.at_most.value:
                raise SkipError(f"not steady within {rules.at_most.value:g} s")

    def _is_near(self, step: Step) -> bool:
        pressure = self._board.status.pressure_pa
        tolerance = math.log1p(self._bench.steadiness.pressure_tolerance.value)
        return pressure is not None and abs(math.log(pressure / step.pressure_pa)) <= tolerance

    def _came_to_rest_away(self, step: Step, found: Steadiness, seen: Observation) -> bool:
        """Learn from where the pressure comes to rest, or from its running past the target."""
        valve, drift = self._instruments.valve, found.pressure
        assert valve is not None and valve.voltage is not None and self._search is not None
        if drift is None:
            return False
        tolerance = math.log1p(self._bench.steadiness.pressure_tolerance.value)
        if seen.pressure_pa is None:
            # under the range of the gauge: as far as the search goes, its lower end
            if seen.pressure_flag and found.watched_s > self._bench.steadiness.at_least.value:
                lowest = self._attention.senses.lowest_pa
                if lowest < step.pressure_pa:
                    self._search.learn(valve.voltage, lowest)
                    return True
            return False
        away = math.log(seen.pressure_pa / step.pressure_pa)
        runs_past = away > 2 * tolerance and drift.per_dwell - 2 * drift.u > 0 and math.isfinite(drift.u)
        at_rest = drift.bound < max(tolerance / 2, drift.margin)
        if abs(away) > tolerance and (at_rest or runs_past):
            self._search.learn(valve.voltage, seen.pressure_pa)
            return True
        if at_rest:
            self._search.learn(valve.voltage, seen.pressure_pa)
        return False


def _new_search(bench: Bench, instruments: Instruments) -> ValveSearch | None:
    valve, limits = instruments.valve, bench.limits
    if valve is None or limits is None or limits.pressure_above is None:
        return None
    opened = valve.high if valve.rises else valve.low
    return ValveSearch(valve.closed, opened, limits.pressure_above.value)


def _plain(found: Steadiness) -> dict[str, Any]:
    plain: dict[str, Any] = {"watched_s": found.watched_s, "looks": found.looks, "at_rest": found.at_rest}
    for name, drift in (("pressure", found.pressure), ("speed", found.speed)):
        if drift is not None:
            plain[f"{name}_drift_per_dwell"] = drift.per_dwell
            plain[f"{name}_drift_bound"] = drift.bound
    return plain


def _words_of(found: Steadiness) -> str:
    parts = [
        f"{name} drifts by less than {100 * drift.bound:.2g} % a dwell"
        for name, drift in (("pressure", found.pressure), ("speed", found.speed))
        if drift is not None
    ]
    if found.at_rest:
        parts.append("nothing is seen to turn")
    return f"steady after {found.watched_s:.1f} s: " + ", ".join(parts)
