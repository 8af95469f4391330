"""Response tables: the coefficients of a vane at any Knudsen number, at once."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from importlib import resources

import numpy as np
import pandas as pd
import xarray as xr
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline

from edgewind.errors import InputError, OutOfRangeError
from edgewind.kinetics.result import Response

Floats = NDArray[np.float64]

NAMES = ("thermal_force", "heat_hot", "drag", "loss_hot")
KEYS = ["shape", "room", "accommodation"]


@dataclass(frozen=True)
class ResponseTable:
    """Coefficients of one vane in one room, interpolated smoothly over all Knudsen numbers.

    Between the nodes the logarithm of a coefficient is a cubic spline in that of the Knudsen number. Above
    the last
    node the coefficient runs into its free-flight value, which belongs to the table, with the difference
    falling as
    1/Kn, as the first collision corrects it; below the first it follows the power law that it has there, to
    zero.

    Parameters
    ----------
    knudsen : array
        Nodes, ascending and finite.
    values, errors : mapping of str to array
        ``thermal_force``, ``heat_hot``, ``drag`` and ``loss_hot`` at the nodes, with absolute errors.
    free_flight : mapping of str to float
        The same at infinite Knudsen number.
    shape : str
        Shape of the vane.
    room : float
        Room over the width of the vane.
    accommodation : float
        Diffuse share of all walls.

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

    @classmethod
    def standard(cls, shape: str, *, room: float = 4.0, accommodation: float = 1.0) -> ResponseTable:
        """Return the table shipped for a standard shape and room; accommodation between 0.6 and 1.

        Between the accommodations computed, a polynomial through all of them is taken.
        """
        data = standard_data()
        rows = data[(data["shape"] == shape) & np.isclose(data["room"], room)]
        if rows.empty:
            known = sorted({(s, float(r)) for s, r in zip(data["shape"], data["room"], strict=True)})
            raise InputError(
                f"no table is shipped for a {shape} in a room of {room:g}",
                key="room",
                fix="take one of "
                + ", ".join(f"{s} in {r:g}" for s, r in known)
                + ", or compute a curve with respond_curve and ResponseTable.from_responses",
            )
        nodes = np.sort(rows["accommodation"].unique())
        if not nodes[0] - 1e-12 <= accommodation <= nodes[-1] + 1e-12:
            raise OutOfRangeError(
                f"an accommodation of {accommodation:g} is outside the table",
                key="accommodation",
                fix=f"stay between {nodes[0]:g} and {nodes[-1]:g}, or compute a curve with respond_curve",
            )
        weights = _lagrange(nodes, accommodation)
        parts = [rows[rows["accommodation"] == node].sort_values("knudsen") for node in nodes]
        kn = parts[0]["knudsen"].to_numpy(float)
        finite = np.isfinite(kn)
        values = {n: sum(w * p[n].to_numpy(float) for w, p in zip(weights, parts, strict=True)) for n in NAMES}
        errors = {
            n: sum(abs(w) * p[f"{n}_error"].to_numpy(float) for w, p in zip(weights, parts, strict=True)) for n in NAMES
        }
        return cls(
            kn[finite],
            {n: np.asarray(v)[finite] for n, v in values.items()},
            {n: np.asarray(e)[finite] for n, e in errors.items()},
            {n: float(np.asarray(v)[~finite][0]) for n, v in values.items()},
            shape,
            room,
            accommodation,
        )

    @classmethod
    def from_responses(cls, responses: Iterable[Response]) -> ResponseTable:
        """Return the table of a computed curve, one answer of which is for free flight (infinite Knudsen
        number).
        """
        ordered = sorted(responses, key=lambda response: response.knudsen)
        if len(ordered) < 5 or not math.isinf(ordered[-1].knudsen):
            raise InputError(
                "these answers make no table",
                fix="give four or more Knudsen numbers, and infinity among them for the limit of free flight",
            )
        first, nodes = ordered[0], ordered[:-1]
        return cls(
            np.array([r.knudsen for r in nodes]),
            {name: np.array([r.values[name] for r in nodes]) for name in NAMES},
            {name: np.array([r.errors[name] for r in nodes]) for name in NAMES},
            {name: ordered[-1].values[name] for name in NAMES},
            first.shape,
            first.room[0],
            first.accommodation[0],
        )

    @cached_property
    def _splines(self) -> dict[str, CubicSpline]:
        x = np.log(self.knudsen)
        return {name: CubicSpline(x, np.log(value), bc_type="natural") for name, value in self.values.items()}

    def _at(self, name: str, knudsen: ArrayLike) -> Floats:
        kn = np.asarray(knudsen, dtype=float)
        if not np.all(kn > 0.0):
            raise OutOfRangeError("a Knudsen number must be above 0", key="knudsen", fix="give positive numbers")
        first, last = self.knudsen[0], self.knudsen[-1]
        spline = self._splines[name]
        inside = np.exp(spline(np.log(np.clip(kn, first, last))))
        low = inside * (np.minimum(kn, first) / first) ** float(spline(np.log(first), 1))
        limit = self.free_flight[name]
        high = limit + (inside - limit) * (last / np.maximum(kn, last))
        return np.asarray(np.where(kn < first, low, np.where(kn > last, high, inside)))

    def thermal_force(self, knudsen: ArrayLike) -> Floats:
        """F/(p0 A) per unit dT/T0 between the faces, from hot to cold."""
        return self._at("thermal_force", knudsen)

    def drag(self, knudsen: ArrayLike) -> Floats:
        """F/(p0 A) per unit U/v0, against the motion."""
        return self._at("drag", knudsen)

    def heat(self, knudsen: ArrayLike) -> Floats:
        """Heat that leaves the hot face /(p0 v0 A) per unit dT/T0 between the faces, at +1/2 and -1/2."""
        return self._at("heat_hot", knudsen)

    def heat_loss(self, knudsen: ArrayLike) -> Floats:
        """Heat that leaves both faces together /(p0 v0 A), both warmer than the room by dT/T0 = 1."""
        return 2.0 * self._at("loss_hot", knudsen)

    def error(self, name: str, knudsen: ArrayLike) -> Floats:
        """Estimated absolute error of a coefficient by its name in `values`, linear between nodes.

        Below the first node the power law goes on, but its exponent may still change: by 0.3, it is assumed.
        """
        relative = self.errors[name] / self.values[name]
        kn = np.asarray(knudsen, dtype=float)
        first = self.knudsen[0]
        beyond = (first / np.minimum(kn, first)) ** 0.3 - 1.0
        known = np.interp(np.log(kn), np.log(self.knudsen), relative)
        return np.asarray((known + beyond) * self._at(name, kn))

    def to_dataset(self) -> xr.Dataset:
        """Return the nodes with their errors, and the limits as attributes."""
        data = {name: ("knudsen", value, {"units": "1"}) for name, value in self.values.items()}
        data |= {f"{name}_error": ("knudsen", value, {"units": "1"}) for name, value in self.errors.items()}
        attributes = {f"{name}_free_flight": value for name, value in self.free_flight.items()}
        about = {"shape": self.shape, "room": self.room, "accommodation": self.accommodation}
        return xr.Dataset(data, coords={"knudsen": self.knudsen}, attrs={**about, **attributes})

    @classmethod
    def from_dataset(cls, data: xr.Dataset) -> ResponseTable:
        """Return the table that `to_dataset` wrote."""
        return cls(
            data["knudsen"].to_numpy(),
            {name: data[name].to_numpy() for name in NAMES},
            {name: data[f"{name}_error"].to_numpy() for name in NAMES},
            {name: float(data.attrs[f"{name}_free_flight"]) for name in NAMES},
            str(data.attrs["shape"]),
            float(data.attrs["room"]),
            float(data.attrs["accommodation"]),
        )


@cache
def standard_data() -> pd.DataFrame:
    """All shipped tables; the file says in its first line how it was made."""
    text = resources.files("edgewind.kinetics") / "tables.csv"
    with text.open() as file:
        return pd.read_csv(file, comment="#")


def _lagrange(nodes: Floats, x: float) -> Floats:
    """Weights of the polynomial through all nodes, at x."""
    return np.array([np.prod([(x - b) / (a - b) for b in nodes if b != a]) for a in nodes])
