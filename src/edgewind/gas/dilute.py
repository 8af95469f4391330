"""Viscosity and thermal conductivity of thin gases by temperature, as this package ships them: no library to load.

They are those of CoolProp, which takes seconds of processor time to load, at nodes so close that cubic splines through
their logarithms are within 1e-7 of it; :mod:`edgewind.gas.make_properties` makes the file again.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from functools import cache
from importlib.resources import files

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline

FloatArray = NDArray[np.float64]

FILE = "properties.csv"
COLUMNS = ("gas", "temperature_k", "viscosity_pa_s", "conductivity_w_m_k")


def dilute(symbol: str, quantity: str) -> Callable[[ArrayLike], FloatArray]:
    """Return a dilute-limit property of a gas as a function of temperature.

    Parameters
    ----------
    symbol : str
        The gas, as in the file.
    quantity : {"viscosity_pa_s", "conductivity_w_m_k"}
        What of it.

    Returns
    -------
    callable
        Temperature (K, any shape) to the property (SI, the same shape); NaN outside the range of the file.
    """

    def evaluate(temperature_k: ArrayLike) -> FloatArray:
        t = np.asarray(temperature_k, dtype=float)
        value = np.full(t.shape, np.nan)
        for first, last, spline in reversed(_pieces(symbol, quantity)):  # at a step the lower one holds
            inside = (t >= first) & (t <= last)
            value[inside] = np.exp(spline(np.log(t[inside])))
        return value

    return evaluate


@cache
def _pieces(symbol: str, quantity: str) -> list[tuple[float, float, CubicSpline]]:
    """Splines through the logarithms, and the temperatures between which each holds.

    A source may take another equation from some temperature on, with a step between them, as that of helium does: that
    temperature then stands twice in the file, and the splines end there.
    """
    table = _table()
    rows = table[table["gas"] == symbol]
    t, value = rows["temperature_k"].to_numpy(), rows[quantity].to_numpy()
    ends = [0, *(np.flatnonzero(np.diff(t) == 0) + 1), t.size]
    return [
        (float(t[begin]), float(t[end - 1]), CubicSpline(np.log(t[begin:end]), np.log(value[begin:end])))
        for begin, end in itertools.pairwise(ends)
    ]


@cache
def _table() -> pd.DataFrame:
    with files(__package__).joinpath(FILE).open(encoding="utf-8") as file:
        return pd.read_csv(file, comment="#")
