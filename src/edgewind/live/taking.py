"""Taking a reading or a coast-down: the trace, and the gauge before and after it, which have to agree."""

from __future__ import annotations

import math
import statistics
import time

from edgewind.bench import Bench
from edgewind.errors import InputError
from edgewind.live.columns import Columns
from edgewind.live.commands import RepeatError, SkipError
from edgewind.live.devices import RawTrace
from edgewind.live.events import SweepState, now_text
from edgewind.live.hands import Hands
from edgewind.live.instruments import Instruments
from edgewind.live.interlocks import Observation
from edgewind.live.operator import Operator
from edgewind.live.sweep_request import Step

_GAUGE_BEFORE, _GAUGE_AFTER = 3, 2

Taken = tuple[dict[str, str], RawTrace | None]
"""The cells of a reading and its trace."""


class Taking:
    """Takes what a step asks for, once pressure and speed are steady."""

    def __init__(
        self,
        bench: Bench,
        instruments: Instruments,
        columns: Columns,
        board: SweepState,
        attention: Operator,
        hands: Hands,
    ) -> None:
        self._bench, self._instruments, self._columns = bench, instruments, columns
        self._board, self._attention, self._hands = board, attention, hands

    def take(self, step: Step) -> Taken | None:
        """Take what the step asks for; None where pressure or speed did not hold still meanwhile."""
        return self._coast_down(step) if step.kind == "coast-down" else self._read(step)

    def _read(self, step: Step) -> Taken | None:
        self._board.phase("reading", step.words)
        self._instruments.verify()
        when = now_text()
        before = self._gauge_readings(_GAUGE_BEFORE)
        trace = self._trace(self._bench.steadiness.trace_s)
        after = self._gauge_readings(_GAUGE_AFTER)
        self._attention.tick()  # who asked meanwhile to skip or to stop meant this reading, not the next
        pressure = self._agreed(before, after, self._bench.steadiness.pressure_drift.value)
        if (before or after) and pressure is None:
            return None
        if trace is not None and not self._attention.speed_agrees(trace):
            return None
        typed = "" if trace is not None else self._attention.ask_number("How fast does it turn, in rpm?")
        return self._columns.cells(when, pressure, self._attention.senses.last, True, step.direction, typed), trace

    def _coast_down(self, step: Step) -> Taken | None:
        """Lamp off from full speed, one long trace, lamp on again."""
        if self._instruments.tachometer is None:
            raise SkipError("a coast-down needs a tachometer on a wire")
        self._board.phase("coast-down", step.words)
        self._instruments.verify()
        before = self._gauge_readings(_GAUGE_BEFORE)
        self._hands.switch_lamp(False)
        when = now_text()
        try:
            trace = self._trace(self._bench.steadiness.coast_down.value)
            after = self._gauge_readings(_GAUGE_AFTER)
            self._attention.tick()
        except (SkipError, RepeatError):  # the sweep goes on; whatever else ends it leaves the lamp off
            self._hands.switch_lamp(True)
            raise
        self._hands.switch_lamp(True)
        # the gas of a coast-down may warm or cool a little: the pressure has to agree to its tolerance only
        pressure = self._agreed(before, after, self._bench.steadiness.pressure_tolerance.value)
        if (before or after) and pressure is None:
            return None
        return self._columns.cells(when, pressure, self._attention.senses.last, False, step.direction, ""), trace

    def _trace(self, duration_s: float) -> RawTrace | None:
        tachometer = self._instruments.tachometer
        if tachometer is None:
            return None

        def tick() -> None:
            self._attention.tick()
            self._attention.observe_when_due(None)

        return tachometer.take(duration_s, tick)

    def _gauge_readings(self, count: int) -> list[Observation]:
        if self._instruments.gauge is None:
            if count == _GAUGE_AFTER:
                return []  # typed once
            return [self._typed_observation()]
        return [self._attention.observe() for _ in range(count)]

    def _typed_observation(self) -> Observation:
        senses = self._attention.senses
        while True:
            text = self._attention.ask_number(f"What does the gauge show, in {self._columns.gauge_unit}?")
            try:
                seen = senses.typed(text, self._columns, time.monotonic())
            except InputError as error:
                self._board.tell("trouble", str(error))
                continue
            self._attention.show(seen)
            senses.check(seen)
            return seen

    def _agreed(self, before: list[Observation], after: list[Observation], margin: float) -> Observation | None:
        """The median of all, where those before and after the trace agree; None where they do not.

        A single answer that was garbled on its way and still reads as a number cannot become the median of five.
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
        scatter = self._attention.senses.scatter(middle)
        return middle if abs(first - second) <= margin + 4 * scatter else None
