"""The instruments of the virtual bench. A new one is one file here and one line in :data:`INSTRUMENTS`."""

from edgewind.virtual.instruments.base import BenchInstrument, Supply
from edgewind.virtual.instruments.gauge import GaugeMeter
from edgewind.virtual.instruments.lamp import SimulatedLamp
from edgewind.virtual.instruments.scope import Scope
from edgewind.virtual.instruments.thermometer import Thermometer
from edgewind.virtual.instruments.thermostat import SimulatedThermostat
from edgewind.virtual.instruments.valve import SimulatedValve

INSTRUMENTS: dict[str, type[BenchInstrument]] = {
    "gauge": GaugeMeter,
    "valve": SimulatedValve,
    "lamp": SimulatedLamp,
    "scope": Scope,
    "thermometer": Thermometer,
    "thermostat": SimulatedThermostat,
}

__all__ = [
    "INSTRUMENTS",
    "BenchInstrument",
    "GaugeMeter",
    "Scope",
    "SimulatedLamp",
    "SimulatedThermostat",
    "SimulatedValve",
    "Supply",
    "Thermometer",
]
