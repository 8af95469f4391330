"""Non-linear least squares by Levenberg and Marquardt on the normal equations.

Only the normal equations are needed, never the Jacobian matrix: for a structured problem, such as a comb of harmonics,
they cost far less than the matrix.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgewind.errors import EdgewindError

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class NormalEquations:
    """The least-squares problem linearised at one place.

    Attributes
    ----------
    curvature : array, shape (p, p)
        J^T J, where J holds the derivatives of the model with respect to the parameters.
    gradient : array, shape (p,)
        J^T r, where r is the residual (data minus model).
    cost : float
        Sum of squares of r.
    """

    curvature: FloatArray
    gradient: FloatArray
    cost: float


@dataclass(frozen=True)
class LeastSquares:
    """Minimum of the sum of squares.

    Attributes
    ----------
    parameters : array, shape (p,)
        Estimates.
    inverse : array, shape (p, p)
        (J^T J)^-1; times the variance of one datum it is the covariance of the estimates.
    cost : float
        Sum of squares left.
    """

    parameters: FloatArray
    inverse: FloatArray
    cost: float


def invert(curvature: FloatArray) -> FloatArray:
    """Return the inverse of a symmetric matrix whose rows may differ by many orders of magnitude in scale."""
    scale = np.sqrt(np.maximum(np.diag(curvature), np.finfo(float).tiny))
    scaled = curvature / np.outer(scale, scale)
    return np.asarray(np.linalg.pinv(scaled, hermitian=True, rcond=1e-14) / np.outer(scale, scale))


def minimise(
    normal_equations: Callable[[FloatArray], NormalEquations],
    start: FloatArray,
    *,
    settled: Callable[[FloatArray, FloatArray], bool] | None = None,
    damping: float = 1e-3,
    steps: int = 500,
    strict: bool = True,
) -> LeastSquares:
    """Return the parameters that make the sum of squares least.

    Levenberg, Quart. Appl. Math. 2, 164 (1944); Marquardt, J. SIAM 11, 431 (1963): steps solve
    (J^T J + damping diag(J^T J)) step = J^T r, the damping eased after a step that helps and raised after one that does
    not. With no damping to begin with, they are those of Gauss and Newton until one fails.

    Parameters
    ----------
    normal_equations : callable
        Parameters to `NormalEquations`.
    start : array, shape (p,)
        Where to begin.
    settled : callable, optional
        Parameters and step to whether the step is small enough to be the last. By default, when it changes no parameter
        by more than 1e-10 of itself. The last step is taken without evaluating its end.
    damping : float
        Damping of the first step.
    steps : int
        Most steps to take.
    strict : bool
        Whether too few steps are an error; otherwise the best result so far is returned.

    Returns
    -------
    LeastSquares
        The estimates and the matrix of their covariance.

    Raises
    ------
    EdgewindError
        When the steps run out.

    Examples
    --------
    >>> x = np.array([0.0, 1.0, 2.0, 3.0])
    >>> y = np.array([2.0, 1.0, 0.5, 0.25])
    >>> def decay(p):
    ...     jacobian = np.stack([np.exp(-p[1] * x), -p[0] * x * np.exp(-p[1] * x)], axis=1)
    ...     left = y - p[0] * np.exp(-p[1] * x)
    ...     return NormalEquations(jacobian.T @ jacobian, jacobian.T @ left, float(left @ left))
    >>> minimise(decay, np.array([1.0, 1.0])).parameters.round(6).tolist()
    [2.0, 0.693147]
    """
    is_last = settled or _no_longer_moves
    here = np.asarray(start, dtype=np.float64)
    now = normal_equations(here)
    for _ in range(steps):
        step = _step(now, damping)
        if is_last(here, step):
            return LeastSquares(here + step, invert(now.curvature), max(now.cost - float(now.gradient @ step), 0.0))
        with np.errstate(all="ignore"):
            trial = normal_equations(here + step)
        if np.isfinite(trial.cost) and trial.cost <= now.cost:
            here, now, damping = here + step, trial, damping / 10
        elif damping > 1e10:
            break
        else:
            damping = max(10 * damping, 1e-3)
    if strict:
        raise EdgewindError(f"the least-squares fit did not settle in {steps} steps")
    return LeastSquares(here, invert(now.curvature), now.cost)


def _step(now: NormalEquations, damping: float) -> FloatArray:
    """Return the damped step, every parameter first brought to unit scale."""
    scale = np.sqrt(np.maximum(np.diag(now.curvature), np.finfo(float).tiny))
    scaled = now.curvature / np.outer(scale, scale) + damping * np.eye(scale.size)
    try:
        return np.asarray(np.linalg.solve(scaled, now.gradient / scale) / scale)
    except np.linalg.LinAlgError:
        return np.asarray(np.linalg.pinv(scaled, hermitian=True) @ (now.gradient / scale) / scale)


def _no_longer_moves(here: FloatArray, step: FloatArray) -> bool:
    return bool(np.all(np.abs(step) <= 1e-10 * np.abs(here)))
