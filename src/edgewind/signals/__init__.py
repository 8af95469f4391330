"""Raw to physical: volts to pressure, trace to speed, a folder to readings; each with uncertainty and flags."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from edgewind.signals.by_hand import STOPWATCH_U_S, speed_by_hand
    from edgewind.signals.comparison import GaugeComparison, compare_gauges, compare_pairs
    from edgewind.signals.experiment import (
        Experiment,
        ExperimentSource,
        FolderSource,
        InputFile,
        read_experiment,
    )
    from edgewind.signals.measure import Tachometry, TraceReading, measure_file, measure_speed, measure_trace
    from edgewind.signals.pressure import PressureReadings, pressure_from_display, pressure_from_volts
    from edgewind.signals.readings import READINGS_FILE, parse_readings, read_readings
    from edgewind.signals.speed import estimate_speed
    from edgewind.signals.speed_estimate import SET_ASIDE_FLAGS, SpeedEstimate
    from edgewind.signals.trace import Trace, read_trace
else:
    from edgewind.doors import names_on_demand

    __getattr__ = names_on_demand(__name__, __file__)

__all__ = [
    "READINGS_FILE",
    "SET_ASIDE_FLAGS",
    "STOPWATCH_U_S",
    "Experiment",
    "ExperimentSource",
    "FolderSource",
    "GaugeComparison",
    "InputFile",
    "PressureReadings",
    "SpeedEstimate",
    "Tachometry",
    "Trace",
    "TraceReading",
    "compare_gauges",
    "compare_pairs",
    "estimate_speed",
    "measure_file",
    "measure_speed",
    "measure_trace",
    "parse_readings",
    "pressure_from_display",
    "pressure_from_volts",
    "read_experiment",
    "read_readings",
    "read_trace",
    "speed_by_hand",
]
