"""Commands: header pattern, function and parameters; one line each."""

from __future__ import annotations

import re
from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from edgewind.virtual.scpi.answers import real
from edgewind.virtual.scpi.errors import ScpiError
from edgewind.virtual.scpi.parameters import Choice, Numeric, Parameter, Switch, mnemonic
from edgewind.virtual.scpi.syntax import Unit

_PART = re.compile(r"\[(?P<before>:)?(?P<optional>[A-Za-z]+)(?P<after>:)?\]|:?(?P<needed>\*?[A-Za-z]+)(?P<suffix><n>)?")


@dataclass(frozen=True)
class Wait:
    """Yielded by a command that must wait for a moment of bench time, s."""

    until_s: float


@dataclass(frozen=True)
class Send:
    """Yielded by a command that sends something before its answer."""

    data: bytes


class Interrupted(Exception):
    """Thrown into a waiting command when its client sends the next message."""


Steps = Generator[Wait | Send, None, str | bytes | None]
Reply = str | bytes | Steps | None


@dataclass(frozen=True)
class Command:
    """One command of an instrument.

    Attributes
    ----------
    header : str
        Pattern as in the standard: ``MEASure[:SCALar]:VOLTage[:DC]?``; capitals are the short form, brackets are
        optional, ``<n>`` takes a number, one by default.
    call : callable
        Called with the instrument, the numbers of the header and the parameters. Returns the answer, without
        terminator, or None; or a generator that yields :class:`Wait` and :class:`Send` and returns the answer.
    parameters : tuple of Parameter
        What reads them.
    optional : int
        Number of the last ones that are optional.
    greatest_suffix : int
        Greatest number that ``<n>`` takes.
    """

    header: str
    call: Callable[..., Reply]
    parameters: tuple[Parameter, ...] = ()
    optional: int = field(default=0, kw_only=True)
    greatest_suffix: int = field(default=1, kw_only=True)

    @property
    def query(self) -> bool:
        """Whether it is a query."""
        return self.header.endswith("?")

    @cached_property
    def pattern(self) -> re.Pattern[str]:
        """Pattern of its headers, from the root and in capitals."""
        written, parts, first = self.header.removesuffix("?"), [], True
        for found in _PART.finditer(written):
            word = found["optional"] or found["needed"]
            forms = "|".join(sorted({re.escape(form) for form in mnemonic(word)}, key=len, reverse=True))
            name = f"(?:{forms})" + (r"(\d{0,9})" if found["suffix"] else "")
            if found["optional"]:
                parts.append(f"(?:{name}:)?" if found["after"] else f"(?::{name})?")
            else:
                parts.append(name if first or written[found.start()] != ":" else f":{name}")
            first = False
        return re.compile("".join(parts) + r"\Z")

    def matches(self, unit: Unit) -> tuple[int, ...] | None:
        """Return the numbers in the header if it is that of this command, else None."""
        found = self.pattern.match(unit.header) if unit.query == self.query else None
        return None if found is None else tuple(int(digits or 1) for digits in found.groups())

    def run(self, instrument: Any, suffixes: tuple[int, ...], unit: Unit) -> Reply:
        """Parse the parameters and carry out the command."""
        if any(not 1 <= number <= self.greatest_suffix for number in suffixes):
            raise ScpiError(-114, unit.header[:40])
        if len(unit.arguments) > len(self.parameters):
            raise ScpiError(-108, unit.arguments[len(self.parameters)][:40])
        if len(unit.arguments) < len(self.parameters) - self.optional:
            raise ScpiError(-109, unit.header[:40])
        values = [of.read(text) for of, text in zip(self.parameters, unit.arguments, strict=False)]
        return self.call(instrument, *suffixes, *values)


def setting(header: str, attribute: str, parameter: Numeric | Switch | Choice) -> tuple[Command, Command]:
    """Return the command that sets an attribute of the instrument and the query for it.

    The attribute is set through ``change(attribute, value)`` of the instrument.
    """

    def put(instrument: Any, value: Any) -> None:
        instrument.change(attribute, value)

    def answer(instrument: Any) -> str:
        return _written(getattr(instrument, attribute), parameter)

    return Command(header, put, (parameter,)), Command(header + "?", answer)


def _written(value: Any, parameter: Numeric | Switch | Choice) -> str:
    if isinstance(parameter, Numeric):
        return f"{int(value)}" if parameter.whole else real(float(value))
    return ("1" if value else "0") if isinstance(parameter, Switch) else str(value)


def find_command(commands: Sequence[Command], unit: Unit) -> tuple[Command, tuple[int, ...]]:
    """Return the command of a message unit.

    Raises
    ------
    ScpiError
        -113 if there is none.
    """
    for command in commands:
        suffixes = command.matches(unit)
        if suffixes is not None:
            return command, suffixes
    raise ScpiError(-113, unit.header[:80] + ("?" if unit.query else ""))
