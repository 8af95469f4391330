"""Stokes flow about the vanes of a rotor in a round chamber, by point forces on vanes and walls.

Shares nothing with the kinetic solver or the finite elements of tests/kinetics/continuum.py: the velocity is that of
point forces, (1/r + r r/r^3)/(8 pi mu), spread evenly on flat rectangles and fitted in their middles.
"""

from __future__ import annotations

import itertools

import numpy as np

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(4)
_MIRROR = np.diag([1.0, 1.0, -1.0])


def turned(angle):
    """Return the matrix of a rotation about the axis."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def influence(places, half, axis):
    """Return the velocity at places, shape (n, 3, 3), that unit forces an area make on a rectangle about the origin.

    `half` are its half sides, that of its normal `axis` zero; the viscosity is 1.
    """
    first, second = (one for one in range(3) if one != axis)
    a, b = half[first], half[second]
    away, size = np.linalg.norm(places, axis=1), 2 * np.hypot(a, b)
    found = np.zeros((len(places), 3, 3))

    def summed(at, parts):
        node = np.concatenate([(_NODES + 1 + 2 * k) / parts - 1 for k in range(parts)])
        weight = np.tile(_WEIGHTS / parts, parts)
        points = np.zeros((node.size**2, 3))
        points[:, first], points[:, second] = (one.ravel() for one in np.meshgrid(a * node, b * node, indexing="ij"))
        apart = at[:, None, :] - points
        far = np.linalg.norm(apart, axis=2)
        area = np.outer(weight, weight).ravel() * a * b
        both = np.einsum("pq,pqi,pqj->pij", area / far**3, apart, apart)
        both[:, range(3), range(3)] += (area / far).sum(axis=1)[:, None]
        return both

    own, near = away < 1e-9, (away >= 1e-9) & (away < 1.5 * size)
    found[~own & ~near] = summed(places[~own & ~near], 1)
    found[near] = summed(places[near], 5)
    along, across = 4 * b * np.arcsinh(a / b), 4 * a * np.arcsinh(b / a)  # of x^2/r^3 and y^2/r^3
    itself = np.diag([along + across] * 3)
    itself[first, first] += along
    itself[second, second] += across
    found[own] = itself
    return found / (8 * np.pi)


def stokes_drag(vanes, arm, width=None, height=None, *, fine=8):
    """Return the drag of a square vane of a rotor over p A U/v0 and Kn, for small Kn: per mean square of the radius.

    Two or four vanes, or one that moves along its normal, in a round chamber; lengths over the width of a vane. Without
    `width` there is no chamber. A vane has `fine` rectangles along its width, which give 1 % less than many do.
    """
    ends = arm - 0.5 * np.cos(np.linspace(0.0, np.pi, fine + 1))
    up = 0.5 * np.sin(np.linspace(0.0, np.pi / 2, fine // 2 + 1))
    pieces = [
        (np.array([(a + b) / 2, 0.0, (c + d) / 2]), np.array([(b - a) / 2, 0.0, (d - c) / 2]), 1, 0.0)
        for a, b in itertools.pairwise(ends)
        for c, d in itertools.pairwise(up)
    ]
    on_vane = len(pieces)
    if width is not None:
        pieces += _walls(vanes, width / 2, height / 2)
    places = np.array([middle for middle, *_ in pieces])
    matrix = np.zeros((len(pieces), 3, len(pieces), 3))
    for k in range(vanes):
        for mirrored in (np.eye(3), _MIRROR):  # the lower half moves as the upper one
            image = turned(2 * np.pi * k / vanes) @ mirrored
            for j, (middle, half, axis, angle) in enumerate(pieces):
                frame = turned(angle)
                one = influence((places @ image - middle) @ frame, half, axis)
                matrix[:, :, j, :] += image @ frame @ one @ frame.T
    moves = np.zeros((len(pieces), 3))
    moves[:on_vane, 1] = places[:on_vane, 0] / arm if vanes > 1 else 1.0
    size = moves.size
    forces = np.linalg.lstsq(matrix.reshape(size, size), moves.ravel(), rcond=1e-10)[0].reshape(moves.shape)
    area = np.array([4 * half[0] * half[2] for _, half, *_ in pieces[:on_vane]])
    power = 2 * float(np.sum(forces[:on_vane, 1] * moves[:on_vane, 1] * area))
    # mu = p Kn L 2/(sqrt(pi) v0)
    return power * 2 / np.sqrt(np.pi) / (1 + (1 / (12 * arm**2) if vanes > 1 else 0.0))


def _walls(vanes, radius, top):
    """Return the wall and the lid of the upper half of a vane's sector, as rectangles that touch the cylinder."""
    many = {1: 18, 2: 12, 4: 6}[vanes]
    edges = np.pi / vanes * np.linspace(-1.0, 1.0, many + 1)
    step, levels, rings = edges[1] - edges[0], np.linspace(0.0, top, 7), np.linspace(0.0, radius, 6)
    found = []
    for angle in (edges[:-1] + edges[1:]) / 2:
        outward = np.array([np.cos(angle), np.sin(angle), 0.0])
        for low, high in itertools.pairwise(levels):
            half = np.array([0.0, radius * np.tan(step / 2), (high - low) / 2])
            found.append((radius * outward + np.array([0.0, 0.0, (low + high) / 2]), half, 0, angle))
        for inner, outer in itertools.pairwise(rings):
            half = np.array([(outer - inner) / 2, (inner + outer) / 2 * step / 2, 0.0])
            found.append(((inner + outer) / 2 * outward + np.array([0.0, 0.0, top]), half, 2, angle))
    return found
