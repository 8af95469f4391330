"""Speed of the kinetic solver: kernel against vector peak and NumPy, sweeps by Kn, curves."""

from __future__ import annotations

import resource
import time
from collections.abc import Callable
from dataclasses import replace

import numba as nb
import numpy as np
from measured import Row, row, spent

from edgewind.kinetics.drives import DRIVES
from edgewind.kinetics.geometry import Room, Shape
from edgewind.kinetics.lanes import load, store
from edgewind.kinetics.response import respond, respond_curve
from edgewind.kinetics.solve import Case, Resolution, solve

ROOM = Room(4.0, 4.0)
# Floating-point operations of one cell and velocity in the plane: source, two distributions, six sums; 94 for the two
# ways through a cell that are swept together.
OPERATIONS_PER_UPDATE = 47


def best(action: Callable[[], object], repeats: int = 25) -> float:
    """Return the shortest of several times, s."""
    return min(spent(action, repeats))


@nb.njit(error_model="numpy")
def _chains(rows, count, lanes):
    a = load(rows[0], lanes)
    b = load(rows[1], lanes)
    x0, x1, x2, x3, x4, x5, x6, x7 = a, b, a + b, a - b, a * b, b * b, a * a, b - a
    for _ in range(count):
        x0 = x0 * a + b
        x1 = x1 * a + b
        x2 = x2 * a + b
        x3 = x3 * a + b
        x4 = x4 * a + b
        x5 = x5 * a + b
        x6 = x6 * a + b
        x7 = x7 * a + b
    store(rows[2], x0 + x1 + x2 + x3 + x4 + x5 + x6 + x7)


@nb.njit(error_model="numpy", parallel=True)
def _peak(rows, count, lanes):
    for worker in nb.prange(rows.shape[0]):
        _chains(rows[worker], count, lanes)


def vector_peak(workers: int) -> float:
    """Return the peak rate of fused multiply-adds in registers, operations per second."""
    # Eight chains of eight lanes: enough to hide the latency, few enough to stay in registers.
    rows, count, lanes = np.full((workers, 3, 8), 0.5), 2_000_000, (0.0,) * 8
    _peak(rows, 10, lanes)
    seconds = best(lambda: _peak(np.full((workers, 3, 8), 0.5), count, lanes))
    return workers * count * 8 * 8 * 2 / seconds


def numpy_sweep(operator, moments):
    """Sweep by the same scheme in plain NumPy: a loop over cells, all velocities of a quadrant at once."""
    grid, v = operator.grid, operator.velocities
    ex, ey = (v.directions[:, k, None] for k in (0, 1))
    s = v.speed[None, :]
    weight = v.direction_weights[:, None] * v.speed_weights[None, :]
    new = np.zeros_like(moments)
    ny = grid.cover.size
    for signs in ((-1, -1), (-1, 1), (1, -1), (1, 1)):
        e0, e1 = signs[0] * ex, signs[1] * ey
        hx = np.zeros((ny, 2, *weight.shape))
        for i in range(grid.dx.size)[:: signs[0]]:
            hy = np.zeros((2, *weight.shape))
            for j in range(ny)[:: signs[1]]:
                nu, ux, uy, tau, qx, qy = moments[i, j]
                cu, cq = s * (e0 * ux + e1 * uy), s * (e0 * qx + e1 * qy)
                first = nu + 2.0 * cu + tau * (s**2 - 1.0) + 4.0 / 15.0 * cq * (s**2 - 2.0)
                source = np.array([first, 0.5 * tau + 2.0 / 15.0 * cq])
                a, b = 2.0 * s * ex / grid.dx[i], 2.0 * s * ey / grid.sides[0][j]
                h = (operator.delta * source + a * hx[j] + b * hy) / (operator.delta + a + b)
                hx[j], hy = 2.0 * h - hx[j], 2.0 * h - hy
                f = weight * h
                heat = s * (f[0] * (s**2 - 2.0) + f[1])
                new[i, j] += [
                    f[0].sum(),
                    (e0 * s * f[0]).sum(),
                    (e1 * s * f[0]).sum(),
                    2.0 / 3.0 * (f[0] * (s**2 - 1.0) + f[1]).sum(),
                    (e0 * heat).sum(),
                    (e1 * heat).sum(),
                ]
    return new


def kernel() -> list[Row]:
    """Measure updates per second on one and two cores, against the vector peak and NumPy, in one run."""
    rows = []
    case, resolution = Case(Shape("strip"), ROOM, 1.0), Resolution(1.5, 32, speeds=16)
    rates = {}
    for workers in (1, 2):
        operator = case.operator(resolution, -1.0, workers)
        y = np.random.default_rng(0).normal(size=operator.size)
        operator.sweep(y)
        rates[workers] = operator.updates / best(lambda operator=operator, y=y: operator.sweep(y))
    peak = vector_peak(2)
    rows.append(row("kinetics: cell-velocity updates, strip, two cores", rates[2], "1/s", 1.2e9))
    rows.append(row("kinetics: cell-velocity updates, strip, one core", rates[1], "1/s"))
    rows.append(row("kinetics: gain from the second core", rates[2] / rates[1], "1", 1.8))
    rows.append(row("kinetics: vector peak, two cores, fused multiply-add", peak, "1/s"))
    rows.append(row("kinetics: share of that peak", rates[2] * OPERATIONS_PER_UPDATE / peak, "1"))
    small = case.operator(Resolution(0.7, 16, speeds=16), -1.0, 1)
    y = np.random.default_rng(0).normal(size=small.size)
    small.sweep(y)
    ours = small.updates / best(lambda: small.sweep(y))
    theirs = small.updates / best(lambda: numpy_sweep(small, small.split(y)[0]), 2)
    rows.append(row("kinetics: updates of the same sweep in NumPy, one core", theirs, "1/s"))
    rows.append(row("kinetics: compiled over NumPy, one core", ours / theirs, "1"))
    space = Case(Shape("square"), Room(4.0, 4.0, 4.0), 1.0).operator(Resolution(0.6, 6, 5), -1.0, 2)
    y = np.zeros(space.size)
    space.sweep(y)
    rate = space.updates / best(lambda: space.sweep(y))
    rows.append(row("kinetics: cell-velocity updates, square, two cores", rate, "1/s", 1.2e9))
    return rows


def sweeps(full: bool) -> list[Row]:
    """Count fine sweeps by Knudsen number and drive, and the work of the coarse levels."""
    rows = []
    names = ("faces", "both", "motion")
    for kn in (100.0, 10.0, 1.0, 0.1, 0.03, 0.01) if full else (10.0, 0.1):
        found = solve(Case(Shape("strip"), ROOM, kn), Resolution(1.0, 16), names, tolerance=1e-3, workers=2)
        limit = 12 if kn >= 0.03 else 20
        for name, solution in zip(names, found, strict=True):
            rows.append(row(f"kinetics: fine sweeps, strip, Kn {kn:g}, {name}", solution.sweeps, "1", limit))
        coarse = max(solution.coarse_sweeps for solution in found)
        rows.append(row(f"kinetics: coarse work, strip, Kn {kn:g}", coarse, "fine sweeps"))
    space = Case(Shape("square"), Room(4.0, 4.0, 4.0), 1.0)
    for kn in (100.0, 1.0, 0.1, 0.03, 0.01) if full else (0.1,):
        found = solve(replace(space, knudsen=kn), Resolution(0.4, 5, 4), names, tolerance=3e-3, workers=2)
        limit = 12 if kn >= 0.03 else 20
        most = max(solution.sweeps for solution in found)
        rows.append(row(f"kinetics: most fine sweeps, square, Kn {kn:g}", most, "1", limit))
        coarse = max(solution.coarse_sweeps for solution in found)
        rows.append(row(f"kinetics: coarse work, square, Kn {kn:g}", coarse, "fine sweeps"))
    return rows


def curves(full: bool) -> list[Row]:
    """Measure whole response curves with all drives, and their memory."""
    count = 25 if full else 4
    begun = time.perf_counter()
    answers = respond_curve("strip", np.geomspace(0.01 if full else 0.1, 100.0, count), cache=False, tolerance=1e-3)
    spent = time.perf_counter() - begun
    rows = [row(f"kinetics: strip curve, {count} Kn, all drives, 1e-3", spent, "s", 30.0 if full else None)]
    rows.append(row("kinetics: of these within tolerance", sum(a.reached for a in answers) / count, "1", 1.0))
    if full:
        begun = time.perf_counter()
        answers = [respond("square", kn, cache=False, tolerance=3e-3) for kn in np.geomspace(0.03, 100.0, 15).tolist()]
        spent = time.perf_counter() - begun
        rows.append(row("kinetics: square curve, 15 Kn, all drives, 3e-3", spent, "s", 180.0))
        most = max(max(answer.sweeps.values()) for answer in answers)
        rows.append(row("kinetics: most fine sweeps on that curve", most, "1", 12))
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    rows.append(row("kinetics: peak memory of this process", memory / 2**30, "GiB", 1.0))
    return rows


def run(full: bool = True) -> list[Row]:
    """Measure; the short form leaves out everything that takes minutes."""
    solve(Case(Shape("strip"), ROOM, 1.0), Resolution(0.5, 8), list(DRIVES), workers=2)
    return [*kernel(), *sweeps(full), *curves(full)]
