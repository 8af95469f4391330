"""Ensembles of walkers that step together: differential evolution, snooker steps and leaps to a mixture.

All ensembles are moved in one call of the density, half of each at a time while the other half stands still, so that
each step leaves the density invariant (Foreman-Mackey et al., Publ. Astron. Soc. Pac. 125, 306, 2013, section 3.1,
whose stretch is not used here).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
LogDensity = Callable[[Array], Array]

# Shares of the steps: differences of two walkers, the same at full length (from one mode into another), snooker.
_DIFFERENCE, _JUMP, _SNOOKER = 0.75, 0.10, 0.15
# Length of a snooker step along its line, and the normal noise on the length of a difference.
_SNOOKER_LENGTH, _NOISE = 1.7, 1e-5
# Autocorrelation is summed up to so many times itself.
_WINDOW = 5.0


class Leaps(Protocol):
    """Distribution of leaps, independent of the place of a walker."""

    def draw(self, count: int, random: np.random.Generator) -> Array:
        """Return a number of places."""

    def log_density(self, z: Array) -> Array:
        """Return the logarithm of their density at rows of places."""


class Walkers:
    """Walkers in ensembles.

    Parameters
    ----------
    log_density : callable
        Logarithm of the density at rows of places.
    places : array of shape (ensembles, walkers, d)
        Initial places; an even number in each ensemble, four or more.
    random : numpy.random.Generator
        Generator for all steps.
    """

    def __init__(self, log_density: LogDensity, places: Array, random: np.random.Generator) -> None:
        self._log_density, self._random = log_density, random
        self.places = np.array(places)
        self.heights = self._heights(self.places)

    def walk(self, steps: int, leaps: Leaps | None = None, share: float = 0.5) -> tuple[Array, Array]:
        """Take steps; return the places, shape (ensembles, steps, walkers, d), and their heights.

        Parameters
        ----------
        steps : int
            Steps of every walker.
        leaps : Leaps, optional
            Targets of some steps.
        share : float
            Share of these steps.
        """
        ensembles, walkers, size = self.places.shape
        chain = np.empty((ensembles, steps, walkers, size))
        heights = np.empty((ensembles, steps, walkers))
        for step in range(steps):
            order = self._random.permuted(np.tile(np.arange(walkers), (ensembles, 1)), axis=1)
            leap = leaps if leaps is not None and self._random.random() < share else None
            kind = self._random.choice(3, p=[_DIFFERENCE, _JUMP, _SNOOKER])
            for moving, still in ((order[:, ::2], order[:, 1::2]), (order[:, 1::2], order[:, ::2])):
                self._move(moving, still, int(kind), leap)
            chain[:, step], heights[:, step] = self.places, self.heights
        return chain, heights

    def _heights(self, places: Array) -> Array:
        return self._log_density(places.reshape(-1, places.shape[-1])).reshape(places.shape[:-1])

    def _move(self, moving: NDArray[np.int64], still: NDArray[np.int64], kind: int, leaps: Leaps | None) -> None:
        """Move some walkers of each ensemble, or not, while others stand still; both of shape (ensembles, half)."""
        at = np.arange(len(moving))[:, None]
        here, others = self.places[at, moving], self.places[at, still]
        if leaps is not None:
            there, factor = self._leap(here, leaps)
        elif kind == 2:
            there, factor = self._snooker(here, others)
        else:
            there, factor = self._difference(here, others, jump=kind == 1), np.zeros(moving.shape)
        heights = self._heights(there)
        with np.errstate(invalid="ignore"):
            gain = factor + heights - self.heights[at, moving]
        taken = np.log(self._random.random(gain.shape)) < gain
        self.places[at, moving] = np.where(taken[..., None], there, here)
        self.heights[at, moving] = np.where(taken, heights, self.heights[at, moving])

    def _difference(self, here: Array, others: Array, *, jump: bool) -> Array:
        """Step by the difference of two others (ter Braak, Stat. Comput. 16, 239, 2006)."""
        first, second = self._picked(others, here.shape[1], 2)
        length = 1.0 if jump else 2.38 / np.sqrt(2 * here.shape[-1])
        return np.asarray(
            here + (length + _NOISE * self._random.standard_normal((*here.shape[:2], 1))) * (first - second)
        )

    def _snooker(self, here: Array, others: Array) -> tuple[Array, Array]:
        """Step along the line through another walker (ter Braak, Vrugt, Stat. Comput. 18, 435, 2008).

        As the first author's own program does (demc2, ``demc_zs.r``, read): length 1.7, and d - 1 times the logarithm
        of the distances to the anchor in the acceptance.
        """
        anchor, first, second = self._picked(others, here.shape[1], 3)
        line = here - anchor
        length = np.maximum(np.linalg.norm(line, axis=-1, keepdims=True), 1e-300)
        along = np.sum(line / length * (first - second), axis=-1, keepdims=True)
        there = here + _SNOOKER_LENGTH * along * line / length
        after = np.maximum(np.linalg.norm(there - anchor, axis=-1), 1e-300)
        return there, (here.shape[-1] - 1) * np.log(after / length[..., 0])

    def _leap(self, here: Array, leaps: Leaps) -> tuple[Array, Array]:
        there = leaps.draw(here.shape[0] * here.shape[1], self._random)
        both = np.concatenate([here.reshape(there.shape), there])
        of_here, of_there = leaps.log_density(both).reshape(2, *here.shape[:2])
        return there.reshape(here.shape), of_here - of_there

    def _picked(self, others: Array, count: int, many: int) -> list[Array]:
        """Return a number of different others for each of a number of walkers."""
        ensembles, size = others.shape[:2]
        # in the order of the others, which is drawn anew at each step
        picked = np.argpartition(self._random.random((ensembles, count, size)), many - 1, axis=-1)[..., :many]
        at = np.arange(ensembles)[:, None]
        return [others[at, picked[..., k]] for k in range(many)]


def autocorrelation_time(chains: Array) -> Array:
    """Return the integrated autocorrelation time of each direction, steps, shape (d,); nan where nothing moved.

    The mean autocorrelation of all walkers about their own means, summed up to five times itself: the window of A.
    Sokal, Monte Carlo Methods in Statistical Mechanics, in Functional Integration (1997), 131, as the library emcee has
    it (its code read, the lecture not).

    Parameters
    ----------
    chains : array of shape (steps, walkers, d)
        Of one ensemble.

    Examples
    --------
    >>> random = np.random.default_rng(1)
    >>> noise = random.standard_normal((4000, 8, 1))
    >>> walk = np.zeros((4000, 8, 1))
    >>> for k in range(1, 4000):
    ...     walk[k] = 0.8 * walk[k - 1] + noise[k]
    >>> bool(abs(autocorrelation_time(walk)[0] - 9.0) < 1.0)
    True
    """
    steps = chains.shape[0]
    apart = chains - chains.mean(axis=0)
    spectrum = np.fft.rfft(apart, n=2 * steps, axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        each = np.fft.irfft(np.abs(spectrum) ** 2, axis=0)[:steps]
        found = np.mean(each / each[0], axis=1)
    times = 2.0 * np.cumsum(found, axis=0) - 1.0
    inside = np.arange(steps)[:, None] < _WINDOW * times
    last = np.where(inside.all(axis=0), steps - 1, np.argmin(inside, axis=0))
    return np.asarray(np.take_along_axis(times, last[None], axis=0)[0])
