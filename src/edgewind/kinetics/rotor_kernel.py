"""The transport sweep of a whole rotor: a quarter or half of its chamber, each direction with its mirror images.

The scheme is that of the sweep in space. Two planes bound the domain that hold vanes: y = 0, and x = 0 for two to four
vanes. What enters through their open part is what leaves the domain elsewhere:

- *mirrored*: at the same place, in the mirrored direction, times a parity. Faces of equal accommodation make every
  field even or odd in each of these planes;
- *turned*, a quarter: through x = 0 enters what leaves through y = 0, turned by a quarter, and the other way round;
- *turned*, a third: the same by 120 degrees, along two axes that meet at this angle;
- *turned*, a half: through y = 0 at x enters what leaves at -x.

A direction and its images are swept in the order in which a straight flight meets them, so that nothing is lagged:
first towards both planes, then towards one, last away from both. Turned by a quarter a direction (a, b) becomes one of
its images or of those of (b, a), which are swept together with it as a second *base*.

Axes at 120 degrees leave the sweep what it is: along them a direction has the components that count the crossings of
faces, x' and y' in d = x' e1 + y' e2, and sums of a vector come out in these, while the source takes its products with
e1 and e2. Only what passes a face needs the true normal and tangential components. Six sectors of 60 degrees hold all
directions; each is one pair of signs or, where both are alike, half of one. Turned by a third a direction stays within
one of two families of three sectors, which the plane of a vane mirrors into each other: these are the bases. One has
x' < 0 < y', the other y' < 0 < x'.
"""

# mypy: ignore-errors
# The compiled functions take lanes, for which Python has no types.

from __future__ import annotations

import numba as nb
import numpy as np
from numpy.typing import NDArray

from edgewind.compiled import njit
from edgewind.kinetics.lanes import load, store, total
from edgewind.kinetics.rotor_grid import HALF, QUARTER, THIRD
from edgewind.kinetics.space_kernel import emitted, march, tally

Floats = NDArray[np.float64]


@njit(error_model="numpy", cache=True, inline="always")
def onto_room(wall, h, s, w, normal, area):
    """Add what one row brings to a wall of the chamber: flux and energy, times its area."""
    flow = (w * s) * (normal * h)
    wall[0] += area * total(flow)
    wall[1] += area * total(flow * s * s)


@njit(error_model="numpy", cache=True)
def from_room(lanes, face, velocity, nu, tau):
    """Set a face to what a diffuse wall of the chamber sends out."""
    s = load(velocity[3], lanes)
    store(face, nu + tau * (s * s - 2.0))


@njit(error_model="numpy", cache=True)
def through(lanes, entering, own, other, velocity, normal, tangent, side, sign, vane, cover, alpha, nu, tau, push):
    """Set what enters through one face of a vane's plane, and add up what fell on it."""
    n = load(velocity[normal], lanes)
    s = load(velocity[3], lanes)
    mine = load(own, lanes)
    tally(vane, mine, s, load(velocity[4], lanes), n, load(velocity[tangent], lanes), side)
    moved = (2.0 * push) * (s * n)
    wall = emitted(s, mine, alpha, nu, tau, moved, 2.0 * moved)
    store(entering, cover * wall + ((1.0 - cover) * sign) * load(other, lanes))


@njit(error_model="numpy", cache=True, nogil=True)
def work(
    lanes, first, step, xs, ys, low_x, low_y, dx, dy, dz, gas, patch_x, patch_y, whole, velocities, delta,
    cover_y, cover_x, link, parity, alpha_y, alpha_x, tau_y, tau_x, push_y, push_x, room_tau,
    m, nu_side, nu_top, nu_y, nu_x, out, side, top, vane_y, vane_x,
):  # fmt: skip
    """Sweep the rows first, first + step, ... and add them to this worker's sums."""
    nx = dx.size
    ny = dy.size
    nz = dz.size
    third = link == THIRD
    bases = 2 if third else velocities.shape[1]
    # Places of the components along the normal and along the radius: of faces across x, and of those across y.
    x_normal, x_radial, y_normal, y_radial = (5, 6, 7, 8) if third else (0, 1, 1, 0)
    kept = np.empty((nz, 3, len(lanes)))
    zs = np.empty(len(lanes))
    for d in range(first, velocities.shape[0], step):
        for away in range(2):
            y_sign = 2.0 * away - 1.0
            for onward in range(2):
                x_sign = 2.0 * onward - 1.0
                for base in range(bases):
                    if third and away != onward and base != onward:
                        continue
                    velocity = velocities[d, base + 2 * (2 * away + onward)] if third else velocities[d, base]
                    s = load(velocity[3], lanes)
                    w = load(velocity[4], lanes)
                    if onward == 1 and not whole:
                        for way in range(2):
                            for j in range(ny):
                                for k in range(nz):
                                    own = low_x[base, away, way, j, k]
                                    other = own
                                    if link == QUARTER:
                                        other = low_y[1 - base, away, way, j, k]
                                    elif third:
                                        own = low_x[1 - base, away * base, way, j, k]
                                        other = low_y[base, away * base, way, j, k]
                                    through(lanes, xs[way, j, k], own, other, velocity, x_normal, x_radial, y_sign,
                                            parity[0], vane_x[j, k], cover_x[j, k], alpha_x, nu_x[j, k], tau_x,
                                            push_x[j])  # fmt: skip
                    for n in range(nx):
                        i = n if onward == 1 else nx - 1 - n
                        up = i - 1 if onward == 1 else i + 1
                        down = i + 1 if onward == 1 else i - 1
                        for jj in range(ny):
                            j = jj if away == 1 else ny - 1 - jj
                            if not gas[i, j]:
                                continue
                            before = j - 1 if away == 1 else j + 1
                            behind = j + 1 if away == 1 else j - 1
                            if (up < 0 and whole) or up >= nx or (up >= 0 and not gas[up, j]):
                                for k in range(nz):
                                    from_room(lanes, xs[0, j, k], velocity, nu_side[patch_x[i, j], k], room_tau)
                                    from_room(lanes, xs[1, j, k], velocity, nu_side[patch_x[i, j], k], room_tau)
                            if before < 0:
                                for way in range(2):
                                    for k in range(nz):
                                        own = low_y[base, onward, way, i, k]
                                        if link == QUARTER:
                                            other = low_x[1 - base, onward, way, i, k]
                                        elif link == HALF:
                                            other = low_y[base, 1 - onward, way, nx - 1 - i, k]
                                        elif third:
                                            own = low_y[1 - base, onward * (1 - base), way, i, k]
                                            other = low_x[base, onward * (1 - base), way, i, k]
                                        else:
                                            other = own
                                        through(lanes, ys[way, k], own, other, velocity, y_normal, y_radial, x_sign,
                                                parity[1], vane_y[i, k], cover_y[i, k], alpha_y[i], nu_y[i, k],
                                                tau_y[i], push_y[i])  # fmt: skip
                            elif before >= ny or not gas[i, before]:
                                for k in range(nz):
                                    from_room(lanes, ys[0, k], velocity, nu_side[patch_y[i, j], k], room_tau)
                                    from_room(lanes, ys[1, k], velocity, nu_side[patch_y[i, j], k], room_tau)
                            from_room(lanes, zs, velocity, nu_top[i, j], room_tau)
                            march(lanes, (xs[0, j], ys[0]), (xs[1, j], ys[1]), zs, m[i, j], out[i, j], velocity, delta,
                                  x_sign, y_sign, dx[i], dy[j], dz, True, kept)  # fmt: skip
                            onto_room(top[i, j], load(zs, lanes), s, w, load(velocity[2], lanes), 1.0)
                            if (down < 0 and whole) or down >= nx or (down >= 0 and not gas[down, j]):
                                for k in range(nz):
                                    h = load(xs[0, j, k], lanes) + load(xs[1, j, k], lanes)
                                    onto_room(side[patch_x[i, j], k], h, s, w, load(velocity[x_normal], lanes), dy[j])
                            if behind < 0:
                                for way in range(2):
                                    for k in range(nz):
                                        store(low_y[base, onward, way, i, k], load(ys[way, k], lanes))
                            elif behind >= ny or not gas[i, behind]:
                                for k in range(nz):
                                    h = load(ys[0, k], lanes) + load(ys[1, k], lanes)
                                    onto_room(side[patch_y[i, j], k], h, s, w, load(velocity[y_normal], lanes), dx[i])
                    if onward == 0 and not whole:
                        for way in range(2):
                            for j in range(ny):
                                for k in range(nz):
                                    store(low_x[base, away, way, j, k], load(xs[way, j, k], lanes))


@njit(error_model="numpy", parallel=True, cache=True, nogil=True)
def share(
    lanes, workers, xs, ys, low_x, low_y, dx, dy, dz, gas, patch_x, patch_y, whole, velocities, delta,
    cover_y, cover_x, link, parity, alpha_y, alpha_x, tau_y, tau_x, push_y, push_x, room_tau,
    m, nu_side, nu_top, nu_y, nu_x, out, side, top, vane_y, vane_x,
):  # fmt: skip
    """Run the workers side by side."""
    for t in nb.prange(workers):
        work(lanes, t, workers, xs[t], ys[t], low_x[t], low_y[t], dx, dy, dz, gas, patch_x, patch_y, whole,
             velocities, delta, cover_y, cover_x, link, parity, alpha_y, alpha_x, tau_y, tau_x, push_y, push_x,
             room_tau, m, nu_side, nu_top, nu_y, nu_x, out[t], side[t], top[t], vane_y[t], vane_x[t])  # fmt: skip


def sweep(workers: int, scratch: tuple[Floats, ...], fixed: tuple, given: tuple, results: tuple[Floats, ...]) -> None:
    """Carry the gas once across the domain, along every direction, and add up what it brings.

    Parameters
    ----------
    workers : int
        Threads.
    scratch : tuple of arrays
        Faces of one row: across x (workers, 2, ny, nz, lanes), across y (workers, 2, nz, lanes), and what left
        through x = 0 (workers, bases, 2, 2, ny, nz, lanes) and y = 0 (workers, bases, 2, 2, nx, nz, lanes).
    fixed : tuple
        Widths of the cells, gas, patches across x and y, whether x runs from wall to wall, velocities (rows, bases, 5,
        lanes) or, by thirds, (rows, 8, 9, lanes), delta, covers in the planes y = 0 and x = 0, and how these are
        linked.
    given : tuple
        Parities in x and y; accommodation, temperature and normal velocity of the faces in y = 0 (nx,) and x = 0
        (one, one, ny); temperature of the chamber; moments; densities of side walls, top and faces.
    results : tuple of arrays
        Sums by worker: moments, side walls (area times flux, energy), top (flux, energy), faces in y = 0 and x = 0
        (flux, pressure, shear, energy).
    """
    lanes = (0.0,) * fixed[7].shape[-1]
    if workers == 1:
        work(lanes, 0, 1, *(part[0] for part in scratch), *fixed, *given, *(part[0] for part in results))
    else:
        share(lanes, workers, *scratch, *fixed, *given, *results)


@njit(error_model="numpy", cache=True, nogil=True)
def some(
    lanes, first, step, xs, ys, low_x, low_y, dx, dy, dz, gas, patch_x, patch_y, whole, velocities, delta,
    cover_y, cover_x, link, parity, alpha_y, alpha_x, tau_y, tau_x, push_y, push_x, room_tau,
    m, nu_side, nu_top, nu_y, nu_x, out, side, top, vane_y, vane_x,
):  # fmt: skip
    """Sweep the unknowns first, first + step, ... each for itself."""
    for c in range(first, m.shape[0], step):
        work(lanes, 0, 1, xs, ys, low_x, low_y, dx, dy, dz, gas, patch_x, patch_y, whole, velocities, delta,
             cover_y, cover_x, link, parity, alpha_y, alpha_x, tau_y, tau_x, push_y, push_x, room_tau,
             m[c], nu_side[c], nu_top[c], nu_y[c], nu_x[c], out[c], side[c], top[c], vane_y[c], vane_x[c])  # fmt: skip


@njit(error_model="numpy", parallel=True, cache=True, nogil=True)
def each(
    lanes, workers, xs, ys, low_x, low_y, dx, dy, dz, gas, patch_x, patch_y, whole, velocities, delta,
    cover_y, cover_x, link, parity, alpha_y, alpha_x, tau_y, tau_x, push_y, push_x, room_tau,
    m, nu_side, nu_top, nu_y, nu_x, out, side, top, vane_y, vane_x,
):  # fmt: skip
    """Run the workers side by side."""
    for t in nb.prange(workers):
        some(lanes, t, workers, xs[t], ys[t], low_x[t], low_y[t], dx, dy, dz, gas, patch_x, patch_y, whole,
             velocities, delta, cover_y, cover_x, link, parity, alpha_y, alpha_x, tau_y, tau_x, push_y, push_x,
             room_tau, m, nu_side, nu_top, nu_y, nu_x, out, side, top, vane_y, vane_x)  # fmt: skip


def sweep_each(
    workers: int, scratch: tuple[Floats, ...], fixed: tuple, given: tuple, results: tuple[Floats, ...]
) -> None:
    """Carry the gas once across the domain for many unknowns at once: those of `given` and `results` count them first.

    Parameters are those of `sweep`.
    """
    lanes = (0.0,) * fixed[7].shape[-1]
    if workers == 1:
        some(lanes, 0, 1, *(part[0] for part in scratch), *fixed, *given, *results)
    else:
        each(lanes, workers, *scratch, *fixed, *given, *results)
