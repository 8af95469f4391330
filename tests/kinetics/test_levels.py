"""The coarse levels: a polynomial in place of an iteration, and insensitivity to rounding."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest
from scipy import sparse

from edgewind.kinetics import levels
from edgewind.kinetics.block_map import kronecker
from edgewind.kinetics.geometry import Room, Shape
from edgewind.kinetics.krylov import apply_polynomial, fgmres, residual_roots
from edgewind.kinetics.levels import Level
from edgewind.kinetics.room_operator import Walls
from edgewind.kinetics.rotor_grid import Rotor
from edgewind.kinetics.rotor_solve import RotorCase, RotorResolution, solve_rotor
from edgewind.kinetics.solve import Case, Resolution, solve

SQUARE = Shape("square")


def shaken(operator):
    """Return the same operator with random errors of 1e-13 in its sweeps and in those of coarser levels."""
    random = np.random.default_rng(5)
    kind = type(operator)

    class Shaken(kind):
        def sweep(self, *given):
            new, fallen = super().sweep(*given)
            return new * (1.0 + 1e-13 * random.normal(size=new.shape)), fallen

    return Shaken(**{field.name: getattr(operator, field.name) for field in fields(kind)})


def vane(shape, knudsen, resolution):
    sides = (4.0,) * (2 if shape == "strip" else 3)

    def solved(operator_for):
        case = Case(Shape(shape), Room(*sides), knudsen)
        faces, both = solve(case, resolution, ("faces", "both"), tolerance=3e-3, operator_for=operator_for)
        return np.array([faces.force, faces.area_share, faces.mean("heat", 0), both.mean("heat", 0)])

    return solved


def rotor(knudsen):
    def solved(operator_for):
        case = RotorCase(Rotor(SQUARE, 4, 1.0, 3.6, 1.8, True), knudsen)
        (found,) = solve_rotor(case, RotorResolution(4, 4), ("faces",), operator_for=operator_for)
        return np.array([found.torque, *found.mean("heat")])

    return solved


@pytest.mark.parametrize(
    "solved",
    [
        pytest.param(vane("strip", 0.01, Resolution(1.0, 14)), id="strip, Kn 0.01"),
        pytest.param(vane("square", 0.03, Resolution(0.4, 5, 4)), id="square, Kn 0.03"),
        pytest.param(vane("square", 0.1, Resolution(0.4, 5, 4)), id="square, Kn 0.1"),
        pytest.param(rotor(0.03), id="rotor, Kn 0.03"),
    ],
)
def test_rounding_does_not_change_the_answer(solved):
    """Errors of a thousand last digits in the sweeps change coefficients by less than 1e-9, although the iteration
    stops at errors of 1e-5. GMRES on every level changed the area's share of the force by 7e-8 at Kn 0.03 (square),
    and the force by 4e-6 at 0.01 (strip).
    """
    assert solved(shaken) == pytest.approx(solved(lambda operator: operator), rel=1e-9)


def of_rotor(vanes, round_, parity):
    case = RotorCase(Rotor(SQUARE, vanes, 1.0, 3.6, 1.8, round_), 0.3, 0.9, 0.7)
    return case.operator(RotorResolution(4, 3, 4), parity, 1)


def of_vane(front, back, room):
    case = Case(SQUARE, Room(4.0, 3.0, 4.0), 0.3, Walls(front, back, room))
    return case.operator(Resolution(0.4, 3, 3, 4), -1.0, 1)


@pytest.mark.parametrize(
    "rough",
    [
        pytest.param(of_rotor(4, True, -1.0), id="four vanes, mirrored, cylinder"),
        pytest.param(of_rotor(4, False, None), id="four vanes, turned by a quarter"),
        pytest.param(of_rotor(2, True, None), id="two vanes, turned by a half"),
        pytest.param(of_rotor(1, True, None), id="one vane, both halves"),
        pytest.param(of_vane(1.0, 1.0, 1.0), id="lone vane"),
        pytest.param(of_vane(0.8, 0.6, 0.7), id="lone vane, unlike faces in a room that mirrors"),
    ],
)
def test_compiled_levels_agree_with_levels_solved_one_by_one(rough, monkeypatch):
    """The same maps, sweeps and polynomials, at least two levels of them; sweeps are counted alike."""
    monkeypatch.setattr(levels, "LARGEST_DENSE", 100)
    residual = np.random.default_rng(2).normal(size=rough.coarser().size)
    found = []
    for stages in (Level._stages, lambda level: None):
        monkeypatch.setattr(Level, "_stages", stages)
        first = levels.ladder(rough, rough).below.below
        assert first.below.below is not None  # two polynomials and a matrix
        first.solve(residual)
        begun = first.work(rough)
        found.append((first.solve(residual), first.work(rough) - begun, first._cycle is None))
    (compiled, swept, _), (single, too, plain) = found
    assert plain
    assert not found[0][2]
    assert swept == pytest.approx(too, rel=1e-12)
    assert compiled == pytest.approx(single, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("degree", [1, 4, 7])
def test_the_polynomial_has_the_residual_of_gmres_and_is_linear(degree):
    """A random matrix, not symmetric, with a preconditioner: the roots come in complex pairs."""
    random = np.random.default_rng(3)
    matrix = np.eye(60) + 0.5 * random.normal(size=(60, 60)) / np.sqrt(60)
    inverse = np.diag(1.0 / np.diag(matrix))
    target, other = random.normal(size=(2, 60))
    roots = residual_roots(lambda x: matrix @ (inverse @ x), target, tolerance=0.0, limit=degree)
    assert len(roots) == degree
    assert degree == 1 or any(root.imag for root in roots)

    def found(r):
        return apply_polynomial(matrix.__matmul__, r, inverse.__matmul__, roots)

    gmres = fgmres(matrix.__matmul__, target, inverse.__matmul__, tolerance=0.0, limit=degree)
    assert found(target) == pytest.approx(gmres.x, abs=1e-10)
    assert found(target + 3.0 * other) == pytest.approx(found(target) + 3.0 * found(other), abs=1e-10)


def test_the_row_product_of_two_maps_is_scipys_without_explicit_zeros():
    rng = np.random.default_rng(3)
    for left, right in (((4, 3), (5, 2)), ((1, 1), (3, 6)), ((6, 2), (1, 4))):
        sparsely = (np.where(rng.random(shape) < 0.6, rng.normal(size=shape), 0.0) for shape in (left, right))
        a, b = (sparse.csr_array(one) for one in sparsely)
        ours, theirs = kronecker(a, b), sparse.csr_array(sparse.kron(a, b))
        assert np.array_equal(ours.toarray(), theirs.toarray())
        assert ours.nnz == a.nnz * b.nnz
        assert ours.has_sorted_indices
