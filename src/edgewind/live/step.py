"""One step of a sweep: bring the pressure to its target, wait until it is steady, take the reading."""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable
from typing import Any

from edgewind.bench import Bench
from edgewind.errors import InputError
from edgewind.formatting import format_number
from edgewind.live.commands import RepeatError, SkipError
from edgewind.live.devices import RawTrace
from edgewind.live.events import now_text
from edgewind.live.instruments import Instruments
from edgewind.live.interlocks import Observation
from edgewind.live.operator import Operator
from edgewind.live.rig import Rig
from edgewind.live.run_recorder import RunRecorder
from edgewind.live.run_table import RunTable
from edgewind.live.spool import RunJournal
from edgewind.live.steadiness import Steadiness
from edgewind.live.sweep_request import Step
from edgewind.live.valve_search import ValveSearch

_MOST_MOVES = 60
_GAUGE_BEFORE, _GAUGE_AFTER = 3, 2

Taken = tuple[dict[str, str], RawTrace | RunTable | None]
"""The cells of a reading, and its trace or the table of its run."""


class StepRunner:
    """Carries out the steps of a sweep; the settled pressures of the valve are used for the next step."""

    def __init__(self, rig: Rig, operator: Operator, journal: Callable[..., RunJournal]) -> None:
        self._rig, self._operator, self._state = rig, operator, rig.state
        self._run = RunRecorder(rig, operator, journal)
        self._search = _new_search(rig.bench, rig.instruments)

    # The pressure

    def approach(self, step: Step) -> None:
        """Bring the pressure to the target and wait until pressure and speed are steady.

        Raises
        ------
        SkipError
            It cannot be reached, or does not become steady.
        """
        self._state.phase("setting", step.words)
        if step.run is not None:
            self._operator.switch_lamp(step.run.lamp_first == "on")
        began = self._rig.clock.monotonic()
        if step.run is not None and not step.pressure_pa:
            if self._rig.instruments.gauge is not None or self._rig.instruments.tachometer is not None:
                self.settle(None, began)
            return
        if self._search is None:
            self._operator.ask(f"Set the pressure to about {format_number(step.pressure_pa, 3)} Pa, then press Enter.")
            if self._rig.instruments.gauge is None and self._rig.instruments.tachometer is None:
                self._operator.ask("Wait until pressure and speed are steady, then press Enter.")
            else:
                self.settle(None, began)
            return
        valve = self._rig.instruments.valve
        assert valve is not None
        if self._is_near(step) and valve.voltage is not None and self.settle(step, began):
            return
        for _ in range(_MOST_MOVES):
            move = self._search.next(step.pressure_pa)
            if move.voltage_v is None:
                raise SkipError(move.why_not)
            self._state.phase("setting", f"valve to {move.voltage_v:.3f} V")
            self._rig.set_valve(move.voltage_v)
            if self.settle(step, began):
                return
        raise SkipError(f"the pressure was not reached in {_MOST_MOVES} moves of the valve")

    def settle(self, step: Step | None, began: float) -> bool:
        """Wait until steady; False if the pressure settled away from the target and the valve must move."""
        rules, clock = self._rig.bench.steadiness, self._rig.clock
        self._state.phase("settling", "waiting until pressure and speed are steady")
        monitor = self._operator.new_monitor()
        while True:
            self._operator.tick()
            seen = self._operator.observe_when_due(monitor)
            if seen is None:
                continue
            found = monitor.look(clock.monotonic())
            self._state.set(steadiness=found)
            if step is not None and self._came_to_rest_away(step, found, seen):
                return False
            if found.steady:
                self._state.tell("steady", _words_of(found), **_to_dict(found))
                return True
            if clock.monotonic() - began > rules.at_most.value:
                raise SkipError(f"not steady within {rules.at_most.value:g} s")

    def _is_near(self, step: Step) -> bool:
        pressure = self._state.status.pressure_pa
        tolerance = math.log1p(self._rig.bench.steadiness.pressure_tolerance.value)
        return pressure is not None and abs(math.log(pressure / step.pressure_pa)) <= tolerance

    def _came_to_rest_away(self, step: Step, found: Steadiness, seen: Observation) -> bool:
        """Learn from the settled pressure, or from a pressure that passes the target."""
        rules, valve, drift = self._rig.bench.steadiness, self._rig.instruments.valve, found.pressure
        assert valve is not None and valve.voltage is not None and self._search is not None
        if drift is None:
            return False
        tolerance = math.log1p(rules.pressure_tolerance.value)
        if seen.pressure_pa is None:
            # below the range of the gauge: for the search, its lower end
            if seen.pressure_flag and found.watched_s > rules.at_least.value:
                lowest = self._rig.sensing.lowest_pa
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

    # The reading

    def acquire(self, step: Step) -> Taken | None:
        """Take the reading of a step; None if pressure or speed did not stay steady meanwhile."""
        if step.kind == "run":
            return self._run.record(step, self._gauge_readings(_GAUGE_BEFORE))
        return self._coast_down(step) if step.kind == "coast-down" else self._read(step)

    def _read(self, step: Step) -> Taken | None:
        self._state.phase("reading", step.words)
        self._rig.instruments.verify()
        when = now_text(self._rig.clock)
        before = self._gauge_readings(_GAUGE_BEFORE)
        trace = self._trace(self._rig.bench.steadiness.trace_s)
        after = self._gauge_readings(_GAUGE_AFTER)
        self._operator.obey()  # a skip or stop meanwhile applies to this reading, not to the next
        pressure = self._agreed(before, after, self._rig.bench.steadiness.pressure_drift.value)
        if (before or after) and pressure is None:
            return None
        if trace is not None and not self._operator.speed_agrees(trace):
            return None
        typed, face = "", self._leading_face()
        if trace is None:
            typed, face = self._operator.ask_speed()
        cells = self._rig.columns.cells(when, pressure, self._rig.sensing.last, True, step.direction, typed)
        return cells | self._rig.commands.marked(face), trace

    def _leading_face(self) -> str:
        """Return the leading face by the sign of the counter; empty if it has none."""
        tachometer = self._rig.instruments.tachometer
        if tachometer is None or not (tachometer.is_signed and tachometer.has_rate):
            return ""
        speed, _ = self._rig.sensing.signed_speed(tachometer.rate_hz, 1.0)
        return "" if not speed else "bright" if speed > 0 else "dark"

    def _coast_down(self, step: Step) -> Taken | None:
        """Record a coast-down: lamp off from full speed, one long trace, lamp on again."""
        if self._rig.instruments.tachometer is None:
            raise SkipError("a coast-down needs a tachometer that is connected")
        self._state.phase("coast-down", step.words)
        self._rig.instruments.verify()
        before = self._gauge_readings(_GAUGE_BEFORE)
        self._operator.switch_lamp(False)
        when = now_text(self._rig.clock)
        try:
            trace = self._trace(self._rig.bench.steadiness.coast_down.value)
            after = self._gauge_readings(_GAUGE_AFTER)
            self._operator.obey()
        except (SkipError, RepeatError):  # the sweep continues; any other end leaves the lamp off
            self._operator.switch_lamp(True)
            raise
        self._operator.switch_lamp(True)
        # the gas may warm or cool a little in a coast-down: the pressure must agree within its tolerance only
        pressure = self._agreed(before, after, self._rig.bench.steadiness.pressure_tolerance.value)
        if (before or after) and pressure is None:
            return None
        cells = self._rig.columns.cells(when, pressure, self._rig.sensing.last, False, step.direction, "")
        return cells | self._rig.commands.marked(""), trace

    def take_cut_off(self) -> tuple[Step, Taken] | None:
        """Return, once, the interrupted run with its step; None if there is none."""
        return self._run.take_cut_off()

    def _trace(self, duration_s: float) -> RawTrace | None:
        tachometer = self._rig.instruments.tachometer
        return None if tachometer is None else tachometer.take(duration_s, self._operator.attend)

    def _gauge_readings(self, count: int) -> list[Observation]:
        if self._rig.instruments.gauge is None:
            if count == _GAUGE_AFTER:
                return []  # typed once
            return [self._typed_observation()]
        return [self._operator.observe() for _ in range(count)]

    def _typed_observation(self) -> Observation:
        sensing, columns = self._rig.sensing, self._rig.columns
        while True:
            text = self._operator.ask_number(f"What does the gauge show, in {columns.gauge_unit}?")
            try:
                seen = sensing.typed(text, columns, self._rig.clock.monotonic())
            except InputError as error:
                self._state.tell("trouble", str(error))
                continue
            self._operator.show(seen)
            sensing.check(seen)
            return seen

    def _agreed(self, before: list[Observation], after: list[Observation], margin: float) -> Observation | None:
        """Return the median of all if those before and after the trace agree; None otherwise.

        A single garbled answer that still reads as a number cannot become the median of five.
        """
        seen = [*before, *after]
        if not seen or any(one.pressure_pa is None for one in seen):
            return None
        ordered = sorted(seen, key=lambda one: one.pressure_pa or 0.0)
        middle = ordered[(len(ordered) - 1) // 2]
        if not after:
            return middle
        first, second = (
            statistics.median_low([math.log(one.pressure_pa or 1.0) for one in part]) for part in (before, after)
        )
        scatter = self._rig.sensing.scatter(middle)
        return middle if abs(first - second) <= margin + 4 * scatter else None


def _new_search(bench: Bench, instruments: Instruments) -> ValveSearch | None:
    valve, limits = instruments.valve, bench.limits
    if valve is None or limits is None or limits.pressure_above is None:
        return None
    opened = valve.high if valve.rises else valve.low
    return ValveSearch(valve.closed, opened, limits.pressure_above.value)


def _to_dict(found: Steadiness) -> dict[str, Any]:
    written: dict[str, Any] = {"watched_s": found.watched_s, "looks": found.looks, "at_rest": found.at_rest}
    for name, drift in (("pressure", found.pressure), ("speed", found.speed)):
        if drift is not None:
            written[f"{name}_drift_per_dwell"] = drift.per_dwell
            written[f"{name}_drift_bound"] = drift.bound
    return written


def _words_of(found: Steadiness) -> str:
    parts = [
        f"{name} drifts by less than {100 * drift.bound:.2g} % a dwell"
        for name, drift in (("pressure", found.pressure), ("speed", found.speed))
        if drift is not None
    ]
    if found.at_rest:
        parts.append("no turning is seen")
    return f"steady after {found.watched_s:.1f} s: " + ", ".join(parts)
