"""Flexible GMRES: the preconditioner may itself be an iteration, and differ from step to step."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class KrylovResult:
    """What an iteration found.

    Parameters
    ----------
    x : array
        The solution.
    history : tuple of float
        Norm of the residual, at the start and after each product, relative to that of the right-hand side.
    converged : bool
        Whether the last one is below the tolerance.
    """

    x: Floats
    history: tuple[float, ...]
    converged: bool

    @property
    def products(self) -> int:
        """Number of products with the operator after the start."""
        return len(self.history) - 1


def fgmres(
    apply: Callable[[Floats], Floats],
    residual: Floats,
    precondition: Callable[[Floats], Floats],
    *,
    tolerance: float,
    reference: float | None = None,
    limit: int = 60,
    watch: Callable[[list[float]], None] | None = None,
) -> KrylovResult:
    """Solve ``A x = residual`` from ``x = 0`` (Saad, SIAM J. Sci. Comput. 14, 461, 1993, algorithm 2.2).

    Parameters
    ----------
    apply : callable
        Product with A.
    residual : array
        Right-hand side.
    precondition : callable
        Approximate product with the inverse of A.
    tolerance : float
        Norm of the residual to reach, relative to `reference`.
    reference : float, optional
        Norm to compare with; that of `residual` where absent.
    limit : int
        Most products with A.
    watch : callable, optional
        Called after each product with the history of the residual so far.
    """
    norm = float(np.linalg.norm(residual))
    scale = norm if reference is None else reference
    if norm == 0.0 or scale == 0.0:
        return KrylovResult(np.zeros_like(residual), (0.0,), True)
    history = [norm / scale]
    frames = np.empty((min(limit, 12) + 1, residual.size))
    frames[0] = residual / norm
    corrections: list[Floats] = []
    # Columns of the triangular factor of the Hessenberg matrix, the rotations that made it, and the rotated target.
    triangle: list[Floats] = []
    rotations: list[tuple[float, float]] = []
    target = [norm]
    for _ in range(limit):
        if history[-1] <= tolerance:
            break
        if len(corrections) + 1 == len(frames):
            frames = np.concatenate([frames, np.empty_like(frames)])
        correction = precondition(frames[len(corrections)])
        product = apply(correction)
        corrections.append(correction)
        frame = frames[: len(corrections)]
        # Twice: classical Gram-Schmidt once loses the orthogonality that small tolerances need.
        overlaps = frame @ product
        product = product - overlaps @ frame
        again = frame @ product
        product -= again @ frame
        length = float(np.linalg.norm(product))
        column = np.append(overlaps + again, length)
        for k, (c, s) in enumerate(rotations):
            column[k], column[k + 1] = c * column[k] + s * column[k + 1], c * column[k + 1] - s * column[k]
        radius = float(np.hypot(column[-2], column[-1]))
        c, s = float(column[-2]) / radius, float(column[-1]) / radius
        rotations.append((c, s))
        column[-2] = radius
        triangle.append(column[:-1])
        target[-1:] = [c * target[-1], -s * target[-1]]
        history.append(abs(target[-1]) / scale)
        if watch is not None:
            watch(history)
        if length <= 1e-14 * norm:
            break
        frames[len(corrections)] = product / length
    count = len(triangle)
    matrix = np.zeros((count, count))
    for k, column in enumerate(triangle):
        matrix[: k + 1, k] = column
    coefficients = solve_triangular(matrix, target[:count]) if count else np.zeros(0)
    x = np.zeros_like(residual)
    for coefficient, correction in zip(coefficients, corrections, strict=True):
        x += coefficient * correction
    return KrylovResult(x, tuple(history), history[-1] <= tolerance)
