"""Effect of a change: both optima before and after, with intervals, and the curves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import Field

from edgewind.errors import InputError
from edgewind.evidence.draws import RotorDraws
from edgewind.frozen_model import FrozenModel
from edgewind.rotor.optimum import PeakPressure, flat_range, peak_pressures
from edgewind.serialize import to_plain

Array = NDArray[np.float64]
Quantity = Literal["speed", "torque"]
_ROW: dict[Quantity, int] = {"speed": 0, "torque": 1}
UNIT: dict[Quantity, str] = {"speed": "rad_s", "torque": "n_m"}
_POINTS = 81  # of the curves in which maxima are sought


class _Result(FrozenModel):
    """A part of the JSON result: SI, the unit in each key."""


class _Place(_Result):
    """Maximum of a curve, over draws of its rotor."""

    pressure_pa: float | None = Field(
        description="True pressure of the maximum, Pa, median of the draws; null where too few draws have one."
    )
    pressure_interval_pa: tuple[float, float] | None = Field(description="Interval of that pressure, Pa.")
    share_with_a_maximum: float = Field(
        description="Share of the draws that have a maximum between the ends of the pressures."
    )
    flat_pa: tuple[float, float] | None = Field(
        description="Pressures between which the median curve is flat within 1 %, Pa; null if the maximum is sharp."
    )


class SpeedPlace(_Place):
    """Maximum of the speed."""

    speed_rad_s: float | None = Field(description="Greatest speed, rad/s, with its sign, median of the draws.")
    speed_interval_rad_s: tuple[float, float] | None = Field(description="Interval of the greatest speed, rad/s.")


class TorquePlace(_Place):
    """Maximum of the torque."""

    torque_n_m: float | None = Field(description="Greatest torque, N m, with its sign, median of the draws.")
    torque_interval_n_m: tuple[float, float] | None = Field(description="Interval of the greatest torque, N m.")


class _MovedResult(_Result):
    """Change of one optimum, for JSON."""

    quantity: Quantity = Field(description="Quantity that is greatest at the optimum.")
    ratio: float | None = Field(
        description="Pressure of the maximum after over before the change, draw by draw, median."
    )
    ratio_interval: tuple[float, float] | None = Field(description="Interval of that ratio.")


class SpeedMoved(_MovedResult):
    """How the pressure of greatest speed moves."""

    before: SpeedPlace = Field(description="The optimum before the change.")
    after: SpeedPlace = Field(description="The optimum after the change.")


class TorqueMoved(_MovedResult):
    """How the pressure of greatest torque moves."""

    before: TorquePlace = Field(description="The optimum before the change.")
    after: TorquePlace = Field(description="The optimum after the change.")


Values = tuple[float | None, ...]


class BandsResult(_Result):
    """Curves with their intervals, for JSON."""

    low_speed_rad_s: Values = Field(
        description="Lower end of the interval of the speed at each pressure, rad/s; null beyond the response of the "
        "gas."
    )
    median_speed_rad_s: Values = Field(
        description="Median speed at each pressure, rad/s; null beyond the response of the gas."
    )
    high_speed_rad_s: Values = Field(description="Upper end of the interval of the speed at each pressure, rad/s.")
    low_torque_n_m: Values = Field(
        description="Lower end of the interval of the torque at each pressure, N m; null beyond the response of the "
        "gas."
    )
    median_torque_n_m: Values = Field(
        description="Median torque at each pressure, N m; null beyond the response of the gas."
    )
    high_torque_n_m: Values = Field(description="Upper end of the interval of the torque at each pressure, N m.")


class CurvesResult(_Result):
    """The curves before and after a change, for JSON."""

    pressure_pa: tuple[float, ...] = Field(description="Pressures of the curves, Pa.")
    before: BandsResult = Field(description="Curves before the change.")
    after: BandsResult = Field(description="Curves after the change.")


class WhatIfResult(_Result):
    """Effects of a change, for JSON."""

    draws_of: Literal["posterior", "prior"] = Field(
        description="Whether the draws are from a fit, or from the bench alone."
    )
    draws: int = Field(description="Number of draws behind the intervals.")
    level: float = Field(description="Coverage of intervals and bands.")
    changes: dict[str, str] = Field(description="New value of each key of `bench.toml` that was changed.")
    optimum: SpeedMoved = Field(description="How the pressure of greatest speed moves.")
    force_optimum: TorqueMoved = Field(description="How the pressure of greatest torque moves.")
    bands: CurvesResult = Field(description="The curves with their intervals.")


@dataclass(frozen=True)
class Spread:
    """A median with an interval; both None if too few draws have a value."""

    median: float | None
    interval: tuple[float, float] | None


class DrawnOptimum(PeakPressure):
    """Maximum of a curve, over draws of its rotor; true pressures."""

    value: float | None = Field(default=None, description="Median of the greatest value, with its sign: rad/s, or N m.")
    value_interval: tuple[float, float] | None = Field(default=None, description="Interval of that value.")
    share: float = Field(description="Share of the draws that have a maximum between the ends of the pressures.")


@dataclass(frozen=True)
class Moved:
    """How one optimum moves.

    Attributes
    ----------
    quantity : {"speed", "torque"}
        Quantity that is greatest at the optimum.
    before, after : DrawnOptimum
        The optimum before and after the change.
    ratio : Spread
        Pressure after over pressure before, draw by draw.
    """

    quantity: Quantity
    before: DrawnOptimum
    after: DrawnOptimum
    ratio: Spread

    def _plain(self) -> dict[str, Any]:
        """Return the JSON values common to both quantities, and the optima before and after."""
        unit = UNIT[self.quantity]
        before, after = (
            {
                "pressure_pa": at.pressure_pa,
                "pressure_interval_pa": at.interval_pa,
                "share_with_a_maximum": at.share,
                "flat_pa": at.flat_pa,
                f"{self.quantity}_{unit}": at.value,
                f"{self.quantity}_interval_{unit}": at.value_interval,
            }
            for at in (self.before, self.after)
        )
        ratio = {"ratio": self.ratio.median, "ratio_interval": self.ratio.interval}
        return {"quantity": self.quantity, "before": before, "after": after, **ratio}


@dataclass(frozen=True, eq=False)
class Bands:
    """Curves with bands at each pressure: arrays of shape (3, n), low, median and high; nan beyond the gas response.

    `speed_rad_s` and `torque_n_m` are positive when the bright face leads.
    """

    speed_rad_s: Array
    torque_n_m: Array

    def to_result(self) -> BandsResult:
        """Return the curves for JSON."""
        curves = {
            f"{end}_{name}": tuple(to_plain(getattr(self, name)[row]))
            for name in ("speed_rad_s", "torque_n_m")
            for row, end in enumerate(("low", "median", "high"))
        }
        return BandsResult(**curves)


@dataclass(frozen=True, eq=False)
class WhatIf:
    """Both optima and the curves, before and after a change.

    Attributes
    ----------
    kind : {"posterior", "prior"}
        Whether the draws are from a fit, or from the bench alone.
    changes : dict
        The changed keys.
    speed, torque : Moved
        The two optima.
    pressure_pa : array of shape (n,)
        Pressures of the bands.
    before, after : Bands
        The curves.
    level : float
        Coverage of intervals and bands.
    draws : int
        Number of draws behind the intervals.
    """

    kind: Literal["posterior", "prior"]
    changes: dict[str, Any]
    speed: Moved
    torque: Moved
    pressure_pa: Array
    before: Bands
    after: Bands
    level: float
    draws: int

    def to_result(self) -> WhatIfResult:
        """Return the result for JSON."""
        return WhatIfResult(
            draws_of=self.kind,
            draws=self.draws,
            level=self.level,
            changes={key: str(value) for key, value in self.changes.items()},
            optimum=SpeedMoved(**self.speed._plain()),
            force_optimum=TorqueMoved(**self.torque._plain()),
            bands=CurvesResult(
                pressure_pa=tuple(self.pressure_pa.tolist()),
                before=self.before.to_result(),
                after=self.after.to_result(),
            ),
        )


def what_if(draws: RotorDraws, changes: Mapping[str, Any], pressures: ArrayLike, *, level: float = 0.9) -> WhatIf:
    """Return the change of both optima with a change of the bench, with intervals over draws of its rotor.

    Parameters
    ----------
    draws : RotorDraws
        See :func:`edgewind.evidence.draws_of`: of a fit, or of a bench.
    changes : mapping
        Dotted keys of `bench.toml` and new values as written there; empty for the unchanged rotor.
    pressures : array of shape (n,)
        True pressures of the bands, Pa, in ascending order; maxima are sought between the first and the last.
    level : float
        Coverage.

    Raises
    ------
    InputError
        An unknown key, an impossible bench, or too few pressures.
    """
    pressure = np.unique(np.atleast_1d(np.asarray(pressures, dtype=float)))
    if pressure.size < 2 or not pressure[0] > 0 or not np.all(np.isfinite(pressure)):
        raise InputError(
            "two pressures are needed to search between", fix="give two or more pressures above zero, in Pa"
        )
    after = draws.moved(changes)
    sought = np.geomspace(pressure[0], pressure[-1], _POINTS)
    both = np.concatenate([sought, pressure])
    curves = [of.curves(both) for of in ((draws, after) if changes else (draws,))]
    if not changes:
        curves = [curves[0], curves[0]]
    found = [_optima_of(sought, curve[..., :_POINTS], level) for curve in curves]
    moved = [
        Moved(
            quantity, found[0][quantity].optimum, found[1][quantity].optimum,
            _spread(found[1][quantity].places_pa / found[0][quantity].places_pa, level),
        )
        for quantity in _ROW
    ]  # fmt: skip
    before, now = (_bands(curve[..., _POINTS:], level) for curve in curves)
    return WhatIf(draws.kind, dict(changes), moved[0], moved[1], pressure, before, now, level, len(draws.numbers))


class _Drawn(NamedTuple):
    """An optimum over draws, and the pressure of each draw, Pa; nan where it has no maximum."""

    optimum: DrawnOptimum
    places_pa: Array


def drawn_optima(
    draws: RotorDraws, low_pa: float, high_pa: float, *, level: float = 0.9
) -> tuple[DrawnOptimum, DrawnOptimum]:
    """Return the maxima of speed and torque between two pressures, over draws of a rotor.

    Parameters
    ----------
    draws : RotorDraws
        See :func:`edgewind.evidence.draws_of`.
    low_pa, high_pa : float
        Ends of the pressures, Pa.
    level : float
        Coverage of the intervals.
    """
    sought = np.geomspace(low_pa, high_pa, _POINTS)
    found = _optima_of(sought, draws.curves(sought), level)
    return found["speed"].optimum, found["torque"].optimum


def _optima_of(pressure: Array, curves: Array, level: float) -> dict[Quantity, _Drawn]:
    """Return the optima of curves, shape (draws, 3, n), in the direction of each one's greatest torque."""
    reach = np.isfinite(curves[0, 0])
    if reach.sum() < 3:
        nothing = np.full(len(curves), np.nan)
        return {quantity: _Drawn(_optimum_of(nothing, nothing, None, level), nothing) for quantity in _ROW}
    within, inside = pressure[reach], curves[..., reach]
    torque = inside[:, 1]
    strongest = np.take_along_axis(torque, np.argmax(np.abs(torque), axis=1)[:, None], axis=1)
    sense = np.where(strongest < 0, -1.0, 1.0)
    found: dict[Quantity, _Drawn] = {}
    for quantity, row in _ROW.items():
        values = sense * inside[:, row]
        places = peak_pressures(within, values)
        heights = np.where(np.isfinite(places), sense[:, 0] * values.max(axis=1), np.nan)
        flat = flat_range(within, np.abs(np.median(inside[:, row], axis=0)))
        found[quantity] = _Drawn(_optimum_of(places, heights, flat, level), places)
    return found


def _optimum_of(places: Array, heights: Array, flat: tuple[float, float] | None, level: float) -> DrawnOptimum:
    place, height = _spread(places, level), _spread(heights, level)
    share = float(np.mean(np.isfinite(places)))
    return DrawnOptimum(
        found=place.median is not None, pressure_pa=place.median, interval_pa=place.interval, level=level,
        reason="" if place.median is not None else f"{100 * share:.0f} % of the draws have a maximum between these "
        "pressures", flat_pa=flat, value=height.median, value_interval=height.interval, share=share,
    )  # fmt: skip


def _spread(values: Array, level: float) -> Spread:
    known = values[np.isfinite(values)]
    if known.size < level * values.size:
        return Spread(None, None)
    low, middle, high = (float(q) for q in np.quantile(known, _tails(level)))
    return Spread(middle, (low, high))


def _bands(curves: Array, level: float) -> Bands:
    low_to_high = np.quantile(curves, _tails(level), axis=0)  # nan where the response does not reach
    return Bands(low_to_high[:, 0], low_to_high[:, 1])


def _tails(level: float) -> list[float]:
    return [(1 - level) / 2, 0.5, (1 + level) / 2]
