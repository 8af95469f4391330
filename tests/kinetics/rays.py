# ruff: noqa: NPY002 -- compiled code draws from the legacy generator
"""Free flight about a rotor by rays: what each face sees, and how often what it sends comes back.

In free flight a diffuse face sends out ``nu + tau (c^2 - 2) + 2 c.u``, and what falls on it comes straight from the
faces that it sees. Averages over the cosine, and over its square for the pressure, are means over rays; the densities
obey ``nu = <nu of what is seen> + sources``, summed along chains of rays. No mesh, no set of directions, no iteration
of the solver's: only the geometry is common.
"""

from __future__ import annotations

import numpy as np

from edgewind.compiled import njit

FLUX = 0.5 / np.sqrt(np.pi)


@njit(cache=True)
def _seen(p, d, vanes, arm, height, half, top, is_round):
    """Return distance, vane (-1 for the chamber), cosine and side (+1 leading) of the first thing along a ray."""
    best = 1e30
    vane, cosine, side = -1, 1.0, 0.0
    if top == 0.0:
        b = p[0] * d[0] + p[1] * d[1] + p[2] * d[2]
        best = -b + np.sqrt(max(b * b + half * half - p[0] * p[0] - p[1] * p[1] - p[2] * p[2], 0.0))
        cosine = abs(b + best) / half
    elif d[2] != 0.0:
        t = ((top if d[2] > 0.0 else -top) - p[2]) / d[2]
        best, cosine = t, abs(d[2])
    if top == 0.0:
        pass
    elif is_round:
        a = d[0] * d[0] + d[1] * d[1]
        b = p[0] * d[0] + p[1] * d[1]
        c = p[0] * p[0] + p[1] * p[1] - half * half
        if a > 0.0:
            t = (-b + np.sqrt(max(b * b - a * c, 0.0))) / a
            if t < best:
                best = t
                cosine = abs((p[0] + t * d[0]) * d[0] + (p[1] + t * d[1]) * d[1]) / half
    else:
        for axis in range(2):
            if d[axis] != 0.0:
                t = ((half if d[axis] > 0.0 else -half) - p[axis]) / d[axis]
                if t < best:
                    best, cosine = t, abs(d[axis])
    for k in range(vanes):
        angle = 2.0 * np.pi * k / vanes
        rx, ry = np.cos(angle), np.sin(angle)
        across = -d[0] * ry + d[1] * rx
        if across == 0.0:
            continue
        t = -(-p[0] * ry + p[1] * rx) / across
        if 1e-9 < t < best:
            r = (p[0] + t * d[0]) * rx + (p[1] + t * d[1]) * ry
            if abs(r - arm) < 0.5 and abs(p[2] + t * d[2]) < 0.5 * height:
                best, vane, cosine = t, k, abs(across)
                # The side that the ray comes from.
                side = -1.0 if across > 0.0 else 1.0
    return best, vane, cosine, side


@njit(cache=True)
def _direction(nx, ny, nz, power):
    """Draw a direction about a normal with a density of cosine to this power."""
    cosine = np.random.random() ** (1.0 / (power + 1.0))
    sine = np.sqrt(1.0 - cosine * cosine)
    angle = 2.0 * np.pi * np.random.random()
    # Two directions across the normal.
    if abs(nz) < 0.9:
        length = np.sqrt(nx * nx + ny * ny)
        ax, ay, az = -ny / length, nx / length, 0.0
    else:
        length = np.sqrt(nz * nz + ny * ny)
        ax, ay, az = 0.0, -nz / length, ny / length
    bx, by, bz = ny * az - nz * ay, nz * ax - nx * az, nx * ay - ny * ax
    c, s = sine * np.cos(angle), sine * np.sin(angle)
    return np.array([cosine * nx + c * ax + s * bx, cosine * ny + c * ay + s * by, cosine * nz + c * az + s * bz])


@njit(cache=True)
def _normal(p, vane, side, vanes, half, top, is_round):
    """Return the normal, into the gas, of what a ray met."""
    if vane >= 0:
        angle = 2.0 * np.pi * vane / vanes
        return -side * np.sin(angle), side * np.cos(angle), 0.0
    if top == 0.0:
        return -p[0] / half, -p[1] / half, -p[2] / half
    if abs(p[2]) > top - 1e-9:
        return 0.0, 0.0, -np.sign(p[2])
    if is_round:
        return -p[0] / half, -p[1] / half, 0.0
    if abs(abs(p[0]) - half) < 1e-9:
        return -np.sign(p[0]), 0.0, 0.0
    return 0.0, -np.sign(p[1]), 0.0


@njit(cache=True)
def _density(p, vane, side, bounces, vanes, arm, height, half, top, is_round):
    """Estimate the density that a face sends out while the rotor turns at 1/arm, from one chain of rays."""
    total = 0.0
    flux = 0.5 / np.sqrt(np.pi)
    for _ in range(bounces):
        if vane >= 0:
            total += 0.5 * side * np.hypot(p[0], p[1]) / arm / flux
        nx, ny, nz = _normal(p, vane, side, vanes, half, top, is_round)
        d = _direction(nx, ny, nz, 1.0)
        t, vane, cosine, side = _seen(p, d, vanes, arm, height, half, top, is_round)
        p = p + t * d
        if vane >= 0:
            total += 0.75 * side * np.hypot(p[0], p[1]) / arm * cosine / flux
    return total


@njit(cache=True)
def _sums(rays, bounces, vanes, arm, height, half, top, is_round, seed):
    """Sums over rays from the leading face of the first vane: pressure times radius, and what is seen of heat."""
    np.random.seed(seed)
    sums = np.zeros(4)
    cubed = 4.0 / np.sqrt(np.pi) / 6.0
    own = 0.5 / np.sqrt(np.pi)
    for _ in range(rays):
        p = np.array([arm - 0.5 + np.random.random(), 0.0, height * (np.random.random() - 0.5)])
        r = p[0]
        # Pressure: rays by the square of the cosine.
        d = _direction(0.0, 1.0, 0.0, 2.0)
        t, vane, cosine, side = _seen(p, d, vanes, arm, height, half, top, is_round)
        q = p + t * d
        tau = -0.5 * side if vane >= 0 else 0.0
        sums[0] += r * 0.25 * (-0.5 + tau)
        moving = 4.0 * own * r / arm + 0.5 * _density(p, 0, 1.0, bounces, vanes, arm, height, half, top, is_round)
        moving += 0.5 * _density(q, vane, side, bounces, vanes, arm, height, half, top, is_round)
        if vane >= 0:
            moving += 4.0 * cubed * side * np.hypot(q[0], q[1]) / arm * cosine
        sums[1] += r * moving
        # Energy: rays by the cosine.
        d = _direction(0.0, 1.0, 0.0, 1.0)
        _, vane, _, side = _seen(p, d, vanes, arm, height, half, top, is_round)
        if vane >= 0:
            sums[2] += -0.5 * side
            sums[3] += 1.0
    return sums / rays


def free_flight(vanes, arm, width, height, *, is_round=False, vane_height=1.0, rays=400_000, bounces=40, seed=1):
    """Return torque, drag, heat_apart and loss of a rotor of square or rectangular vanes in free flight.

    A height of 0 stands for a sphere as wide as `width`.
    """
    pressure, moving, apart, both = _sums(
        rays, bounces, vanes, arm, vane_height, 0.5 * width, 0.5 * height, is_round, seed
    )
    return {
        "torque": -2.0 * pressure / arm,
        "drag": 2.0 * moving / arm,
        "heat_apart": 2.0 * FLUX * (0.5 + apart),
        "loss": 2.0 * FLUX * (1.0 - both),
    }


@njit(cache=True)
def _left(cx, cy, cz, normal, tangential, law):
    """Return what leaves a wall at the temperature of the gas for what came, velocities along the wall and off it.

    With `law` it is one of Cercignani and Lampis, by the algorithm of Lord (Phys. Fluids A 3, 706, 1991); else one of
    Maxwell that accommodates a share `normal` of what falls on it.
    """
    if law:
        spread = np.sqrt(0.5 * tangential * (2.0 - tangential))
        x = np.sqrt(1.0 - normal) * cx + np.sqrt(0.5 * normal) * np.random.randn()
        off = np.hypot(x, np.sqrt(0.5 * normal) * np.random.randn())
        return (
            off,
            (1.0 - tangential) * cy + spread * np.random.randn(),
            (1.0 - tangential) * cz + spread * np.random.randn(),
        )
    if np.random.random() < normal:
        along = np.sqrt(0.5)
        return np.sqrt(-np.log(np.random.random())), along * np.random.randn(), along * np.random.randn()
    return cx, cy, cz


@njit(cache=True)
def _returned(rays, bounces, vanes, arm, height, half, top, is_round, normal, tangential, law, seed):
    """Mean and variance of the push of molecules that faces half a unit warmer and colder sent out, when they return.

    A molecule has the weight by which more of its kind leave the face than at the temperature of the gas.
    """
    np.random.seed(seed)
    along_wall = tangential * (2.0 - tangential) if law else normal
    whole, squares = 0.0, 0.0
    for _ in range(rays):
        r = arm - 0.5 + np.random.random()
        p = np.array([r, 0.0, height * (np.random.random() - 0.5)])
        vane, side = 0, 1.0 if np.random.random() < 0.5 else -1.0
        off = np.sqrt(-np.log(np.random.random()))
        radial, up = np.sqrt(0.5) * np.random.randn(), np.sqrt(0.5) * np.random.randn()
        warm = normal * (off * off - 1.0) + along_wall * (radial * radial + up * up - 1.0)
        weight = -0.5 * side * warm
        push = 0.0
        met = 0
        while met < bounces:
            if vane >= 0:
                angle = 2.0 * np.pi * vane / vanes
                rx, ry = np.cos(angle), np.sin(angle)
                c = np.array([-side * off * ry + radial * rx, side * off * rx + radial * ry, up])
            else:
                nx, ny, nz = _normal(p, vane, side, vanes, half, top, is_round)
                speed = np.sqrt(-np.log(np.random.random() * np.random.random()))
                c = speed * _direction(nx, ny, nz, 1.0)
            speed = np.sqrt(c[0] * c[0] + c[1] * c[1] + c[2] * c[2])
            d = c / speed
            t, vane, cosine, side = _seen(p, d, vanes, arm, height, half, top, is_round)
            p = p + t * d
            if vane >= 0:
                angle = 2.0 * np.pi * vane / vanes
                rx, ry = np.cos(angle), np.sin(angle)
                came = speed * cosine
                off, radial, up = _left(came, c[0] * rx + c[1] * ry, c[2], normal, tangential, law)
                lever = np.hypot(p[0], p[1]) / arm if arm > 0.0 else 1.0
                push -= side * (came + off) * lever * weight
            else:
                met += 1
        whole += push
        squares += push * push
    # Two faces, each drawn half of the time.
    mean = whole / rays
    return 2.0 * mean, 4.0 * (squares / rays - mean * mean)


def warm_vane(vanes, arm, width, height, normal, tangential=None, *, vane_height=1.0, rays=400_000, seed=1):
    """Return the push of faces at +1/2 and -1/2 on a vane in free flight in a box, and its standard error.

    Per p0 A and unit of difference over T0; the torque over the arm for the vanes of a rotor, the force of a lone vane
    in the middle of its chamber for an arm of 0. With `tangential` the faces follow Cercignani and Lampis, and `normal`
    is their accommodation of the energy of the normal motion; else they accommodate that share, as Maxwell's.
    """
    law = tangential is not None
    mean, variance = _returned(
        rays, 12, vanes, float(arm), vane_height, 0.5 * width, 0.5 * height, False, normal, tangential or 0.0, law, seed
    )
    # What leaves pushes by normal/4, wherever it goes; see `thermal_force_in_free_flight` of test_wall_law.
    return 0.25 * normal + mean / np.sqrt(np.pi), float(np.sqrt(variance / rays / np.pi))
