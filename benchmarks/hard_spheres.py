"""Hard spheres by particles on a GPU: a lone square vane and a rotor of four, their force and their drag.

Molecules are hard spheres; they fly straight, meet diffuse walls, and collide in cells by the no-time-counter scheme
(Bird, Molecular Gas Dynamics and the Direct Simulation of Gas Flows, 1994, section 11.1). Nothing of the linearised
model equation is used. Units: width of the vane, most probable speed, density of the gas.

- Faces: at 1 +- dT/2, dT = 0.3: the answer differs from the linear one by about dT^2.
- Drag: the vane keeps its place while its faces act as if it moved. A face that moves at U along its normal passes n0 U
  molecules per area from its rear to its front, and sends out c (1 + 2 c U) exp(-c^2); the force is the momentum
  brought less that taken away at the fixed plane. U = 0.05.

``python benchmarks/hard_spheres.py OUT.json [SHARE]`` on a machine with a GPU and CuPy, for SHARE of three minutes. Its
dated result is kept beside this file: hard_spheres.json.
"""

from __future__ import annotations

import json
import math
import sys
import time
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

# n sigma of hard spheres whose viscosity gives the mean free path 1: mu = 1.016034 (5/16) sqrt(pi m k T) / (pi d^2),
# lambda = (sqrt(pi)/2) mu v0 / p0.
CROSS_SECTION = 1.016034 * 0.625 * math.sqrt(math.pi / 2.0) * math.sqrt(math.pi) / 2.0

SOURCE = r"""
typedef unsigned long long u64;
struct Random {  // Philox 4x32-10 (Salmon et al., SC11), one counter for each molecule or cell and step.
  unsigned int c[4], k[2], r[4]; int left;
  __device__ Random(u64 seed, u64 who, unsigned int when) {
    c[0] = 0; c[1] = when; c[2] = (unsigned int)who; c[3] = (unsigned int)(who >> 32);
    k[0] = (unsigned int)seed; k[1] = (unsigned int)(seed >> 32); left = 0;
  }
  __device__ void draw() {
    unsigned int a = c[0], b = c[1], d = c[2], e = c[3], x = k[0], y = k[1];
    for (int n = 0; n < 10; n++) {
      u64 p = (u64)0xD2511F53u * a, q = (u64)0xCD9E8D57u * d;
      a = (unsigned int)(q >> 32) ^ b ^ x; b = (unsigned int)q;
      d = (unsigned int)(p >> 32) ^ e ^ y; e = (unsigned int)p;
      x += 0x9E3779B9u; y += 0xBB67AE85u;
    }
    r[0] = a; r[1] = b; r[2] = d; r[3] = e; c[0]++; left = 4;
  }
  __device__ float operator()() { if (!left) draw(); return (r[--left] + 0.5f) * 2.3283064e-10f; }
};

// Velocity off a diffuse wall at temperature t: along the normal c exp(-c^2) (1 + 2 c u).
__device__ void emit(Random& random, float t, float u, float& n, float& a, float& b) {
  float c = sqrtf(-logf(random()));
  if (u != 0.0f) while (random() * (1.0f + 9.0f * fabsf(u)) > 1.0f + 2.0f * c * u) c = sqrtf(-logf(random()));
  const float root = sqrtf(t), r = root * sqrtf(-logf(random()));
  float sine, cosine;
  sincospif(2.0f * random(), &sine, &cosine);
  n = root * c; a = r * cosine; b = r * sine;
}

// Lone vane: x from -X to X, the vane in x = 0, y < 1/2, z < 1/2; mirrors at y = 0 and z = 0.
// Rotor of four: x, y from 0 to X, vanes in y = 0 and x = 0 at |r - arm| < 1/2, z < 1/2; what leaves through the open
// part of one plane enters through the other, turned by a quarter; mirror at z = 0.
extern "C" __global__ void fly(int count, float* px, float* py, float* pz, float* vx, float* vy, float* vz, float dt,
    float X, float Y, float Z, float arm, int rotor, float front, float back, float speed, float pass,
    u64 seed, unsigned int when, double* sums) {
  __shared__ double part[4];
  if (threadIdx.x < 4) part[threadIdx.x] = 0.0;
  __syncthreads();
  const int p = blockIdx.x * blockDim.x + threadIdx.x;
  if (p < count) {
    Random random(seed, p, when);
    float x = px[p], y = py[p], z = pz[p], a = vx[p], b = vy[p], c = vz[p], left = dt;
    float impulse = 0.0f, hits = 0.0f;
    const float low_x = rotor ? 0.0f : -X;
    for (int turn = 0; turn < 64; turn++) {
      float t = left; int wall = 0;
      float s = a > 0.0f ? (X - x) / a : (low_x - x) / a;
      if (s < t) { t = s; wall = a > 0.0f ? 1 : 2; }
      s = b > 0.0f ? (Y - y) / b : -y / b;
      if (s < t) { t = s; wall = b > 0.0f ? 3 : 4; }
      s = c > 0.0f ? (Z - z) / c : -z / c;
      if (s < t) { t = s; wall = c > 0.0f ? 5 : 6; }
      if (!rotor && ((x < 0.0f && a > 0.0f) || (x > 0.0f && a < 0.0f))) {
        s = -x / a;
        const float at_y = y + s * b, at_z = z + s * c;
        if (s < t && at_y < 0.5f && at_y >= 0.0f && at_z < 0.5f && at_z >= 0.0f) { t = s; wall = 7; }
      }
      if (t < 0.0f) t = 0.0f;
      x += t * a; y += t * b; z += t * c; left -= t;
      if (!wall) break;
      if (wall == 6) { c = -c; z = 0.0f; continue; }
      if (wall == 5) { z = Z; emit(random, 1.0f, 0.0f, c, a, b); c = -c; continue; }
      if (wall == 1) { x = X; emit(random, 1.0f, 0.0f, a, b, c); a = -a; continue; }
      if (wall == 3) { y = Y; emit(random, 1.0f, 0.0f, b, a, c); b = -b; continue; }
      if (wall == 2 && !rotor) { x = low_x; emit(random, 1.0f, 0.0f, a, b, c); continue; }
      if (wall == 4 && !rotor) { b = -b; y = 0.0f; continue; }
      // The vane: `ahead` where the face looks the way that the vane moves; forces count that way, times the radius.
      bool ahead; float in, lever = 1.0f, u = speed;
      if (wall == 7) { ahead = a < 0.0f; in = a; x = ahead ? 1e-7f : -1e-7f; }
      else {
        const float r = wall == 4 ? x : y;
        if (!(fabsf(r - arm) < 0.5f && z < 0.5f)) {
          const float keep = a;
          if (wall == 4) { y = x; x = 0.0f; a = -b; b = keep; }  // to the quadrant before, turned by a quarter
          else { x = y; y = 0.0f; a = b; b = -keep; }
          continue;
        }
        ahead = wall == 4; in = ahead ? b : -a; lever = r / arm; u = speed * r / arm;
        if (ahead) y = 0.0f; else x = 0.0f;
      }
      if (!ahead) hits += lever;
      if (!ahead && u != 0.0f && random() < pass * u) ahead = true;
      float n, along, up;
      emit(random, ahead ? front : back, ahead ? u : -u, n, along, up);
      impulse += lever * (in - (ahead ? n : -n));
      if (rotor) {
        if (ahead) { x = wall == 4 ? x : y; y = 0.0f; a = along; b = n; }
        else { y = wall == 4 ? x : y; x = 0.0f; a = n; b = along; }
      } else { x = ahead ? 1e-7f : -1e-7f; a = ahead ? n : -n; b = along; }
      c = up;
    }
    px[p] = x; py[p] = y; pz[p] = z; vx[p] = a; vy[p] = b; vz[p] = c;
    if (hits != 0.0f || impulse != 0.0f) {
      atomicAdd(part, (double)impulse); atomicAdd(part + 1, (double)hits);
    }
  }
  __syncthreads();
  if (threadIdx.x < 3) atomicAdd(sums + threadIdx.x, part[threadIdx.x]);
}

__device__ int cell_of(float x, float y, float z, float low, float inverse, int nx, int ny, int nz) {
  int i = (int)((x - low) * inverse), j = (int)(y * inverse), k = (int)(z * inverse);
  i = max(0, min(i, nx - 1)); j = max(0, min(j, ny - 1)); k = max(0, min(k, nz - 1));
  return (i * ny + j) * nz + k;
}

extern "C" __global__ void tell(int count, const float* px, const float* py, const float* pz, float low, float inverse,
    int nx, int ny, int nz, int* cell, int* rank, int* held) {
  const int p = blockIdx.x * blockDim.x + threadIdx.x;
  if (p >= count) return;
  cell[p] = cell_of(px[p], py[p], pz[p], low, inverse, nx, ny, nz);
  rank[p] = atomicAdd(held + cell[p], 1);
}

extern "C" __global__ void list(int count, const int* cell, const int* rank, const int* end, const int* held,
    int* order) {
  const int p = blockIdx.x * blockDim.x + threadIdx.x;
  if (p < count) order[end[cell[p]] - held[cell[p]] + rank[p]] = p;
}

extern "C" __global__ void collide(int cells, const int* end, const int* held, const int* order, float* vx, float* vy,
    float* vz, float* fastest, float share, u64 seed, unsigned int when) {
  const int cell = blockIdx.x * blockDim.x + threadIdx.x;
  if (cell >= cells) return;
  const int n = held[cell], first = end[cell] - n;
  if (n < 2) return;
  Random random(seed ^ 0x5bd1e995u, cell, when);
  float most = fastest[cell];
  const int pairs = (int)(0.5f * n * (n - 1) * share * most + random());
  for (int pair = 0; pair < pairs; pair++) {
    const int i = min((int)(random() * n), n - 1); int j = min((int)(random() * (n - 1)), n - 2); if (j >= i) j++;
    const int p = order[first + i], q = order[first + j];
    const float dx = vx[p] - vx[q], dy = vy[p] - vy[q], dz = vz[p] - vz[q], r = sqrtf(dx * dx + dy * dy + dz * dz);
    const float old = fastest[cell];
    if (r > most) most = r;
    if (random() * old > r) continue;
    float sine, cosine;
    sincospif(2.0f * random(), &sine, &cosine);
    const float mu = 2.0f * random() - 1.0f, across = 0.5f * r * sqrtf(1.0f - mu * mu);
    const float mx = 0.5f * (vx[p] + vx[q]), my = 0.5f * (vy[p] + vy[q]), mz = 0.5f * (vz[p] + vz[q]);
    const float ax = across * cosine, ay = across * sine, az = 0.5f * r * mu;
    vx[p] = mx + ax; vy[p] = my + ay; vz[p] = mz + az;
    vx[q] = mx - ax; vy[q] = my - ay; vz[q] = mz - az;
  }
  fastest[cell] = most;
}
"""


# Steps between two sortings of the molecules by cell.
SORTED_EVERY = 32


@dataclass(frozen=True)
class Run:
    """One simulation: a lone vane in a box, or four vanes about an axis in one."""

    knudsen: float
    drive: str
    rotor: bool = False
    arm: float = 1.5
    half: tuple[float, float, float] = (2.0, 2.0, 2.0)
    per_cell: float = 20.0
    cells_per_path: float = 6.0
    largest: float = 0.05
    settle: float = 25.0
    seconds: float = 25.0
    difference: float = 0.3
    speed: float = 0.05


def simulate(run: Run, seed: int = 1) -> dict[str, float]:
    """Return the coefficient, its standard error from blocks of time, and the settings of the simulation."""
    import cupy as cp

    kernels = {n: cp.RawKernel(SOURCE, n, options=("--std=c++17",)) for n in ("fly", "tell", "list", "collide")}
    X, Y, Z = run.half
    low = 0.0 if run.rotor else -X
    size = min(run.knudsen / run.cells_per_path, run.largest)
    size = 0.5 / math.ceil(0.5 / size)
    nx, ny, nz = (round(length / size) for length in (X - low, Y, Z))
    cells = nx * ny * nz
    count = int(cells * run.per_cell)
    volume = (X - low) * Y * Z
    weight = volume / count
    rng = cp.random.default_rng(seed)
    place = [(rng.random(count, dtype=cp.float32) * length + start)
             for length, start in ((X - low, low), (Y, 0.0), (Z, 0.0))]  # fmt: skip
    velocity = [rng.standard_normal(count, dtype=cp.float32) * np.float32(math.sqrt(0.5)) for _ in range(3)]
    cell, rank, order = (cp.empty(count, dtype=cp.int32) for _ in range(3))
    fastest = cp.full(cells, 4.0, dtype=cp.float32)
    sums = cp.zeros(4)
    # A molecule crosses half a cell at its most probable speed, or flies a fifth of the time between collisions.
    dt = min(0.5 * size, 0.2 * run.knudsen)
    share = weight * (CROSS_SECTION / run.knudsen) * dt / size**3
    warm = run.difference if run.drive == "faces" else 0.0
    speed = run.speed if run.drive == "motion" else 0.0
    # Lone vane: front (+x) warm pushes back. Rotor: trailing face warm, the front is the leading one.
    front, back = (1.0 - 0.5 * warm, 1.0 + 0.5 * warm)
    area = 0.5 * (1.0 if run.rotor else 0.5)
    hits_seen, time_seen = 0.0, 0.0
    # Chance that a molecule on the rear passes, over the local speed: n0 U against what falls on the rear.
    passing = 2.0 * math.sqrt(math.pi)
    steps = 0
    block_time = 1.0
    blocks: list[float] = []
    begun, settled = time.perf_counter(), None
    grid = (-(-count // 256),)
    f, i = np.float32, np.int32
    while True:
        sums[:] = 0.0
        held_time = 0.0
        while held_time < block_time:
            kernels["fly"](grid, (256,), (
                i(count), *place, *velocity, f(dt), f(X), f(Y), f(Z), f(run.arm), i(run.rotor), f(front), f(back),
                f(speed), f(passing), np.uint64(seed), np.uint32(steps), sums))  # fmt: skip
            held = cp.zeros(cells, dtype=cp.int32)
            kernels["tell"](
                grid, (256,), (i(count), *place, f(low), f(1.0 / size), i(nx), i(ny), i(nz), cell, rank, held)
            )
            end = cp.cumsum(held, dtype=cp.int32)
            kernels["list"](grid, (256,), (i(count), cell, rank, end, held, order))
            kernels["collide"]((-(-cells // 128),), (128,), (
                i(cells), end, held, order, *velocity, fastest, f(share), np.uint64(seed), np.uint32(steps),
            ))  # fmt: skip
            if steps % SORTED_EVERY == 0:
                # Molecules of one cell adjacent in memory: three times as fast.
                place, velocity = ([part[order] for part in parts] for parts in (place, velocity))
            steps += 1
            held_time += dt
        impulse, hits, _, _ = sums.get().tolist()
        # Force over p0 A, p0 = 1/2, per unit of the drive.
        drive = warm if warm else speed
        passed = steps * dt >= run.settle
        if passed:
            settled = settled or time.perf_counter()
            blocks.append(weight * impulse / held_time / (0.5 * area) / drive)
        if speed:
            hits_seen += hits
            time_seen += held_time
            # Over a lone vane <u> falls as U; over a rotor each strip its own share, hits weighted by lever arm.
            passing = area / (weight * hits_seen / time_seen)
        if settled is not None and time.perf_counter() - settled > run.seconds and len(blocks) >= 20:
            break
    force = np.array(blocks)
    groups = np.array_split(force, 10)
    mean = float(force.mean())
    error = float(np.std([g.mean() for g in groups], ddof=1) / math.sqrt(10.0))
    return asdict(run) | {
        "coefficient": abs(mean), "standard_error": error, "molecules": count,
        "cells": cells, "cell": size, "step": dt, "time": len(blocks) * block_time, "passing": passing,
        "wall_seconds": time.perf_counter() - begun,
    }  # fmt: skip


def runs(share: float) -> list[Run]:
    """Return the simulations with their durations, s: longest where the force is smallest relative to the noise."""
    found = []
    for knudsen, seconds in ((1.0, (5.0, 5.0)), (0.3, (10.0, 6.0)), (0.1, (45.0, 12.0))):
        for rotor in (False, True):
            for drive, span in zip(("faces", "motion"), seconds, strict=True):
                half = (3.0, 3.0, 2.0) if rotor else (2.0, 2.0, 2.0)
                fine = {"per_cell": 10.0, "cells_per_path": 4.0, "settle": 40.0} if knudsen < 0.2 else {}
                found.append(Run(knudsen, drive, rotor, half=half, seconds=share * span, **fine))
    return found


def main() -> None:
    out, share = Path(sys.argv[1]), float(sys.argv[2]) if len(sys.argv) > 2 else 1.0
    kept: list[dict[str, float]] = []
    for run in runs(share):
        kept.append(simulate(run))
        print(kept[-1], flush=True)
        out.write_text(json.dumps(kept, indent=1))


if __name__ == "__main__":
    main()
