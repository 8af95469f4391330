"""Sweeps on a GPU: the same operator of a rotor, its sums computed by the card."""

from __future__ import annotations

from dataclasses import fields
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from edgewind.errors import InputError
from edgewind.kinetics.gpu_kernel import THREADS, module
from edgewind.kinetics.rotor_grid import RotorGrid
from edgewind.kinetics.rotor_kernel import MIRRORED
from edgewind.kinetics.rotor_operator import RotorDrive, RotorOperator

Floats = NDArray[np.float64]

# Smaller sweeps take longer on the card than on a processor: the wavefronts of one sweep follow each other.
LEAST_UPDATES = 1_000_000
# Shared memory of a block, and what one launch may write of sums, in bytes.
SHARED_BYTES, LAUNCH_BYTES = 225 * 1024, 2 * 2**30
# Blocks that keep every part of a large card busy.
BUSY = 128


def wavefronts(grid: RotorGrid) -> tuple[NDArray[np.uint32], NDArray[np.int32], NDArray[np.int32]]:
    """Return the cells of each wavefront for the four signs of x and y.

    Returns
    -------
    order : array (4, tasks)
        i + 256 j + 65536 k and the flags of the column above, wave by wave; k counts the way in and out again.
    starts : array (4, waves + 1)
        Where in `order` each wave begins.
    where : array (8, cells)
        For each stage and way, the task of each cell; -1 outside the chamber.
    """
    nx, ny, nz = grid.volume.shape
    gas = np.pad(grid.gas, 1)
    i, j, k = np.meshgrid(np.arange(nx), np.arange(ny), np.arange(2 * nz), indexing="ij")
    inside = np.broadcast_to(grid.gas[..., None], i.shape)
    waves = nx + ny + 2 * nz - 2
    depth = np.where(k >= nz, k - nz, nz - 1 - k)
    cell = ((i * ny + j) * nz + depth)[inside]
    way = (k >= nz)[inside].astype(int)
    orders, starts = [], []
    where = np.full((8, nx * ny * nz), -1, np.int32)
    first_x, first_y = np.zeros((nx, ny), dtype=bool), np.zeros((nx, ny), dtype=bool)
    first_x[0] = not grid.whole
    first_y[:, 0] = True
    none = np.zeros((nx, ny), dtype=bool)
    for away in (False, True):
        for onward in (False, True):
            wave = (i if onward else nx - 1 - i) + (j if away else ny - 1 - j) + k
            before_x, behind_x = (gas[:-2, 1:-1], gas[2:, 1:-1])[:: 1 if onward else -1]
            before_y, behind_y = (gas[1:-1, :-2], gas[1:-1, 2:])[:: 1 if away else -1]
            into_x, from_x = (first_x, none)[:: 1 if onward else -1]
            into_y, from_y = (first_y, none)[:: 1 if away else -1]
            bits = (~before_x & ~into_x, into_x, ~before_y & ~into_y, into_y,
                    ~behind_x & ~from_x, from_x, ~behind_y & ~from_y, from_y)  # fmt: skip
            flags = sum((bit.astype(np.int64) << n for n, bit in enumerate(bits)), np.zeros((nx, ny), np.int64))
            code = (i + (j << 8) + (k << 16) + (flags[..., None] << 24))[inside]
            ranked = np.argsort(wave[inside], kind="stable")
            orders.append(code[ranked])
            starts.append(np.searchsorted(wave[inside][ranked], np.arange(waves + 1)))
            where[2 * (len(orders) - 1) + way[ranked], cell[ranked]] = np.arange(ranked.size)
    return np.array(orders).astype(np.uint32), np.array(starts, np.int32), where


class GpuOperator(RotorOperator):
    """The operator of a rotor with its large sweeps on a GPU, where the planes of the vanes are planes of symmetry.

    Everything else, the small coarse levels among it, is computed as by `RotorOperator`.
    """

    @classmethod
    def of(cls, operator: RotorOperator) -> RotorOperator:
        """Return an operator that computes the same, on the card where that is faster."""
        return cls(**{f.name: getattr(operator, f.name) for f in fields(operator)})

    @property
    def on_card(self) -> bool:
        """Whether this operator's sweeps run on the card."""
        nx, ny, nz = self.grid.volume.shape
        return self.link == MIRRORED and self.updates >= LEAST_UPDATES and max(nx, ny, 2 * nz) < 256

    def _blocks(self, directions: int) -> tuple[int, int]:
        """Speeds of a block and bytes of its faces: as many speeds as keep the card busy and fit into shared memory."""
        nx, ny, nz = self.grid.volume.shape
        each = 8 * (2 * ny * nz + 2 * nx * nz + nx * ny)
        fits = [s for s in (4, 2, 1) if self.velocities.speeds % s == 0 and s * each <= SHARED_BYTES]
        speeds = next((s for s in fits if directions * self.velocities.speeds // s >= BUSY), fits[-1] if fits else 4)
        return speeds, speeds * each

    @cached_property
    def _card(self) -> dict[str, Any]:
        """What stays on the card between sweeps."""
        import cupy

        g, v = self.grid, self.velocities
        nx, ny, nz = g.volume.shape
        e, w = v.directions, v.direction_weights
        if self.folded:
            below = e[:, 0] > e[:, 1]
            e, w = e[below], w[below]
        speeds, size = self._blocks(e.shape[0])
        shared = size <= SHARED_BYTES
        groups = v.speeds // speeds
        order, starts, where = wavefronts(g)
        tasks, blocks = order.shape[1], groups * e.shape[0]
        launch = min(blocks, max(1, LAUNCH_BYTES // (8 * 16 * tasks)))
        sent = {
            "order": order, "starts": starts, "where": where, "directions": e, "speed": v.speed,
            "weight": np.outer(w, v.speed_weights), "rates": self.delta / v.speed, "patch_x": g.patches[0],
            "patch_y": g.patches[1], "cover_y": g.cover_y, "cover_x": g.cover_x,
            **{f"cut_{axis}": 2.0 / widths for axis, widths in zip("xyz", g.widths, strict=True)},
        }  # fmt: skip
        kept: dict[str, Any] = {name: cupy.asarray(np.ascontiguousarray(part)) for name, part in sent.items()}
        kept["memory"] = cupy.empty(1 if shared else launch * size // 8)
        kept["low_x"] = cupy.empty(launch * 4 * speeds * ny * nz)
        kept["low_y"] = cupy.empty(launch * 4 * speeds * nx * nz)
        kept["out"] = cupy.empty(launch * 16 * tasks)
        kept["dealt"], kept["added"] = cupy.empty(32 * tasks), cupy.empty(32 * tasks)
        kept["moments"] = cupy.empty((nx * ny * nz, 8))
        kernels = {name: module(speeds, shared).get_function(name) for name in ("sweep", "deal", "add", "collect")}
        if shared and size > 48 * 1024:
            kernels["sweep"].max_dynamic_shared_size_bytes = size
        numbers = {"groups": groups, "blocks": blocks, "launch": launch, "size": size if shared else 0, "tasks": tasks}
        return kept | kernels | numbers

    def _run(self, y: Floats, drive: RotorDrive) -> list[Floats]:
        if not self.on_card:
            return super()._run(y, drive)
        import cupy

        try:
            return self._run_there(y, drive)
        except cupy.cuda.memory.OutOfMemoryError as error:
            raise InputError(
                f"the GPU is without memory for a grid of {self.grid.cells} cells: {error}",
                key="device",
                fix="ask for a larger tolerance, end what else uses the card, or choose cpu",
            ) from error

    def _run_there(self, y: Floats, drive: RotorDrive) -> list[Floats]:
        """One sweep on the card."""
        import cupy

        card = self._card
        parity, alpha_y, alpha_x, tau_y, tau_x, push_y, push_x, room, m, *nu = self.arguments(y, drive)
        given, *densities = (cupy.asarray(np.ascontiguousarray(part)) for part in (m, *nu))
        by_place = [cupy.asarray(np.ascontiguousarray(part, dtype=float)) for part in (alpha_y, tau_y, push_y, push_x)]
        shapes = self.shapes
        sums = [cupy.zeros(shape)
                for shape in ((*shapes[1], 2), (*shapes[2], 2), (*shapes[3], 4), (*shapes[4], 4))]  # fmt: skip
        nx, ny, nz = (np.int32(n) for n in shapes[0][:3])
        groups, tasks, waves = (np.int32(n) for n in (card["groups"], card["tasks"], card["starts"].shape[1] - 1))
        tiles = (-(-card["tasks"] // 128), 4)
        card["deal"](tiles, (128,), (nx, ny, nz, tasks, card["order"], given, card["dealt"]))
        scalars = [np.float64(value) for value in (*parity, alpha_x, tau_x, room)]
        for begin in range(0, card["blocks"], card["launch"]):
            blocks, start = min(card["launch"], card["blocks"] - begin), np.int32(begin)
            card["sweep"](
                (blocks,), (THREADS,),
                (nx, ny, nz, groups, tasks, waves, start,
                 *(card[n] for n in ("order", "starts", "cut_x", "cut_y", "cut_z", "patch_x", "patch_y", "directions",
                                     "speed", "weight", "rates")),
                 np.float64(self.delta), card["dealt"], *densities, card["cover_y"], card["cover_x"], *by_place,
                 *scalars, card["memory"], card["low_x"], card["low_y"], card["out"], *sums),
                shared_mem=card["size"],
            )  # fmt: skip
            card["add"](tiles, (128,), (nz, groups, np.int32(blocks), start, tasks, card["order"], card["directions"],
                                        card["out"], card["added"]))  # fmt: skip
        cells = card["moments"].shape[0]
        card["collect"]((-(-cells // 128),), (128,), (np.int32(cells), tasks, card["where"], card["added"],
                                                      card["moments"]))  # fmt: skip
        return [card["moments"].get().reshape(shapes[0]), *(part.get() for part in sums)]


@lru_cache(maxsize=1)
def why_no_gpu() -> str | None:
    """Return why no GPU computes here, or None where one does."""
    try:
        import cupy
    except ImportError:
        return "the library CuPy is not installed"
    try:
        if cupy.cuda.runtime.getDeviceCount() == 0:
            return "no CUDA device was found"
        cupy.zeros(1)
    except Exception as error:  # a missing driver, a broken one, a card without memory
        return str(error).splitlines()[0] if str(error) else type(error).__name__
    return None
