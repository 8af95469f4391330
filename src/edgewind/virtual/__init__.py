"""The virtual bench: a simulated apparatus whose instruments speak SCPI over TCP; it is invented and moves nothing."""

from edgewind.virtual.apparatus import Apparatus, Hold
from edgewind.virtual.folder import instruments_text, write_folder
from edgewind.virtual.gauge_output import GaugeOutput, indicated_log_pressure
from edgewind.virtual.instruments import INSTRUMENTS, BenchInstrument
from edgewind.virtual.invented import invented_bench, invented_text
from edgewind.virtual.server import BenchServer, ServedBench, check_host, clock_for, serve_bench

__all__ = [
    "INSTRUMENTS",
    "Apparatus",
    "BenchInstrument",
    "BenchServer",
    "GaugeOutput",
    "Hold",
    "ServedBench",
    "check_host",
    "clock_for",
    "indicated_log_pressure",
    "instruments_text",
    "invented_bench",
    "invented_text",
    "serve_bench",
    "write_folder",
]
