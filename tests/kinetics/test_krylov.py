"""Flexible GMRES against SciPy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.sparse.linalg import LinearOperator, gcrotmk

from edgewind.kinetics.drives import DRIVES
from edgewind.kinetics.geometry import Room, Shape
from edgewind.kinetics.krylov import fgmres
from edgewind.kinetics.solve import Case, Resolution


def test_gmres_needs_as_many_products_as_scipy():
    """SciPy's flexible GCROT with nothing kept from cycle to cycle (k = 0) is flexible GMRES: on a random matrix, with
    a preconditioner that differs from step to step.
    """
    random = np.random.default_rng(2)
    matrix = np.eye(80) + 0.3 * random.normal(size=(80, 80)) / np.sqrt(80)
    target = random.normal(size=80)

    def preconditioner():
        steps = iter(range(1000))
        return lambda r: r * (1.0 + 0.05 * np.cos(np.arange(80) + next(steps)))

    products = []

    def product(x):
        products.append(0)
        return matrix @ x

    own = fgmres(product, target, preconditioner(), tolerance=1e-10)
    mine = len(products)
    products.clear()
    theirs, failed = gcrotmk(
        LinearOperator((80, 80), matvec=product), target, M=LinearOperator((80, 80), matvec=preconditioner()),
        rtol=1e-10, atol=0.0, m=60, k=0,
    )  # fmt: skip
    assert own.converged and not failed
    assert own.x == pytest.approx(theirs, abs=1e-8)
    assert own.x == pytest.approx(np.linalg.solve(matrix, target), abs=1e-8)
    assert abs(mine - len(products)) <= 3


def test_gmres_and_scipy_give_the_same_strip():
    """The operator of a rarefied gas itself, without a preconditioner."""
    operator = Case(Shape("strip"), Room(3.0, 3.0), 1.0).operator(Resolution(0.35, 4, speeds=4), -1.0, 1)
    residual = operator.sweep(np.zeros(operator.size), DRIVES["faces"])[0]
    own = fgmres(operator.apply, residual, lambda r: r, tolerance=1e-8)
    theirs, failed = gcrotmk(
        LinearOperator((operator.size, operator.size), matvec=operator.apply), residual, rtol=1e-8, atol=0.0, m=60, k=0
    )
    assert own.converged and not failed
    assert own.x == pytest.approx(theirs, abs=1e-6 * np.abs(theirs).max())
