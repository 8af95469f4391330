"""The stated limits, checked with every observation: exceeding one ends the sweep in the safe state."""

from __future__ import annotations

from dataclasses import dataclass

from edgewind.bench.limits import LimitsSection
from edgewind.formatting import format_number
from edgewind.signals.pressure import OVER_RANGE


@dataclass(frozen=True)
class Observation:
    """Last answers of gauge and thermometer.

    Attributes
    ----------
    time_s : float
        On the clock of the sweep, s.
    gauge : str
        The answer of the gauge, or the typed value.
    pressure_pa : float or None
        Pressure of the gas, Pa; None if the gauge gave none.
    indicated_pa : float or None
        Indicated pressure, Pa, before gas factor and correction.
    pressure_flag : str
        ``over-range``, ``under-range`` or empty.
    temperature_k : float or None
        Temperature of the envelope, K.
    temperature : str
        The answer of the thermometer.
    """

    time_s: float
    gauge: str = ""
    pressure_pa: float | None = None
    indicated_pa: float | None = None
    pressure_flag: str = ""
    temperature_k: float | None = None
    temperature: str = ""


def crossed(limits: LimitsSection | None, seen: Observation) -> str | None:
    """Return the limit that an observation exceeds, in words; None if none. The higher of the indicated pressure and
    that of the gas is compared with the limit.
    """
    if limits is None:
        return None
    if seen.pressure_flag == OVER_RANGE and limits.gauge_over_range:
        return f"the gauge is over its range ({seen.gauge})"
    if limits.pressure_above is not None:
        highest = max((p for p in (seen.pressure_pa, seen.indicated_pa) if p is not None), default=0.0)
        if highest > limits.pressure_above.value:
            return (
                f"the pressure is {format_number(highest, 3)} Pa, and limits.pressure_above is "
                f"{format_number(limits.pressure_above.value, 3)} Pa"
            )
    if (
        limits.temperature_above is not None
        and seen.temperature_k is not None
        and seen.temperature_k > limits.temperature_above.value
    ):
        return (
            f"the temperature is {format_number(seen.temperature_k - 273.15, 4)} degC, and limits.temperature_above is "
            f"{format_number(limits.temperature_above.value - 273.15, 4)} degC"
        )
    return None
