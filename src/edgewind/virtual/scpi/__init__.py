"""SCPI-1999 over IEEE 488.2: messages, commands, parameters, answers and errors, independent of physics and sockets."""

from edgewind.virtual.scpi.answers import INFINITY, array_block, block, real, reals, switch
from edgewind.virtual.scpi.commands import Command, Interrupted, Send, Steps, Wait, setting
from edgewind.virtual.scpi.errors import ErrorQueue, ScpiError
from edgewind.virtual.scpi.instrument import COMMON, ScpiInstrument
from edgewind.virtual.scpi.parameters import Choice, Numeric, Switch
from edgewind.virtual.scpi.syntax import Unit, units

__all__ = [
    "COMMON",
    "INFINITY",
    "Choice",
    "Command",
    "ErrorQueue",
    "Interrupted",
    "Numeric",
    "ScpiError",
    "ScpiInstrument",
    "Send",
    "Steps",
    "Switch",
    "Unit",
    "Wait",
    "array_block",
    "block",
    "real",
    "reals",
    "setting",
    "switch",
    "units",
]
