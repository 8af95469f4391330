"""Parser of program messages: IEEE 488.2-1992, section 7, and the header paths of SCPI-1999, volume 1, 6.2.4."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from edgewind.virtual.scpi.errors import ScpiError

_MNEMONIC = r"[A-Za-z][A-Za-z0-9_]*"
_HEADER = re.compile(
    rf"(?P<common>\*{_MNEMONIC})(?P<cq>\??)|(?P<root>:?)(?P<path>{_MNEMONIC}(?::{_MNEMONIC})*)(?P<q>\??)"
)
# IEEE 488.2-1992, 7.4.1.2: ASCII 00 to 09 and 0B to 20 (hexadecimal) are white space.
WHITE = "".join(chr(code) for code in range(0x21) if code != 0x0A)
_LONGEST_MNEMONIC = 12  # IEEE 488.2-1992, 7.6.1.4.1
_QUOTES = ("'", '"')


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
    text = message.decode("latin-1")
    if not text.strip(WHITE):
        return
    path: tuple[str, ...] = ()
    for written in _split(text, ";"):
        unit, path = _unit(written.strip(WHITE), path)
        yield unit


def _unit(text: str, path: tuple[str, ...]) -> tuple[Unit, tuple[str, ...]]:
    wrong = next((letter for letter in text if ord(letter) > 0x7E or letter == "\n"), None)
    if wrong is not None:
        raise ScpiError(-101, f"code {ord(wrong)}")
    found = _HEADER.match(text)
    if found is None:
        raise ScpiError(-102, text[:40])
    rest = text[found.end() :]
    if rest and rest[0] not in WHITE:
        raise ScpiError(-103 if rest[0] == "," else -102, text[:40])
    if found["common"]:
        header, query = found["common"].upper(), bool(found["cq"])
    else:
        names = tuple(found["path"].upper().split(":"))
        if any(len(name) > _LONGEST_MNEMONIC for name in names):
            raise ScpiError(-112, max(names, key=len)[:40])
        whole = names if found["root"] else path + names
        header, query, path = ":".join(whole), bool(found["q"]), whole[:-1]
    rest = rest.strip(WHITE)
    arguments = tuple(part.strip(WHITE) for part in _split(rest, ",")) if rest else ()
    if any(not part for part in arguments):
        raise ScpiError(-102, text[:40])
    return Unit(header, query, arguments), path


def _split(text: str, separator: str) -> Iterator[str]:
    """Split outside of quoted strings, in which a doubled quote stands for one (IEEE 488.2-1992, 7.7.5)."""
    start, quote = 0, ""
    for place, letter in enumerate(text):
        if quote:
            quote = "" if letter == quote else quote
        elif letter in _QUOTES:
            quote = letter
        elif letter == separator:
            yield text[start:place]
            start = place + 1
    if quote:
        raise ScpiError(-151, text[start:][:40])
    yield text[start:]
