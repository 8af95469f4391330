"""Viscosity, thermal conductivity and heat capacity of thin gases by temperature, as this package ships them.

Values of CoolProp and of handbooks at close nodes: cubics through four of them, logarithm against logarithm, agree with
the source within 1e-6. ``tools/make_properties.py`` makes the file again. Only NumPy is loaded.
"""

from __future__ import annotations

import csv
import itertools
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

FILE = "properties.csv"
COLUMNS = ("gas", "temperature_k", "viscosity_pa_s", "conductivity_w_m_k", "heat_capacity_j_mol_k")


def dilute(symbol: str, quantity: str) -> Callable[[ArrayLike], FloatArray]:
    """Return a dilute-limit property of a gas as a function of temperature.

    Parameters
    ----------
    symbol : str
        Symbol of the gas in the file.
    quantity : {"viscosity_pa_s", "conductivity_w_m_k", "heat_capacity_j_mol_k"}
        The property; the heat capacity is the molar one of the ideal gas at constant pressure.

    Returns
    -------
    callable
        Temperature (K, any shape) to the property (SI, the same shape); NaN outside the range of the file.
    """

    def evaluate(temperature_k: ArrayLike) -> FloatArray:
        t = np.asarray(temperature_k, dtype=float)
        value = np.full(t.shape, np.nan)
        for nodes, log_value in reversed(_pieces(symbol, quantity)):  # at a step the lower one holds
            inside = (t >= nodes[0]) & (t <= nodes[-1])
            value[inside] = np.exp(_cubic(np.log(nodes), log_value, np.log(t[inside])))
        return value

    return evaluate


def _cubic(x: FloatArray, y: FloatArray, at: FloatArray) -> FloatArray:
    """Lagrange's cubic through the two nodes on either side of each place, or the four nearest an end."""
    first = np.clip(np.searchsorted(x, at) - 2, 0, x.size - 4)
    nodes = first[..., None] + np.arange(4)
    away = at[..., None] - x[nodes]
    total = np.zeros(at.shape)
    for j in range(4):
        others = [k for k in range(4) if k != j]
        weight = np.prod(away[..., others] / (x[nodes[..., [j]]] - x[nodes[..., others]]), axis=-1)
        total += weight * y[nodes[..., j]]
    return total


@cache
def _pieces(symbol: str, quantity: str) -> list[tuple[FloatArray, FloatArray]]:
    """Temperatures and logarithms of the values, in pieces.

    A source may change its equation at some temperature, with a step, as that of helium does: that temperature is in
    the file twice, and a piece ends there.
    """
    rows = _table()[symbol]
    t, log_value = rows[:, 0], np.log(rows[:, COLUMNS.index(quantity) - 1])
    ends = [0, *(np.flatnonzero(np.diff(t) == 0) + 1), t.size]
    return [(t[begin:end], log_value[begin:end]) for begin, end in itertools.pairwise(ends)]


@cache
def _table() -> dict[str, FloatArray]:
    """Rows of each gas: temperature and the quantities."""
    rows: dict[str, list[list[float]]] = {}
    with Path(__file__).with_name(FILE).open(encoding="utf-8", newline="") as file:
        for symbol, *values in itertools.islice(csv.reader(line for line in file if line[0] != "#"), 1, None):
            rows.setdefault(symbol, []).append([float(value) for value in values])
    return {symbol: np.array(values) for symbol, values in rows.items()}
