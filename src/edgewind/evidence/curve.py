"""The response curve: speed against pressure, a Gaussian process in ln(pressure) with both uncertainties.

The speed is a smooth function of x = ln(p). Each reading has an uncertainty of its own in speed and in x;
the second is carried over through the local slope of the curve (McHutchon and Rasmussen 2011). Length scale,
amplitude and the scatter beyond the stated uncertainties are not fixed at their best values but averaged over, with
weak priors, so that the spread of the posterior curves shows how much a few dozen readings determine.

A curve with a sharp peak between long tails near zero is not equally smooth everywhere. So the process is laid
both on the speed itself and on a scale that is logarithmic for large speeds and linear near zero (a warped Gaussian
process, Snelson, Rasmussen and Ghahramani 2004, with the warping fixed), weighted by their evidence.

The curve bends most where it is greatest, and any smoothing moves the top of a lopsided curve towards its gentler
side. So the process has what a rotor's curve has by its physics, a power of pressure on either side and a bend between
them, as explicit basis functions (Rasmussen and Williams 2006, section 2.7), and is only three times differentiable:
an infinitely smooth one is too certain of slopes, and thus of the place of a maximum (benchmarks/bench_optimum.py).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import logsumexp, ndtri

from edgewind.errors import InputError
from edgewind.evidence.even_points import even_points
from edgewind.evidence.gaussian_process import (
    Kernel,
    condition,
    covariance,
    log_density,
    log_density_of_low_rank,
    solve_triangular,
)
from edgewind.evidence.sweep_data import SweepData

Array = NDArray[np.float64]

KERNEL: Kernel = "matern 7/2"
# Weak priors, each log-normal: (median, standard deviation of the logarithm). The length is in units of
# ln(pressure): the regimes of a rarefied gas follow one another over a factor of a few to a decade of pressure.
# Amplitude and excess scatter are fractions of the half range of the measured speeds.
LENGTH_PRIOR = (1.5, 0.7)
AMPLITUDE_PRIOR = (1.0, 0.7)
EXCESS_PRIOR = (0.01, 1.5)
MEAN_PRIOR_SD = 3.0
# Standard deviations of slope and bend, in half ranges per unit of ln(pressure); middle of the bend, as a fraction of
# the range of ln(pressure) (mean, standard deviation); its width, log-normal, in ln(pressure).
SLOPE_PRIOR_SD, BEND_PRIOR_SD = 1.0, 1.0
BEND_PLACE_PRIOR, BEND_WIDTH_PRIOR = (0.5, 0.3), (1.0, 0.5)
# The bent scale of speed is linear below this fraction of the greatest speed, logarithmic above.
SOFTENING = 0.05

_EXPLORING_POINTS = 128
_KEPT_POINTS = 64
_SLOPE_ROUNDS = 3
# Readings up to which every covariance is taken in full, and nodes of the curve beyond.
_MOST_EXACT, _NODES = 100, 64
# Added to the variances of drawn curves, as a fraction of their prior ones: above the rounding of what is left of these
# after conditioning, or rounding would decide what is drawn.
_JITTER = 1e-12
# Variance, in squared half ranges, below which no reading is taken to be certain; keeps matrices regular.
_NOISE_FLOOR = 1e-8
# A log-normal of this width carries no information; wider ones, in wide gaps between readings, would overflow.
_WIDEST_LOG_VARIANCE = 10.0


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
        """Return the mean speed, rad/s, at pressures inside the grid, Pa."""
        return np.interp(np.log(pressure_pa), self.log_pressure, self.mean)

    def slope_at(self, pressure_pa: ArrayLike) -> Array:
        """Return the slope of the mean, d(speed)/d(ln p) in rad/s, at pressures inside the grid, Pa."""
        slope = np.gradient(self.mean, self.log_pressure)
        return np.interp(np.log(pressure_pa), self.log_pressure, slope)


@dataclass(frozen=True)
class Scale:
    """A scale of speed: softening · asinh(speed / softening), or the speed itself where softening is infinite.

    Parameters
    ----------
    softening : float
        Speed, rad/s, below which the scale is linear and above which it is logarithmic.

    Examples
    --------
    >>> float(Scale(np.inf).of(3.0)), round(float(Scale(0.1).back(Scale(0.1).of(3.0))), 12)
    (3.0, 3.0)
    """

    softening: float

    def of(self, speed: ArrayLike) -> Array:
        """Place on the scale of a speed, rad/s."""
        speed = np.asarray(speed, dtype=float)
        return speed if np.isinf(self.softening) else self.softening * np.arcsinh(speed / self.softening)

    def back(self, warped: Array) -> Array:
        """Return the speed, rad/s, at a place on the scale."""
        return warped if np.isinf(self.softening) else self.softening * np.sinh(warped / self.softening)

    def slope(self, speed: Array) -> Array:
        """Return the derivative of the scale at a speed, rad/s."""
        return 1.0 / np.hypot(1.0, speed / self.softening)

    def moments(self, mean: Array, variance: Array) -> tuple[Array, Array]:
        """Return mean and variance of a speed that is normal on this scale (moments of sinh of a normal variable)."""
        if np.isinf(self.softening):
            return mean, variance
        a, b = mean / self.softening, np.minimum(variance / self.softening**2, _WIDEST_LOG_VARIANCE)
        first = np.sinh(a) * np.exp(b / 2)
        second = 0.5 * (np.cosh(2 * a) * np.exp(2 * b) - 1.0)
        return self.softening * first, self.softening**2 * np.maximum(second - first**2, 0.0)


def scales_for(data: SweepData) -> tuple[Scale, ...]:
    """Return the scales on which the curve may be equally smooth everywhere: the linear one and one that bends."""
    noise = 2.0 * float(np.median(data.speed_u_rad_s))
    return Scale(np.inf), Scale(max(SOFTENING * float(np.abs(data.speed_rad_s).max()), noise))


@dataclass(frozen=True, eq=False)
class _Problem:
    """The readings in standard form: on one scale of speed, centred and in units of their half range."""

    place: Array
    speed: Array
    variance: Array
    nuisance: Array

    def covariance(self, theta: Array) -> Array:
        """Return the covariance of the readings, noise included, shape (h, n, n), for hyperparameters (h, 5)."""
        shared = self.shared_factor(theta)
        matrix = self.process(theta, self.place, self.place) + shared @ np.swapaxes(shared, 1, 2)
        every = np.arange(self.place.size)
        matrix[:, every, every] += self.variance + _NOISE_FLOOR + np.exp(2 * theta[:, 2, None])
        return matrix

    def process(self, theta: Array, here: Array, there: Array) -> Array:
        """Return the covariance of the process without its basis functions between places, shape (h, m, k)."""
        matrix = covariance(np.abs(here[:, None] - there), np.exp(theta[:, 0]), KERNEL)
        matrix *= np.exp(2 * theta[:, 1])[:, None, None]
        return matrix

    def basis(self, theta: Array, place: Array) -> Array:
        """Return mean, slope and bend at some places, times their prior standard deviations, shape (h, m, 3)."""
        middle, width = self.place.max() * theta[:, 3, None], np.exp(theta[:, 4, None])
        slope = place - middle
        bend = width * (np.logaddexp(slope / width, -slope / width) - np.log(2.0))
        return np.stack([np.full(slope.shape, MEAN_PRIOR_SD), SLOPE_PRIOR_SD * slope, BEND_PRIOR_SD * bend], axis=-1)

    def curve_covariance(self, theta: Array, here: Array, there: Array) -> Array:
        """Return the prior covariance of the curve between places, shape (h, m, k)."""
        return self.process(theta, here, there) + self.basis(theta, here) @ np.swapaxes(self.basis(theta, there), 1, 2)

    def shared_factor(self, theta: Array) -> Array:
        """Return U of the covariance ``U U^T`` of the basis functions and the effects, shape (h, n, 3 + q)."""
        effects = np.broadcast_to(self.nuisance, (len(theta), *self.nuisance.shape))
        return np.concatenate([self.basis(theta, self.place), effects], axis=2)


def _batches(count: int, size: int) -> Iterator[slice]:
    """Cut `count` matrices of `size` by `size` into batches of some 30 MB."""
    step = max(1, 4_000_000 // max(1, size * size))
    return (slice(start, start + step) for start in range(0, count, step))


def _log_likelihood(problem: _Problem, theta: Array) -> Array:
    if problem.place.size > _MOST_EXACT:
        return _log_likelihood_by_nodes(problem, theta)
    parts = _batches(len(theta), problem.place.size)
    return np.concatenate([log_density(problem.covariance(theta[part]), problem.speed) for part in parts])


def _log_likelihood_by_nodes(problem: _Problem, theta: Array) -> Array:
    """Do the same for many readings: the smooth curve is that of its values on a few nodes, what they leave is noise.

    Fully independent training conditional: Quinonero-Candela and Rasmussen, J. Mach. Learn. Res. 6, 1939 (2005).
    """
    nodes = np.linspace(problem.place.min(), problem.place.max(), _NODES)
    far, between = np.abs(nodes[:, None] - problem.place), np.abs(nodes[:, None] - nodes)

    def density(theta: Array) -> Array:
        length, amplitude, excess = np.exp(theta[:, :3]).T
        shared = np.swapaxes(problem.shared_factor(theta), 1, 2)
        root = np.linalg.cholesky(covariance(between, length, KERNEL) + 1e-8 * np.eye(_NODES))
        factor = np.empty((length.size, _NODES + shared.shape[1], problem.place.size))
        smooth = factor[:, :_NODES]
        np.multiply(amplitude[:, None, None], solve_triangular(root, covariance(far, length, KERNEL)), out=smooth)
        factor[:, _NODES:] = shared
        left = np.maximum(amplitude[:, None] ** 2 - np.einsum("hri,hri->hi", smooth, smooth), 0.0)
        diagonal = problem.variance + _NOISE_FLOOR + excess[:, None] ** 2 + left
        return log_density_of_low_rank(np.swapaxes(factor, 1, 2), diagonal, problem.speed)

    # Few at a time, so that what is worked on stays near the processor.
    return np.concatenate([density(theta[at : at + 8]) for at in range(0, len(theta), 8)])


@dataclass(frozen=True, eq=False)
class _Proposal:
    """A normal distribution of ln length, ln amplitude, ln excess, middle of the bend and ln of its width."""

    centre: Array
    root: Array

    def points(self, count: int) -> Array:
        """Return the points spread evenly over the distribution (Sobol), shape (count, 5)."""
        even = even_points(count, self.centre.size) + 0.5 / count
        return self.centre + ndtri(even) @ self.root.T

    def log_density(self, theta: Array) -> Array:
        whitened = solve_triangular(self.root[None], (theta - self.centre).T)[0]
        result: Array = -0.5 * (whitened**2).sum(0) - np.log(np.diag(self.root)).sum()
        result -= 0.5 * self.centre.size * np.log(2 * np.pi)
        return result


_PRIOR = _Proposal(
    np.array(
        [
            *np.log([LENGTH_PRIOR[0], AMPLITUDE_PRIOR[0], EXCESS_PRIOR[0]]),
            BEND_PLACE_PRIOR[0],
            np.log(BEND_WIDTH_PRIOR[0]),
        ]
    ),
    np.diag([LENGTH_PRIOR[1], AMPLITUDE_PRIOR[1], EXCESS_PRIOR[1], BEND_PLACE_PRIOR[1], BEND_WIDTH_PRIOR[1]]),
)


def _adapt(theta: Array, log_weight: Array) -> _Proposal:
    """Fit a proposal, a little wide, to weighted points; temper the weights until eight points or more count."""
    for temper in (1.0, 0.7, 0.5, 0.35, 0.25, 0.15, 0.1, 0.05):
        weight = np.exp(temper * log_weight - logsumexp(temper * log_weight))
        if 1.0 / np.sum(weight**2) >= 8:
            break
    centre = weight @ theta
    spread = (theta - centre).T @ (weight[:, None] * (theta - centre))
    return _Proposal(centre, np.asarray(np.linalg.cholesky(1.7 * spread + (0.1 * _PRIOR.root) ** 2), dtype=float))


@dataclass(frozen=True, eq=False)
class _Family:
    """Weighted hyperparameters on one scale of speed, and the next proposal."""

    theta: Array
    log_weight: Array
    next_proposal: _Proposal

    @property
    def log_evidence(self) -> float:
        return float(logsumexp(self.log_weight) - np.log(self.log_weight.size))


def _explore(problem: _Problem, start: _Proposal | None) -> _Family:
    """Average over hyperparameters by adaptive importance sampling on quasi-random points."""
    proposal, rounds = (_PRIOR, 3) if start is None else (start, 1)
    for _ in range(rounds):
        theta = proposal.points(_EXPLORING_POINTS)
        log_weight = _log_likelihood(problem, theta) + _PRIOR.log_density(theta) - proposal.log_density(theta)
        family = _Family(theta, log_weight, _adapt(theta, log_weight))
        proposal = family.next_proposal
    return family


def _resample(log_weights: Array, count: int) -> list[NDArray[np.int64]]:
    """Choose `count` points of equal weight, systematically, from families of points (f, h); indices by family."""
    share = np.cumsum(np.exp(log_weights - logsumexp(log_weights)))
    chosen = np.minimum(np.searchsorted(share, (np.arange(count) + 0.5) / count), log_weights.size - 1)
    size = log_weights.shape[1]
    return [chosen[chosen // size == number] % size for number in range(len(log_weights))]


@dataclass(frozen=True, eq=False)
class _Branch:
    """The curve on one scale of speed: readings in standard form, and their way back."""

    scale: Scale
    centre: float
    half_range: float
    problem: _Problem
    family: _Family

    @property
    def log_jacobian(self) -> float:
        """Log of the ratio of densities of speeds and of readings in standard form."""
        speed = self.scale.back(self.centre + self.half_range * self.problem.speed)
        return float(np.sum(np.log(self.scale.slope(speed) / self.half_range)))

    def mean_speeds(self, theta: Array, grid: Array) -> Array:
        """Return the posterior means (h, m) of the curve, carried back to speeds, rad/s."""
        root = np.linalg.cholesky(self.problem.covariance(theta))
        solved = solve_triangular(root, solve_triangular(root, self.problem.speed[:, None]), transposed=True)
        mean = (self.problem.curve_covariance(theta, grid, self.problem.place) @ solved)[..., 0]
        return self.scale.back(self.centre + self.half_range * mean)

    def posterior(self, theta: Array, grid: Array) -> tuple[Array, Array]:
        """Return mean (h, m) and covariance (h, m, m) of the curve, on the scale of speed, followed by the effects."""
        count, places, effects = len(theta), grid.size, self.problem.nuisance.shape[1]
        prior = np.zeros((count, places + effects, places + effects))
        prior[:, :places, :places] = self.problem.curve_covariance(theta, grid, grid)
        prior[:, places:, places:] = np.eye(effects)
        nuisance = np.broadcast_to(self.problem.nuisance, (count, *self.problem.nuisance.shape))
        cross = np.concatenate([self.problem.curve_covariance(theta, self.problem.place, grid), nuisance], axis=2)
        mean, spread = condition(cross, prior, self.problem.covariance(theta), self.problem.speed)
        every = np.arange(places)
        spread[:, every, every] += _JITTER * prior[:, every, every].max(axis=1, keepdims=True)
        mean[:, :places] = self.centre + self.half_range * mean[:, :places]
        spread[:, :places, :places] *= self.half_range**2
        return mean, spread


def _branch(
    data: SweepData,
    scale: Scale,
    nuisance: Array,
    expected: Array,
    slope: Array,
    start: _Proposal | None,
) -> _Branch:
    """Explore one scale of speed, given the expected speeds and the slopes on that scale at the readings."""
    warped = scale.of(data.speed_rad_s)
    stretch = scale.slope(expected)
    half_range = max(0.5 * float(np.ptp(warped)), float(np.median(stretch * data.speed_u_rad_s)))
    centre = 0.5 * float(warped.max() + warped.min())
    variance = (stretch * data.speed_u_rad_s) ** 2 + (slope * data.log_pressure_u) ** 2
    problem = _Problem(
        data.log_pressure - data.log_pressure[0],
        (warped - centre) / half_range,
        variance / half_range**2,
        nuisance * stretch[:, None] / half_range,
    )
    return _Branch(scale, centre, half_range, problem, _explore(problem, start))


def _draw(mean: Array, spread: Array, share: int, random: np.random.Generator) -> Array:
    """Draw `share` curves from each of several normal distributions, shape (h * share, m)."""
    root = np.linalg.cholesky(spread)
    normal = random.standard_normal((len(mean), share, mean.shape[1]))
    curves: Array = mean[:, None, :] + normal @ root.transpose(0, 2, 1)
    return curves.reshape(-1, mean.shape[1])


def fit_curve(
    data: SweepData,
    *,
    grid_points: int = 161,
    draws: int = 2048,
    seed: int = 0,
    nuisance: ArrayLike | None = None,
    nuisance_sd: ArrayLike | None = None,
    ends_pa: tuple[float, float] | None = None,
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
    ends_pa : tuple of float, optional
        Pressures, Pa, that the grid shall reach to beyond the readings: for planning, never for claims.

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
    On either scale the curve is m + a (x - b) + c w ln cosh((x - b) / w) + g(x), x the logarithm of pressure,
    m, a and c normal, b and w averaged over with the hyperparameters of g, a Matérn process of order 7/2.

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
    data, columns = data.take(order), columns[order] * widths
    place = data.log_pressure - data.log_pressure[0]
    low_pa, high_pa = (data.pressure_pa[0], data.pressure_pa[-1]) if ends_pa is None else ends_pa
    low_pa, high_pa = min(low_pa, data.pressure_pa[0]), max(high_pa, data.pressure_pa[-1])
    start, end = np.log([low_pa, high_pa]) - data.log_pressure[0]
    grid = np.linspace(float(start), float(end), grid_points)

    scales = scales_for(data)
    expected, slopes = data.speed_rad_s, [np.zeros(data.size) for _ in scales]
    starts: list[_Proposal | None] = [None] * len(scales)
    branches: list[_Branch] = []
    kept: list[tuple[_Branch, Array]] = []
    for _ in range(_SLOPE_ROUNDS):
        if kept:
            speeds = np.concatenate([branch.mean_speeds(theta, grid) for branch, theta in kept])
            expected = np.interp(place, grid, speeds.mean(0))
            slopes = [_root_mean_square_slope(scale.of(speeds), grid, place) for scale in scales]
            starts = [branch.family.next_proposal for branch in branches]
        branches = [
            _branch(data, scale, columns, expected, slope, start)
            for scale, slope, start in zip(scales, slopes, starts, strict=True)
        ]
        log_weights = np.array([branch.family.log_weight + branch.log_jacobian for branch in branches])
        kept = [
            (branch, branch.family.theta[chosen])
            for branch, chosen in zip(branches, _resample(log_weights, _KEPT_POINTS), strict=True)
            if chosen.size
        ]

    random = np.random.default_rng(seed)
    top = np.abs(data.speed_rad_s).max()
    share = -(-draws // _KEPT_POINTS)
    parts = [_part(branch, theta, grid, widths, top, share, random) for branch, theta in kept]
    mean, variance, curves, effect, effect_spread, excess, length = (
        np.concatenate(p) for p in zip(*parts, strict=True)
    )
    log_evidence = float(logsumexp(log_weights) - np.log(log_weights.size))
    pressure = data.pressure_pa[0] * np.exp(grid)
    pressure[0], pressure[-1] = low_pa, high_pa
    return ResponseCurve(
        pressure_pa=pressure,
        mean=mean.mean(0),
        sd=np.sqrt(variance.mean(0) + mean.var(0)),
        draws=random.permutation(curves)[:draws],
        excess_rad_s=float(np.median(excess)),
        excess_interval_rad_s=(float(np.quantile(excess, 0.05)), float(np.quantile(excess, 0.95))),
        length_scale=float(np.median(length)),
        length_scale_interval=(float(np.quantile(length, 0.05)), float(np.quantile(length, 0.95))),
        log_marginal_likelihood=log_evidence,
        log_bayes_factor=log_evidence - _log_evidence_of_constant(branches[0]),
        data=data,
        effects=effect.mean(0),
        effects_covariance=effect_spread.mean(0)
        + (effect - effect.mean(0)).T @ (effect - effect.mean(0)) / len(effect),
    )


def _root_mean_square_slope(curves: Array, grid: Array, place: Array) -> Array:
    """Root mean square, over curves (h, m) on a grid, of their slopes at some places."""
    square = (np.gradient(curves, grid, axis=1) ** 2).mean(0)
    result: Array = np.sqrt(np.interp(place, grid, square))
    return result


def _part(
    branch: _Branch, theta: Array, grid: Array, widths: Array, top: float, share: int, random: np.random.Generator
) -> tuple[Array, ...]:
    """One branch's contribution, a row for each kept set of hyperparameters.

    Mean and variance of the speed on the grid, `share` drawn curves, mean and covariance of the effects, excess
    scatter at the greatest speed, length scale.
    """
    places = grid.size
    mean, spread = branch.posterior(theta, grid)
    on_scale, covariance_on_scale = mean[:, :places], spread[:, :places, :places]
    variance_on_scale = np.maximum(np.diagonal(covariance_on_scale, axis1=1, axis2=2), 0.0)
    return (
        *branch.scale.moments(on_scale, variance_on_scale),
        branch.scale.back(_draw(on_scale, covariance_on_scale, share, random)),
        mean[:, places:] * widths,
        spread[:, places:, places:] * np.outer(widths, widths),
        np.exp(theta[:, 2]) * branch.half_range / branch.scale.slope(np.array(top)),
        np.exp(theta[:, 0]),
    )


def _log_evidence_of_constant(linear: _Branch) -> float:
    """Log evidence of a constant speed with excess scatter, under the same priors as the curve's."""
    excess = np.exp(_PRIOR.centre[2] + _PRIOR.root[2, 2] * ndtri((np.arange(128) + 0.5) / 128))
    problem = linear.problem
    shared = np.concatenate([np.full((problem.place.size, 1), MEAN_PRIOR_SD), problem.nuisance], axis=1)
    factor = np.broadcast_to(shared, (excess.size, *shared.shape))
    diagonal = problem.variance + _NOISE_FLOOR + excess[:, None] ** 2
    log_likelihood = log_density_of_low_rank(factor, diagonal, problem.speed)
    return float(logsumexp(log_likelihood) - np.log(excess.size)) + linear.log_jacobian
