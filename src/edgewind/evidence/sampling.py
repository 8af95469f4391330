"""Draws of a posterior and its evidence: an ensemble of walkers, and bridge sampling.

Walkers take steps of differential evolution (ter Braak, Stat. Comput. 16, 239, 2006; Nelson, Ford and Payne, Astrophys.
J. Suppl. 210, 11, 2014) and snooker steps, by emcee (Foreman-Mackey et al., Publ. Astron. Soc. Pac. 125, 306, 2013),
until the chain is many autocorrelation times long. The evidence comes from the same draws and from those of a
heavy-tailed proposal fitted to half of them: bridge sampling (Meng and Wong, Stat. Sinica 6, 831, 1996), its error as
in Frühwirth-Schnatter, Econom. J. 7, 143 (2004), the other half alone counting.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln, logsumexp

Array = NDArray[np.float64]
LogDensity = Callable[[Array], Array]
Progress = Callable[[int, float], None]

# Of the proposal that the evidence is found with: degrees of freedom of Student's t, and how much wider than the draws.
_FREEDOM, _WIDER = 5.0, 1.15
# A chain is called settled when it is this many autocorrelation times long: with all walkers some thousand independent
# draws.
SETTLED = 20
_BATCH = 50


@dataclass(frozen=True, eq=False)
class Sample:
    """Draws of a posterior with their diagnostics.

    Attributes
    ----------
    scores : array of shape (n, d)
        Draws.
    log_evidence, log_evidence_u : float
        Logarithm of the evidence and its numerical standard uncertainty.
    autocorrelation : float
        Longest integrated autocorrelation time, in steps.
    steps : int
        Steps of each walker that were kept.
    settled : bool
        Whether the chain is many autocorrelation times long.
    calls : int
        Likelihoods computed.
    """

    scores: Array
    log_evidence: float
    log_evidence_u: float
    autocorrelation: float
    steps: int
    settled: bool
    calls: int


def sample(
    log_posterior: LogDensity,
    centre: Array,
    root: Array,
    *,
    seed: int,
    steps: int = 400,
    most: int = 5,
    progress: Progress | None = None,
) -> Sample:
    """Sample a posterior whose prior is a standard normal in every direction.

    Parameters
    ----------
    log_posterior : callable
        Logarithm of likelihood times ``exp(-z.z/2)`` at rows of scores.
    centre, root : array of shape (d,), (d, d)
        Where walkers start: a normal distribution.
    seed : int
        The same seed gives the same draws.
    steps : int
        Steps of each walker that are kept, after half as many that are not; up to `most` times as many where the chain
        is not settled by then.
    progress : callable, optional
        Called with steps done and the share that is left.
    """
    import emcee  # imported on first use: many commands never fit

    size = centre.size
    walkers = 2 * (max(4 * size, 48) // 2)
    random = np.random.default_rng([seed, 5])
    start = centre + 1.2 * random.standard_normal((walkers, size)) @ root.T
    calls = [0]

    def density(scores: Array) -> Array:
        calls[0] += len(scores)
        return log_posterior(scores)

    moves = [
        (emcee.moves.DEMove(), 0.75),
        (emcee.moves.DEMove(gamma0=1.0), 0.1),
        (emcee.moves.DESnookerMove(), 0.15),
    ]
    sampler = emcee.EnsembleSampler(walkers, size, density, moves=moves, vectorize=True)
    sampler.random_state = np.random.RandomState(seed).get_state()
    state = emcee.State(start, random_state=np.random.RandomState(seed).get_state())
    burn, done, longest = steps // 2, 0, np.inf
    for _ in range(max(burn // _BATCH, 1)):
        state = sampler.run_mcmc(state, _BATCH)
        done += _BATCH
        if progress is not None:
            progress(done, 1 - done / (burn + steps))
    sampler.reset()
    kept = 0
    while True:
        state = sampler.run_mcmc(state, _BATCH)
        kept += _BATCH
        if progress is not None:
            progress(burn + kept, max(1 - (burn + kept) / (burn + steps), 0.01))
        if kept >= steps:
            with np.errstate(invalid="ignore"):  # a direction that never moved has none
                longest = float(np.nanmax(sampler.get_autocorr_time(tol=0, quiet=True)))
            if kept >= SETTLED * longest or kept >= most * steps:
                break
    chain, worth = sampler.get_chain(), sampler.get_log_prob()
    thin = max(int(longest / 4), 1)
    draws, values = chain[::-thin].reshape(-1, size), worth[::-thin].reshape(-1)
    independent = kept * walkers / max(longest, 1.0)
    log_evidence, u = _bridge(log_posterior, draws, values, independent, random)
    return Sample(draws, log_evidence, u, longest, kept, bool(kept >= SETTLED * longest), calls[0] + len(draws))


def _bridge(
    log_posterior: LogDensity, draws: Array, values: Array, independent: float, random: np.random.Generator
) -> tuple[float, float]:
    """Return the logarithm of the integral of prior times likelihood, and its standard uncertainty."""
    size = draws.shape[1]
    order = random.permutation(len(draws))
    fitting, counting = order[::2], order[1::2]
    middle = draws[fitting].mean(axis=0)
    root = _WIDER * np.linalg.cholesky(np.cov(draws[fitting].T) + 1e-10 * np.eye(size))

    def log_proposal(z: Array) -> Array:
        y = np.linalg.solve(root, (z - middle).T)
        constant = gammaln((_FREEDOM + size) / 2) - gammaln(_FREEDOM / 2) - size / 2 * np.log(_FREEDOM * np.pi)
        constant -= np.linalg.slogdet(root)[1]
        return np.asarray(constant - (_FREEDOM + size) / 2 * np.log1p(np.sum(y * y, axis=0) / _FREEDOM))

    count = len(counting)
    stretch = np.sqrt(_FREEDOM / random.chisquare(_FREEDOM, count))[:, None]
    made = middle + stretch * random.standard_normal((count, size)) @ root.T
    prior = -0.5 * size * np.log(2 * np.pi)
    ours = values[counting] + prior - log_proposal(draws[counting])
    theirs = log_posterior(made) + prior - log_proposal(made)
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
    return log_z, float(np.sqrt(variance))
