"""Effect of the rounding of edges to whole samples on a weighted sum of their times."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

ROUNDING_ORDERS = 16

DRIFT_NODES = (np.array([-2.857, -1.3556, 0.0, 1.3556, 2.857]), np.array([0.01126, 0.22208, 0.53333, 0.22208, 0.01126]))
"""Gauss-Hermite nodes and weights for the mean over a normal distribution."""


@dataclass(frozen=True)
class Rounding:
    """How the edges of sharp pulses are rounded.

    Attributes
    ----------
    interval_s : float
        To whole multiples of this time.
    width_s : array
        Width of each pulse, seconds.
    """

    interval_s: float
    width_s: FloatArray


def rounding_error(
    weights: FloatArray, time: FloatArray, width: FloatArray, mark: IntArray, marks: int
) -> tuple[FloatArray, float]:
    """Return the standard error that the rounding of edges to whole samples gives weighted sums of times of pulses.

    The error of an edge at x samples is a sawtooth of x, sum_h sin(2 pi h x) / (pi h) up to sign. Its phase is unknown,
    but from turn to turn it goes on as x does, so that the errors of one mark are anything but independent: they nearly
    cancel, or, where a turn takes nearly a simple fraction of a sample more than a whole number, add up. The mean over
    the phases of the square of sum_k w_k e_k is, for one mark,

        sum_h |sum_k w_k exp(2 pi i h x_k)|^2 / (2 pi^2 h^2) cos^2(pi h W)

    where W is the width of its pulses in samples, whose two edges have part each in the time of a pulse. The turning is
    itself known to a part of a sample only, and pulses in step with the sampling would else seem free of error: the
    mean is taken over what is open as well.

    Parameters
    ----------
    weights : array, shape (p, n)
        Of each pulse in each of the sums.
    time, width : arrays, shape (n,)
        When the pulses would pass if they turned exactly as fitted, and how wide they are, samples.
    mark : array of int, shape (n,)
        Which mark each pulse belongs to.
    marks : int
        Number of marks.

    Returns
    -------
    errors : array, shape (p,)
        Of the sums, samples.
    variance : float
        Of the time of one pulse, samples squared: 1/24 if the two edges have nothing to do with each other.
    """
    # of m marks that all stay within a sample over the trace, the drift left open has the density (1 - |x|)^(2 m);
    # of n pulses with independent errors the standard deviation sqrt(12 / n) / sqrt(24)
    open_drift = np.sqrt(2 / ((2 * marks + 2) * (2 * marks + 3)) + 0.5 / time.size)
    span = max(float(np.ptp(time)), 1.0)
    nodes, shares = DRIFT_NODES
    base = np.exp(2j * np.pi * np.remainder(time + (nodes * open_drift)[:, None] * (time / span), 1.0))
    mine = mark == np.arange(marks)[:, None]
    own = mine * weights[:, None, :]
    count = np.maximum(np.sum(mine, axis=1), 1)
    mean_width = (mine @ width) / count
    harmonics = np.arange(1, ROUNDING_ORDERS + 1)[:, None]
    share = 1 / (2 * np.pi**2 * harmonics**2)
    # the mean width is itself that of rounded ones, each of variance 1/6
    blur = np.exp(-2 * np.pi**2 * harmonics**2 / (6 * count))
    alike = 0.5 * (1 + np.cos(2 * np.pi * harmonics * mean_width) * blur)
    beyond = (1 / 12 - float(np.sum(share))) / 2
    variance = beyond * np.sum(weights**2, axis=1)[:, None] * np.ones(nodes.size)
    wave = np.ones_like(base)
    for order in range(ROUNDING_ORDERS):
        wave = wave * base
        variance += np.einsum("pmd,m->pd", np.abs(own @ wave.T) ** 2, share[order] * alike[order])
    single = beyond + float(np.sum(share * alike * count) / np.sum(count))
    return np.asarray(np.sqrt(variance @ shares)), single
