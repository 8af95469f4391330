# ruff: noqa: NPY002 -- compiled code draws from the legacy generator
"""The linearised kinetic equation by random markers that carry the deviation as a weight: a third computation.

Nothing is shared with the solver of `edgewind.kinetics`: no velocities on a grid, no sweeps, no Krylov iteration, but
markers of a gas in equilibrium that fly through the room in time. Each carries w = h(x, c), the relative deviation of
the distribution where it is, for four drives at once. In flight the weight relaxes towards the deviation of the model's
collision term, whose moments are least squares over the markers of a cell with the field of the step before as control
variate, and a straight line within a cell; at a wall it takes the value of Maxwell's law. Room walls give a new
velocity, faces and mirrors turn it about, so that the markers stay in equilibrium and h on the face is known exactly
where the law needs it. At faces of Cercignani and Lampis, which keep equilibrium too, the marker takes a velocity c'
drawn by their law instead and keeps its weight, which has the right mean among the markers that leave with c'; a wall
warmer by tau adds tau (c'^2 - c^2), one that moves into the gas at U adds 2 U (c'_n + c_n). It is a deviational method
of low variance as those of Homolle and Hadjiconstantinou (J. Comput. Phys. 226, 2341, 2007) and Radtke and
Hadjiconstantinou (Phys. Rev. E 79, 056711, 2009), with importance weights in place of signed particles (Al-Mohssen and
Hadjiconstantinou, ESAIM: M2AN 44, 1069, 2010); all three from memory.

Thin vane in the plane x = 0 in the middle of a room; x, y (and z for a square or a disc) are mirrored, so an eighth or
a quarter is simulated. Drives, by parity in x: ``loss``, both faces at 1 (even); ``faces`` at +-1/2 (odd); ``motion``
along x (odd); ``unequal``, the force of both faces at 1 per difference of their accommodations, exactly to first order:
the odd part has as its source on the face half of what a diffuse face re-emits in place of a mirror, in the even
solution (Maxwell's law alone).

Errors beside those of statistics: steps of 0.3 collisions where none are stated, of which the diffusivity of momentum
is exact and that of heat in the S model 5 % too great, so that the loss is up to 3 % too great in dense gas; cells of
two thirds to one and a half mean free paths. Below Kn 0.1 the noise of the hits on the face decides: 17 % of the force
at Kn 0.05 in 51 s. Between plates 20 equivalent free paths apart the heat is too small by 5 % (Shakhov) and 8 % (BGK),
whatever the cells, the steps and the number of markers; the cause was not found. 5 paths apart it is within 1 %.

``python benchmarks/weighted_markers.py OUT.json`` makes the result that is kept beside this file with its date: two
hours of one processor, shared by all.
"""

from __future__ import annotations

import json
import math
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path

import numba as nb
import numpy as np

LOSS, UNEQUAL, FACES, MOTION = 0, 1, 2, 3
DRIVES = 4
SQRT_PI = math.sqrt(math.pi)
# Inverse squared norms of 1, c, c^2 - 3/2 and c (c^2 - 5/2) over the Maxwellian.
NORMS = np.array([1.0, 2.0, 2.0, 2.0, 2.0 / 3.0, 0.8, 0.8, 0.8])
# Share of what the weights depart by from the field that it takes up in a step of 0.3 collisions, and less in a shorter
# one: all of it would amplify the noise of few markers. At rest it makes no difference, as the mean departure is zero.
GAIN = np.array([0.6, 0.6, 0.6, 0.6, 0.6, 0.2, 0.2, 0.2])
# What a wall's running mean of the weights that fall on it takes of each.
SHARE_OF_ONE = 0.01


@nb.njit(error_model="numpy", fastmath=True)
def run(delta, side, cells, vane, disc, alpha, lampis, model, slab, per_cell, step, settle, blocks, per_block, seed):
    """Sums over hits on the face in each block: 1, c_n; then w, w c_n, w c^2 of each weight, and the last two after."""
    np.random.seed(seed)
    nx, ny, nz = cells
    space = nz > 1
    size = side[0] / nx
    size_y = side[1] / ny
    size_z = side[2] / nz
    count = nx * ny * nz
    markers = count * per_cell
    p = np.random.random((markers, 3))
    for a in range(3):
        p[:, a] *= side[a]
    c = np.random.normal(0.0, math.sqrt(0.5), (markers, 3))
    w = np.zeros((markers, DRIVES))
    # Share of the way to the target in a step: that of which the diffusivity is exact (trapezoid rule).
    share = delta * step / (1.0 + 0.5 * delta * step)
    gain = min(1.0, share / 0.26)
    keep = 1.0 / 3.0 if model == 1 else 0.0
    field = np.zeros((count, 8, DRIVES))
    slope = np.zeros((count, 3, 5, DRIVES))
    gathered = np.zeros((count, 8, DRIVES))
    held = np.zeros(count)
    on_x, on_y, on_z = np.zeros((ny, nz, DRIVES)), np.zeros((nx, nz, DRIVES)), np.zeros((nx, ny, DRIVES))
    on_vane = np.zeros((ny, nz, DRIVES))
    tangential, normal = lampis
    keeps, spread = 1.0 - tangential, math.sqrt(0.5 * tangential * (2.0 - tangential))
    keeps_normal, spread_normal = math.sqrt(1.0 - normal), math.sqrt(0.5 * normal)
    source = np.zeros(DRIVES)
    out = np.zeros((blocks, 2 + 5 * DRIVES))
    kinds = 8 if space else 7
    for tick in range(settle + blocks * per_block):
        block = (tick - settle) // per_block
        gathered[:] = 0.0
        held[:] = 0.0
        for m in range(markers):
            x, y, z = p[m, 0], p[m, 1], p[m, 2]
            a, b, d = c[m, 0], c[m, 1], c[m, 2]
            left = step
            while True:
                t = left
                wall = 0
                s = (side[0] - x) / a if a > 0.0 else -x / a
                if s < t:
                    t = s
                    wall = 1 if a > 0.0 else 2
                s = (side[1] - y) / b if b > 0.0 else -y / b
                if s < t:
                    t = s
                    wall = 3 if b > 0.0 else 4
                if space:
                    s = (side[2] - z) / d if d > 0.0 else -z / d
                    if s < t:
                        t = s
                        wall = 5 if d > 0.0 else 6
                t = max(t, 0.0)
                x += t * a
                y += t * b
                z += t * d if space else 0.0
                left -= t
                if wall == 0:
                    break
                i = min(int(x / size), nx - 1)
                j = min(int(y / size_y), ny - 1)
                k = min(int(z / size_z), nz - 1) if space else 0
                if wall == 2:
                    x = 0.0
                    a = -a
                    if (y * y + z * z < vane * vane) if disc else (y < vane and (not space or z < vane)):
                        square = a * a + b * b + d * d
                        if block >= 0:
                            out[block, 0] += 1.0
                            out[block, 1] += a
                            for v in range(DRIVES):
                                out[block, 2 + v] += w[m, v]
                                out[block, 2 + DRIVES + v] += w[m, v] * a
                                out[block, 2 + 2 * DRIVES + v] += w[m, v] * square
                        if tangential > 0.0:
                            fell, a = (
                                a,
                                math.hypot(
                                    keeps_normal * a + np.random.normal(0.0, spread_normal),
                                    np.random.normal(0.0, spread_normal),
                                ),
                            )
                            b = keeps * b + np.random.normal(0.0, spread)
                            d = keeps * d + np.random.normal(0.0, spread)
                            after = a * a + b * b + d * d
                            source[LOSS], source[FACES] = after - square, 0.5 * (after - square)
                            source[MOTION] = 2.0 * (a + fell)
                            square = after
                            for v in range(DRIVES):
                                w[m, v] += source[v]
                        else:
                            for v in range(DRIVES):
                                on_vane[j, k, v] += SHARE_OF_ONE * (w[m, v] - on_vane[j, k, v])
                            diffuse = on_vane[j, k, 0] + square - 2.0
                            before = w[m, 0]
                            source[LOSS], source[UNEQUAL] = square - 2.0, 0.5 * (diffuse - before) / alpha
                            source[FACES], source[MOTION] = 0.5 * (square - 2.0), SQRT_PI + 2.0 * a
                            for v in range(DRIVES):
                                w[m, v] = alpha * (on_vane[j, k, v] + source[v]) + (1.0 - alpha) * w[m, v]
                            w[m, MOTION] += (1.0 - alpha) * 4.0 * a
                        if block >= 0:
                            for v in range(DRIVES):
                                out[block, 2 + 3 * DRIVES + v] += w[m, v] * a
                                out[block, 2 + 4 * DRIVES + v] += w[m, v] * square
                    else:
                        for v in range(1, DRIVES):
                            w[m, v] = -w[m, v]
                elif wall == 4:
                    y = 0.0
                    b = -b
                elif wall == 6:
                    z = 0.0
                    d = -d
                elif wall == 3 and slab:
                    y = side[1]
                    b = -b
                else:
                    n = math.sqrt(-math.log(1.0 - np.random.random()))
                    e, f = np.random.normal(0.0, math.sqrt(0.5)), np.random.normal(0.0, math.sqrt(0.5))
                    if wall == 1:
                        x = side[0]
                        a, b, d = -n, e, f
                        for v in range(DRIVES):
                            on_x[j, k, v] += SHARE_OF_ONE * (w[m, v] - on_x[j, k, v])
                            w[m, v] = on_x[j, k, v]
                    elif wall == 3:
                        y = side[1]
                        a, b, d = e, -n, f
                        for v in range(DRIVES):
                            on_y[i, k, v] += SHARE_OF_ONE * (w[m, v] - on_y[i, k, v])
                            w[m, v] = on_y[i, k, v]
                    else:
                        z = side[2]
                        a, b, d = e, f, -n
                        for v in range(DRIVES):
                            on_z[i, j, v] += SHARE_OF_ONE * (w[m, v] - on_z[i, j, v])
                            w[m, v] = on_z[i, j, v]
            p[m, 0], p[m, 1], p[m, 2] = x, y, z
            c[m, 0], c[m, 1], c[m, 2] = a, b, d
            if delta == 0.0:
                continue
            i = min(int(x / size), nx - 1)
            j = min(int(y / size_y), ny - 1)
            k = min(int(z / size_z), nz - 1) if space else 0
            cell = (i * ny + j) * nz + k
            held[cell] += 1.0
            off_x = x - (i + 0.5) * size
            off_y = y - (j + 0.5) * size_y
            off_z = z - (k + 0.5) * size_z if space else 0.0
            warm = a * a + b * b + d * d - 1.5
            heat = warm - 1.0
            for v in range(DRIVES):
                f, s = field[cell], slope[cell]
                one = f[0, v] + off_x * s[0, 0, v] + off_y * s[1, 0, v]
                ux = f[1, v] + off_x * s[0, 1, v] + off_y * s[1, 1, v]
                uy = f[2, v] + off_x * s[0, 2, v] + off_y * s[1, 2, v]
                tau = f[4, v] + off_x * s[0, 4, v] + off_y * s[1, 4, v]
                total = 0.0
                flux = a * f[5, v] + b * f[6, v]
                if space:
                    one += off_z * s[2, 0, v]
                    ux += off_z * s[2, 1, v]
                    uy += off_z * s[2, 2, v]
                    tau += off_z * s[2, 4, v]
                    total = d * (f[3, v] + off_x * s[0, 3, v] + off_y * s[1, 3, v] + off_z * s[2, 3, v])
                    flux += d * f[7, v]
                total += one + a * ux + b * uy + warm * tau
                aim = total + keep * heat * flux
                rest = w[m, v] - total - heat * flux
                g = gathered[cell]
                g[0, v] += rest
                g[1, v] += a * rest
                g[2, v] += b * rest
                g[4, v] += warm * rest
                g[5, v] += a * heat * rest
                g[6, v] += b * heat * rest
                if space:
                    g[3, v] += d * rest
                    g[7, v] += d * heat * rest
                w[m, v] += share * (aim - w[m, v])
        if delta == 0.0:
            continue
        for cell in range(count):
            if held[cell] > 0.0:
                for kind in range(kinds):
                    for v in range(DRIVES):
                        field[cell, kind, v] += (
                            gain * GAIN[kind] * NORMS[kind] * gathered[cell, kind, v] / max(held[cell], 0.5 * per_cell)
                        )
        # Straight lines within cells, mirrored where the room is.
        for i in range(nx):
            for j in range(ny):
                for k in range(nz):
                    cell = (i * ny + j) * nz + k
                    mid_y, mid_z = (j + 0.5) * size_y, (k + 0.5) * size_z
                    face = mid_y < vane and (not space or mid_z < vane)
                    if disc:
                        face = mid_y * mid_y + mid_z * mid_z < vane * vane
                    for axis in range(3 if space else 2):
                        at, last = (i, nx - 1) if axis == 0 else (j, ny - 1) if axis == 1 else (k, nz - 1)
                        stride = ny * nz if axis == 0 else nz if axis == 1 else 1
                        width = size if axis == 0 else size_y if axis == 1 else size_z
                        for kind in range(5):
                            odd = kind == 1 + axis
                            for v in range(DRIVES):
                                here = field[cell, kind, v]
                                if at == last:
                                    if slab and axis == 1:
                                        slope[cell, axis, kind, v] = 0.0
                                    else:
                                        slope[cell, axis, kind, v] = (here - field[cell - stride, kind, v]) / width
                                elif at > 0:
                                    ahead, behind = field[cell + stride, kind, v], field[cell - stride, kind, v]
                                    slope[cell, axis, kind, v] = (ahead - behind) / (2.0 * width)
                                elif axis == 0 and face:
                                    slope[cell, axis, kind, v] = (field[cell + stride, kind, v] - here) / width
                                else:
                                    sign = -1.0 if odd else 1.0
                                    if axis == 0 and v > 0:
                                        sign = -sign
                                    ahead = field[cell + stride, kind, v]
                                    slope[cell, axis, kind, v] = (ahead - sign * here) / (2.0 * width)
    return out


@dataclass(frozen=True)
class Plan:
    """What to run: shape ('strip', 'square', 'disc' or 'plates'), Knudsen number and resolution.

    `lampis` are the accommodations of tangential momentum and of normal energy of faces of Cercignani and Lampis.
    """

    shape: str
    knudsen: float
    accommodation: float
    model: str = "shakhov"
    half: float = 2.0
    cells_per_half_vane: int = 5
    per_cell: int = 60
    settle: float = 30.0
    seconds: float = 60.0
    step: float = 0.0
    seed: int = 1
    lampis: tuple[float, float] = (0.0, 0.0)


def simulate(plan: Plan, blocks: int = 20) -> dict:
    """Run a plan and return its coefficients with standard errors, from the scatter of blocks of time."""
    slab = plan.shape == "plates"
    size = 0.5 / plan.cells_per_half_vane
    n = round(plan.half / size)
    high = plan.shape in ("square", "disc")
    cells = (n, 1, 1) if slab else (n, n, n if high else 1)
    side = (plan.half, size if slab else plan.half, plan.half if high else 1.0)
    free = math.isinf(plan.knudsen)
    delta = 0.0 if free else math.sqrt(math.pi) / (2.0 * plan.knudsen)
    step = plan.step or (0.1 if free else min(0.3 / delta, 0.1))
    settle, per_block = round(plan.settle / step), max(1, round(plan.seconds / step / blocks))
    cpu = time.process_time()
    walls = (1e9 if slab else 0.5, plan.shape == "disc", plan.accommodation, plan.lampis)
    sums = run(delta, side, cells, *walls, int(plan.model == "shakhov"), slab, plan.per_cell, step, settle, blocks,
               per_block, plan.seed)  # fmt: skip
    alpha = 0.0 if plan.lampis[0] else plan.accommodation
    found = {name: (float(one.mean()), error(one)) for name, one in coefficients(sums, alpha).items()}
    # JSON has no infinity: free flight has no Knudsen number.
    about = asdict(plan) | {"knudsen": None if free else plan.knudsen}
    return {**about, "step": step, "markers": int(np.prod(cells)) * plan.per_cell,
            "values": {name: value for name, (value, _) in found.items()},
            "errors": {name: wrong for name, (_, wrong) in found.items()},
            "cpu_seconds": time.process_time() - cpu}  # fmt: skip


def error(blocks: np.ndarray) -> float:
    """Standard error of the mean of blocks, with their autocorrelation at the first lag if it is positive."""
    off = blocks - blocks.mean()
    rho = max(0.0, float((off[1:] * off[:-1]).sum() / (off**2).sum()))
    return float(blocks.std(ddof=1) / math.sqrt(blocks.size) * math.sqrt((1 + rho) / (1 - min(rho, 0.9))))


def coefficients(sums: np.ndarray, alpha: float) -> dict[str, np.ndarray]:
    """Force and heat of the blocks; pressure over p0, heat over p0 v0.

    A unit deviation brings <c_n> = 1/(2 sqrt(pi)), <c_n^2> = 1/4 and <c_n c^2> = 1/sqrt(pi).
    """
    hits, momentum = sums[:, :1], sums[:, 1:2]
    flux, into_flux, energy_in, out_of, energy_out = sums[:, 2:].reshape(len(sums), 5, DRIVES).swapaxes(0, 1)
    if not alpha:
        pressure, heat = 0.5 * (into_flux + out_of) / momentum, 0.5 / SQRT_PI * (energy_out - energy_in) / hits
        return {
            "thermal_force": 2.0 * pressure[:, FACES], "drag": 2.0 * pressure[:, MOTION],
            "loss": heat[:, LOSS], "heat_apart": heat[:, FACES],
        }  # fmt: skip
    nu, into = flux / hits, 0.5 * into_flux / momentum
    energy = energy_in / hits / (2.0 * SQRT_PI)
    even = 0.5 * nu[:, LOSS] + 0.25
    unequal = (2.0 - alpha) * into[:, UNEQUAL] + alpha * 0.5 * nu[:, UNEQUAL] + 0.5 * (even - into[:, LOSS])
    faces = (2.0 - alpha) * into[:, FACES] + alpha * (0.5 * nu[:, FACES] + 0.125)
    # What a face at rest re-emits, and the momentum that its motion adds: 2 c_n on a diffuse share, 4 c_n on a mirror.
    motion = (
        (2.0 - alpha) * into[:, MOTION]
        + alpha * 0.5 * nu[:, MOTION]
        + alpha * 0.5 * SQRT_PI
        + (2.0 - alpha) * 2.0 / SQRT_PI
    )
    return {
        "unequal_force": 2.0 * unequal,
        "thermal_force": 2.0 * faces,
        "drag": 2.0 * motion,
        "loss": alpha * (1.0 / SQRT_PI * (nu[:, LOSS] + 1.0) - energy[:, LOSS]),
        "heat_apart": alpha * (1.0 / SQRT_PI * (nu[:, FACES] + 0.5) - energy[:, FACES]),
    }


# Accommodations of tangential momentum and normal energy; the first has 0.7 of the energy, along and across.
LAWS = ((0.7, 0.49), (0.8, 0.7))
PLANS = (
    Plan("strip", math.inf, 1.0, per_cell=100, settle=20.0, seconds=200.0),
    Plan("strip", math.inf, 0.8, per_cell=100, settle=20.0, seconds=200.0),
    *(
        Plan("plates", SQRT_PI / 2.0 / delta, 1.0, model, 1.0, cells, markers, 20.0, seconds, step)
        for delta, cells, markers, seconds, step in (
            (1.0, 6, 200, 800.0, 0.05),
            (5.0, 6, 200, 1500.0, 0.02),
            (20.0, 48, 400, 230.0, 0.0),
        )
        for model in ("shakhov", "bgk")
    ),
    Plan("strip", 1.0, 0.9, per_cell=80, settle=20.0, seconds=60.0),
    Plan("strip", 0.3, 0.9, per_cell=80, settle=25.0, seconds=100.0),
    Plan("strip", 0.1, 0.9, cells_per_half_vane=7, per_cell=70, settle=50.0, seconds=150.0),
    Plan("strip", 0.05, 0.9, cells_per_half_vane=8, per_cell=50, settle=80.0, seconds=80.0),
    Plan("square", 1.0, 0.9, cells_per_half_vane=3, per_cell=40, settle=8.0, seconds=25.0),
    Plan("square", 0.3, 0.9, cells_per_half_vane=3, per_cell=40, settle=12.0, seconds=25.0),
    Plan("square", 0.1, 0.9, cells_per_half_vane=4, per_cell=40, settle=25.0, seconds=30.0),
    # Cercignani-Lampis faces and Maxwell's of the same accommodation of energy.
    *(Plan("strip", 1.0, 1.0, per_cell=80, settle=20.0, seconds=2500.0, step=0.05, lampis=law) for law in LAWS),
    *(
        Plan("strip", 0.3, 1.0, "shakhov", 2.0, 8, 60, settle=25.0, seconds=1200.0, step=0.05, lampis=law)
        for law in LAWS
    ),
    Plan("strip", 1.0, 0.7, per_cell=80, settle=20.0, seconds=1200.0, step=0.05),
    Plan("strip", 0.3, 0.7, cells_per_half_vane=8, settle=25.0, seconds=600.0, step=0.05),
    *(Plan("square", 1.0, 1.0, "shakhov", 2.0, 4, 40, 10.0, 700.0, seed=n, lampis=LAWS[0]) for n in (1, 2)),
    *(Plan("square", 0.3, 1.0, "shakhov", 2.0, 5, 30, 15.0, 280.0, 0.05, n, LAWS[0]) for n in (1, 2, 3)),
    Plan("square", 1.0, 0.7, cells_per_half_vane=4, per_cell=40, settle=10.0, seconds=400.0),
    Plan("square", 0.3, 0.7, cells_per_half_vane=5, per_cell=30, settle=15.0, seconds=200.0, step=0.05),
    # Drag.
    *(
        Plan(shape, kn, 1.0, "shakhov", 2.0, 4, 40, 10.0, 250.0)
        for shape in ("disc", "square")
        for kn in (10.0, 3.0, 1.0)
    ),
    *(Plan(shape, 0.3, 1.0, "shakhov", 2.0, 8, 20, 15.0, 50.0, 0.05) for shape in ("disc", "square")),
    *(Plan(shape, 0.1, 1.0, "shakhov", 2.0, 6, 30, 25.0, 30.0) for shape in ("disc", "square")),
)


def main() -> None:
    """Run every plan and write the rows."""
    file, rows = Path(sys.argv[1]), []
    with ProcessPoolExecutor() as pool:
        for plan, row in zip(PLANS, pool.map(simulate, PLANS), strict=True):
            rows.append(row)
            print(plan, row["values"], row["errors"], f"{row['cpu_seconds']:.0f} s", flush=True)
            file.write_text(json.dumps({"made": str(date.today()), "rows": rows}, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
