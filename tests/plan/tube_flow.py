"""Flow of a rarefied gas through a long round tube from the linear BGK equation, solved for the tests and the table."""

import numpy as np
from scipy.interpolate import CubicSpline


def abramowitz_zero(z):
    """``T_0(z) = int_0^inf exp(-c^2 - z/c) dc`` by Gauss points in ln c."""
    s, w = np.polynomial.legendre.leggauss(400)
    low, high = np.log(1e-7), np.log(6.5)
    c = np.exp((low + high) / 2 + (high - low) / 2 * s)
    return np.exp(-(c**2) - np.asarray(z)[..., None] / c) @ (w * c * (high - low) / 2)


def reduced_flow(delta, *, orders=10, points=24, angles=64, steps=64):
    """G_P at a rarefaction parameter.

    ``u(x) = (1/pi) int dtheta int_0^s dt T_0(delta t) (delta u(x - t e) - 1/2)`` over all directions up to the wall,
    ``G_P = -4 int u r dr`` (radius 1): Cercignani and Sernagiotto, Phys. Fluids 9, 40 (1966), in other letters. u is a
    polynomial in r^2, the equation holds at Gauss points in the least squares sense.
    """
    far = np.concatenate([[0.0], np.geomspace(1e-6, max(2.2 * delta, 1e-3), 400)])
    kernel = CubicSpline(np.sqrt(far), abramowitz_zero(far))
    node, weight = np.polynomial.legendre.leggauss(points)
    r, wr = (node + 1) / 2, weight / 2
    turn, wt = np.polynomial.legendre.leggauss(angles)
    theta, wt = np.pi / 2 * (turn + 1), wt * np.pi / 2
    share, ws = np.polynomial.legendre.leggauss(steps)
    share, ws = ((share + 1) / 2) ** 3, ws / 2 * 3 * ((share + 1) / 2) ** 2
    cosine = np.cos(theta)[None, :]
    s = r[:, None] * cosine + np.sqrt(1 - r[:, None] ** 2 * (1 - cosine**2))
    t = s[..., None] * share
    there = r[:, None, None] ** 2 + t**2 - 2 * r[:, None, None] * t * cosine[..., None]
    measure = 2 / np.pi * wt[None, :, None] * s[..., None] * ws * kernel(np.sqrt(delta * t))
    basis = [np.polynomial.legendre.Legendre.basis(k) for k in range(orders)]
    matrix = np.stack([b(2 * r**2 - 1) - delta * np.sum(measure * b(2 * there - 1), axis=(1, 2)) for b in basis], 1)
    right = -0.5 * measure.sum(axis=(1, 2))
    root = np.sqrt(wr * r)
    found = np.linalg.lstsq(matrix * root[:, None], right * root, rcond=None)[0]
    u = sum(a * b(2 * r**2 - 1) for a, b in zip(found, basis, strict=True))
    return float(-4 * np.sum(wr * r * u))
