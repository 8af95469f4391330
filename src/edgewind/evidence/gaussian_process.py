"""The algebra of a Gaussian process: covariance, conditioning on readings, density."""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.blas import dtrsm

Array = NDArray[np.float64]
Kernel = Literal["squared exponential", "matern 7/2"]


def covariance(distance: Array, length: Array, kernel: Kernel) -> Array:
    """Return the correlation of the curve at two places a distance apart, one matrix for each length.

    The squared exponential is Rasmussen and Williams (2006), eq. 4.9; the Matérn form of order 7/2, whose curves
    are three times differentiable instead of infinitely often, their eq. 4.16 with p = 3.

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
    found = np.empty((length.size, *distance.shape))
    # A few at a time, so that what is worked on stays near the processor.
    step = max(1, 32768 // max(distance.size, 1))
    for at in range(0, length.size, step):
        found[at : at + step] = _correlation(distance[None] / length[at : at + step, None, None], kernel)
    return found


def _correlation(ratio: Array, kernel: Kernel) -> Array:
    """Return the correlation at distances over the length, which are overwritten."""
    if kernel == "squared exponential":
        ratio *= ratio
        ratio *= -0.5
        return np.exp(ratio, out=ratio)
    ratio *= np.sqrt(7.0)
    result: Array = ratio / 15.0
    result += 0.4
    result *= ratio
    result += 1.0
    result *= ratio
    result += 1.0
    np.negative(ratio, out=ratio)
    result *= np.exp(ratio, out=ratio)
    return result


def solve_triangular(root: NDArray[np.floating[Any]], right: Array, *, transposed: bool = False) -> Array:
    """Solve ``root x = right``, or ``root^T x = right``, for lower triangular matrices, such as Cholesky factors.

    Parameters
    ----------
    root : ndarray, shape (..., n, n)
    right : ndarray, shape (..., n, m) or (n, m)
    transposed : bool, optional
        Whether the transposed matrices stand on the left.

    Returns
    -------
    ndarray, shape (..., n, m)

    Examples
    --------
    >>> solve_triangular(np.array([[[2.0, 0.0], [1.0, 1.0]]]), np.array([[4.0], [5.0]])).tolist()
    [[[2.0], [3.0]]]
    """
    solved = np.empty((*root.shape[:-2], *right.shape[-2:]))
    solved[...] = right
    for at in np.ndindex(root.shape[:-2]):
        # BLAS reads columns: it is given the transposed of both, and solves x^T root^T = right^T in place.
        dtrsm(1.0, root[at].T, solved[at].T, side=1, lower=0, trans_a=int(transposed), overwrite_b=1)
    return solved


def condition(cross: Array, prior: Array, covariance_of_readings: Array, readings: Array) -> tuple[Array, Array]:
    """Condition a Gaussian process of zero mean on readings: Rasmussen and Williams (2006), algorithm 2.1.

    Parameters
    ----------
    cross : ndarray, shape (..., n, m)
        Covariance of readings with the places asked for.
    prior : ndarray, shape (..., m, m)
        Covariance of the places asked for.
    covariance_of_readings : ndarray, shape (..., n, n)
        Covariance of the readings, their noise on the diagonal.
    readings : ndarray, shape (n,)

    Returns
    -------
    mean : ndarray, shape (..., m)
    covariance : ndarray, shape (..., m, m)
    """
    root = np.linalg.cholesky(covariance_of_readings)
    places = cross.shape[-1]
    column = np.broadcast_to(readings[:, None], (*cross.shape[:-1], 1))
    whitened = solve_triangular(root, np.concatenate([cross, column], axis=-1))
    onto_places, onto_readings = whitened[..., :places], whitened[..., places:]
    transposed = np.swapaxes(onto_places, -1, -2)
    return (transposed @ onto_readings)[..., 0], prior - transposed @ onto_places


def log_density(covariance_of_readings: Array, readings: Array) -> Array:
    """Log density of readings under normal distributions of zero mean: Rasmussen and Williams (2006), eq. 2.30.

    Parameters
    ----------
    covariance_of_readings : ndarray, shape (h, n, n)
    readings : ndarray, shape (n,)

    Returns
    -------
    ndarray, shape (h,)
    """
    root = np.linalg.cholesky(covariance_of_readings)
    whitened = solve_triangular(root, readings[:, None])[..., 0]
    log_determinant = np.log(np.diagonal(root, axis1=-2, axis2=-1)).sum(-1)
    result: Array = -0.5 * (whitened**2).sum(-1) - log_determinant - 0.5 * readings.size * np.log(2 * np.pi)
    return result


def log_density_of_low_rank(factor: Array, diagonal: Array, readings: Array) -> Array:
    """Log density of readings under normal distributions with covariance ``U U^T + diag(d)``, U of few columns.

    By the identities of Woodbury and of the determinant: Rasmussen and Williams (2006), eq. A.9 and A.10.

    Parameters
    ----------
    factor : ndarray, shape (h, n, r)
        U.
    diagonal : ndarray, shape (h, n)
        d, above zero.
    readings : ndarray, shape (n,)

    Returns
    -------
    ndarray, shape (h,)
    """
    scaled = factor / diagonal[..., None]
    inner = np.swapaxes(factor, -1, -2) @ scaled
    every = np.arange(factor.shape[-1])
    inner[..., every, every] += 1.0
    root = np.linalg.cholesky(inner)
    along = np.swapaxes(scaled, -1, -2) @ readings
    whitened = solve_triangular(root, along[..., None])[..., 0]
    square = (readings**2 / diagonal).sum(-1) - (whitened**2).sum(-1)
    log_determinant = np.log(diagonal).sum(-1) + 2 * np.log(np.diagonal(root, axis1=-2, axis2=-1)).sum(-1)
    result: Array = -0.5 * (square + log_determinant + readings.size * np.log(2 * np.pi))
    return result
