# ruff: noqa: NPY002 -- compiled code draws from the legacy generator
"""An independent particle simulation: molecules fly, hit walls and relax, without linearisation.

Molecules have three velocity components and move in the whole room. With the collision rate of the model each draws
a new velocity from its cell's Shakhov distribution, whose density, velocity,
temperature and heat flux are running means, and each cell keeps its momentum and energy. The faces are warmer
and colder by 15 per cent, so that the answer differs from the linear one by about the square of that, 1 %.
"""

from __future__ import annotations

import numba as nb
import numpy as np
from measured import Row, row

from edgewind.kinetics.geometry import Room, Shape
from edgewind.kinetics.response import DRIVES_SOLVED, coefficients, respond
from edgewind.kinetics.solve import Case, Resolution, solve

LENGTH = 3.0
HALF_DIFFERENCE = 0.15


@nb.njit(error_model="numpy")
def simulate(delta, side_cells, molecules, step, settle, blocks, per_block, seed):
    """Return mean force and heat per block of time: force from hot to cold, heat from face to face."""
    np.random.seed(seed)
    half = 0.5 * LENGTH
    size = LENGTH / side_cells
    cells = side_cells * side_cells
    x = (np.random.random(molecules) - 0.5) * LENGTH
    y = (np.random.random(molecules) - 0.5) * LENGTH
    c = np.random.normal(0.0, np.sqrt(0.5), (molecules, 3))
    # One molecule stands for this share of n0 times an area of 1.
    weight = LENGTH * LENGTH / molecules
    mean = np.zeros((cells, 8))
    mean[:, 0] = 1.0
    mean[:, 4] = 1.0
    force, heat = np.zeros(blocks), np.zeros(blocks)
    order = np.empty(molecules, np.int64)
    cell = np.empty(molecules, np.int64)
    square_of = np.empty(molecules)
    for tick in range(settle + blocks * per_block):
        block = (tick - settle) // per_block
        impulse = 0.0
        energy = 0.0
        for k in range(molecules):
            left = step
            while left > 0.0:
                # The first of four walls and the two faces on the way.
                tx = (half - x[k]) / c[k, 0] if c[k, 0] > 0.0 else (-half - x[k]) / c[k, 0]
                ty = (half - y[k]) / c[k, 1] if c[k, 1] > 0.0 else (-half - y[k]) / c[k, 1]
                tv = -x[k] / c[k, 0]
                wall = 0
                t = left
                if tx < t:
                    t = tx
                    wall = 1
                if ty < t:
                    t = ty
                    wall = 2
                if x[k] != 0.0 and 0.0 < tv < t and abs(y[k] + tv * c[k, 1]) < 0.5:
                    t = tv
                    wall = 3
                x[k] += t * c[k, 0]
                y[k] += t * c[k, 1]
                left -= t
                if wall == 0:
                    break
                temperature = 1.0
                axis = 1 if wall == 2 else 0
                inward = -1.0 if c[k, axis] > 0.0 else 1.0
                before = c[k, 0] ** 2 + c[k, 1] ** 2 + c[k, 2] ** 2
                push = c[k, 0]
                if wall == 3:
                    temperature = 1.0 + inward * HALF_DIFFERENCE
                    x[k] = inward * 1e-12
                elif wall == 1:
                    x[k] = -inward * half
                else:
                    y[k] = -inward * half
                scale = np.sqrt(temperature)
                c[k, axis] = inward * scale * np.sqrt(-np.log(1.0 - np.random.random()))
                c[k, 1 - axis] = scale * np.random.normal(0.0, np.sqrt(0.5))
                c[k, 2] = scale * np.random.normal(0.0, np.sqrt(0.5))
                if wall == 3 and tick >= settle:
                    # What leaves is counted by its mean, sqrt(pi T)/2 and 2 T: less noise than by the draw.
                    # Momentum in units of p0: rho0 v0^2 = 2 p0. Energy: n0 m v0^2 / 2 = p0.
                    impulse += 2.0 * (inward * 0.5 * np.sqrt(np.pi * temperature) - push)
                    # Half of what leaves the hot face and enters the cold one: terms of second order cancel.
                    energy += 0.5 * inward * (2.0 * temperature - before)
        if tick >= settle:
            force[block] += impulse * weight / (step * per_block)
            heat[block] += energy * weight / (step * per_block)
        # Sort by cell.
        count = np.zeros(cells + 1, np.int64)
        for k in range(molecules):
            i = min(max(int((x[k] + half) / size), 0), side_cells - 1)
            j = min(max(int((y[k] + half) / size), 0), side_cells - 1)
            cell[k] = i * side_cells + j
            count[cell[k] + 1] += 1
        for q in range(cells):
            count[q + 1] += count[q]
        place = count[:-1].copy()
        for k in range(molecules):
            order[place[cell[k]]] = k
            place[cell[k]] += 1
        memory = 0.02
        for q in range(cells):
            first, last = count[q], count[q + 1]
            number = last - first
            if number == 0:
                continue
            u = mean[q, 1:4]
            u0 = u.copy()
            now = number * weight / (size * size)
            thermal = 0.0
            drift, flux, after = np.zeros(3), np.zeros(3), np.zeros(3)
            for n in range(first, last):
                d = c[order[n]] - u0
                square = d[0] ** 2 + d[1] ** 2 + d[2] ** 2
                square_of[order[n]] = c[order[n], 0] ** 2 + c[order[n], 1] ** 2 + c[order[n], 2] ** 2
                drift += d / number
                thermal += square / number
                # q / (p0 v0) = n/n0 <c'^2 c'>, less what the drift within the running mean carries.
                flux += (square - 2.5) * d / number
            mean[q, 0] += memory * (now - mean[q, 0])
            mean[q, 4] += memory * (thermal / 1.5 - mean[q, 4])
            for a in range(3):
                mean[q, 1 + a] += memory * drift[a]
                mean[q, 5 + a] += memory * (now * flux[a] - mean[q, 5 + a])
            forget = 1.0 - np.exp(-delta * mean[q, 0] * step)
            fast = np.sqrt(mean[q, 4])
            g = mean[q, 5:8] * (4.0 / 15.0) / (mean[q, 0] * fast**3)
            for n in range(first, last):
                if np.random.random() > forget:
                    continue
                while True:
                    d0 = np.random.normal(0.0, np.sqrt(0.5))
                    d1 = np.random.normal(0.0, np.sqrt(0.5))
                    d2 = np.random.normal(0.0, np.sqrt(0.5))
                    square = d0 * d0 + d1 * d1 + d2 * d2
                    share = 1.0 + (g[0] * d0 + g[1] * d1 + g[2] * d2) * (square - 2.5)
                    if np.random.random() * 2.0 < share:
                        break
                k = order[n]
                c[k, 0] = u[0] + fast * d0
                c[k, 1] = u[1] + fast * d1
                c[k, 2] = u[2] + fast * d2
            # Keep momentum and energy of the cell: noise in them would drown the force.
            if number < 3:
                continue
            drift += u0
            for n in range(first, last):
                after += c[order[n]] / number
            kept = 0.0
            new = 0.0
            for n in range(first, last):
                kept += square_of[order[n]]
                new += (
                    (c[order[n], 0] - after[0]) ** 2
                    + (c[order[n], 1] - after[1]) ** 2
                    + (c[order[n], 2] - after[2]) ** 2
                )
            kept -= number * (drift[0] ** 2 + drift[1] ** 2 + drift[2] ** 2)
            stretch = np.sqrt(kept / new)
            for n in range(first, last):
                for a in range(3):
                    c[order[n], a] = drift[a] + stretch * (c[order[n], a] - after[a])
    # Impulse along x is given to the gas by the vane: the force on the vane is its opposite, and hot to cold
    # is -x.
    return force, heat


def run(*, full: bool) -> list[Row]:
    """Compare the solver with particles, and with itself at twice the cells and more than twice the directions."""
    rows: list[Row] = []
    for knudsen, cells, step in ((10.0, 18, 0.3), (1.0, 24, 0.15), (0.3, 36, 0.06)) if full else ((10.0, 18, 0.3),):
        delta, blocks = np.sqrt(np.pi) / (2.0 * knudsen), 20
        force, heat = simulate(delta, cells, 15_000, step, int(12.0 / step), blocks, int(10.0 / step), 1)
        answer = respond("strip", knudsen, room=LENGTH, tolerance=1e-3, cache=False, workers=1)
        drive = 2.0 * HALF_DIFFERENCE
        pairs = {"force": (force / drive, answer.thermal_force), "heat": (heat / drive, answer.heat_hot)}
        for name, (sample, value) in pairs.items():
            error = sample.std(ddof=1) / np.sqrt(blocks)
            # One per cent of the value for the neglected second order.
            share = abs(sample.mean() - value) / (3.0 * error + 0.01 * value)
            rows.append(row(f"{name} by particles at Kn {knudsen:g}, difference over that allowed", share, "", "< 1"))
    for knudsen in (1.0, 0.03) if full else (1.0,):
        answer = respond("strip", knudsen, tolerance=1e-3, cache=False, workers=1)
        case = Case(Shape("strip"), Room(4.0, 4.0), knudsen)
        found = solve(case, Resolution(2.0, 48), DRIVES_SOLVED, tolerance=1e-4)
        fine = coefficients(dict(zip(DRIVES_SOLVED, found, strict=True)))
        names = ("thermal_force", "heat_hot", "drag", "loss_hot")
        worst = max(abs(answer.values[name] / fine[name] - 1.0) / answer.tolerance for name in names)
        rows.append(row(f"strip at Kn {knudsen:g}, error over the tolerance asked for", worst, "", "< 1"))
    return rows
