"""Pressure from the volts of the gauge, with the uncertainty of its logarithm and flags of its range."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from edgewind.bench import Bench, Component
from edgewind.gas.transpiration import pressure_at_other_end, transpiration_log_u

FloatArray = NDArray[np.float64]

UNDER_RANGE, OVER_RANGE = "under-range", "over-range"
# A linear output closer to its zero than this many standard uncertainties only shows that the pressure is low.
_LEAST_SIGNAL_IN_U = 3.0


@dataclass(frozen=True)
class PressureReadings:
    """Pressures of n gauge readings.

    Attributes
    ----------
    pressure_pa : ndarray, shape (n,)
        Pressure, Pa; nan where the gauge is out of its range.
    log_u : ndarray, shape (n,)
        Standard uncertainty of ``ln p`` that is independent from reading to reading.
    log_u_common : ndarray, shape (n,)
        Standard uncertainty of ``ln p`` from causes that all readings share.
    flags : tuple of str, length n
        ``"under-range"``, ``"over-range"`` or empty.
    budget : tuple of Component
        The lines that add up, in quadrature, to the two uncertainties.
    """

    pressure_pa: FloatArray
    log_u: FloatArray
    log_u_common: FloatArray
    flags: tuple[str, ...]
    budget: tuple[Component, ...]


def pressure_from_volts(voltage_v: ArrayLike, bench: Bench) -> PressureReadings:
    """Turn gauge voltages into pressures.

    The chain is: transfer function of the gauge, correction from a comparison with a reference gauge where there is
    one, gas factor, thermal transpiration if the gauge is kept at another temperature than the chamber.
    Uncertainties add in quadrature in ``ln p`` (JCGM 100:2008, eq. 12, for a product of factors).
    The uncertainty of a comparison replaces that of the transfer function.

    Parameters
    ----------
    voltage_v : array_like, shape (n,)
        Gauge output, V.
    bench : Bench
        The apparatus, with its gauge and gas.

    Returns
    -------
    PressureReadings
        Out of range is a flag and nan, never a number.
    """
    volts = np.atleast_1d(np.asarray(voltage_v, dtype=float))
    gauge = bench.gauge
    log_p = gauge.indicated_log_pressure(volts)
    zero_log_u = np.hypot(gauge.noise.value, gauge.zero_uncertainty.value) * np.abs(gauge.log_slope(volts))
    silent, upper_half = ~np.isfinite(log_p), volts > (gauge.signal_low.value + gauge.signal_high.value) / 2
    beyond = (volts > gauge.signal_high.value) | (silent & upper_half)
    below = (volts < gauge.signal_low.value) | (silent & ~upper_half)
    over, under = (beyond, below) if gauge.rises else (below, beyond)
    under = ~over & (under | ~(zero_log_u <= 1 / _LEAST_SIGNAL_IN_U))
    return _corrected(log_p, list(gauge.components(volts)), bench, under, over)


def pressure_from_display(indicated_pa: ArrayLike, log_u: ArrayLike, bench: Bench) -> PressureReadings:
    """Turn pressures typed from a display into pressures of the gas: correction and gas factor apply as for volts.

    Parameters
    ----------
    indicated_pa, log_u : array_like, shape (n,)
        Displayed pressure, Pa (zero or nan: under-range; infinite: over-range), and the standard uncertainty of its
        logarithm as read.
    bench : Bench
        The apparatus, with its gauge and gas.
    """
    indicated = np.atleast_1d(np.asarray(indicated_pa, dtype=float))
    over = np.isposinf(indicated)
    under = ~over & ~(indicated > 0)
    log_p = np.log(np.where(over | under, np.nan, indicated))
    components = [
        Component(
            "reading of the display",
            np.broadcast_to(np.asarray(log_u, dtype=float), indicated.shape),
            common=False,
        ),
        Component("transfer function", np.full_like(indicated, bench.gauge.transfer_uncertainty.value), common=True),
    ]
    return _corrected(log_p, components, bench, under, over)


def _corrected(
    log_p: FloatArray,
    components: list[Component],
    bench: Bench,
    under: NDArray[np.bool_],
    over: NDArray[np.bool_],
) -> PressureReadings:
    """Apply the correction and the gas factor, and add up the budget."""
    correction, factor = bench.gauge.correction, bench.gas_factor
    if correction is not None:
        distance = log_p - np.log(correction.pivot.value)
        log_p = log_p + np.log(correction.factor.value) + correction.slope.value * distance
        u = np.hypot(correction.factor.relative, distance * correction.slope.u)
        components = [line for line in components if line.name != "transfer function"]
        components.append(Component("comparison with the reference gauge", u, common=True))
    log_p = log_p + np.log(factor.value)
    if factor.u:
        components.append(Component("gas factor", np.full_like(log_p, factor.relative), common=True))
    log_p, transpired = _at_the_chamber(log_p, bench)
    components += transpired
    out = over | under
    own, common = (_in_quadrature(components, shared, log_p.shape) for shared in (False, True))
    return PressureReadings(
        pressure_pa=np.where(out, np.nan, np.exp(log_p)),
        log_u=np.where(out, np.nan, own),
        log_u_common=np.where(out, np.nan, common),
        flags=tuple(OVER_RANGE if high else UNDER_RANGE if low else "" for high, low in zip(over, under, strict=True)),
        budget=tuple(components),
    )


def _at_the_chamber(log_p: FloatArray, bench: Bench) -> tuple[FloatArray, list[Component]]:
    """Correct for thermal transpiration if the gauge is kept at another temperature than the chamber."""
    warm, tube = bench.gauge.temperature, bench.gauge.tube_diameter
    if warm is None or tube is None:
        return log_p, []
    chamber, gas = bench.envelope_temperature, bench.gas.gas
    about = (np.exp(log_p), warm.value, chamber.value, tube.value, gas)
    there = np.log(pressure_at_other_end(*about))
    exponent = (there - log_p) / np.log(chamber.value / warm.value) if chamber.value != warm.value else 0.5
    u = np.hypot(transpiration_log_u(*about), exponent * np.hypot(warm.relative, chamber.relative))
    return there, [Component("thermal transpiration", np.broadcast_to(u, log_p.shape), common=True)]


def _in_quadrature(components: list[Component], common: bool, shape: tuple[int, ...]) -> FloatArray:
    return np.sqrt(sum((line.log_u**2 for line in components if line.common is common), np.zeros(shape)))
