"""What a person may command while a sweep runs, kept until the sweep looks."""

from __future__ import annotations

import queue
import threading

from edgewind.live.errors import StoppedError
from edgewind.live.events import Board
from edgewind.live.request import Step


class SkipError(Exception):
    """The step at hand is left out; the message says why, or is empty where the person asked."""


class RepeatError(Exception):
    """The reading that was stored last is to be taken once more."""


class Commands:
    """Commands from any thread; they take effect when the thread of the sweep obeys."""

    def __init__(self, board: Board) -> None:
        self._board = board
        self._stop, self._skip, self._repeat, self._paused = (threading.Event() for _ in range(4))
        self._answers: queue.Queue[str] = queue.Queue()
        self._notes: list[str] = []
        self.last_stored: Step | None = None

    # From any thread

    def pause(self) -> None:
        """Stay until :meth:`resume`."""
        self._paused.set()

    def resume(self) -> None:
        """Go on."""
        self._paused.clear()

    def skip(self) -> None:
        """Leave out the step at hand."""
        self._skip.set()

    def repeat(self) -> None:
        """Take the reading that was stored last once more."""
        self._repeat.set()

    def note(self, text: str) -> None:
        """Note something."""
        if text.strip():
            self._notes.append(" ".join(text.split()))
            self._board.tell("note", text.strip())

    def answer(self, text: str) -> None:
        """Answer a question."""
        self._answers.put(text)

    def stop(self) -> None:
        """End."""
        self._stop.set()

    # From the thread of the sweep

    @property
    def stopping(self) -> bool:
        """Whether it is to end."""
        return self._stop.is_set()

    @property
    def paused(self) -> bool:
        """Whether it is to stay."""
        return self._paused.is_set()

    def obey(self, *, in_step: bool) -> None:
        """Raise what was commanded. Between steps there is none to skip.

        Raises
        ------
        StoppedError, SkipError, RepeatError
            The person asked for it.
        """
        if self._stop.is_set():
            raise StoppedError("stopped")
        if in_step and self._skip.is_set():
            self._skip.clear()
            raise SkipError
        if in_step and self._repeat.is_set():
            self._repeat.clear()
            if self.last_stored is not None:
                raise RepeatError

    def stored(self, step: Step) -> None:
        """A reading is stored: there is nothing left of it to skip, and it is the one to repeat."""
        self._skip.clear()
        self.last_stored = step

    def take_notes(self) -> list[str]:
        """The notes since this was last called."""
        notes, self._notes = self._notes, []
        return notes

    def forget_answers(self) -> None:
        """Drop answers to earlier questions."""
        while not self._answers.empty():
            self._answers.get_nowait()

    def next_answer(self, wait_s: float) -> str | None:
        """An answer, if one comes in time."""
        try:
            return self._answers.get(timeout=wait_s)
        except queue.Empty:
            return None
