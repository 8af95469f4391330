"""Waiting while commands, pauses and questions are handled and the limits are checked."""

from __future__ import annotations

import math
import statistics

from edgewind.clock import Event
from edgewind.live.devices import RawTrace, number_of
from edgewind.live.errors import InstrumentError, StoppedError
from edgewind.live.interlocks import Observation
from edgewind.live.rig import Rig
from edgewind.live.steadiness import SteadinessMonitor

# Longest wait for one event while others may occur, s.
_LONGEST_WAIT_S = 0.05
_LEAST_LOOKS = 3
_RETRY_S = 0.2


class Operator:
    """Wait while handling commands, polling the gauge and asking the user; in the thread of the sweep only."""

    def __init__(self, rig: Rig) -> None:
        self._rig, self._state, self._commands, self._clock = rig, rig.state, rig.commands, rig.clock
        self._began = self._last_answer = self._clock.monotonic()
        self._next_look = 0.0
        self._speeds: list[float] = []

    # Waiting

    def begin(self) -> None:
        """Start the time of observations now."""
        self._began = self._last_answer = self._clock.monotonic()

    def obey(self, *, in_step: bool = True) -> None:
        """Carry out commands; wait here while paused, with gauge and limits checked. Between steps there is none to
        skip.

        Raises
        ------
        StoppedError, SkipError, RepeatError
            The person asked for it.
        InterlockError, InstrumentError
            A limit is exceeded, or the gauge has given no answer for too long.
        """
        before = self._state.status.phase
        while True:
            self._commands.arrived.clear()
            self._commands.obey(in_step=in_step)
            if not self._commands.paused:
                if self._state.status.phase == "paused":
                    self._state.phase(before, "going on")
                return
            if self._state.status.phase != "paused":
                self._state.phase("paused", "paused; the gauge is watched")
            self.observe_when_due(None)
            self._wait(self._commands.arrived, math.inf)

    def tick(self) -> None:
        """Carry out commands, and wait until the next query of the gauge or the next command."""
        self.obey()
        self._wait(self._commands.arrived, math.inf)

    def attend(self, event: Event, seconds: float) -> None:
        """Carry out commands and query the gauge, then wait for an event, up to a number of seconds."""
        self.obey()
        self.observe_when_due(None)
        self._wait(event, min(seconds, _LONGEST_WAIT_S))

    def rest(self, seconds: float) -> None:
        """Only poll the gauge."""
        end = self._clock.monotonic() + seconds
        while (left := end - self._clock.monotonic()) > 0:
            self.observe_when_due(None)
            self._clock.sleep(min(left, max(self._until_look(), 1e-3)))

    def _wait(self, event: Event, seconds: float) -> None:
        self._clock.wait(event, min(seconds, max(self._until_look(), 0.0)))

    def _until_look(self) -> float:
        return self._next_look - self._clock.monotonic()

    # Looking

    def new_monitor(self) -> SteadinessMonitor:
        """Begin to test pressure and speed for steadiness."""
        rules = self._rig.bench.steadiness
        self._speeds.clear()
        return SteadinessMonitor(
            dwell_s=rules.dwell.value,
            at_least_s=rules.at_least.value,
            pressure_margin=rules.pressure_drift.value,
            speed_margin=rules.speed_drift.value,
            confidence=rules.confidence,
            with_pressure=self._rig.instruments.gauge is not None,
            with_speed=self._rig.instruments.tachometer is not None,
        )

    def observe_when_due(self, monitor: SteadinessMonitor | None) -> Observation | None:
        """Query the gauge, and with a monitor the speed, when due."""
        now = self._clock.monotonic()
        if now < self._next_look:
            return None
        self._next_look = now + self._rig.bench.steadiness.every.value
        seen = self.observe() if self._rig.instruments.gauge is not None else Observation(now)
        if monitor is None:
            return seen
        if seen.pressure_pa is not None:
            monitor.add_pressure(seen.time_s, seen.pressure_pa)
        if self._rig.instruments.tachometer is not None:
            speed = self._look_at_speed()
            monitor.add_speed(self._clock.monotonic(), speed)
            self._speeds.append(speed)
            del self._speeds[:-200]
            self._state.set(speed_rad_s=speed if math.isfinite(speed) else None)
        status = self._state.status
        self._state.tell(
            "observed",
            "",
            time_s=self._clock.monotonic() - self._began,
            pressure_pa=status.pressure_pa,
            speed_rad_s=status.speed_rad_s,
            temperature_k=status.temperature_k,
            valve_v=status.valve_v,
        )
        return seen

    def observe(self) -> Observation:
        """Read gauge and thermometer and check the limits.

        Raises
        ------
        InterlockError
            A limit is exceeded in two of three readings.
        InstrumentError
            The gauge has given no answer for longer than allowed.
        """
        limits = self._rig.bench.limits
        patience = 0.0 if limits is None else limits.silent_for.value
        while True:
            try:
                seen = self._rig.sensing.observe(self._clock.monotonic())
                break
            except InstrumentError as error:
                if self._clock.monotonic() - self._last_answer > patience:
                    raise
                self._state.tell("trouble", f"{error} (tried again for up to {patience:g} s)")
                if self._commands.stopping:
                    raise StoppedError("stopped") from None
                self._clock.sleep(_RETRY_S)
        self._last_answer = self._clock.monotonic()
        self.show(seen)
        self._rig.sensing.check(seen)
        return seen

    def show(self, seen: Observation) -> None:
        """Write the answers of gauge and thermometer into the state."""
        self._state.set(
            gauge=seen.gauge,
            pressure_pa=seen.pressure_pa,
            pressure_flag=seen.pressure_flag,
            temperature_k=seen.temperature_k,
        )

    def speed_agrees(self, trace: RawTrace) -> bool:
        """Return whether the speed in a trace agrees with the earlier ones, if both are known."""
        found = self._rig.sensing.speed(trace)
        known = [speed for speed in self._speeds[-8:] if math.isfinite(speed)]
        self._state.set(speed_rad_s=found if math.isfinite(found) else None)
        if len(known) < _LEAST_LOOKS:
            return True
        usual = statistics.median(known)
        spread = statistics.median(abs(speed - usual) for speed in known)
        if not math.isfinite(found):
            return False
        return bool(abs(found - usual) <= 2 * self._rig.bench.steadiness.speed_drift.value * usual + 6 * spread)

    def _look_at_speed(self) -> float:
        tachometer = self._rig.instruments.tachometer
        assert tachometer is not None
        if tachometer.has_rate:
            return self._rig.sensing.speed_of_rates(tachometer.rate_hz)
        return self._rig.sensing.speed(tachometer.take(self._rig.bench.steadiness.look.value))

    # Asking the person

    def ask(self, question: str) -> str:
        """Ask, and continue polling until the answer has come."""
        before = self._state.status.phase
        self._state.set(question=question, asked=self._commands.open_question())
        self._state.phase("asking", question)
        self._state.tell("question", question)
        try:
            while True:
                self.obey()
                self.observe_when_due(None)
                text = self._commands.take_answer()
                if text is not None:
                    self._state.tell("answered", text)
                    return text
                self._wait(self._commands.arrived, math.inf)
        finally:
            self._commands.close_question()
            self._state.set(question="")
            self._state.phase(before, "")

    def ask_number(self, question: str) -> str:
        """Ask for a number, again after anything else; never guess."""
        while True:
            text = self.ask(question).strip()
            try:
                if math.isfinite(number_of(text)):
                    return text
            except ValueError:
                pass
            self._state.tell("trouble", f"'{text}' is not a number, such as 3.27")

    def ask_speed(self) -> tuple[str, str]:
        """Ask how fast the rotor turns and which face leads; return the speed in rpm as typed, and the face or nothing.

        The sign gives the face: ``+12`` if the bright face leads, ``-12`` if the dark one does.
        """
        typed = self.ask_number("How fast does it turn, in rpm (+ bright face leads, - dark face leads)?")
        if typed[0] in "+-" or self._commands.leading_face:
            return typed, ""
        return typed, "not observed"

    # Devices that may be operated by hand

    def begin_moving(self, *, lamp: bool) -> None:
        """Switch the valve on, closed, and switch the lamp on if requested; the gauge is read first."""
        if self._rig.instruments.gauge is not None:
            self.observe()
        self._rig.open_valve_line()
        if lamp:
            self.switch_lamp(True)

    def switch_lamp(self, on: bool) -> None:
        """Switch the lamp, or ask the user to do it."""
        word, lamp = ("on" if on else "off"), self._rig.instruments.lamp
        if lamp is not None:
            lamp.switch(on)
        elif self._state.status.lamp != word:
            self.ask(f"Switch the lamp {word}, then press Enter.")
        self._state.set(lamp=word)
