"""The rotor from first principles: faces, drives, drag, pivot; steady, in time, and after a change."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from edgewind.rotor.changes import changed_bench, parse_bench_changes
    from edgewind.rotor.drives import DRIVES, Conditions
    from edgewind.rotor.heat import FaceHeat, face_heat, steady_faces
    from edgewind.rotor.motion import (
        Surroundings,
        ThermalTimes,
        coast_down_angle,
        coast_down_speed,
        constant,
        run,
        stopping_time,
        thermal_times,
    )
    from edgewind.rotor.parameters import RotorParameters, gas_slopes, parameters_of
    from edgewind.rotor.pivot import steady_speed
    from edgewind.rotor.predict import (
        CurveOptimum,
        Prediction,
        PredictionResult,
        optima,
        predict,
        predict_reach,
        predict_rotor,
        predict_whole,
    )
    from edgewind.rotor.reach import reach
    from edgewind.rotor.response import (
        Coefficients,
        GasResponse,
        TableResponse,
        area_share,
        response_for,
    )
    from edgewind.rotor.shapes import shaped_response
    from edgewind.rotor.steady import SteadyState, check_pressures, steady_state
    from edgewind.rotor.transient import state_of_warm_vane
    from edgewind.rotor.warm_start import WarmStart, parse_vane_temperature, warm_start
    from edgewind.rotor.whole_rotor import response_of
else:
    from edgewind.doors import names_on_demand

    __getattr__ = names_on_demand(__name__, __file__)

__all__ = [
    "DRIVES",
    "Coefficients",
    "Conditions",
    "CurveOptimum",
    "FaceHeat",
    "GasResponse",
    "Prediction",
    "PredictionResult",
    "RotorParameters",
    "SteadyState",
    "Surroundings",
    "TableResponse",
    "ThermalTimes",
    "WarmStart",
    "area_share",
    "changed_bench",
    "check_pressures",
    "coast_down_angle",
    "coast_down_speed",
    "constant",
    "face_heat",
    "gas_slopes",
    "optima",
    "parameters_of",
    "parse_bench_changes",
    "parse_vane_temperature",
    "predict",
    "predict_reach",
    "predict_rotor",
    "predict_whole",
    "reach",
    "response_for",
    "response_of",
    "run",
    "shaped_response",
    "state_of_warm_vane",
    "steady_faces",
    "steady_speed",
    "steady_state",
    "stopping_time",
    "thermal_times",
    "warm_start",
]
