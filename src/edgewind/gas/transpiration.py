"""Thermal transpiration: the pressures at the two ends of a tube with different temperatures.

In thin gas the warm end is at a higher pressure, by the square root of the ratio of temperatures in free flight
(O. Reynolds, Phil. Trans. R. Soc. 170, 727, 1879; M. Knudsen, Ann. Phys. 336, 205, 1910), in dense gas not at all. A
gauge that is kept warm then reads high.
"""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from edgewind.errors import InputError
from edgewind.gas.constants import GAS_CONSTANT
from edgewind.gas.free_path import most_probable_speed
from edgewind.gas.mixture import Gas

FloatArray = NDArray[np.float64]

FILE = "transpiration.csv"
# Standard uncertainty as a share of the correction: tubes are neither long nor straight, walls not wholly diffuse.
# Our judgement, no source.
RELATIVE_U = 0.1
# Constants A, B, C of the law that J. Setina fitted to diaphragm gauges, Metrologia 36, 623 (1999), eq. 4 and 5, as a
# public program has them (a class `transpirationCorrection` that names those equations); the paper was not read.
_SETINA = {
    "He": (0.0318, 0.252, 0.176),
    "N2": (0.0275, 0.321, 0.322),
    "Ar": (0.0262, 0.275, 0.272),
    "H2": (0.0318, 0.319, 0.180),
}
_SLIP, _CREEP = 1.018, 1.175  # of the S model in dense gas: slip and thermal creep on a diffuse wall
_STEPS = 12


def creep_exponent(delta: ArrayLike) -> FloatArray:
    """Return ``d ln p / d ln T`` along a long closed round tube, where creep and return flow balance.

    ``gamma = G_T / G_P``: reduced flows by temperature and by pressure of the linearised S model with diffuse walls, as
    ``tools/make_transpiration.py`` solves it. One half in free flight.

    Parameters
    ----------
    delta : array_like
        Rarefaction parameter on the radius, ``R p / (mu v0)``.

    Examples
    --------
    >>> creep_exponent([0.0, 1.0, 10.0]).round(3).tolist()
    [0.5, 0.269, 0.029]
    """
    d = np.asarray(delta, dtype=float)
    known, exponent = _table()
    inside = np.interp(np.log(np.maximum(d, known[0])), np.log(known), exponent)
    dense = (_CREEP / np.maximum(d, 1.0)) / (np.maximum(d, 1.0) / 4 + _SLIP)
    return np.asarray(np.where(d > known[-1], dense, inside))


@cache
def _table() -> tuple[FloatArray, FloatArray]:
    with Path(__file__).with_name(FILE).open(encoding="utf-8", newline="") as file:
        rows = np.array([[float(cell) for cell in row] for row in list(csv.reader(file))[2:]])
    return np.maximum(rows[:, 0], 1e-5), rows[:, 2] / rows[:, 1]


def pressure_at_other_end(
    pressure_pa: ArrayLike, from_temperature_k: float, to_temperature_k: float, diameter_m: float, gas: Gas
) -> FloatArray:
    """Return the pressure at one end of a tube from that at the other, without net flow.

    Parameters
    ----------
    pressure_pa : array_like
        Pressure at the first end, Pa.
    from_temperature_k, to_temperature_k : float
        Temperature of the first and of the other end, K.
    diameter_m : float
        Inner diameter of the tube, m.
    gas : Gas
        The gas; a mixture is taken as one gas of its mean mass.

    Raises
    ------
    InputError
        A temperature or diameter not above zero.
    OutOfRangeError
        A temperature outside the range of the gas's viscosity.

    Examples
    --------
    >>> from edgewind.gas import find_gas
    >>> float(pressure_at_other_end(0.1, 373.15, 295.15, 4e-3, find_gas("N2")).round(4))
    0.0894
    """
    if not (from_temperature_k > 0 and to_temperature_k > 0 and diameter_m > 0):
        raise InputError(
            f"width and temperatures of a tube must be above zero, not {diameter_m:g} m, {from_temperature_k:g} K and "
            f"{to_temperature_k:g} K",
            fix="correct them",
        )
    log_p = np.log(np.asarray(pressure_pa, dtype=float))
    ends = np.log(from_temperature_k), np.log(to_temperature_k)
    step = (ends[1] - ends[0]) / _STEPS

    def slope(log_t: float, at: FloatArray) -> FloatArray:
        t = float(np.exp(log_t))
        scale = float(gas.viscosity(t)) * float(most_probable_speed(t, gas.molecular_mass_kg))
        return creep_exponent(diameter_m / 2 * np.exp(at) / scale)

    for k in range(_STEPS):  # Runge and Kutta, fourth order
        t = ends[0] + k * step
        first = slope(t, log_p)
        second = slope(t + step / 2, log_p + step / 2 * first)
        third = slope(t + step / 2, log_p + step / 2 * second)
        fourth = slope(t + step, log_p + step * third)
        log_p = log_p + step / 6 * (first + 2 * second + 2 * third + fourth)
    return np.asarray(np.exp(log_p))


def measured_at_other_end(
    pressure_pa: ArrayLike, from_temperature_k: float, to_temperature_k: float, diameter_m: float, gas: Gas
) -> FloatArray:
    """Return the same by a law fitted to measurements with diaphragm gauges.

    ``p_from/p_to = (S + sqrt(T_from/T_to)) / (S + 1)``, ``S = A x^2 + B x + C sqrt(x)``, ``x = p_from d / (mu c)``, c
    the root mean square speed at the mean temperature (J. Setina, Metrologia 36, 623, 1999). The form is that of T.
    Takaishi and Y. Sensui, Trans. Faraday Soc. 59, 2503 (1963), scaled by the viscosity. Constants are known for He,
    N2, Ar and H2; other gases take those of nitrogen, from which these differ little.

    Parameters
    ----------
    pressure_pa, from_temperature_k, to_temperature_k, diameter_m, gas
        As for :func:`pressure_at_other_end`.

    Examples
    --------
    >>> from edgewind.gas import find_gas
    >>> float(measured_at_other_end(0.1, 373.15, 295.15, 4e-3, find_gas("N2")).round(4))
    0.0896
    """
    p, mean = np.asarray(pressure_pa, dtype=float), (from_temperature_k + to_temperature_k) / 2
    a, b, c = _SETINA.get(gas.fractions[0][0].symbol if gas.is_pure else "N2", _SETINA["N2"])
    speed = np.sqrt(3 * GAS_CONSTANT * mean / gas.molar_mass_kg_mol)
    x = p * diameter_m / (float(gas.viscosity(mean)) * speed)
    dense = a * x**2 + b * x + c * np.sqrt(x)
    return np.asarray(p * (dense + 1) / (dense + np.sqrt(from_temperature_k / to_temperature_k)))


def transpiration_log_u(
    pressure_pa: ArrayLike, from_temperature_k: float, to_temperature_k: float, diameter_m: float, gas: Gas
) -> FloatArray:
    """Return the standard uncertainty of the logarithm of the pressure at the other end, for the law alone.

    A tenth of the correction, and the whole difference between both laws: 5 % of the greatest correction at most.

    Parameters
    ----------
    pressure_pa, from_temperature_k, to_temperature_k, diameter_m, gas
        As for :func:`pressure_at_other_end`.
    """
    about = (from_temperature_k, to_temperature_k, diameter_m, gas)
    here = np.log(np.asarray(pressure_pa, dtype=float))
    ours, theirs = (np.log(law(pressure_pa, *about)) for law in (pressure_at_other_end, measured_at_other_end))
    return np.asarray(np.hypot(RELATIVE_U * (ours - here), ours - theirs))
