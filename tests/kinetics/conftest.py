from __future__ import annotations

import numpy as np
import pytest


def plain_sweep(operator, y, drive):
    """One sweep of a strip's operator as one would first write it in NumPy; the kernel must do the same.

    All velocities of a quadrant at once, a loop over cells, the specular part of the room by rounds.
    """
    grid, v, walls = operator.grid, operator.velocities, operator.walls
    moments, end_nu, side_nu, vane_nu = operator.split(y)
    ex, ey = v.directions[:, 0, None], v.directions[:, 1, None]
    s = v.speed[None, :]
    weight = v.direction_weights[:, None] * v.speed_weights[None, :]
    shape = weight.shape
    boxes, ny = grid.boxes, grid.cover.size
    new = np.zeros_like(moments)
    end, side = np.zeros((boxes, ny, 4)), np.zeros((grid.dx.size, 4))
    vane = np.zeros((boxes, ny, 4))
    faces = [(walls.front, drive.front, drive.speed), (walls.back, drive.back, -drive.speed)]

    def emitted(h, alpha, nu, tau, push=0.0, bounce=0.0):
        first = alpha * (nu + tau * (s**2 - 1.5) + push * s) + (1.0 - alpha) * (h[0] + bounce * s)
        return np.array([first, alpha * 0.5 * tau + (1.0 - alpha) * h[1]])

    def tally(wall, h, normal, tangent):
        flow = weight * s * normal
        wall += [
            np.sum(flow * h[0]),
            2.0 * np.sum(flow * s * normal * h[0]),
            2.0 * np.sum(flow * s * tangent * h[0]),
            np.sum(flow * ((s**2 + 0.5) * h[0] + h[1])),
        ]

    plane = np.zeros((boxes, 2, ny, 2, *shape))
    top = np.zeros((2, grid.dx.size, 2, *shape))
    for round_ in range(operator.passes):
        last = round_ == operator.passes - 1
        for away in (0, 1):
            if away:
                leaving = plane.copy()
                for b, (alpha, tau, speed) in enumerate(faces[:boxes]):
                    for up in (0, 1):
                        for j in range(ny):
                            h = leaving[b, up, j]
                            beyond = leaving[1 - b, up, j] if boxes == 2 else operator.parity * h
                            wall = emitted(h, alpha, vane_nu[b, j], tau, 2.0 * speed * ex, 4.0 * speed * ex)
                            plane[b, up, j] = grid.cover[j] * wall + (1.0 - grid.cover[j]) * beyond
                            if last:
                                tally(vane[b, j], h, ex, ey if up else -ey)
            bottom = np.zeros((grid.dx.size, 2, *shape))
            for b in range(boxes):
                columns = range(grid.start[b], grid.start[b + 1])
                for up in (0, 1):
                    e0, e1 = (ex if away else -ex), (ey if up else -ey)
                    if not away:
                        for j in range(ny):
                            plane[b, up, j] = emitted(plane[b, up, j], walls.room, end_nu[b, j], drive.room)
                    for i in columns if away else reversed(columns):
                        hy = bottom[i] if up else emitted(top[away, i], walls.room, side_nu[i], drive.room)
                        for j in range(ny) if up else reversed(range(ny)):
                            nu, ux, uy, tau, qx, qy = moments[i, j]
                            cu, cq = s * (e0 * ux + e1 * uy), s * (e0 * qx + e1 * qy)
                            source = np.array(
                                [
                                    nu + 2.0 * cu + tau * (s**2 - 1.0) + 4.0 / 15.0 * cq * (s**2 - 2.0),
                                    0.5 * tau + 2.0 / 15.0 * cq,
                                ]
                            )
                            a, b_ = 2.0 * s * ex / grid.dx[i], 2.0 * s * ey / grid.sides[0][j]
                            hx = plane[b, up, j].copy()
                            h = (operator.delta * source + a * hx + b_ * hy) / (operator.delta + a + b_)
                            plane[b, up, j] = 2.0 * h - hx
                            hy = 2.0 * h - hy
                            if last:
                                h1, h2 = weight * h[0], weight * h[1]
                                heat = s * (h1 * (s**2 - 2.0) + h2)
                                new[i, j] += [
                                    h1.sum(), (e0 * s * h1).sum(), (e1 * s * h1).sum(),
                                    2.0 / 3.0 * (h1 * (s**2 - 1.0) + h2).sum(),
                                    (e0 * heat).sum(), (e1 * heat).sum(),
                                ]  # fmt: skip
                        if up:
                            top[away, i] = hy
                            if last:
                                tally(side[i], hy, ey, e0)
                        else:
                            bottom[i] = hy
                    if away and last:
                        for j in range(ny):
                            tally(end[b, j], plane[b, up, j], ex, e1)
    return new, vane, end, side


@pytest.fixture(name="plain_sweep")
def _plain_sweep():
    return plain_sweep
