"""An independent particle simulation: molecules that fly, hit walls and forget, with no linearisation and no grid of h.

Molecules carry three velocities through the whole room. Between flights each forgets its velocity with
the collision rate of the model and draws a new one from the Shakhov distribution of its cell, whose density, velocity,
temperature and heat flux are running means; what a cell forgets together keeps its momentum and energy. The faces are
warmer and colder by 15 per cent, so that the answer differs from the linear one by about the square of that, 1 %.
"""

from __future__ import annotations

import numba as nb
import numpy as np
import pytest

from edgewind.kinetics.response import respond

LENGTH = 3.0
CELLS = 24
HALF_DIFFERENCE = 0.15


@nb.njit(cache=True, error_model="numpy")
def simulate(delta, molecules, step, settle, blocks, per_block, seed):
    """Mean force and heat per block of time: force from hot to cold, heat out of the hot face; units p0, p0 v0."""
    np.random.seed(seed)
    half = 0.5 * LENGTH
    size = LENGTH / CELLS
    cells = CELLS * CELLS
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
    chosen = np.empty(molecules, np.int64)
    draws = np.empty((molecules, 3))
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
                    if inward > 0.0:
                        energy += 2.0 * temperature - before
        if tick >= settle:
            force[block] += impulse * weight / (step * per_block)
            heat[block] += energy * weight / (step * per_block)
        # Sort by cell.
        count = np.zeros(cells + 1, np.int64)
        for k in range(molecules):
            i = min(max(int((x[k] + half) / size), 0), CELLS - 1)
            j = min(max(int((y[k] + half) / size), 0), CELLS - 1)
            cell[k] = i * CELLS + j
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
            if number < 3:
                continue
            u = np.zeros(3)
            for n in range(first, last):
                u += c[order[n]]
            u /= number
            thermal = 0.0
            flux = np.zeros(3)
            for n in range(first, last):
                d = c[order[n]] - u
                square = d[0] ** 2 + d[1] ** 2 + d[2] ** 2
                thermal += square
                flux += square * d
            now = number * weight / (size * size)
            mean[q, 0] += memory * (now - mean[q, 0])
            mean[q, 4] += memory * (thermal / (1.5 * (number - 1)) - mean[q, 4])
            for a in range(3):
                # q / (p0 v0) = n/n0 <c'^2 c'>.
                mean[q, 5 + a] += memory * (now * flux[a] / number - mean[q, 5 + a])
            rate = delta * mean[q, 0]
            forget = 1.0 - np.exp(-rate * step)
            picked = 0
            for n in range(first, last):
                if np.random.random() < forget:
                    chosen[picked] = order[n]
                    picked += 1
            if picked < 3:
                continue
            fast = np.sqrt(mean[q, 4])
            g = mean[q, 5:8] * (4.0 / 15.0) / (mean[q, 0] * fast**3)
            old, new = np.zeros(3), np.zeros(3)
            for n in range(picked):
                old += c[chosen[n]] / picked
                while True:
                    d0 = np.random.normal(0.0, np.sqrt(0.5))
                    d1 = np.random.normal(0.0, np.sqrt(0.5))
                    d2 = np.random.normal(0.0, np.sqrt(0.5))
                    square = d0 * d0 + d1 * d1 + d2 * d2
                    share = 1.0 + (g[0] * d0 + g[1] * d1 + g[2] * d2) * (square - 2.5)
                    if np.random.random() * 2.0 < share:
                        break
                draws[n, 0] = d0
                draws[n, 1] = d1
                draws[n, 2] = d2
                new += draws[n] / picked
            energy_old = 0.0
            energy_new = 0.0
            for n in range(picked):
                d = c[chosen[n]] - old
                energy_old += d[0] ** 2 + d[1] ** 2 + d[2] ** 2
                d = draws[n] - new
                energy_new += d[0] ** 2 + d[1] ** 2 + d[2] ** 2
            stretch = np.sqrt(energy_old / energy_new)
            for n in range(picked):
                c[chosen[n]] = old + stretch * (draws[n] - new)
    # Impulse along x is given to the gas by the vane: the force on the vane is its opposite, and hot to cold is -x.
    return force, heat


@pytest.mark.parametrize(("knudsen", "step"), [(10.0, 0.3), (1.0, 0.15), (0.3, 0.1)])
def test_particles_agree_within_their_statistical_error(knudsen, step):
    delta = np.sqrt(np.pi) / (2.0 * knudsen)
    blocks = 20
    per_block = int(10.0 / step)
    force, heat = simulate(delta, 15_000, step, int(12.0 / step), blocks, per_block, 7)
    answer = respond("strip", knudsen, room=LENGTH, tolerance=1e-3, cache=False, workers=1)
    drive = 2.0 * HALF_DIFFERENCE
    for sample, value in ((force / drive, answer.thermal_force), (heat / drive, answer.heat_hot)):
        error = sample.std(ddof=1) / np.sqrt(blocks)
        assert error < 0.08 * value
        # One per cent of the value for the neglected second order.
        assert abs(sample.mean() - value) < 3.0 * error + 0.01 * value
