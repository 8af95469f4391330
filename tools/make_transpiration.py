"""Generation of src/edgewind/gas/transpiration.csv: thermal creep and Poiseuille flow in a long round tube.

Solves the linearised S model (E. M. Shakhov, Fluid Dyn. 3, 95, 1968) with diffuse walls: the unknowns are the bulk
velocity u and the heat flow q along the tube, as polynomials in r^2; gas arriving along a ray was emitted on
it with ``exp(-delta s / c)``. Flows are ``-2`` times the mean of u, ``delta = R p / (mu v0)``.
"""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import numpy as np
from numpy.polynomial.legendre import leggauss, legvander
from numpy.typing import NDArray

import edgewind.gas.transpiration as transpiration

Array = NDArray[np.float64]
DELTAS = (0.0, 0.0001, 0.001, *np.geomspace(0.003, 30.0, 49))
_TERMS, _ANGLES, _SPEEDS, _RAY = 16, 48, 40, 24


def reduced_flows(delta: float, *, terms: int = _TERMS, fine: float = 1.0) -> tuple[float, float]:
    """Return the reduced flows driven by a gradient of pressure and by one of temperature, G_P and G_T.

    Parameters
    ----------
    delta : float
        Rarefaction parameter on the radius.
    terms : int
        Terms of the polynomials.
    fine : float
        Factor on the number of angles, speeds and places on a ray.
    """
    angles, speeds, ray = (int(count * fine) for count in (_ANGLES, _SPEEDS, _RAY))
    place, weight = leggauss(terms)
    r = np.sqrt((1 + place) / 2)
    turn, by_turn = leggauss(angles)
    theta, by_turn = np.pi * (1 + turn) / 2, by_turn / 2
    node, by_node = leggauss(speeds)
    c = ((1 + node) / 2) ** 2 * 5.0  # denser towards zero, where rays are short
    by_speed = by_node * np.sqrt(5.0 * c) * 2 * c * np.exp(-(c**2))
    at, by_ray = leggauss(ray)
    at, by_ray = (1 + at) / 2, by_ray / 2
    reach = r[:, None] * np.cos(theta) + np.sqrt(1 - (r[:, None] * np.sin(theta)) ** 2)  # from a place to the wall
    away = reach[:, :, None, None]
    if delta:
        most = -np.expm1(-delta * away / c[:, None])
        s = -c[:, None] / delta * np.log1p(-most * at)
        emitted = most * by_ray / delta
    else:
        s = away * at + 0 * c[:, None]
        emitted = away * by_ray / c[:, None]
    radius2 = r[:, None, None, None] ** 2 + s**2 - 2 * r[:, None, None, None] * s * np.cos(theta)[:, None, None]
    basis = legvander(np.clip(2 * radius2 - 1, -1, 1), terms - 1)
    # Contribution of each polynomial emitted along the rays, shape (place, speed, term), and of a constant.
    brought = np.einsum("rtck,rtckn,t->rcn", emitted, basis, by_turn)
    even = np.einsum("rtck,t->rc", emitted, by_turn)
    extra = c**2 - 1

    def moments(values: Array) -> tuple[Array, Array, Array]:
        return tuple(np.tensordot(by_speed * power, values, axes=(0, 1)) for power in (1.0, extra, extra**2))

    one, first, second = moments(brought)
    e_one, e_first, e_second = moments(even)
    here = legvander(place, terms - 1)
    # u is half the mean of a, q the mean of (c^2 - 1) a / 2 + 3 b / 4; a is emitted as 2 u + (4/15) q (c^2 - 1), b as
    # (4/15) q.
    matrix = np.block(
        [
            [here - delta * one, -delta * (2 / 15) * first],
            [-delta * first, here - delta * ((2 / 15) * second + (1 / 5) * one)],
        ]
    )
    flows = []
    for sources in ((e_one / 2, e_first / 2), (e_first / 2, e_second / 2 + 0.75 * e_one)):
        u = np.linalg.solve(matrix, -np.concatenate(sources))[:terms]
        flows.append(float(-2 * np.sum(weight * (here @ u)) / 2))
    return flows[0], -flows[1]


def main() -> None:
    """Write the file into the package."""
    path = Path(transpiration.__file__).with_name(transpiration.FILE)
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write("# made by: python tools/make_transpiration.py\n")
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(["delta", "flow_by_pressure", "flow_by_temperature"])
        for delta in DELTAS:
            by_pressure, by_temperature = reduced_flows(float(delta))
            rows.writerow([f"{delta:.6g}", f"{by_pressure:.5f}", f"{by_temperature:.5f}"])
    print(f"{path} is written", file=sys.stderr)


if __name__ == "__main__":
    main()
