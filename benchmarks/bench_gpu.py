"""Sweeps on a GPU: updates per second, share of the peak of the GPU, and solves with and without it, in one run.

Without a GPU there are no rows. docs/explain/whole-rotor.md names what limits the sweep.
"""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
from bench_rotor_kinetics import FOUR
from measured import Row, row, spent

from edgewind.kinetics.device import choose_device
from edgewind.kinetics.gpu import CardSweep, GpuOperator, operator_for, why_no_gpu
from edgewind.kinetics.response import respond, respond_curve
from edgewind.kinetics.rotor_operator import RotorDrive
from edgewind.kinetics.rotor_respond import refine
from edgewind.kinetics.rotor_solve import RotorCase, RotorResolution

# Floating-point operations of one update, a fused multiply-add counted as two.
OPERATIONS_PER_UPDATE = 40
# Azimuths and polar angles; half of the directions are computed, the others follow by symmetry.
ANGLES = {96: (16, 12), 132: (22, 12), 264: (24, 22), 384: (32, 24)}
CHAINS = r"""
extern "C" __global__ void chains(double* out, double a, double b, int count) {
  double x[8];
  for (int n = 0; n < 8; n++) x[n] = n + threadIdx.x;
  for (int k = 0; k < count; k++)
#pragma unroll
    for (int n = 0; n < 8; n++) x[n] = fma(x[n], a, b);
  double sum = 0;
  for (int n = 0; n < 8; n++) sum += x[n];
  out[blockIdx.x * blockDim.x + threadIdx.x] = sum;
}
"""


def timed(action: object, repeats: int = 9) -> float:
    """Return the median time of work on the GPU, s, after two warm-up calls."""
    import cupy

    times = []
    for _ in range(repeats):
        begin, end = cupy.cuda.Event(), cupy.cuda.Event()
        begin.record()
        action()  # type: ignore[operator]
        end.record()
        end.synchronize()
        times.append(1e-3 * cupy.cuda.get_elapsed_time(begin, end))
    return float(np.median(times[2:]))


def peak() -> float:
    """Return the peak rate of fused multiply-adds in registers, operations per second in double precision."""
    import cupy

    kernel = cupy.RawKernel(CHAINS, "chains")
    blocks, threads, count = 132 * 16, 256, 4000
    out = cupy.empty(blocks * threads)
    seconds = timed(lambda: kernel((blocks,), (threads,), (out, np.float64(0.999), np.float64(1e-3), np.int32(count))))
    return blocks * threads * count * 8 * 2 / seconds


def beside() -> str:
    """Return the name of the GPU."""
    import cupy

    return "; " + str(cupy.cuda.runtime.getDeviceProperties(0)["name"].decode())


def rates(full: bool) -> list[Row]:
    """Measure updates per second of one sweep by number of directions, against the peak and against two cores."""
    level, case = RotorResolution.level(2, 1.0), RotorCase(FOUR, 1.0)
    ours = case.operator(level, -1.0, 2)
    y = np.random.default_rng(0).normal(size=ours.size)
    ours.sweep(y)
    cores = ours.updates / min(spent(lambda: ours.sweep(y), 3))
    most = peak()
    rows = [
        row("GPU: cell-velocity updates of the same sweep on two cores", cores, "1/s"),
        row("GPU: peak in double precision, fused multiply-add", most, "1/s"),
    ]
    for directions, (azimuths, polar) in ANGLES.items() if full else ((96, ANGLES[96]),):
        card = operator_for(case.operator(replace(level, azimuths=azimuths, polar=polar), -1.0, 2))
        assert isinstance(card, GpuOperator)
        assert card.domain is not None
        sweep = CardSweep(card.domain, card.shapes, card.domain.weights.size)
        sweep.give(card.arguments(y, RotorDrive(leading=-0.5, trailing=0.5)))
        rate = card.updates / timed(sweep)
        rows.append(row(f"GPU: updates, four vanes, {directions} directions, all kernels", rate, "1/s", 2e11))
        rows.append(row("GPU: share of the peak", rate * OPERATIONS_PER_UPDATE / most, "1"))
        rows.append(row("GPU: over two cores", rate / cores, "1"))
        card.sweep(y)
        whole = card.updates / min(spent(lambda card=card: card.sweep(y), 5))
        rows.append(row("GPU: with transfers", whole, "1/s"))
    return rows


def solves(full: bool) -> list[Row]:
    """Solve the curve of the square and a rotor of four with and without the GPU; kernels are compiled before."""
    rows = []
    numbers = np.geomspace(0.03, 100.0, 15 if full else 4)
    for device in ("gpu", "cpu"):
        for kn in (0.03, 10.0):
            respond("square", kn, cache=False, tolerance=3e-2, device=device)
        begun = time.perf_counter()
        answers = respond_curve("square", numbers, cache=False, tolerance=3e-3, device=device)
        target = 3.0 if full and device == "gpu" else None
        rows.append(
            row(f"GPU: square curve, {numbers.size} Kn, 3e-3, {device}", time.perf_counter() - begun, "s", target)
        )
        rows.append(row("GPU: of these within tolerance", sum(a.reached for a in answers) / numbers.size, "1", 1.0))
        longest = max(answer.seconds for answer in answers)
        rows.append(row("GPU: longest solve among them", longest, "s"))
        refine(RotorCase(FOUR, 0.1), 1e-1, 2, *choose_device(device))
        begun = time.perf_counter()
        refine(RotorCase(FOUR, 0.1), 1e-2, 2, *choose_device(device))
        target = 20.0 if device == "gpu" else None
        rows.append(row(f"GPU: four vanes at Kn 0.1, 1e-2, {device}", time.perf_counter() - begun, "s", target))
    return rows


def run(full: bool = True) -> list[Row]:
    """Measure if there is a GPU; the short form leaves out most directions and Knudsen numbers."""
    return [*rates(full), *solves(full)] if why_no_gpu() is None else []
