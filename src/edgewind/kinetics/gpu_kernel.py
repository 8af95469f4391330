r"""The transport sweep of a rotor on a GPU: a block of threads for a direction, a thread for each column of cells.

The scheme is that of the sweep on processors. A block takes the columns of a strip, all of x and some rows of y, and
each thread marches up its column, with the face between its cells in registers for all speeds at once; faces across x
and y pass to the neighbours through shared memory, one step later. So a column starts when its neighbours towards the
flow have done one cell, and after its last cell the thread goes on with its column of the next strip, then of the next
signs of x and y, without waiting for the others: all threads are busy but at the first and last steps. Along z
the way in and the way out again, mirrored in the plane of symmetry, count as one column of twice the length.

Further threads stand for what bounds the strip: one for each row sets what enters at the near end of x and takes what
leaves at the far end, one for each column of y likewise. Columns outside a round chamber are walls to their neighbours.

The moments are laid out by step and thread, so that neighbouring threads read neighbouring numbers, and so are the
four sums over the speeds, \Sum w h s^n for n = 0 to 3, which are all of the distribution that leaves a block. A second
kernel adds the directions up and a third returns to the order of the cells. The order of every sum is fixed, but for
those over walls. An update takes 23 instructions of the unit for doubles, of 62 in all, and moves 18 bytes through the
card's cache, 6 of them from and to its memory.
"""

from __future__ import annotations

# Most threads of a block: each may then hold 128 registers of the 65 536.
THREADS = 512
# Columns of a strip at most; the moments and the sums of a step lie so far apart.
COLUMNS = 416
# Steps whose faces a block keeps.
SLOTS = 3
SOURCE = r"""
typedef const double* __restrict__ in;
enum { NOTHING = -1, PLANE = -2 };
enum { OUTSIDE, GAS, PAD };
enum { MIRRORED, QUARTER, HALF };

// Of each speed s: 1/s, s, s^2, delta/s, w, w s, w s^2, w s^3, s^2 - 2.
__constant__ double C[9][SPEEDS];
#define INV(q) C[0][q]
#define S1(q) C[1][q]
#define S2(q) C[2][q]
#define RATE(q) C[3][q]
#define W(n, q) C[4 + (n)][q]
#define WALL(q) C[8][q]
// Components of the direction along x and y: the second base is the first one turned by a quarter.
#define ALONG (base ? e1 : e0)
#define ACROSS (base ? e0 : e1)
// Doubles from face to face in shared memory: one more than are there, so that threads meet different banks.
#define PITCH (SPEEDS + 1)
#ifndef BATCH
#define BATCH 2
#endif
#define EACH for (int q = 0; q < SPEEDS; q++)

struct Shape {
  int nx, ny, nz, rows, strips, period, length, passes, turn, steps, columns, link;
};

// Warps go at their own pace: one begins a step once those that it takes faces from have ended the step before, and
// those that take faces from it have read what it will write over. A lane watches one warp, `lag` steps behind; -1 is
// none.
struct Pace {
  volatile int* ended;
  int lag;
  __device__ __forceinline__ Pace(int* ended, const int* __restrict__ lags)
      : ended(ended), lag(lags[threadIdx.x]) {}
  __device__ __forceinline__ void begin(int step) {
    while (!__all_sync(0xffffffffu, lag < 0 || ended[threadIdx.x % 32] >= step - lag)) {
    }
    __threadfence_block();
  }
  __device__ __forceinline__ void end(int step) {
    __threadfence_block();
    __syncwarp();
    if (threadIdx.x % 32 == 0) ended[threadIdx.x / 32] = step + 1;
  }
};

// Where in its work a thread is: pass (signs of x and y, and base), strip and cell along z, from -offset on.
struct Place {
  int pass, strip, kk;
  __device__ __forceinline__ bool next(const Shape& g) {
    kk++;
    const int end = strip == g.strips - 1 ? g.length - (g.strips - 1) * g.period : g.period;
    if (kk < end) return kk == 0;
    kk = 0;
    if (++strip == g.strips) strip = 0, pass++;
    return true;
  }
  __device__ __forceinline__ bool active(const Shape& g) const { return kk >= 0 && kk < 2 * g.nz && pass < g.passes; }
  __device__ __forceinline__ int depth(const Shape& g) const { return kk >= g.nz ? kk - g.nz : g.nz - 1 - kk; }
  // Signs of x and y, and which of two bases.
  __device__ __forceinline__ int stage(const Shape& g) const { return pass >> g.turn; }
  __device__ __forceinline__ int base(const Shape& g) const { return pass & g.turn; }
  __device__ __forceinline__ int way(const Shape& g) const { return kk >= g.nz; }
};

__device__ __forceinline__ double reciprocal(double d) {
  // Twenty bits of the table, tripled by one step of third order.
  double r, e;
#ifdef __CUDA_ARCH__
  asm("rcp.approx.ftz.f64 %0, %1;" : "=d"(r) : "d"(d));
#else
  r = (double)(1.0f / (float)d);
#endif
  e = fma(-d, r, 1.0);
  return fma(r, fma(e, e, e), r);
}

// Kind, wall that sends into it from x and y, wall that takes from it: of a column in the order of a stage.
__device__ __forceinline__ const int* about(const int* __restrict__ table, const Shape& g, int stage, int i, int j) {
  return table + ((size_t)(stage * (g.ny + 2) + j + 1) * (g.nx + 2) + i + 1) * 5;
}

__device__ __forceinline__ void onto(double* wall, double area, const double* face, int stride) {
  double v1 = 0, v3 = 0;
#pragma unroll
  EACH {
    const double f = face[q * stride];
    v1 = fma(W(1, q), f, v1), v3 = fma(W(3, q), f, v3);
  }
  atomicAdd(wall, area * v1), atomicAdd(wall + 1, area * v3);
}

__device__ __forceinline__ void from(double* face, int stride, double nu, double tau) {
#pragma unroll
  EACH face[q * stride] = fma(tau, WALL(q), nu);
}

// What enters through one face of a vane's plane, and what fell on it.
__device__ __forceinline__ void through(
    double* face, int stride, const double* own, const double* other, double sign, double normal, double tangent,
    double weight, double* vane, double cover, double alpha, double nu, double tau, double push) {
  double v1 = 0, v2 = 0, v3 = 0;
  const double moved = 2.0 * push * normal;
#pragma unroll
  EACH {
    const double mine = own[q], m = moved * S1(q);
    v1 = fma(W(1, q), mine, v1), v2 = fma(W(2, q), mine, v2), v3 = fma(W(3, q), mine, v3);
    const double wall = alpha * (fma(tau, WALL(q), nu) + m) + (1.0 - alpha) * (mine + 2.0 * m);
    face[q * stride] = cover * wall + (1.0 - cover) * sign * other[q];
  }
  v1 *= weight, v2 *= 2.0 * weight * normal, v3 *= weight;
  atomicAdd(vane, normal * v1), atomicAdd(vane + 1, normal * v2);
  atomicAdd(vane + 2, tangent * v2), atomicAdd(vane + 3, normal * v3);
}

extern "C" __global__ void __launch_bounds__(THREADS, 1) sweep(
    const int* __restrict__ sizes, int first, const int* __restrict__ table, const int* __restrict__ lags,
    in cut_x, in cut_y, in cut_z, in directions, in weights, in given,
    in nu_side, in nu_top, in nu_y, in nu_x, in cover_y, in cover_x, in alpha_y, in tau_y, in push_y, in push_x,
    double parity_x, double parity_y, double alpha_x, double tau_x, double room_tau,
    double* low_x, double* low_y, double* between, double* out, double* side, double* top, double* vane_y,
    double* vane_x) {
  extern __shared__ double shared[];
  Shape g;
  g.nx = sizes[0], g.ny = sizes[1], g.nz = sizes[2], g.rows = sizes[3], g.strips = sizes[4], g.period = sizes[5];
  g.length = sizes[6], g.passes = sizes[7], g.turn = sizes[8] - 1, g.steps = sizes[9], g.columns = sizes[10];
  g.link = sizes[11];
  const int slots_x = (g.nx + 1) * g.rows, slots_y = g.nx * (g.rows + 1);
  const int block = blockIdx.x, tid = threadIdx.x, d = first + block;
  // Faces by step (of each SLOTS), place and speed: across x a row starts with what enters, across y a first row.
  double* SX = shared;
  double* SY = shared + SLOTS * PITCH * slots_x;
  const double e0 = directions[3 * d], e1 = directions[3 * d + 1], e2 = directions[3 * d + 2];
  const double weight = weights[d];

  // Of the grid: two over the widths, the widths, and whether there is gas.
  double *near_x = SY + SLOTS * PITCH * slots_y, *near_y = near_x + g.nx, *near_z = near_y + g.ny;
  double *wide_x = near_z + g.nz, *wide_y = wide_x + g.nx;
  int* ended = (int*)(wide_y + g.ny);
  unsigned char* full = (unsigned char*)(ended + 32);
  if (tid < 32) ended[tid] = 0;
  for (int n = tid; n < g.nx; n += blockDim.x) near_x[n] = cut_x[n], wide_x[n] = 2.0 / cut_x[n];
  for (int n = tid; n < g.ny; n += blockDim.x) near_y[n] = cut_y[n], wide_y[n] = 2.0 / cut_y[n];
  for (int n = tid; n < g.nz; n += blockDim.x) near_z[n] = cut_z[n];
  // The last stage has the order of memory.
  for (int n = tid; n < g.nx * g.ny; n += blockDim.x) full[n] = *about(table, g, 3, n / g.ny, n % g.ny);
  Pace pace(ended, lags);
  __syncthreads();

  if (tid < g.columns) {
    const int ii = tid % g.nx, jj = tid / g.nx;
    Place at = {0, 0, -(ii + jj + 1) - 1};
    double z[SPEEDS], ax = 0, by = 0, c[8];
    const double* m = given + tid;
    double* sums = out + (size_t)block * g.steps * 4 * COLUMNS + tid;
    int kind = OUTSIDE, stage = 0, base = 0, row = 0;
    double above = jj < g.ny && jj < g.rows ? nu_top[(g.nx - 1 - ii) * g.ny + g.ny - 1 - jj] : 0.0;
    // Faces at this step, at the next one and at the one after it.
    double *xs = SX + (jj * (g.nx + 1) + ii) * PITCH, *ys = SY + (jj * g.nx + ii) * PITCH;
    double *next_x = xs + slots_x * PITCH, *next_y = ys + slots_y * PITCH;
    double *then_x = next_x + slots_x * PITCH, *then_y = next_y + slots_y * PITCH;
    const int up = g.nx * PITCH;
#pragma unroll
    for (int n = 0; n < 8; n++) c[n] = m[n * COLUMNS];
#pragma unroll
    EACH z[q] = 0;
    for (int t = 0; t < g.steps; t++) {
      double later[8];
      m += 8 * COLUMNS;
#pragma unroll
      for (int n = 0; n < 8; n++) later[n] = m[n * COLUMNS];
      if (at.next(g)) {
        // What goes through the top of the last column, then the next one.
        if (kind == GAS) {
          const int i = stage & 1 ? ii : g.nx - 1 - ii, j = stage >> 1 ? row : g.ny - 1 - row;
          onto(top + (i * g.ny + j) * 2, e2 * weight, z, 1);
        }
        kind = PAD, row = at.strip * g.rows + jj, stage = at.stage(g), base = at.base(g);
        if (row < g.ny && at.pass < g.passes && jj < g.rows) {
          const int i = stage & 1 ? ii : g.nx - 1 - ii, j = stage >> 1 ? row : g.ny - 1 - row;
          kind = full[i * g.ny + j];
          ax = ALONG * near_x[i], by = ACROSS * near_y[j];
#pragma unroll
          EACH z[q] = fma(room_tau, WALL(q), above);
        }
        // What the top sends into the column after this one.
        Place then = at;
        if (++then.strip == g.strips) then.strip = 0, then.pass++;
        const int after = then.strip * g.rows + jj, next_stage = then.stage(g);
        if (after < g.ny && then.pass < g.passes && jj < g.rows)
          above = nu_top[(next_stage & 1 ? ii : g.nx - 1 - ii) * g.ny + (next_stage >> 1 ? after : g.ny - 1 - after)];
      }
      pace.begin(t);
      if ((unsigned)at.kk < 2u * g.nz) {
        if (kind == GAS) {
          const double cz = e2 * near_z[at.depth(g)], abc = ax + by + cz;
          const double gg = c[5] * ALONG + c[6] * ACROSS + c[7] * e2, a1 = c[1] * ALONG + c[2] * ACROSS + c[3] * e2;
          double s0 = 0, s1 = 0, s2 = 0, s3 = 0;
          // Some speeds at once: what is read comes before what is written, so that their chains overlap.
#pragma unroll
          for (int first = 0; first < SPEEDS; first += BATCH) {
            double x[BATCH], y[BATCH], h[BATCH];
#pragma unroll
            for (int n = 0; n < BATCH; n++) x[n] = xs[first + n], y[n] = ys[first + n];
#pragma unroll
            for (int n = 0; n < BATCH; n++) {
              const int q = first + n;
              h[n] = fma(INV(q), c[0], fma(S1(q), c[4], fma(S2(q), gg, a1)));
              h[n] = fma(cz, z[q], fma(by, y[n], fma(ax, x[n], h[n]))) * reciprocal(RATE(q) + abc);
            }
#pragma unroll
            for (int n = 0; n < BATCH; n++) {
              const int q = first + n;
              next_x[PITCH + q] = fma(2.0, h[n], -x[n]);
              next_y[up + q] = fma(2.0, h[n], -y[n]);
              z[q] = fma(2.0, h[n], -z[q]);
              s0 = fma(W(0, q), h[n], s0), s1 = fma(W(1, q), h[n], s1);
              s2 = fma(W(2, q), h[n], s2), s3 = fma(W(3, q), h[n], s3);
            }
          }
          sums[0] = s0, sums[COLUMNS] = s1, sums[2 * COLUMNS] = s2, sums[3 * COLUMNS] = s3;
        } else if (kind == PAD) {
          if (jj < g.rows) {
#pragma unroll
            EACH next_y[up + q] = ys[q];
          }
        } else {
          const int i = stage & 1 ? ii : g.nx - 1 - ii, j = stage >> 1 ? row : g.ny - 1 - row, k = at.depth(g);
          const int* mine = about(table, g, stage, ii, row);
          if (mine[1] >= 0) onto(side + (mine[1] * g.nz + k) * 2, ALONG * weight * wide_y[j], xs, 1);
          if (mine[2] >= 0) onto(side + (mine[2] * g.nz + k) * 2, ACROSS * weight * wide_x[i], ys, 1);
          if (mine[3] >= 0) from(next_x + PITCH, 1, nu_side[mine[3] * g.nz + k], room_tau);
          if (mine[4] >= 0) from(next_y + up, 1, nu_side[mine[4] * g.nz + k], room_tau);
        }
      }
      sums += 4 * COLUMNS;
#pragma unroll
      for (int n = 0; n < 8; n++) c[n] = later[n];
      double* swap = xs;
      xs = next_x, next_x = then_x, then_x = swap, swap = ys, ys = next_y, next_y = then_y, then_y = swap;
      pace.end(t);
    }
    return;
  }

  // The bounds of the strip. What left through the planes: by base, the sign along the plane, and way.
  const int ghost = tid - g.columns, faces_x = g.ny * g.nz, faces_y = g.nx * g.nz;
  double* lx = low_x + (size_t)block * (g.turn + 1) * 4 * faces_x * SPEEDS;
  double* ly = low_y + (size_t)block * (g.turn + 1) * 4 * faces_y * SPEEDS;
  // All threads of a warp take the same branch: they meet at its barrier.
  const int bounds_x = (g.rows + 31) / 32 * 32;
  if (ghost < bounds_x) {
    const int jj = ghost;
    const bool real = jj < g.rows;
    Place in = {0, 0, -jj - 1}, leave = {0, 0, -(g.nx + jj + 1) - 1};
    int takes = NOTHING, sends = NOTHING;
    int now = 0;
    for (int t = 0; t < g.steps; t++) {
      const int next = now == SLOTS - 1 ? 0 : now + 1;
      if (leave.next(g) && leave.pass < g.passes && leave.strip * g.rows + jj < g.ny)
        takes = about(table, g, leave.stage(g), g.nx, leave.strip * g.rows + jj)[1];
      if (in.next(g) && in.pass < g.passes && in.strip * g.rows + jj < g.ny)
        sends = about(table, g, in.stage(g), -1, in.strip * g.rows + jj)[3];
      pace.begin(t);
      int row = leave.strip * g.rows + jj;
      if (real && leave.active(g) && row < g.ny) {
        const int stage = leave.stage(g), base = leave.base(g), j = stage >> 1 ? row : g.ny - 1 - row;
        const int k = leave.depth(g);
        const double* xs = SX + (now * slots_x + jj * (g.nx + 1) + g.nx) * PITCH;
        if (takes >= 0) onto(side + (takes * g.nz + k) * 2, ALONG * weight * wide_y[j], xs, 1);
        if (takes == PLANE) {
          const int kind = (base * 2 + (stage >> 1)) * 2 + leave.way(g);
          double* kept = lx + ((size_t)kind * faces_x + j * g.nz + k) * SPEEDS;
#pragma unroll
          EACH kept[q] = xs[q];
        }
      }
      row = in.strip * g.rows + jj;
      if (real && in.active(g) && row < g.ny) {
        const int stage = in.stage(g), base = in.base(g), j = stage >> 1 ? row : g.ny - 1 - row;
        const int k = in.depth(g), away = stage >> 1, way = in.way(g);
        double* to_x = SX + (next * slots_x + jj * (g.nx + 1)) * PITCH;
        if (sends >= 0) from(to_x, 1, nu_side[sends * g.nz + k], room_tau);
        if (sends == PLANE) {
          const int face = j * g.nz + k;
          const double* own = lx + ((size_t)((base * 2 + away) * 2 + way) * faces_x + face) * SPEEDS;
          const double* other = g.link == QUARTER
              ? ly + ((size_t)(((1 - base) * 2 + away) * 2 + way) * faces_y + face) * SPEEDS : own;
          through(to_x, 1, own, other, parity_x, ALONG, away ? ACROSS : -ACROSS, weight,
                  vane_x + face * 4, cover_x[face], alpha_x, nu_x[face], tau_x, push_x[j]);
        }
      }
      now = next;
      pace.end(t);
    }
  } else {
    const int ii = ghost - bounds_x;
    const bool real = ii < g.nx;
    Place in = {0, 0, -ii - 1}, leave = {0, 0, -(ii + g.rows + 1) - 1};
    double* kept_between = between + ((size_t)block * g.nx + ii) * SPEEDS;
    const size_t step_between = (size_t)gridDim.x * g.nx * SPEEDS;
    int takes = NOTHING, sends = NOTHING;
    int now = 0;
    for (int t = 0; t < g.steps; t++) {
      const int next = now == SLOTS - 1 ? 0 : now + 1;
      if (leave.next(g) && leave.pass < g.passes && real) takes = about(table, g, leave.stage(g), ii, g.ny)[2];
      if (in.next(g) && in.pass < g.passes && real) sends = about(table, g, in.stage(g), ii, -1)[4];
      double coming[SPEEDS];
      if (real && in.active(g) && in.strip > 0) {
        const double* kept = kept_between + in.kk * step_between;
#pragma unroll
        EACH coming[q] = kept[q];
      }
      pace.begin(t);
      if (real && leave.active(g)) {
        const int stage = leave.stage(g), base = leave.base(g), i = stage & 1 ? ii : g.nx - 1 - ii;
        const int k = leave.depth(g);
        const double* ys = SY + (now * slots_y + g.rows * g.nx + ii) * PITCH;
        if (leave.strip < g.strips - 1) {
          double* kept = kept_between + leave.kk * step_between;
#pragma unroll
          EACH kept[q] = ys[q];
        } else {
          if (takes >= 0) onto(side + (takes * g.nz + k) * 2, ACROSS * weight * wide_x[i], ys, 1);
          if (takes == PLANE) {
            const int kind = (base * 2 + (stage & 1)) * 2 + leave.way(g);
            double* kept = ly + ((size_t)kind * faces_y + i * g.nz + k) * SPEEDS;
#pragma unroll
            EACH kept[q] = ys[q];
          }
        }
      }
      if (real && in.active(g)) {
        const int stage = in.stage(g), base = in.base(g), i = stage & 1 ? ii : g.nx - 1 - ii;
        const int k = in.depth(g), onward = stage & 1, way = in.way(g);
        double* to_y = SY + (next * slots_y + ii) * PITCH;
        if (in.strip > 0) {
#pragma unroll
          EACH to_y[q] = coming[q];
        } else {
          if (sends >= 0) from(to_y, 1, nu_side[sends * g.nz + k], room_tau);
          if (sends == PLANE) {
            const int face = i * g.nz + k;
            const double* own = ly + ((size_t)((base * 2 + onward) * 2 + way) * faces_y + face) * SPEEDS;
            const double* other = own;
            if (g.link == QUARTER)
              other = lx + ((size_t)(((1 - base) * 2 + onward) * 2 + way) * faces_x + face) * SPEEDS;
            if (g.link == HALF) {
              const int kind = (base * 2 + 1 - onward) * 2 + way;
              other = ly + ((size_t)kind * faces_y + (g.nx - 1 - i) * g.nz + k) * SPEEDS;
            }
            through(to_y, 1, own, other, parity_y, ACROSS, onward ? ALONG : -ALONG, weight,
                    vane_y + face * 4, cover_y[face], alpha_y[i], nu_y[face], tau_y[i], push_y[i]);
          }
        }
      }
      now = next;
      pace.end(t);
    }
  }
}

// The cell of a step and thread: its column and depth in the order of memory; false where the thread rests.
__device__ __forceinline__ bool cell_of(const int* __restrict__ sizes, const int* __restrict__ table, int step,
                                        int thread, int& stage, int& base, int& way, int& cell) {
  const int nx = sizes[0], ny = sizes[1], nz = sizes[2], rows = sizes[3], strips = sizes[4], period = sizes[5];
  const int length = sizes[6], passes = sizes[7], bases = sizes[8];
  const int ii = thread % nx, jj = thread / nx, since = step - (ii + jj + 1);
  if (jj >= rows || since < 0 || since >= passes * length) return false;
  const int pass = since / length, within = since % length;
  const int strip = within / period < strips ? within / period : strips - 1;
  const int kk = within - strip * period, row = strip * rows + jj;
  if (kk >= 2 * nz || row >= ny) return false;
  stage = pass / bases, base = pass % bases, way = kk >= nz;
  if (table[((size_t)(stage * (ny + 2) + row + 1) * (nx + 2) + ii + 1) * 5] != GAS) return false;
  const int i = stage & 1 ? ii : nx - 1 - ii, j = stage >> 1 ? row : ny - 1 - row, k = way ? kk - nz : nz - 1 - kk;
  cell = (i * ny + j) * nz + k;
  return true;
}

// Moments in the order of the cells to that of the steps, with the signs of the direction and times delta.
extern "C" __global__ void deal(const int* __restrict__ sizes, const int* __restrict__ table, double delta, in moments,
                                double* given) {
  const int thread = blockIdx.y * blockDim.x + threadIdx.x, step = blockIdx.x;
  int stage, base, way, cell;
  if (thread >= COLUMNS || !cell_of(sizes, table, step, thread, stage, base, way, cell)) return;
  in m = moments + (size_t)cell * 8;
  const double sign[3] = {stage & 1 ? delta : -delta, stage >> 1 ? delta : -delta, way ? delta : -delta};
  double* to = given + (size_t)step * 8 * COLUMNS + thread;
  to[0] = delta * (m[0] - 1.5 * m[4]), to[4 * COLUMNS] = delta * m[4];
  for (int n = 0; n < 3; n++) {
    const double heat = (4.0 / 15.0) * m[5 + n];
    to[(1 + n) * COLUMNS] = sign[n] * (2.0 * m[1 + n] - 2.5 * heat);
    to[(5 + n) * COLUMNS] = sign[n] * heat;
  }
}

// The sums of the directions of one launch, added to those before, in the order of the steps.
extern "C" __global__ void add(const int* __restrict__ sizes, const int* __restrict__ table, int blocks, int first,
                               int fresh, in directions, in weights, in out, double* m) {
  const int steps = sizes[9], thread = blockIdx.y * blockDim.x + threadIdx.x, step = blockIdx.x;
  int stage, base, way, cell;
  if (thread >= COLUMNS || !cell_of(sizes, table, step, thread, stage, base, way, cell)) return;
  double a[8] = {0, 0, 0, 0, 0, 0, 0, 0};
  for (int block = 0; block < blocks; block++) {
    const double* e = directions + 3 * (first + block);
    const double w = weights[first + block], ex = w * e[base], ey = w * e[1 - base], ez = w * e[2];
    in sums = out + ((size_t)block * steps + step) * 4 * COLUMNS + thread;
    const double v0 = sums[0], v1 = sums[COLUMNS], v2 = sums[2 * COLUMNS], heat = sums[3 * COLUMNS] - 2.5 * v1;
    a[0] += w * v0, a[1] += ex * v1, a[2] += ey * v1, a[3] += ez * v1;
    a[4] += w * (v2 - 1.5 * v0), a[5] += ex * heat, a[6] += ey * heat, a[7] += ez * heat;
  }
  const double x = stage & 1 ? 1.0 : -1.0, y = stage >> 1 ? 1.0 : -1.0, z = way ? 1.0 : -1.0;
  const double sign[8] = {1.0, x, y, z, 1.0, x, y, z};
  for (int q = 0; q < 8; q++) {
    const size_t to = ((size_t)step * 8 + q) * COLUMNS + thread;
    m[to] = (fresh ? 0.0 : m[to]) + sign[q] * a[q];
  }
}

// The eight octants of every cell added up, in the order of the cells.
extern "C" __global__ void collect(const int* __restrict__ sizes, const int* __restrict__ table, in m,
                                   double* moments) {
  const int nx = sizes[0], ny = sizes[1], nz = sizes[2], rows = sizes[3], period = sizes[5], length = sizes[6];
  const int passes = sizes[7], bases = sizes[8];
  const int cell = blockIdx.x * blockDim.x + threadIdx.x;
  if (cell >= nx * ny * nz) return;
  const int k = cell % nz, j = cell / nz % ny, i = cell / (nz * ny);
  double a[8] = {0, 0, 0, 0, 0, 0, 0, 0};
  for (int pass = 0; pass < passes; pass++) {
    const int stage = pass / bases, ii = stage & 1 ? i : nx - 1 - i, row = stage >> 1 ? j : ny - 1 - j;
    if (table[((size_t)(stage * (ny + 2) + row + 1) * (nx + 2) + ii + 1) * 5] != GAS) continue;
    const int strip = row / rows, jj = row % rows;
    for (int way = 0; way < 2; way++) {
      const int kk = way ? nz + k : nz - 1 - k;
      const size_t step = (size_t)pass * length + strip * period + kk + ii + jj + 1;
      for (int q = 0; q < 8; q++) a[q] += m[(step * 8 + q) * COLUMNS + jj * nx + ii];
    }
  }
  for (int q = 0; q < 8; q++) moments[(size_t)cell * 8 + q] = a[q];
}
"""
