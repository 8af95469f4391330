"""Checked readings of speed against pressure, as input of the curve, with the direction of each sweep."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from edgewind.errors import InputError

Array = NDArray[np.float64]

# Readings of one direction are repeats where their ln(pressure) differ by no more than this, or than so many of their
# standard uncertainties. Smaller steps than the first are no change of direction.
REPEAT_LOG_PRESSURE, REPEAT_U = 0.02, 2.0


@dataclass(frozen=True, eq=False)
class SweepData:
    """Readings of speed against pressure, with their uncertainties and order.

    Parameters
    ----------
    pressure_pa : array_like, shape (n,)
        Pressures, Pa.
    log_pressure_u : array_like, shape (n,)
        Standard uncertainty of ln(pressure), independent for each reading.
    speed_rad_s : array_like, shape (n,)
        Angular speeds, rad/s; zero for a rotor at rest, negative for the other sense.
    speed_u_rad_s : array_like, shape (n,)
        Standard uncertainties of the speeds, rad/s; above zero.
    sweep : sequence of str, optional
        Label of the sweep that each reading belongs to.
    direction : array_like of int, optional
        +1 where the pressure was rising, -1 where it was falling, 0 where unknown. Default: derived from the order of
        the readings within each sweep.
    time_s : array_like, optional
        Times, s, nan where unknown.
    common_log_pressure_u : float, optional
        Standard uncertainty of ln(pressure) that all readings share: gauge calibration, gas factor.

    Raises
    ------
    InputError
        Where lengths differ, or a value cannot be used.
    """

    pressure_pa: Array
    log_pressure_u: Array
    speed_rad_s: Array
    speed_u_rad_s: Array
    sweep: tuple[str, ...] = ()
    direction: NDArray[np.int64] = None  # type: ignore[assignment]
    time_s: Array = None  # type: ignore[assignment]
    common_log_pressure_u: float = 0.0

    def __post_init__(self) -> None:
        size = np.size(self.pressure_pa)
        time = np.full(size, np.nan) if self.time_s is None else self.time_s
        columns = {
            name: _column(name, values, size)
            for name, values in {
                "pressure_pa": self.pressure_pa,
                "log_pressure_u": self.log_pressure_u,
                "speed_rad_s": self.speed_rad_s,
                "speed_u_rad_s": self.speed_u_rad_s,
                "time_s": time,
            }.items()
        }
        _require(columns["pressure_pa"] > 0, "pressure_pa", columns["pressure_pa"], "a pressure above zero, in Pa")
        _require(columns["speed_u_rad_s"] > 0, "speed_u_rad_s", columns["speed_u_rad_s"], "an uncertainty above zero")
        _require(columns["log_pressure_u"] >= 0, "log_pressure_u", columns["log_pressure_u"], "zero or more")
        for name, values in columns.items():
            if name != "time_s":
                _require(np.isfinite(values), name, values, "a finite number")
            object.__setattr__(self, name, values)
        if not (np.isfinite(self.common_log_pressure_u) and self.common_log_pressure_u >= 0):
            raise InputError(
                f"common_log_pressure_u is {self.common_log_pressure_u!r}", fix="give zero or a positive number"
            )
        labels = tuple(self.sweep) or ("",) * size
        if len(labels) != size:
            raise InputError(f"sweep has {len(labels)} labels for {size} readings", fix="give one label a reading")
        object.__setattr__(self, "sweep", labels)
        derived = (
            derive_direction(columns["pressure_pa"], labels, columns["time_s"])
            if self.direction is None
            else np.sign(_column("direction", self.direction, size)).astype(np.int64)
        )
        object.__setattr__(self, "direction", derived)

    @property
    def size(self) -> int:
        """Number of readings."""
        return int(self.pressure_pa.size)

    @property
    def log_pressure(self) -> Array:
        """ln(pressure / Pa)."""
        return np.log(self.pressure_pa)

    def distinct_pressures(self) -> int:
        """Count the pressures that differ by more than one part in a hundred from the one below."""
        ordered = np.sort(self.log_pressure)
        return 0 if not self.size else 1 + int(np.sum(np.diff(ordered) > 0.01))

    def take(self, index: ArrayLike) -> SweepData:
        """Return the readings at `index`, in that order."""
        index = np.asarray(index)
        chosen = np.arange(self.size)[index if index.size else index.astype(np.int64)]
        return SweepData(
            self.pressure_pa[chosen],
            self.log_pressure_u[chosen],
            self.speed_rad_s[chosen],
            self.speed_u_rad_s[chosen],
            tuple(self.sweep[i] for i in chosen),
            self.direction[chosen],
            self.time_s[chosen],
            self.common_log_pressure_u,
        )


def _column(name: str, values: ArrayLike, size: int) -> Array:
    try:
        column = np.array(values, dtype=float)
    except (TypeError, ValueError) as error:
        raise InputError(f"{name} holds something that is not a number: {error}", fix="give numbers") from error
    if column.shape != (size,):
        raise InputError(
            f"{name} has shape {column.shape} where pressure_pa has {size} readings",
            fix="give one value for each reading",
        )
    return column


def _require(good: NDArray[np.bool_], name: str, values: Array, right: str) -> None:
    if not np.all(good):
        first = int(np.flatnonzero(~good)[0])
        raise InputError(f"{name}[{first}] is {values[first]:g}", fix=f"it must be {right}")


def derive_direction(
    pressure_pa: ArrayLike, sweep: tuple[str, ...], time_s: ArrayLike | None = None
) -> NDArray[np.int64]:
    """Derive from the order of the readings whether the pressure was rising or falling at each.

    A sweep with nine steps in ten or more in one sense has that sense throughout; otherwise each reading has the sense
    of the step before it, and the first reading that of the step after it. A reading that repeats the one before it has
    the sense of that one.

    Parameters
    ----------
    pressure_pa : array_like, shape (n,)
        Pressures in the order in which they were taken, Pa.
    sweep : tuple of str
        Label of each reading.
    time_s : array_like, optional
        Times, s; they set the order where all of a sweep's are known.

    Returns
    -------
    ndarray of int, shape (n,)
        +1 rising, -1 falling, 0 unknown.

    Examples
    --------
    >>> derive_direction([1.0, 2.0, 4.0, 4.0, 2.0, 1.0], ("up",) * 3 + ("down",) * 3).tolist()
    [1, 1, 1, -1, -1, -1]
    """
    pressure = np.asarray(pressure_pa, dtype=float)
    time = np.full(pressure.size, np.nan) if time_s is None else np.asarray(time_s, dtype=float)
    labels = np.array(sweep, dtype=object)
    direction = np.zeros(pressure.size, dtype=np.int64)
    for label in dict.fromkeys(sweep):
        members = np.flatnonzero(labels == label)
        if np.all(np.isfinite(time[members])):
            members = members[np.argsort(time[members], kind="stable")]
        steps = _steps(np.log(pressure[members]))
        moving = steps[steps != 0]
        if moving.size and abs(moving.mean()) >= 0.8:
            direction[members] = np.sign(moving.sum())
        elif moving.size:
            steps[0] = moving[0]
            direction[members] = steps[np.maximum.accumulate(np.where(steps != 0, np.arange(steps.size), 0))]
    return direction


def _steps(log_pressure: Array) -> NDArray[np.int64]:
    """Return the sense of the step to each reading from the last place that it does not repeat; 0 for a repeat."""
    steps, last = np.zeros(log_pressure.size, dtype=np.int64), log_pressure[0]
    for number, place in enumerate(log_pressure):
        if abs(place - last) > REPEAT_LOG_PRESSURE:
            steps[number], last = np.sign(place - last), place
    return steps


def repeat_groups(log_pressure: Array, log_pressure_u: Array) -> NDArray[np.int64]:
    """Number the pressures of one direction, ascending: repeats of one pressure have the same number.

    Parameters
    ----------
    log_pressure : ndarray, shape (n,)
        ln(pressure / Pa), ascending.
    log_pressure_u : ndarray, shape (n,)
        Standard uncertainties of each for itself.

    Returns
    -------
    ndarray of int, shape (n,)

    Examples
    --------
    >>> repeat_groups(np.array([0.0, 0.01, 0.4, 0.44, 0.8]), np.full(5, 0.01)).tolist()
    [0, 0, 1, 2, 3]
    >>> repeat_groups(np.array([0.0, 0.01, 0.4, 0.44, 0.8]), np.full(5, 0.03)).tolist()
    [0, 0, 1, 1, 2]
    """
    group, first = np.zeros(log_pressure.size, dtype=np.int64), 0
    for number in range(1, log_pressure.size):
        near = max(REPEAT_LOG_PRESSURE, REPEAT_U * float(log_pressure_u[number]))
        apart = log_pressure[number] - log_pressure[first] > near
        group[number] = group[number - 1] + apart
        first = number if apart else first
    return group
