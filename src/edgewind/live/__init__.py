"""The live bench: instruments on wires, steadiness, interlocks, and the sweep that records without losing anything."""

from edgewind.live.before import cautions_of, moves_of
from edgewind.live.channel import Channel
from edgewind.live.commands import COMMANDS
from edgewind.live.device_check import DeviceCheck, check_devices
from edgewind.live.errors import GarbledError, GoneError, InstrumentError, InterlockError, SilentError
from edgewind.live.events import Event, Status
from edgewind.live.instruments import Instruments, connect
from edgewind.live.journal import Unfinished
from edgewind.live.prepare import check_request, prepare, read_plan, unfinished
from edgewind.live.recorders import GoneRecorderError, Recorder, recorders
from edgewind.live.request import Step, SweepRequest, parse_pressures
from edgewind.live.steadiness import Drift, Steadiness, Watch, drift_of
from edgewind.live.strategy import AdaptiveStrategy, Enough, Proposal, Strategy
from edgewind.live.sweep import ENDED, Sweep

__all__ = [
    "COMMANDS",
    "ENDED",
    "AdaptiveStrategy",
    "Channel",
    "DeviceCheck",
    "Drift",
    "Enough",
    "Event",
    "GarbledError",
    "GoneError",
    "GoneRecorderError",
    "InstrumentError",
    "Instruments",
    "InterlockError",
    "Proposal",
    "Recorder",
    "SilentError",
    "Status",
    "Steadiness",
    "Step",
    "Strategy",
    "Sweep",
    "SweepRequest",
    "Unfinished",
    "Watch",
    "cautions_of",
    "check_devices",
    "check_request",
    "connect",
    "drift_of",
    "moves_of",
    "parse_pressures",
    "prepare",
    "read_plan",
    "recorders",
    "unfinished",
]
