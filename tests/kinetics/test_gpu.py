"""Sweeps on a GPU against those on processors.

The kernels run on this machine too, compiled for it: see `emulated`. If there is a GPU, the same tests run on it;
otherwise they are skipped with the reason.
"""

from __future__ import annotations

import importlib.util
import shutil
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from edgewind.errors import InputError
from edgewind.kinetics import gpu, respond, respond_curve, response
from edgewind.kinetics.device import choose_device
from edgewind.kinetics.drives import Drive
from edgewind.kinetics.geometry import Shape
from edgewind.kinetics.inputs import check_room
from edgewind.kinetics.room_operator import Walls
from edgewind.kinetics.rotor_grid import Rotor, rotor_grid
from edgewind.kinetics.rotor_operator import RotorDrive, RotorOperator, RotorVelocities
from edgewind.kinetics.rotor_respond import refine
from edgewind.kinetics.rotor_solve import RotorCase
from edgewind.kinetics.solve import Case, Resolution

_spec = importlib.util.spec_from_file_location("emulated", Path(__file__).with_name("emulated.py"))
emulation = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(emulation)
EmulatedCard = emulation.EmulatedCard

needs_gpu = pytest.mark.skipif(gpu.why_no_gpu() is not None, reason=f"no GPU is available: {gpu.why_no_gpu()}")
needs_compiler = pytest.mark.skipif(shutil.which("g++") is None, reason="no C++ compiler is here")
# Vanes, whether the chamber is round, outline, parity: mirrored domains, and those turned by a quarter and by a half.
CASES = [
    (4, False, "square", -1.0),
    (4, True, "square", 1.0),
    (1, True, "square", -1.0),
    (2, False, "disc", -1.0),
    (4, True, "square", None),
    (2, True, "square", None),
]
# Cells per unit of the wanted density: small domains, and ones that take most of a block's threads and several strips.
FOR_THE_CARD = (0.3, 0.7, 1.1)


def operator(vanes, round_, shape, parity, resolution=0.15):
    rotor = Rotor(Shape(shape), vanes, 1.2, 4.6, 2.4, round_)
    grid = rotor_grid(rotor, 1.0, resolution, whole=parity is None)
    trailing = 0.8 if parity is not None else 0.6
    return RotorOperator(grid, RotorVelocities(2, 4, 8), 0.886, vanes, 0.8, trailing, parity=parity)


def lone(shape):
    walls = Walls(0.8, 0.8, 1.0)
    case = Case(Shape(shape), check_room(4.0, 0.5, edges=(1.0, 1.0)), 1.0, walls)
    return case.operator(Resolution(0.2, 3, 2, 8), -1.0, 1, 1e-9)


@pytest.fixture(scope="module")
def emulated(tmp_path_factory):
    return EmulatedCard(tmp_path_factory.mktemp("kernels"), 8)


@pytest.fixture
def card(emulated, monkeypatch):
    """The kernels on this machine, for sweeps of every size."""
    monkeypatch.setattr(gpu, "LEAST_UPDATES", 0)
    monkeypatch.setattr(gpu, "card_for", lambda speeds: emulated)
    # Too little for a whole domain at once: it is swept in strips.
    monkeypatch.setattr(EmulatedCard, "shared_bytes", 22_000)
    monkeypatch.setattr(emulated, "workspace", gpu.Workspace(emulated))
    return emulated


@pytest.fixture
def every_size(monkeypatch):
    monkeypatch.setattr(gpu, "LEAST_UPDATES", 0)


def narrowest(ours):
    """The layout of as few rows as can be."""
    return gpu.Layout(*ours.grid.volume.shape, gpu.TALL, 2 if ours.link == gpu.QUARTER else 1, ours.link)


def compare_rotors(ours):
    y = np.random.default_rng(0).normal(size=ours.size)
    drive = RotorDrive(leading=-0.5, trailing=0.5, spin=0.3, chamber=0.1)
    there = gpu.operator_for(ours)
    assert there.domain is not None
    for mine, theirs in zip(ours._run(y, drive), there._run(y, drive), strict=True):
        np.testing.assert_allclose(theirs, mine, rtol=1e-9, atol=1e-12)
    return there


def compare_vanes(ours):
    y, drive = np.random.default_rng(0).normal(size=ours.size), Drive(front=0.5, back=-0.5, speed=0.3, room=0.2)
    there = gpu.operator_for(ours)
    assert there.domain is not None
    (mine, onto), (theirs, falls) = ours.sweep(y, drive), there.sweep(y, drive)
    np.testing.assert_allclose(theirs, mine, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(falls.vane, onto.vane, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(there.loads(y, falls, drive)[1:], ours.loads(y, onto, drive)[1:], rtol=1e-9)


@needs_compiler
@pytest.mark.parametrize("case", CASES)
def test_kernels_and_processors_give_the_same_sums(card, case, monkeypatch):
    ours = operator(*case)
    monkeypatch.setattr(EmulatedCard, "shared_bytes", narrowest(ours).shared_bytes(8))
    there = compare_rotors(ours)
    assert there.domain.layout.strips > 1


@needs_compiler
@pytest.mark.parametrize("shape", ["square", "disc"])
def test_a_lone_vane_is_swept_by_the_kernels_of_a_rotor(card, shape):
    compare_vanes(lone(shape))


@needs_compiler
def test_a_strip_as_wide_as_the_domain_and_few_directions_at_once_change_nothing(card, monkeypatch):
    monkeypatch.setattr(EmulatedCard, "shared_bytes", 227 * 1024)
    ours = operator(*CASES[0])
    layout = compare_rotors(ours).domain.layout
    assert layout.strips == 1
    card.launches.clear()
    monkeypatch.setattr(EmulatedCard, "free_bytes", 2.1 * 8 * layout.kept(8) / gpu.SHARE)
    compare_rotors(ours)
    # Four of eight directions are below the diagonal: two at once.
    assert card.launches.count("sweep") == 2


@needs_compiler
def test_a_gpu_short_of_memory_sweeps_fewer_directions_at_once(card, monkeypatch):
    ours = operator(*CASES[0])
    asked = []
    layout = gpu.operator_for(ours).domain.layout
    # What is asked for in proportion to the directions: what is kept between strips.
    each = 2 * layout.nz * layout.nx * 8

    def empty(self, size):
        if size % each == 0 and size // each <= 4:
            asked.append(size)
            if size > 2.5 * each:
                raise MemoryError(f"{size} doubles")
        return np.full(size, np.nan)

    monkeypatch.setattr(EmulatedCard, "empty", empty)
    compare_rotors(ours)
    assert asked == [4 * each, 2 * each]


@needs_compiler
def test_a_gpu_without_enough_memory_is_reported(card, monkeypatch):
    def empty(self, size):
        raise MemoryError(f"{8 * size} bytes were asked for")

    monkeypatch.setattr(EmulatedCard, "empty", empty)
    ours = operator(*CASES[0])
    with pytest.raises(
        InputError, match=r"key device: the GPU has too little memory .* bytes were asked for.*choose cpu"
    ):
        gpu.operator_for(ours).sweep(np.zeros(ours.size))


@needs_gpu
@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("resolution", FOR_THE_CARD)
def test_gpu_and_processors_give_the_same_sums(every_size, case, resolution):
    compare_rotors(operator(*case, resolution=resolution))


def test_domains_used_for_the_gpu_fill_its_blocks_and_need_several_strips():
    """The requests to the GPU: blocks from a few warps to nearly the maximum, one strip and three."""
    threads, strips = set(), set()
    for resolution in FOR_THE_CARD:
        for case in CASES:
            ours = operator(*case, resolution=resolution)
            layout = gpu.Layout.of(ours.grid, ours.link, 8, 227 * 1024)
            threads.add(layout.threads)
            strips.add(layout.strips)
    assert min(threads) < 0.5 * gpu.THREADS
    assert max(threads) > 0.8 * gpu.THREADS
    assert {1, 2, 3} <= strips


@needs_gpu
def test_a_gpu_sweeps_a_lone_vane(every_size):
    compare_vanes(lone("square"))


@needs_gpu
@pytest.mark.parametrize("least", [0, 200_000])
@pytest.mark.parametrize("knudsen", [0.5, 0.04])
def test_a_rotor_solved_on_the_gpu_has_the_same_coefficients(monkeypatch, knudsen, least):
    """With all sweeps on the card, those of the coarse levels among them, and with the large ones there."""
    monkeypatch.setattr(gpu, "LEAST_UPDATES", least)
    case = RotorCase(Rotor(Shape("square"), 4, 1.0, 3.6, 2.4, True), knudsen)
    processors = refine(case, 0.03, 1, *choose_device("cpu"))
    card = refine(case, 0.03, 1, *choose_device("gpu"))
    for name, value in processors.values.items():
        assert card.values[name] == pytest.approx(value, rel=1e-9, abs=1e-12)


@needs_gpu
@pytest.mark.parametrize("least", [0, 200_000])
@pytest.mark.parametrize("knudsen", [1.0, 0.1, 0.03])
def test_a_lone_square_solved_on_the_gpu_has_the_same_coefficients(monkeypatch, knudsen, least):
    monkeypatch.setattr(gpu, "LEAST_UPDATES", least)
    processors, card = (
        respond("square", knudsen, tolerance=1e-2, cache=False, workers=2, device=device) for device in ("cpu", "gpu")
    )
    for name in ("thermal_force", "drag", "heat_hot", "loss_hot", "area_share"):
        assert card.values[name] == pytest.approx(processors.values[name], rel=1e-9)


def test_each_thread_leases_its_own_card_and_returns_it(monkeypatch):
    made = []
    monkeypatch.setattr(gpu, "Card", lambda speeds: made.append(speeds) or object())
    monkeypatch.setattr(gpu, "_idle", {8: []})
    monkeypatch.setattr(gpu, "_leases", threading.local())
    meet = threading.Barrier(2)

    def cards():
        found = gpu.card_for(8)
        meet.wait()
        return found, gpu.card_for(8)

    for _ in range(3):
        with ThreadPoolExecutor(2) as pool:
            (a, again), (b, _) = (future.result() for future in [pool.submit(cards) for _ in range(2)])
        assert a is again
        assert a is not b
    assert made == [8, 8]


@needs_gpu
def test_knudsen_numbers_solved_in_parallel_on_the_gpu_have_the_same_coefficients():
    numbers = [3.0, 0.1, 0.5, 0.2, 30.0]
    sweeps = [respond_curve("square", numbers, tolerance=1e-2, cache=False, device=name) for name in ("cpu", "gpu")]
    for processors, card in zip(*sweeps, strict=True):
        for name in ("thermal_force", "drag", "heat_hot", "loss_hot"):
            assert card.values[name] == pytest.approx(processors.values[name], rel=1e-9)


def test_results_solved_in_parallel_keep_their_values_and_the_order_asked_for(monkeypatch):
    """The procedure of a GPU, on processors."""
    monkeypatch.setattr(response, "choose_device", lambda name: (name, lambda operator: operator))
    monkeypatch.setattr(response, "_goes_to_a_card", lambda case, operator_for: operator_for("gpu") == "gpu")
    told, numbers = [], [3.0, 1.0]
    aside = respond_curve("square", numbers, tolerance=0.1, cache=False, workers=1)
    found = respond_curve(
        "square", numbers, tolerance=0.1, cache=False, workers=2, device="gpu", progress=lambda *one: told.append(one)
    )
    assert [answer.knudsen for answer in found] == numbers
    assert [answer.values for answer in found] == [answer.values for answer in aside]
    assert [(done, total) for done, total, _ in told] == [(1, 2), (2, 2)]


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("shared", [22_000, 227 * 1024])
def test_every_cell_is_swept_after_its_upwind_neighbours(case, shared):
    """For each pass, both ways along z: and each cell of the chamber is computed once in each."""
    ours = operator(*case)
    layout = gpu.Layout.of(ours.grid, ours.link, 8, shared)
    table = gpu.bounds(ours.grid)
    assert layout.threads <= gpu.THREADS
    for stage in range(4):
        seen = np.full((layout.ny, layout.nx), -1)
        for row in range(layout.ny):
            for column in range(layout.nx):
                if table[stage, row + 1, column + 1, 0] == gpu.GAS:
                    strip, place = divmod(row, layout.rows)
                    seen[row, column] = stage * layout.length + strip * layout.period + place + column + 1
        assert np.count_nonzero(seen >= 0) == ours.grid.gas.sum()
        for before, behind in ((seen[:, :-1], seen[:, 1:]), (seen[:-1], seen[1:])):
            both = (before >= 0) & (behind >= 0)
            assert np.all(behind[both] > before[both])
        assert seen.max() + 2 * layout.nz <= layout.steps


def test_sliding_slabs_strips_and_specular_rooms_are_solved_on_processors(monkeypatch):
    ours = lone("square")
    mirroring = Case(Shape("square"), check_room(4.0, 0.5, edges=(1.0, 1.0)), 1.0, Walls(1.0, 1.0, 0.9))
    strip = Case(Shape("strip"), check_room(4.0, 0.5, edges=(1.0,)), 1.0, Walls())
    for case, resolution in ((mirroring, Resolution(0.2, 3, 2, 8)), (strip, Resolution(0.2, 6))):
        kept = case.operator(resolution, -1.0, 1, 1e-9)
        assert gpu.operator_for(kept) is kept
    assert gpu.operator_for(ours) is not ours
    # Small sweeps take longer on a card.
    assert gpu.operator_for(ours).domain is None


@pytest.mark.skipif(gpu.why_no_gpu() is None, reason="a GPU computes here")
def test_without_a_gpu_a_request_for_one_is_refused_and_others_run():
    with pytest.raises(InputError, match="no GPU is available"):
        choose_device("gpu")
    assert choose_device("auto")[0] == "cpu"
    with pytest.raises(InputError, match="must be auto, cpu or gpu, not 'tpu'"):
        choose_device("tpu")
