"""Common faces of a vane: how much infrared they emit, each with its source."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Face:
    """A surface as tables have it.

    Attributes
    ----------
    name : str
        What it is.
    emissivity : tuple of float
        Least and greatest total emissivity near room temperature that the source gives.
    source : str
        Where it stands.
    bright : bool
        Whether it serves as a bright face.
    """

    name: str
    emissivity: tuple[float, float]
    source: str
    bright: bool = True


_TABLES = "emissivity tables in FLIR Systems, User's manual FLIR T10xx series"

FACES: tuple[Face, ...] = (
    Face("candle soot", (0.95, 0.95), f"{_TABLES}: at 20 °C", bright=False),
    Face("lampblack", (0.95, 0.97), f"{_TABLES}: 20 to 400 °C", bright=False),
    Face("lacquer, black, dull", (0.96, 0.98), _TABLES, bright=False),
    Face("lacquer, white", (0.8, 0.95), _TABLES),
    Face("aluminium, polished", (0.04, 0.06), f"{_TABLES}: 50 to 100 °C"),
    Face("aluminium, strongly oxidised", (0.2, 0.3), _TABLES),
    Face("aluminium, anodised sheet", (0.55, 0.55), _TABLES),
    Face("copper, polished", (0.02, 0.02), _TABLES),
)
