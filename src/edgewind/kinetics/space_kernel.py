"""The transport sweep in space: one distribution, diamond differences, nothing stored over the volume.

For a unit direction e, speed s and rarefaction delta the distribution obeys

    e . grad h + (delta / s) h = (delta / s) S,
    S = (nu - (3/2) tau) + s (2 u.e - (5/2) g) + s^2 tau + s^3 g,   g = (4/15) q.e,

and on a cell diamond differences put its value midway between each pair of opposite faces, as in the plane.
Boxes, axes
and walls are as there; two planes of symmetry, y = 0 and z = 0, bound the domain.
"""

# mypy: ignore-errors
# The compiled functions take lanes, for which Python has no types.

from __future__ import annotations

import numba as nb
import numpy as np
from numpy.typing import NDArray

from edgewind.compiled import njit
from edgewind.kinetics.lanes import load, store, total, totals

Floats = NDArray[np.float64]
EIGHT = (0.0,) * 8


@njit(error_model="numpy", cache=True, inline="always")
def emitted(s, incoming, alpha, nu, tau, push, bounce):
    """Maxwell's wall: diffuse nu + tau (c^2 - 2) + push, specular what came in + bounce."""
    return alpha * (nu + tau * (s * s - 2.0) + push) + (1.0 - alpha) * (incoming + bounce)


@njit(error_model="numpy", cache=True, inline="always")
def tally(wall, h, s, w, normal, tangent, side):
    """Add what one row brings to a wall: flux, pressure, shear (on the given side), energy."""
    flow = w * s * normal * h
    stress = flow * s
    wall[0] += total(flow)
    wall[1] += 2.0 * total(stress * normal)
    wall[2] += 2.0 * side * total(stress * tangent)
    wall[3] += total(stress * s)


@njit(error_model="numpy", cache=True)
def march(lanes, inward, outward, zs, m, out, velocity, delta, along, up, dx, dy, dz, last, kept):
    """Sweep one line of cells along z to the plane of symmetry and back, from what enters in `zs`; leave there what
    comes out.

    `inward` and `outward` hold the faces across x and across y of the two ways. What both need of a cell is kept from
    the first for the second, and their sums are added up together.
    """
    nz = dz.size
    xi, yi = inward
    xo, yo = outward
    ex = load(velocity[0], lanes)
    ey = load(velocity[1], lanes)
    ez = load(velocity[2], lanes)
    s = load(velocity[3], lanes)
    w = load(velocity[4], lanes)
    rate = delta / s
    ax = ex * (2.0 / dx)
    by = ey * (2.0 / dy)
    fixed = rate + ax + by
    e0 = along * ex
    e1 = up * ey
    q = 4.0 / 15.0
    z = load(zs, lanes)
    for kk in range(nz):
        k = nz - 1 - kk
        g = (q * m[k, 5]) * e0 + (q * m[k, 6]) * e1
        gz = (q * m[k, 7]) * ez
        a = (2.0 * m[k, 1]) * e0 + (2.0 * m[k, 2]) * e1 - 2.5 * g
        az = (2.0 * m[k, 3]) * ez - 2.5 * gz
        even = rate * ((m[k, 0] - 1.5 * m[k, 4]) + s * (a + s * (m[k, 4] + s * g)))
        odd = delta * (az + s * (s * gz))
        cz = ez * (2.0 / dz[k])
        inverse = 1.0 / (fixed + cz)
        x = load(xi[k], lanes)
        y = load(yi[k], lanes)
        h = (even - odd + ax * x + by * y + cz * z) * inverse
        store(xi[k], h + h - x)
        store(yi[k], h + h - y)
        z = h + h - z
        store(kept[k, 0], even + odd)
        store(kept[k, 1], inverse)
        store(kept[k, 2], h)
    ws = w * s
    energy = s * s - 1.5
    for k in range(nz):
        cz = ez * (2.0 / dz[k])
        x = load(xo[k], lanes)
        y = load(yo[k], lanes)
        h = (load(kept[k, 0], lanes) + ax * x + by * y + cz * z) * load(kept[k, 1], lanes)
        store(xo[k], h + h - x)
        store(yo[k], h + h - y)
        z = h + h - z
        if last:
            before = load(kept[k, 2], lanes)
            both = before + h
            density = w * both
            f = ws * both
            fz = (ws * ez) * (h - before)
            fx = f * e0
            fy = f * e1
            surplus = energy - 1.0
            sums = totals(density, fx, fy, fz, density * energy, fx * surplus, fy * surplus, fz * surplus)
            store(out[k], load(out[k], EIGHT) + sums)
    store(zs, z)


@njit(error_model="numpy", cache=True)
def through_the_plane(
    lanes, plane, vane, velocity, cover, parity, alpha_vane, drive, nu, last
):  # fmt: skip
    """In the vane's plane, turn what leaves each box into what enters it from the vane or the other box."""
    boxes = plane.shape[0]
    ex = load(velocity[0], lanes)
    ey = load(velocity[1], lanes)
    s = load(velocity[3], lanes)
    w = load(velocity[4], lanes)
    for up in range(2):
        side = 2.0 * up - 1.0
        for outward in range(2):
            for j in range(cover.shape[0]):
                for k in range(cover.shape[1]):
                    front = load(plane[0, up, outward, j, k], lanes)
                    back = load(plane[boxes - 1, up, outward, j, k], lanes)
                    sign = parity if boxes == 1 else 1.0
                    c = cover[j, k]
                    for b in range(boxes):
                        own = front if b == 0 else back
                        other = back if b == 0 else front
                        if last:
                            tally(vane[b, j, k], own, s, w, ex, ey, side)
                        push = s * ((2.0 * drive[b, 1]) * ex + (2.0 * side * drive[b, 2]) * ey)
                        bounce = (4.0 * drive[b, 1]) * (s * ex)
                        wall = emitted(s, own, alpha_vane[b], nu[b, j, k], drive[b, 0], push, bounce)
                        store(plane[b, up, outward, j, k], c * wall + ((1.0 - c) * sign) * other)


@njit(error_model="numpy", cache=True)
def from_room(lanes, face, velocity, alpha, nu, tau):
    """Turn what met a wall of the room into what it sends back."""
    store(face, emitted(load(velocity[3], lanes), load(face, lanes), alpha, nu, tau, 0.0, 0.0))


@njit(error_model="numpy", cache=True, nogil=True)
def work(
    lanes, first, step, plane, tops, outers, bottoms, start, dx, dy, dz, velocities, delta,
    cover, parity, alpha_vane, alpha_room, vane_drive, room_tau, passes, moments, end_nu, side_nu, outer_nu,
    vane_nu, out, end, side, outer, vane,
):  # fmt: skip
    """Sweep the rows first, first + step, ... and add them to this worker's sums."""
    boxes = start.size - 1
    ny = dy.size
    nz = dz.size
    kept = np.empty((nz, 3, len(lanes)))
    for d in range(first, velocities.shape[0], step):
        velocity = velocities[d]
        ex = load(velocity[0], lanes)
        ey = load(velocity[1], lanes)
        ez = load(velocity[2], lanes)
        s = load(velocity[3], lanes)
        w = load(velocity[4], lanes)
        plane[:] = 0.0
        tops[:] = 0.0
        outers[:] = 0.0
        for p in range(passes):
            last = p == passes - 1
            for away in range(2):
                along = 2.0 * away - 1.0
                if away == 1:
                    through_the_plane(lanes, plane, vane, velocity, cover, parity, alpha_vane, vane_drive,
                                      vane_nu, last)  # fmt: skip
                for b in range(boxes):
                    for up in range(2):
                        y_sign = 2.0 * up - 1.0
                        if away == 0:
                            for outward in range(2):
                                for j in range(ny):
                                    for k in range(nz):
                                        from_room(lanes, plane[b, up, outward, j, k], velocity, alpha_room,
                                                  end_nu[b, j, k], room_tau)  # fmt: skip
                        for n in range(start[b + 1] - start[b]):
                            i = start[b] + n if away == 1 else start[b + 1] - 1 - n
                            ys = tops[away, :, i] if up == 0 else bottoms[:, i]
                            if up == 0:
                                for outward in range(2):
                                    for k in range(nz):
                                        from_room(lanes, ys[outward, k], velocity, alpha_room, side_nu[i, k], room_tau)
                            for jj in range(ny):
                                j = jj if up == 1 else ny - 1 - jj
                                zs = outers[away, up, i, j]
                                from_room(lanes, zs, velocity, alpha_room, outer_nu[i, j], room_tau)
                                inward = (plane[b, up, 0, j], ys[0])
                                back = (plane[b, up, 1, j], ys[1])
                                march(lanes, inward, back, zs, moments[i, j], out[i, j], velocity, delta, along, y_sign,
                                      dx[i], dy[j], dz, last, kept)  # fmt: skip
                                # What comes back to the wall is kept there.
                                if last:
                                    tally(outer[i, j], load(zs, lanes), s, w, ez, ex, along)
                            # What meets the plane of symmetry comes back from it; what meets the wall is kept.
                            for outward in range(2):
                                for k in range(nz):
                                    if up == 0:
                                        store(bottoms[outward, i, k], load(ys[outward, k], lanes))
                                    else:
                                        store(tops[away, outward, i, k], load(ys[outward, k], lanes))
                                        if last:
                                            tally(side[i, k], load(ys[outward, k], lanes), s, w, ey, ex, along)
                        if away == 1 and last:
                            for outward in range(2):
                                for j in range(ny):
                                    for k in range(nz):
                                        h = load(plane[b, up, outward, j, k], lanes)
                                        tally(end[b, j, k], h, s, w, ex, ey, y_sign)


@njit(error_model="numpy", parallel=True, cache=True, nogil=True)
def share(
    lanes, workers, plane, tops, outers, bottoms, start, dx, dy, dz, velocities, delta,
    cover, parity, alpha_vane, alpha_room, vane_drive, room_tau, passes, moments, end_nu, side_nu, outer_nu,
    vane_nu, out, end, side, outer, vane,
):  # fmt: skip
    """Run the workers side by side."""
    for t in nb.prange(workers):
        work(lanes, t, workers, plane[t], tops[t], outers[t], bottoms[t], start, dx, dy, dz,
             velocities, delta, cover, parity, alpha_vane, alpha_room, vane_drive, room_tau, passes, moments,
             end_nu, side_nu, outer_nu, vane_nu, out[t], end[t], side[t], outer[t], vane[t])  # fmt: skip


def sweep(
    workers: int,
    scratch: tuple[Floats, ...],
    start: NDArray[np.int64],
    sides: tuple[Floats, ...],
    velocities: Floats,
    delta: float,
    cover: Floats,
    parity: float,
    alpha_vane: Floats,
    alpha_room: float,
    vane_drive: Floats,
    room_tau: float,
    passes: int,
    moments: Floats,
    densities: list[Floats],
    results: tuple[Floats, ...],
) -> None:
    """Carry the gas once across the domain, along every direction, and add up what it brings.

    Parameters are those of the sweep in the plane, for one axis more: `scratch` has the faces of one row in
    the vane's plane (workers, boxes, 2, 2, ny, nz, lanes), at the two walls (workers, 2, 2, columns, nz,
    lanes) and (workers, 2, 2, columns, ny, lanes), and at the plane of symmetry across y (workers, 2, columns,
    nz, lanes); `velocities` is (rows, 5, lanes); `moments` has nu, ux,
    uy, uz, tau, qx, qy, qz on its last axis, and the first of `results` 3/2 tau for tau; walls across y and
    across z follow the end walls.
    """
    lanes = (0.0,) * velocities.shape[-1]
    rest = (start, *sides, velocities, delta, cover, parity, alpha_vane, alpha_room, vane_drive, room_tau)
    rest = (*rest, passes, moments, *densities)
    if workers == 1:
        # A single worker is spared the price of starting threads.
        work(lanes, 0, 1, *(part[0] for part in scratch), *rest, *(part[0] for part in results))
    else:
        share(lanes, workers, *scratch, *rest, *results)


@njit(error_model="numpy", cache=True, nogil=True)
def some(
    lanes, first, step, plane, tops, outers, bottoms, start, dx, dy, dz, velocities, delta,
    cover, parity, alpha_vane, alpha_room, vane_drive, room_tau, passes, moments, end_nu, side_nu, outer_nu,
    vane_nu, out, end, side, outer, vane,
):  # fmt: skip
    """Sweep the unknowns first, first + step, ... each for itself."""
    for c in range(first, moments.shape[0], step):
        work(lanes, 0, 1, plane, tops, outers, bottoms, start, dx, dy, dz, velocities, delta, cover, parity,
             alpha_vane, alpha_room, vane_drive, room_tau, passes, moments[c], end_nu[c], side_nu[c], outer_nu[c],
             vane_nu[c], out[c], end[c], side[c], outer[c], vane[c])  # fmt: skip


@njit(error_model="numpy", parallel=True, cache=True, nogil=True)
def each(
    lanes, workers, plane, tops, outers, bottoms, start, dx, dy, dz, velocities, delta,
    cover, parity, alpha_vane, alpha_room, vane_drive, room_tau, passes, moments, end_nu, side_nu, outer_nu,
    vane_nu, out, end, side, outer, vane,
):  # fmt: skip
    """Run the workers side by side."""
    for t in nb.prange(workers):
        some(lanes, t, workers, plane[t], tops[t], outers[t], bottoms[t], start, dx, dy, dz, velocities, delta,
             cover, parity, alpha_vane, alpha_room, vane_drive, room_tau, passes, moments, end_nu, side_nu, outer_nu,
             vane_nu, out, end, side, outer, vane)  # fmt: skip


def sweep_each(workers: int, scratch: tuple[Floats, ...], rest: tuple, results: tuple[Floats, ...]) -> None:
    """Carry the gas once across the domain for many unknowns at once: moments, densities and results count them first.

    Parameters are those of `sweep`.
    """
    lanes = (0.0,) * rest[4].shape[-1]
    if workers == 1:
        some(lanes, 0, 1, *(part[0] for part in scratch), *rest, *results)
    else:
        each(lanes, workers, *scratch, *rest, *results)
