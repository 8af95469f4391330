"""The sweep: a state machine in a thread of its own that sets, waits, reads, stores, and ends in the safe state.

No state is only in memory. The plan is in the book, a reading goes to the disk and then into the book, and the state of
a sweep follows from the two; so an interrupted sweep resumes at its current reading.

`step` brings the pressure to its target and takes the reading, `store` stores it, `operator` waits, pauses and asks.
"""

from __future__ import annotations

import contextlib
import statistics
import threading
from collections.abc import Callable
from dataclasses import replace

from edgewind.bench import Bench
from edgewind.book import Book, BookSource
from edgewind.clock import Clock, SystemClock
from edgewind.errors import EdgewindError, InputError
from edgewind.live.briefing import cautions_of, moves_of
from edgewind.live.columns import SweepColumns
from edgewind.live.commands import Commands, RepeatError, SkipError
from edgewind.live.errors import InterlockError, StoppedError
from edgewind.live.events import ENDED, Status, SweepEvent, SweepState
from edgewind.live.instruments import Instruments
from edgewind.live.operator import Operator
from edgewind.live.rig import Rig
from edgewind.live.run_table import RunRow
from edgewind.live.spool import Spool
from edgewind.live.step import StepRunner
from edgewind.live.store import Store
from edgewind.live.strategy import Strategy
from edgewind.live.sweep_log import SweepLog
from edgewind.live.sweep_request import Step, SweepRequest

_MOST_TAKES = 4


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
        columns: SweepColumns,
        request: SweepRequest,
        log: SweepLog,
        spool: Spool,
        instruments: Instruments,
        strategy: Strategy | None = None,
        resumed: bool = False,
        clock: Clock | None = None,
    ) -> None:
        self.bench, self.book, self.experiment, self.request = bench, book, experiment, request
        self.id, self.resumed = log.id, resumed
        self._log, self._spool = log, spool
        self._instruments, self._strategy = instruments, strategy
        self._clock = clock = clock or SystemClock()
        contents = book.contents(experiment)
        self._chosen = log.targets(contents)
        self._done = log.done(contents)
        self._state = SweepState(clock)
        self._commands = Commands(self._state, lambda text: spool.put_note(experiment, log.id, text))
        self._rig = Rig(bench, instruments, columns, self._state, self._commands, clock)
        self._operator = Operator(self._rig)
        self._store = Store(self._rig, book, experiment, log, spool, log.turns(contents), self._operator.rest)
        self._steps = StepRunner(self._rig, self._operator, self._store.journal)
        self._thread: threading.Thread | None = None
        self._ended = threading.Event()
        self._began = clock.monotonic()
        self._took: list[float] = []
        self._state.set(done=len(self._done), total=len(self.steps) or request.adaptive)
        instruments.on_trouble(lambda said: self._state.tell("retry", said))

    # State

    @property
    def steps(self) -> tuple[Step, ...]:
        """The steps; of an adaptive sweep, those chosen so far."""
        return self.request.steps() or tuple(self._chosen)

    @property
    def done(self) -> frozenset[int]:
        """Numbers of the steps that are done or were skipped."""
        return frozenset(self._done)

    @property
    def moves(self) -> tuple[str, ...]:
        """What will move, in words; empty if nothing will."""
        return moves_of(self.bench)

    @property
    def cautions(self) -> tuple[str, ...]:
        """The cautions for the sweep."""
        return cautions_of(self.bench)

    def status(self) -> Status:
        """Return the state now."""
        status = self._state.status
        if status.phase in (*ENDED, "ready"):
            return status
        return replace(status, elapsed_s=self._clock.monotonic() - self._began, time_left_s=self._time_left(status))

    def history(self) -> list[SweepEvent]:
        """Return all events."""
        return self._state.events.since(0)

    def run_since(self, key: str, number: int) -> tuple[str, int, list[RunRow]]:
        """Return the current or last run: its name, and its rows after a number of them."""
        return self._state.run_since(key, number)

    def subscribe(self, listener: Callable[[SweepEvent], None]) -> Callable[[], None]:
        """Call a listener with every new event, in the thread of the sweep; return a function that ends this."""
        return self._state.events.add(listener)

    def _time_left(self, status: Status) -> float | None:
        left = status.total - status.done
        if not self._took or left <= 0:
            return None
        return statistics.fmean(self._took[-8:]) * left

    # Commands

    def start(self) -> None:
        """Start the sweep in a thread of its own. From here on devices move."""
        if self._thread is not None:
            raise InputError("this sweep has already been started", fix="prepare another")
        self._began = self._clock.monotonic()
        self._operator.begin()
        self._commands.begin()
        self._thread = threading.Thread(target=self._run, name="edgewind sweep")
        self._thread.start()

    def command(self, name: str, text: str = "", *, of: int | None = None, who: str = "") -> None:
        """Give one of `edgewind.live.COMMANDS` by its name; an impossible or late command is refused.

        Parameters
        ----------
        name : str
            One of them: ``pause, resume, skip, repeat, stop, note, answer, face, changed``, and in a run ``lamp,
            envelope, speed, end``.
        text : str
            The note or the answer.
        of : int, optional
            Number of the step to skip, of the reading to repeat, or of the question to answer, by :meth:`status` at the
            time of the decision.
        who : str
            Source of the command, for its event.

        Raises
        ------
        InputError
            Nothing was done; the message states why.
        """
        self._commands.give(name, text, of=of, who=who)

    def pause(self) -> None:
        """Pause until :meth:`resume`, with gauge and limits checked."""
        self._commands.pause()

    def resume(self) -> None:
        """Resume."""
        self._commands.resume()

    def skip(self) -> None:
        """Skip the current step."""
        self._commands.skip()

    def repeat(self) -> None:
        """Repeat the last stored reading, as a further one; then continue."""
        self._commands.repeat()

    def note(self, text: str) -> None:
        """Store a note with the current reading, or between readings with the last stored one.

        Raises
        ------
        InputError
            The sweep has ended, or the disk cannot be written.
        """
        self._commands.note(text)

    def answer(self, text: str) -> None:
        """Answer the question that :meth:`status` holds."""
        self._commands.answer(text)

    def stop(self) -> None:
        """Stop in the safe state; the next sweep of the same plan resumes from here."""
        self._commands.stop()

    def join(self, timeout_s: float | None = None) -> bool:
        """Wait for the end; return whether the sweep has ended."""
        return self._ended.wait(timeout_s)

    def close(self) -> None:
        """Stop if running, wait for the safe state, and close instruments, spool and book."""
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
            phase, why = "stopped", "stopped by the user"
        except InterlockError as error:
            why = str(error)
            self._state.tell("interlock", why)
        except EdgewindError as error:
            why = str(error)
        except BaseException as error:  # for any error, lamp and valve come first
            why = f"an error in the program: {type(error).__name__}: {error}"
            raise
        finally:
            self._end(phase, why)

    def _whole(self) -> tuple[str, str]:
        self._state.phase("setting", "making sure that lamp and valve are off")
        self._rig.make_safe(strict=True)
        self._operator.obey(in_step=False)
        try:
            self._operator.begin_moving(lamp=bool(self.request.pressures_pa))
        except (SkipError, RepeatError):  # there is no step yet to skip
            raise StoppedError("the lamp was not switched on") from None
        while True:
            self._commands.obey(in_step=False)
            step, why = self._next()
            if step is not None:
                self._one(step)
            elif not self._is_asked_for_more():
                return "finished", why

    def _is_asked_for_more(self) -> bool:
        """Wait at the end while paused, and repeat the last reading on request."""
        try:
            self._operator.obey()
        except SkipError:
            return False
        except RepeatError:
            self._once_more()
            return True
        return False

    def _end(self, phase: str, why: str) -> None:
        failed: list[str] = []
        try:
            failed = self._rig.make_safe(strict=False)
            self._commands.close()
            self._store_cut_off()
            self._leave_notes(strict=phase != "failed")
            if phase == "finished":
                self._log.keep("end", {"phase": phase, "why": why})
        except EdgewindError as error:
            failed.append(str(error))
        except Exception as error:
            failed.append(f"{type(error).__name__}: {error}")
        finally:
            problem = "" if phase != "failed" else why
            if failed:
                problem = f"{problem} " if problem else ""
                problem += "SWITCH IT OFF BY HAND: " + "; ".join(failed)
            self._state.set(phase=phase, message=why, problem=problem, question="", time_left_s=None)
            self._state.tell("end", problem or why, phase=phase, why=why)
            self._ended.set()

    def _store_cut_off(self) -> None:
        """Store the recorded part of a run that was stopped or failed."""
        found = self._steps.take_cut_off()
        if found is not None:
            step, taken = found
            self._store.store(step, taken)
            self._done.add(step.number)
            self._state.set(done=len(self._done))

    def _leave_notes(self, *, strict: bool) -> None:
        try:
            self._store.attach_notes()
        except InputError as error:  # they stay on the disk, for the next recorder of this bench
            if strict:
                raise
            self._state.tell("trouble", f"the last note is not in the book yet: {error}")

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
        self._state.phase("setting", "choosing the next pressure")
        chosen = self._choose()
        if isinstance(chosen, str):
            return None, chosen
        self._chosen.append(chosen)
        self._log.keep_target(chosen)
        self._state.tell("proposal", chosen.why, pressure_pa=chosen.pressure_pa, why=chosen.why)
        return chosen, ""

    def _choose(self) -> Step | str:
        from edgewind.plan import Stop

        assert self._strategy is not None
        has_any = bool(self.book.contents(self.experiment).readings)
        source = BookSource(self.book, self.experiment) if has_any else None
        found = self._strategy.next_target(source, [s for s in self._chosen if s.number in self._done])
        if isinstance(found, Stop):
            return found.sentence
        before = self._chosen[-1].pressure_pa if self._chosen else 0.0
        way = "up" if found.pressure_pa >= before else "down"
        return Step(len(self._chosen) + 1, "reading", found.pressure_pa, way, found.why)

    # One step

    def _one(self, step: Step) -> None:
        began = self._clock.monotonic()
        self._state.set(step=step, phase="setting", message=step.words)
        self._commands.at(step)
        try:
            self._operator.obey()  # a pause between two steps takes effect before anything moves
            self._do(step)
            self._took.append(self._clock.monotonic() - began)
        except SkipError as error:
            why = str(error) or "skipped by the user"
            self._log.keep_skipped(step, why)
            self._state.tell("skipped", f"{step.words}: {why}", step=step.number, why=why)
        except RepeatError:
            self._once_more()
            return
        finally:
            self._commands.at(None)
        self._done.add(step.number)
        self._state.set(done=len(self._done))

    def _once_more(self) -> None:
        again = self._commands.last_stored
        if again is not None:
            self._state.set(step=again)
            self._commands.at(again, again=True)
            with contextlib.suppress(SkipError):
                self._do(again)
            self._commands.at(None)

    def _do(self, step: Step) -> None:
        for attempt in range(_MOST_TAKES):
            self._steps.approach(step)
            taken = self._steps.acquire(step)
            if taken is not None:
                self._store.store(step, taken)
                return
            said = f"reading not stable (attempt {attempt + 1} of {_MOST_TAKES}); waiting again"
            self._state.phase("settling", said)
        raise SkipError(f"the reading was not stable in {_MOST_TAKES} attempts")
