"""The gas computed: how it pushes, drags and cools a vane at any rarefaction. Dimensionless in and out."""

from .geometry import Room, Shape
from .response import respond, respond_curve
from .result import Response, curve
from .room_operator import Walls
from .table import ResponseTable

__all__ = ["Response", "ResponseTable", "Room", "Shape", "Walls", "curve", "respond", "respond_curve"]
