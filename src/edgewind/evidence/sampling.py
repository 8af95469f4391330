"""Draws of a posterior and its evidence: ensembles of walkers that must agree, and bridge sampling.

Several ensembles walk independently, started at different modes of the posterior. They take steps
of differential evolution (ter Braak, Stat. Comput. 16, 239, 2006; Nelson, Ford and Payne, Astrophys. J. Suppl. 210, 11,
2014), snooker steps, and leaps drawn from a mixture fitted to the first draws of all ensembles, by which a walker
reaches the modes that another ensemble found; see :mod:`edgewind.evidence.walkers`. They continue until the ensembles
agree, by the rank-normalised split R-hat (Vehtari et al., Bayesian Anal. 16, 667, 2021), and hold enough independent
draws; disagreement at the end is reported.

The evidence comes from half of the draws and from those of a mixture fitted to the other half: bridge sampling (Meng
and Wong, Stat. Sinica 6, 831, 1996), its error as in Frühwirth-Schnatter, Econom. J. 7, 143 (2004), with what the
mixture takes over from the draws.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln, logsumexp, ndtri

from edgewind.evidence.even_points import ranks
from edgewind.evidence.walkers import LogDensity, Walkers, autocorrelation_time

Array = NDArray[np.float64]
Begin = Callable[..., Array]
Progress = Callable[[int, float], None]

ENSEMBLES = 4
# Ensembles agree when R-hat of every direction is below this (as Vehtari et al. advise), and hold so many independent
# draws together.
AGREED, ENOUGH = 1.01, 800
# Of the mixture: parts, degrees of freedom of Student's t, and how much wider than the draws each part is.
_PARTS, _FREEDOM, _WIDER = 8, 5.0, 1.15
_BATCH = 25
# The mixture of leaps is fitted to so many draws of the last steps of a stage.
_FITTED, _SEEN = 4000, 50
# If the ensembles do not agree after this multiple of the steps, leaps are fitted again, once.
_AGAIN = 2


@dataclass(frozen=True, eq=False)
class Sample:
    """Draws of a posterior with their diagnostics.

    Attributes
    ----------
    draws : array of shape (n, d)
        Draws, in the coordinates of the posterior.
    log_evidence, log_evidence_u : float
        Logarithm of the evidence and its numerical standard uncertainty.
    autocorrelation : float
        Longest integrated autocorrelation time, in steps.
    r_hat : float
        Greatest rank-normalised split R-hat of any direction: 1 where the ensembles agree.
    steps : int
        Steps of each walker that were kept.
    settled : bool
        Whether the ensembles agree and hold enough independent draws.
    calls : int
        Likelihoods computed.
    """

    draws: Array
    log_evidence: float
    log_evidence_u: float
    autocorrelation: float
    r_hat: float
    steps: int
    settled: bool
    calls: int


class Mixture:
    """A mixture of Student's t distributions fitted to draws."""

    def __init__(self, draws: Array, random: np.random.Generator, parts: int = _PARTS) -> None:
        size = draws.shape[1]
        parts = max(min(parts, len(draws) // (8 * size)), 1)
        whole = np.cov(draws.T).reshape(size, size) + 1e-10 * np.eye(size)
        label = _clusters(np.linalg.solve(np.linalg.cholesky(whole), draws.T).T, parts, random)
        groups = [draws[label == k] for k in range(parts) if (label == k).sum() > 2 * size]
        groups = groups or [draws]
        count = np.array([len(group) for group in groups], dtype=float)
        self.weights = count / count.sum()
        self.middles = np.array([group.mean(axis=0) for group in groups])
        self.roots = np.array(
            [
                # the width of a part with few draws is supplemented by that of all of them
                _WIDER * np.linalg.cholesky((n * np.cov(group.T).reshape(size, size) + size * whole) / (n + size))
                for group, n in zip(groups, count, strict=True)
            ]
        )
        half = (_FREEDOM + size) / 2
        constant = gammaln(half) - gammaln(_FREEDOM / 2) - size / 2 * np.log(_FREEDOM * np.pi)
        self._constants = constant + np.log(self.weights) - np.log(np.abs(np.linalg.det(self.roots)))
        self._inverses, self._half = np.linalg.inv(self.roots), half

    def draw(self, count: int, random: np.random.Generator) -> Array:
        """Return draws, shape (count, d)."""
        at = random.choice(len(self.weights), count, p=self.weights)
        stretch = np.sqrt(_FREEDOM / random.chisquare(_FREEDOM, count))[:, None]
        normal = random.standard_normal((count, self.middles.shape[1]))
        return np.asarray(self.middles[at] + stretch * np.einsum("nij,nj->ni", self.roots[at], normal))

    def log_density(self, z: Array) -> Array:
        """Return the logarithm of the density at rows of places."""
        y = np.einsum("kij,nkj->nki", self._inverses, z[:, None, :] - self.middles)
        each = self._constants - self._half * np.log1p(np.sum(y * y, axis=2) / _FREEDOM)
        return np.asarray(logsumexp(each, axis=1))


def _clusters(places: Array, parts: int, random: np.random.Generator) -> NDArray[np.int64]:
    """Return which of some clusters each place belongs to: nearest of their means, a few rounds of Lloyd's."""
    middles = places[random.choice(len(places), parts, replace=False)]
    for _ in range(10):
        label = np.argmin(np.sum((places[:, None] - middles) ** 2, axis=2), axis=1)
        middles = np.array(
            [places[label == k].mean(axis=0) if np.any(label == k) else middles[k] for k in range(parts)]
        )
    return np.asarray(label, dtype=np.int64)


def r_hat(chains: Array) -> float:
    """Return the greatest rank-normalised split R-hat of sequences of draws, shape (sequences, n, d).

    The greater of that of the places and that of the distances from the median, over all directions (Vehtari et al.,
    Bayesian Anal. 16, 667, 2021, equations 4 and 14). A direction that never moved has none.

    Examples
    --------
    >>> same = np.random.default_rng(1).standard_normal((4, 500, 2))
    >>> bool(r_hat(same) < 1.01), bool(r_hat(same + np.arange(4)[:, None, None]) > 1.5)
    (True, True)
    """
    half = chains.shape[1] // 2
    split = np.concatenate([chains[:, :half], chains[:, half : 2 * half]])
    greatest = 1.0
    for direction in np.moveaxis(split, -1, 0):
        for values in (direction, np.abs(direction - np.median(direction))):
            z = ndtri((ranks(values) - 0.375) / (values.size + 0.25))
            within = float(np.mean(np.var(z, axis=1, ddof=1)))
            if within > 0:
                between = float(np.var(np.mean(z, axis=1), ddof=1))
                greatest = max(greatest, float(np.sqrt((half - 1) / half + between / within)))
    return greatest


def sample(
    log_posterior: LogDensity,
    begin: Sequence[Begin],
    *,
    seed: int,
    steps: int = 100,
    most: int = 9,
    progress: Progress | None = None,
) -> Sample:
    """Sample a posterior whose prior is a standard normal in every direction, or in coordinates of the same volume.

    Parameters
    ----------
    log_posterior : callable
        Logarithm of likelihood times ``exp(-z.z/2)``, z scores, at rows of places.
    begin : sequence of callable
        Draw a number of places with a generator and a factor on their width; ensembles begin with them in turn.
    seed : int
        The same seed gives the same draws.
    steps : int
        Steps of each walker that are kept, after as many that are not; up to `most` times as many where the ensembles
        do not agree by then.
    progress : callable, optional
        Called with the steps done and the remaining share.
    """
    random = np.random.default_rng([seed, 5])
    size = begin[0](1, random, wider=0.0).shape[1]
    count = 2 * max(2 * size, 24)  # differences of few walkers do not reach everywhere
    calls = [0]

    def density(scores: Array) -> Array:
        calls[0] += len(scores)
        return log_posterior(scores)

    done, expected, again = 0, 2 * steps, True

    def walk(some: int, leaps: Mixture | None) -> tuple[Array, Array]:
        """Return the next places and heights, and report progress."""
        nonlocal done
        found = walkers.walk(some, leaps)
        done += some
        if progress is not None:
            progress(done, max(1 - done / expected, 0.01))
        return found

    def leaps_to(seen: Array) -> Mixture:
        late = seen[:, -_SEEN:].reshape(-1, size)
        return Mixture(late[random.permutation(len(late))[:_FITTED]], random)

    places = [begin[k % len(begin)](count, random, wider=1.2) for k in range(ENSEMBLES)]
    walkers = Walkers(density, np.array(places), random)
    leaps: Mixture | None = None
    for some in (steps // 2, steps // 4, steps // 4):  # then with leaps to what was seen before
        leaps = leaps_to(walk(max(some, _BATCH), leaps)[0])
    burnt = done
    kept: list[tuple[Array, Array]] = []
    while True:
        kept.append(walk(_BATCH, leaps))
        if done - burnt < steps:
            continue
        whole = np.concatenate([places for places, _ in kept], axis=1)  # ensemble, step, walker, direction
        apart = r_hat(whole.reshape(ENSEMBLES, -1, size))
        longest = _autocorrelation(whole)
        independent = (done - burnt) * count * ENSEMBLES / max(longest, 1.0)
        agreed = apart < AGREED and independent > ENOUGH
        if agreed or done >= (most + 1) * steps:
            break
        if (
            again and done - burnt >= _AGAIN * steps
        ):  # the ensembles have moved beyond the leaps: fit new ones and begin again
            leaps, kept, burnt, again = leaps_to(whole), [], done, False
    thin = max(int(longest / 4), 1)
    draws = whole[:, ::-thin].reshape(-1, size)
    values = np.concatenate([heights for _, heights in kept], axis=1)[:, ::-thin].reshape(-1)
    log_evidence, u = _bridge(log_posterior, draws, values, independent, random)
    calls[0] += len(draws) // 2
    return Sample(draws, log_evidence, u, longest, apart, done - burnt, bool(agreed), calls[0])


def _autocorrelation(chains: Array) -> float:
    """Return the longest integrated autocorrelation time of any direction, steps; the ensembles' mean."""
    times = np.array([autocorrelation_time(chain) for chain in chains])
    known = times[:, np.all(np.isfinite(times), axis=0)]  # a direction that never moved has none
    return float(known.mean(axis=0).max()) if known.size else np.inf


def _bridge(
    log_posterior: LogDensity, draws: Array, values: Array, independent: float, random: np.random.Generator
) -> tuple[float, float]:
    """Return the logarithm of the integral of prior times likelihood, and its standard uncertainty."""
    size = draws.shape[1]
    order = random.permutation(len(draws))
    fitting, counting = order[::2], order[1::2]
    mixture = Mixture(draws[fitting], random)
    count = len(counting)
    made = mixture.draw(count, random)
    prior = -0.5 * size * np.log(2 * np.pi)
    ours = values[counting] + prior - mixture.log_density(draws[counting])
    theirs = log_posterior(made) + prior - mixture.log_density(made)
    effective = max(min(independent / 2, count), 1.0)
    a, b = effective / (effective + count), count / (effective + count)
    log_z = float(np.median(ours))
    for _ in range(200):
        over = theirs - np.logaddexp(np.log(a) + theirs, np.log(b) + log_z)
        under = -np.logaddexp(np.log(a) + ours, np.log(b) + log_z)
        new = float(logsumexp(over) - logsumexp(under))
        if abs(new - log_z) < 1e-8:
            break
        log_z = new
    f_over = np.exp(theirs - log_z - np.logaddexp(np.log(a) + theirs - log_z, np.log(b)))
    f_under = np.exp(-np.logaddexp(np.log(a) + ours - log_z, np.log(b)))
    variance = np.var(f_over) / np.mean(f_over) ** 2 / count + np.var(f_under) / np.mean(f_under) ** 2 / effective
    optimism = _optimism(draws, values + prior - log_z, (fitting, counting), (a, b), random)
    return log_z, float(np.sqrt(variance + optimism**2))


def _optimism(
    draws: Array,
    heights: Array,
    split: tuple[NDArray[np.int64], NDArray[np.int64]],
    shares: tuple[float, float],
    random: np.random.Generator,
) -> float:
    """Return by how much ln(evidence) is too small because the mixture follows the draws that it is compared with.

    Draws follow one another in time, so what those of the mixture have by chance the others have, too. Here a mixture
    is fitted to half of the ensembles and compared with their other draws and with those of the other ensembles. It
    follows half as many independent draws as that of the evidence, so half of the difference counts.

    Parameters
    ----------
    draws, heights : array of shape (n, d), (n,)
        Draws, those of one ensemble after another, and the logarithm of their normalised density.
    split : tuple of array
        Rows to which the mixture is fitted, and those that are compared with it.
    shares : tuple of float
        Shares of draws of the posterior and of the mixture in the bridge.
    """
    log_a, log_b = np.log(shares)
    found = []
    for first in (True, False):
        fitted, own = (rows[(rows < len(draws) // 2) == first] for rows in split)
        other = split[1][(split[1] < len(draws) // 2) != first]
        mixture = Mixture(draws[fitted], random)
        inside, outside = (
            logsumexp(-np.logaddexp(log_a + heights[at] - mixture.log_density(draws[at]), log_b)) - np.log(at.size)
            for at in (own, other)
        )
        found.append(0.5 * (inside - outside))
    return float(np.mean(found))
