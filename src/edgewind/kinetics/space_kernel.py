"""The transport sweep in space: one distribution, diamond differences, nothing stored over the volume.

For a unit direction e, speed s and rarefaction delta the distribution obeys

    e . grad h + (delta / s) h = (delta / s) S,
    S = (nu - (3/2) tau) + s (2 u.e - (5/2) g) + s^2 tau + s^3 g,   g = (4/15) q.e,

and on a cell diamond differences put its value midway between each pair of opposite faces, as in the plane. Boxes, axes
and walls are as there; two planes of symmetry, y = 0 and z = 0, bound the domain.
"""

from __future__ import annotations

import numba as nb
import numpy as np
from numpy.typing import NDArray

from .lanes import load, store, total

Floats = NDArray[np.float64]


@nb.njit(error_model="numpy", cache=True, inline="always")
def emitted(s, incoming, alpha, nu, tau, push, bounce):  # type: ignore[no-untyped-def]
    """Maxwell's wall: diffuse nu + tau (c^2 - 2) + s push, specular what came in + s bounce."""
    return alpha * (nu + tau * (s * s - 2.0) + push * s) + (1.0 - alpha) * (incoming + bounce * s)


@nb.njit(error_model="numpy", cache=True, inline="always")
def tally(wall, h, s, ws, normal, tangent, weight):  # type: ignore[no-untyped-def]
    """Add what one direction brings to a wall: flux, pressure, shear, energy."""
    flow = weight * normal
    pressure = total(ws * s * h)
    wall[0] += flow * total(ws * h)
    wall[1] += 2.0 * flow * normal * pressure
    wall[2] += 2.0 * flow * tangent * pressure
    wall[3] += flow * total(ws * s * s * h)


@nb.njit(error_model="numpy", cache=True)
def row(lanes, xs, ys, zs, m, out, s, rates, w, e0, e1, e2, ab, dz, weight, last):  # type: ignore[no-untyped-def]
    """Sweep one row of cells along z, from what enters in `zs`; leave there what comes out."""
    nz = dz.size
    ax, by = ab
    rate = load(rates, lanes)
    speed = load(s, lanes)
    w1 = load(w, lanes)
    w2 = w1 * speed
    w3 = w2 * speed
    w4 = w3 * speed
    z = load(zs, lanes)
    for kk in range(nz):
        k = kk if e2 > 0.0 else nz - 1 - kk
        g = (4.0 / 15.0) * (m[k, 5] * e0 + m[k, 6] * e1 + m[k, 7] * e2)
        a1 = 2.0 * (m[k, 1] * e0 + m[k, 2] * e1 + m[k, 3] * e2) - 2.5 * g
        cz = 2.0 * abs(e2) / dz[k]
        x = load(xs[k], lanes)
        y = load(ys[k], lanes)
        source = (m[k, 0] - 1.5 * m[k, 4]) + speed * (a1 + speed * (m[k, 4] + speed * g))
        h = (rate * source + ax * x + by * y + cz * z) / (rate + (ax + by + cz))
        store(xs[k], h + h - x)
        store(ys[k], h + h - y)
        z = h + h - z
        if last:
            t0 = total(w1 * h)
            t1 = weight * total(w2 * h)
            heat = weight * total(w4 * h) - 2.5 * t1
            o = out[k]
            o[0] += weight * t0
            o[1] += e0 * t1
            o[2] += e1 * t1
            o[3] += e2 * t1
            o[4] += weight * (2.0 / 3.0) * (total(w3 * h) - 1.5 * t0)
            o[5] += e0 * heat
            o[6] += e1 * heat
            o[7] += e2 * heat
    store(zs, z)


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
        for out in range(2):
            for j in range(cover.shape[0]):
                for k in range(cover.shape[1]):
                    front = load(plane[0, up, out, j, k], lanes)
                    back = load(plane[boxes - 1, up, out, j, k], lanes)
                    sign = parity if boxes == 1 else 1.0
                    c = cover[j, k]
                    for b in range(boxes):
                        own = front if b == 0 else back
                        other = back if b == 0 else front
                        if last:
                            tally(vane[b, j, k], own, s, ws, ex, e1, weight)
                        push = 2.0 * (drive[b, 1] * ex + drive[b, 2] * e1)
                        bounce = 4.0 * drive[b, 1] * ex
                        wall = emitted(s, own, alpha_vane[b], nu[b, j, k], drive[b, 0], push, bounce)
                        store(plane[b, up, out, j, k], c * wall + (1.0 - c) * sign * other)


@nb.njit(error_model="numpy", cache=True)
def work(
    lanes, first, step, plane, tops, outers, bottoms, inners, start, dx, dy, dz, directions, weights, s, w, delta,
    cover, parity, alpha_vane, alpha_room, vane_drive, room_tau, passes, moments, end_nu, side_nu, outer_nu, vane_nu,
    out, end, side, outer, vane,
):  # type: ignore[no-untyped-def]  # fmt: skip
    """Sweep the directions first, first + step, ... and add them to this worker's sums."""
    boxes = start.size - 1
    ny = dy.size
    nz = dz.size
    rates = delta / s
    speed = load(s, lanes)
    ws = load(w, lanes) * speed
    for d in range(first, directions.shape[0], step):
        ex = directions[d, 0]
        ey = directions[d, 1]
        ez = directions[d, 2]
        weight = weights[d]
        plane[:] = 0.0
        tops[:] = 0.0
        outers[:] = 0.0
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
                        for outward in range(2):
                            e2 = ez if outward == 1 else -ez
                            xs = plane[b, up, outward]
                            if away == 0:
                                for j in range(ny):
                                    for k in range(nz):
                                        store(xs[j, k], emitted(speed, load(xs[j, k], lanes), alpha_room,
                                                                end_nu[b, j, k], room_tau, 0.0, 0.0))  # fmt: skip
                            for n in range(start[b + 1] - start[b]):
                                i = start[b] + n if away == 1 else start[b + 1] - 1 - n
                                ys = tops[away, outward, i] if up == 0 else bottoms[outward, i]
                                if up == 0:
                                    for k in range(nz):
                                        store(ys[k], emitted(speed, load(ys[k], lanes), alpha_room,
                                                             side_nu[i, k], room_tau, 0.0, 0.0))  # fmt: skip
                                for jj in range(ny):
                                    j = jj if up == 1 else ny - 1 - jj
                                    zs = outers[away, up, i, j] if outward == 0 else inners[up, i, j]
                                    if outward == 0:
                                        store(zs, emitted(speed, load(zs, lanes), alpha_room, outer_nu[i, j],
                                                          room_tau, 0.0, 0.0))  # fmt: skip
                                    row(lanes, xs[j], ys, zs, moments[i, j], out[i, j], s, rates, w, e0, e1, e2,
                                        (2.0 * ex / dx[i], 2.0 * ey / dy[j]), dz, weight, last)  # fmt: skip
                                    # What meets a plane of symmetry comes back from it; what meets a wall is kept.
                                    if outward == 0:
                                        store(inners[up, i, j], load(zs, lanes))
                                    else:
                                        store(outers[away, up, i, j], load(zs, lanes))
                                        if last:
                                            tally(outer[i, j], load(zs, lanes), speed, ws, ez, e0, weight)
                                for k in range(nz):
                                    if up == 0:
                                        store(bottoms[outward, i, k], load(ys[k], lanes))
                                    else:
                                        store(tops[away, outward, i, k], load(ys[k], lanes))
                                        if last:
                                            tally(side[i, k], load(ys[k], lanes), speed, ws, ey, e0, weight)
                            if away == 1 and last:
                                for j in range(ny):
                                    for k in range(nz):
                                        tally(end[b, j, k], load(xs[j, k], lanes), speed, ws, ex, e1, weight)


@nb.njit(error_model="numpy", parallel=True, cache=True)
def share(
    lanes, workers, plane, tops, outers, bottoms, inners, start, dx, dy, dz, directions, weights, s, w, delta,
    cover, parity, alpha_vane, alpha_room, vane_drive, room_tau, passes, moments, end_nu, side_nu, outer_nu, vane_nu,
    out, end, side, outer, vane,
):  # type: ignore[no-untyped-def]  # fmt: skip
    """Run the workers side by side."""
    for t in nb.prange(workers):
        work(lanes, t, workers, plane[t], tops[t], outers[t], bottoms[t], inners[t], start, dx, dy, dz, directions,
             weights, s, w, delta, cover, parity, alpha_vane, alpha_room, vane_drive, room_tau, passes, moments,
             end_nu, side_nu, outer_nu, vane_nu, out[t], end[t], side[t], outer[t], vane[t])  # fmt: skip


def sweep(
    workers: int, scratch: tuple[Floats, ...], start: NDArray[np.int64], dx: Floats, dy: Floats, dz: Floats,
    directions: Floats, weights: Floats, s: Floats, w: Floats, delta: float, cover: Floats, parity: float,
    alpha_vane: Floats, alpha_room: float, vane_drive: Floats, room_tau: float, passes: int,
    moments: Floats, end_nu: Floats, side_nu: Floats, outer_nu: Floats, vane_nu: Floats,
    out: Floats, end: Floats, side: Floats, outer: Floats, vane: Floats,
) -> None:  # fmt: skip
    """Carry the gas once across the domain, along every direction, and add up what it brings.

    Parameters are those of the sweep in the plane, with the side walls across y in `side` (columns, nz, 4) and those
    across z in `outer` (columns, ny, 4), and with `scratch` the faces of one direction: in the vane's plane (workers,
    boxes, 2, 2, ny, nz, speeds), at the two walls (workers, 2, 2, columns, nz, speeds) and (workers, 2, 2, columns,
    ny, speeds), and at the two planes of symmetry (workers, 2, columns, nz, speeds) and (workers, 2, columns, ny,
    speeds). `moments` has nu, ux, uy, uz, tau, qx, qy, qz on its last axis.
    """
    lanes = (0.0,) * s.size
    rest = (
        start, dx, dy, dz, directions, weights, s, w, delta, cover, parity, alpha_vane, alpha_room, vane_drive,
        room_tau, passes, moments, end_nu, side_nu, outer_nu, vane_nu,
    )  # fmt: skip
    results = (out, end, side, outer, vane)
    if workers == 1:
        # A single worker is spared the price of starting threads.
        work(lanes, 0, 1, *(part[0] for part in scratch), *rest, *(part[0] for part in results))
    else:
        share(lanes, workers, *scratch, *rest, *results)
