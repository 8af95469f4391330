"""Response of the gas: coefficients of force, drag and heat against Knudsen number and accommodation."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import PchipInterpolator

from edgewind.errors import InputError, OutOfRangeError
from edgewind.kinetics import ResponseTable
from edgewind.kinetics.accommodation import apparent_difference

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Coefficients:
    """Linear response of the gas to one vane, per unit of each drive; arrays of one shape, dimensionless.

    Attributes
    ----------
    thermal_force : array
        F/(p0 A) per unit of (T_hot - T_cold)/T0, from hot to cold.
    drag : array
        F/(p0 A) per unit of U/v0, against the motion.
    heat : array
        Heat that leaves the hot face /(p0 v0 A) with the faces at +1/2 and -1/2; the cold face takes up as much.
    loss : array
        Heat that leaves each face /(p0 v0 A) with both faces warmer than the room by T0.
    area_share : array
        Share of the thermal force that a stress as in the middle of the face, acting on the whole face, would give;
        the rest is the edge's share.
    accommodation_force : array
        F/(p0 A) per unit of difference in accommodation, hot face less cold face, with both faces warmer than the room
        by T0; in the sense of the thermal force.
    accommodation_heat : array
        Heat that leaves the hot face beyond `loss`, and the cold face short of it, /(p0 v0 A), then.

    Moving at U towards its cold side, a vane emits heat of `thermal_force` times U/v0 on its hot face and absorbs as
    much on its cold face (Onsager-Casimir reciprocity), which needs no further coefficient.
    """

    thermal_force: Array
    drag: Array
    heat: Array
    loss: Array
    area_share: Array
    accommodation_force: Array = field(default_factory=lambda: np.zeros(()))
    accommodation_heat: Array = field(default_factory=lambda: np.zeros(()))


class GasResponse(Protocol):
    """A response of the gas: a table of the kinetic solver, or a closed form in a test."""

    @property
    def least_knudsen(self) -> float:
        """Smallest Knudsen number of the response."""

    def at(self, knudsen: ArrayLike, accommodation: ArrayLike) -> Coefficients:
        """Return the coefficients; the arguments broadcast. A Knudsen number of infinity is free flight."""

    def relative_error(self, knudsen: ArrayLike) -> Array:
        """Return the greatest estimated relative error of the coefficients."""

    def relative_errors(self, knudsen: ArrayLike) -> Array:
        """Return the estimated relative errors of thermal force, drag and heat, shape (3, ...)."""

    def shared_errors(self, knudsen: ArrayLike) -> Array:
        """Return the part of those of thermal force and drag that they have in common, shape (2, ...)."""

    def unequal_error(self, knudsen: ArrayLike) -> Array:
        """Return the estimated relative error of the force of unequal accommodation over the thermal force."""


_LOGARITHMIC = ("thermal_force", "drag", "heat", "loss")
_NAMES = (*_LOGARITHMIC, "area_share")
# Derived coefficients stored beside them: all but the area share by their logarithms.
_HELD = (*_NAMES[:4], "accommodation_force", "accommodation_heat", "area_share")
_LOGS = len(_HELD) - 1
# Those of unequal accommodation, and the coefficient that each is a share of.
_UNLIKE = {"accommodation_force": "thermal_force", "accommodation_heat": "heat"}
# Coefficients that have an error of their own; that of heat holds for the loss, too.
_UNSURE = ("thermal_force", "drag", "heat")
# Name of the error of the force of unequal accommodation over the thermal force.
UNEQUAL = "unequal_force"
# Their names in the tables of the kinetic room.
KINETIC = {"thermal_force": "thermal_force", "drag": "drag", "heat": "heat_hot", "loss": "loss_hot"} | {
    "area_share": "area_share"
}
# The shipped tables: accommodations of every shape, and rooms of the strip over its width.
ACCOMMODATIONS = (0.2, 0.4, 0.6, 0.8, 1.0)
_ROOMS = (4.0, 8.0)
_ERROR = "relative_error"
# One relative error for all coefficients, or one for each by its name in the tables of the kinetic room.
Relative = ArrayLike | Mapping[str, ArrayLike]


class TableResponse:
    """A table of the kinetic solver for one shape and room, interpolated smoothly with its exact limit in free flight.

    Between the entries the logarithms of the coefficients are monotone cubics (PCHIP) of ln Kn. Above the greatest
    finite Kn they approach their value in free flight as 1/Kn. Between accommodations they are interpolated linearly.

    Parameters
    ----------
    knudsen : array of shape (n,)
        Finite Knudsen numbers, ascending.
    accommodation : array of shape (m,)
        Ascending.
    values : mapping of str to array of shape (m, n)
        By the names of :class:`Coefficients`.
    free : mapping of str to array of shape (m,)
        The same in free flight.
    error : array of shape (n,), or callable
        Estimated relative error, or a function that returns it, called at the first use of an error: a curve alone
        needs none, and those of a rotor cost more than its coefficients.
    """

    def __init__(
        self,
        knudsen: ArrayLike,
        accommodation: ArrayLike,
        values: Mapping[str, ArrayLike],
        free: Mapping[str, ArrayLike],
        error: ArrayLike | Callable[[], ArrayLike],
        *,
        source: str = "",
    ) -> None:
        self.knudsen = np.asarray(knudsen, dtype=float)
        self.accommodation = np.asarray(accommodation, dtype=float)
        self.source = source
        inside = self._with_accommodation(values, self.knudsen)
        free_flight = self._with_accommodation({name: np.asarray(free[name])[:, None] for name in _NAMES}, np.inf)
        stacked = np.stack([inside[name] for name in _HELD])
        limit = np.stack([free_flight[name][:, 0] for name in _HELD])
        if np.any(np.diff(self.knudsen) <= 0) or np.any(np.diff(self.accommodation) <= 0):
            raise InputError(
                "the Knudsen numbers of the response table must ascend", fix="make the tables again: make tables"
            )
        if np.any(stacked[:_LOGS] <= 0) or np.any(limit[:_LOGS] <= 0):
            raise InputError(
                "every coefficient of the response table must be above zero", fix="make the tables again: make tables"
            )
        self.free = limit
        self.held = stacked
        self.top = stacked[..., -1]
        self._less_certain_than: TableResponse | None = None
        self._uncertain: tuple[Relative | Callable[[], Relative], bool] = error, False

    @cached_property
    def _sizes(self) -> tuple[Array, Array, Array]:
        """Relative errors of force, drag and heat, shape (3, n), what the first two of them share, (2, n), and that of
        the force of unequal accommodation over the thermal force, (n,).
        """
        before = self._less_certain_than
        if before is None:
            width = self.knudsen.size
            errors, shared, unequal = np.zeros((len(_UNSURE), width)), np.zeros((2, width)), np.zeros(width)
        else:
            errors, shared, unequal = before._sizes
        relative, together = self._uncertain
        found = relative() if callable(relative) else relative
        if not isinstance(found, Mapping):
            return np.hypot(errors, np.asarray(found, dtype=float)), shared, unequal
        heat = np.maximum(*(np.asarray(found[KINETIC[name]], dtype=float) for name in ("heat", "loss")))
        of = [np.asarray(found[KINETIC[name]], dtype=float) for name in _UNSURE[:2]]
        return (
            np.hypot(errors, np.stack([*of, heat])),
            np.hypot(shared, np.stack(of)) if together else shared,
            np.hypot(unequal, np.asarray(found.get(UNEQUAL, 0.0), dtype=float)),
        )

    def __getstate__(self) -> dict[str, object]:
        """Return the state for another process, with the errors themselves instead of functions."""
        return self.__dict__ | {"_sizes": self._sizes, "_less_certain_than": None, "_uncertain": (0.0, False)}

    def less_certain(self, relative: Relative | Callable[[], Relative], *, together: bool = False) -> TableResponse:
        """Return the same with another relative error besides, of shape (n,), independent of that held.

        One for all coefficients, or one for each by its name in the tables of the kinetic room, and `UNEQUAL` for the
        force of unequal accommodation over the thermal force; of those of heat the greatest holds for all. Those of
        force and drag may be common to both (`together`). A function that returns the error is called at its first use.
        """
        self._curve  # noqa: B018  made once, for this one and for all copies of it
        found = object.__new__(TableResponse)
        found.__dict__.update({name: value for name, value in self.__dict__.items() if name != "_sizes"})
        found._less_certain_than, found._uncertain = self, (relative, together)
        return found

    def times(self, factors: Mapping[str, Array]) -> TableResponse:
        """Return the same with its coefficients multiplied at each node, with the same relative errors.

        Factors of shape (n + 1,) or (m, n + 1), free flight last, by the names of the kinetic room; coefficients
        without one stay. Force and heat of unequal accommodation have those of the thermal force and of the heat
        between the faces, times ``apparent``.
        """
        by = np.ones((len(_HELD), self.accommodation.size, self.knudsen.size + 1))
        for row, name in zip(by, _HELD, strict=True):
            row *= factors.get(KINETIC[_UNLIKE.get(name, name)], 1.0)
            row *= factors.get("apparent", 1.0) if name in _UNLIKE else 1.0
        found = object.__new__(TableResponse)
        found.__dict__.update(
            {name: value for name, value in self.__dict__.items() if name not in ("_sizes", "_curve")}
        )
        found.held, found.free = self.held * by[..., :-1], self.free * by[..., -1]
        found.top = found.held[..., -1]
        found._less_certain_than, found._uncertain = self, (0.0, False)
        return found

    @cached_property
    def _curve(self) -> PchipInterpolator:
        curve = np.concatenate([np.log(self.held[:_LOGS]), self.held[_LOGS:]])
        return PchipInterpolator(np.log(self.knudsen), np.moveaxis(curve, -1, 0))

    def nodes(self) -> dict[str, Array]:
        """Return the coefficients at the nodes by their names in :class:`Coefficients`, shape (m, n + 1).

        The last column is free flight.
        """
        whole = np.concatenate([self.held, self.free[..., None]], axis=-1)
        return dict(zip(_HELD, whole, strict=True))

    def _with_accommodation(self, values: Mapping[str, ArrayLike], knudsen: ArrayLike) -> dict[str, Array]:
        """Return coefficients with those of a difference in accommodation, which acts as one in temperature."""
        found = {name: np.asarray(values[name], dtype=float) for name in _NAMES}
        force, heat = apparent_difference(self.accommodation[:, None], knudsen, found["loss"])
        return found | {
            "accommodation_force": found["thermal_force"] * force,
            "accommodation_heat": found["heat"] * heat,
        }

    @property
    def cubics(self) -> Array:
        """Cubics of ln Kn, shape (4, n - 1, 7, m): of the logarithm of all coefficients but the area share."""
        return np.asarray(self._curve.c)

    @property
    def least_knudsen(self) -> float:
        """Smallest Knudsen number of the table."""
        return float(self.knudsen[0])

    def at(self, knudsen: ArrayLike, accommodation: ArrayLike) -> Coefficients:
        """Return the coefficients; the arguments broadcast.

        Raises
        ------
        OutOfRangeError
            A Knudsen number below the table, or an accommodation outside it.
        """
        kn, alpha = np.broadcast_arrays(np.asarray(knudsen, dtype=float), np.asarray(accommodation, dtype=float))
        self._check(kn, alpha)
        top = self.knudsen[-1]
        inside = np.minimum(kn, top)
        found = np.moveaxis(self._curve(np.log(inside)), (-2, -1), (0, 1))  # coefficient, accommodation, ...
        np.exp(found[:_LOGS], out=found[:_LOGS])
        beyond = kn > top
        if np.any(beyond):
            extra = (1,) * kn.ndim
            free, edge = self.free.reshape(*self.free.shape, *extra), self.top.reshape(*self.top.shape, *extra)
            found = np.where(beyond, free + (edge - free) * (top / np.maximum(kn, top)), found)
        return Coefficients(**dict(zip(_HELD, self._between(found, alpha), strict=True)))

    def relative_error(self, knudsen: ArrayLike) -> Array:
        """Return the greatest estimated relative error of the coefficients, interpolated."""
        return np.asarray(self.relative_errors(knudsen).max(axis=0))

    def relative_errors(self, knudsen: ArrayLike) -> Array:
        """Return the estimated relative errors of thermal force, drag and heat, interpolated, shape (3, ...)."""
        at = np.log(np.asarray(knudsen, dtype=float))
        return np.stack([np.interp(at, np.log(self.knudsen), error) for error in self._sizes[0]])

    def shared_errors(self, knudsen: ArrayLike) -> Array:
        """Return the part of those of thermal force and drag that they have in common, shape (2, ...)."""
        at = np.log(np.asarray(knudsen, dtype=float))
        return np.stack([np.interp(at, np.log(self.knudsen), error) for error in self._sizes[1]])

    def unequal_error(self, knudsen: ArrayLike) -> Array:
        """Return the estimated relative error of the force of unequal accommodation over the thermal force."""
        at = np.log(np.asarray(knudsen, dtype=float))
        return np.asarray(np.interp(at, np.log(self.knudsen), self._sizes[2]))

    def _check(self, kn: Array, alpha: Array) -> None:
        if not np.all(kn >= self.least_knudsen * (1 - 1e-9)):
            raise OutOfRangeError(
                f"a Knudsen number of {np.nanmin(kn):.3g} is below the response table (from {self.least_knudsen:g})",
                fix="choose lower pressures, or a narrower vane",
            )
        low, high = self.accommodation[0], self.accommodation[-1]
        if not np.all((alpha >= low - 1e-12) & (alpha <= high + 1e-12)):
            raise OutOfRangeError(
                f"an accommodation of {float(alpha.flat[0]):.3g} is outside the response table ({low:g} to {high:g})",
                key="rotor.accommodation",
                fix=f"use {low:g} to {high:g}",
            )

    def _between(self, found: Array, alpha: Array) -> Array:
        if self.accommodation.size == 1:
            return found[:, 0]
        place = np.clip(np.searchsorted(self.accommodation, alpha, side="right") - 1, 0, self.accommodation.size - 2)
        low, high = self.accommodation[place], self.accommodation[place + 1]
        share = (alpha - low) / (high - low)
        if place.size and np.all(place == place.flat[0]):
            k = int(place.flat[0])
            return np.asarray((1 - share) * found[:, k] + share * found[:, k + 1])
        below = np.take_along_axis(found, np.broadcast_to(place, (found.shape[0], 1, *place.shape)), axis=1)[:, 0]
        above = np.take_along_axis(found, np.broadcast_to(place + 1, (found.shape[0], 1, *place.shape)), axis=1)
        return np.asarray((1 - share) * below + share * above[:, 0])


def area_share(stress: ArrayLike, weight: ArrayLike) -> float:
    """Return the share of the force that the stress in the middle of the face, acting on the whole face, would give.

    Parameters
    ----------
    stress : array of shape (n,)
        Difference of normal stress between the faces, from the middle of the vane to its edge.
    weight : array of shape (n,)
        Area that each value stands for.

    Examples
    --------
    >>> area_share([1.0, 1.0, 1.0], [0.2, 0.2, 0.1])
    1.0
    >>> round(area_share([0.1, 0.1, 2.0], [0.2, 0.2, 0.1]), 3)
    0.208
    """
    values, weights = np.asarray(stress, dtype=float), np.asarray(weight, dtype=float)
    return float(values[0] * weights.sum() / (values @ weights))


@lru_cache(maxsize=64)
def response_for(room: float) -> TableResponse:
    """Return the response of an infinite strip in the middle of a square room, `room` times as wide as the strip.

    The tables were computed by the kinetic solver of the package; between its rooms they are interpolated linearly in
    1/room, and the nearest are used beyond. For the vanes of a rotor see :func:`edgewind.rotor.response_of`.
    """
    small, large = (1 / one for one in _ROOMS)
    share = float(np.clip((small - 1 / room) / (small - large), 0.0, 1.0))
    near, far = (_strips(one) for one in _ROOMS)
    found = {name: (1 - share) * near[name] + share * far[name] for name in (*_NAMES, _ERROR)}
    return TableResponse(
        near["knudsen"][:-1],
        ACCOMMODATIONS,
        {name: found[name][:, :-1] for name in _NAMES},
        {name: found[name][:, -1] for name in _NAMES},
        found[_ERROR][:, :-1].max(axis=0),
        source="edgewind.kinetics: infinite strip in the middle of a closed square room that re-emits diffusely",
    )


@lru_cache(maxsize=2)
def _strips(room: float) -> dict[str, Array]:
    """Return the shipped tables of the strip in a room, shape (accommodation, Knudsen number), free flight last."""
    tables = [ResponseTable.standard("strip", room=room, accommodation=alpha) for alpha in ACCOMMODATIONS]
    found = {
        name: np.stack([np.append(table.values[of], table.free_flight[of]) for table in tables])
        for name, of in KINETIC.items()
    }
    errors = [[table.errors[of] / table.values[of] for of in map(KINETIC.get, _UNSURE) if of] for table in tables]
    worst = np.max(errors, axis=1)
    return found | {"knudsen": np.append(tables[0].knudsen, np.inf), _ERROR: np.append(worst, worst[:, -1:], axis=1)}
