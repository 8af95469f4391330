"""Commands: header pattern, function and parameters; one line each."""

from __future__ import annotations

import re
from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from edgewind.virtual.scpi.errors import ScpiError
from edgewind.virtual.scpi.parameters import Parameter, mnemonic
from edgewind.virtual.scpi.syntax import Unit


class Interrupted(Exception):
    """Thrown into a waiting command when its client sends the next message."""


# A command that takes time yields the moments of bench time, s, that it waits for, and returns its answer.
Steps = Generator[float, None, str | bytes | None]
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
        terminator, or None; or a generator that yields the bench times to wait for, s, and returns the answer.
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
        text = self.header.removesuffix("?").replace("*", r"\*").replace("<n>", r"(\d{0,9})")
        text = re.sub(r"(?<!\\)[A-Za-z]+", lambda word: f"(?:{'|'.join(mnemonic(word[0]))})", text)
        return re.compile(text.replace("[", "(?:").replace("]", ")?") + r"\Z")

    def matches(self, unit: Unit) -> tuple[int, ...] | None:
        """Return the numbers in the header if it is that of this command, else None."""
        found = self.pattern.match(unit.header) if unit.query == self.query else None
        return None if found is None else tuple(int(digits or 1) for digits in found.groups())

    def run(self, instrument: Any, suffixes: tuple[int, ...], unit: Unit) -> Reply:
        """Parse the parameters and carry out the command."""
        if any(not 1 <= number <= self.greatest_suffix for number in suffixes):
            raise ScpiError(-114, unit.header)
        if len(unit.arguments) > len(self.parameters):
            raise ScpiError(-108, unit.arguments[len(self.parameters)])
        if len(unit.arguments) < len(self.parameters) - self.optional:
            raise ScpiError(-109, unit.header)
        values = [of.read(text) for of, text in zip(self.parameters, unit.arguments, strict=False)]
        return self.call(instrument, *suffixes, *values)


def setting(header: str, attribute: str, parameter: Parameter) -> tuple[Command, Command]:
    """Return the command that sets an attribute through the instrument's ``change``, and the query for it."""
    return (
        Command(header, lambda instrument, value: instrument.change(attribute, value), (parameter,)),
        Command(header + "?", lambda instrument: parameter.answer(getattr(instrument, attribute))),
    )


def find_command(commands: Sequence[Command], unit: Unit) -> tuple[Command, tuple[int, ...]]:
    """Return the command of a message unit and the numbers in its header.

    Raises
    ------
    ScpiError
        -113 if there is none.
    """
    for command in commands:
        suffixes = command.matches(unit)
        if suffixes is not None:
            return command, suffixes
    raise ScpiError(-113, unit.header + ("?" if unit.query else ""))
