"""Parser of program messages: IEEE 488.2-1992, section 7, and the header paths of SCPI-1999, volume 1, 6.2.4."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from edgewind.virtual.scpi.errors import ScpiError

_MNEMONIC = r"[A-Za-z][A-Za-z0-9_]*"
_HEADER = re.compile(rf"(?P<header>\*{_MNEMONIC}|:?{_MNEMONIC}(?::{_MNEMONIC})*)(?P<query>\??)")
# IEEE 488.2-1992, 7.4.1.2: ASCII 00 to 09 and 0B to 20 (hexadecimal) are white space.
WHITE = "".join(chr(code) for code in range(0x21) if code != 0x0A)
_LONGEST_MNEMONIC = 12  # IEEE 488.2-1992, 7.6.1.4.1


@dataclass(frozen=True)
class Unit:
    """One message unit.

    Attributes
    ----------
    header : str
        Header in full, from the root, in capitals, without the question mark: ``SOUR:VOLT`` or ``*IDN``.
    query : bool
        Whether it asks for an answer.
    arguments : tuple of str
        Parameters as written, stripped of white space.
    """

    header: str
    query: bool
    arguments: tuple[str, ...]


def units(message: bytes) -> Iterator[Unit]:
    """Yield the units of a program message without its terminator.

    A unit without a leading colon continues the path of the one before, its header without the last mnemonic; common
    commands do not change the path.

    Raises
    ------
    ScpiError
        At the first unit that is not well formed.

    Examples
    --------
    >>> [unit.header for unit in units(b"SOUR:VOLT 3;CURR 1;*CLS;VOLT?;:OUTP ON")]
    ['SOUR:VOLT', 'SOUR:CURR', '*CLS', 'SOUR:VOLT', 'OUTP']
    """
    path: list[str] = []
    written = message.decode("latin-1").strip(WHITE)
    for text in _split(written, ";") if written else ():
        wrong = next((letter for letter in text if letter > "~"), None)
        if wrong is not None:
            raise ScpiError(-101, f"code {ord(wrong)}")
        found = _HEADER.match(text)
        rest = text[found.end() :] if found else text
        if found is None or rest[:1] not in WHITE:
            raise ScpiError(-103 if found and rest[0] == "," else -102, text)
        header = found["header"].upper()
        if header[0] != "*":
            names = header.removeprefix(":").split(":")
            if max(map(len, names)) > _LONGEST_MNEMONIC:
                raise ScpiError(-112, max(names, key=len))
            names = names if header[0] == ":" else path + names
            header, path = ":".join(names), names[:-1]
        rest = rest.strip(WHITE)
        arguments = tuple(_split(rest, ",")) if rest else ()
        if not all(arguments):
            raise ScpiError(-102, text)
        yield Unit(header, bool(found["query"]), arguments)


def _split(text: str, separator: str) -> Iterator[str]:
    """Yield the parts, stripped, between separators outside of quoted strings (IEEE 488.2-1992, 7.7.5)."""
    start, quote = 0, ""
    for place, letter in enumerate(text):
        if quote:
            quote = "" if letter == quote else quote  # of two, the second begins the string again
        elif letter in "'\"":
            quote = letter
        elif letter == separator:
            yield text[start:place].strip(WHITE)
            start = place + 1
    if quote:
        raise ScpiError(-151, text[start:])
    yield text[start:].strip(WHITE)
