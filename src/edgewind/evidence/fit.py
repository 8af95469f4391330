"""The unknowns of a rotor from its readings: posterior and evidence by nested sampling, and what the data leave
open.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import gammaln, ndtr, stdtrit

from edgewind.bench import Bench
from edgewind.errors import InputError
from edgewind.evidence.coastdown import CoastDown
from edgewind.evidence.fit_kernel import Columns, Readings, log_likelihoods_of, log_ratio, numbers_of, spreads_of
from edgewind.evidence.priors import Priors, Unknown, unknowns_of
from edgewind.rotor import RotorParameters, TableResponse, parameters_of, response_of
from edgewind.rotor.speed_kernel import Place, flat, steady_speeds_of, table_arrays

Array = NDArray[np.float64]
Progress = Callable[[int, float], None]

LEAST_READINGS = 6
# An unknown whose posterior is nearly as wide as its prior is not fixed by the data. Widths are compared as standard
# deviations in shares of the prior, where that of the prior is 1/sqrt(12).
NOT_FIXED = 0.8
WELL_FIXED = 0.5
ALONE = "a measurement of its own"
# Which drives act in each model that is compared; by their places in the flat array.
_DRIVES = {
    "thermal_force": (Place.THERMAL_FORCE, Place.CREEP),
    "light_pressure": (Place.LIGHT_PRESSURE,),
    "infrared_recoil": (Place.INFRARED_RECOIL,),
}
MODELS: dict[str, tuple[str, ...]] = {
    "all": ("thermal_force", "light_pressure", "infrared_recoil"),
    "thermal force alone": ("thermal_force",),
    "light pressure alone": ("light_pressure",),
}


@dataclass(frozen=True, eq=False)
class FitData:
    """Readings as a fit takes them; speeds with a sign, positive when the bright face goes ahead.

    Attributes
    ----------
    pressure_pa, log_pressure_u : array of shape (n,)
        Indicated pressures and each one's own standard uncertainty of the logarithm.
    speed_rad_s, speed_u_rad_s : array of shape (n,)
        Speeds and standard uncertainties.
    signed : bool
        Whether the direction was observed; otherwise sizes are compared.
    gauge_log_u : float
        Standard uncertainty of ln(pressure) that all readings share.
    coasts : tuple of CoastDown
        Coast-downs, if any.
    """

    pressure_pa: Array
    log_pressure_u: Array
    speed_rad_s: Array
    speed_u_rad_s: Array
    signed: bool
    gauge_log_u: float
    coasts: tuple[CoastDown, ...] = ()


def fit_data(used: pd.DataFrame, bench: Bench, coasts: Sequence[CoastDown] = ()) -> FitData:
    """Return the used readings of an experiment as a fit takes them."""
    face = bench.rotor.leading_face
    speed = used["speed_rad_s"].to_numpy(float)
    if face != "not observed":
        speed = np.abs(speed) * (1 if face == "bright" else -1)
    common = used["log_pressure_u_common"].to_numpy(float)
    return FitData(
        used["pressure_pa"].to_numpy(float),
        used["log_pressure_u"].to_numpy(float),
        speed if face != "not observed" else np.abs(speed),
        used["speed_u_rad_s"].to_numpy(float),
        face != "not observed",
        float(np.median(common)) if common.size else 0.0,
        tuple(coast for coast in coasts if coast.usable),
    )


@dataclass(frozen=True)
class Marginal:
    """What is known of one unknown after the readings.

    Attributes
    ----------
    unknown : Unknown
        The unknown and its prior.
    median : float
        Median of the posterior.
    interval : tuple of float
        Equal-tailed interval at the level of the fit.
    width_ratio : float
        Posterior over prior width: 1 where the readings say nothing.
    fixed_by_data : {"yes", "partly", "no"}
        Whether the readings fix it, as that ratio shows.
    settled_by : str
        Reading that would narrow it most; empty where it is fixed.
    """

    unknown: Unknown
    median: float
    interval: tuple[float, float]
    width_ratio: float
    fixed_by_data: str
    settled_by: str = ""


@dataclass(frozen=True, eq=False)
class Fit:
    """A fitted model.

    Attributes
    ----------
    model : str
        A key of `MODELS`.
    unknowns : tuple of Unknown
        Unknowns in the order of the columns of `draws`.
    draws : array of shape (k, d)
        Equally weighted draws of the posterior.
    log_evidence : float
        Logarithm of the evidence.
    log_evidence_u : float
        Numerical uncertainty of that logarithm.
    marginals : tuple of Marginal
        One for each unknown.
    level : float
        Coverage probability of the intervals.
    predictive : DataFrame
        Posterior predictive check: ``pressure_pa, speed_rad_s, low_rad_s, median_rad_s, high_rad_s, inside, pull``.
    p_value : float
        Share of replicated data whose misfit is greater than that of the readings; near 0 or 1 the model is doubtful.
    calls : int
        Likelihoods computed.
    """

    model: str
    unknowns: tuple[Unknown, ...]
    draws: Array
    log_evidence: float
    log_evidence_u: float
    marginals: tuple[Marginal, ...]
    level: float
    predictive: pd.DataFrame
    p_value: float
    calls: int
    problem: Problem = field(repr=False)

    def marginal(self, name: str) -> Marginal:
        """Return what is known of the unknown called `name`."""
        return next(one for one in self.marginals if one.unknown.name == name)


class Problem:
    """A likelihood: a bench, its response, its readings and the drives that act.

    Parameters
    ----------
    bench : Bench
        The bench.
    data : FitData
        Its readings.
    model : str
        A key of `MODELS`.
    response : TableResponse, optional
        The table for this vane and room where absent.
    """

    def __init__(self, bench: Bench, data: FitData, model: str = "all", response: TableResponse | None = None) -> None:
        if model not in MODELS:
            raise InputError(f"unknown model '{model}'", fix=f"choose one of {', '.join(MODELS)}")
        if data.speed_rad_s.size < LEAST_READINGS:
            raise InputError(
                f"{data.speed_rad_s.size} readings are too few for a fit of this rotor",
                fix=f"take {LEAST_READINGS} or more",
            )
        self.bench, self.data, self.model = bench, data, model
        self.rotor: RotorParameters = parameters_of(bench)
        self.response = response_of(self.rotor) if response is None else response
        self.unknowns = unknowns_of(bench, self.response, data.gauge_log_u, coasts=bool(data.coasts))
        self._priors = Priors(self.unknowns)
        self._columns = _columns([unknown.name for unknown in self.unknowns])
        self._flat = flat(self.rotor)
        for drive, places in _DRIVES.items():
            for place in places:
                self._flat[place] = float(drive in MODELS[model])
        self._table = table_arrays(self.response)
        self.all_pressures = np.concatenate([data.pressure_pa, [coast.pressure_pa for coast in data.coasts]])
        self.take_slopes(np.zeros_like(data.speed_rad_s), np.full(len(data.coasts), 0.5))

    def take_slopes(self, speed: Array, drag: Array) -> None:
        """Take pressures for uncertain by what stands in the data, through the slopes of speed and drag.

        Parameters
        ----------
        speed : array of shape (n,)
            Slope of speed against ln(pressure) at each reading, rad/s.
        drag : array of shape (m,)
            Power of the pressure with which the drag goes at each coast-down.
        """
        data = self.data
        rate, rate_u, dry_rate, dry_u, correlation = (
            np.array([getattr(coast, name) for coast in data.coasts])
            for name in ("drag_rate", "drag_rate_u", "dry_rate", "dry_rate_u", "correlation")
        )
        # The gauge's common error is an unknown of its own.
        own = np.sqrt([max(coast.log_pressure_u**2 - data.gauge_log_u**2, 0.0) for coast in data.coasts])
        self._readings = Readings(
            self.all_pressures, data.speed_rad_s, data.speed_u_rad_s, speed * data.log_pressure_u, data.signed,
            0.05 * float(np.max(np.abs(data.speed_rad_s))), rate, np.sqrt(rate_u**2 + (drag * rate * own) ** 2),
            dry_rate, dry_u, correlation, rate_u,
        )  # fmt: skip

    def values(self, scores: Array) -> Array:
        """Return the unknowns at standard normal scores of their priors, shape (..., d)."""
        return self._priors.values(scores)

    def numbers(self, values: Array) -> Array:
        """Return the flat arrays of the kernel at values of the unknowns, shape (k, numbers) for (k, d)."""
        return np.asarray(numbers_of(values, self._flat, self._columns))

    def predicted(self, values: Array, pressure_pa: Array) -> Array:
        """Return speed, net torque and drag at indicated pressures, shape (3, n), or (k, 3, n) for k rows of values."""
        rows = np.atleast_2d(values)
        scaled = rows[:, self._columns.gauge, None] * pressure_pa
        found = np.asarray(steady_speeds_of(scaled, self.numbers(rows), *self._table))
        return found if values.ndim > 1 else found[0]

    def spread(self, values: Array, speed: Array) -> Array:
        """Return the standard deviation of a reading about its predicted speed: stated, scatter, and own pressure.

        Rows of values, shape (k, d), and speeds at the readings' pressures, shape (k, n).
        """
        scatter = np.ascontiguousarray(values[:, self._columns.scatter])
        return np.asarray(spreads_of(speed, scatter, self._readings))

    def log_likelihood(self, values: Array) -> float:
        """Return the logarithm of the likelihood."""
        return float(self.log_likelihoods(values[None, :])[0])

    def log_likelihoods(self, values: Array) -> Array:
        """Return the logarithm of the likelihood of each row of values."""
        return np.asarray(log_likelihoods_of(values, self._flat, self._columns, self._readings, self._table))


def _columns(names: Sequence[str]) -> Columns:
    """Return where unknowns of these names stand, and what each sets or multiplies."""
    at = {name: k for k, name in enumerate(names)}
    set_to = {
        Place.CONDUCTANCE: "conductance", Place.BRIGHT_EMISSIVITY: "bright_emissivity",
        Place.ACCOMMODATION: "accommodation", Place.DRY: "pivot_dry", Place.BREAKAWAY: "pivot_dry",
        Place.VISCOUS: "pivot_viscous", Place.DRAG_FACTOR: "gas_drag",
    }  # fmt: skip
    times = {Place.IRRADIANCE: "light", Place.THERMAL_FORCE: "gas_force", Place.CREEP: "creep"}
    times = {place: name for place, name in times.items() if name in at}
    (set_places, set_columns), (scaled_places, scaled_columns) = (
        (np.array([int(place) for place in one]), np.array([at[name] for name in one.values()]))
        for one in (set_to, times)
    )
    return Columns(
        set_places, set_columns, scaled_places, scaled_columns, at["gauge"], at["scatter"], at["pivot_dry"],
        at.get("inertia", -1),
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Proposal:
    """Where the posterior is likely to lie: Student's t in every direction about the best place, in scores of the
    priors.

    Nested sampling from this in place of the prior, with the likelihood times prior over proposal, gives the same
    posterior and the same evidence with far less to compress: posterior repartitioning, Chen, Hobson, Das and
    Gelderblom, Stat. Comput. 29, 835 (2019). The tails are heavy so that nothing is shut out. `log_evidence` is that
    of Laplace's approximation.
    """

    centre: Array
    root: Array
    log_evidence: float
    freedom: float = 4.0

    def scores(self, cube: Array) -> Array:
        """Return the scores at a point of the unit cube."""
        return np.asarray(self.centre + self.root @ stdtrit(self.freedom, cube))

    @cached_property
    def _inverse(self) -> Array:
        return np.asarray(np.linalg.inv(self.root))

    @cached_property
    def _log_constant(self) -> float:
        """Logarithm of the constant of the prior over that of the proposal."""
        n, size = self.freedom, self.centre.size
        constant = float(gammaln((n + 1) / 2) - gammaln(n / 2) - 0.5 * np.log(n * np.pi))
        return float(np.linalg.slogdet(self.root)[1] - size * (constant + 0.5 * np.log(2 * np.pi)))

    def log_ratio(self, scores: Array) -> float:
        """Return the logarithm of prior over proposal at scores."""
        return float(log_ratio(scores, self.centre, self._inverse, self._log_constant, self.freedom))


def find_proposal(problem: Problem, *, seed: int, starts: int = 8, widen: float = 1.7) -> Proposal:
    """Return a proposal about the best place found from seeded starts, as wide as the curvature there says and more."""
    random = np.random.default_rng(seed)
    size = len(problem.unknowns)

    def costs(z: Array) -> Array:
        bounded = np.clip(z, -6, 6)
        return np.asarray(-problem.log_likelihoods(problem.values(bounded)) + 0.5 * np.sum(z * z, axis=-1))

    def with_slope(z: Array) -> tuple[float, Array]:
        aside = 1e-5 * np.eye(size)
        rows = costs(np.concatenate([z[None, :], z + aside, z - aside]))
        return float(rows[0]), np.asarray((rows[1 : size + 1] - rows[size + 1 :]) / 2e-5)

    tried = random.standard_normal((60 * size, size))
    tried[:, -1] = random.uniform(-1, 2.5, tried.shape[0])  # begin where scatter is large: there every start can move
    best: Any = None
    for k in np.argsort(costs(tried))[:starts]:
        found = minimize(with_slope, tried[k], method="L-BFGS-B", jac=True, options={"maxiter": 300})
        if best is None or found.fun < best.fun:
            best = found
    polished = minimize(  # type: ignore[call-overload]
        lambda z: float(costs(z[None, :])[0]), best.x, method="Nelder-Mead",
        options={"maxiter": 150 * size, "fatol": 1e-3, "xatol": 1e-4},
    )  # fmt: skip
    centre = np.asarray(polished.x if polished.fun < best.fun else best.x)
    root = _root_of_curvature(costs, centre)
    least = float(costs(centre[None, :])[0])
    # In scores the prior is a standard normal, whose constant cancels that of the Gaussian integral.
    return Proposal(centre, widen * root, -least + float(np.linalg.slogdet(root)[1]))


def _root_of_curvature(costs: Callable[[Array], Array], centre: Array) -> Array:
    """Return a square root of the inverse second derivative, from steps that raise the cost by about one half."""
    size, here = centre.size, float(costs(centre[None, :])[0])
    unit = np.eye(size)
    steps, fits = np.ones(size), np.zeros(size, dtype=bool)
    for _ in range(40):
        aside = unit * steps[:, None]
        rise = np.maximum(costs(centre + aside), costs(centre - aside)) - here
        fits |= ((rise > 0.2) & (rise < 1.5)) | (steps >= 3)
        if fits.all():
            break
        steps = np.where(fits, steps, np.minimum(steps * np.where(rise >= 1.5, 0.6, 1.5), 3.0))
    aside = unit * steps[:, None]
    plus, minus = costs(centre + aside), costs(centre - aside)
    second = np.diag(plus + minus - 2 * here)
    i, j = np.triu_indices(size, 1)
    mixed = costs(centre + aside[i] + aside[j]) + costs(centre - aside[i] - aside[j])
    second[i, j] = second[j, i] = 0.5 * (mixed - plus[i] - minus[i] - plus[j] - minus[j] + 2 * here)
    curvature = second / np.outer(steps, steps)
    values, vectors = np.linalg.eigh(curvature)
    # The prior alone curves by one in every direction; less is rounding or a ridge.
    return np.asarray(vectors / np.sqrt(np.maximum(values, 1.0)))


def prepare(
    bench: Bench, data: FitData, model: str, response: TableResponse | None = None, seed: int = 1
) -> tuple[Problem, Proposal]:
    """Return a likelihood whose slopes against pressure are those of the best curve, and where its posterior lies."""
    problem = Problem(bench, data, model, response)
    first = problem.values(find_proposal(problem, seed=seed, starts=4).centre)
    step = 0.01
    low, high = (problem.predicted(first, problem.all_pressures * np.exp(s * step)) for s in (-1, 1))
    size = data.pressure_pa.size
    drag = np.log(high[2, size:] / low[2, size:]) / (2 * step)
    problem.take_slopes((high[0, :size] - low[0, :size]) / (2 * step), drag)
    return problem, find_proposal(problem, seed=seed)


def fit(
    bench: Bench,
    data: FitData,
    *,
    model: str = "all",
    response: TableResponse | None = None,
    level: float = 0.9,
    seed: int = 1,
    live_points: int = 200,
    prepared: tuple[Problem, Proposal] | None = None,
    progress: Progress | None = None,
) -> Fit:
    """Fit the unknowns of a rotor to its readings by nested sampling.

    Skilling, Bayesian Anal. 1, 833 (2006); the sampler is dynesty's (Speagle, Mon. Not. R. Astron. Soc. 493, 3132,
    2020). Speeds are taken as normal about the prediction, with the stated uncertainty, a relative scatter that is
    itself an unknown, and each reading's own uncertainty of pressure by the slope of the curve that fits best.

    Parameters
    ----------
    bench : Bench
        The bench: its stated values, with their uncertainties, are the priors.
    data : FitData
        See :func:`fit_data`.
    model : str
        A key of `MODELS`: which drives act.
    response : TableResponse, optional
        The table for this vane and room where absent.
    level : float
        Coverage of intervals.
    seed : int
        The same seed gives the same fit.
    live_points : int
        Live points of the sampler; the evidence's numerical uncertainty falls with its root.
    prepared : tuple, optional
        What :func:`prepare` gave for the same bench, data, model and seed, to spare doing it again.
    progress : callable, optional
        Called with the number of iterations and what is left of ln(evidence) to find.

    Raises
    ------
    InputError
        Too few readings, or an unknown model.
    """
    import dynesty  # imported on first use: many commands never fit

    problem, proposal = prepared or prepare(bench, data, model, response, seed)

    def log_likelihood(scores: Array) -> float:
        worth = problem.log_likelihood(problem.values(scores)) + proposal.log_ratio(scores)
        return worth if np.isfinite(worth) else -1e300

    sampler = dynesty.NestedSampler(
        log_likelihood, proposal.scores, len(problem.unknowns), nlive=live_points, sample="rwalk", bound="multi",
        walks=40, bootstrap=0, rstate=np.random.default_rng(seed),
    )  # fmt: skip
    for iteration, result in enumerate(sampler.sample(dlogz=0.3)):
        if progress is not None and iteration % 100 == 0:
            progress(iteration, float(result.delta_logz))
    for _ in sampler.add_live_points():
        pass
    found = sampler.results
    scores = settled(problem, np.asarray(found.samples_equal(rstate=np.random.default_rng(seed))), seed=seed)
    draws = problem.values(scores)
    shares = ndtr(scores)
    picked = draws[np.random.default_rng(seed).choice(len(draws), 400, replace=len(draws) < 400)]
    predictive, p_value = _predictive(problem, picked, level, seed)
    marginals = _marginals(problem, draws, shares, picked, level)
    return Fit(
        model, problem.unknowns, draws, float(found.logz[-1]), float(found.logzerr[-1]), marginals, level, predictive,
        p_value, int(np.sum(found.ncall)), problem,
    )  # fmt: skip


WALKERS = 400
STEPS = 250
KEPT = 5


def settled(problem: Problem, scores: Array, *, seed: int, steps: int = STEPS) -> Array:
    """Return draws of the posterior from those of the sampler, after steps that leave the posterior as it is.

    The draws of a nested sampler are as good as its live points are many: with 150 of them the width of an unknown
    came out up to 20 % off, and its middle by up to 0.6 of the width, along the ridge where light and conductance make
    up for each other. So walkers start from them and take steps of differential evolution (ter Braak, Stat. Comput.
    16, 239, 2006; the other half of the walkers gives the steps: Nelson, Ford and Payne, Astrophys. J. Suppl. 210, 11,
    2014), every tenth of full length so that walkers change places along a ridge.

    Parameters
    ----------
    problem : Problem
        The likelihood.
    scores : array of shape (n, d)
        Draws of the sampler, as scores of the priors.
    seed, steps : int, int
        Seed; steps of each walker.

    Returns
    -------
    array of shape (walkers times 5, d)
        Draws: the walkers at five moments of the second half.
    """
    random = np.random.default_rng([seed, 5])
    size = scores.shape[1]

    def worth(at: Array) -> Array:
        likely = problem.log_likelihoods(problem.values(np.clip(at, -8, 8)))
        return np.asarray(likely - 0.5 * np.sum(at**2, axis=1))

    now = scores[random.choice(len(scores), WALKERS, replace=len(scores) < WALKERS)]
    value = worth(now)
    halves = np.arange(WALKERS // 2), np.arange(WALKERS // 2, WALKERS)
    kept = []
    for step in range(steps):
        length = 1.0 if step % 10 == 9 else 2.38 / np.sqrt(2 * size)
        for own, other in (halves, halves[::-1]):
            first = random.integers(own.size, size=own.size)
            second = (first + 1 + random.integers(own.size - 1, size=own.size)) % own.size
            jitter = length * np.exp(0.1 * random.standard_normal((own.size, 1)))
            apart = jitter * (now[other[first]] - now[other[second]])
            tried = now[own] + apart + 1e-4 * random.standard_normal((own.size, size))
            there = worth(tried)
            taken = np.log(random.random(own.size)) < there - value[own]
            now[own[taken]], value[own[taken]] = tried[taken], there[taken]
        if step >= steps // 2 and (step + 1) % (steps // (2 * KEPT)) == 0:
            kept.append(now.copy())
    return np.concatenate(kept[-KEPT:])


def _predictive(problem: Problem, picked: Array, level: float, seed: int) -> tuple[pd.DataFrame, float]:
    """Replicate the readings from the posterior, and compare their misfit with that of the real ones."""
    random = np.random.default_rng(seed + 1)
    data = problem.data
    speeds = problem.predicted(picked, data.pressure_pa)[:, 0]
    speeds = speeds if data.signed else np.abs(speeds)
    spreads = problem.spread(picked, speeds)
    made = speeds + spreads * random.standard_normal(speeds.shape)
    real, replicated = (np.sum(((what - speeds) / spreads) ** 2, axis=1) for what in (data.speed_rad_s, made))
    low, middle, high = np.quantile(made, [(1 - level) / 2, 0.5, (1 + level) / 2], axis=0)
    table = pd.DataFrame(
        {
            "pressure_pa": data.pressure_pa,
            "speed_rad_s": data.speed_rad_s,
            "low_rad_s": low,
            "median_rad_s": middle,
            "high_rad_s": high,
            "inside": (data.speed_rad_s >= low) & (data.speed_rad_s <= high),
            "pull": (data.speed_rad_s - speeds.mean(axis=0)) / made.std(axis=0),
        }
    )
    return table, float(np.mean(replicated >= real))


def _marginals(problem: Problem, draws: Array, shares: Array, picked: Array, level: float) -> tuple[Marginal, ...]:
    tails = [(1 - level) / 2, 0.5, (1 + level) / 2]
    settled = settling_readings(problem, picked)
    found = []
    for k, unknown in enumerate(problem.unknowns):
        low, middle, high = (float(q) for q in np.quantile(draws[:, k], tails))
        ratio = float(np.std(shares[:, k]) * np.sqrt(12))
        known = "no" if ratio > NOT_FIXED else "partly" if ratio > WELL_FIXED else "yes"
        found.append(
            Marginal(
                unknown, middle, (low, high), ratio, known, "" if known == "yes" else settled.get(unknown.name, ALONE)
            )
        )
    return tuple(found)


def settling_readings(problem: Problem, picked: Array) -> dict[str, str]:
    """Return, for each unknown, the further reading that would narrow it most, in words.

    Each candidate is predicted for every draw of the posterior. A reading with noise of 1 % then leaves the share
    ``1 - r^2 var/(var + noise^2)`` of an unknown's variance, r being their correlation over the draws; candidates
    that leave more than 80 % of it are not named.
    """
    data = problem.data
    low, high = float(data.pressure_pa.min()), float(data.pressure_pa.max())
    most = float(problem.rotor.knudsen(1.0)) / problem.response.least_knudsen
    names = [unknown.name for unknown in problem.unknowns]
    candidates: dict[str, Array] = {}
    places = {
        f"a speed at {low / 5:.2g} Pa": np.array([low / 5]),
        f"a speed at {np.sqrt(low * high):.2g} Pa": np.array([np.sqrt(low * high)]),
    }
    if high * 3 < most / 1.3:
        places[f"a speed at {high * 3:.2g} Pa"] = np.array([high * 3])
    for words, place in places.items():
        candidates[words] = problem.predicted(picked, place)[:, 0, 0]
    brighter = _with_light(problem, picked, 3.0, np.array([low]))
    candidates[f"a speed at {low:.2g} Pa under a lamp three times as bright"] = brighter
    for words, end in ((f"a coast-down at {low:.2g} Pa", low), (f"a coast-down at {high:.2g} Pa", high)):
        rates = problem.predicted(picked, np.array([end]))[:, 2, 0]
        inertia = picked[:, names.index("inertia")] if "inertia" in names else np.ones(len(picked))
        candidates[f"{words}, its drag with a known moment of inertia"] = rates / inertia
    dry = picked[:, names.index("pivot_dry")]
    candidates["a coast-down of any pressure, its dry friction with a known moment of inertia"] = dry
    candidates["a comparison of the gauge with a reference gauge"] = picked[:, names.index("gauge")]
    found = {}
    for k, name in enumerate(names):
        if name == "scatter":
            continue
        target = np.log(np.maximum(np.abs(picked[:, k]), 1e-300))
        left = {}
        for words, values in candidates.items():
            signal = float(np.var(values))
            noise = (0.01 * float(np.mean(np.abs(values)))) ** 2
            if signal > 0 and np.std(target) > 0:
                r = float(np.corrcoef(values, target)[0, 1])
                left[words] = 1 - r**2 * signal / (signal + noise)
        best = min(left, key=lambda words: left[words], default="")
        if best and left[best] < 0.8:
            found[name] = f"{best} (leaves {100 * np.sqrt(left[best]):.0f} % of its width)"
    return found


def _with_light(problem: Problem, values: Array, times: float, pressure: Array) -> Array:
    brighter = values.copy()
    brighter[:, 0] *= times
    return np.asarray(problem.predicted(brighter, pressure)[:, 0, 0])
