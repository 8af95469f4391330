"""Commands to a running sweep, queued until the sweep reads them.

A command may name its object: the step to skip, the reading to repeat, the question to answer. A second or late press
of the same key is then refused and does not affect the next step.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from edgewind.errors import InputError
from edgewind.live.errors import StoppedError
from edgewind.live.events import SweepState
from edgewind.live.run_plan import celsius, parse_envelope, parse_lamp, parse_speed
from edgewind.live.sweep_request import Step

COMMANDS = (
    "pause", "resume", "skip", "repeat", "stop", "note", "answer", "face", "changed",
    "lamp", "envelope", "speed", "end",
)  # fmt: skip
# Commands that are only valid during a run, and those that are invalid then.
OF_A_RUN = ("lamp", "envelope", "speed", "end")
NOT_IN_A_RUN = ("pause", "skip", "repeat")
_WITH_TEXT = ("note", "answer", "face", "changed", "lamp", "envelope", "speed")
FACES = ("bright", "dark", "not observed")
_LONGEST_WORDS = 200
_WHICHEVER = 0  # the first step to come, where none is running


@dataclass(frozen=True)
class Gesture:
    """An action of a person during a run.

    Attributes
    ----------
    at_s : float
        Time of the command, on the clock of the sweep, s.
    what : {"lamp", "envelope", "speed", "changed"}
        Its subject.
    text : str
        State of the lamp, or what was changed, in words.
    value : float
        Temperature of the envelope, K, or speed, rad/s.
    u : float
        Standard uncertainty of the speed by its digits, rad/s.
    """

    at_s: float
    what: str
    text: str = ""
    value: float = math.nan
    u: float = math.nan


class SkipError(Exception):
    """The current step is left out; the message states why, or is empty if the user asked for it."""


class RepeatError(Exception):
    """The last stored reading is to be repeated."""


class Commands:
    """Commands from any thread; they take effect when the thread of the sweep reads them.

    Parameters
    ----------
    state : SweepState
        State of the sweep, which receives notes and refusals.
    keep : callable
        Stores a note on the disk and returns the file.

    Attributes
    ----------
    arrived : threading.Event
        Set with every command, so that a wait can end.
    """

    def __init__(self, state: SweepState, keep: Callable[[str], Path]) -> None:
        self._state, self._keep = state, keep
        self._lock = threading.RLock()
        self._stop, self._paused, self._begun, self._over = (threading.Event() for _ in range(4))
        self.arrived = threading.Event()
        self._at: Step | None = None
        self._skip: int | None = None
        self._repeat = False
        self._repeating = False
        self._question, self._open = 0, False
        self._answer: str | None = None
        self._notes: list[tuple[str, Path]] = []
        self.last_stored: Step | None = None
        self._last_reading: int | None = None
        self.leading_face = self.changed_now = ""
        self._now: Callable[[], float] | None = None
        self._gestures: list[Gesture] = []
        self._signed: bool | None = None
        self._end = False

    # From any thread

    def give(self, name: str, text: str = "", *, of: int | None = None, who: str = "") -> None:
        """Give a command by its name.

        Parameters
        ----------
        name : str
            One of `COMMANDS`.
        text : str
            The note or the answer.
        of : int, optional
            Number of the step to skip, of the reading to repeat, of the question to answer; default: the current one.
        who : str
            Source of the command, for observers; not shown if empty.

        Raises
        ------
        InputError
            It is impossible or too late; nothing was done.
        """
        with self._lock:
            if name not in COMMANDS:
                raise InputError(f"'{name[:40]}' is not a command", fix=", ".join(COMMANDS))
            if self._over.is_set() or not self._begun.is_set():
                said = "has ended" if self._over.is_set() else "has not been started"
                raise InputError(f"this sweep {said}", fix="start another")
            self._refuse_if_late(name, text, of)
            if name in _WITH_TEXT:
                getattr(self, name)(text)
            else:
                getattr(self, name)()
        if who and name not in ("note", "answer", *OF_A_RUN):  # these are shown by their text
            self._state.tell("command", f"{name}, {who}", command=name)

    def _refuse_if_late(self, name: str, text: str, of: int | None) -> None:
        if name in OF_A_RUN and self._now is None:
            raise InputError("no run is being recorded now", fix="wait until it has begun, or begin another")
        if name in NOT_IN_A_RUN and self._now is not None:
            raise InputError("a run cannot be interrupted", fix="end it, which stores what was recorded")
        if name == "skip" and of is not None and (self._at is None or self._at.number != of):
            raise InputError(f"step {of} has already finished", fix="skip the current step instead")
        if name == "repeat":
            if self._last_reading is None:
                raise InputError("no reading has been stored yet since this sweep was started or resumed")
            if of is not None and of != self._last_reading:
                raise InputError(f"reading {of} is no longer the last one", fix="check which one is last now")
            if self._repeat or self._repeating:
                raise InputError("the last reading is already being repeated")
        if name == "note" and not text.strip():
            raise InputError("the note is empty", fix="write what is to be noted")
        if name == "answer" and not self._open and not self._state.status.question:
            raise InputError("no question is open")
        if name == "answer" and (not self._open or (of is not None and of != self._question)):
            raise InputError("that question has already been answered", fix="answer the one that is open now")

    def pause(self) -> None:
        """Pause until :meth:`resume`."""
        self._paused.set()
        self.arrived.set()

    def resume(self) -> None:
        """Resume."""
        self._paused.clear()
        self.arrived.set()

    def skip(self) -> None:
        """Skip the current step, or the first to come."""
        with self._lock:
            self._skip = _WHICHEVER if self._at is None else self._at.number
        self.arrived.set()

    def repeat(self) -> None:
        """Repeat the last stored reading."""
        self._repeat = True
        self.arrived.set()

    def note(self, text: str) -> None:
        """Store a note; when this returns, it is on the disk.

        Raises
        ------
        InputError
            The sweep has ended, or the disk cannot be written.
        """
        plain = " ".join(text.split())
        if not plain:
            return
        with self._lock:
            if self._over.is_set():
                raise InputError("this sweep has ended", fix="correct the note of a reading in the book")
            self._notes.append((plain, self._keep(plain)))
        self._state.tell("note", text.strip())

    def answer(self, text: str) -> None:
        """Answer the open question; the first answer counts."""
        with self._lock:
            if self._open:
                self._open, self._answer = False, text
        self.arrived.set()

    def face(self, text: str) -> None:
        """Set the leading face of the readings from now on: bright, dark, not observed; empty for unstated.

        Raises
        ------
        InputError
            It is none of them.
        """
        plain = " ".join(text.split()).lower()
        if plain and plain not in FACES:
            raise InputError(f"'{plain[:40]}' is not a leading face", fix=f"write {', '.join(FACES)}, or nothing")
        self.leading_face = plain
        self._state.tell("command", f"leading face: {plain or 'not stated'}", command="face")

    def changed(self, text: str) -> None:
        """Set what is changed on purpose in the readings from now on; empty for nothing.

        In a run it is noted at this moment.
        """
        plain = " ".join(text.split())
        if self._now is not None:
            if not plain:
                raise InputError("the change is not stated", fix="write it in a few words, such as: gas let in")
            self._gesture(Gesture(self._now(), "changed", plain[:_LONGEST_WORDS]))
            return
        self.changed_now = " ".join(text.split())
        self._state.tell("command", f"changed on purpose: {self.changed_now or 'nothing'}", command="changed")

    def lamp(self, text: str) -> None:
        """Switch the lamp in a run, or note that it was switched just now: on, off or a share such as 50 %.

        Raises
        ------
        InputError
            It is none of them.
        """
        self._gesture(Gesture(self._clock_s(), "lamp", parse_lamp(text)))

    def envelope(self, text: str) -> None:
        """Set the temperature of the envelope in a run, or note that it has it from now on: -20 degC.

        Raises
        ------
        InputError
            It is not a temperature, or an impossible one.
        """
        kelvin = parse_envelope(text)
        self._gesture(Gesture(self._clock_s(), "envelope", celsius(kelvin), kelvin))

    def speed(self, text: str) -> None:
        """Enter the speed in a run, in rpm unless it has a unit: +12 if the bright face leads, -12 if the dark face
        does.

        Raises
        ------
        InputError
            It is not a speed, or its sign is missing while others have one.
        """
        plain = text.strip().replace("−", "-").replace(",", ".")
        try:
            value, u = parse_speed(plain)
        except InputError as error:
            raise InputError(f"'{text[:40]}' is not a speed", fix="write +12 or -12, in rpm, or 0") from error
        if value:
            signed = plain[0] in "+-"
            if self._signed not in (None, signed):
                said = (
                    "has no sign, and earlier ones have one"
                    if self._signed
                    else "has a sign, and earlier ones have none"
                )
                raise InputError(f"'{plain[:40]}' {said}", fix="write every speed of a run with its sign, or none")
            self._signed = signed
        self._gesture(Gesture(self._clock_s(), "speed", plain[:40], value, u))

    def end(self) -> None:
        """End the run; the recorded rows are stored."""
        self._end = True
        self.arrived.set()

    def _clock_s(self) -> float:
        return math.nan if self._now is None else self._now()

    def _gesture(self, made: Gesture) -> None:
        with self._lock:
            self._gestures.append(made)
        self.arrived.set()

    def stop(self) -> None:
        """Stop the sweep."""
        self._stop.set()
        self.arrived.set()

    # From the thread of the sweep

    @property
    def stopping(self) -> bool:
        """Whether the sweep is to stop."""
        return self._stop.is_set()

    @property
    def paused(self) -> bool:
        """Whether the sweep is to pause."""
        return self._paused.is_set()

    def begin(self) -> None:
        """Accept commands from now on."""
        self._begun.set()

    def close(self) -> None:
        """Accept no further commands."""
        with self._lock:
            self._over.set()

    def begin_run(self, now: Callable[[], float]) -> None:
        """Accept commands of a run from now on; `now` returns their times."""
        with self._lock:
            self._now, self._gestures, self._signed, self._end = now, [], None, False
            self._paused.clear()

    def end_run(self) -> None:
        """Accept no further commands of a run."""
        with self._lock:
            self._now = None

    @property
    def ends_run(self) -> bool:
        """Whether the run is to end."""
        return self._end

    @property
    def speeds_signed(self) -> bool:
        """Whether the typed speeds of this run have a sign."""
        return bool(self._signed)

    def take_gestures(self) -> list[Gesture]:
        """Return the actions of this run since the last call."""
        with self._lock:
            made, self._gestures = self._gestures, []
        return made

    def obey(self, *, in_step: bool) -> None:
        """Raise the command that was given. Between steps there is none to skip.

        Raises
        ------
        StoppedError, SkipError, RepeatError
            The user asked for it.
        """
        if self._stop.is_set():
            raise StoppedError("stopped")
        if not in_step:
            return
        with self._lock:
            skip, self._skip = self._skip, None
            if skip is not None and (skip == _WHICHEVER or self._at is None or skip == self._at.number):
                raise SkipError
            if self._repeat and not self._repeating:
                self._repeat = False
                if self.last_stored is not None:
                    raise RepeatError

    def at(self, step: Step | None, *, again: bool = False) -> None:
        """Note the current step, or none; `again` if it is a repeated reading."""
        with self._lock:
            late = self._at is not None and self._skip == self._at.number
            if late:
                self._skip = None
            self._at, self._repeating = step, again
            self._repeat = self._repeat and not again
        if late:
            self._tell_late()

    def stored(self, step: Step, reading: int) -> None:
        """Note a stored reading: it can no longer be skipped, and it is the one to repeat."""
        with self._lock:
            late, self._skip = self._skip is not None, None
            self.last_stored, self._last_reading = step, reading
        if late:
            self._tell_late()

    def _tell_late(self) -> None:
        self._state.tell("trouble", "the skip came too late: that step had already finished")

    def marked(self, face: str) -> dict[str, str]:
        """Return the cells for direction and change of a reading taken now; `face` is the measured one."""
        leads = face or self.leading_face
        return {title: text for title, text in (("leading face", leads), ("changed", self.changed_now)) if text}

    def take_notes(self) -> list[tuple[str, Path]]:
        """Return the notes since the last call, each with its file on the disk."""
        with self._lock:
            notes, self._notes = self._notes, []
        return notes

    def open_question(self) -> int:
        """Accept answers to a new question, and none to earlier ones; return its number."""
        with self._lock:
            self._question, self._open, self._answer = self._question + 1, True, None
            return self._question

    def close_question(self) -> None:
        """Accept no answers."""
        with self._lock:
            self._open = False

    def take_answer(self) -> str | None:
        """Return the answer, once; None if there is none."""
        with self._lock:
            answer, self._answer = self._answer, None
            return answer
