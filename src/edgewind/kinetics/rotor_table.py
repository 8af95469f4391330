"""Rotors of two and four vanes at any arm, chamber, height and Knudsen number, by a smooth surface through solved ones.

The interpolated quantity is the logarithm of each coefficient over that of the lone square vane at the same Knudsen
number and accommodation. It varies little and smoothly, so that a few hundred rotors in five dimensions suffice: the
surface is the mean of a Gaussian process (Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006,
algorithm 2.1) about a linear trend, and its standard deviation is part of the error.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from importlib import resources
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import cho_factor, cho_solve, solve_triangular
from scipy.optimize import minimize

from edgewind.errors import InputError, OutOfRangeError
from edgewind.kinetics.table import ResponseTable

Floats = NDArray[np.float64]

NAMES = ("torque", "drag", "heat_apart", "loss")
LONE = {"torque": "thermal_force", "drag": "drag", "heat_apart": "heat_hot", "loss": "loss_hot"}
KEY = ("vanes", "arm", "chamber", "aspect", "knudsen", "accommodation")
VANES = (2, 4)
# Ranges: arm over width; chamber over rotor diameter; height over width; accommodation; least Knudsen number.
ARMS, CHAMBERS, ASPECTS, DIFFUSE, SMALLEST = (1.0, 3.0), (1.2, 4.0), (0.5, 2.0), (0.6, 1.0), 0.01
# Below this Knudsen number few rotors hold the surface: what is added there to the error that it states, of the
# logarithm of a ratio and per unit of ln Kn. Chosen by 24 rotors that it does not know: 96 % of their numbers are then
# within the error of surface and direct solution together, and all within 1.8 times that.
DENSE, DENSE_ERROR = 0.03, 0.005
# The same below the least Knudsen number, and the share of the change there that is taken for uncertain, our judgement:
# carried on in this way from surfaces that ended at 0.03, 94 % of the numbers of 66 rotors were within the error.
BELOW_ERROR, BELOW_SHARE = 0.015, 0.5
# Where in Kn the surface's coordinate bends over to free flight, which the gas approaches as 1/Kn.
BEND = 5.0


def place_of(knudsen: ArrayLike) -> Floats:
    """Return the coordinate of the surface: ln Kn in dense gas, with a limit in free flight approached as 1/Kn."""
    kn = np.asarray(knudsen, dtype=float)
    return np.asarray(-np.log(1.0 / kn + 1.0 / BEND))


def knudsen_of(place: ArrayLike) -> Floats:
    """Knudsen number at a coordinate of the surface."""
    with np.errstate(divide="ignore"):
        return np.asarray(1.0 / np.maximum(np.exp(-np.asarray(place, dtype=float)) - 1.0 / BEND, 0.0))


def coordinates(
    arm: ArrayLike, chamber: ArrayLike, aspect: ArrayLike, knudsen: ArrayLike, diffuse: ArrayLike
) -> Floats:
    """Points of the surface, shape (n, 5), each coordinate over about -1 to 1."""
    columns = np.broadcast_arrays(
        (1.0 / np.asarray(arm, dtype=float) - 2.0 / 3.0) * 3.0,
        (1.0 / np.asarray(chamber, dtype=float) - 0.5417) / 0.2917,
        np.log2(np.asarray(aspect, dtype=float)),
        (place_of(knudsen) + 0.95) / 2.55,
        (np.asarray(diffuse, dtype=float) - 0.8) / 0.2,
    )
    return np.stack([column.ravel() for column in columns], axis=-1)


# Accommodations of the lone vane's table that the reference is a parabola through; at these it is the table itself.
THROUGH = (0.6, 0.8, 1.0)


def lone_square(knudsen: Floats, accommodation: Floats) -> dict[str, Floats]:
    """Return the coefficients of the lone square by the shipped table, the reference of rotors, point by point."""
    kn, alpha = np.where(np.isinf(knudsen), 1e30, knudsen), np.asarray(accommodation, dtype=float)
    tables = [ResponseTable.standard("square", accommodation=node) for node in THROUGH]
    weights = [
        np.prod([(alpha - other) / (node - other) for other in THROUGH if other != node], axis=0) for node in THROUGH
    ]
    return {
        name: np.asarray(sum(w * table.coefficient(of, kn) for w, table in zip(weights, tables, strict=True)))
        for name, of in LONE.items()
    }


# Ratio of two Knudsen numbers that the slope at the least one is taken from.
_STEP = 1.02
# Width of the prior of the quadratic trend over the spread of the values: practically free.
WIDE = 3.0


def _raised(points: Floats) -> Floats:
    """Return points (m, d) with a one before their coordinates, shape (m, d + 1)."""
    return np.concatenate([np.ones((len(points), 1)), points], axis=1)


@dataclass(frozen=True)
class Surface:
    """A smooth surface through values with errors at points: a quadratic trend and a Gaussian process about it.

    Parameters
    ----------
    points : array (n, d)
        Places of the values.
    values : array (n,)
        The values.
    noise : array (n,)
        Standard deviation of each.
    lengths : array (d,)
        Length of change of the surface along each coordinate.
    scale : float
        Standard deviation of the process.
    """

    points: Floats
    values: Floats
    noise: Floats
    lengths: Floats
    scale: float

    # Products instead of differences of every pair, computed once for the points, since the page of what if waits for
    # it.
    @cached_property
    def _near(self) -> tuple[Floats, Floats]:
        """The points over the lengths, and minus half the square of their distance from the middle."""
        near = self.points / self.lengths
        return near, -0.5 * (near**2).sum(axis=1)

    def _process(self, points: Floats) -> Floats:
        """Covariance of the process between points (m, d) and those of the surface, shape (m, n)."""
        near, apart = self._near
        own = points / self.lengths
        exponent = own @ near.T
        exponent += apart
        exponent -= 0.5 * (own**2).sum(axis=1)[:, None]
        np.exp(np.minimum(exponent, 0.0, out=exponent), out=exponent)
        exponent *= self.scale**2
        return exponent

    def _kernel(self, points: Floats) -> Floats:
        """Covariance of process and trend between points (m, d) and those of the surface, shape (m, n)."""
        inner = points @ self.points.T
        inner += 1.0
        inner *= WIDE * inner
        inner *= WIDE
        inner += self._process(points)
        return inner

    @cached_property
    def _solved(self) -> tuple[Any, Floats]:
        matrix = self._kernel(self.points) + np.diag(self.noise**2 + 1e-12)
        factor = cho_factor(matrix, lower=True)
        return factor, np.asarray(cho_solve(factor, self.values))

    @cached_property
    def _inverse(self) -> Floats:
        """Inverse of the factor: each error then costs a product."""
        (factor, _), _ = self._solved
        return np.asarray(solve_triangular(factor, np.eye(len(factor)), lower=True))

    @cached_property
    def _trend(self) -> Floats:
        """The trend of the surface as a quadratic form of (1, point), shape (d + 1, d + 1)."""
        raised = _raised(self.points)
        return np.asarray(WIDE**2 * (raised.T * self._solved[1]) @ raised)

    def mean(self, points: Floats) -> Floats:
        """Return the surface at points (m, d)."""
        raised = _raised(points)
        return np.asarray(self._process(points) @ self._solved[1] + ((raised @ self._trend) * raised).sum(axis=1))

    def deviation(self, points: Floats) -> Floats:
        """Return the standard deviation of the surface at points (m, d)."""
        told = self._inverse @ self._kernel(points).T
        own = self.scale**2 + WIDE**2 * (1.0 + (points**2).sum(axis=1)) ** 2
        return np.asarray(np.sqrt(np.maximum(own - np.einsum("ij,ij->j", told, told), 0.0)))

    @property
    def log_evidence(self) -> float:
        """Logarithm of the probability density of the values, but for a constant."""
        factor, weights = self._solved
        return float(-0.5 * self.values @ weights - np.log(np.diag(factor[0])).sum())

    @cached_property
    def _pull(self) -> Floats:
        """Return the derivative of the log evidence by each entry of the covariance, shape (n, n)."""
        weights = self._solved[1]
        return np.asarray(0.5 * (np.outer(weights, weights) - self._inverse.T @ self._inverse))

    @property
    def slopes(self) -> Floats:
        """Return its derivatives by the logarithms of the lengths and of the scale, shape (d + 1,).

        Rasmussen and Williams, equation 5.9.
        """
        pulled = self._pull * self._process(self.points)
        apart = (self.points[:, None, :] - self.points[None, :, :]) / self.lengths
        return np.append(np.einsum("ij,ijd->d", pulled, apart**2), 2.0 * pulled.sum())

    @property
    def by_noise(self) -> float:
        """Return its derivative by half the variance of a noise common to all values, times that variance."""
        return float(2.0 * np.trace(self._pull))

    @classmethod
    def fitted(cls, points: Floats, values: Floats, noise: Floats) -> Surface:
        """Return the surface with the lengths, the scale and a common noise of the greatest evidence."""
        dimensions = points.shape[1]

        def surface(logs: Floats) -> Surface:
            lengths, scale, more = np.exp(logs[:dimensions]), float(np.exp(logs[-2])), float(np.exp(logs[-1]))
            return cls(points, values, np.hypot(noise, more), lengths, scale)

        begin = np.concatenate([np.zeros(dimensions) + 0.7, [np.log(0.05), np.log(1e-3)]])
        bounds = [(-1.0, 2.5)] * dimensions + [(np.log(1e-3), 0.7), (np.log(1e-4), np.log(0.05))]

        def lost(logs: Floats) -> tuple[float, Floats]:
            tried = surface(logs)
            return -tried.log_evidence, -np.append(tried.slopes, tried.by_noise * np.exp(2.0 * logs[-1]))

        found = minimize(lost, begin, jac=True, method="L-BFGS-B", bounds=bounds)
        return surface(found.x)


@dataclass(frozen=True)
class RotorRatios:
    """Coefficients of rotors of two or four vanes over those of the lone square vane.

    Parameters
    ----------
    vanes : int
        2 or 4.
    surfaces : mapping of str to Surface
        Of the logarithms of ``torque``, ``drag``, ``heat_apart`` and ``loss``, each over the lone vane's.

    Examples
    --------
    >>> ratios = RotorRatios.standard(4)
    >>> found = ratios.at(arm=1.5, chamber=2.0, aspect=1.0, knudsen=0.1, accommodation=1.0)
    >>> round(float(found["torque"]), 2)
    0.67
    """

    vanes: int
    surfaces: dict[str, Surface]

    @classmethod
    def standard(cls, vanes: int) -> RotorRatios:
        """Return the shipped ratios of rotors of two or four square or rectangular vanes in a round chamber.

        The chamber is as high as it is wide; its height has little effect compared with its diameter.
        """
        if vanes not in VANES:
            raise InputError(
                f"no table is shipped for a rotor of {vanes} vanes",
                key="vanes",
                fix="choose 2 or 4 vanes or the lone vane, or compute the rotor with respond_rotor",
            )
        return _standard(vanes)

    def _where(
        self, arm: ArrayLike, chamber: ArrayLike, aspect: ArrayLike, knudsen: ArrayLike, accommodation: ArrayLike
    ) -> tuple[Floats, tuple[int, ...], Floats]:
        """Return points of the surface (m, 5), the shape of the answer, and the Knudsen numbers (m,)."""
        for name, value, (low, high) in (
            ("arm", arm, ARMS), ("chamber", chamber, CHAMBERS), ("aspect", aspect, ASPECTS),
            ("accommodation", accommodation, DIFFUSE),
        ):  # fmt: skip
            given = np.asarray(value, dtype=float)
            if not np.all((given >= low * (1.0 - 1e-9)) & (given <= high * (1.0 + 1e-9))):
                raise OutOfRangeError(
                    f"a rotor of {name} {float(np.ravel(given)[0]):.3g} is outside the tables ({low:g} to {high:g})",
                    key=name,
                    fix="choose one in that range, or compute the rotor with respond_rotor",
                )
        kn = np.asarray(knudsen, dtype=float)
        if not np.all(kn > 0.0):
            raise OutOfRangeError("a Knudsen number must be above 0", key="knudsen", fix="give positive numbers")
        parts = np.broadcast_arrays(arm, chamber, aspect, np.maximum(kn, SMALLEST), accommodation)
        return coordinates(*parts), parts[0].shape, np.broadcast_to(kn, parts[0].shape).ravel()

    def _denser(self, surface: Surface, points: Floats, knudsen: Floats) -> Floats:
        """Return what :func:`_change_below` does; it is 0 from the least Knudsen number on."""
        changed, under = np.zeros(len(points)), knudsen < SMALLEST
        if np.any(under):
            changed[under] = self._change_below(surface, points[under], np.log(SMALLEST / knudsen[under]))
        return changed

    def _change_below(self, surface: Surface, points: Floats, below: Floats) -> Floats:
        """Return the change of the logarithm of a ratio below the least Knudsen number, by that number's logarithm.

        Towards the continuum rotor and lone vane obey the same equations with slip of the first order, so that their
        ratio approaches a constant with a difference that falls as Kn, from the slope of the surface there.
        """
        up = points.copy()
        up[:, 3] += (place_of(_STEP * SMALLEST) - place_of(SMALLEST)) / 2.55
        slope = (surface.mean(up) - surface.mean(points)) / np.log(_STEP)
        return np.asarray(slope * np.expm1(-below))

    def at(
        self,
        arm: ArrayLike,
        chamber: ArrayLike,
        aspect: ArrayLike,
        knudsen: ArrayLike,
        accommodation: ArrayLike,
        names: Sequence[str] = NAMES,
    ) -> dict[str, Floats]:
        """Return the ratios by name; the arguments broadcast.

        Parameters
        ----------
        arm : array
            From the axis to the middle of a vane, over its width.
        chamber : array
            Diameter of the chamber over that of the rotor.
        aspect : array
            Height over width of a vane.
        knudsen : array
            Mean free path over the width of a vane; infinity is free flight. Below the least of the tables the ratios
            approach constants.
        accommodation : array
            Diffuse share of the faces.
        names : sequence of str
            Which to return.
        """
        points, shape, kn = self._where(arm, chamber, aspect, knudsen, accommodation)
        found = {}
        for name in names:
            logs = self.surfaces[name].mean(points) + self._denser(self.surfaces[name], points, kn)
            found[name] = np.exp(logs).reshape(shape)
        return found

    def error(
        self,
        arm: ArrayLike,
        chamber: ArrayLike,
        aspect: ArrayLike,
        knudsen: ArrayLike,
        accommodation: ArrayLike,
        names: Sequence[str] = NAMES,
    ) -> dict[str, Floats]:
        """Return standard errors of the ratios, relative, by name.

        Below Kn 0.03 it grows by what rotors solved there are off by; below the least Knudsen number of the tables,
        half of what the ratio changes by on the way is added, too.
        """
        points, shape, kn = self._where(arm, chamber, aspect, knudsen, accommodation)
        dense = DENSE_ERROR * np.log(DENSE / np.clip(kn, SMALLEST, DENSE))
        dense += BELOW_ERROR * np.log(SMALLEST / np.minimum(kn, SMALLEST))
        found = {}
        for name in names:
            surface = self.surfaces[name]
            error = np.hypot(surface.deviation(points), float(np.median(surface.noise))) + dense
            found[name] = (error + BELOW_SHARE * np.abs(self._denser(surface, points, kn))).reshape(shape)
        return found


def read_answers(text: Any) -> pd.DataFrame:
    """Read the lines that `tools/make_rotor_tables.py` wrote."""
    return pd.read_csv(text, comment="#")


def surfaces_of(data: pd.DataFrame, hyper: dict[str, dict[str, Any]] | None = None) -> dict[str, Surface]:
    """Return the surfaces through solved rotors, with given or fitted lengths and scales."""
    place = [data[name].to_numpy(float) for name in KEY[1:]]
    points, lone = coordinates(*place), lone_square(place[3], place[4])
    found = {}
    for name in NAMES:
        values = data[name].to_numpy(float)
        noise = data[f"{name}_error"].to_numpy(float) / values
        logs = np.log(values / lone[name])
        if hyper is None:
            found[name] = Surface.fitted(points, logs, noise)
        else:
            kept = hyper[name]
            noises = np.hypot(noise, kept["noise"])
            found[name] = Surface(points, logs, noises, np.array(kept["lengths"]), kept["scale"])
    return found


@cache
def _standard(vanes: int) -> RotorRatios:
    folder = resources.files("edgewind.kinetics")
    with (folder / "rotor_tables.csv").open() as file:
        data = read_answers(file)
    hyper = json.loads((folder / "rotor_surfaces.json").read_text(encoding="utf-8"))[str(vanes)]
    return RotorRatios(vanes, surfaces_of(data[data["vanes"] == vanes], hyper))
