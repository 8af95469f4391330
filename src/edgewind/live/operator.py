"""What a sweep attends to while it waits: the commands and answers of the person, the gauge, and the owner's limits."""

from __future__ import annotations

import math
import statistics
import time

from edgewind.bench import Bench
from edgewind.live.commands import Commands
from edgewind.live.devices import RawTrace, number_of
from edgewind.live.errors import InstrumentError, StoppedError
from edgewind.live.events import SweepState
from edgewind.live.instruments import Instruments
from edgewind.live.interlocks import Observation
from edgewind.live.sensing import Sensing
from edgewind.live.steadiness import SteadinessMonitor

TICK_S = 0.02
_LEAST_LOOKS = 3


class Operator:
    """Wait, and meanwhile obey, look and ask; in the thread of the sweep alone."""

    def __init__(self, bench: Bench, instruments: Instruments, board: SweepState, commands: Commands) -> None:
        self._bench, self._instruments = bench, instruments
        self._board, self._commands = board, commands
        self._senses = Sensing(bench, instruments)
        self._began = time.monotonic()
        self._next_look = 0.0
        self._last_answer = time.monotonic()
        self._speeds: list[float] = []

    @property
    def senses(self) -> Sensing:
        """The bench as its instruments tell of it."""
        return self._senses

    # Waiting

    def begin(self) -> None:
        """Count the time of what is observed from now."""
        self._began = time.monotonic()

    def tick(self, *, in_step: bool = True) -> None:
        """Obey commands; stay here while paused, with gauge and limits watched. Between steps there is none to skip."""
        before = self._board.status.phase
        while True:
            self._commands.obey(in_step=in_step)
            if not self._commands.paused:
                if self._board.status.phase == "paused":
                    self._board.phase(before, "going on")
                time.sleep(TICK_S if self._next_look > time.monotonic() else 0)
                return
            if self._board.status.phase != "paused":
                self._board.phase("paused", "paused; the gauge is watched")
            self.observe_when_due(None)
            time.sleep(TICK_S)

    def rest(self, seconds: float) -> None:
        """Do nothing but watch the gauge."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            self.observe_when_due(None)
            time.sleep(TICK_S)

    # Looking

    def new_watch(self) -> SteadinessMonitor:
        """Begin to watch pressure and speed for steadiness."""
        rules = self._bench.steadiness
        self._speeds.clear()
        return SteadinessMonitor(
            dwell_s=rules.dwell.value,
            at_least_s=rules.at_least.value,
            pressure_margin=rules.pressure_drift.value,
            speed_margin=rules.speed_drift.value,
            confidence=rules.confidence,
            with_pressure=self._instruments.gauge is not None,
            with_speed=self._instruments.tachometer is not None,
        )

    def observe_when_due(self, watch: SteadinessMonitor | None) -> Observation | None:
        """Look at the gauge, and with a watch at the speed, when it is time to."""
        if time.monotonic() < self._next_look:
            return None
        self._next_look = time.monotonic() + self._bench.steadiness.every.value
        seen = self.observe() if self._instruments.gauge is not None else Observation(time.monotonic())
        if watch is None:
            return seen
        if seen.pressure_pa is not None:
            watch.add_pressure(seen.time_s, seen.pressure_pa)
        if self._instruments.tachometer is not None:
            speed = self._look_at_speed()
            watch.add_speed(time.monotonic(), speed)
            self._speeds.append(speed)
            del self._speeds[:-200]
            self._board.set(speed_rad_s=speed if math.isfinite(speed) else None)
        status = self._board.status
        self._board.tell(
            "observed",
            "",
            time_s=time.monotonic() - self._began,
            pressure_pa=status.pressure_pa,
            speed_rad_s=status.speed_rad_s,
            temperature_k=status.temperature_k,
            valve_v=status.valve_v,
        )
        return seen

    def observe(self) -> Observation:
        """Read gauge and thermometer and hold them against the limits.

        Raises
        ------
        InterlockError
            A limit is crossed, in two of three readings.
        InstrumentError
            The gauge has been silent for longer than the owner allows.
        """
        limits = self._bench.limits
        patience = 0.0 if limits is None else limits.silent_for.value
        while True:
            try:
                seen = self._senses.observe(time.monotonic())
                break
            except InstrumentError as error:
                if time.monotonic() - self._last_answer > patience:
                    raise
                self._board.tell("trouble", f"{error} (tried again for up to {patience:g} s)")
                if self._commands.stopping:
                    raise StoppedError("stopped") from None
                time.sleep(0.2)
        self._last_answer = time.monotonic()
        self.show(seen)
        self._senses.check(seen)
        return seen

    def show(self, seen: Observation) -> None:
        """Write on the board what gauge and thermometer said."""
        self._board.set(
            gauge=seen.gauge,
            pressure_pa=seen.pressure_pa,
            pressure_flag=seen.pressure_flag,
            temperature_k=seen.temperature_k,
        )

    def speed_agrees(self, trace: RawTrace) -> bool:
        """Whether the speed in a trace is that of the looks before it, where both are known."""
        found = self._senses.speed(trace)
        known = [speed for speed in self._speeds[-8:] if math.isfinite(speed)]
        self._board.set(speed_rad_s=found if math.isfinite(found) else None)
        if len(known) < _LEAST_LOOKS:
            return True
        usual = statistics.median(known)
        spread = statistics.median(abs(speed - usual) for speed in known)
        if not math.isfinite(found):
            return False
        return bool(abs(found - usual) <= 2 * self._bench.steadiness.speed_drift.value * usual + 6 * spread)

    def _look_at_speed(self) -> float:
        tachometer = self._instruments.tachometer
        assert tachometer is not None
        if tachometer.has_rate:
            return self._senses.speed_of_rates(tachometer.rate_hz)
        return self._senses.speed(tachometer.take(self._bench.steadiness.look.value))

    # Asking the person

    def ask(self, question: str) -> str:
        """Ask, and go on watching until the answer has come."""
        before = self._board.status.phase
        self._board.set(question=question, asked=self._commands.open_question())
        self._board.phase("asking", question)
        self._board.tell("question", question)
        try:
            while True:
                self.tick()
                self.observe_when_due(None)
                text = self._commands.next_answer(TICK_S)
                if text is not None:
                    self._board.tell("answered", text)
                    return text
        finally:
            self._commands.close_question()
            self._board.set(question="")
            self._board.phase(before, "")

    def ask_number(self, question: str) -> str:
        """Ask for a number; what is none is asked for again, never guessed."""
        while True:
            text = self.ask(question).strip()
            try:
                if math.isfinite(number_of(text)):
                    return text
            except ValueError:
                pass
            self._board.tell("trouble", f"'{text}' is not a number, such as 3.27")
