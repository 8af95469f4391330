"""Sweeps on a GPU: the operators of a rotor and of a lone vane in space, their sums computed by the card."""

from __future__ import annotations

import itertools
import math
import threading
import weakref
from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import cached_property, lru_cache
from itertools import accumulate
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from edgewind.errors import InputError
from edgewind.kinetics.cycle import SweepParts
from edgewind.kinetics.drives import Drive
from edgewind.kinetics.gpu_kernel import COLUMNS, SETS, SLOTS, SOURCE, TALL, THREADS
from edgewind.kinetics.quadrature import SpaceVelocities
from edgewind.kinetics.room_operator import Incoming, RoomOperator
from edgewind.kinetics.rotor_grid import MIRRORED, QUARTER, RotorGrid
from edgewind.kinetics.rotor_operator import RotorDrive, RotorOperator
from edgewind.kinetics.space import SpaceOperator

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]
Kind = TypeVar("Kind", bound=RotorOperator | RoomOperator)

# Smaller sweeps take longer on the card than on a processor.
LEAST_UPDATES = 3_000_000
# Share of the card's free memory that the sums of one launch may take.
SHARE = 0.5
# Speeds that a thread carries at once.
SPEEDS = (8, 4)
WARP = 32
NOTHING, PLANE = -1, -2
OUTSIDE, GAS = 0, 1


@dataclass(frozen=True)
class Layout:
    """How the columns of a grid are dealt to the threads of a block, and when each is computed.

    Parameters
    ----------
    nx, ny, nz : int
        Cells.
    rows : int
        Rows of y in a strip.
    bases : int
        Directions that a block sweeps: two where the domain is turned by a quarter.
    link : int
        How the open parts of the planes are linked.
    """

    nx: int
    ny: int
    nz: int
    rows: int
    bases: int
    link: int

    @property
    def strips(self) -> int:
        """Strips that make up the domain."""
        return -(-self.ny // self.rows)

    @property
    def period(self) -> int:
        """Steps from a column of one strip to that of the next: twice its cells, and no fewer than the strip needs."""
        return max(2 * self.nz, self.rows + 2)

    @property
    def length(self) -> int:
        """Steps from one pass over the domain to the next."""
        return max(self.strips * self.period, self.nx + 2)

    @property
    def passes(self) -> int:
        """Passes: four signs of x and y, for each base."""
        return 4 * self.bases

    @property
    def steps(self) -> int:
        """Steps in all."""
        return self.passes * self.length + self.nx + self.rows + 1

    @property
    def columns(self) -> int:
        """Threads with columns of cells, TALL each, whole warps."""
        return WARP * -(-self.nx * self.rows // (TALL * WARP))

    @property
    def threads(self) -> int:
        """Threads of a block, those of the strip's bounds among them."""
        return self.columns + WARP * (-(-self.rows // WARP) - (-self.nx // WARP))

    def shared_bytes(self, speeds: int) -> int:
        """Shared memory of a block: faces of some steps, widths of the cells, where warps are, and where gas is."""
        rows, pairs = self.rows // TALL, self.nx * self.rows // TALL
        across = TALL * (pairs + rows), pairs + self.nx
        numbers = SLOTS * speeds * sum(across) + 2 * (self.nx + self.ny) + self.nz + TALL * pairs
        ends = 4 * (self.nx + self.ny)
        return 8 * (numbers + 4 * THREADS // WARP + ends + -(-self.nx * self.ny // 8))

    def kept(self, speeds: int) -> int:
        """Numbers that a block keeps in the card's memory: what leaves through the planes, and from strip to strip."""
        return speeds * self.nz * (4 * self.bases * (self.nx + self.ny) + 2 * self.nx)

    @cached_property
    def _threads(self) -> Ints:
        """Thread of each column of the strip, shape (rows / TALL, nx).

        Threads of a warp are at the same depth, as far as can be: what a column begins with is done for many at once.
        """
        row, column = np.indices((self.rows // TALL, self.nx))
        threads = np.empty(row.size, np.int32)
        threads[np.argsort((TALL * row + column).ravel(), kind="stable")] = np.arange(row.size)
        return threads.reshape(row.shape)

    @property
    def places(self) -> Ints:
        """Where threads stand, as the kernels take it.

        Of each thread its columns and who takes their faces across x and y, those that leave the strip last; the
        threads at the near ends of x and of y; and the thread of each column.
        """
        own, rows = self._threads, self.rows // TALL
        of_thread = np.zeros((self.columns, 4), np.int32)
        of_thread[:, 2:] = np.arange(self.columns)[:, None]
        row, column = np.indices(own.shape)
        after_x = np.concatenate([own[:, 1:], own.size + np.arange(rows)[:, None]], axis=1)
        after_y = np.concatenate([own[1:], own.size + np.arange(self.nx)[None]])
        of_thread[own.ravel()] = np.stack([part.ravel() for part in (column, row, after_x, after_y)], axis=1)
        parts = (of_thread, own[:, 0], own[0], own)
        return np.concatenate([part.ravel() for part in parts]).astype(np.int32)

    @property
    def lags(self) -> Ints:
        """Of each warp (row) and every other one (column): how many steps that may be behind what it begins.

        0 for those that it takes faces from; SLOTS - 2 for those that take faces from it; -1 where it need not wait.
        """
        by_row = np.repeat(self._threads, TALL, axis=0) // WARP
        ghosts = self.columns // WARP
        at_x = ghosts + np.arange(self.rows) // WARP
        at_y = ghosts + -(-self.rows // WARP) + np.arange(self.nx) // WARP
        # Who gives a face to whom, across x and y, with those that stand for the bounds at both ends.
        in_x = np.concatenate([at_x[:, None], by_row], axis=1), np.concatenate([by_row, at_x[:, None]], axis=1)
        in_y = np.concatenate([at_y[None], by_row]), np.concatenate([by_row, at_y[None]])
        lags = np.full((self.threads // WARP, WARP), -1, np.int32)
        for gives, takes in (in_x, in_y):
            lags[gives, takes] = np.maximum(lags[gives, takes], SLOTS - 2)
        for gives, takes in (in_x, in_y):
            lags[takes, gives] = 0
        if self.link != MIRRORED:
            # What leaves through one plane enters through another one, by other threads.
            bounds = np.arange(ghosts, self.threads // WARP)
            lags[np.ix_(bounds, bounds)] = 0
        np.fill_diagonal(lags, -1)
        return lags

    @property
    def sizes(self) -> Ints:
        """The layout as the kernels take it."""
        return np.array(
            [self.nx, self.ny, self.nz, self.rows, self.strips, self.period, self.length, self.passes, self.bases,
             self.steps, self.columns, self.link], np.int32,
        )  # fmt: skip

    @classmethod
    def of(cls, grid: RotorGrid, link: int, speeds: int, shared: int) -> Layout | None:
        """Return the layout of a grid that takes the fewest steps times warps; None where no strip fits a block."""
        nx, ny, nz = grid.volume.shape
        bases = 2 if link == QUARTER else 1
        every = [cls(nx, ny, nz, rows, bases, link) for rows in range(TALL, ny + TALL, TALL)]
        fitting = [
            one
            for one in every
            if nx * one.rows <= COLUMNS and one.threads <= THREADS and one.shared_bytes(speeds) <= shared
        ]
        # A step costs what its warps compute and what 23 would: most of it is waiting.
        return min(fitting, key=lambda one: one.steps * (one.threads // WARP + 23), default=None)


def bounds(grid: RotorGrid) -> Ints:
    """Return what every column is, and the walls beside those outside: of four stages in the order of their flow.

    Returns
    -------
    array (4, ny + 2, nx + 2, 5)
        A frame of one around the columns. Whether there is gas; the wall patches of the neighbours before it along x
        and y that send into this column; the patches of those behind it, whose gas it sends. -1 stands for nothing,
        -2 for a plane of symmetry.
    """
    nx, ny, _ = grid.volume.shape
    gas = np.pad(grid.gas, 1)
    patches = [np.pad(patch, 1, constant_values=NOTHING) for patch in grid.patches]
    found = np.full((4, ny + 2, nx + 2, 5), NOTHING, np.int32)
    for stage in range(4):
        away, onward = stage >> 1, stage & 1

        def flow(array: NDArray[Any], away: int = away, onward: int = onward) -> NDArray[Any]:
            turned = array if onward else array[::-1]
            return np.asarray((turned if away else turned[:, ::-1]).T)

        here = flow(gas)
        on_x, on_y = (flow(patch) for patch in patches)
        table = found[stage]
        table[..., 0] = here
        out = ~here
        for axis, patch, takes, sends in ((1, on_x, 1, 3), (0, on_y, 2, 4)):
            before, behind = np.roll(here, 1, axis), np.roll(here, -1, axis)
            table[..., takes] = np.where(out & before, np.roll(patch, 1, axis), NOTHING)
            table[..., sends] = np.where(out & behind, np.roll(patch, -1, axis), NOTHING)
        # The planes that hold vanes: y = 0 always, x = 0 unless the domain runs from wall to wall.
        if not grid.whole:
            column = 0 if onward else nx + 1
            rows = np.flatnonzero(here[:, 1 if onward else nx])
            table[rows, column, 3 if onward else 1] = PLANE
        row = 0 if away else ny + 1
        columns = np.flatnonzero(here[1 if away else ny])
        table[row, columns, 4 if away else 2] = PLANE
    return found


class Workspace:
    """What sweeps need while they run and nothing after: each part as large as the largest asked for.

    Parameters
    ----------
    card : Card
        Where it is.
    """

    def __init__(self, card: Card) -> None:
        self._card, self._parts = card, dict[str, Any]()

    @property
    def bytes(self) -> int:
        """Memory that it takes."""
        return sum(int(part.nbytes) for part in self._parts.values())

    def take(self, name: str, size: int) -> Any:
        """Return a part of at least so many doubles, of any value."""
        part = self._parts.get(name)
        if part is None or part.size < size:
            self._parts.pop(name, None)
            del part
            part = self._parts[name] = self._card.empty(size)
        return part


_numbers = {count: itertools.count() for count in SPEEDS}


class Card:
    """A GPU as CuPy offers it: arrays there, constants and launches of our kernels."""

    def __init__(self, speeds: int) -> None:
        import cupy

        self.cupy = cupy
        # Threads that solve side by side do not wait for each other's work.
        self.stream = cupy.cuda.Stream(non_blocking=True)
        sizes = {"SPEEDS": speeds, "THREADS": THREADS, "COLUMNS": COLUMNS, "SLOTS": SLOTS, "TALL": TALL, "SETS": SETS}
        options = ("--std=c++17", *(f"-D{name}={size}" for name, size in sizes.items()))
        self.module = cupy.RawModule(code=SOURCE, options=options)
        # CuPy keeps one module for all threads.
        self.set = next(_numbers[speeds])
        if self.set >= SETS:
            raise InputError(
                f"at most {SETS} threads can sweep on the GPU at once", key="device", fix="run fewer solves at once"
            )
        sets = cupy.ndarray((SETS, 9, speeds), np.float64, self.module.get_global("C"))
        self._constants = sets[self.set]
        attributes = cupy.cuda.Device().attributes
        self.shared_bytes = int(attributes["MaxSharedMemoryPerBlockOptin"])
        self.processors = int(attributes["MultiProcessorCount"])
        self._kernels: dict[str, Any] = {}
        self.workspace = Workspace(self)
        self._held: Floats | None = None

    @property
    def free_bytes(self) -> int:
        """Memory that can still be asked for, that of the workspace among it."""
        pool = self.cupy.get_default_memory_pool()
        return int(self.cupy.cuda.runtime.memGetInfo()[0]) + int(pool.free_bytes()) + self.workspace.bytes

    def send(self, array: NDArray[Any]) -> Any:
        """Copy an array to the card."""
        return self.cupy.asarray(np.ascontiguousarray(array))

    def empty(self, size: int) -> Any:
        """Return so many doubles of the card's memory, of any value."""
        return self.cupy.empty(size)

    def put(self, values: Floats, there: Any) -> None:
        """Copy an array to a place on the card."""
        there.set(values)

    def clear(self, there: Any) -> None:
        """Make an array of the card zero."""
        there.data.memset_async(0, there.nbytes)

    def fetch(self, array: Any) -> Floats:
        """Copy an array back."""
        return np.asarray(array.get())

    def constants(self, values: Floats) -> None:
        """Set the constants of the speeds, unless they are these already."""
        if values is not self._held:
            self._constants.set(np.ascontiguousarray(values))
            self._held = values

    def launch(self, name: str, blocks: Sequence[int], threads: int, arguments: Sequence[Any], shared: int = 0) -> None:
        """Order a kernel."""
        if name not in self._kernels:
            self._kernels[name] = self.module.get_function(name)
            # For every size: threads share the kernel.
            if name == "sweep":
                self._kernels[name].max_dynamic_shared_size_bytes = self.shared_bytes
        kernel = self._kernels[name]
        kernel(tuple(blocks), (threads,), tuple(arguments), shared_mem=shared)


_idle: dict[int, list[Card]] = {count: [] for count in SPEEDS}
_leases = threading.local()


class Lease:
    """The use of a card by one thread; later threads reuse the card.

    Parameters
    ----------
    speeds : int
        Speeds that a thread of the card carries.
    """

    def __init__(self, speeds: int) -> None:
        try:
            self.card = _idle[speeds].pop()
        except IndexError:
            self.card = Card(speeds)
        weakref.finalize(self, _idle[speeds].append, self.card)


def card_for(speeds: int) -> Card:
    """Return the card with the kernels compiled for so many speeds at once: for each thread one of its own."""
    held: dict[Any, Lease] = _leases.__dict__
    if speeds not in held:
        held[speeds] = Lease(speeds)
    return held[speeds].card


@dataclass(frozen=True, eq=False)
class CardDomain:
    """A domain and its velocities, as the card sweeps them.

    Parameters
    ----------
    grid : RotorGrid
        Cells.
    directions, weights : arrays (n, 3) and (n,)
        Unit vectors of one octant that are swept, and their weights.
    speed, speed_weights : arrays
        Speeds and their weights.
    delta : float
        Rarefaction parameter.
    link : int
        How the open parts of the planes are linked.
    """

    grid: RotorGrid
    directions: Floats
    weights: Floats
    speed: Floats
    speed_weights: Floats
    delta: float
    link: int

    @cached_property
    def at_once(self) -> int | None:
        """Speeds that a thread carries; None where their number does not fit."""
        return next((count for count in SPEEDS if self.speed.size % count == 0), None)

    @cached_property
    def layout(self) -> Layout | None:
        """How the sweep is dealt to threads; None where it is too large for the card's blocks."""
        if self.at_once is None:
            return None
        return Layout.of(self.grid, self.link, self.at_once, card_for(self.at_once).shared_bytes)

    @cached_property
    def sent(self) -> dict[str, Any]:
        """What stays on the card between sweeps."""
        assert self.layout is not None and self.at_once is not None
        g, card = self.grid, card_for(self.at_once)
        parts: dict[str, NDArray[Any]] = {
            "sizes": self.layout.sizes, "table": bounds(g), "lags": self.layout.lags,
            "places": self.layout.places,
            "directions": self.directions, "weights": self.weights,
            "cover_y": g.cover_y, "cover_x": g.cover_x,
            **{f"cut_{axis}": 2.0 / widths for axis, widths in zip("xyz", g.widths, strict=True)},
        }  # fmt: skip
        return {name: card.send(part) for name, part in parts.items()}

    @cached_property
    def constants(self) -> list[Floats]:
        """Constants of the speeds, group by group, as the kernels take them."""
        count, s, w = self.at_once or 1, self.speed, self.speed_weights
        rows = np.array([1.0 / s, s, s**2, self.delta / s, w, w * s, w * s**2, w * s**3, s**2 - 2.0])
        return [np.ascontiguousarray(rows[:, k : k + count]) for k in range(0, s.size, count)]

    def run(self, arguments: tuple[Any, ...], shapes: Sequence[Sequence[int]]) -> list[Floats]:
        """Return the sums of one sweep: moments, side, top, planes y = 0 and x = 0.

        Parameters
        ----------
        arguments : tuple
            As `RotorOperator.arguments` gives them.
        shapes : sequence of shapes
            Of the unknowns.

        Raises
        ------
        InputError
            The card is without memory for a single direction.
        """
        while True:
            blocks = self._sweeps[0].blocks if self._sweeps else self._blocks
            try:
                with card_for(self.at_once or 1).stream:
                    if not self._sweeps:
                        self._sweeps.append(CardSweep(self, shapes, blocks))
                    sweep = self._sweeps[0]
                    sweep.give(arguments)
                    sweep()
                    return sweep.fetch()
            except MemoryError as error:
                if blocks == 1 or not self._sweeps:
                    raise InputError(
                        f"the GPU has too little memory for a grid of {self.grid.cells} cells: {error}",
                        key="device",
                        fix="choose a larger tolerance, end other programs that use the GPU, or choose cpu",
                    ) from error
                sweep.blocks = -(-blocks // 2)

    @cached_property
    def _sweeps(self) -> list[CardSweep]:
        """The sweep as it is run now, once it is made."""
        return []

    @cached_property
    def _blocks(self) -> int:
        """Directions of one launch: launches of one size, that keep every part of the card busy."""
        assert self.layout is not None and self.at_once is not None
        card, directions = card_for(self.at_once), self.weights.size
        most = max(1, int(SHARE * card.free_bytes) // (8 * self.layout.kept(self.at_once)))
        return directions if directions <= most else max(1, most // card.processors * card.processors or most)


class CardSweep:
    """A sweep on the card: it is given what scatters, computes, and its sums are fetched.

    What goes there and what comes back is one array each, since every copy takes some ten microseconds.

    Parameters
    ----------
    domain : CardDomain
        What is swept.
    shapes : sequence of shapes
        Of the unknowns.
    blocks : int
        Directions of one launch.
    """

    def __init__(self, domain: CardDomain, shapes: Sequence[Sequence[int]], blocks: int) -> None:
        layout, speeds = domain.layout, domain.at_once
        assert layout is not None and speeds is not None
        self.card, self.speeds = card_for(speeds), speeds
        self.domain, self.layout, self.blocks = domain, layout, blocks
        self.shared = layout.shared_bytes(speeds)
        moments, *walls = (tuple(shape) for shape in shapes)
        self.ends = [moments, *((*shape, count) for shape, count in zip(walls, (2, 2, 4, 4), strict=True))]
        nx, ny = layout.nx, layout.ny
        self._given, self._in = self._places([math.prod(shape) for shape in (moments, *walls)] + [nx, nx, nx, ny])
        self._found, self._out = self._places([math.prod(shape) for shape in self.ends])
        self.scalars: list[np.float64] = []

    def _places(self, sizes: Sequence[int]) -> tuple[Any, list[Any]]:
        """Return an array of the card for parts of these sizes, and the parts."""
        ends = list(accumulate(sizes, initial=0))
        array = self.card.empty(ends[-1])
        return array, [array[a:b] for a, b in itertools.pairwise(ends)]

    def give(self, arguments: tuple[Any, ...]) -> None:
        """Set what the sweep is given, as `RotorOperator.arguments` has it."""
        parity, alpha_y, alpha_x, tau_y, tau_x, push_y, push_x, room, *unknowns = arguments
        parts = (*unknowns, alpha_y, tau_y, push_y, push_x)
        self.card.put(np.concatenate([np.asarray(part, dtype=float).ravel() for part in parts]), self._given)
        self.scalars = [np.float64(value) for value in (*parity, alpha_x, tau_x, room)]

    def __call__(self) -> None:
        """Compute the sums."""
        card, layout, sent, take = self.card, self.layout, self.domain.sent, self.card.workspace.take
        about = tuple(sent[name] for name in ("sizes", "table", "places"))
        sizes, table, places = about
        # One row more than there are steps: a thread reads ahead.
        given, added = take("given", 8 * (layout.steps + 1) * COLUMNS), take("added", 8 * layout.steps * COLUMNS)
        planes = self.blocks * layout.bases * 4 * layout.nz * self.speeds
        low_x, low_y = take("low_x", planes * layout.ny), take("low_y", planes * layout.nx)
        between = take("between", self.blocks * 2 * layout.nz * layout.nx * self.speeds)
        moments, *unknowns = self._in
        found, *sums = self._out
        card.clear(self._found)
        card.clear(added[: 8 * layout.steps * COLUMNS])
        tiles = (layout.steps, -(-COLUMNS // 128))
        card.launch("deal", tiles, 128, (*about, np.float64(self.domain.delta), moments, given))
        every = self.domain.weights.size
        for constants in self.domain.constants:
            card.constants(constants)
            for first in range(0, every, self.blocks):
                card.launch(
                    "sweep", (min(self.blocks, every - first),), layout.threads,
                    (sizes, np.int32(card.set), np.int32(first), table, sent["lags"], places,
                     *(sent[f"cut_{axis}"] for axis in "xyz"), sent["directions"], sent["weights"], given,
                     *unknowns[:4], sent["cover_y"], sent["cover_x"], *unknowns[4:], *self.scalars,
                     low_x, low_y, between, added, *sums),
                    self.shared,
                )  # fmt: skip
        cells = layout.nx * layout.ny * layout.nz
        card.launch("collect", (-(-cells // 128),), 128, (*about, added, found))

    def fetch(self) -> list[Floats]:
        """Copy the sums back."""
        sums = self.card.fetch(self._found)
        ends = accumulate((math.prod(shape) for shape in self.ends), initial=0)
        return [sums[a:b].reshape(shape) for (a, b), shape in zip(itertools.pairwise(ends), self.ends, strict=True)]


def operator_for(operator: RotorOperator | RoomOperator) -> RotorOperator | RoomOperator:
    """Return an operator that computes the same, its large sweeps on the card where it can take them.

    Those are all of a rotor but of one vane with unlike faces and of three vanes, and those of a flat vane in space
    between diffuse walls whose two sides mirror each other; strips, thick vanes and other walls stay with the
    processors.
    """
    if type(operator) is RotorOperator and not operator.grid.offset and not operator.grid.oblique:
        return _as(GpuOperator, operator)
    # An operator made from one of these adds to its sweep: it is not the same any more.
    if type(operator) is not SpaceOperator or operator.grid.boxes == 2 or operator.walls.room != 1.0:
        return operator
    if operator.grid.solid or operator.grid.slab:
        return operator
    return _as(GpuSpaceOperator, operator)


def _as(kind: type[Kind], operator: RotorOperator | RoomOperator) -> Kind:
    """Return an operator of another kind, with what this one has."""
    return kind(**{f.name: getattr(operator, f.name) for f in fields(operator)})


class GpuOperator(RotorOperator):
    """The operator of a rotor with its large sweeps on a GPU.

    Everything else, the small coarse levels among it, is computed as by `RotorOperator`.
    """

    @cached_property
    def domain(self) -> CardDomain | None:
        """What the card sweeps; None where the sweep stays with the processors."""
        if self.updates < LEAST_UPDATES:
            return None
        v = self.velocities
        e, w = v.directions, v.direction_weights
        if self.folded or self.link == QUARTER:
            below = e[:, 0] > e[:, 1]
            e, w = e[below], w[below]
        domain = CardDomain(self.grid, e, w, v.speed, v.speed_weights, self.delta, self.link)
        return domain if domain.layout is not None else None

    @property
    def sweep_parts(self) -> SweepParts | None:
        """What compiled code sweeps this operator with; None where the card does."""
        return None if self.domain is not None else _as(RotorOperator, self).sweep_parts

    def _run(self, y: Floats, drive: RotorDrive) -> list[Floats]:
        if self.domain is None:
            return super()._run(y, drive)
        return self.domain.run(self.arguments(y, drive), self.shapes)


# The rotor's y axis is the normal of a lone vane, its x axis the vane's first direction.
TURNED = [0, 2, 1, 3, 4, 6, 5, 7]


class GpuSpaceOperator(SpaceOperator):
    """The operator of a lone vane with its large sweeps on a GPU: a rotor's domain without a vane in x = 0."""

    @cached_property
    def domain(self) -> CardDomain | None:
        """What the card sweeps; None where the sweep stays with the processors."""
        if self.updates < LEAST_UPDATES:
            return None
        g, v = self.grid, self.velocities
        assert isinstance(v, SpaceVelocities)
        x, y, z = g.across[0], g.x[0], g.across[1]
        gas = np.ones((x.size - 1, y.size - 1), dtype=bool)
        grid = RotorGrid(x, y, z, gas, g.cover, np.zeros((y.size - 1, z.size - 1)), False)
        e = v.directions[:, [1, 0, 2]]
        domain = CardDomain(grid, e, v.direction_weights, v.speed, v.speed_weights, self.delta, MIRRORED)
        return domain if domain.layout is not None else None

    @property
    def sweep_parts(self) -> SweepParts | None:
        """What compiled code sweeps this operator with; None where the card does."""
        return None if self.domain is not None else _as(SpaceOperator, self).sweep_parts

    def _run(self, moments: Floats, walls: list[Floats], kept: list[Floats], drive: Drive) -> tuple[Floats, Incoming]:
        # A vane that slides along itself has no mirror image in the planes across it.
        if self.domain is None or drive.slide != 0.0:
            return super()._run(moments, walls, kept, drive)
        faces = self.faces(drive)
        end, side, outer, vane = walls
        nx, ny, nz = self.domain.grid.volume.shape
        full = np.ones(nx)
        arguments = (
            (1.0, self.parity), self.walls.front * full, 1.0, faces[0, 0] * full, 0.0, faces[0, 1] * full,
            np.zeros(ny), drive.room, moments.transpose(1, 0, 2, 3)[..., TURNED],
            np.concatenate([side, end[0]]), outer.T, vane[0], np.zeros((ny, nz)),
        )  # fmt: skip
        shapes = ((nx, ny, nz, 8), (ny + nx, nz), (nx, ny), (nx, nz), (ny, nz))
        new, onto, top, on_vane, _ = self.domain.run(arguments, shapes)
        new = new.transpose(1, 0, 2, 3)[..., TURNED].copy()
        new[..., 4] *= 2.0 / 3.0
        widths = np.concatenate([self.domain.grid.widths[1], self.domain.grid.widths[0]])
        falls = np.zeros((ny + nx, nz, 4))
        falls[..., [0, 3]] = onto / widths[:, None, None]
        above = np.zeros((ny, nx, 4))
        above[..., [0, 3]] = top.transpose(1, 0, 2)
        return new, Incoming(falls[None, ny:], (falls[:ny], above), on_vane[None])


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
