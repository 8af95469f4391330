"""A gauge known by a table of voltages and pressures, as thermal-conductivity gauges often are."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from pydantic import field_validator

from edgewind.bench.fields import FieldProblem
from edgewind.bench.gauges.base import FloatArray, Gauge, Principle
from edgewind.errors import InputError
from edgewind.units import parse_quantity

if TYPE_CHECKING:
    from scipy.interpolate import PchipInterpolator


class TableGauge(Gauge):
    """``ln p`` interpolated in the voltage through the owner's table, monotone and smooth.

    Piecewise cubic Hermite interpolation: Fritsch and Carlson, SIAM J. Numer. Anal. 17, 238 (1980). Outside the table
    there is no pressure.

    Attributes
    ----------
    points : tuple of tuple of float
        Pairs of a voltage and a pressure, each with its unit: ``[["1.00 V", "2 mTorr"], ["1.25 V", "10 mTorr"]]``.
    """

    kind: Literal["table"]
    principle: Principle = "thermal-conductivity"
    points: tuple[tuple[float, float], ...]  # (V, Pa) once read

    @field_validator("points", mode="before")
    @classmethod
    def _read_points(cls, rows: Any) -> tuple[tuple[float, float], ...]:
        try:
            return _checked_points(rows)
        except InputError as error:
            raise FieldProblem(error) from error

    def indicated_log_pressure(self, voltage_v: FloatArray) -> FloatArray:  # noqa: D102
        return np.asarray(self._curve(voltage_v), dtype=float)

    @property
    def rises(self) -> bool:
        """Whether the table rises."""
        return self.points[-1][1] > self.points[0][1]

    def log_slope(self, voltage_v: FloatArray) -> FloatArray:  # noqa: D102
        return np.asarray(self._curve(voltage_v, 1), dtype=float)

    @cached_property
    def _curve(self) -> PchipInterpolator:
        from scipy.interpolate import PchipInterpolator  # on first use: few benches have a table

        volts, pressures = np.array(self.points).T
        return PchipInterpolator(volts, np.log(pressures), extrapolate=False)


def _checked_points(rows: Any) -> tuple[tuple[float, float], ...]:
    right = "list pairs of voltage and pressure: [['1.00 V', '2 mTorr'], ['1.25 V', '10 mTorr']]"
    if not isinstance(rows, list | tuple) or len(rows) < 2:
        raise InputError("a calibration table needs two pairs or more", fix=right)
    points = []
    for number, row in enumerate(rows, start=1):
        if not isinstance(row, list | tuple) or len(row) != 2:
            raise InputError(f"pair {number} of the calibration table is {row!r}", fix=right)
        volts, pressure = parse_quantity(row[0], "voltage"), parse_quantity(row[1], "pressure")
        if pressure <= 0:
            raise InputError(
                f"pair {number} of the calibration table has the pressure '{row[1]}'",
                fix="keep pressures above zero",
            )
        points.append((volts, pressure))
    steps = np.diff(np.array(points), axis=0)
    for number, (dv, dp) in enumerate(steps, start=2):
        if dv <= 0 or np.sign(dp) != np.sign(steps[0][1]) or dp == 0:
            raise InputError(
                f"the calibration table is not monotone at pair {number} "
                f"('{rows[number - 1][0]}', '{rows[number - 1][1]}')",
                fix="list the pairs by rising voltage, with the pressure always rising or always falling",
            )
    return tuple(points)
