"""Single keys and whole lines from a terminal, without waiting for the former."""

from __future__ import annotations

import contextlib
import select
import sys
from types import TracebackType
from typing import Any, Self, TextIO

_terminal: Any = None
with contextlib.suppress(ImportError):  # Windows has none: keys are not read there
    import termios as _termios

    _terminal = _termios


class Keys:
    """The keyboard while something runs: single keys at a terminal, lines from anywhere."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._before: Any = None
        self.live = _terminal is not None and stream.isatty()

    def __enter__(self) -> Self:
        if self.live:
            self._before = _terminal.tcgetattr(self._stream)
            self._single()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._whole()

    def key(self) -> str:
        """The key that was pressed, in small letters; empty where none was."""
        if not self.live or not select.select([self._stream], [], [], 0)[0]:
            return ""
        return self._stream.read(1).lower()

    def line(self, prompt: str) -> str | None:
        """Ask for a line; None where there is no more input."""
        self._whole()
        try:
            sys.stderr.write(prompt)
            sys.stderr.flush()
            text = self._stream.readline()
            return text.rstrip("\n") if text else None
        finally:
            if self.live:
                self._single()

    def _single(self) -> None:
        changed = _terminal.tcgetattr(self._stream)
        changed[3] &= ~(_terminal.ICANON | _terminal.ECHO)
        changed[6][_terminal.VMIN], changed[6][_terminal.VTIME] = 1, 0
        _terminal.tcsetattr(self._stream, _terminal.TCSADRAIN, changed)

    def _whole(self) -> None:
        if self._before is not None:
            _terminal.tcsetattr(self._stream, _terminal.TCSADRAIN, self._before)
