"""The response curve: speed against pressure, a Gaussian process in ln(pressure) with both uncertainties.

The speed is a smooth function of x = ln(p). Each reading has an uncertainty of its own in speed and in x;
the second is carried over through the local slope of the curve (McHutchon and Rasmussen 2011). Length scale,
amplitude and the scatter beyond the stated uncertainties are not fixed at their best values but averaged
over, with weak priors, so that the spread of the posterior curves says what a few dozen readings can say.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
import xarray as xr
from numpy.typing import ArrayLike, NDArray
from scipy.special import logsumexp, ndtri
from scipy.stats import qmc

from edgewind.errors import InputError

Array = NDArray[np.float64]
Kernel = Literal["squared exponential", "matern 5/2"]

KERNELS: tuple[Kernel, ...] = ("squared exponential", "matern 5/2")

# Weak priors, each log-normal: (median, standard deviation of the logarithm). The length is in units of
# ln(pressure): the regimes of a rarefied gas follow one another over a factor of a few to a decade of pressure.
# Amplitude and excess scatter are fractions of the half range of the measured speeds.
LENGTH_PRIOR = (1.5, 0.7)
AMPLITUDE_PRIOR = (1.0, 0.7)
EXCESS_PRIOR = (0.01, 1.5)
MEAN_PRIOR_SD = 3.0

_PRIOR_CENTRE = np.log([LENGTH_PRIOR[0], AMPLITUDE_PRIOR[0], EXCESS_PRIOR[0]])
_PRIOR_WIDTH = np.array([LENGTH_PRIOR[1], AMPLITUDE_PRIOR[1], EXCESS_PRIOR[1]])

_EXPLORING_POINTS = 256
_KEPT_POINTS = 64
_SLOPE_ROUNDS = 3
_JITTER = 1e-10


@dataclass(frozen=True, eq=False)
class SweepData:
    """Readings of speed against pressure, with what is known of their uncertainties and their order.

    Parameters
    ----------
    pressure_pa : array_like, shape (n,)
        Pressures, Pa.
    log_pressure_u : array_like, shape (n,)
        Standard uncertainty of ln(pressure) that each reading has for itself.
    speed_rad_s : array_like, shape (n,)
        Angular speeds, rad/s; zero for a rotor at rest, negative for the other sense.
    speed_u_rad_s : array_like, shape (n,)
        Standard uncertainties of the speeds, rad/s; above zero.
    sweep : sequence of str, optional
        Label of the sweep that each reading belongs to.
    direction : array_like of int, optional
        +1 where the pressure was rising, -1 where it was falling, 0 where unknown. Derived from the order of
        the readings within each sweep where left out.
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
        chosen = np.arange(self.size)[np.asarray(index)]
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
    """Tell from the order of the readings whether the pressure was rising or falling at each.

    A sweep of one sense, nine steps in ten or more, has that sense throughout; elsewhere each reading has the
    sense of the step that led to it, and the first reading that of the step that follows.

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
        steps = np.sign(np.diff(pressure[members])).astype(np.int64)
        moving = steps[steps != 0]
        if moving.size and abs(moving.mean()) >= 0.8:
            direction[members] = np.sign(moving.sum())
        elif moving.size:
            direction[members[1:]] = steps
            direction[members[0]] = steps[0]
    return direction


@dataclass(frozen=True, eq=False)
class ResponseCurve:
    """Posterior of the curve of speed against pressure over the measured range.

    Attributes
    ----------
    pressure_pa : ndarray, shape (m,)
        Grid of pressures, Pa, even in the logarithm, from the lowest to the highest reading.
    mean, sd : ndarray, shape (m,)
        Mean and standard deviation of the curve (not of a new reading), rad/s.
    draws : ndarray, shape (k, m)
        Whole curves drawn from the posterior, rad/s, hyperparameters drawn with them.
    excess_rad_s : float
        Scatter needed beyond the stated uncertainties, rad/s (posterior median).
    excess_interval_rad_s : tuple of float
        Its central 90 % interval, rad/s.
    length_scale : float
        Length over which the curve bends, in units of ln(pressure) (posterior median).
    length_scale_interval : tuple of float
        Its central 90 % interval.
    log_marginal_likelihood : float
        Log of the density of the speeds, in s/rad per reading, given the curve's family.
    log_bayes_factor : float
        Log of the ratio of that density to that of a constant speed with scatter of its own; above 0 the
        readings favour a curve.
    data : SweepData
        The readings, sorted by pressure.
    effects : ndarray, shape (q,)
        Mean of the coefficients of the columns given as `nuisance`.
    effects_covariance : ndarray, shape (q, q)
        Their covariance.
    """

    pressure_pa: Array
    mean: Array
    sd: Array
    draws: Array
    excess_rad_s: float
    excess_interval_rad_s: tuple[float, float]
    length_scale: float
    length_scale_interval: tuple[float, float]
    log_marginal_likelihood: float
    log_bayes_factor: float
    data: SweepData
    effects: Array
    effects_covariance: Array

    @property
    def log_pressure(self) -> Array:
        """ln(pressure / Pa) on the grid."""
        return np.log(self.pressure_pa)

    def at(self, pressure_pa: ArrayLike) -> Array:
        """Mean speed, rad/s, at pressures inside the grid, Pa."""
        return np.interp(np.log(pressure_pa), self.log_pressure, self.mean)

    def slope_at(self, pressure_pa: ArrayLike) -> Array:
        """Slope of the mean, d(speed)/d(ln p) in rad/s, at pressures inside the grid, Pa."""
        slope = np.gradient(self.mean, self.log_pressure)
        return np.interp(np.log(pressure_pa), self.log_pressure, slope)

    def to_xarray(self) -> xr.Dataset:
        """Return mean, standard deviation and draws as a dataset whose variables carry their units."""
        rad_s = {"units": "rad/s"}
        return xr.Dataset(
            {
                "speed": ("pressure", self.mean, rad_s | {"long_name": "posterior mean of the curve"}),
                "speed_u": ("pressure", self.sd, rad_s | {"long_name": "standard deviation of the curve"}),
                "draws": (("draw", "pressure"), self.draws, rad_s | {"long_name": "curves of the posterior"}),
            },
            coords={"pressure": ("pressure", self.pressure_pa, {"units": "Pa", "long_name": "pressure"})},
            attrs={
                "excess_scatter_rad_s": self.excess_rad_s,
                "length_scale_log_pressure": self.length_scale,
                "log_marginal_likelihood": self.log_marginal_likelihood,
                "log_bayes_factor_against_constant": self.log_bayes_factor,
            },
        )


def covariance(distance: Array, length: Array, kernel: Kernel) -> Array:
    """Correlation of the curve at two places a distance apart, one matrix for each length.

    The squared exponential is Rasmussen and Williams (2006), eq. 4.9; the Matérn form of order 5/2 eq. 4.17.

    Parameters
    ----------
    distance : ndarray, shape (a, b)
        Distances in ln(pressure).
    length : ndarray, shape (h,)
        Length scales in ln(pressure).
    kernel : str
        Which of the two.

    Returns
    -------
    ndarray, shape (h, a, b)

    Examples
    --------
    >>> covariance(np.array([[1.0]]), np.array([1.0]), "squared exponential").round(4).item()
    0.6065
    """
    ratio = distance[None] / length[:, None, None]
    if kernel == "squared exponential":
        return np.exp(-0.5 * ratio**2)
    ratio *= np.sqrt(5.0)
    return (1.0 + ratio + ratio**2 / 3.0) * np.exp(-ratio)


def condition(
    cross: Array, prior: Array, covariance_of_readings: Array, readings: Array
) -> tuple[Array, Array, float]:
    """Condition a Gaussian process of zero mean on readings: Rasmussen and Williams (2006), algorithm 2.1.

    Parameters
    ----------
    cross : ndarray, shape (n, m)
        Covariance of readings with the places asked for.
    prior : ndarray, shape (m, m)
        Covariance of the places asked for.
    covariance_of_readings : ndarray, shape (n, n)
        Covariance of the readings, their noise on the diagonal.
    readings : ndarray, shape (n,)

    Returns
    -------
    mean : ndarray, shape (m,)
    covariance : ndarray, shape (m, m)
    log_marginal_likelihood : float
    """
    root = np.linalg.cholesky(covariance_of_readings)
    whitened = np.linalg.solve(root, readings)
    reduction = np.linalg.solve(root, cross)
    return (
        reduction.T @ whitened,
        prior - reduction.T @ reduction,
        float(_log_density(root[None], whitened[None])[0]),
    )


def _log_density(root: Array, whitened: Array) -> Array:
    """Log density of normal readings from Cholesky roots (h, n, n) and whitened readings (h, n)."""
    log_determinant = np.log(np.diagonal(root, axis1=-2, axis2=-1)).sum(-1)
    result: Array = -0.5 * (whitened**2).sum(-1) - log_determinant - 0.5 * root.shape[-1] * np.log(2 * np.pi)
    return result


@dataclass(frozen=True, eq=False)
class _Problem:
    """The readings in standard form: speeds centred and in units of their half range."""

    place: Array
    speed: Array
    variance: Array
    place_variance: Array
    nuisance: Array
    nuisance_sd: Array

    @property
    def shared(self) -> Array:
        """Covariance of the unknown mean level and of the nuisance effects, shape (n, n)."""
        scaled = self.nuisance * self.nuisance_sd
        return MEAN_PRIOR_SD**2 + scaled @ scaled.T

    def with_slope(self, slope_squared: Array) -> Array:
        """Variance of each reading with that of its pressure carried over: McHutchon and Rasmussen (2011), eq. 4."""
        return self.variance + slope_squared * self.place_variance

    def readings_covariance(self, theta: Array, kernel: Kernel, variance: Array) -> Array:
        """Covariance of the readings, noise included, shape (h, n, n), for hyperparameters (h, 3)."""
        length, amplitude, excess = np.exp(theta).T
        distance = np.abs(self.place[:, None] - self.place)
        matrix = amplitude[:, None, None] ** 2 * covariance(distance, length, kernel) + self.shared
        every = np.arange(self.place.size)
        matrix[:, every, every] += variance + excess[:, None] ** 2
        return matrix


def _batches(count: int, size: int) -> Iterator[slice]:
    """Cut `count` matrices of `size` by `size` into batches of some 30 MB."""
    step = max(1, 4_000_000 // max(1, size * size))
    return (slice(start, start + step) for start in range(0, count, step))


def _log_likelihood(problem: _Problem, theta: Array, kernel: Kernel, variance: Array) -> Array:
    result = np.empty(len(theta))
    for part in _batches(len(theta), problem.place.size):
        root = np.linalg.cholesky(problem.readings_covariance(theta[part], kernel, variance))
        whitened = np.linalg.solve(root, np.broadcast_to(problem.speed[:, None], (len(root), *problem.speed.shape, 1)))
        result[part] = _log_density(root, whitened[..., 0])
    return result


def _log_prior(theta: Array) -> Array:
    result: Array = -0.5 * (((theta - _PRIOR_CENTRE) / _PRIOR_WIDTH) ** 2).sum(-1)
    return result - np.log(_PRIOR_WIDTH).sum() - 1.5 * np.log(2 * np.pi)


def _quasi_normal(count: int) -> Array:
    """Evenly spread standard normal points in three dimensions (Sobol), shape (count, 3)."""
    return ndtri(qmc.Sobol(d=3, scramble=False).random(count) + 0.5 / count)


@dataclass(frozen=True, eq=False)
class _Proposal:
    """A normal distribution from which hyperparameters are tried."""

    centre: Array
    root: Array

    def points(self, count: int) -> Array:
        return self.centre + _quasi_normal(count) @ self.root.T

    def log_density(self, theta: Array) -> Array:
        whitened = np.linalg.solve(self.root, (theta - self.centre).T).T
        return _log_density(np.broadcast_to(self.root, (len(theta), 3, 3)), whitened)


_PRIOR = _Proposal(_PRIOR_CENTRE, np.diag(_PRIOR_WIDTH))


def _adapt(theta: Array, log_weight: Array) -> _Proposal:
    """Fit a proposal, a little wide, to weighted points; temper the weights until eight points or more count."""
    for temper in (1.0, 0.7, 0.5, 0.35, 0.25, 0.15, 0.1, 0.05):
        weight = np.exp(temper * log_weight - logsumexp(temper * log_weight))
        if 1.0 / np.sum(weight**2) >= 8:
            break
    centre = weight @ theta
    spread = (theta - centre).T @ (weight[:, None] * (theta - centre))
    spread = 1.7 * spread + np.diag((0.1 * _PRIOR_WIDTH) ** 2)
    return _Proposal(centre, np.linalg.cholesky(spread))


@dataclass(frozen=True, eq=False)
class _Family:
    """Weighted hyperparameters under one kernel."""

    kernel: Kernel
    theta: Array
    log_weight: Array
    proposal: _Proposal

    @property
    def log_evidence(self) -> float:
        return float(logsumexp(self.log_weight) - np.log(self.log_weight.size))


def _explore(problem: _Problem, kernel: Kernel, variance: Array, start: _Proposal | None) -> _Family:
    """Average over hyperparameters by adaptive importance sampling on quasi-random points."""
    rounds = [_PRIOR, None, None] if start is None else [start]
    proposal = _PRIOR
    for given in rounds:
        proposal = given or proposal
        theta = proposal.points(_EXPLORING_POINTS)
        log_weight = _log_likelihood(problem, theta, kernel, variance) + _log_prior(theta) - proposal.log_density(theta)
        family = _Family(kernel, theta, log_weight, proposal)
        proposal = _adapt(theta, log_weight)
    return _Family(kernel, family.theta, family.log_weight, proposal)


def _keep(families: list[_Family], count: int) -> list[tuple[Kernel, Array]]:
    """Choose `count` hyperparameters of equal weight by systematic resampling over all kernels."""
    log_weight = np.concatenate([family.log_weight for family in families])
    share = np.cumsum(np.exp(log_weight - logsumexp(log_weight)))
    chosen = np.minimum(np.searchsorted(share, (np.arange(count) + 0.5) / count), log_weight.size - 1)
    size = families[0].log_weight.size
    return [
        (family.kernel, family.theta[chosen[chosen // size == number] % size])
        for number, family in enumerate(families)
    ]


@dataclass(frozen=True, eq=False)
class _Posterior:
    """Posterior at the grid for each of the kept hyperparameters."""

    mean: Array
    covariance: Array
    effects: Array
    effects_covariance: Array
    theta: Array


def _posterior(
    problem: _Problem, kept: list[tuple[Kernel, Array]], variance: Array, grid: Array, *, spread: bool = True
) -> _Posterior:
    means, spreads, effects, effect_spreads, thetas = [], [], [], [], []
    far = np.abs(problem.place[:, None] - grid)
    between = np.abs(grid[:, None] - grid)
    scaled = problem.nuisance * problem.nuisance_sd
    for kernel, theta in kept:
        for part in _batches(len(theta), max(grid.size, problem.place.size)):
            point = theta[part]
            if not len(point):
                continue
            square = np.exp(2 * point[:, 1])[:, None, None]
            root = np.linalg.cholesky(problem.readings_covariance(point, kernel, variance))
            cross = square * covariance(far, np.exp(point[:, 0]), kernel) + MEAN_PRIOR_SD**2
            count = len(point)
            joined = np.concatenate(
                [
                    cross,
                    np.broadcast_to(problem.speed[:, None], (count, problem.speed.size, 1)),
                    np.broadcast_to(scaled, (count, *scaled.shape)),
                ],
                axis=2,
            )
            whitened = np.linalg.solve(root, joined)
            onto_grid = whitened[:, :, : grid.size]
            speed = whitened[:, :, grid.size]
            onto_effects = whitened[:, :, grid.size + 1 :]
            means.append(np.einsum("hnm,hn->hm", onto_grid, speed))
            effects.append(np.einsum("hnq,hn->hq", onto_effects, speed) * problem.nuisance_sd)
            reduced = np.eye(scaled.shape[1]) - onto_effects.transpose(0, 2, 1) @ onto_effects
            effect_spreads.append(reduced * np.outer(problem.nuisance_sd, problem.nuisance_sd))
            thetas.append(point)
            if spread:
                prior = square * covariance(between, np.exp(point[:, 0]), kernel) + MEAN_PRIOR_SD**2
                spreads.append(prior - onto_grid.transpose(0, 2, 1) @ onto_grid)
    return _Posterior(
        np.concatenate(means),
        np.concatenate(spreads) if spread else np.empty(0),
        np.concatenate(effects),
        np.concatenate(effect_spreads),
        np.concatenate(thetas),
    )


def _draw(posterior: _Posterior, count: int, seed: int) -> Array:
    """Draw whole curves, as evenly as can be from every kept hyperparameter."""
    random = np.random.default_rng(seed)
    kept, places = posterior.mean.shape
    share = -(-count // kept)
    normal = random.standard_normal((kept, share, places))
    size = np.trace(posterior.covariance, axis1=1, axis2=2) / places
    jitter = _JITTER * (size + np.exp(2 * posterior.theta[:, 1]))
    for _ in range(6):
        try:
            root = np.linalg.cholesky(posterior.covariance + jitter[:, None, None] * np.eye(places))
            break
        except np.linalg.LinAlgError:
            jitter *= 10.0
    curves = posterior.mean[:, None, :] + normal @ root.transpose(0, 2, 1)
    return curves.transpose(1, 0, 2).reshape(-1, places)[:count]


def _log_evidence_of_constant(problem: _Problem) -> float:
    """Log evidence of a constant speed with excess scatter, the same priors as the curve's."""
    normal = ndtri((np.arange(128) + 0.5) / 128)
    excess = np.exp(_PRIOR_CENTRE[2] + _PRIOR_WIDTH[2] * normal)
    scaled = problem.nuisance * problem.nuisance_sd
    every = np.arange(problem.place.size)
    matrix = np.broadcast_to(MEAN_PRIOR_SD**2 + scaled @ scaled.T, (128, every.size, every.size)).copy()
    matrix[:, every, every] += problem.variance + excess[:, None] ** 2
    root = np.linalg.cholesky(matrix)
    whitened = np.linalg.solve(root, np.broadcast_to(problem.speed[:, None], (128, every.size, 1)))
    return float(logsumexp(_log_density(root, whitened[..., 0])) - np.log(128))


def fit_curve(
    data: SweepData,
    *,
    grid_points: int = 161,
    draws: int = 2048,
    seed: int = 0,
    nuisance: ArrayLike | None = None,
    nuisance_sd: ArrayLike | None = None,
) -> ResponseCurve:
    """Fit the response curve: a Gaussian process in ln(pressure), hyperparameters averaged over.

    Parameters
    ----------
    data : SweepData
        The readings, two pressures or more among them.
    grid_points : int, optional
        Number of pressures at which the curve is given.
    draws : int, optional
        Number of whole curves drawn from the posterior.
    seed : int, optional
        Seed of the draws.
    nuisance : array_like, shape (n, q), optional
        Effects on the speeds, rad/s per unit of effect, in the order of `data`, that are estimated beside the
        curve and kept out of it (a difference of sweeps, a drift).
    nuisance_sd : array_like, shape (q,), optional
        Prior standard deviation of each effect about zero; one where left out.

    Returns
    -------
    ResponseCurve

    Raises
    ------
    InputError
        Where the readings hold fewer than two pressures.

    Examples
    --------
    >>> pressure = np.geomspace(0.1, 10.0, 12)
    >>> speed = 4 * pressure / (1 + pressure) ** 2
    >>> curve = fit_curve(SweepData(pressure, np.full(12, 0.01), speed, np.full(12, 0.02)))
    >>> round(float(curve.at(1.0)), 1)
    1.0

    Notes
    -----
    The variance of a reading is u(speed)² + (df/d ln p)² u(ln p)² + excess² (McHutchon and Rasmussen 2011,
    *Gaussian process training with input noise*, eq. 4), the slope taken from the curve of the round before.
    """
    if data.distinct_pressures() < 2:
        raise InputError(
            f"a curve needs two pressures or more, and these {data.size} readings hold {data.distinct_pressures()}",
            fix="measure at more pressures",
        )
    order = np.lexsort((data.speed_u_rad_s, data.speed_rad_s, data.pressure_pa))
    columns = np.zeros((data.size, 0)) if nuisance is None else np.asarray(nuisance, dtype=float)
    widths = np.ones(columns.shape[1]) if nuisance_sd is None else np.asarray(nuisance_sd, dtype=float)
    data, columns = data.take(order), columns[order]
    centre = 0.5 * (data.speed_rad_s.max() + data.speed_rad_s.min())
    scale = max(0.5 * np.ptp(data.speed_rad_s), float(np.median(data.speed_u_rad_s)))
    start = data.log_pressure[0]
    problem = _Problem(
        data.log_pressure - start,
        (data.speed_rad_s - centre) / scale,
        (data.speed_u_rad_s / scale) ** 2,
        data.log_pressure_u**2,
        columns / scale,
        widths,
    )
    grid = np.linspace(0.0, problem.place[-1], grid_points)

    variance = problem.variance
    proposals: list[_Proposal | None] = [None] * len(KERNELS)
    for _ in range(_SLOPE_ROUNDS):
        families = [
            _explore(problem, kernel, variance, proposal)
            for kernel, proposal in zip(KERNELS, proposals, strict=True)
        ]
        proposals = [family.proposal for family in families]
        kept = _keep(families, _KEPT_POINTS)
        mean = _posterior(problem, kept, variance, grid, spread=False).mean
        slope_squared = (np.gradient(mean, grid, axis=1) ** 2).mean(0)
        used, variance = variance, problem.with_slope(np.interp(problem.place, grid, slope_squared))
        if not problem.place_variance.any():
            break

    posterior = _posterior(problem, kept, used, grid)
    each_variance = np.diagonal(posterior.covariance, axis1=1, axis2=2)
    mean = posterior.mean.mean(0)
    length, _, excess = np.exp(np.quantile(posterior.theta, (0.5, 0.05, 0.95), axis=0)).T
    log_evidence = float(logsumexp([family.log_evidence for family in families]) - np.log(len(families)))
    pressure = np.exp(start + grid)
    pressure[[0, -1]] = data.pressure_pa[[0, -1]]
    return ResponseCurve(
        pressure_pa=pressure,
        mean=centre + scale * mean,
        sd=scale * np.sqrt(np.maximum(each_variance.mean(0) + posterior.mean.var(0), 0.0)),
        draws=centre + scale * _draw(posterior, draws, seed),
        excess_rad_s=scale * float(excess[0]),
        excess_interval_rad_s=(scale * float(excess[1]), scale * float(excess[2])),
        length_scale=float(length[0]),
        length_scale_interval=(float(length[1]), float(length[2])),
        log_marginal_likelihood=log_evidence - data.size * float(np.log(scale)),
        log_bayes_factor=log_evidence - _log_evidence_of_constant(problem),
        data=data,
        effects=posterior.effects.mean(0),
        effects_covariance=posterior.effects_covariance.mean(0)
        + np.cov(posterior.effects.T, bias=True).reshape(2 * posterior.effects.shape[1:]),
    )
