"""The compiled sweep against the plain one, and the conservation laws that every sweep must keep."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from edgewind.extras import MissingExtraError
from edgewind.kinetics import sweeps
from edgewind.kinetics.drives import Drive
from edgewind.kinetics.geometry import Room, Shape, strip_grid, thick_strip_grid
from edgewind.kinetics.plane import PlaneOperator
from edgewind.kinetics.quadrature import PlaneVelocities, SpaceVelocities
from edgewind.kinetics.room_operator import Walls
from edgewind.kinetics.scattering import CercignaniLampis
from edgewind.kinetics.solve import Case, Resolution, solve

LAW = CercignaniLampis(0.8, 0.5)


def operator(boxes=1, parity=-1.0, walls=Walls(), delta=1.3, azimuths=3, speeds=4, workers=1):
    grid = strip_grid(Room(3.0, 2.5, position=0.4 if boxes == 2 else 0.5), 0.7, 0.4, boxes=boxes)
    return PlaneOperator(grid, PlaneVelocities(azimuths, speeds), delta, walls, parity, workers)


@pytest.fixture
def plainly(monkeypatch):
    """Sweep once by the plain NumPy, and by the compiled kernel."""

    def both(op, y, drive):
        compiled = op.sweep(y, drive)
        with monkeypatch.context() as instead:
            instead.setattr(sweeps, "_refused", {sweeps.PLANE})
            return op.sweep(y, drive), compiled

    return both


def thick_operator(boxes, parity, walls):
    grid = thick_strip_grid(Room(3.0, 2.5, position=0.4 if boxes == 2 else 0.5), 0.9, 0.3, 0.3, boxes=boxes)
    return PlaneOperator(grid, PlaneVelocities(3, 4), 1.3, walls, parity)


@pytest.mark.parametrize(
    ("boxes", "parity", "walls"),
    [
        (1, -1.0, Walls()),
        (1, 1.0, Walls(0.8, 0.8, 1.0)),
        (2, 1.0, Walls(0.7, 0.9, 1.0)),
        (2, 1.0, Walls(0.0, 1.0, 0.9)),
    ],
)
@pytest.mark.parametrize("thick", [False, True])
def test_kernel_agrees_with_the_plain_sweep(plainly, boxes, parity, walls, thick):
    op = thick_operator(boxes, parity, walls) if thick else operator(boxes, parity, walls, workers=boxes)
    y = np.random.default_rng(3).normal(size=op.size)
    (plain, falls), (compiled, fell) = plainly(op, y, Drive(front=0.3, back=-0.7, room=0.2, speed=0.5))
    np.testing.assert_allclose(compiled, plain, atol=1e-12)
    for one, other in ((fell.vane, falls.vane), (fell.end, falls.end), (fell.sides[0], falls.sides[0])):
        np.testing.assert_allclose(one, other, atol=1e-12)
    if thick:
        np.testing.assert_allclose(fell.rim, falls.rim, atol=1e-12)
        assert np.all(op.split(compiled)[0][op.grid.filled] == 0.0)


@pytest.mark.parametrize(
    ("boxes", "parity", "walls"), [(1, -1.0, Walls.of(LAW, LAW, LAW)), (2, 1.0, Walls.of(0.6, LAW, 0.8))]
)
def test_kernel_agrees_with_the_plain_sweep_at_cercignani_lampis_walls(plainly, boxes, parity, walls):
    op = operator(boxes, parity, walls, azimuths=5, workers=boxes)
    y = np.random.default_rng(3).normal(size=op.size)
    (plain, _), (compiled, _) = plainly(op, y, Drive(front=0.3, back=-0.7, room=0.2, speed=0.5))
    np.testing.assert_allclose(compiled, plain, atol=1e-12)
    assert len(op.memories) > 0


def test_a_kernel_that_numba_cannot_compile_falls_back_to_the_plain_sweep_with_a_warning(monkeypatch):
    """As when a new version of Numba no longer knows the interface for extensions that the kernels use."""

    def refuse(name):
        raise AttributeError(f"{name} has no intrinsic")

    monkeypatch.setattr(sweeps, "_refused", set())
    monkeypatch.setattr(sweeps, "import_module", refuse)
    case = Case(Shape("strip"), Room(2.0, 2.0), np.inf)
    with pytest.warns(sweeps.SlowSweepWarning, match="hundred times slower"):
        answer = solve(case, Resolution(0.1, 2, speeds=2), ("faces",), tolerance=1e-2)[0]
    assert -answer.force == pytest.approx(0.25, rel=1e-9)


def test_a_kernel_without_a_fallback_names_what_to_install(monkeypatch):
    """When the kernel is loaded, as when vector types are refused, and when it is first compiled."""
    numba = pytest.importorskip("numba")

    def refuse(*arguments):
        raise numba.core.errors.TypingError("no intrinsic")

    for load in (lambda name: SimpleNamespace(sweep=refuse, sweep_each=refuse), lambda name: SimpleNamespace()):
        monkeypatch.setattr(sweeps, "import_module", load)
        with pytest.raises(MissingExtraError, match=r"does not compile 'space_kernel'.*edgewind\[solve\]"):
            sweeps.compiled("space_kernel")()


@pytest.mark.parametrize("boxes", [1, 2])
def test_uniform_gas_is_at_rest_with_its_walls(boxes):
    """More gas, or warmer gas between warmer walls, is an equilibrium: it must come back unchanged."""
    op = operator(boxes, parity=1.0, walls=Walls(0.7, 0.7, 0.9))
    more, _ = op.null
    np.testing.assert_allclose(op.sweep(more)[0], more, atol=1e-5)
    warm = 0.5 * more
    op.split(warm)[0][..., 3] = 1.0
    # Walls emit nu + tau (c^2 - 2): the gas nu + tau (c^2 - 3/2) has nu larger by 1/2 there.
    op.split(warm)[0][..., 0] = 0.0
    new, incoming = op.sweep(warm, Drive(front=1.0, back=1.0, room=1.0))
    np.testing.assert_allclose(new, warm, atol=1e-5)
    loads, _, _ = op.loads(new, incoming, Drive(front=1.0, back=1.0, room=1.0))
    assert np.abs(loads[0].heat[op.grid.cover > 0.0]).max() < 1e-5


@pytest.mark.parametrize("boxes", [1, 2])
@pytest.mark.parametrize("thick", [False, True])
def test_every_sweep_conserves_particles(boxes, thick):
    op = thick_operator(boxes, 1.0, Walls()) if thick else operator(boxes, parity=1.0)
    _, mass = op.null
    y = np.random.default_rng(4).normal(size=op.size)
    assert mass @ op.apply(y) == pytest.approx(0.0, abs=1e-14 * op.size)


@pytest.mark.parametrize(
    "velocities",
    [PlaneVelocities(1, 4), PlaneVelocities(5, 8), SpaceVelocities(2, 2, 4), SpaceVelocities(3, 2, 8)],
)
def test_discrete_velocities_keep_the_moments_of_the_maxwellian(velocities):
    """<1> = 1, <c_i c_j> = delta_ij / 2 and <c_i^2 (c^2 - 5/2)> = 0: conservation and the closure rest on
    these.
    """
    e, w = velocities.directions, velocities.direction_weights
    s, ws = velocities.speed, velocities.speed_weights
    dimension = e.shape[1]
    images = 2**dimension
    assert images * w.sum() == pytest.approx(1.0)
    assert ws.sum() == pytest.approx(1.0)
    for axis in range(dimension):
        assert images * (w @ e[:, axis] ** 2) * (ws @ s**2) == pytest.approx(0.5)
    assert ws @ (s**2 * (s**2 - 1.0 - 0.5 * dimension)) == pytest.approx(0.0, abs=1e-12)
