"""The coarse levels as one compiled function: polynomials of sweeps within polynomials, down to a matrix.

What the levels need lies in flat arrays of numbers, integers and flags; records say where each part begins. So one
function serves any number of levels, of a rotor and of a lone vane alike. `cycle.py` fills them.
"""

# mypy: ignore-errors
# The compiled functions take lanes, for which Python has no types.

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from edgewind.compiled import njit
from edgewind.kinetics.lanes import load, store
from edgewind.kinetics.quadrature import LANES
from edgewind.kinetics.rotor_kernel import work as work_rotor
from edgewind.kinetics.space_kernel import work as work_space

Floats = NDArray[np.float64]
EIGHT = (0.0,) * 8
FULL = (0.0,) * LANES
ROTOR, SPACE = 0, 1


def record(integers: str, numbers: str = "") -> np.dtype:
    """Return a record of integers and numbers."""
    return np.dtype([(name, np.int64) for name in integers.split()] + [(name, np.float64) for name in numbers.split()])


# Where a map between two levels begins: rows of cells with eight moments each, then of walls with one number each; ends
# of the rows, columns and shares as in compressed sparse rows.
MAP = record("cells cell_ends cell_from cell_share walls wall_ends wall_from wall_share")
# A level: number of unknowns and of the sums of a sweep; where those of each unknown stand among the sums, where those
# of its mirror image, and their factors; a polynomial's steps; room for sums and vectors. The lowest has its inverse.
LEVEL = record("kind size sums own image factor steps first raw left step more swept coarse below inverse", "sign")
ROTORS = record(
    "nx ny nz patches bases rows whole link xs ys low_x low_y dx dy dz gas patch_x patch_y velocities cover_y cover_x"
    " alpha_y zero",
    "delta parity_x parity_y alpha_x",
)
SPACES = record(
    "boxes columns ny nz rows passes plane tops outers bottoms start dx dy dz velocities cover alpha_vane zero",
    "delta parity alpha_room",
)


@njit(error_model="numpy", cache=True, nogil=True)
def part(array, at, shape):
    """Return a part of a flat array as one of several axes."""
    size = 1
    for length in shape:
        size *= length
    return array[at : at + size].reshape(shape)


@njit(error_model="numpy", cache=True, nogil=True, inline="always")
def sweep_rotor(r, numbers, integers, flags, y, raw):
    """Add up what one sweep of a rotor brings, with all walls at rest."""
    nx, ny, nz = r.nx, r.ny, r.nz
    columns, faces_y = nx * ny, nx * nz
    side = 8 * columns * nz
    top = side + r.patches * nz
    vane_y = top + columns
    vane_x = vane_y + faces_y
    on_top = side + 2 * r.patches * nz
    on_y = on_top + 2 * columns
    on_x = on_y + 4 * faces_y
    work_rotor(
        FULL, 0, 1,
        part(numbers, r.xs, (2, ny, nz, LANES)), part(numbers, r.ys, (2, nz, LANES)),
        part(numbers, r.low_x, (r.bases, 2, 2, ny, nz, LANES)), part(numbers, r.low_y, (r.bases, 2, 2, nx, nz, LANES)),
        part(numbers, r.dx, (nx,)), part(numbers, r.dy, (ny,)), part(numbers, r.dz, (nz,)),
        part(flags, r.gas, (nx, ny)), part(integers, r.patch_x, (nx, ny)), part(integers, r.patch_y, (nx, ny)),
        r.whole == 1, part(numbers, r.velocities, (r.rows, r.bases, 5, LANES)), r.delta,
        part(numbers, r.cover_y, (nx, nz)), part(numbers, r.cover_x, (ny, nz)), r.link, (r.parity_x, r.parity_y),
        part(numbers, r.alpha_y, (nx,)), r.alpha_x, part(numbers, r.zero, (nx,)), 0.0, part(numbers, r.zero, (nx,)),
        part(numbers, r.zero, (ny,)), 0.0,
        part(y, 0, (nx, ny, nz, 8)), part(y, side, (r.patches, nz)), part(y, top, (nx, ny)), part(y, vane_y, (nx, nz)),
        part(y, vane_x, (ny, nz)),
        part(raw, 0, (nx, ny, nz, 8)), part(raw, side, (r.patches, nz, 2)), part(raw, on_top, (nx, ny, 2)),
        part(raw, on_y, (nx, nz, 4)), part(raw, on_x, (ny, nz, 4)),
    )  # fmt: skip


@njit(error_model="numpy", cache=True, nogil=True, inline="always")
def sweep_space(r, numbers, integers, y, raw):
    """Add up what one sweep about a lone vane in space brings, with all walls at rest."""
    boxes, columns, ny, nz = r.boxes, r.columns, r.ny, r.nz
    end = 8 * columns * ny * nz
    side = end + boxes * ny * nz
    outer = side + columns * nz
    vane = outer + columns * ny
    on_side = end + 4 * boxes * ny * nz
    on_outer = on_side + 4 * columns * nz
    on_vane = on_outer + 4 * columns * ny
    work_space(
        FULL, 0, 1,
        part(numbers, r.plane, (boxes, 2, 2, ny, nz, LANES)), part(numbers, r.tops, (2, 2, columns, nz, LANES)),
        part(numbers, r.outers, (2, 2, columns, ny, LANES)), part(numbers, r.bottoms, (2, columns, nz, LANES)),
        part(integers, r.start, (boxes + 1,)), part(numbers, r.dx, (columns,)), part(numbers, r.dy, (ny,)),
        part(numbers, r.dz, (nz,)), part(numbers, r.velocities, (r.rows, 5, LANES)), r.delta,
        part(numbers, r.cover, (ny, nz)), r.parity, part(numbers, r.alpha_vane, (boxes,)), r.alpha_room,
        part(numbers, r.zero, (boxes, 3)), 0.0, r.passes,
        part(y, 0, (columns, ny, nz, 8)), part(y, end, (boxes, ny, nz)), part(y, side, (columns, nz)),
        part(y, outer, (columns, ny)), part(y, vane, (boxes, ny, nz)),
        part(raw, 0, (columns, ny, nz, 8)), part(raw, end, (boxes, ny, nz, 4)), part(raw, on_side, (columns, nz, 4)),
        part(raw, on_outer, (columns, ny, 4)), part(raw, on_vane, (boxes, ny, nz, 4)),
    )  # fmt: skip


@njit(error_model="numpy", cache=True, nogil=True, inline="always")
def product(n, stored, v, out):
    """Set ``out`` to ``(1 - K) v`` on a level."""
    levels, _, rotors, spaces, numbers, integers, flags = stored
    level = levels[n]
    raw = part(numbers, level.raw, (level.sums,))
    raw[:] = 0.0
    # Sweeps write into their moments never, so that v itself is what scatters.
    if level.kind == ROTOR:
        sweep_rotor(rotors[n], numbers, integers, flags, v, raw)
    else:
        sweep_space(spaces[n], numbers, integers, v, raw)
    own = part(integers, level.own, (level.size,))
    image = part(integers, level.image, (level.size,))
    factor = part(numbers, level.factor, (level.size,))
    if level.sign == 0.0:
        for i in range(level.size):
            out[i] = v[i] - factor[i] * raw[own[i]]
    else:
        for i in range(level.size):
            out[i] = v[i] - factor[i] * (raw[own[i]] + level.sign * raw[image[i]])


@njit(error_model="numpy", cache=True, nogil=True)
def carry(between, numbers, integers, v, out):
    """Set ``out`` to what a map between two levels makes of ``v``."""
    rows, ends, source, share = between.cells, between.cell_ends, between.cell_from, between.cell_share
    nothing = np.zeros(8)
    for i in range(rows):
        row = load(nothing, EIGHT)
        for at in range(integers[ends + i], integers[ends + i + 1]):
            row = row + load(v[8 * integers[source + at] :], EIGHT) * numbers[share + at]
        store(out[8 * i :], row)
    ends, source, share = between.wall_ends, between.wall_from, between.wall_share
    for i in range(between.walls):
        value = 0.0
        for at in range(integers[ends + i], integers[ends + i + 1]):
            value += numbers[share + at] * v[integers[source + at]]
        out[8 * rows + i] = value


@njit(error_model="numpy", cache=True, nogil=True)
def descend(n, stored, r, x):
    """Set ``x`` to the loose solution of ``(1 - K) x = r`` on a level: the polynomial of `apply_polynomial`."""
    levels, maps, _, _, numbers, integers, _ = stored
    level = levels[n]
    size = level.size
    if level.steps == 0:
        np.dot(part(numbers, level.inverse, (size, size)), r, x)
        return
    left, step = part(numbers, level.left, (size,)), part(numbers, level.step, (size,))
    more, swept = part(numbers, level.more, (size,)), part(numbers, level.swept, (size,))
    coarse = part(numbers, level.coarse, (levels[n + 1].size,))
    below = part(numbers, level.below, (levels[n + 1].size,))
    x[:] = 0.0
    left[:] = r
    for k in range(level.steps):
        # A step of a pair of complex roots takes two: 1/|root|^2 and 2 Re root; a single one 1/root and 0.
        factor, twice = numbers[level.first + 2 * k], numbers[level.first + 2 * k + 1]
        source, target = left, step
        for half in range(1 if twice == 0.0 else 2):
            if half == 1:
                product(n, stored, step, swept)
                source, target = swept, more
            # What the coarse grid cannot see is its own correction, as in `Level.precondition`.
            carry(maps[n, 0], numbers, integers, source, coarse)
            descend(n + 1, stored, coarse, below)
            below -= coarse
            carry(maps[n, 1], numbers, integers, below, target)
            target += source
        if twice != 0.0:
            for i in range(size):
                step[i] = twice * step[i] - more[i]
        for i in range(size):
            x[i] += factor * step[i]
        if k + 1 < level.steps:
            product(n, stored, step, swept)
            for i in range(size):
                left[i] -= factor * swept[i]
