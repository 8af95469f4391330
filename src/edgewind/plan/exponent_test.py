"""The exponent of size from a study's sweeps, many simulated studies at once, by generalised least squares.

ln(pressure of the optimum) of rotor r in gas g is a_g + n ln(width), plus the deviation of rotor r in all its gases,
plus the error of its sweeps (Aitken 1935 for the weights; any text on mixed models for the two errors).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def exponent_weights(log_width: Array, variance: Array, scatter: Array) -> tuple[Array, Array]:
    """Return the weights of the values of ln(pressure) in the exponent, and its standard uncertainty.

    Parameters
    ----------
    log_width : array of shape (n,)
        ln(width) of each size.
    variance : array of shape (k, n, r, g)
        Variance of ln(pressure) from the sweeps of each rotor in each gas; infinite where no optimum was found.
    scatter : array of shape (n, g)
        Standard deviation of ln(pressure) between nominally identical rotors; a rotor has the same deviation in all its
        gases.

    Returns
    -------
    weights : array of shape (k, n, r, g)
        The exponent of a study is the sum of weights times values; zero where nothing was found, or where fewer than
        two sizes were in any gas.
    u : array of shape (k,)
        Its standard uncertainty; infinite in that last case.

    Examples
    --------
    Two rotors, one twice as wide, each known to 0.1, with a scatter between rotors of 0.05:

    >>> weights, u = exponent_weights(np.log([1.0, 2.0]), np.full((1, 2, 1, 1), 0.01), np.full((2, 1), 0.05))
    >>> round(float(u[0] * np.log(2) / np.sqrt(2 * (0.1**2 + 0.05**2))), 6)
    1.0
    """
    precision = np.where(np.isfinite(variance), 1 / np.maximum(variance, 1e-12), 0.0)
    tied = precision * scatter[None, :, None, :]
    total = 1 + (tied * scatter[None, :, None, :]).sum(axis=3, keepdims=True)
    x = (log_width - log_width.mean())[None, :, None, None]
    along = x * (precision - tied * tied.sum(axis=3, keepdims=True) / total)
    gases = -np.einsum("knrg,knrh->kgh", tied / total, tied)
    diagonal = np.arange(variance.shape[3])
    gases[:, diagonal, diagonal] += precision.sum(axis=(1, 2))
    # A gas without any optimum has no level to be found; one on the diagonal leaves it out.
    gases[:, diagonal, diagonal] += np.where(gases[:, diagonal, diagonal] > 0, 0.0, 1.0)
    across = along.sum(axis=(1, 2))
    levels = np.linalg.solve(gases, across[..., None])[..., 0]
    known = (x * along).sum(axis=(1, 2, 3)) - (across * levels).sum(axis=1)
    told = known > 1e-9 * np.maximum((x**2 * precision).sum(axis=(1, 2, 3)), 1e-300)
    at = levels[:, None, None, :]
    weights = along - (precision * at - tied * (tied * at).sum(axis=3, keepdims=True) / total)
    known = np.where(told, known, 1.0)
    weights = np.where(told[:, None, None, None], weights / known[:, None, None, None], 0.0)
    return weights, np.where(told, 1 / np.sqrt(known), np.inf)


def mean_of_sweeps(value: Array, u: Array) -> tuple[Array, Array]:
    """Return the mean over the last axis by stated uncertainties.

    Returns
    -------
    mean, variance : arrays
        Zero and infinite where no sweep gave a value.
    """
    precision = np.where(np.isfinite(u), 1 / np.maximum(np.nan_to_num(u, nan=1.0), 1e-6) ** 2, 0.0)
    total = precision.sum(axis=-1)
    seen = total > 0
    mean = (precision * np.where(np.isfinite(value), value, 0.0)).sum(axis=-1) / np.where(seen, total, 1.0)
    return np.asarray(mean), np.where(seen, 1 / np.where(seen, total, 1.0), np.inf)
