"""The transport sweep in a plane: two reduced distributions, diamond differences, nothing stored over the volume.

For a unit direction e, speed s and rarefaction delta the reduced distributions h1 and h2 obey

    e . grad h + (delta / s) h = (delta / s) S,
    S1 = (nu - tau) + s (2 u.e - 2 g) + s^2 tau + s^3 g,   S2 = tau / 2 + s g / 2,   g = (4/15) q.e,

where h1 and h2 are the averages of h and (cz^2 - 1/2) h over cz. On a cell of sides dx, dy diamond differences put the
cell's value midway between opposite faces, so that with a = 2 |ex| / dx, b = 2 |ey| / dy and r = delta / s

    h = (r S + a h_in,x + b h_in,y) / (r + a + b),   h_out = 2 h - h_in.

A row of lanes holds velocities of one quadrant, some directions at all their speeds, and is swept at once; of the
distribution only its faces live in memory, one column of cells wide. A domain is one box on one side of the vane's
plane, or two boxes that meet there; each has its own x axis, which starts at the vane and points away from it, and the
y axis starts at the plane of symmetry.

What a wall that is not Maxwell's sends back beside its diffuse part is given for every velocity in `sent_plane` and
`sent_side`, and what falls on it is kept in `fell_plane` and `fell_side`; without such walls they have no rows.

A thick vane fills the cells next to its middle plane: `floor` of them, from the plane of symmetry, in each of the first
`solid` columns of a box. There the gas ends at the rim, and where those columns end, at the face.
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
    """h1 off Maxwell's wall: diffuse nu + tau (c^2 - 2) + push, specular what came in + bounce."""
    return alpha * (nu + tau * (s * s - 1.5) + push) + (1.0 - alpha) * (incoming + bounce)


@njit(error_model="numpy", cache=True, inline="always")
def tally(wall, h1, h2, s, w, normal, tangent, side):
    """Add what one row brings to a wall: flux, pressure, shear (on the given side), energy."""
    flow = w * s * normal
    stress = flow * s * h1
    wall[0] += total(flow * h1)
    wall[1] += 2.0 * total(stress * normal)
    wall[2] += 2.0 * side * total(stress * tangent)
    wall[3] += total(flow * ((s * s + 0.5) * h1 + h2))


@njit(error_model="numpy", cache=True)
def column(lanes, down, up, wall, m, out, velocity, delta, along, dx, dy, floor, alpha, nu, drive, rim, last, kept):
    """Sweep one column of cells from the wall, where `wall` enters, to the plane of symmetry or to the rim of the vane,
    `floor` cells above it, and back; leave there what comes out.

    `down` and `up` hold the faces across x of the two ways. What both need of a cell is kept from the first for the
    second, and their sums are added up together.
    """
    ny = dy.size
    ex = load(velocity[0], lanes)
    ey = load(velocity[1], lanes)
    s = load(velocity[2], lanes)
    w = load(velocity[3], lanes)
    rate = delta / s
    ax = ex * (2.0 / dx)
    fixed = rate + ax
    e0 = along * ex
    q = 4.0 / 15.0
    y1 = load(wall[0], lanes)
    y2 = load(wall[1], lanes)
    for jj in range(ny - floor):
        j = ny - 1 - jj
        g = (q * m[j, 4]) * e0
        gy = (q * m[j, 5]) * ey
        a = (2.0 * m[j, 1]) * e0 - 2.0 * g
        ay = (2.0 * m[j, 2]) * ey - 2.0 * gy
        even1 = rate * ((m[j, 0] - m[j, 3]) + s * (a + s * (m[j, 3] + s * g)))
        odd1 = delta * (ay + s * (s * gy))
        even2 = rate * (0.5 * m[j, 3]) + (0.5 * delta) * g
        odd2 = (0.5 * delta) * gy
        by = ey * (2.0 / dy[j])
        inverse = 1.0 / (fixed + by)
        x1 = load(down[j, 0], lanes)
        x2 = load(down[j, 1], lanes)
        h1 = (even1 - odd1 + ax * x1 + by * y1) * inverse
        h2 = (even2 - odd2 + ax * x2 + by * y2) * inverse
        store(down[j, 0], h1 + h1 - x1)
        store(down[j, 1], h2 + h2 - x2)
        y1 = h1 + h1 - y1
        y2 = h2 + h2 - y2
        store(kept[j, 0], even1 + odd1)
        store(kept[j, 1], even2 + odd2)
        store(kept[j, 2], inverse)
        store(kept[j, 3], h1)
        store(kept[j, 4], h2)
    ws = w * s
    square = s * s
    none = w * 0.0
    if floor > 0:
        if last:
            tally(rim, y1, y2, s, w, ey, ex, along)
        y1 = emitted(s, y1, alpha, nu, drive[0], (2.0 * drive[1]) * (s * e0), none)
        y2 = 0.5 * alpha * drive[0] + (1.0 - alpha) * y2
    for j in range(floor, ny):
        by = ey * (2.0 / dy[j])
        x1 = load(up[j, 0], lanes)
        x2 = load(up[j, 1], lanes)
        inverse = load(kept[j, 2], lanes)
        h1 = (load(kept[j, 0], lanes) + ax * x1 + by * y1) * inverse
        h2 = (load(kept[j, 1], lanes) + ax * x2 + by * y2) * inverse
        store(up[j, 0], h1 + h1 - x1)
        store(up[j, 1], h2 + h2 - x2)
        y1 = h1 + h1 - y1
        y2 = h2 + h2 - y2
        if last:
            before1 = load(kept[j, 3], lanes)
            before2 = load(kept[j, 4], lanes)
            both1 = h1 + before1
            both2 = h2 + before2
            turned1 = h1 - before1
            flow = ws * both1
            heat = ws * both2 + flow * (square - 2.0)
            flow_y = (ws * ey) * turned1
            heat_y = (ws * ey) * (h2 - before2) + flow_y * (square - 2.0)
            energy = w * (both1 * (square - 1.0) + both2)
            sums = totals(w * both1, flow * e0, flow_y, energy, heat * e0, heat_y, none, none)
            store(out[j], load(out[j], EIGHT) + sums)
    store(wall[0], y1)
    store(wall[1], y2)


@njit(error_model="numpy", cache=True)
def onto_the_face(lanes, plane, vane, velocity, floor, alpha, drive, nu, last):
    """On a face of a thick vane, turn what falls on it into what it sends back."""
    ex = load(velocity[0], lanes)
    ey = load(velocity[1], lanes)
    s = load(velocity[2], lanes)
    w = load(velocity[3], lanes)
    for up in range(2):
        side = 2.0 * up - 1.0
        for j in range(floor):
            h1 = load(plane[up, j, 0], lanes)
            h2 = load(plane[up, j, 1], lanes)
            if last:
                tally(vane[j], h1, h2, s, w, ex, ey, side)
            push = s * ((2.0 * drive[1]) * ex + (2.0 * side * drive[2]) * ey)
            store(plane[up, j, 0], emitted(s, h1, alpha, nu[j], drive[0], push, (4.0 * drive[1]) * (s * ex)))
            store(plane[up, j, 1], 0.5 * alpha * drive[0] + (1.0 - alpha) * h2)


@njit(error_model="numpy", cache=True)
def through_the_plane(
    lanes, plane, vane, velocity, cover, floor, parity, alpha_vane, drive, nu, last, row, sent, fell
):  # fmt: skip
    """In the vane's plane, turn what leaves each box into what enters it from the vane or the other box.

    Below `floor` a thick vane has its inside there, and nothing passes.
    """
    boxes = plane.shape[0]
    ex = load(velocity[0], lanes)
    ey = load(velocity[1], lanes)
    s = load(velocity[2], lanes)
    w = load(velocity[3], lanes)
    for up in range(2):
        side = 2.0 * up - 1.0
        for j in range(floor, cover.size):
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
                    tally(vane[b, j], h1, h2, s, w, ex, ey, side)
                push = s * ((2.0 * drive[b, 1]) * ex + (2.0 * side * drive[b, 2]) * ey)
                bounce = (4.0 * drive[b, 1]) * (s * ex)
                alpha = alpha_vane[b]
                wall1 = emitted(s, h1, alpha, nu[b, j], drive[b, 0], push, bounce)
                wall2 = 0.5 * alpha * drive[b, 0] + (1.0 - alpha) * h2
                if sent.shape[0] > 0:
                    store(fell[row, 0, b, up, j, 0], h1)
                    store(fell[row, 0, b, up, j, 1], h2)
                    wall1 = wall1 + load(sent[row, 0, b, up, j, 0], lanes)
                    wall2 = wall2 + load(sent[row, 0, b, up, j, 1], lanes)
                store(plane[b, up, j, 0], c * wall1 + ((1.0 - c) * sign) * g1)
                store(plane[b, up, j, 1], c * wall2 + ((1.0 - c) * sign) * g2)


@njit(error_model="numpy", cache=True)
def from_room(lanes, faces, velocity, alpha, nu, tau):
    """Turn what met a wall of the room into what it sends back."""
    s = load(velocity[2], lanes)
    store(faces[0], emitted(s, load(faces[0], lanes), alpha, nu, tau, 0.0, 0.0))
    store(faces[1], load(faces[1], lanes) * (1.0 - alpha) + 0.5 * alpha * tau)


@njit(error_model="numpy", cache=True)
def add_sent(lanes, faces, sent):
    """Add what a wall that is not Maxwell's sends back besides."""
    store(faces[0], load(faces[0], lanes) + load(sent[0], lanes))
    store(faces[1], load(faces[1], lanes) + load(sent[1], lanes))


@njit(error_model="numpy", cache=True)
def keep(lanes, faces, fell):
    """Keep what falls on a wall that is not Maxwell's."""
    store(fell[0], load(faces[0], lanes))
    store(fell[1], load(faces[1], lanes))


@njit(error_model="numpy", cache=True)
def work(
    lanes, first, step, plane, top, start, solid, floor, dx, dy, velocities, delta, cover, parity,
    alpha_vane, alpha_room, vane_drive, rim_drive, room_tau, passes, moments, end_nu, side_nu, vane_nu, rim_nu,
    sent_plane, sent_side, fell_plane, fell_side, out, end, side, vane, rim,
):  # fmt: skip
    """Sweep the rows first, first + step, ... and add them to this worker's sums."""
    boxes = start.size - 1
    ny = dy.size
    kept = np.empty((ny, 5, len(lanes)))
    scatters = sent_plane.shape[0] > 0
    for d in range(first, velocities.shape[0], step):
        velocity = velocities[d]
        ex = load(velocity[0], lanes)
        ey = load(velocity[1], lanes)
        s = load(velocity[2], lanes)
        w = load(velocity[3], lanes)
        plane[:] = 0.0
        top[:] = 0.0
        for p in range(passes):
            last = p == passes - 1
            for away in range(2):
                along = 2.0 * away - 1.0
                if away == 1:
                    through_the_plane(lanes, plane, vane, velocity, cover, floor, parity, alpha_vane, vane_drive,
                                      vane_nu, last, d, sent_plane, fell_plane)  # fmt: skip
                for b in range(boxes):
                    if away == 0:
                        for up in range(2):
                            for j in range(ny):
                                from_room(lanes, plane[b, up, j], velocity, alpha_room, end_nu[b, j], room_tau)
                                if scatters:
                                    add_sent(lanes, plane[b, up, j], sent_plane[d, 1, b, up, j])
                    for n in range(start[b + 1] - start[b]):
                        i = start[b] + n if away == 1 else start[b + 1] - 1 - n
                        inside = floor if i - start[b] < solid else 0
                        if away == 0 and solid > 0 and i - start[b] == solid - 1:
                            onto_the_face(lanes, plane[b], vane[b], velocity, floor, alpha_vane[b], vane_drive[b],
                                          vane_nu[b], last)  # fmt: skip
                        h = top[away, i]
                        from_room(lanes, h, velocity, alpha_room, side_nu[i], room_tau)
                        if scatters:
                            add_sent(lanes, h, sent_side[d, i, away])
                        column(lanes, plane[b, 0], plane[b, 1], h, moments[i], out[i], velocity, delta, along,
                               dx[i], dy, inside, alpha_vane[b], rim_nu[i], rim_drive[i], rim[i], last,
                               kept)  # fmt: skip
                        # What comes back to the wall is kept there.
                        if scatters:
                            keep(lanes, h, fell_side[d, i, away])
                        if last:
                            tally(side[i], load(h[0], lanes), load(h[1], lanes), s, w, ey, ex, along)
                    if away == 1 and last:
                        for up in range(2):
                            for j in range(ny):
                                h = plane[b, up, j]
                                if scatters:
                                    keep(lanes, h, fell_plane[d, 1, b, up, j])
                                tally(end[b, j], load(h[0], lanes), load(h[1], lanes), s, w, ex, ey, 2.0 * up - 1.0)


@njit(error_model="numpy", parallel=True, cache=True)
def share(
    lanes, workers, plane, top, start, solid, floor, dx, dy, velocities, delta, cover, parity,
    alpha_vane, alpha_room, vane_drive, rim_drive, room_tau, passes, moments, end_nu, side_nu, vane_nu, rim_nu,
    sent_plane, sent_side, fell_plane, fell_side, out, end, side, vane, rim,
):  # fmt: skip
    """Run the workers side by side."""
    for t in nb.prange(workers):
        work(lanes, t, workers, plane[t], top[t], start, solid, floor, dx, dy, velocities, delta, cover, parity,
             alpha_vane, alpha_room, vane_drive, rim_drive, room_tau, passes, moments, end_nu, side_nu, vane_nu, rim_nu,
             sent_plane, sent_side, fell_plane, fell_side, out[t], end[t], side[t], vane[t], rim[t])  # fmt: skip


def sweep(
    workers: int,
    scratch: tuple[Floats, ...],
    start: NDArray[np.int64],
    solid: tuple[int, int],
    sides: tuple[Floats, ...],
    velocities: Floats,
    delta: float,
    cover: Floats,
    parity: float,
    alpha_vane: Floats,
    alpha_room: float,
    vane_drive: Floats,
    rim_drive: Floats,
    room_tau: float,
    passes: int,
    moments: Floats,
    densities: list[Floats],
    scattered: tuple[Floats, ...],
    results: tuple[Floats, ...],
) -> None:
    """Carry the gas once across the domain, along every direction, and add up what it brings.

    Parameters
    ----------
    workers : int
        Threads to share the rows.
    scratch : tuple of arrays
        The faces of one row: in the vane's plane (workers, boxes, 2, ny, 2, lanes), and at the wall
        (workers, 2, columns, 2, lanes).
    start : array (boxes + 1)
        First column of each box.
    solid : tuple of int
        Columns of each box, next to the vane's middle plane, and cells of each, from the plane of symmetry, that a
        thick vane fills; 0, 0 for a thin one.
    sides : tuple of arrays (columns,), (ny,)
        Sides of the cells.
    velocities : array (rows, 4, lanes)
        Unit vector, speed and weight of the velocities of a quadrant.
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
    rim_drive : array (columns, 2)
        Temperature of the rim of a thick vane, and its velocity along x.
    room_tau : float
        Temperature of the room.
    passes : int
        Rounds for the specular part that the walls of the room send back.
    moments : array (columns, ny, 6)
        nu, ux, uy, tau, qx, qy that scatter.
    densities : list of arrays (boxes, ny), (columns,), (boxes, ny), (columns,)
        Density of what end walls, side wall, faces and rim send back.
    scattered : tuple of arrays (rows, 2, boxes, 2, ny, 2, lanes), (rows, columns, 2, 2, lanes), and both again
        What faces (0) and end walls (1), and the side wall, send back besides; and what falls on them, to be filled.
        Without rows where all walls are Maxwell's.
    results : tuple of arrays (workers, columns, ny, 8), (workers, boxes, ny, 4), (workers, columns, 4),
        (workers, boxes, ny, 4), (workers, columns, 4)
        Sums, to be zero before: the moments, with 3/2 tau for tau, and two unused; and flux, pressure, shear
        and energy that fall on end walls, side wall, faces and rim.
    """
    lanes = (0.0,) * velocities.shape[-1]
    rest = (start, *solid, *sides, velocities, delta, cover, parity, alpha_vane, alpha_room, vane_drive, rim_drive)
    rest = (*rest, room_tau, passes, moments, *densities, *scattered)
    if workers == 1:
        # A single worker is spared the price of starting threads.
        work(lanes, 0, 1, *(part[0] for part in scratch), *rest, *(part[0] for part in results))
    else:
        share(lanes, workers, *scratch, *rest, *results)
