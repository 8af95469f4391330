"""Single keys and whole lines from a terminal, without waiting for either."""

from __future__ import annotations

import contextlib
import importlib
import os
import select
import sys
import time
from collections.abc import Callable
from types import TracebackType
from typing import Any, Self, TextIO

_terminal: Any = None
_console: Any = None
with contextlib.suppress(ImportError):
    _terminal = importlib.import_module("termios")
if _terminal is None:
    with contextlib.suppress(ImportError):  # Windows
        _console = importlib.import_module("msvcrt")
_LOOK_S = 0.1


class Keys:
    """The keyboard during a sweep: single keys at a terminal, lines from any input."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._before: Any = None
        self._unread = b""
        self.live = (_terminal is not None or _console is not None) and stream.isatty()
        self._number: int | None = None
        if _terminal is not None:
            with contextlib.suppress(OSError, ValueError):  # not every stream has a file descriptor
                self._number = stream.fileno()

    def __enter__(self) -> Self:
        if self.live and _terminal is not None:
            self._before = _terminal.tcgetattr(self._stream)
            self._single()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._whole()

    def key(self) -> str:
        """Return the pressed key in lower case; empty if there is none."""
        if self.live and _console is not None:
            return str(_console.getwch()).lower() if _console.kbhit() else ""
        if not self.live or self._number is None:
            return ""
        if not self._unread and select.select([self._number], [], [], 0)[0]:
            self._unread = os.read(self._number, 4096)
        key, self._unread = self._unread[:1], self._unread[1:]
        return key.decode(errors="ignore").lower()

    def line(self, prompt: str, still: Callable[[], bool] = lambda: True) -> str | None:
        """Ask for a line.

        Parameters
        ----------
        prompt : str
            What is asked.
        still : callable
            Whether the question is still open; checked while no key is pressed.

        Returns
        -------
        str or None
            The typed line, empty if the question has been closed; None at the end of the input.
        """
        self._whole()
        try:
            sys.stderr.write(prompt)
            sys.stderr.flush()
            line = self._line(still)
            return None if line is None else line.rstrip("\r\n")
        finally:
            if self.live and _terminal is not None:
                self._single()

    def _line(self, still: Callable[[], bool]) -> str | None:
        if self.live and _console is not None:
            return self._console_line(still)
        if self._number is None:
            return self._stream.readline() or None
        while b"\n" not in self._unread:
            if not select.select([self._number], [], [], _LOOK_S)[0]:
                if not still():
                    sys.stderr.write("\n")
                    return ""
                continue
            more = os.read(self._number, 4096)
            if not more:
                rest, self._unread = self._unread, b""
                return rest.decode(errors="replace") or None
            self._unread += more
        line, _, self._unread = self._unread.partition(b"\n")
        return line.decode(errors="replace")

    def _console_line(self, still: Callable[[], bool]) -> str:
        """Read a line from a Windows console, key by key, so that reading can be cancelled."""
        line = ""
        while True:
            if not _console.kbhit():
                if not still():
                    sys.stderr.write("\n")
                    return ""
                time.sleep(_LOOK_S / 2)
                continue
            key = str(_console.getwche())
            if key in "\r\n":
                sys.stderr.write("\n")
                return line
            line = line[:-1] if key == "\b" else line + key

    def _single(self) -> None:
        changed = _terminal.tcgetattr(self._stream)
        changed[3] &= ~(_terminal.ICANON | _terminal.ECHO)
        changed[6][_terminal.VMIN], changed[6][_terminal.VTIME] = 1, 0
        _terminal.tcsetattr(self._stream, _terminal.TCSADRAIN, changed)

    def _whole(self) -> None:
        if self._before is not None:
            _terminal.tcsetattr(self._stream, _terminal.TCSADRAIN, self._before)
