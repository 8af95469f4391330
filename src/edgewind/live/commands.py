"""What a person may command while a sweep runs, kept until the sweep looks.

A command may name its object: the step to skip, the reading to repeat, the question to answer. Of two who
press at the same moment, or one who presses late, the second then meets a refusal and not the next step.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

from edgewind.errors import InputError
from edgewind.live.errors import StoppedError
from edgewind.live.events import SweepState
from edgewind.live.sweep_request import Step

COMMANDS = ("pause", "resume", "skip", "repeat", "stop", "note", "answer", "face", "changed")
FACES = ("bright", "dark", "not observed")
_WHICHEVER = 0  # the first step to come, where none is running


class SkipError(Exception):
    """The current step is left out; the message says why, or is empty where the person asked."""


class RepeatError(Exception):
    """The reading that was stored last is to be taken once more."""


class Commands:
    """Commands from any thread; they take effect when the thread of the sweep obeys.

    Parameters
    ----------
    state : SweepState
        Where notes and refusals are written.
    keep : callable
        Puts a note on the disk and returns the file.

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
            Number of the step to skip, of the reading to repeat, of the question to answer; the current one where
            absent.
        who : str
            Who gives it, for those who look on; not shown where empty.

        Raises
        ------
        InputError
            It cannot be done, or comes too late; nothing was done.
        """
        with self._lock:
            if name not in COMMANDS:
                raise InputError(f"'{name[:40]}' is not a command", fix=", ".join(COMMANDS))
            if self._over.is_set() or not self._begun.is_set():
                said = "has ended" if self._over.is_set() else "has not been started"
                raise InputError(f"this sweep {said}", fix="start another")
            self._refuse_if_late(name, text, of)
            if name in ("note", "answer", "face", "changed"):
                getattr(self, name)(text)
            else:
                getattr(self, name)()
        if who and name not in ("note", "answer"):  # these are shown by their text
            self._state.tell("command", f"{name}, {who}", command=name)

    def _refuse_if_late(self, name: str, text: str, of: int | None) -> None:
        if name == "skip" and of is not None and (self._at is None or self._at.number != of):
            raise InputError(f"step {of} has already finished", fix="skip the current step instead")
        if name == "repeat":
            if self._last_reading is None:
                raise InputError("no reading has been stored yet since this sweep was started or resumed")
            if of is not None and of != self._last_reading:
                raise InputError(f"reading {of} is not the last one any more", fix="look which one is now")
            if self._repeat or self._repeating:
                raise InputError("the last reading is already being repeated")
        if name == "note" and not text.strip():
            raise InputError("the note is empty", fix="write what is to be noted")
        if name == "answer" and not self._open and not self._state.status.question:
            raise InputError("no question is open")
        if name == "answer" and (not self._open or (of is not None and of != self._question)):
            raise InputError("that question has already been answered", fix="answer the one that is open now")

    def pause(self) -> None:
        """Stay until :meth:`resume`."""
        self._paused.set()
        self.arrived.set()

    def resume(self) -> None:
        """Go on."""
        self._paused.clear()
        self.arrived.set()

    def skip(self) -> None:
        """Leave out the current step, or the first to come."""
        with self._lock:
            self._skip = _WHICHEVER if self._at is None else self._at.number
        self.arrived.set()

    def repeat(self) -> None:
        """Take the reading that was stored last once more."""
        self._repeat = True
        self.arrived.set()

    def note(self, text: str) -> None:
        """Note something; when this returns the note is on the disk.

        Raises
        ------
        InputError
            The sweep is over, or the disk does not take it.
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
        """Answer the question that is open; the first answer counts."""
        with self._lock:
            if self._open:
                self._open, self._answer = False, text
        self.arrived.set()

    def face(self, text: str) -> None:
        """Say which face leads in the readings from now on: bright, dark, not observed; empty leaves it open.

        Raises
        ------
        InputError
            It is none of them.
        """
        plain = " ".join(text.split()).lower()
        if plain and plain not in FACES:
            raise InputError(f"'{plain[:40]}' is not a face that leads", fix=f"write {', '.join(FACES)}, or nothing")
        self.leading_face = plain
        self._state.tell("command", f"leading face: {plain or 'not stated'}", command="face")

    def changed(self, text: str) -> None:
        """Say what was changed on purpose in the readings from now on; empty where nothing is any more."""
        self.changed_now = " ".join(text.split())
        self._state.tell("command", f"changed on purpose: {self.changed_now or 'nothing'}", command="changed")

    def stop(self) -> None:
        """End."""
        self._stop.set()
        self.arrived.set()

    # From the thread of the sweep

    @property
    def stopping(self) -> bool:
        """Whether it is to end."""
        return self._stop.is_set()

    @property
    def paused(self) -> bool:
        """Whether it is to stay."""
        return self._paused.is_set()

    def begin(self) -> None:
        """Take commands from now."""
        self._begun.set()

    def end(self) -> None:
        """Take none any more."""
        with self._lock:
            self._over.set()

    def obey(self, *, in_step: bool) -> None:
        """Raise what was commanded. Between steps there is none to skip.

        Raises
        ------
        StoppedError, SkipError, RepeatError
            The person asked for it.
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
        """Note the current step, or none; `again` where it is the reading that is repeated."""
        with self._lock:
            late = self._at is not None and self._skip == self._at.number
            if late:
                self._skip = None
            self._at, self._repeating = step, again
            self._repeat = self._repeat and not again
        if late:
            self._tell_late()

    def stored(self, step: Step, reading: int) -> None:
        """A reading is stored: there is nothing left of it to skip, and it is the one to repeat."""
        with self._lock:
            late, self._skip = self._skip is not None, None
            self.last_stored, self._last_reading = step, reading
        if late:
            self._tell_late()

    def _tell_late(self) -> None:
        self._state.tell("trouble", "the skip came too late: that step had already finished")

    def marked(self, face: str) -> dict[str, str]:
        """Return the cells for direction and change of a reading that is taken now; `face` is what was measured."""
        leads = face or self.leading_face
        return {title: text for title, text in (("leading face", leads), ("changed", self.changed_now)) if text}

    def take_notes(self) -> list[tuple[str, Path]]:
        """The notes since this was last called, each with its file on the disk."""
        with self._lock:
            notes, self._notes = self._notes, []
        return notes

    def open_question(self) -> int:
        """Take answers to a new question, and none to earlier ones; returns its number."""
        with self._lock:
            self._question, self._open, self._answer = self._question + 1, True, None
            return self._question

    def close_question(self) -> None:
        """Take no answers."""
        with self._lock:
            self._open = False

    def take_answer(self) -> str | None:
        """Return the answer, once; None where none has come."""
        with self._lock:
            answer, self._answer = self._answer, None
            return answer
