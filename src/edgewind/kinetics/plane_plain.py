"""The transport sweep of `plane_kernel` in plain NumPy, a hundred times slower.

The compiled one is tested against it, and it is the fallback if Numba is missing or does not compile the kernel.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def sweep(
    workers: int,
    scratch: tuple[Floats, ...],
    start: NDArray[np.int64],
    solid: tuple[int, int],
    sides: tuple[Floats, Floats],
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
    """Carry the gas once across the domain, with the arguments of `plane_kernel.sweep`.

    All velocities of a quadrant go together, cell by cell; `workers` and `scratch` are not used.
    """
    ex, ey, s, weight = np.moveaxis(velocities, 1, 0).reshape(4, -1)
    dx, dy = sides
    solid_columns, floor = solid
    boxes, ny = start.size - 1, cover.size
    end_nu, side_nu, vane_nu, rim_nu = densities
    new, end, side, vane, rim = (part[0] for part in results)
    sent_plane, sent_side, fell_plane, fell_side = scattered
    scatters = sent_plane.shape[0] > 0

    def together(part: Floats, at: tuple[int, ...]) -> Floats:
        """Return both distributions at a place, with the rows of the kernel one after the other."""
        return np.asarray(np.moveaxis(part, 0, -2)[at].reshape(2, -1))

    def keep(part: Floats, at: tuple[int, ...], h: Floats) -> None:
        np.moveaxis(part, 0, -2)[at] = h.reshape(2, part.shape[0], -1)

    def emitted(h: Floats, alpha: float, nu: float, tau: float, push: Floats, bounce: Floats) -> Floats:
        diffuse = nu + tau * (s**2 - 1.5) + push
        return np.array([alpha * diffuse + (1.0 - alpha) * (h[0] + bounce), alpha * 0.5 * tau + (1.0 - alpha) * h[1]])

    def tally(wall: Floats, h: Floats, normal: Floats, tangent: Floats) -> None:
        flow = weight * s * normal
        wall += [
            np.sum(flow * h[0]),
            2.0 * np.sum(flow * s * normal * h[0]),
            2.0 * np.sum(flow * s * tangent * h[0]),
            np.sum(flow * ((s**2 + 0.5) * h[0] + h[1])),
        ]

    none = np.zeros_like(s)
    plane = np.zeros((boxes, 2, ny, 2, s.size))
    top = np.zeros((2, dx.size, 2, s.size))

    def off_the_face(b: int, up: int, j: int, last: bool) -> Floats:
        """Return what the vane re-emits into box b, and add up the fluxes onto it."""
        h, (tau, speed, slide) = plane[b, up, j], vane_drive[b]
        along = ey if up else -ey
        if last:
            tally(vane[b, j], h, ex, along)
        push = 2.0 * s * (speed * ex + slide * along)
        return emitted(h, alpha_vane[b], vane_nu[b, j], tau, push, 4.0 * speed * s * ex)

    for one in range(passes):
        last = one == passes - 1
        for away in (0, 1):
            if away:
                turned = plane.copy()
                for b in range(boxes):
                    for up in (0, 1):
                        for j in range(floor, ny):
                            beyond = plane[1 - b, up, j] if boxes == 2 else parity * plane[b, up, j]
                            wall = off_the_face(b, up, j, last)
                            if scatters:
                                keep(fell_plane, (0, b, up, j), plane[b, up, j])
                                wall = wall + together(sent_plane, (0, b, up, j))
                            turned[b, up, j] = cover[j] * wall + (1.0 - cover[j]) * beyond
                plane = turned
            for b in range(boxes):
                if not away:
                    for up in (0, 1):
                        for j in range(ny):
                            plane[b, up, j] = emitted(plane[b, up, j], alpha_room, end_nu[b, j], room_tau, none, none)
                            if scatters:
                                plane[b, up, j] += together(sent_plane, (1, b, up, j))
                columns = range(start[b], start[b + 1])
                for i in columns if away else reversed(columns):
                    inside = floor if i - start[b] < solid_columns else 0
                    if not away and solid_columns and i - start[b] == solid_columns - 1:
                        for up in (0, 1):
                            for j in range(floor):
                                plane[b, up, j] = off_the_face(b, up, j, last)
                    e0 = ex if away else -ex
                    hy = emitted(top[away, i], alpha_room, side_nu[i], room_tau, none, none)
                    if scatters:
                        hy = hy + together(sent_side, (i, away))
                    for up in (0, 1):
                        e1 = ey if up else -ey
                        if up and inside:
                            if last:
                                tally(rim[i], hy, ey, e0)
                            tau, slide = rim_drive[i]
                            hy = emitted(hy, alpha_vane[b], rim_nu[i], tau, 2.0 * slide * s * e0, none)
                        for j in range(inside, ny) if up else reversed(range(inside, ny)):
                            nu, ux, uy, tau, qx, qy = moments[i, j]
                            cu, cq = s * (e0 * ux + e1 * uy), s * (e0 * qx + e1 * qy)
                            source = np.array(
                                [
                                    nu + 2.0 * cu + tau * (s**2 - 1.0) + 4.0 / 15.0 * cq * (s**2 - 2.0),
                                    0.5 * tau + 2.0 / 15.0 * cq,
                                ]
                            )
                            a, c = 2.0 * s * ex / dx[i], 2.0 * s * ey / dy[j]
                            hx = plane[b, up, j].copy()
                            h = (delta * source + a * hx + c * hy) / (delta + a + c)
                            plane[b, up, j] = 2.0 * h - hx
                            hy = 2.0 * h - hy
                            if last:
                                h1, h2 = weight * h[0], weight * h[1]
                                heat = s * (h1 * (s**2 - 2.0) + h2)
                                new[i, j, :6] += [
                                    h1.sum(), (e0 * s * h1).sum(), (e1 * s * h1).sum(),
                                    (h1 * (s**2 - 1.0) + h2).sum(), (e0 * heat).sum(), (e1 * heat).sum(),
                                ]  # fmt: skip
                    top[away, i] = hy
                    if scatters:
                        keep(fell_side, (i, away), hy)
                    if last:
                        tally(side[i], hy, ey, e0)
                if away and last:
                    for up in (0, 1):
                        for j in range(ny):
                            tally(end[b, j], plane[b, up, j], ex, ey if up else -ey)
                            if scatters:
                                keep(fell_plane, (1, b, up, j), plane[b, up, j])
