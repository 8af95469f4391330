"""The transport sweep in a plane: two reduced distributions, diamond differences, nothing stored over the volume.

For a unit direction e, speed s and rarefaction delta the reduced distributions h1 and h2 obey

    e . grad h + (delta / s) h = (delta / s) S,
    S1 = (nu - tau) + s (2 u.e - 2 g) + s^2 tau + s^3 g,   S2 = tau / 2 + s g / 2,   g = (4/15) q.e,

where h1 and h2 are the averages of h and (cz^2 - 1/2) h over cz. On a cell of sides dx, dy diamond differences put
the cell's value midway between opposite faces, so that with a = 2 |ex| / dx, b = 2 |ey| / dy and r = delta / s

    h = (r S + a h_in,x + b h_in,y) / (r + a + b),   h_out = 2 h - h_in.

One direction is swept at a time, all speeds together as one row of lanes; of the distribution only one column of
faces lives in memory. A domain is one box on one side of the vane's plane, or two boxes that meet there; each has
its own x axis, which starts at the vane and points away from it, and the y axis starts at the plane of symmetry.
"""

from __future__ import annotations

import numba as nb
import numpy as np
from numpy.typing import NDArray

from .lanes import load, store, total

Floats = NDArray[np.float64]


@nb.njit(error_model="numpy", cache=True, inline="always")
def emitted(s, incoming, alpha, nu, tau, push, bounce):  # type: ignore[no-untyped-def]
    """h1 off Maxwell's wall: diffuse nu + tau (c^2 - 2) + s push, specular what came in + s bounce."""
    return alpha * (nu + tau * (s * s - 1.5) + push * s) + (1.0 - alpha) * (incoming + bounce * s)


@nb.njit(error_model="numpy", cache=True, inline="always")
def tally(wall, h1, h2, s, ws, normal, tangent, weight):  # type: ignore[no-untyped-def]
    """Add what one direction brings to a wall: flux, pressure, shear, energy."""
    flow = weight * normal
    pressure = total(ws * s * h1)
    wall[0] += flow * total(ws * h1)
    wall[1] += 2.0 * flow * normal * pressure
    wall[2] += 2.0 * flow * tangent * pressure
    wall[3] += flow * total(ws * ((s * s + 0.5) * h1 + h2))


@nb.njit(error_model="numpy", cache=True)
def column(lanes, faces, below, m, out, s, rates, w, e0, e1, ax, dy, weight, last):  # type: ignore[no-untyped-def]
    """Sweep one column of cells, from the wall or plane where `below` enters; leave there what comes out."""
    ny = dy.size
    rate = load(rates, lanes)
    speed = load(s, lanes)
    w1 = load(w, lanes)
    w2 = w1 * speed
    w3 = w2 * speed
    w4 = w3 * speed
    y1 = load(below[0], lanes)
    y2 = load(below[1], lanes)
    for jj in range(ny):
        j = jj if e1 > 0.0 else ny - 1 - jj
        g = (4.0 / 15.0) * (m[j, 4] * e0 + m[j, 5] * e1)
        a1 = 2.0 * (m[j, 1] * e0 + m[j, 2] * e1 - g)
        by = 2.0 * abs(e1) / dy[j]
        inverse = 1.0 / (rate + (ax + by))
        x1 = load(faces[j, 0], lanes)
        x2 = load(faces[j, 1], lanes)
        s1 = (m[j, 0] - m[j, 3]) + speed * (a1 + speed * (m[j, 3] + speed * g))
        s2 = 0.5 * m[j, 3] + speed * (0.5 * g)
        h1 = (rate * s1 + ax * x1 + by * y1) * inverse
        h2 = (rate * s2 + ax * x2 + by * y2) * inverse
        store(faces[j, 0], h1 + h1 - x1)
        store(faces[j, 1], h2 + h2 - x2)
        y1 = h1 + h1 - y1
        y2 = h2 + h2 - y2
        if last:
            t0 = total(w1 * h1)
            t1 = total(w2 * h1)
            o = out[j]
            o[0] += weight * t0
            o[1] += weight * e0 * t1
            o[2] += weight * e1 * t1
            o[3] += weight * (2.0 / 3.0) * (total(w3 * h1 + w1 * h2) - t0)
            heat = weight * (total(w4 * h1 + w2 * h2) - 2.0 * t1)
            o[4] += e0 * heat
            o[5] += e1 * heat
    store(below[0], y1)
    store(below[1], y2)


@nb.njit(error_model="numpy", cache=True)
def through_the_plane(
    lanes, plane, vane, cover, parity, alpha_vane, drive, nu, ex, ey, weight, speeds, w, last
):  # type: ignore[no-untyped-def]  # fmt: skip
    """In the vane's plane, turn what leaves each box into what enters it from the vane or from the other box."""
    boxes = plane.shape[0]
    s = load(speeds, lanes)
    ws = load(w, lanes) * s
    for up in range(2):
        e1 = ey if up == 1 else -ey
        for j in range(cover.size):
            f1 = load(plane[0, up, j, 0], lanes)
            f2 = load(plane[0, up, j, 1], lanes)
            b1 = load(plane[boxes - 1, up, j, 0], lanes)
            b2 = load(plane[boxes - 1, up, j, 1], lanes)
            sign = parity if boxes == 1 else 1.0
            c = cover[j]
            for b in range(boxes):
                h1 = f1 if b == 0 else b1
                h2 = f2 if b == 0 else b2
                g1 = b1 if b == 0 else f1
                g2 = b2 if b == 0 else f2
                if last:
                    tally(vane[b, j], h1, h2, s, ws, ex, e1, weight)
                push = 2.0 * (drive[b, 1] * ex + drive[b, 2] * e1)
                bounce = 4.0 * drive[b, 1] * ex
                alpha = alpha_vane[b]
                wall1 = emitted(s, h1, alpha, nu[b, j], drive[b, 0], push, bounce)
                wall2 = 0.5 * alpha * drive[b, 0] + (1.0 - alpha) * h2
                store(plane[b, up, j, 0], c * wall1 + (1.0 - c) * sign * g1)
                store(plane[b, up, j, 1], c * wall2 + (1.0 - c) * sign * g2)


@nb.njit(error_model="numpy", cache=True)
def work(
    lanes, first, step, plane, top, bottom, start, dx, dy, directions, weights, s, w, delta, cover, parity,
    alpha_vane, alpha_room, vane_drive, room_tau, passes, moments, end_nu, side_nu, vane_nu,
    out, end, side, vane,
):  # type: ignore[no-untyped-def]  # fmt: skip
    """Sweep the directions first, first + step, ... and add them to this worker's sums."""
    boxes = start.size - 1
    ny = dy.size
    rates = delta / s
    speed = load(s, lanes)
    ws = load(w, lanes) * speed
    specular = 1.0 - alpha_room
    for d in range(first, directions.shape[0], step):
        ex = directions[d, 0]
        ey = directions[d, 1]
        weight = weights[d]
        plane[:] = 0.0
        top[:] = 0.0
        for p in range(passes):
            last = p == passes - 1
            for away in range(2):
                e0 = ex if away == 1 else -ex
                if away == 1:
                    through_the_plane(lanes, plane, vane, cover, parity, alpha_vane, vane_drive, vane_nu,
                                      ex, ey, weight, s, w, last)  # fmt: skip
                for b in range(boxes):
                    for up in range(2):
                        e1 = ey if up == 1 else -ey
                        if away == 0:
                            for j in range(ny):
                                h = plane[b, up, j]
                                store(h[0], emitted(speed, load(h[0], lanes), alpha_room, end_nu[b, j],
                                                    room_tau, 0.0, 0.0))  # fmt: skip
                                store(h[1], load(h[1], lanes) * specular + 0.5 * alpha_room * room_tau)
                        for n in range(start[b + 1] - start[b]):
                            i = start[b] + n if away == 1 else start[b + 1] - 1 - n
                            h = top[away, i] if up == 0 else bottom[i]
                            if up == 0:
                                store(h[0], emitted(speed, load(h[0], lanes), alpha_room, side_nu[i],
                                                    room_tau, 0.0, 0.0))  # fmt: skip
                                store(h[1], load(h[1], lanes) * specular + 0.5 * alpha_room * room_tau)
                            column(lanes, plane[b, up], h, moments[i], out[i], s, rates, w, e0, e1,
                                   2.0 * ex / dx[i], dy, weight, last)  # fmt: skip
                            if up == 0:
                                # At the plane of symmetry what goes down comes up again.
                                store(bottom[i, 0], load(h[0], lanes))
                                store(bottom[i, 1], load(h[1], lanes))
                            else:
                                store(top[away, i, 0], load(h[0], lanes))
                                store(top[away, i, 1], load(h[1], lanes))
                                if last:
                                    tally(side[i], load(h[0], lanes), load(h[1], lanes), speed, ws, ey, e0, weight)
                        if away == 1 and last:
                            for j in range(ny):
                                h = plane[b, up, j]
                                tally(end[b, j], load(h[0], lanes), load(h[1], lanes), speed, ws, ex, e1, weight)


@nb.njit(error_model="numpy", parallel=True, cache=True)
def share(
    lanes, workers, plane, top, bottom, start, dx, dy, directions, weights, s, w, delta, cover, parity,
    alpha_vane, alpha_room, vane_drive, room_tau, passes, moments, end_nu, side_nu, vane_nu,
    out, end, side, vane,
):  # type: ignore[no-untyped-def]  # fmt: skip
    for t in nb.prange(workers):
        work(lanes, t, workers, plane[t], top[t], bottom[t], start, dx, dy, directions, weights, s, w, delta, cover,
             parity, alpha_vane, alpha_room, vane_drive, room_tau, passes, moments, end_nu, side_nu, vane_nu,
             out[t], end[t], side[t], vane[t])  # fmt: skip


def sweep(
    workers: int, plane: Floats, top: Floats, bottom: Floats, start: NDArray[np.int64], dx: Floats, dy: Floats,
    directions: Floats, weights: Floats, s: Floats, w: Floats, delta: float, cover: Floats, parity: float,
    alpha_vane: Floats, alpha_room: float, vane_drive: Floats, room_tau: float, passes: int,
    moments: Floats, end_nu: Floats, side_nu: Floats, vane_nu: Floats,
    out: Floats, end: Floats, side: Floats, vane: Floats,
) -> None:  # fmt: skip
    """Carry the gas once across the domain, along every direction, and add up what it brings.

    Parameters
    ----------
    workers : int
        Threads to share the directions.
    plane, top, bottom : arrays (workers, boxes, 2, ny, 2, speeds), (workers, 2, columns, 2, speeds), (workers,
        columns, 2, speeds)
        Scratch for the faces of one direction.
    start : array (boxes + 1)
        First column of each box.
    dx, dy : arrays (columns,), (ny,)
        Sides of the cells.
    directions, weights, s, w : arrays
        Unit vectors of a quadrant with their weights, speeds with theirs.
    delta : float
        Rarefaction parameter; 0 for free flight.
    cover : array (ny,)
        Share of each face in the vane's plane that the vane covers.
    parity : float
        +1 or -1: how the field continues behind the plane, where there is one box.
    alpha_vane, alpha_room : array (boxes,), float
        Accommodation of the vane's faces and of the room.
    vane_drive : array (boxes, 3)
        Temperature, normal and tangential velocity of each face.
    room_tau : float
        Temperature of the room.
    passes : int
        Rounds for the specular part that the walls of the room send back.
    moments : array (columns, ny, 6)
        nu, ux, uy, tau, qx, qy that scatter.
    end_nu, side_nu, vane_nu : arrays (boxes, ny), (columns,), (boxes, ny)
        Density of what each wall sends back.
    out, end, side, vane : arrays (workers, columns, ny, 6), (workers, boxes, ny, 4), (workers, columns, 4),
        (workers, boxes, ny, 4)
        Sums, to be zero before: moments, and flux, pressure, shear and energy that fall on each wall.
    """
    lanes = (0.0,) * s.size
    rest = (
        start, dx, dy, directions, weights, s, w, delta, cover, parity, alpha_vane, alpha_room, vane_drive,
        room_tau, passes, moments, end_nu, side_nu, vane_nu,
    )  # fmt: skip
    if workers == 1:
        # A single worker is spared the price of starting threads.
        work(lanes, 0, 1, plane[0], top[0], bottom[0], *rest, out[0], end[0], side[0], vane[0])
    else:
        share(lanes, workers, plane, top, bottom, *rest, out, end, side, vane)
