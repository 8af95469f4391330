"""Sweeps on a GPU against those on processors. Where no GPU is, these tests are skipped with the reason."""

from __future__ import annotations

import numpy as np
import pytest

from edgewind.errors import InputError
from edgewind.kinetics import gpu
from edgewind.kinetics.geometry import Shape
from edgewind.kinetics.rotor_grid import Rotor, rotor_grid
from edgewind.kinetics.rotor_operator import RotorDrive, RotorOperator, RotorVelocities
from edgewind.kinetics.rotor_respond import choose_device, refine
from edgewind.kinetics.rotor_solve import RotorCase

needs_gpu = pytest.mark.skipif(gpu.why_no_gpu() is not None, reason=f"no GPU computes here: {gpu.why_no_gpu()}")
CASES = [(4, False, "square"), (4, True, "square"), (1, True, "square"), (2, False, "disc")]


def operator(vanes, round_, shape):
    grid = rotor_grid(Rotor(Shape(shape), vanes, 1.2, 4.6, 2.4, round_), 1.0, 0.2)
    return RotorOperator(grid, RotorVelocities(3, 4, 8), 0.886, vanes, 0.8, 0.8, parity=-1.0)


@needs_gpu
@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("limit", [{}, {"SHARED_BYTES": 1000}, {"LAUNCH_BYTES": 2**20}], ids=["", "global", "parts"])
def test_the_card_adds_up_what_the_processors_add_up(monkeypatch, case, limit):
    for name, value in {"LEAST_UPDATES": 0, **limit}.items():
        monkeypatch.setattr(gpu, name, value)
    ours = operator(*case)
    y = np.random.default_rng(0).normal(size=ours.size)
    drive = RotorDrive(leading=-0.5, trailing=0.5, spin=0.3, chamber=0.1)
    for mine, card in zip(ours._run(y, drive), gpu.GpuOperator.of(ours)._run(y, drive), strict=True):
        np.testing.assert_allclose(card, mine, rtol=1e-9, atol=1e-12)


@needs_gpu
def test_a_rotor_solved_on_the_card_has_the_same_coefficients():
    case = RotorCase(Rotor(Shape("square"), 4, 1.2, 4.6, 2.4), 0.5)
    processors = refine(case, 0.03, 1, *choose_device("cpu"))
    card = refine(case, 0.03, 1, *choose_device("gpu"))
    for name, value in processors.values.items():
        assert card.values[name] == pytest.approx(value, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("case", CASES)
def test_every_cell_follows_those_that_it_takes_gas_from(case):
    """In the order of the wavefronts, for every stage and both ways along z; each cell of the chamber once a way."""
    grid = operator(*case).grid
    order, starts, where = gpu.wavefronts(grid)
    nx, ny, nz = grid.volume.shape
    for stage in range(4):
        x, y = (1 if stage & 1 else -1), (1 if stage >> 1 else -1)
        code = order[stage].astype(int)
        i, j, k = code & 255, (code >> 8) & 255, (code >> 16) & 255
        wave = np.full((nx + 2, ny + 2, 2 * nz + 1), -1)
        number = np.searchsorted(starts[stage], np.arange(code.size), side="right") - 1
        wave[i + 1, j + 1, k + 1] = number
        assert np.all(wave[i + 1 - x, j + 1, k + 1] < number)
        assert np.all(wave[i + 1, j + 1 - y, k + 1] < number)
        assert np.all(wave[i + 1, j + 1, k] < number)
        assert code.size == 2 * grid.cells
        for way in (0, 1):
            task = where[2 * stage + way]
            assert np.array_equal(task.reshape(nx, ny, nz) >= 0, np.broadcast_to(grid.gas[..., None], (nx, ny, nz)))
            assert np.all((k[task[task >= 0]] >= nz) == way)


@pytest.mark.skipif(gpu.why_no_gpu() is None, reason="a GPU computes here")
def test_without_a_gpu_one_is_refused_and_none_is_needed():
    with pytest.raises(InputError, match="no GPU computes here"):
        choose_device("gpu")
    assert choose_device("auto")[0] == "cpu"
    with pytest.raises(InputError, match="not a device"):
        choose_device("tpu")
