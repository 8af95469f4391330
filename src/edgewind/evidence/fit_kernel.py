"""The likelihood of a rotor's readings in a compiled loop: a fit asks for it fifty thousand times."""

from __future__ import annotations

from typing import NamedTuple

import numba as nb
import numpy as np
from numpy.typing import NDArray

from edgewind.rotor.speed_kernel import steady_speeds

Array = NDArray[np.float64]
Integers = NDArray[np.int64]


class Columns(NamedTuple):
    """Where the unknowns stand among the values, and what they set or multiply in the flat array of a rotor.

    Attributes
    ----------
    set_places, set_columns, scaled_places, scaled_columns : array of int
        Places of the flat array, and the columns whose value stands there or multiplies what does.
    gauge, scatter, dry, inertia : int
        Columns; that of the inertia is -1 where it is no unknown.
    """

    set_places: Integers
    set_columns: Integers
    scaled_places: Integers
    scaled_columns: Integers
    gauge: int
    scatter: int
    dry: int
    inertia: int


class Readings(NamedTuple):
    """What was read, as arrays.

    Attributes
    ----------
    pressure : array of shape (n + m,)
        Indicated pressures of the n speeds, then of the m coast-downs, Pa.
    speed, speed_u, pressure_speed_u : array of shape (n,)
        Speeds, their standard uncertainty, and that which each reading's own uncertainty of pressure brings, rad/s.
    signed : bool
        Whether the direction was observed.
    floor : float
        Speed below which scatter does not shrink, rad/s.
    rate, rate_u, dry_rate, dry_rate_u, correlation : array of shape (m,)
        Coast-downs; the uncertainty of the rate with that of the pressure, 1/s and rad/s^2.
    rate_own_u : array of shape (m,)
        Uncertainty of the rate without that of the pressure, 1/s.
    """

    pressure: Array
    speed: Array
    speed_u: Array
    pressure_speed_u: Array
    signed: bool
    floor: float
    rate: Array
    rate_u: Array
    dry_rate: Array
    dry_rate_u: Array
    correlation: Array
    rate_own_u: Array


@nb.njit(cache=True)
def numbers_of(values, flat, columns):  # type: ignore[no-untyped-def]
    """Return the flat arrays of the rotors at rows of values, shape (k, numbers)."""
    found = np.empty((values.shape[0], flat.size))
    for k in range(values.shape[0]):
        found[k] = flat
        for i in range(columns.scaled_places.size):
            found[k, columns.scaled_places[i]] *= values[k, columns.scaled_columns[i]]
        for i in range(columns.set_places.size):
            found[k, columns.set_places[i]] = values[k, columns.set_columns[i]]
    return found


@nb.njit(cache=True)
def spreads_of(speed, scatter, readings):  # type: ignore[no-untyped-def]
    """Return the standard deviation of readings about predicted speeds, shape (k, n), at the scatter of each row."""
    found = np.empty_like(speed)
    for k in range(speed.shape[0]):
        for n in range(speed.shape[1]):
            own = scatter[k] * max(abs(speed[k, n]), readings.floor)
            found[k, n] = np.sqrt(readings.speed_u[n] ** 2 + own**2 + readings.pressure_speed_u[n] ** 2)
    return found


@nb.njit(error_model="numpy", cache=True)
def log_likelihoods_of(values, flat, columns, readings, table):  # type: ignore[no-untyped-def]
    """Return the logarithm of the likelihood of each row of values; -1e300 where it is none."""
    size = readings.speed.size
    found = np.empty(values.shape[0])
    rotors = numbers_of(values, flat, columns)
    for k in range(values.shape[0]):
        predicted = steady_speeds(values[k, columns.gauge] * readings.pressure, rotors[k], *table)
        speed = predicted[:1, :size]
        spread = spreads_of(speed, values[k, columns.scatter : columns.scatter + 1], readings)
        total = 0.0
        for n in range(size):
            apart = readings.speed[n] - (speed[0, n] if readings.signed else abs(speed[0, n]))
            total -= 0.5 * (apart / spread[0, n]) ** 2 + np.log(spread[0, n])
        for m in range(readings.rate.size):
            inertia = values[k, columns.inertia]
            a = (readings.rate[m] - predicted[2, size + m] / inertia) / readings.rate_u[m]
            b = (readings.dry_rate[m] - values[k, columns.dry] / inertia) / readings.dry_rate_u[m]
            r = min(max(readings.correlation[m] * readings.rate_own_u[m] / readings.rate_u[m], -0.99), 0.99)
            total -= 0.5 * (a * a - 2 * r * a * b + b * b) / (1 - r * r)
            total -= np.log(readings.rate_u[m] * readings.dry_rate_u[m])
        found[k] = total if np.isfinite(total) else -1e300
    return found


@nb.njit(cache=True)
def log_ratio(scores, centre, inverse, log_constant, freedom):  # type: ignore[no-untyped-def]
    """Return the logarithm of a standard normal prior over Student's t about a centre, both at scores.

    `inverse` is that of the root of the t; `log_constant` the logarithm of both constants' ratio.
    """
    total = log_constant
    for i in range(scores.size):
        y = 0.0
        for j in range(scores.size):
            y += inverse[i, j] * (scores[j] - centre[j])
        total += 0.5 * (freedom + 1.0) * np.log1p(y * y / freedom) - 0.5 * scores[i] ** 2
    return total
