"""Errors that an instrument reports through its queue: SCPI-1999, volume 2, section 21.8."""

from __future__ import annotations

from collections import deque

# Numbers and texts as in SCPI-1999; compared with those of the open library scpi-rs (scpi/src/error.rs), all equal.
TEXTS: dict[int, str] = {
    0: "No error",
    -101: "Invalid character",
    -102: "Syntax error",
    -103: "Invalid separator",
    -104: "Data type error",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -112: "Program mnemonic too long",
    -113: "Undefined header",
    -114: "Header suffix out of range",
    -121: "Invalid character in number",
    -123: "Exponent too large",
    -124: "Too many digits",
    -131: "Invalid suffix",
    -138: "Suffix not allowed",
    -141: "Invalid character data",
    -148: "Character data not allowed",
    -151: "Invalid string data",
    -158: "String data not allowed",
    -168: "Block data not allowed",
    -178: "Expression data not allowed",
    -213: "Init ignored",
    -221: "Settings conflict",
    -222: "Data out of range",
    -230: "Data corrupt or stale",
    -241: "Hardware missing",
    -310: "System error",
    -350: "Queue overflow",
    -363: "Input buffer overrun",
    -410: "Query INTERRUPTED",
}
QUEUE_LENGTH = 30
_LONGEST = 255


class ScpiError(Exception):
    """An error with its number and an optional detail.

    Examples
    --------
    >>> ScpiError(-113, "VOLTS").answer()
    '-113,"Undefined header;VOLTS"'
    """

    def __init__(self, code: int, about: str = "") -> None:
        self.code, self.about = code, about
        super().__init__(self.answer())

    def answer(self) -> str:
        """Return the entry of the queue as read."""
        text = TEXTS[self.code] + (f";{self.about}" if self.about else "")
        plain = "".join(letter if " " <= letter <= "~" else "?" for letter in text)[:_LONGEST]
        return f'{self.code},"{plain.replace(chr(34), chr(34) * 2)}"'


class ErrorQueue(deque[ScpiError]):
    """First in, first out; an overflow leaves -350 as the last entry (SCPI-1999, volume 2, 21.8.1)."""

    def put(self, error: ScpiError) -> None:
        """Add an error."""
        if len(self) < QUEUE_LENGTH:
            self.append(error)
        else:
            self[-1] = ScpiError(-350)

    def take(self) -> ScpiError:
        """Remove and return the oldest error, or `0,"No error"`."""
        return self.popleft() if self else ScpiError(0)
