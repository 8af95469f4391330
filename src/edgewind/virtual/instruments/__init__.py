"""The instruments of the virtual bench. A new one is one file here and one line in :data:`INSTRUMENTS`."""

from edgewind.virtual.instruments.base import BenchInstrument, Supply
from edgewind.virtual.instruments.gauge import GaugeMeter
from edgewind.virtual.instruments.lamp import Lamp
from edgewind.virtual.instruments.scope import Scope
from edgewind.virtual.instruments.thermometer import Thermometer
from edgewind.virtual.instruments.thermostat import Thermostat
from edgewind.virtual.instruments.valve import Valve

INSTRUMENTS: dict[str, type[BenchInstrument]] = {
    "gauge": GaugeMeter,
    "valve": Valve,
    "lamp": Lamp,
    "scope": Scope,
    "thermometer": Thermometer,
    "thermostat": Thermostat,
}

__all__ = [
    "INSTRUMENTS",
    "BenchInstrument",
    "GaugeMeter",
    "Lamp",
    "Scope",
    "Supply",
    "Thermometer",
    "Thermostat",
    "Valve",
]
