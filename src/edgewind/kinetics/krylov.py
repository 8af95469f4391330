"""Flexible GMRES, whose preconditioner may differ from step to step, and the polynomials by which GMRES solves."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class KrylovResult:
    """Result of an iteration.

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
        Norm to compare with; default: that of `residual`.
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


def residual_roots(
    apply: Callable[[Floats], Floats], start: Floats, *, tolerance: float, limit: int, least: int = 1
) -> list[complex]:
    """Return the roots of the residual polynomial of GMRES from `start`, in an order that is stable to apply.

    ``prod_k (1 - A / root_k) start`` is the residual of GMRES. They are the harmonic Ritz values of the
    Krylov space (S. Goossens and D. Roose, Numer. Linear Algebra Appl. 6, 281, 1999), ordered as Leja points; the
    second of a complex pair follows the first.

    Parameters
    ----------
    apply : callable
        Product with A.
    start : array
        Right-hand side.
    tolerance, limit, least : float, int, int
        Relative residual to reach, and most and fewest products.
    """
    frames = np.empty((limit + 1, start.size))
    frames[0] = start / np.linalg.norm(start)
    matrix = np.zeros((limit + 1, limit))
    count = 0
    while count < limit:
        product = apply(frames[count])
        # Twice, as above.
        for _ in range(2):
            overlaps = frames[: count + 1] @ product
            product = product - overlaps @ frames[: count + 1]
            matrix[: count + 1, count] += overlaps
        length = float(np.linalg.norm(product))
        matrix[count + 1, count] = length
        count += 1
        if length <= 1e-12:
            break
        frames[count] = product / length
        target = np.eye(1, count + 1)[0]
        found = np.linalg.lstsq(matrix[: count + 1, :count], target)[0]
        if count >= least and np.linalg.norm(target - matrix[: count + 1, :count] @ found) <= tolerance:
            break
    square = matrix[:count, :count].copy()
    square[:, -1] += matrix[count, count - 1] ** 2 * np.linalg.solve(square.T, np.eye(1, count, count - 1)[0])
    return _leja(np.asarray(np.linalg.eigvals(square), dtype=np.complex128))


def _leja(points: NDArray[np.complex128]) -> list[complex]:
    """Order points so that each is far from all before it, the largest first."""
    left = [complex(point) for point in points if point.imag >= 0.0]
    found: list[complex] = []
    while left:
        far = [
            float(np.sum(np.log(np.abs(point - np.array(found)) + 1e-300))) if found else abs(point) for point in left
        ]
        point = left.pop(int(np.argmax(far)))
        found += [point] if point.imag == 0.0 else [point, point.conjugate()]
    return found


def apply_polynomial(
    apply: Callable[[Floats], Floats],
    residual: Floats,
    precondition: Callable[[Floats], Floats],
    roots: Sequence[complex],
) -> Floats:
    """Return the x with the residual ``prod_k (1 - A P / root_k) residual``: an approximate solution, linear in
    `residual`.

    Parameters
    ----------
    apply, precondition : callable
        Products with A, and with its approximate inverse P.
    residual : array
        Right-hand side.
    roots : sequence of complex
        As `residual_roots` gives them for the product of A and P.
    """
    x, left, number = np.zeros_like(residual), residual, 0
    while number < len(roots):
        root = roots[number]
        step, number = precondition(left), number + 1
        size = 1.0 / root.real
        if root.imag:
            # A pair at once, by real numbers.
            size, number = 1.0 / abs(root) ** 2, number + 1
            step = 2.0 * root.real * step - precondition(apply(step))
        x += size * step
        if number < len(roots):
            left = left - size * apply(step)
    return x
