"""SCPI-1999 over IEEE 488.2: messages, commands, parameters, answers and errors, independent of physics and sockets."""

from edgewind.virtual.scpi.commands import Command, Interrupted, Steps, setting
from edgewind.virtual.scpi.errors import ErrorQueue, ScpiError
from edgewind.virtual.scpi.instrument import ScpiInstrument
from edgewind.virtual.scpi.parameters import Choice, Numeric, Switch, array_block, block, real
from edgewind.virtual.scpi.syntax import Unit, units

__all__ = [
    "Choice",
    "Command",
    "ErrorQueue",
    "Interrupted",
    "Numeric",
    "ScpiError",
    "ScpiInstrument",
    "Steps",
    "Switch",
    "Unit",
    "array_block",
    "block",
    "real",
    "setting",
    "units",
]
