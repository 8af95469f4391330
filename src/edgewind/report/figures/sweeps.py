"""Marks of sweeps: a shape for the direction of the pressure, and a colour."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from edgewind.evidence.sweep_data import derive_direction

if TYPE_CHECKING:
    import pandas as pd

    from edgewind.report.palette import Palette

# Shapes for falling, unknown and rising pressure; a second sweep of the same sense takes the second shape.
_SHAPES = {1: ("^", "D", "p", "*"), -1: ("v", "s", "h", "X"), 0: ("o", "P", "8", "d")}


@dataclass(frozen=True)
class SweepMark:
    """Shape and colour of one sweep's readings, and its label."""

    label: str
    marker: str
    colour: str


def sweep_marks(readings: pd.DataFrame, palette: Palette) -> dict[str, SweepMark]:
    """Return the mark of every sweep in order of appearance, by its label.

    The sense is that of most of the sweep's steps, found from readings with a pressure.
    """
    known = readings[np.isfinite(readings["pressure_pa"].to_numpy(float)) & (readings["pressure_pa"] > 0)]
    labels = tuple(str(label) for label in known["sweep"])
    direction = derive_direction(known["pressure_pa"].to_numpy(float), labels, known["time_s"].to_numpy(float))
    taken = {1: 0, -1: 0, 0: 0}
    marks: dict[str, SweepMark] = {}
    for number, label in enumerate(dict.fromkeys(str(label) for label in readings["sweep"])):
        here = direction[np.array(labels, dtype=object) == label] if labels else np.zeros(0)
        sense = int(np.sign(here.sum())) if here.size else 0
        shapes = _SHAPES[sense]
        marks[label] = SweepMark(
            label or "readings", shapes[taken[sense] % len(shapes)], palette.series[number % len(palette.series)]
        )
        taken[sense] += 1
    return marks
