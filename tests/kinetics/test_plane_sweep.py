"""The compiled sweep against the plain one, and the conservation laws that every sweep must keep."""

from __future__ import annotations

import numpy as np
import pytest

from edgewind.kinetics.drives import Drive
from edgewind.kinetics.geometry import Room, strip_grid
from edgewind.kinetics.plane import PlaneOperator
from edgewind.kinetics.quadrature import PlaneVelocities, SpaceVelocities
from edgewind.kinetics.room_operator import Walls


def operator(boxes=1, parity=-1.0, walls=Walls(), delta=1.3, azimuths=3, speeds=4, workers=1):
    grid = strip_grid(Room(3.0, 2.5, position=0.4 if boxes == 2 else 0.5), 0.7, 0.4, boxes=boxes)
    return PlaneOperator(grid, PlaneVelocities(azimuths, speeds), delta, walls, parity, workers)


@pytest.mark.parametrize(
    ("boxes", "parity", "walls"),
    [
        (1, -1.0, Walls()),
        (1, 1.0, Walls(0.8, 0.8, 1.0)),
        (2, 1.0, Walls(0.7, 0.9, 1.0)),
        (2, 1.0, Walls(0.0, 1.0, 0.9)),
    ],
)
@pytest.mark.parametrize("workers", [1, 2])
def test_kernel_does_what_the_plain_sweep_does(plain_sweep, boxes, parity, walls, workers):
    op = operator(boxes, parity, walls, workers=workers)
    y = np.random.default_rng(3).normal(size=op.size)
    drive = Drive(front=0.3, back=-0.7, room=0.2, speed=0.5)
    new, incoming = op.sweep(y, drive)
    moments, vane, end, side = plain_sweep(op, y, drive)
    np.testing.assert_allclose(op.split(new)[0], moments, atol=1e-12)
    np.testing.assert_allclose(incoming.vane, vane, atol=1e-12)
    np.testing.assert_allclose(incoming.end, end, atol=1e-12)
    np.testing.assert_allclose(incoming.sides[0], side, atol=1e-12)


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
def test_every_sweep_conserves_particles(boxes):
    op = operator(boxes, parity=1.0)
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
