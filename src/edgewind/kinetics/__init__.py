"""Kinetic solver: force, drag and heat of the gas on a vane at any rarefaction. Dimensionless in and out."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from edgewind.kinetics.geometry import Room, Shape
    from edgewind.kinetics.inputs import parse_knudsen
    from edgewind.kinetics.polyatomic import NITROGEN, InternalEnergy
    from edgewind.kinetics.ratios import chamber_ratios, thickness_ratios
    from edgewind.kinetics.response import SolveProgress, respond, respond_curve
    from edgewind.kinetics.result import Response
    from edgewind.kinetics.room_operator import Walls
    from edgewind.kinetics.rotor_respond import RotorResponse, respond_rotor, respond_rotor_curve
    from edgewind.kinetics.rotor_table import RotorRatios
    from edgewind.kinetics.scattering import CercignaniLampis
    from edgewind.kinetics.table import ResponseTable
    from edgewind.kinetics.wall_law import wall_law_error, wall_law_ratios
else:
    from edgewind.doors import names_on_demand

    __getattr__ = names_on_demand(__name__, __file__)

__all__ = [
    "NITROGEN",
    "CercignaniLampis",
    "InternalEnergy",
    "Response",
    "ResponseTable",
    "Room",
    "RotorRatios",
    "RotorResponse",
    "Shape",
    "SolveProgress",
    "Walls",
    "chamber_ratios",
    "parse_knudsen",
    "respond",
    "respond_curve",
    "respond_rotor",
    "respond_rotor_curve",
    "thickness_ratios",
    "wall_law_error",
    "wall_law_ratios",
]
