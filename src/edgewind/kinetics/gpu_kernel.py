r"""The transport sweep of a rotor on a GPU: a block of threads for a direction, a thread for each cell of a wavefront.

The scheme is that of the sweep on processors. A straight flight meets the cells of equal i + j + k at the same time,
counted from where it enters; along z the way in and the way out again, mirrored in the plane of symmetry, count as one
line of twice the length. The cells of such a wavefront are independent of each other. The faces between cells lie in
memory that the threads of a block share; of the distribution only four sums over the speeds of a block leave it,
\Sum w h s^n for n = 0 to 3. What a task reads and writes lies in the order of the tasks, so that neighbouring threads
touch neighbouring numbers; a second kernel adds the directions up and a third returns to the order of the cells. The
order of every sum is fixed, but for those over walls.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

# What happens at the faces of a column of cells, by the signs of the direction: bits of the task's number.
FLAGS = ("IN_X_WALL", "IN_X_PLANE", "IN_Y_WALL", "IN_Y_PLANE", "OUT_X_WALL", "OUT_X_PLANE", "OUT_Y_WALL", "OUT_Y_PLANE")
THREADS = 512

SOURCE = r"""
typedef const double* __restrict__ in;

__device__ __forceinline__ double reciprocal(double d) {
  // Twenty bits of the table, doubled twice by Newton's iteration.
  double r;
  asm("rcp.approx.ftz.f64 %0, %1;" : "=d"(r) : "d"(d));
  r = fma(r, fma(-d, r, 1.0), r);
  return fma(r, fma(-d, r, 1.0), r);
}

extern "C" __global__ void __launch_bounds__(THREADS) sweep(
    int nx, int ny, int nz, int groups, int tasks, int waves, int from,
    const unsigned int* __restrict__ order, const int* __restrict__ starts,
    in cut_x, in cut_y, in cut_z, const long long* __restrict__ patch_x, const long long* __restrict__ patch_y,
    in directions, in speed, in weight, in rates, double delta,
    in m, in nu_side, in nu_top, in nu_y, in nu_x, in cover_y, in cover_x,
    in alpha_y, in tau_y, in push_y, in push_x,
    double parity_x, double parity_y, double alpha_x, double tau_x, double room_tau,
    double* in_memory, double* low_x, double* low_y, double* out, double* side, double* top,
    double* vane_y, double* vane_x) {
  extern __shared__ double shared[];
  const int block = blockIdx.x, d = (from + block) / groups, first = ((from + block) % groups) * SPEEDS;
  const int in_x = ny * nz, in_y = nx * nz, in_z = nx * ny;
  const int y_start = 2 * SPEEDS * in_x, z_start = y_start + 2 * SPEEDS * in_y;
#ifdef SHARED
  double* faces = shared;
#else
  double* faces = in_memory + (size_t)block * (z_start + SPEEDS * in_z);
#endif
  double* lx = low_x + (size_t)block * 4 * SPEEDS * in_x;
  double* ly = low_y + (size_t)block * 4 * SPEEDS * in_y;
  const double ex = directions[3 * d], ey = directions[3 * d + 1], ez = directions[3 * d + 2];
  double sp[SPEEDS], rate[SPEEDS], w[SPEEDS];
#pragma unroll
  for (int q = 0; q < SPEEDS; q++) {
    sp[q] = speed[first + q];
    rate[q] = rates[first + q];
    w[q] = weight[d * groups * SPEEDS + first + q];
  }
  for (int stage = 0; stage < 4; stage++) {
    const int away = stage >> 1, onward = stage & 1;
    const double e0 = onward ? ex : -ex, e1 = away ? ey : -ey;
    const unsigned int* mine = order + (size_t)stage * tasks;
    in given = m + (size_t)stage * 8 * tasks;
    double* sums = out + ((size_t)block * 4 + stage) * 4 * tasks;
    for (int wave = 0; wave < waves; wave++) {
      const int end = starts[stage * (waves + 1) + wave + 1];
      for (int task = starts[stage * (waves + 1) + wave] + threadIdx.x; task < end; task += THREADS) {
        const unsigned int code = mine[task];
        const int i = code & 255, j = (code >> 8) & 255, kk = (code >> 16) & 255, at = code >> 24;
        const int way = kk >= nz, k = way ? kk - nz : nz - 1 - kk;
        double* X = faces + way * SPEEDS * in_x + j * nz + k;
        double* Y = faces + y_start + way * SPEEDS * in_y + i * nz + k;
        double* Z = faces + z_start + i * ny + j;
        const double m1 = given[tasks + task], m2 = given[2 * tasks + task], m3 = given[3 * tasks + task];
        const double m5 = given[5 * tasks + task], m6 = given[6 * tasks + task], m7 = given[7 * tasks + task];
        const double a2 = given[4 * tasks + task], a0 = given[task] - 1.5 * a2;
        if (at & IN_X_WALL) {
          const double nu = nu_side[patch_x[i * ny + j] * nz + k];
#pragma unroll
          for (int q = 0; q < SPEEDS; q++) X[q * in_x] = nu + room_tau * (sp[q] * sp[q] - 2.0);
        }
        if (at & IN_X_PLANE) {
          const double nu = nu_x[j * nz + k], c = cover_x[j * nz + k], push = 2.0 * push_x[j] * ex;
          double v1 = 0, v2 = 0, v3 = 0;
#pragma unroll
          for (int q = 0; q < SPEEDS; q++) {
            const double s = sp[q], own = lx[((away * 2 + way) * SPEEDS + q) * in_x + j * nz + k];
            const double f = w[q] * s * own, moved = push * s;
            v1 += f, v2 += f * s, v3 += f * s * s;
            const double wall = alpha_x * (nu + tau_x * (s * s - 2.0) + moved) + (1.0 - alpha_x) * (own + 2.0 * moved);
            X[q * in_x] = c * wall + (1.0 - c) * parity_x * own;
          }
          double* v = vane_x + (j * nz + k) * 4;
          atomicAdd(v, ex * v1), atomicAdd(v + 1, 2.0 * ex * ex * v2);
          atomicAdd(v + 2, 2.0 * e1 * ex * v2), atomicAdd(v + 3, ex * v3);
        }
        if (at & IN_Y_WALL) {
          const double nu = nu_side[patch_y[i * ny + j] * nz + k];
#pragma unroll
          for (int q = 0; q < SPEEDS; q++) Y[q * in_y] = nu + room_tau * (sp[q] * sp[q] - 2.0);
        }
        if (at & IN_Y_PLANE) {
          const double nu = nu_y[i * nz + k], c = cover_y[i * nz + k], push = 2.0 * push_y[i] * ey;
          const double alpha = alpha_y[i], tau = tau_y[i];
          double v1 = 0, v2 = 0, v3 = 0;
#pragma unroll
          for (int q = 0; q < SPEEDS; q++) {
            const double s = sp[q], own = ly[((onward * 2 + way) * SPEEDS + q) * in_y + i * nz + k];
            const double f = w[q] * s * own, moved = push * s;
            v1 += f, v2 += f * s, v3 += f * s * s;
            const double wall = alpha * (nu + tau * (s * s - 2.0) + moved) + (1.0 - alpha) * (own + 2.0 * moved);
            Y[q * in_y] = c * wall + (1.0 - c) * parity_y * own;
          }
          double* v = vane_y + (i * nz + k) * 4;
          atomicAdd(v, ey * v1), atomicAdd(v + 1, 2.0 * ey * ey * v2);
          atomicAdd(v + 2, 2.0 * e0 * ey * v2), atomicAdd(v + 3, ey * v3);
        }
        if (kk == 0) {
          const double nu = nu_top[i * ny + j];
#pragma unroll
          for (int q = 0; q < SPEEDS; q++) Z[q * in_z] = nu + room_tau * (sp[q] * sp[q] - 2.0);
        }
        const double e2 = way ? ez : -ez;
        const double g = (4.0 / 15.0) * (m5 * e0 + m6 * e1 + m7 * e2);
        const double a1 = 2.0 * (m1 * e0 + m2 * e1 + m3 * e2) - 2.5 * g;
        const double ax = ex * cut_x[i], by = ey * cut_y[j], cz = ez * cut_z[k], abc = ax + by + cz;
        double s0 = 0, s1 = 0, s2 = 0, s3 = 0;
#pragma unroll
        for (int q = 0; q < SPEEDS; q++) {
          const double s = sp[q], x = X[q * in_x], y = Y[q * in_y], z = Z[q * in_z];
          double h = fma(rate[q], a0, delta * fma(s, fma(s, g, a2), a1));
          h = fma(cz, z, fma(by, y, fma(ax, x, h))) * reciprocal(rate[q] + abc);
          X[q * in_x] = fma(2.0, h, -x);
          Y[q * in_y] = fma(2.0, h, -y);
          Z[q * in_z] = fma(2.0, h, -z);
          const double f = w[q] * h, fs = f * s, fss = fs * s;
          s0 += f, s1 += fs, s2 += fss, s3 = fma(fss, s, s3);
        }
        sums[task] = s0, sums[tasks + task] = s1, sums[2 * tasks + task] = s2, sums[3 * tasks + task] = s3;
        if (kk == 2 * nz - 1) {
          double v1 = 0, v3 = 0;
#pragma unroll
          for (int q = 0; q < SPEEDS; q++) {
            const double f = w[q] * sp[q] * Z[q * in_z];
            v1 += f, v3 += f * sp[q] * sp[q];
          }
          atomicAdd(top + (i * ny + j) * 2, ez * v1), atomicAdd(top + (i * ny + j) * 2 + 1, ez * v3);
        }
        if (at & OUT_X_WALL) {
          double v1 = 0, v3 = 0;
#pragma unroll
          for (int q = 0; q < SPEEDS; q++) {
            const double f = w[q] * sp[q] * X[q * in_x];
            v1 += f, v3 += f * sp[q] * sp[q];
          }
          const double area = ex * 2.0 / cut_y[j];
          double* v = side + (patch_x[i * ny + j] * nz + k) * 2;
          atomicAdd(v, area * v1), atomicAdd(v + 1, area * v3);
        }
        if (at & OUT_X_PLANE) {
#pragma unroll
          for (int q = 0; q < SPEEDS; q++) lx[((away * 2 + way) * SPEEDS + q) * in_x + j * nz + k] = X[q * in_x];
        }
        if (at & OUT_Y_WALL) {
          double v1 = 0, v3 = 0;
#pragma unroll
          for (int q = 0; q < SPEEDS; q++) {
            const double f = w[q] * sp[q] * Y[q * in_y];
            v1 += f, v3 += f * sp[q] * sp[q];
          }
          const double area = ey * 2.0 / cut_x[i];
          double* v = side + (patch_y[i * ny + j] * nz + k) * 2;
          atomicAdd(v, area * v1), atomicAdd(v + 1, area * v3);
        }
        if (at & OUT_Y_PLANE) {
#pragma unroll
          for (int q = 0; q < SPEEDS; q++) ly[((onward * 2 + way) * SPEEDS + q) * in_y + i * nz + k] = Y[q * in_y];
        }
      }
      __syncthreads();
    }
  }
}

// Moments in the order of the cells to that of the tasks, for each stage.
extern "C" __global__ void deal(int nx, int ny, int nz, int tasks, const unsigned int* __restrict__ order,
                                in moments, double* m) {
  const int task = blockIdx.x * blockDim.x + threadIdx.x, stage = blockIdx.y;
  if (task >= tasks) return;
  const unsigned int code = order[(size_t)stage * tasks + task];
  const int i = code & 255, j = (code >> 8) & 255, kk = (code >> 16) & 255, k = kk >= nz ? kk - nz : nz - 1 - kk;
  for (int q = 0; q < 8; q++)
    m[((size_t)stage * 8 + q) * tasks + task] = moments[(((size_t)i * ny + j) * nz + k) * 8 + q];
}

// The sums of the directions of one launch, added to those before, in the order of the tasks.
extern "C" __global__ void add(int nz, int groups, int blocks, int from, int tasks,
                               const unsigned int* __restrict__ order, in directions, in out, double* m) {
  const int task = blockIdx.x * blockDim.x + threadIdx.x, stage = blockIdx.y;
  if (task >= tasks) return;
  const int way = ((order[(size_t)stage * tasks + task] >> 16) & 255) >= nz;
  double a[8] = {0, 0, 0, 0, 0, 0, 0, 0};
  for (int block = 0; block < blocks; block++) {
    const int d = (from + block) / groups;
    const double ex = directions[3 * d], ey = directions[3 * d + 1], ez = directions[3 * d + 2];
    in sums = out + ((size_t)block * 4 + stage) * 4 * tasks + task;
    const double v0 = sums[0], v1 = sums[tasks], v2 = sums[2 * tasks], heat = sums[3 * tasks] - 2.5 * v1;
    a[0] += v0, a[1] += ex * v1, a[2] += ey * v1, a[3] += ez * v1;
    a[4] += v2 - 1.5 * v0, a[5] += ex * heat, a[6] += ey * heat, a[7] += ez * heat;
  }
  const double x = stage & 1 ? 1.0 : -1.0, y = stage >> 1 ? 1.0 : -1.0, z = way ? 1.0 : -1.0;
  const double sign[8] = {1.0, x, y, z, 1.0, x, y, z};
  for (int q = 0; q < 8; q++) {
    const size_t to = ((size_t)stage * 8 + q) * tasks + task;
    m[to] = (from ? m[to] : 0.0) + sign[q] * a[q];
  }
}

// The eight octants of every cell added up, in the order of the cells.
extern "C" __global__ void collect(int cells, int tasks, const int* __restrict__ where, in m, double* moments) {
  const int cell = blockIdx.x * blockDim.x + threadIdx.x;
  if (cell >= cells) return;
  for (int q = 0; q < 8; q++) {
    double sum = 0.0;
    for (int octant = 0; octant < 8; octant++) {
      const int task = where[(size_t)octant * cells + cell];
      if (task >= 0) sum += m[((size_t)(octant >> 1) * 8 + q) * tasks + task];
    }
    moments[(size_t)cell * 8 + q] = sum;
  }
}
"""


@lru_cache(maxsize=32)
def module(speeds: int, shared: bool) -> Any:
    """Return the kernels compiled for blocks of so many speeds, the faces in shared memory or in the card's."""
    import cupy

    names = [f"-D{name}={1 << bit}" for bit, name in enumerate(FLAGS)]
    options = ["--std=c++17", f"-DSPEEDS={speeds}", f"-DTHREADS={THREADS}", *names, *(["-DSHARED"] if shared else [])]
    return cupy.RawModule(code=SOURCE, options=tuple(options))
