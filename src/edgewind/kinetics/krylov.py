"""Flexible GMRES: the preconditioner may itself be an iteration, and differ from step to step."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

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
    """
    norm = float(np.linalg.norm(residual))
    scale = norm if reference is None else reference
    if norm == 0.0 or scale == 0.0:
        return KrylovResult(np.zeros_like(residual), (0.0,), True)
    history = [norm / scale]
    basis, corrections = [residual / norm], []
    hessenberg = np.zeros((limit + 1, limit))
    coefficients = np.zeros(0)
    for step in range(limit):
        if history[-1] <= tolerance:
            break
        correction = precondition(basis[step])
        product = apply(correction)
        corrections.append(correction)
        # Twice: classical Gram-Schmidt once loses the orthogonality that small tolerances need.
        for _ in range(2):
            for k, vector in enumerate(basis):
                overlap = float(vector @ product)
                hessenberg[k, step] += overlap
                product = product - overlap * vector
        length = float(np.linalg.norm(product))
        hessenberg[step + 1, step] = length
        target = np.zeros(step + 2)
        target[0] = norm
        matrix = hessenberg[: step + 2, : step + 1]
        coefficients = np.linalg.lstsq(matrix, target, rcond=None)[0]
        history.append(float(np.linalg.norm(target - matrix @ coefficients)) / scale)
        if length <= 1e-14 * norm:
            break
        basis.append(product / length)
    x = np.zeros_like(residual)
    for coefficient, correction in zip(coefficients, corrections, strict=True):
        x += coefficient * correction
    return KrylovResult(x, tuple(history), history[-1] <= tolerance)
