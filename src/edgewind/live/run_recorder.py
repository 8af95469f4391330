"""The recording of a run: signed speed against time, with planned and unplanned changes."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

from edgewind.live.commands import Gesture
from edgewind.live.events import now_text
from edgewind.live.interlocks import Observation
from edgewind.live.operator import Operator
from edgewind.live.rig import Rig
from edgewind.live.run_plan import PlannedChange, RunPlan
from edgewind.live.run_table import LEAST_SINCE_S, RunRow, RunTable
from edgewind.live.spool import RunJournal
from edgewind.live.sweep_request import Step

# Queries of the rotor before the first change, and those without a pulse after which it counts as standing.
_LOOKS_BEFORE, _STANDS_AFTER = 3, 3
# Share of `steadiness.reversal` after which the wait for standstill ends.
_WAIT_FOR_STANDSTILL = 0.25

Recorded = tuple[dict[str, str], RunTable]


@dataclass
class _Running:
    """A run in progress."""

    step: Step
    plan: RunPlan
    table: RunTable
    journal: RunJournal
    cells: dict[str, str]
    began_s: float
    envelope_k: float | None
    pending: deque[PlannedChange]
    changed_at: float
    looks: int = 0
    still: int = 0
    made: list[str] = field(default_factory=list)


class RunRecorder:
    """Records runs; every row is on the disk before the next is taken.

    Parameters
    ----------
    rig, operator
        The apparatus, and the waiting with commands handled.
    journal : callable
        Begins to store the rows of a run of a step on the disk.
    """

    def __init__(self, rig: Rig, operator: Operator, journal: Callable[..., RunJournal]) -> None:
        self._rig, self._operator, self._state, self._journal = rig, operator, rig.state, journal
        self._now: _Running | None = None

    def record(self, step: Step, before: list[Observation]) -> Recorded:
        """Record a run to its end; `before` is the last observation.

        Raises
        ------
        StoppedError, InterlockError, InstrumentError
            It was interrupted; :meth:`take_cut_off` returns the recorded part.
        """
        assert step.run is not None
        plan, rig, state = step.run, self._rig, self._state
        tachometer = rig.instruments.tachometer
        measured = tachometer is not None and not plan.typed
        state.phase("run", step.words)
        rig.instruments.verify()
        signed = measured and rig.sensing.traces_tell_direction
        if tachometer is not None and tachometer.has_rate:
            signed = measured and tachometer.is_signed
        known = [one for one in before if one.pressure_pa is not None]
        cells = rig.columns.cells(
            now_text(rig.clock), known[len(known) // 2] if known else None, rig.sensing.last,
            plan.lamp_first == "on", step.direction, "",
        )  # fmt: skip
        journal = self._journal(step, signed=signed)
        journal.say({"cells": rig.columns.fitting(cells)})
        run = self._now = _Running(
            step, plan, RunTable(signed), journal, cells, self._time_s(), self._envelope_at_start(plan),
            deque(plan.changes), rig.clock.monotonic(),
        )  # fmt: skip
        state.run(f"{step.number}/{cells['time']}", run.table.moments)
        rig.commands.begin_run(rig.clock.monotonic)
        try:
            self._follow(run, measured=measured)
        finally:
            rig.commands.end_run()
        if rig.instruments.thermostat is not None:
            rig.instruments.thermostat.switch_off()
        self._now = None
        return self._ended(run)

    def take_cut_off(self) -> tuple[Step, Recorded] | None:
        """Return, once, the interrupted run with its step; None if there is none."""
        run, self._now = self._now, None
        if run is None or not run.table.moments:
            return None
        cells, table = self._ended(run)
        return run.step, (cells | {"note": "cut off before its end"}, table)

    def _ended(self, run: _Running) -> Recorded:
        run.journal.close()
        run.table.signed = run.table.signed or self._rig.commands.speeds_signed
        cells = run.cells | self._rig.commands.marked("")
        lamps = [one.lamp for one in run.table.moments]
        if lamps:
            cells["lamp"] = "on" if lamps[-1] == "on" else "off"
        if run.made:
            cells["changed"] = ", then ".join(run.made)
        if not run.table.is_readable:
            cells["exclude"] = "too few speeds for a run"
        return cells, run.table

    # The course of it

    def _follow(self, run: _Running, *, measured: bool) -> None:
        rig, every = self._rig, self._rig.bench.steadiness.every.value
        while True:
            looked = rig.clock.monotonic()
            self._operator.obey()
            for gesture in rig.commands.take_gestures():
                self._obey(run, gesture)
            self._look(run, measured=measured)
            self._make_what_is_due(run)
            if rig.commands.ends_run or self._is_over(run):
                for gesture in rig.commands.take_gestures():
                    self._obey(run, gesture)
                return
            left = every - (rig.clock.monotonic() - looked)
            rig.clock.wait(rig.commands.arrived, max(left, 1e-3))

    def _is_over(self, run: _Running) -> bool:
        if run.plan.duration_s:
            return self._since_s(run) >= run.plan.duration_s
        passed = self._rig.clock.monotonic() - run.changed_at
        return not run.pending and passed >= self._rig.bench.steadiness.reversal.value

    def _look(self, run: _Running, *, measured: bool) -> None:
        rig, tachometer = self._rig, self._rig.instruments.tachometer
        seen = self._operator.observe() if rig.instruments.gauge is not None else rig.sensing.last
        began = self._since_s(run)
        since = began - run.table.moments[-1].time_s if run.table.moments else rig.bench.steadiness.every.value
        if since < LEAST_SINCE_S:
            return
        speed, u, time_s = math.nan, math.nan, began
        if measured and tachometer is not None and tachometer.has_rate:
            speed, u = rig.sensing.signed_speed(tachometer.rate_hz, since)
        elif measured and tachometer is not None:
            trace = tachometer.take(rig.bench.steadiness.look.value, self._operator.attend)
            speed, time_s = rig.sensing.turning(trace), 0.5 * (began + self._since_s(run))
        self._add(run, time_s, speed, u, seen)
        run.looks += 1
        if measured:
            run.still = run.still + 1 if speed == 0 else 0

    def _add(self, run: _Running, time_s: float, speed: float, u: float, seen: Observation, note: str = "") -> None:
        warm = seen.temperature_k if self._rig.instruments.thermometer is not None else run.envelope_k
        moment = RunRow(time_s, speed, u, warm, self._state.status.lamp, seen.indicated_pa, note)
        moment = run.table.add(moment)
        run.journal.add(moment)
        if math.isfinite(speed):
            self._state.set(speed_rad_s=speed)
        self._state.tell("observed", "", time_s=moment.time_s, pressure_pa=seen.pressure_pa,
                         speed_rad_s=self._state.status.speed_rad_s, temperature_k=seen.temperature_k,
                         valve_v=self._state.status.valve_v)  # fmt: skip

    # Changes

    def _make_what_is_due(self, run: _Running) -> None:
        while run.pending and run.looks >= _LOOKS_BEFORE and self._is_due(run, run.pending[0]):
            change = run.pending.popleft()
            if change.lamp:
                self._switch(run, change.lamp)
            elif change.envelope_k is not None:
                self._hold(run, change.envelope_k, change.words)
            else:
                self._prompt(run, f"Now: {change.words}. Then press the button that says it was done.")
            run.still = 0

    def _is_due(self, run: _Running, change: PlannedChange) -> bool:
        if change.after_s is not None:
            return self._since_s(run) >= change.after_s
        waited = self._rig.clock.monotonic() - run.changed_at
        return run.still >= _STANDS_AFTER or waited >= _WAIT_FOR_STANDSTILL * self._rig.bench.steadiness.reversal.value

    def _switch(self, run: _Running, lamp: str) -> None:
        wired = self._rig.instruments.lamp
        if wired is None or lamp not in ("on", "off"):
            self._prompt(run, f"Now: lamp {lamp}. Press its button at the moment at which you do it.")
            return
        wired.switch(lamp == "on")
        self._note(run, f"lamp {lamp}", lamp=lamp)

    def _hold(self, run: _Running, kelvin: float, words: str) -> None:
        thermostat = self._rig.instruments.thermostat
        if thermostat is None:
            self._prompt(run, f"Now: {words}. Press its button at the moment at which you do it.")
            return
        thermostat.hold(kelvin)
        self._note(run, words)

    def _prompt(self, run: _Running, words: str) -> None:
        run.changed_at = self._rig.clock.monotonic()
        self._state.set(message=words)
        self._state.tell("prompt", words)

    def _note(self, run: _Running, words: str, *, lamp: str = "", at_s: float | None = None) -> None:
        """Note a change in a row of its own, at its moment."""
        if lamp:
            self._state.set(lamp=lamp)
        run.changed_at = self._rig.clock.monotonic()
        run.made.append(words)
        self._add(run, self._since_s(run) if at_s is None else at_s, math.nan, math.nan, self._rig.sensing.last, words)
        run.journal.say({"made": run.made})
        self._state.set(message=words)
        self._state.tell("change", f"{words}, at {run.table.moments[-1].time_s:.4g} s")

    def _obey(self, run: _Running, gesture: Gesture) -> None:
        """Carry out an action of the user, or note that it was done."""
        rig = self._rig
        late = max(rig.clock.monotonic() - gesture.at_s, 0.0) if self._is_by_this_clock() else 0.0
        at_s = self._since_s(run) - late
        if gesture.what == "speed":
            self._add(run, at_s, gesture.value, gesture.u, rig.sensing.last)
            run.still = _STANDS_AFTER if gesture.value == 0 else 0
            return
        if gesture.what == "lamp":
            if rig.instruments.lamp is not None and gesture.text in ("on", "off"):
                self._switch(run, gesture.text)
            else:
                self._note(run, f"lamp {gesture.text}", lamp=gesture.text, at_s=at_s)
        elif gesture.what == "envelope":
            words = f"envelope to {gesture.text}"
            if rig.instruments.thermostat is not None:
                self._hold(run, gesture.value, words)
            else:
                self._note(run, words, at_s=at_s)  # with its temperature until now
                run.envelope_k = gesture.value
                self._add(run, at_s, math.nan, math.nan, rig.sensing.last)
        else:
            self._note(run, gesture.text, at_s=at_s)

    # Time and temperature

    def _is_by_this_clock(self) -> bool:
        tachometer = self._rig.instruments.tachometer
        return tachometer is None or not tachometer.has_own_clock

    def _time_s(self) -> float:
        tachometer = self._rig.instruments.tachometer
        return self._rig.clock.monotonic() if tachometer is None else tachometer.time_s()

    def _since_s(self, run: _Running) -> float:
        return self._time_s() - run.began_s

    def _envelope_at_start(self, plan: RunPlan) -> float | None:
        if self._rig.instruments.thermometer is not None:
            return None
        bench = self._rig.bench
        stated = bench.chamber.envelope_temperature or bench.gas.temperature
        return plan.envelope_k or float(stated.value)
