"""Status registers: IEEE 488.2-1992, section 11, and the two that SCPI-1999, volume 1, section 9, adds."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntFlag

from edgewind.virtual.scpi.errors import ErrorQueue, ScpiError


class Event(IntFlag):
    """Bits of the standard event status register: IEEE 488.2-1992, 11.5.1."""

    OPERATION_COMPLETE = 1
    QUERY_ERROR = 4
    DEVICE_ERROR = 8
    EXECUTION_ERROR = 16
    COMMAND_ERROR = 32
    POWER_ON = 128


class Summary(IntFlag):
    """Bits of the status byte: IEEE 488.2-1992, 11.2, and SCPI-1999, volume 1, 9.1."""

    ERROR_QUEUE = 4
    QUESTIONABLE = 8
    MESSAGE = 16
    EVENT = 32
    MASTER = 64
    OPERATION = 128


MEASURING = 16  # of the operation register: SCPI-1999, volume 1, 9.3


@dataclass
class Register:
    """A condition, the event that remembers it, and what of it counts."""

    condition: int = 0
    event: int = 0
    enable: int = 0

    def set_condition(self, condition: int) -> None:
        """Change the condition; what rises stays in the event."""
        self.event |= condition & ~self.condition
        self.condition = condition

    def take_event(self) -> int:
        """Return the event and clear it."""
        event, self.event = self.event, 0
        return event


@dataclass
class Status:
    """The status of one instrument, shared by all its clients, as the standard has it."""

    errors: ErrorQueue = field(default_factory=ErrorQueue)
    event: int = int(Event.POWER_ON)
    event_enable: int = 0
    service_enable: int = 0
    operation: Register = field(default_factory=Register)
    questionable: Register = field(default_factory=Register)

    def report(self, error: ScpiError) -> None:
        """Queue an error and set the event bit of its class: SCPI-1999, volume 2, 21.8.8 to 21.8.11."""
        self.errors.put(error)
        classes = {
            1: Event.COMMAND_ERROR,
            2: Event.EXECUTION_ERROR,
            3: Event.DEVICE_ERROR,
            4: Event.QUERY_ERROR,
        }
        self.event |= classes[-error.code // 100]

    def take_event(self) -> int:
        """Return the standard event register and clear it."""
        event, self.event = self.event, 0
        return event

    def clear(self) -> None:
        """Do what *CLS does: queue and events; what counts stays."""
        self.errors.clear()
        self.event = 0
        self.operation.event = self.questionable.event = 0

    def byte(self, *, message: bool) -> int:
        """Return the status byte; `message` says whether an answer is ready."""
        byte = Summary.MESSAGE if message else Summary(0)
        if len(self.errors):
            byte |= Summary.ERROR_QUEUE
        if self.event & self.event_enable:
            byte |= Summary.EVENT
        if self.operation.event & self.operation.enable:
            byte |= Summary.OPERATION
        if self.questionable.event & self.questionable.enable:
            byte |= Summary.QUESTIONABLE
        if byte & self.service_enable:
            byte |= Summary.MASTER
        return int(byte)
