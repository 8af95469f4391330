"""The sweep: a state machine in a thread of its own that sets, waits, reads, stores, and ends in the safe state.

Nothing is remembered in the program alone. The plan stands in the book, a reading goes to the disk and then into the
book, and where a sweep stands follows from the two; so a sweep that was cut off goes on at the reading it was at.
"""

from __future__ import annotations

import contextlib
import math
import queue
import statistics
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from edgewind.bench import Bench
from edgewind.book import Book, BookError, BookSource, Contents, DamagedBookError, FullBookError, LockedBookError
from edgewind.errors import EdgewindError, InputError
from edgewind.live.before import cautions_of, moves_of
from edgewind.live.cells import Columns
from edgewind.live.errors import InstrumentError, InterlockError, StoppedError
from edgewind.live.events import Event, Events, Status, now_text
from edgewind.live.instruments import Instruments
from edgewind.live.interlocks import Observation
from edgewind.live.journal import Journal
from edgewind.live.request import Step, SweepRequest
from edgewind.live.roles import RawTrace
from edgewind.live.senses import Senses
from edgewind.live.spool import Spool, Spooled
from edgewind.live.steadiness import Steadiness, Watch
from edgewind.live.strategy import Enough, Strategy
from edgewind.live.valve_search import ValveSearch
from edgewind.units import format_number

ENDED = ("finished", "stopped", "failed")
_TICK_S = 0.02
_MOST_MOVES = 60
_GAUGE_BEFORE, _GAUGE_AFTER = 3, 2
_MOST_TAKES = 4
_STORE_TRIES, _STORE_REST_S = 5, 1.0


class _SkipError(Exception):
    pass


class _RepeatError(Exception):
    pass


class Sweep:
    """A sweep of one experiment; made by :func:`edgewind.live.prepare`, which moves nothing.

    Commands may come from any thread and take effect at the next tick.
    """

    def __init__(
        self,
        *,
        bench: Bench,
        book: Book,
        experiment: str,
        columns: Columns,
        request: SweepRequest,
        journal: Journal,
        spool: Spool,
        instruments: Instruments,
        strategy: Strategy | None = None,
        resumed: bool = False,
    ) -> None:
        self.bench, self.book, self.experiment, self.request = bench, book, experiment, request
        self.id, self.resumed = journal.id, resumed
        self._columns, self._journal, self._spool = columns, journal, spool
        self._instruments, self._strategy = instruments, strategy
        self._events = Events()
        self._senses = Senses(bench, instruments)
        self._lock = threading.Lock()
        self._status = Status()
        self._thread: threading.Thread | None = None
        self._ended = threading.Event()
        self._stop, self._skip, self._repeat, self._paused = (threading.Event() for _ in range(4))
        self._answers: queue.Queue[str] = queue.Queue()
        self._notes: list[str] = []
        self._began = time.monotonic()
        self._next_look = 0.0
        self._last_answer = time.monotonic()
        self._guarded = False
        self._last_stored: Step | None = None
        self._last_reading: int | None = None
        self._took: list[float] = []
        self._rates: list[tuple[float, float]] = []
        contents = book.contents(experiment)
        self._chosen = journal.targets(contents)
        self._done = journal.done(contents)
        self._turns = journal.turns(contents)
        self._set(done=len(self._done), total=len(self.steps) or request.adaptive)
        self._search = self._new_search()
        instruments.on_trouble(lambda said: self._tell("retry", said))

    # What there is to see

    @property
    def steps(self) -> tuple[Step, ...]:
        """What is to be done; of an adaptive sweep, what was chosen so far."""
        return self.request.steps() or tuple(self._chosen)

    @property
    def done(self) -> frozenset[int]:
        """Numbers of the steps that are done or were skipped."""
        return frozenset(self._done)

    @property
    def moves(self) -> tuple[str, ...]:
        """What will move, in words; empty where nothing will."""
        return moves_of(self.bench)

    @property
    def cautions(self) -> tuple[str, ...]:
        """The cautions for what is about to be done."""
        return cautions_of(self.bench)

    def status(self) -> Status:
        """The state now."""
        with self._lock:
            status = self._status
        if status.phase in (*ENDED, "ready"):
            return status
        return replace(status, elapsed_s=time.monotonic() - self._began, time_left_s=self._time_left(status))

    def history(self, since: int = 0) -> list[Event]:
        """The events after that number."""
        return self._events.since(since)

    def subscribe(self, listener: Callable[[Event], None]) -> Callable[[], None]:
        """Call a listener with every event to come, in the thread of the sweep; returns what ends that."""
        return self._events.add(listener)

    # Commands

    def start(self) -> None:
        """Begin, in a thread of its own. From here on things move."""
        if self._thread is not None:
            raise InputError("this sweep was started already", fix="prepare another")
        self._began = time.monotonic()
        self._thread = threading.Thread(target=self._run, name="edgewind sweep")
        self._thread.start()

    def pause(self) -> None:
        """Stay where it is, gauge and limits watched, until :meth:`resume`."""
        self._paused.set()

    def resume(self) -> None:
        """Go on."""
        self._paused.clear()

    def skip(self) -> None:
        """Leave out the step at hand."""
        self._skip.set()

    def repeat(self) -> None:
        """Take the reading that was stored last once more, as a further one; then go on."""
        self._repeat.set()

    def note(self, text: str) -> None:
        """Note something with the reading at hand, or between readings with the last one stored."""
        if text.strip():
            self._notes.append(" ".join(text.split()))
            self._tell("note", text.strip())

    def answer(self, text: str) -> None:
        """Answer the question that :meth:`status` holds."""
        self._answers.put(text)

    def stop(self) -> None:
        """End in the safe state; the next sweep of the same plan goes on from here."""
        self._stop.set()

    def join(self, timeout_s: float | None = None) -> bool:
        """Wait for the end; returns whether it has come."""
        return self._ended.wait(timeout_s)

    def close(self) -> None:
        """Stop if it runs, wait for the safe state, and let go of instruments, spool and book."""
        if self._thread is not None:
            self.stop()
            self._thread.join()
        self._instruments.close()
        self._spool.close()
        self.book.close()

    # The thread

    def _run(self) -> None:
        phase, why = "failed", "the program ended it"
        try:
            phase, why = self._whole()
        except StoppedError:
            phase, why = "stopped", "stopped at the person's word; the same command goes on from here"
        except InterlockError as error:
            why = str(error)
            self._tell("interlock", why)
        except EdgewindError as error:
            why = str(error)
        except BaseException as error:  # whatever it was: the lamp and the valve come first
            why = f"an error in the program: {type(error).__name__}: {error}"
            raise
        finally:
            self._end(phase, why)

    def _whole(self) -> tuple[str, str]:
        self._phase("setting", "making sure that lamp and valve are off")
        self._make_safe(strict=True)
        self._tick(in_step=False)
        try:
            self._begin_moving()
        except (_SkipError, _RepeatError):  # there is no step yet that could be left out
            raise StoppedError("the lamp was not switched on") from None
        while True:
            self._tick(in_step=False)
            step, why = self._next()
            if step is None:
                return "finished", why
            self._one(step)

    def _end(self, phase: str, why: str) -> None:
        failed: list[str] = []
        try:
            failed = self._make_safe(strict=False)
            if phase in ("finished", "stopped"):
                self._leave_note()
            if phase == "finished":
                self._journal.keep("end", {"phase": phase, "why": why})
        except EdgewindError as error:
            failed.append(str(error))
        except Exception as error:
            failed.append(f"{type(error).__name__}: {error}")
        finally:
            problem = "" if phase != "failed" else why
            if failed:
                problem = f"{problem} " if problem else ""
                problem += "SEE TO IT BY HAND: " + "; ".join(failed)
            self._set(phase=phase, message=why, problem=problem, question="", time_left_s=None)
            self._tell("end", problem or why, phase=phase, why=why)
            self._ended.set()

    def _make_safe(self, *, strict: bool) -> list[str]:
        done, failed = self._instruments.make_safe()
        self._guarded = False
        self._set(lamp="off" if "lamp off" in done else self._lamp_word(), valve_v=None)
        if done or failed:
            self._tell("safe", ", ".join([*done, *failed]), done=done, failed=failed)
        if failed and strict:
            raise InstrumentError("the safe state", "; ".join(failed), "see to it by hand before anything else")
        return failed

    def _begin_moving(self) -> None:
        instruments = self._instruments
        if instruments.gauge is not None:
            self._observe()
        if instruments.valve is not None:
            self._guarded = True
            instruments.valve.switch_on()
            self._set_valve(instruments.valve.closed)
        self._switch_lamp(True)

    def _new_search(self) -> ValveSearch | None:
        valve, limits = self._instruments.valve, self.bench.limits
        if valve is None or limits is None or limits.pressure_above is None:
            return None
        opened = valve.high if valve.rises else valve.low
        return ValveSearch(valve.closed, opened, limits.pressure_above.value)

    # Which step is next

    def _next(self) -> tuple[Step | None, str]:
        if not self.request.adaptive:
            step = next((step for step in self.steps if step.number not in self._done), None)
            return step, "every step is done"
        waiting = next((step for step in self._chosen if step.number not in self._done), None)
        if waiting is not None:
            return waiting, ""
        if len(self._chosen) >= self.request.adaptive:
            return None, f"{self.request.adaptive} readings were asked for"
        self._phase("setting", "choosing the next pressure")
        chosen = self._choose()
        if isinstance(chosen, str):
            return None, chosen
        self._chosen.append(chosen)
        self._journal.keep(f"{chosen.number:04d}-target", _plain_step(chosen))
        self._tell("proposal", chosen.why, pressure_pa=chosen.pressure_pa, why=chosen.why)
        return chosen, ""

    def _choose(self) -> Step | str:
        assert self._strategy is not None
        source = BookSource(self.book, self.experiment) if self._contents().readings else None
        found = self._strategy.next_target(source, [s for s in self._chosen if s.number in self._done])
        if isinstance(found, Enough):
            return found.why
        before = self._chosen[-1].pressure_pa if self._chosen else 0.0
        way = "up" if found.pressure_pa >= before else "down"
        return Step(len(self._chosen) + 1, "reading", found.pressure_pa, way, found.why)

    def _contents(self) -> Contents:
        return self.book.contents(self.experiment)

    # One step

    def _one(self, step: Step) -> None:
        began = time.monotonic()
        self._set(step=step)
        try:
            self._do(step)
            self._took.append(time.monotonic() - began)
        except _SkipError as error:
            self._skip_step(step, str(error) or "skipped at the person's word")
        except _RepeatError:
            again = self._last_stored
            if again is not None:
                self._set(step=again)
                with contextlib.suppress(_SkipError, _RepeatError):
                    self._do(again)
            return
        self._done.add(step.number)
        self._set(done=len(self._done))

    def _skip_step(self, step: Step, why: str) -> None:
        self._journal.keep(f"{step.number:04d}-skipped", {"why": why, "pressure_pa": step.pressure_pa})
        self._tell("skipped", f"{step.words}: {why}", step=step.number, why=why)

    def _do(self, step: Step) -> None:
        for attempt in range(_MOST_TAKES):
            self._reach(step)
            taken = self._coast_down(step) if step.kind == "coast-down" else self._read(step)
            if taken is not None:
                self._store(step, *taken)
                return
            self._phase("settling", f"it did not hold still (attempt {attempt + 1} of {_MOST_TAKES}); waiting again")
        raise _SkipError(f"it did not hold still through a reading in {_MOST_TAKES} attempts")

    def _reach(self, step: Step) -> None:
        """Bring the pressure to the target and wait until pressure and speed are steady."""
        self._phase("setting", step.words)
        began = time.monotonic()
        if self._search is None:
            self._ask(f"Set the pressure to about {format_number(step.pressure_pa, 3)} Pa, then press Enter.")
            if self._instruments.gauge is None and self._instruments.tachometer is None:
                self._ask("Wait until pressure and speed are steady, then press Enter.")
            else:
                self._settle(None, began)
            return
        valve = self._instruments.valve
        assert valve is not None
        if self._is_near(step) and valve.voltage is not None and self._settle(step, began):
            return
        for _ in range(_MOST_MOVES):
            move = self._search.next(step.pressure_pa)
            if move.voltage_v is None:
                raise _SkipError(move.why_not)
            self._phase("setting", f"valve to {move.voltage_v:.3f} V")
            self._set_valve(move.voltage_v)
            if self._settle(step, began):
                return
        raise _SkipError(f"the pressure was not reached in {_MOST_MOVES} moves of the valve")

    def _settle(self, step: Step | None, began: float) -> bool:
        """Wait until steady; False where the pressure came to rest away from the target, and the valve has to move."""
        rules = self.bench.steadiness
        self._phase("settling", "waiting until pressure and speed are steady")
        watch = self._new_watch()
        while True:
            self._tick()
            seen = self._observe_when_due(watch)
            if seen is None:
                continue
            found = watch.look(time.monotonic())
            self._set(steadiness=found)
            if step is not None and self._came_to_rest_away(step, found, seen):
                return False
            if found.steady:
                self._tell("steady", _words_of(found), **_plain(found))
                return True
            if time.monotonic() - began > rules.at_most.value:
                raise _SkipError(f"not steady within {rules.at_most.value:g} s")

    def _new_watch(self) -> Watch:
        rules = self.bench.steadiness
        self._rates.clear()
        return Watch(
            dwell_s=rules.dwell.value,
            at_least_s=rules.at_least.value,
            pressure_margin=rules.pressure_drift.value,
            speed_margin=rules.speed_drift.value,
            confidence=rules.confidence,
            with_pressure=self._instruments.gauge is not None,
            with_speed=self._instruments.tachometer is not None,
        )

    def _is_near(self, step: Step) -> bool:
        pressure = self.status().pressure_pa
        return pressure is not None and self._within(step, pressure)

    def _within(self, step: Step, pressure_pa: float) -> bool:
        return abs(math.log(pressure_pa / step.pressure_pa)) <= math.log1p(
            self.bench.steadiness.pressure_tolerance.value
        )

    def _came_to_rest_away(self, step: Step, found: Steadiness, seen: Observation) -> bool:
        """Learn from where the pressure comes to rest, or from its running past the target."""
        valve, drift = self._instruments.valve, found.pressure
        assert valve is not None and valve.voltage is not None and self._search is not None
        if drift is None:
            return False
        tolerance = math.log1p(self.bench.steadiness.pressure_tolerance.value)
        if seen.pressure_pa is None:
            # under the range of the gauge: as far as the search goes, its lower end
            if seen.pressure_flag and found.watched_s > self.bench.steadiness.at_least.value:
                lowest = self._senses.lowest_pa
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

    # Taking and storing

    def _read(self, step: Step) -> tuple[dict[str, str], RawTrace | None] | None:
        """Take a reading; None where pressure or speed did not hold still meanwhile."""
        self._phase("reading", step.words)
        self._instruments.verify()
        when = now_text()
        before = self._gauge_readings(_GAUGE_BEFORE)
        trace = self._trace(self.bench.steadiness.trace_s)
        after = self._gauge_readings(_GAUGE_AFTER)
        self._tick()  # who asked meanwhile to skip or to stop meant this reading, not the next
        pressure = self._agreed(before, after, self.bench.steadiness.pressure_drift.value)
        if (before or after) and pressure is None:
            return None
        if trace is not None and not self._speed_agrees(trace):
            return None
        typed = "" if trace is not None else self._ask_number("How fast does it turn, in rpm?")
        cells = self._columns.cells(when, pressure, self._status_seen(), True, step.direction, typed)
        return cells, trace

    def _coast_down(self, step: Step) -> tuple[dict[str, str], RawTrace | None] | None:
        """Lamp off from full speed, one long trace, lamp on again."""
        if self._instruments.tachometer is None:
            raise _SkipError("a coast-down needs a tachometer on a wire")
        self._phase("coast-down", step.words)
        self._instruments.verify()
        before = self._gauge_readings(_GAUGE_BEFORE)
        self._switch_lamp(False)
        when = now_text()
        try:
            trace = self._trace(self.bench.steadiness.coast_down.value)
            after = self._gauge_readings(_GAUGE_AFTER)
            self._tick()
        except (_SkipError, _RepeatError):  # the sweep goes on; whatever else ends it leaves the lamp off
            self._switch_lamp(True)
            raise
        self._switch_lamp(True)
        # the gas of a coast-down may warm or cool a little: the pressure has to agree to its tolerance only
        pressure = self._agreed(before, after, self.bench.steadiness.pressure_tolerance.value)
        if (before or after) and pressure is None:
            return None
        return self._columns.cells(when, pressure, self._status_seen(), False, step.direction, ""), trace

    def _trace(self, duration_s: float) -> RawTrace | None:
        tachometer = self._instruments.tachometer
        if tachometer is None:
            return None

        def tick() -> None:
            self._tick()
            self._observe_when_due(None)

        return tachometer.take(duration_s, tick)

    def _gauge_readings(self, count: int) -> list[Observation]:
        if self._instruments.gauge is None:
            if count == _GAUGE_AFTER:
                return []  # typed once
            return [self._typed_observation()]
        return [self._observe() for _ in range(count)]

    def _typed_observation(self) -> Observation:
        while True:
            text = self._ask_number(f"What does the gauge show, in {self._columns.gauge_unit}?")
            try:
                seen = self._senses.typed(text, self._columns, time.monotonic())
            except InputError as error:
                self._tell("trouble", str(error))
                continue
            self._show(seen)
            self._senses.check(seen)
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
        scatter = self._senses.scatter(middle)
        return middle if abs(first - second) <= margin + 4 * scatter else None

    def _speed_agrees(self, trace: RawTrace) -> bool:
        """Whether the speed in the trace is that of the looks before it, where both are known."""
        found = self._senses.speed(trace)
        known = [speed for _, speed in self._rates[-8:] if math.isfinite(speed)]
        self._set(speed_rad_s=found if math.isfinite(found) else None)
        if len(known) < 3:
            return True
        usual = statistics.median(known)
        spread = statistics.median(abs(speed - usual) for speed in known)
        if not math.isfinite(found):
            return False
        return bool(abs(found - usual) <= 2 * self.bench.steadiness.speed_drift.value * usual + 6 * spread)

    def _store(self, step: Step, cells: dict[str, str], trace: RawTrace | None) -> None:
        self._phase("storing", step.words)
        # counted here and not in the book, which may be away just now: the reading has to reach the disk all the same
        turn = self._turns.get(step.number, 0) + 1
        cells["note"] = " / ".join(part for part in (cells.get("note", ""), *self._take_notes()) if part)
        cells = self._columns.fitting(cells)
        key = self._journal.key(step, turn)
        path = f"traces/{self.id}/{step.number:04d}-{turn}.npz"
        spooled = self._spool.put(self.experiment, key, cells, trace, path)
        number = self._into_book(spooled)
        self._turns[step.number] = turn
        self._skip.clear()  # it is stored: there is nothing left of it to skip
        self._spool.remove(spooled)
        self._last_stored, self._last_reading = step, number
        status = self.status()
        self._tell(
            "stored",
            f"reading {number}: {step.words}",
            reading=number,
            key=key,
            step_kind=step.kind,
            step=step.number,
            pressure_pa=status.pressure_pa,
            speed_rad_s=status.speed_rad_s,
            time=cells.get("time", ""),
            gauge=cells.get("gauge", cells.get("pressure", "")),
            path=path if trace is not None else "",
        )

    def _into_book(self, spooled: Spooled) -> int:
        """Record, with patience for a book that is locked or a server that is away; the spool keeps it meanwhile."""
        for left in range(_STORE_TRIES - 1, -1, -1):
            try:
                return spooled.into(self.book)
            except (FullBookError, DamagedBookError) as error:
                raise self._kept_in_spool(error) from error
            except BookError as error:
                if not left:
                    raise self._kept_in_spool(error) from error
                said = "locked" if isinstance(error, LockedBookError) else "not to be reached"
                self._tell("retry", f"the book is {said}: {error} ({left} more tries; the reading is on the disk)")
                self._rest(_STORE_REST_S)
        raise AssertionError("not reached")

    def _kept_in_spool(self, error: BookError) -> BookError:
        return type(error)(
            error.problem,
            file=error.file,
            fix=f"{error.fix or 'try again'}; this reading lies in {self._spool.folder} and goes into the book when "
            "the same command is given again",
        )

    def _rest(self, seconds: float) -> None:
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            self._observe_when_due(None)
            time.sleep(_TICK_S)

    def _take_notes(self) -> list[str]:
        notes, self._notes = self._notes, []
        return notes

    def _leave_note(self) -> None:
        """Give notes that came after the last reading to that reading."""
        notes = self._take_notes()
        if not notes or self._last_reading is None:
            return
        now = self._contents().cells_now()[self._last_reading - 1].get("note", "")
        text = " / ".join(part for part in (now, *notes) if part)
        self.book.change(self.experiment, self._last_reading, {"note": text}, "noted at the bench")

    # Looking

    def _tick(self, *, in_step: bool = True) -> None:
        """Obey commands; stay here while paused, with gauge and limits watched. Between steps there is none to skip."""
        before = self.status().phase
        while True:
            if self._stop.is_set():
                raise StoppedError("stopped")
            if in_step and self._skip.is_set():
                self._skip.clear()
                raise _SkipError
            if in_step and self._repeat.is_set():
                self._repeat.clear()
                if self._last_stored is not None:
                    raise _RepeatError
            if not self._paused.is_set():
                if self.status().phase == "paused":
                    self._phase(before, "going on")
                time.sleep(_TICK_S if self._next_look > time.monotonic() else 0)
                return
            if self.status().phase != "paused":
                self._phase("paused", "paused; the gauge is watched")
            self._observe_when_due(None)
            time.sleep(_TICK_S)

    def _observe_when_due(self, watch: Watch | None) -> Observation | None:
        """Look at the gauge, and with a watch at the speed, when it is time to."""
        if time.monotonic() < self._next_look:
            return None
        self._next_look = time.monotonic() + self.bench.steadiness.every.value
        seen = self._observe() if self._instruments.gauge is not None else Observation(time.monotonic())
        if watch is None:
            return seen
        if seen.pressure_pa is not None:
            watch.add_pressure(seen.time_s, seen.pressure_pa)
        if self._instruments.tachometer is not None:
            speed = self._look_at_speed()
            watch.add_speed(time.monotonic(), speed)
            self._rates.append((time.monotonic(), speed))
            del self._rates[:-200]
            self._set(speed_rad_s=speed if math.isfinite(speed) else None)
        status = self.status()
        self._tell(
            "observed",
            "",
            time_s=status.elapsed_s,
            pressure_pa=status.pressure_pa,
            speed_rad_s=status.speed_rad_s,
            temperature_k=status.temperature_k,
            valve_v=status.valve_v,
        )
        return seen

    def _look_at_speed(self) -> float:
        tachometer = self._instruments.tachometer
        assert tachometer is not None
        if tachometer.has_rate:
            return self._senses.speed_of_rates(tachometer.rate_hz)
        return self._senses.speed(tachometer.take(self.bench.steadiness.look.value))

    def _observe(self) -> Observation:
        """Read gauge and thermometer and hold them against the limits.

        Raises
        ------
        InterlockError
            A limit is crossed, in two of three readings.
        InstrumentError
            The gauge has been silent for longer than the owner allows.
        """
        limits = self.bench.limits
        patience = 0.0 if limits is None else limits.silent_for.value
        while True:
            try:
                seen = self._senses.observe(time.monotonic())
                break
            except InstrumentError as error:
                if time.monotonic() - self._last_answer > patience:
                    raise
                self._tell("trouble", f"{error} (tried again for up to {patience:g} s)")
                if self._stop.is_set():
                    raise StoppedError("stopped") from None
                time.sleep(0.2)
        self._last_answer = time.monotonic()
        self._show(seen)
        self._senses.check(seen)
        return seen

    def _show(self, seen: Observation) -> None:
        self._set(
            gauge=seen.gauge,
            pressure_pa=seen.pressure_pa,
            pressure_flag=seen.pressure_flag,
            temperature_k=seen.temperature_k,
        )

    def _status_seen(self) -> Observation:
        return self._senses.last

    # Moving

    def _set_valve(self, voltage_v: float) -> None:
        valve = self._instruments.valve
        assert valve is not None
        self._set(valve_v=valve.set(voltage_v))

    def _switch_lamp(self, on: bool) -> None:
        lamp = self._instruments.lamp
        if lamp is not None:
            lamp.switch(on)
        elif self.status().lamp != ("on" if on else "off"):
            self._ask(f"Switch the lamp {'on' if on else 'off'}, then press Enter.")
        self._set(lamp="on" if on else "off")

    def _lamp_word(self) -> str:
        lamp = self._instruments.lamp
        if lamp is None:
            return self.status().lamp
        return "unknown" if lamp.is_on is None else "on" if lamp.is_on else "off"

    # Asking the person

    def _ask(self, question: str) -> str:
        before = self.status().phase
        while not self._answers.empty():
            self._answers.get_nowait()
        self._set(question=question)
        self._phase("asking", question)
        self._tell("question", question)
        try:
            while True:
                self._tick()
                self._observe_when_due(None)
                with contextlib.suppress(queue.Empty):
                    text = self._answers.get(timeout=_TICK_S)
                    self._tell("answered", text)
                    return text
        finally:
            self._set(question="")
            self._phase(before, "")

    def _ask_number(self, question: str) -> str:
        """Ask for a number; what is none is asked for again, never guessed."""
        from edgewind.live.roles import number_of

        while True:
            text = self._ask(question).strip()
            try:
                if math.isfinite(number_of(text)):
                    return text
            except ValueError:
                pass
            self._tell("trouble", f"'{text}' is not a number, such as 3.27")

    # Telling

    def _phase(self, phase: str, message: str) -> None:
        self._set(phase=phase, message=message)
        self._tell("phase", message, phase=phase)

    def _set(self, **changes: Any) -> None:
        with self._lock:
            self._status = replace(self._status, **changes)

    def _tell(self, kind: str, text: str, **data: Any) -> None:
        self._events.tell(kind, text, **data)

    def _time_left(self, status: Status) -> float | None:
        left = status.total - status.done
        if not self._took or left <= 0:
            return None
        return statistics.fmean(self._took[-8:]) * left


def _plain_step(step: Step) -> dict[str, Any]:
    return {
        "number": step.number,
        "kind": step.kind,
        "pressure_pa": step.pressure_pa,
        "direction": step.direction,
        "why": step.why,
    }


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
