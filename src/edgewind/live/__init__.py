"""The live bench: connected instruments, steadiness, interlocks, and recording of sweeps without loss of data."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from edgewind.live.briefing import cautions_of, moves_of
    from edgewind.live.client import Recorder, RecorderNotFoundError, recorders
    from edgewind.live.commands import COMMANDS
    from edgewind.live.control_socket import ControlSocket
    from edgewind.live.device_check import DeviceCheck, check_devices
    from edgewind.live.errors import DisconnectedError, GarbledError, InstrumentError, InterlockError, NoAnswerError
    from edgewind.live.events import ENDED, Status, SweepEvent
    from edgewind.live.instruments import Instruments, connect
    from edgewind.live.prepare import check_request, prepare, read_plan, unfinished
    from edgewind.live.run_plan import PlannedChange, RunPlan, parse_envelope, parse_reversal, parse_run
    from edgewind.live.steadiness import Drift, Steadiness, SteadinessMonitor, drift_of
    from edgewind.live.strategy import AdaptiveStrategy, Strategy
    from edgewind.live.sweep import Sweep
    from edgewind.live.sweep_log import Unfinished
    from edgewind.live.sweep_request import Step, SweepRequest, parse_targets
else:
    from edgewind.doors import names_on_demand

    __getattr__ = names_on_demand(__name__, __file__)

__all__ = [
    "COMMANDS",
    "ENDED",
    "AdaptiveStrategy",
    "ControlSocket",
    "DeviceCheck",
    "DisconnectedError",
    "Drift",
    "GarbledError",
    "InstrumentError",
    "Instruments",
    "InterlockError",
    "NoAnswerError",
    "PlannedChange",
    "Recorder",
    "RecorderNotFoundError",
    "RunPlan",
    "Status",
    "Steadiness",
    "SteadinessMonitor",
    "Step",
    "Strategy",
    "Sweep",
    "SweepEvent",
    "SweepRequest",
    "Unfinished",
    "cautions_of",
    "check_devices",
    "check_request",
    "connect",
    "drift_of",
    "moves_of",
    "parse_envelope",
    "parse_reversal",
    "parse_run",
    "parse_targets",
    "prepare",
    "read_plan",
    "recorders",
    "unfinished",
]
