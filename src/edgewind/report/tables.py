"""The exported tables, as frames and as CSV."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from edgewind.report.columns import CURVE, READINGS
from edgewind.report.names import printable
from edgewind.report.physics import path_at_one_pascal

if TYPE_CHECKING:
    from edgewind.evidence import Findings
    from edgewind.signals.columns import Column


def readings_table(findings: Findings) -> pd.DataFrame:
    """Return the readings in SI, in the columns of :data:`edgewind.report.columns.READINGS`."""
    experiment = findings.experiment
    readings = experiment.readings
    pressure = readings["pressure_pa"].to_numpy(float)
    path = path_at_one_pascal(experiment.bench) / np.where(pressure > 0, pressure, np.nan)
    table = readings.assign(
        reading=np.arange(1, len(readings) + 1),
        mean_free_path_m=path,
        knudsen=path / experiment.bench.rotor.vane_width.value,
    )
    return table[[column.name for column in READINGS]]


def curve_table(findings: Findings) -> pd.DataFrame | None:
    """Return the response curve in the columns of :data:`edgewind.report.columns.CURVE`; None where there is none."""
    curve, level = findings.optimum.curve, findings.optimum.level
    if curve is None:
        return None
    bench = findings.experiment.bench
    low, high = np.quantile(curve.draws, (0.5 - level / 2, 0.5 + level / 2), axis=0)
    path = path_at_one_pascal(bench) / curve.pressure_pa
    values = (curve.pressure_pa, path, path / bench.rotor.vane_width.value, curve.mean, curve.sd, low, high)
    return pd.DataFrame({column.name: value for column, value in zip(CURVE, values, strict=True)})


def to_csv(table: pd.DataFrame, columns: tuple[Column, ...]) -> bytes:
    """Return a table as CSV in UTF-8: ten significant digits, an empty cell for a missing number."""
    ready = table.copy()
    for column in columns:
        if column.kind == "boolean":
            ready[column.name] = np.where(table[column.name], "true", "false")
        elif column.kind == "string":
            ready[column.name] = [printable(str(text)) for text in table[column.name]]
        elif column.kind == "number":
            ready[column.name] = table[column.name].replace([np.inf, -np.inf], np.nan)
    return ready.to_csv(index=False, float_format="%.10g", lineterminator="\n").encode()
