"""Base of all pressure gauges: voltage to logarithm of indicated pressure, with an uncertainty budget.

All errors are carried in ``ln p``, where most of them act; an uncertainty of 0.05 there is 5 % of the pressure.
"""

from __future__ import annotations

from abc import abstractmethod
from typing import Literal, NamedTuple, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import model_validator

from edgewind.bench.fields import (
    Factor,
    FieldProblem,
    Length,
    Pressure,
    Relative,
    Section,
    Spread,
    Temperature,
    Voltage,
    quantity,
)
from edgewind.errors import InputError
from edgewind.units import Measured

FloatArray = NDArray[np.float64]
Principle = Literal["diaphragm", "thermal-conductivity", "ionisation"]


class Component(NamedTuple):
    """One line of an uncertainty budget: standard uncertainty of ``ln p``, one value a reading.

    ``common`` lines shift all readings of a gauge together; the others differ from reading to reading.
    """

    name: str
    log_u: FloatArray
    common: bool


class Correction(Section):
    """Correction from a comparison with a reference gauge: ``p = p_indicated * factor * (p_indicated / pivot)**slope``.

    Attributes
    ----------
    factor : Measured
        True over indicated pressure at the pivot.
    slope : Measured
        Exponent of the indicated pressure in that ratio.
    pivot : Measured
        Pressure about which the slope turns.
    source : str
        Where the correction comes from.
    """

    factor: Factor
    slope: quantity("number") = Measured(0.0)  # type: ignore[valid-type]
    pivot: Pressure = Measured(1.0)
    source: str = ""


class Gauge(Section):
    """A pressure gauge with a voltage output.

    Attributes
    ----------
    kind : str
        Kind of gauge, which determines its other keys.
    principle : str
        Measuring principle; only a diaphragm reads the same in every gas.
    signal_low : Measured
        Output voltage below which the gauge is out of range: readings there are flagged, never turned into numbers.
    signal_high : Measured
        Output voltage above which the gauge is out of range.
    noise : Measured
        Standard deviation of the voltage.
    resolution : Measured
        Least step of the voltmeter.
    zero_uncertainty : Measured
        Standard uncertainty of the zero.
    transfer_uncertainty : Measured
        Relative standard uncertainty of the transfer function, or of the reading of a display.
    gas_factor : Measured or None
        True over indicated pressure in the gas of the experiment; needed in all gases but nitrogen and air, unless the
        gauge is a diaphragm, or an ionisation gauge, whose factor in common gases is known.
    correction : Correction or None
        Correction from a comparison with a reference gauge.
    temperature : Measured or None
        Temperature at which the gauge is kept, where it is not that of the chamber: thermal transpiration in the tube
        between them is then corrected.
    tube_diameter : Measured or None
        Inner diameter of that tube; goes with `temperature`.
    """

    kind: str
    principle: Principle
    signal_low: Voltage
    signal_high: Voltage
    noise: Spread = Measured(0.0)
    resolution: Spread = Measured(0.0)
    zero_uncertainty: Spread = Measured(0.0)
    transfer_uncertainty: Relative
    gas_factor: Factor | None = None
    correction: Correction | None = None
    temperature: Temperature | None = None
    tube_diameter: Length | None = None

    @model_validator(mode="after")
    def _both_of_the_tube(self) -> Self:
        if (self.temperature is None) != (self.tube_diameter is None):
            missing = "tube_diameter" if self.tube_diameter is None else "temperature"
            raise FieldProblem(
                InputError(
                    "temperature and tube_diameter go together: thermal transpiration needs both",
                    key=f"gauge.{missing}",
                    fix=f"add {missing}, such as {'4 mm' if missing == 'tube_diameter' else '45 degC'}",
                )
            )
        return self

    @abstractmethod
    def indicated_log_pressure(self, voltage_v: FloatArray) -> FloatArray:
        """Return the natural logarithm of the indicated pressure in Pa; nan outside the transfer function."""

    @property
    def rises(self) -> bool:
        """Whether a higher voltage means a higher pressure."""
        return True

    def own_components(self, voltage_v: FloatArray) -> tuple[Component, ...]:
        """Return the budget lines that only this kind of gauge has."""
        return ()

    def log_slope(self, voltage_v: FloatArray) -> FloatArray:
        """Return ``d ln p / d V`` of the indicated pressure, 1/V, by a central difference."""
        step = 1e-6 * max(abs(self.signal_high.value - self.signal_low.value), 1e-6)
        upper, lower = (
            self.indicated_log_pressure(voltage_v + step),
            self.indicated_log_pressure(voltage_v - step),
        )
        return np.asarray((upper - lower) / (2 * step))

    def components(self, voltage_v: FloatArray) -> tuple[Component, ...]:
        """Return the uncertainty budget of the indicated pressure, line by line, in ``ln p``.

        A resolution r counts as a rectangular distribution of width r, standard deviation ``r / sqrt(12)`` (JCGM
        100:2008, F.2.2.1).
        """
        slope = np.abs(self.log_slope(voltage_v))
        return (
            Component("voltage noise", slope * self.noise.value, common=False),
            Component("voltage resolution", slope * self.resolution.value / np.sqrt(12), common=False),
            Component("zero of the gauge", slope * self.zero_uncertainty.value, common=True),
            Component("transfer function", np.full_like(slope, self.transfer_uncertainty.value), common=True),
            *self.own_components(voltage_v),
        )


def log_of_positive(values: FloatArray) -> FloatArray:
    """Return the natural logarithm where a value is positive, nan elsewhere."""
    return np.log(np.where(values > 0, values, np.nan))
