"""An instrument that processes program messages and returns answers, independent of sockets, on bench time."""

from __future__ import annotations

import traceback
from collections.abc import Callable, Generator
from typing import Any, ClassVar

from edgewind import __version__
from edgewind.virtual.scpi.commands import Command, Interrupted, Steps, find_command
from edgewind.virtual.scpi.errors import ErrorQueue, ScpiError
from edgewind.virtual.scpi.parameters import block, real
from edgewind.virtual.scpi.syntax import units


class ScpiInstrument:
    """Base of every instrument of the virtual bench.

    Parameters
    ----------
    now : callable
        Bench time, s.

    Attributes
    ----------
    NAME : str
        Its name, for ``*IDN?``.
    COMMANDS : tuple of Command
        Its own commands.
    """

    NAME: ClassVar[str] = "instrument"
    COMMANDS: ClassVar[tuple[Command, ...]] = ()

    def __init__(self, now: Callable[[], float]) -> None:
        self.now = now
        self.errors = ErrorQueue()

    # Methods that an instrument may override.

    def reset(self) -> None:
        """Go to the state of *RST: everything off."""

    def pending_until(self) -> float:
        """Return the bench time at which the current operation ends, s; zero without one."""
        return 0.0

    def change(self, attribute: str, value: Any) -> None:
        """Set an attribute by a command."""
        setattr(self, attribute, value)

    # Messages.

    def process(self, message: bytes) -> Generator[float, None, bytes]:
        """Carry out a program message, yield the bench times to wait for, s, and return the response message.

        The response has no terminator, and is empty where nothing was asked. After a command error the rest of the
        message is not executed; after any other error it is.
        """
        answers: list[bytes] = []
        try:
            for unit in units(message):
                try:
                    command, suffixes = find_command(self.all_commands(), unit)
                    found = command.run(self, suffixes, unit)
                    reply = found if found is None or isinstance(found, str | bytes) else (yield from found)
                except ScpiError as error:
                    if -200 < error.code <= -100:
                        raise
                    self.errors.put(error)
                    continue
                if reply is not None:
                    answers.append(reply.encode("ascii") if isinstance(reply, str) else reply)
        except ScpiError as error:
            self.errors.put(error)
        except Interrupted:
            self.errors.put(ScpiError(-410))
            return b""
        except Exception as problem:
            # A programming error must not disconnect the other clients; it is reported here and in the queue.
            traceback.print_exc()
            self.errors.put(ScpiError(-310, type(problem).__name__))
        return b";".join(answers)

    @classmethod
    def all_commands(cls) -> tuple[Command, ...]:
        """Return the commands of the instrument, then those of all instruments."""
        return cls.COMMANDS + COMMON

    def wait(self, answer: str | None = None) -> Steps:
        """Wait for the end of the current operation, then give an answer."""
        while self.pending_until() > self.now():
            yield self.pending_until()
        return answer

    def identify(self) -> str:
        """Answer *IDN?: four fields, IEEE 488.2-1992, 10.14."""
        return f"Edgewind,Virtual bench {self.NAME} (simulated),invented,{__version__}"

    def headers(self) -> bytes:
        """Return every command, a line each, as a block."""
        return block("\n".join(command.header for command in self.all_commands()).encode())


# The commands that every instrument has: IEEE 488.2-1992, section 10; SCPI-1999, volume 1, 4.2.1, volume 2, section 21.
COMMON: tuple[Command, ...] = (
    Command("*IDN?", ScpiInstrument.identify),
    Command("*RST", lambda instrument: instrument.reset()),  # 10.32: the queue of errors stays
    Command("*CLS", lambda instrument: instrument.errors.clear()),
    Command("*TST?", lambda instrument: "0"),
    Command("*OPC?", lambda instrument: instrument.wait("1")),
    Command("*WAI", ScpiInstrument.wait),
    Command("SYSTem:ERRor[:NEXT]?", lambda instrument: instrument.errors.take().answer()),
    Command("SYSTem:ERRor:COUNt?", lambda instrument: str(len(instrument.errors))),
    Command("SYSTem:VERSion?", lambda instrument: "1999.0"),
    Command("SYSTem:HELP:HEADers?", ScpiInstrument.headers),
    Command("SYSTem:TIME:TIMer:COUNt?", lambda instrument: real(instrument.now())),
)
