"""An instrument that takes program messages and gives answers; it knows no sockets and no clock but bench time."""

from __future__ import annotations

import traceback
from collections.abc import Callable, Generator
from typing import Any, ClassVar

from edgewind import __version__
from edgewind.virtual.scpi.answers import block, real
from edgewind.virtual.scpi.commands import Command, Interrupted, Send, Steps, Wait, find
from edgewind.virtual.scpi.errors import ScpiError
from edgewind.virtual.scpi.parameters import Number
from edgewind.virtual.scpi.status import MEASURING, Event, Register, Status
from edgewind.virtual.scpi.syntax import units

SCPI_VERSION = "1999.0"
_BYTE = Number("", 0, 255, 0, whole=True)
_WORD = Number("", 0, 65_535, 0, whole=True)


class Instrument:
    """What every instrument of the virtual bench has in common.

    Parameters
    ----------
    now : callable
        Bench time, s.

    Attributes
    ----------
    NAME : str
        What it is, for ``*IDN?``.
    COMMANDS : tuple of Command
        Its own commands.
    """

    NAME: ClassVar[str] = "instrument"
    COMMANDS: ClassVar[tuple[Command, ...]] = ()

    def __init__(self, now: Callable[[], float]) -> None:
        self.now = now
        self.status = Status()
        self._complete_asked = False
        self._answering = False

    # What an instrument may do otherwise.

    def reset(self) -> None:
        """Go to the state of *RST: everything off."""

    def pending_until(self) -> float:
        """Bench time at which the operation under way ends, s; zero where none is."""
        return 0.0

    def change(self, attribute: str, value: Any) -> None:
        """Set an attribute as a command asks."""
        setattr(self, attribute, value)

    # Messages.

    def process(self, message: bytes) -> Generator[Wait | Send, None, bytes]:
        """Do what a program message says and return the response message, without terminator, or nothing.

        After a command error the rest of the message is left undone; after any other error it goes on.
        """
        answers: list[bytes] = []
        try:
            for unit in units(message):
                self._settle()
                self._answering = bool(answers)
                try:
                    command, suffixes = find(self.all_commands(), unit)
                    found = command.run(self, suffixes, unit)
                    reply = found if found is None or isinstance(found, str | bytes) else (yield from found)
                except ScpiError as error:
                    if -200 < error.code <= -100:
                        raise
                    self.status.report(error)
                    continue
                if reply is not None:
                    answers.append(reply.encode("ascii") if isinstance(reply, str) else reply)
        except ScpiError as error:
            self.status.report(error)
        except Interrupted:
            self.status.report(ScpiError(-410))
            return b""
        except Exception as problem:
            # A slip of ours must not take the bench away from its other clients; it is told here and there.
            traceback.print_exc()
            self.status.report(ScpiError(-310, type(problem).__name__))
        return b";".join(answers)

    @classmethod
    def all_commands(cls) -> tuple[Command, ...]:
        """Return the commands of the instrument, then those of all instruments."""
        return cls.COMMANDS + COMMON

    def _settle(self) -> None:
        """Note an operation that has ended since."""
        busy = self.pending_until() > self.now()
        self.status.operation.set_condition(MEASURING if busy else 0)
        if self._complete_asked and not busy:
            self._complete_asked = False
            self.status.event |= Event.OPERATION_COMPLETE

    # Common commands: IEEE 488.2-1992, section 10.

    def identify(self) -> str:
        """Answer *IDN?: four fields, 10.14."""
        return f"Edgewind,Virtual bench {self.NAME} (simulated),invented,{__version__}"

    def clear(self) -> None:
        """Do *CLS, 10.3: also forgets an *OPC that waits."""
        self.status.clear()
        self._complete_asked = False

    def start_over(self) -> None:
        """Do *RST, 10.32: status and queue stay."""
        self._complete_asked = False
        self.reset()

    def ask_complete(self) -> None:
        """Do *OPC, 10.18."""
        self._complete_asked = True
        self._settle()

    def wait(self) -> Steps:
        """Do *WAI, 10.39: nothing more until what is under way has ended."""
        while self.pending_until() > self.now():
            yield Wait(self.pending_until())
        return None

    def answer_complete(self) -> Steps:
        """Answer *OPC?, 10.19: 1, once what is under way has ended."""
        yield from self.wait()
        return "1"

    def status_byte(self) -> str:
        """Answer *STB?, 10.36."""
        return str(self.status.byte(message=self._answering))

    def enable_service(self, mask: float) -> None:
        """Do *SRE, 10.34: bit 6 does not count."""
        self.status.service_enable = int(mask) & ~64

    def enable_event(self, mask: float) -> None:
        """Do *ESE, 10.10."""
        self.status.event_enable = int(mask)

    # SCPI-1999, volume 2, section 21, and volume 1, 4.2.1: what every SCPI instrument has.

    def all_errors(self) -> str:
        """Answer SYSTem:ERRor:ALL?: the whole queue, emptied."""
        found = [self.status.errors.take().answer()]
        while len(self.status.errors):
            found.append(self.status.errors.take().answer())
        return ",".join(found)

    def clock(self) -> str:
        """Answer SYSTem:TIME?: hours, minutes and seconds of bench time."""
        minutes, seconds = divmod(self.now(), 60)
        hours, minutes = divmod(int(minutes), 60)
        return f"{hours},{minutes},{seconds:.3f}"

    def headers(self) -> bytes:
        """Answer SYSTem:HELP:HEADers?: every command, a line each, as a block."""
        return block("\n".join(command.header for command in self.all_commands()).encode())

    def preset(self) -> None:
        """Do STATus:PRESet."""
        self.status.operation.enable = self.status.questionable.enable = 0


def _register(header: str, name: str) -> tuple[Command, ...]:
    """Return the commands of one of the two registers that SCPI adds."""

    def of(instrument: Instrument) -> Register:
        register: Register = getattr(instrument.status, name)
        return register

    def enable(instrument: Instrument, mask: float) -> None:
        of(instrument).enable = int(mask) & 0x7FFF

    return (
        Command(f"{header}[:EVENt]?", lambda instrument: str(of(instrument).take_event())),
        Command(f"{header}:CONDition?", lambda instrument: str(of(instrument).condition)),
        Command(f"{header}:ENABle", enable, (_WORD,)),
        Command(f"{header}:ENABle?", lambda instrument: str(of(instrument).enable)),
    )


COMMON: tuple[Command, ...] = (
    Command("*IDN?", Instrument.identify),
    Command("*RST", Instrument.start_over),
    Command("*CLS", Instrument.clear),
    Command("*TST?", lambda instrument: "0"),
    Command("*OPC", Instrument.ask_complete),
    Command("*OPC?", Instrument.answer_complete),
    Command("*WAI", Instrument.wait),
    Command("*ESE", Instrument.enable_event, (_BYTE,)),
    Command("*ESE?", lambda instrument: str(instrument.status.event_enable)),
    Command("*ESR?", lambda instrument: str(int(instrument.status.take_event()))),
    Command("*SRE", Instrument.enable_service, (_BYTE,)),
    Command("*SRE?", lambda instrument: str(instrument.status.service_enable)),
    Command("*STB?", Instrument.status_byte),
    Command("SYSTem:ERRor[:NEXT]?", lambda instrument: instrument.status.errors.take().answer()),
    Command("SYSTem:ERRor:ALL?", Instrument.all_errors),
    Command("SYSTem:ERRor:COUNt?", lambda instrument: str(len(instrument.status.errors))),
    Command("SYSTem:VERSion?", lambda instrument: SCPI_VERSION),
    Command("SYSTem:HELP:HEADers?", Instrument.headers),
    Command("SYSTem:TIME?", Instrument.clock),
    Command("SYSTem:TIME:TIMer:COUNt?", lambda instrument: real(instrument.now())),
    Command("STATus:PRESet", Instrument.preset),
    *_register("STATus:OPERation", "operation"),
    *_register("STATus:QUEStionable", "questionable"),
)
"""The commands that every instrument has."""
