"""Response tables: immediate coefficients of a vane at any Knudsen number."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache, cached_property, lru_cache
from importlib import resources

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline, PchipInterpolator

from edgewind.errors import InputError, OutOfRangeError
from edgewind.kinetics.result import Response

Floats = NDArray[np.float64]

NAMES = ("thermal_force", "heat_hot", "drag", "loss_hot")
# Coefficients, and the share of the thermal force on the area, without the edge.
COLUMNS = (*NAMES, "area_share")
# Exponents of Kn in the limit of the continuum; see `ResponseTable`. Heat takes a logarithm besides.
CONTINUUM = {"thermal_force": 1.5, "heat_hot": 1.0, "drag": 1.0, "loss_hot": 1.0}


@dataclass(frozen=True)
class ResponseTable:
    """Coefficients of one vane in one room, interpolated smoothly over all Knudsen numbers.

    Between the nodes the logarithm of a coefficient is a cubic spline in that of the Knudsen number. Above the last
    node the coefficient approaches its free-flight value in the table, with a difference that falls as 1/Kn, the
    correction by the first collision. Below the first node it approaches the law of slip flow, from its slope at the
    node, with a difference of the slopes that falls as Kn:

    - ``drag`` ~ Kn, Stokes flow; ``loss_hot`` ~ Kn, conduction from a vane of one temperature;
    - ``heat_hot`` ~ Kn (a + b ln(1/Kn)), b = (15/8) (2/sqrt(pi)) / (2 pi) times perimeter over area of the vane:
      conduction round an edge at which two temperatures meet, tau = 1/2 - theta/(2 pi), cut off at a free path;
    - ``thermal_force`` ~ Kn^(3/2): about the edge, within a free path, gas presses with p0 dT/T0, but a Stokes flow
      round the edge of a plate has no stress that falls as 1/r and so carries no net force away; the first that it
      has, r^(-3/2), leaves (Kn L)^(3/2) L^(-1/2) over the vane. The share of the area then stays as it is.

    The error there grows with the difference of the law from the power law of the curve at the node: see `error`.

    Parameters
    ----------
    knudsen : array
        Nodes, ascending and finite.
    values, errors : mapping of str to array
        ``thermal_force``, ``heat_hot``, ``drag``, ``loss_hot`` and ``area_share`` at the nodes, with absolute errors.
    free_flight : mapping of str to float
        The same at infinite Knudsen number.
    shape : str
        Shape of the vane.
    room : float
        Room over the width of the vane.
    accommodation : float
        Diffuse share of both faces; the room re-emits diffusely.
    aspect : float
        Height over width of a rectangle.

    Examples
    --------
    >>> table = ResponseTable.standard("strip", room=4.0)
    >>> round(float(table.thermal_force(1e9)), 6), table.free_flight["thermal_force"]
    (0.25, 0.25)
    """

    knudsen: Floats
    values: Mapping[str, Floats]
    errors: Mapping[str, Floats]
    free_flight: Mapping[str, float]
    shape: str
    room: float
    accommodation: float
    aspect: float = 1.0

    @classmethod
    def standard(
        cls, shape: str, *, room: float = 4.0, accommodation: float = 1.0, aspect: float = 1.0
    ) -> ResponseTable:
        """Return the table shipped for a standard shape and room; accommodation between 0.2 and 1.

        Between the computed accommodations, a polynomial through all of them is used, at their common Knudsen numbers.
        """
        return _standard(shape, float(room), float(accommodation), float(aspect))

    @classmethod
    def from_responses(cls, responses: Iterable[Response]) -> ResponseTable:
        """Return the table of a computed curve, one response of which is for free flight (infinite Knudsen number)."""
        ordered = sorted(responses, key=lambda response: response.knudsen)
        if len(ordered) < 5 or not math.isinf(ordered[-1].knudsen):
            raise InputError(
                "these responses are too few for a table",
                fix="give four or more Knudsen numbers, and infinity among them for the limit of free flight",
            )
        first, nodes = ordered[0], ordered[:-1]
        return cls(
            np.array([r.knudsen for r in nodes]),
            {name: np.array([r.values[name] for r in nodes]) for name in COLUMNS},
            {name: np.array([r.errors[name] for r in nodes]) for name in COLUMNS},
            {name: ordered[-1].values[name] for name in COLUMNS},
            first.shape,
            first.room[0],
            first.accommodation[0],
            first.aspect,
        )

    @cached_property
    def _splines(self) -> dict[str, CubicSpline]:
        x = np.log(self.knudsen)
        return {name: CubicSpline(x, np.log(self.values[name]), bc_type="natural") for name in NAMES}

    @property
    def holds_area_share(self) -> bool:
        """Whether the area share is known at every node, and in free flight."""
        return bool(np.isfinite([*self.values["area_share"], self.free_flight["area_share"]]).all())

    @cached_property
    def _share(self) -> PchipInterpolator:
        if not self.holds_area_share:
            raise InputError(
                f"the table of the {self.shape} in a room of {self.room:g} with accommodation {self.accommodation:g} "
                "holds no area share",
                key="accommodation",
                fix="choose accommodation 1, or compute a curve with respond_curve and ResponseTable.from_responses",
            )
        return PchipInterpolator(np.log(self.knudsen), self.values["area_share"])

    @cached_property
    def _first(self) -> dict[str, tuple[float, float]]:
        """Return each coefficient at the first node, and its slope there, both in logarithms."""
        at = float(np.log(self.knudsen[0]))
        return {name: (float(np.exp(spline(at))), float(spline(at, 1))) for name, spline in self._splines.items()}

    @property
    def _edge_heat(self) -> float:
        """Return the derivative of heat_hot / Kn by ln(1/Kn) in the limit of the continuum."""
        around = {"strip": 2.0, "rectangle": 2.0 * (1.0 + self.aspect) / self.aspect}.get(self.shape, 4.0)
        return around * 1.875 * 2.0 / float(np.sqrt(np.pi)) / (2.0 * float(np.pi))

    def _below(self, name: str, ratio: Floats) -> tuple[Floats, Floats]:
        """Return the law of slip flow and the extrapolated power law below the first node, at Kn/Kn_first."""
        value, slope = self._first[name]
        power = value * ratio**slope
        limit = CONTINUUM[name]
        if name == "heat_hot":
            # Per Kn: the slope in ln(1/Kn) goes from what it is at the node to what the edges make it.
            grows = (1.0 - slope) * value / self.knudsen[0]
            per = value / self.knudsen[0] - self._edge_heat * np.log(ratio) + (grows - self._edge_heat) * (1.0 - ratio)
            return np.asarray(self.knudsen[0] * ratio * per), power
        return np.asarray(value * ratio**limit * np.exp((slope - limit) * (ratio - 1.0))), power

    def _at(self, name: str, knudsen: ArrayLike) -> Floats:
        kn = _checked(knudsen)
        first, last = self.knudsen[0], self.knudsen[-1]
        inside = np.exp(self._splines[name](np.log(np.clip(kn, first, last))))
        limit = self.free_flight[name]
        found = np.where(kn > last, limit + (inside - limit) * (last / np.maximum(kn, last)), inside)
        if np.any(kn < first):
            found = np.where(kn < first, self._below(name, np.minimum(kn, first) / first)[0], found)
        return np.asarray(found)

    def coefficient(self, name: str, knudsen: ArrayLike) -> Floats:
        """Return a coefficient by its name in `values`."""
        return self.area_share(knudsen) if name == "area_share" else self._at(name, knudsen)

    def thermal_force(self, knudsen: ArrayLike) -> Floats:
        """Return the thermal force F/(p0 A) per unit dT/T0 between the faces, from hot to cold."""
        return self._at("thermal_force", knudsen)

    def drag(self, knudsen: ArrayLike) -> Floats:
        """Return the drag F/(p0 A) per unit U/v0, against the motion."""
        return self._at("drag", knudsen)

    def heat(self, knudsen: ArrayLike) -> Floats:
        """Return the heat that leaves the hot face /(p0 v0 A) per unit dT/T0 between the faces, at +1/2 and -1/2."""
        return self._at("heat_hot", knudsen)

    def heat_loss(self, knudsen: ArrayLike) -> Floats:
        """Return the heat that leaves both faces together /(p0 v0 A), both warmer than the room by dT/T0 = 1."""
        return 2.0 * self._at("loss_hot", knudsen)

    def area_share(self, knudsen: ArrayLike) -> Floats:
        """Return the share of the thermal force that would result if the stress in the middle acted on the whole faces.

        The rest is the edge's share. Between nodes a monotone cubic in ln Kn; below the first node its slope there
        falls off as Kn.
        """
        kn = _checked(knudsen)
        first, last = self.knudsen[0], self.knudsen[-1]
        inside = self._share(np.log(np.clip(kn, first, last)))
        below = self._share_slope * (np.minimum(kn, first) / first - 1.0)
        limit = self.free_flight["area_share"]
        return np.asarray(limit + (inside + below - limit) * (last / np.maximum(kn, last)))

    @property
    def _share_slope(self) -> float:
        return float(self._share(np.log(self.knudsen[0]), 1))

    def error(self, name: str, knudsen: ArrayLike) -> Floats:
        """Return the estimated absolute error of a coefficient by its name in `values`, linear between nodes.

        Below the first node it grows by a quarter of the difference between the law of slip flow and the power law of
        the curve at the node: more than the error of the strip's table when cut short. That of the area share grows as
        if its slope in ln Kn continued.
        """
        kn = _checked(knudsen)
        first = self.knudsen[0]
        ratio = np.minimum(kn, first) / first
        if name == "area_share":
            at_nodes = np.interp(np.log(kn), np.log(self.knudsen), self.errors[name])
            return np.asarray(at_nodes + abs(self._share_slope) * np.abs(np.log(ratio)))
        known = np.interp(np.log(kn), np.log(self.knudsen), self.errors[name] / self.values[name])
        law, power = self._below(name, ratio)
        return np.asarray(known * self._at(name, kn) + 0.25 * np.abs(law - power))


def _named(shape: str, aspect: float) -> str:
    return shape if aspect == 1.0 else f"{shape} of aspect {aspect:g}"


def _checked(knudsen: ArrayLike) -> Floats:
    kn = np.asarray(knudsen, dtype=float)
    if not np.all(kn > 0.0):
        raise OutOfRangeError("a Knudsen number must be above 0", key="knudsen", fix="give positive numbers")
    return kn


@cache
def standard_data() -> pd.DataFrame:
    """Return all shipped tables; the first line of the file states how it was made."""
    text = resources.files("edgewind.kinetics") / "tables.csv"
    with text.open() as file:
        return pd.read_csv(file, comment="#")


@lru_cache(maxsize=256)  # a search needs the same few tables thousands of times
def _standard(shape: str, room: float, accommodation: float, aspect: float) -> ResponseTable:
    data = standard_data()
    rows = data[(data["shape"] == shape) & np.isclose(data["room"], room) & np.isclose(data["aspect"], aspect)]
    if rows.empty:
        known = sorted(data[["shape", "aspect", "room"]].drop_duplicates().itertuples(index=False, name=None))
        raise InputError(
            f"no table is shipped for a {_named(shape, aspect)} in a room of {room:g}",
            key="room",
            fix="choose one of "
            + ", ".join(f"{_named(s, a)} in {r:g}" for s, a, r in known)
            + ", or compute a curve with respond_curve and ResponseTable.from_responses",
        )
    nodes = np.sort(rows["accommodation"].unique())
    if not nodes[0] - 1e-12 <= accommodation <= nodes[-1] + 1e-12:
        raise OutOfRangeError(
            f"an accommodation of {accommodation:g} is outside the table",
            key="accommodation",
            fix=f"choose one between {nodes[0]:g} and {nodes[-1]:g}, or compute a curve with respond_curve",
        )
    exact = np.isclose(nodes, accommodation)
    if exact.any():
        nodes = nodes[exact]
    weights = _lagrange(nodes, accommodation)
    parts = [rows[rows["accommodation"] == node].set_index("knudsen").sort_index() for node in nodes]
    # Curves of low accommodation may begin at a larger Knudsen number; nodes that all have are kept.
    kn = np.array([k for k in parts[0].index if all(k in part.index for part in parts)])
    parts = [part.loc[kn] for part in parts]
    finite = np.isfinite(kn)
    values = {n: sum(w * p[n].to_numpy(float) for w, p in zip(weights, parts, strict=True)) for n in COLUMNS}
    errors = {
        n: sum(abs(w) * p[f"{n}_error"].to_numpy(float) for w, p in zip(weights, parts, strict=True)) for n in COLUMNS
    }
    return ResponseTable(
        kn[finite],
        {n: np.asarray(v)[finite] for n, v in values.items()},
        {n: np.asarray(e)[finite] for n, e in errors.items()},
        {n: float(np.asarray(v)[~finite][0]) for n, v in values.items()},
        shape,
        room,
        accommodation,
        aspect,
    )


def _lagrange(nodes: Floats, x: float) -> Floats:
    """Return the weights of the polynomial through all nodes, at x."""
    return np.array([np.prod([(x - b) / (a - b) for b in nodes if b != a]) for a in nodes])
