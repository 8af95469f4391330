"""The transport sweep of a rotor on a GPU: a block of threads for a direction, a thread for two columns of cells.

The scheme is that of the sweep on processors. A block takes the columns of a strip, all of x and some rows of y, and
each thread marches up its columns, with the face between its cells in registers for all speeds at once, and the one
between its two columns, the second of which is a step behind; other faces across x and y pass to the neighbours
through shared memory, one step later. So a column starts when its neighbours towards the flow have done one cell, and
after its last cell the thread goes on with its column of the next strip, then of the next signs of x and y, without
waiting for the others: all threads are busy but at the first and last steps. Along z the way in and the way out again,
mirrored in the plane of symmetry, count as one column of twice the length.

Threads are numbered along the front of the flow. Those of a warp are then at about the same depth and begin their next
columns together: numbered row by row, in two thirds of the steps all of a warp waited while one thread did that.

Further threads stand for what bounds the strip: one for each row sets what enters at the near end of x and takes what
leaves at the far end, one for each column of y likewise. Columns outside a round chamber are walls to their neighbours.

The moments are laid out by step and thread, so that neighbouring threads read neighbouring numbers, and so are the
sums, to which every direction adds its own: in an order that differs from run to run, and with it the last digits. A
second kernel returns to the order of the cells. An update takes 46 instructions, 20 of them of the unit for doubles,
and moves 16 bytes through the card's second cache.
"""

from __future__ import annotations

# Columns of a thread, one behind the other along y.
TALL = 2
# Most threads of a block: each may then hold 168 registers of the 65 536.
THREADS = 384
# Columns of a strip at most; the moments and the sums of a step lie so far apart.
COLUMNS = 576
# Threads of Python that may sweep side by side.
SETS = 64
# Steps whose faces a block keeps.
SLOTS = 3
SOURCE = r"""
typedef const double* __restrict__ in;
enum { NOTHING = -1, PLANE = -2 };
enum { OUTSIDE, GAS, PAD };
enum { MIRRORED, QUARTER, HALF };

// Of each speed s: 1/s, s, s^2, delta/s, w, w s, w s^2, w s^3, s^2 - 2. Threads of Python that sweep side by side have
// a set each: they share one module.
__constant__ double C[SETS][9][SPEEDS];
#define INV(q) C[set][0][q]
#define S1(q) C[set][1][q]
#define S2(q) C[set][2][q]
#define RATE(q) C[set][3][q]
#define W(n, q) C[set][4 + (n)][q]
#define WALL(q) C[set][8][q]
// Components of the direction along x and y: the second base is the first one turned by a quarter.
#define ALONG (base ? e1 : e0)
#define ACROSS (base ? e0 : e1)
// A face is kept as pairs of speeds; those of one pair stand side by side, so that threads meet different banks.
#define CHUNKS (SPEEDS / 2)
// Of a row of threads the row of columns in the order of a stage; and where in memory a column stands.
#define ROW(place) ((place).strip * g.rows + jj + b)
// Where in memory a thread's row stands among the COLUMNS.
#define AT(thread, b) ((b) * (COLUMNS / TALL) + (thread))
#define CELL_X(stage) ((stage) & 1 ? ii : g.nx - 1 - ii)
#define CELL_Y(stage, row) ((stage) >> 1 ? (row) : g.ny - 1 - (row))
#define EACH for (int q = 0; q < SPEEDS; q++)

struct Shape {
  int nx, ny, nz, rows, strips, period, length, passes, turn, steps, columns, link;
};

// Warps go at their own pace: one begins a step once those that it takes faces from have ended the step before, and
// those that take faces from it have read what it will write over. A lane watches one warp, `lag` steps behind; -1 is
// none. Each warp has four barriers, of which each step passes the next one: no warp is four steps ahead of another.
struct Pace {
  unsigned long long* bars;
  int lag;
#if __CUDA_ARCH__ >= 900
  __device__ __forceinline__ unsigned place(int warp, int step) const {
    return (unsigned)__cvta_generic_to_shared(bars) + 8 * (4 * warp + (step & 3));
  }
  __device__ __forceinline__ Pace(unsigned long long* bars, const int* __restrict__ lags)
      : bars(bars), lag(lags[threadIdx.x]) {
    if (threadIdx.x % 32 < 4)
      asm volatile("mbarrier.init.shared::cta.b64 [%0], 1;" ::"r"(place(threadIdx.x / 32, threadIdx.x)) : "memory");
  }
  __device__ __forceinline__ void begin(int step) {
    const int ended = step - 1 - lag;
    int ready = lag < 0 || ended < 0;
    const unsigned there = place(threadIdx.x % 32, ended);
    do {
      if (!ready)
        asm volatile(
            "{ .reg .pred p; mbarrier.try_wait.parity.shared::cta.b64 p, [%1], %2; selp.s32 %0, 1, 0, p; }"
            : "=r"(ready) : "r"(there), "r"(ended >> 2 & 1) : "memory");
    } while (!__all_sync(0xffffffffu, ready));
    __syncwarp();
  }
  __device__ __forceinline__ void end(int step) {
    __syncwarp();
    if (threadIdx.x % 32 == 0)
      asm volatile("mbarrier.arrive.shared::cta.b64 _, [%0];" ::"r"(place(threadIdx.x / 32, step)) : "memory");
  }
#else
  volatile int* ended;
  __device__ __forceinline__ Pace(unsigned long long* bars, const int* __restrict__ lags)
      : bars(bars), lag(lags[threadIdx.x]), ended((int*)bars) {
    if (threadIdx.x < 32) ended[threadIdx.x] = 0;
  }
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
#endif
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

__device__ __forceinline__ void read(double* face, const double2* from, int stride) {
#pragma unroll
  for (int n = 0; n < CHUNKS; n++) face[2 * n] = from[n * stride].x, face[2 * n + 1] = from[n * stride].y;
}

__device__ __forceinline__ void write(double2* to, int stride, const double* face) {
#pragma unroll
  for (int n = 0; n < CHUNKS; n++) to[n * stride] = {face[2 * n], face[2 * n + 1]};
}

__device__ __forceinline__ void copy(double* to, const double* face) {
#pragma unroll
  EACH to[q] = face[q];
}

// A number on its way into shared memory while the thread goes on, and the wait for what is on its way.
__device__ __forceinline__ void order(double* to, const double* from) {
#if __CUDA_ARCH__ >= 800
  asm volatile("cp.async.ca.shared.global [%0], [%1], 8;" ::"r"((unsigned)__cvta_generic_to_shared(to)), "l"(from)
               : "memory");
#else
  *to = *from;
#endif
}

__device__ __forceinline__ void arrived() {
#if __CUDA_ARCH__ >= 800
  asm volatile("cp.async.wait_all;" ::: "memory");
#endif
}

__device__ __forceinline__ void onto(int set, double* wall, double area, const double* face) {
  double v1 = 0, v3 = 0;
#pragma unroll
  EACH {
    const double f = face[q];
    v1 = fma(W(1, q), f, v1), v3 = fma(W(3, q), f, v3);
  }
  atomicAdd(wall, area * v1), atomicAdd(wall + 1, area * v3);
}

__device__ __forceinline__ void from(int set, double* face, double nu, double tau) {
#pragma unroll
  EACH face[q] = fma(tau, WALL(q), nu);
}

// What enters through one face of a vane's plane, and what fell on it.
__device__ __forceinline__ void through(
    int set, double* face, const double* own, const double* other, double sign, double normal, double tangent,
    double weight, double* vane, double cover, double alpha, double nu, double tau, double push) {
  double v1 = 0, v2 = 0, v3 = 0;
  const double moved = 2.0 * push * normal;
#pragma unroll
  EACH {
    const double mine = own[q], m = moved * S1(q);
    v1 = fma(W(1, q), mine, v1), v2 = fma(W(2, q), mine, v2), v3 = fma(W(3, q), mine, v3);
    const double wall = alpha * (fma(tau, WALL(q), nu) + m) + (1.0 - alpha) * (mine + 2.0 * m);
    face[q] = cover * wall + (1.0 - cover) * sign * other[q];
  }
  v1 *= weight, v2 *= 2.0 * weight * normal, v3 *= weight;
  atomicAdd(vane, normal * v1), atomicAdd(vane + 1, normal * v2);
  atomicAdd(vane + 2, tangent * v2), atomicAdd(vane + 3, normal * v3);
}

extern "C" __global__ void __launch_bounds__(THREADS, 1) sweep(
    const int* __restrict__ sizes, int set, int first, const int* __restrict__ table, const int* __restrict__ lags,
    const int* __restrict__ places, in cut_x, in cut_y, in cut_z, in directions, in weights, in given,
    in nu_side, in nu_top, in nu_y, in nu_x, in cover_y, in cover_x, in alpha_y, in tau_y, in push_y, in push_x,
    double parity_x, double parity_y, double alpha_x, double tau_x, double room_tau,
    double* low_x, double* low_y, double* between, double* out, double* side, double* top, double* vane_y,
    double* vane_x) {
  extern __shared__ __align__(16) double shared[];
  Shape g;
  g.nx = sizes[0], g.ny = sizes[1], g.nz = sizes[2], g.rows = sizes[3], g.strips = sizes[4], g.period = sizes[5];
  g.length = sizes[6], g.passes = sizes[7], g.turn = sizes[8] - 1, g.steps = sizes[9], g.columns = sizes[10];
  g.link = sizes[11];
  // Faces by step (of each SLOTS), row of a thread, pair of speeds, and the thread that takes it or the bound behind.
  const int pairs = g.nx * (g.rows / TALL), wide_faces = pairs + g.rows / TALL, deep_faces = pairs + g.nx;
  const int slot_x = TALL * CHUNKS * wide_faces, slot_y = CHUNKS * deep_faces;
  const int block = blockIdx.x, tid = threadIdx.x, d = first + block;
  double2* SX = (double2*)shared;
  double2* SY = SX + SLOTS * slot_x;
  const double e0 = directions[3 * d], e1 = directions[3 * d + 1], e2 = directions[3 * d + 2];
  const double weight = weights[d];

  // Of the grid: two over the widths, the widths, and whether there is gas.
  double *near_x = (double*)(SY + SLOTS * slot_y), *near_y = near_x + g.nx, *near_z = near_y + g.ny;
  double *wide_x = near_z + g.nz, *wide_y = wide_x + g.nx, *tops = wide_y + g.ny;
  unsigned long long* bars = (unsigned long long*)(tops + TALL * pairs);
  // What is beyond the ends of x and of y, by stage.
  int *end_x = (int*)(bars + 4 * (THREADS / 32)), *end_y = end_x + 8 * g.ny;
  unsigned char* full = (unsigned char*)(end_y + 8 * g.nx);
  for (int n = tid; n < g.nx; n += blockDim.x) near_x[n] = cut_x[n], wide_x[n] = 2.0 / cut_x[n];
  for (int n = tid; n < g.ny; n += blockDim.x) near_y[n] = cut_y[n], wide_y[n] = 2.0 / cut_y[n];
  for (int n = tid; n < g.nz; n += blockDim.x) near_z[n] = cut_z[n];
  for (int n = tid; n < 4 * g.ny; n += blockDim.x) {
    end_x[2 * n] = about(table, g, n / g.ny, g.nx, n % g.ny)[1];
    end_x[2 * n + 1] = about(table, g, n / g.ny, -1, n % g.ny)[3];
  }
  for (int n = tid; n < 4 * g.nx; n += blockDim.x) {
    end_y[2 * n] = about(table, g, n / g.nx, n % g.nx, g.ny)[2];
    end_y[2 * n + 1] = about(table, g, n / g.nx, n % g.nx, -1)[4];
  }
  // The last stage has the order of memory.
  for (int n = tid; n < g.nx * g.ny; n += blockDim.x) full[n] = *about(table, g, 3, n / g.ny, n % g.ny);
  Pace pace(bars, lags);
  __syncthreads();

  if (tid < g.columns) {
    // A thread has TALL columns, one behind the other in y, each a step later: faces between them stay in registers.
    const bool real = tid < pairs;
    const int ii = places[4 * tid], jj = TALL * places[4 * tid + 1], to_x = places[4 * tid + 2] - tid;
    const int to_y = places[4 * tid + 3] - tid, wall_top = (g.nx - 1 - ii) * g.ny + g.ny - 1;
    const double w0 = weight * e0, w1 = weight * e1, w2 = weight * e2;
    Place at[TALL];
    double z[TALL][SPEEDS], between_y[TALL][SPEEDS], ax[TALL], by[TALL];
    double2 c[TALL][4];
    const double2* m = (const double2*)given + tid;
    double* sums = out + tid;
    int kind[TALL];
    // Faces at this step, at the next one and at the one after it.
    double2 *xs = SX + tid, *next_x = xs + slot_x, *then_x = next_x + slot_x;
    double2 *ys = SY + tid, *next_y = ys + slot_y, *then_y = next_y + slot_y;
#pragma unroll
    for (int b = 0; b < TALL; b++) {
      // Threads without a column never begin one.
      at[b] = {0, 0, real ? -(ii + jj + b + 1) - 1 : -(1 << 30)};
      kind[b] = OUTSIDE, ax[b] = 0, by[b] = 0;
      if (real && jj + b < g.ny) order(tops + b * pairs + tid, nu_top + wall_top - jj - b);
#pragma unroll
      for (int n = 0; n < 4; n++) c[b][n] = m[AT(0, b) + n * COLUMNS];
#pragma unroll
      EACH z[b][q] = 0, between_y[b][q] = 0;
    }
    for (int t = 0; t < g.steps; t++) {
      m += 4 * COLUMNS;
#pragma unroll
      for (int b = 0; b < TALL; b++) {
        const Place before = at[b];
        if (at[b].next(g)) {
          // What goes through the top of the last column, then the next one.
          if (kind[b] == GAS) {
            const int stage = before.stage(g), column = CELL_X(stage) * g.ny + CELL_Y(stage, ROW(before));
            onto(set, top + column * 2, e2 * weight, z[b]);
          }
          const int row = ROW(at[b]), base = at[b].base(g);
          double* coming = tops + b * pairs + tid;
          arrived();
          const double above = *coming;
          kind[b] = PAD;
          if (row < g.ny && at[b].pass < g.passes) {
            const int stage = at[b].stage(g), i = CELL_X(stage), j = CELL_Y(stage, row);
            kind[b] = full[i * g.ny + j];
            ax[b] = ALONG * near_x[i], by[b] = ACROSS * near_y[j];
#pragma unroll
            EACH z[b][q] = fma(room_tau, WALL(q), above);
          }
          // What the top sends into the column after this one.
          Place then = at[b];
          if (++then.strip == g.strips) then.strip = 0, then.pass++;
          const int after = ROW(then), stage = then.stage(g);
          if (after < g.ny && then.pass < g.passes) order(coming, nu_top + CELL_X(stage) * g.ny + CELL_Y(stage, after));
        }
      }
      pace.begin(t);
      // The last row first: it takes what the one before it left a step ago.
#pragma unroll
      for (int b = TALL - 1; b >= 0; b--) {
        const int base = at[b].base(g);
        const double c0 = c[b][0].x, c4 = c[b][0].y;
        const double a1 = c[b][1].x * ALONG + c[b][2].x * ACROSS + c[b][3].x * e2;
        const double gg = c[b][1].y * ALONG + c[b][2].y * ACROSS + c[b][3].y * e2;
        const double2* x_in = xs + b * CHUNKS * wide_faces;
        double2* x_out = next_x + b * CHUNKS * wide_faces + to_x;
        double2* y_out = next_y + to_y;
        if ((unsigned)at[b].kk < 2u * g.nz) {
          if (kind[b] == GAS) {
            const double cz = e2 * near_z[at[b].depth(g)], abc = ax[b] + by[b] + cz;
            double s0 = 0, s1 = 0, s2 = 0, s3 = 0;
            // All speeds at once, and what is read before what is written, so that their chains overlap.
            double x[SPEEDS], y[SPEEDS], h[SPEEDS];
            read(x, x_in, wide_faces);
            if (b == 0) read(y, ys, deep_faces);
            else copy(y, between_y[b ? b - 1 : 0]);
#pragma unroll
            EACH {
              h[q] = fma(INV(q), c0, fma(S1(q), c4, fma(S2(q), gg, a1)));
              h[q] = fma(cz, z[b][q], fma(by[b], y[q], fma(ax[b], x[q], h[q]))) * reciprocal(RATE(q) + abc);
            }
#pragma unroll
            EACH {
              x[q] = fma(2.0, h[q], -x[q]), y[q] = fma(2.0, h[q], -y[q]), z[b][q] = fma(2.0, h[q], -z[b][q]);
              s0 = fma(W(0, q), h[q], s0), s1 = fma(W(1, q), h[q], s1);
              s2 = fma(W(2, q), h[q], s2), s3 = fma(W(3, q), h[q], s3);
            }
            write(x_out, wide_faces, x);
            if (b == TALL - 1) write(y_out, deep_faces, y);
            else copy(between_y[b], y);
            const int stage = at[b].stage(g);
            double ex = base ? w1 : w0, ey = base ? w0 : w1;
            ex = stage & 1 ? ex : -ex, ey = stage >> 1 ? ey : -ey;
            const double ez = at[b].way(g) ? w2 : -w2, heat = fma(-2.5, s1, s3);
            double* sum = sums + AT(0, b);
            atomicAdd(sum, weight * s0), atomicAdd(sum + COLUMNS, ex * s1), atomicAdd(sum + 2 * COLUMNS, ey * s1);
            atomicAdd(sum + 3 * COLUMNS, ez * s1), atomicAdd(sum + 4 * COLUMNS, weight * fma(-1.5, s0, s2));
            atomicAdd(sum + 5 * COLUMNS, ex * heat), atomicAdd(sum + 6 * COLUMNS, ey * heat);
            atomicAdd(sum + 7 * COLUMNS, ez * heat);
          } else {
            double x[SPEEDS], y[SPEEDS];
            if (b == 0) read(y, ys, deep_faces);
            else copy(y, between_y[b ? b - 1 : 0]);
            if (kind[b] == OUTSIDE) {
              const int stage = at[b].stage(g), row = ROW(at[b]), k = at[b].depth(g);
              const int* mine = about(table, g, stage, ii, row);
              const double wide = wide_y[CELL_Y(stage, row)];
              read(x, x_in, wide_faces);
              if (mine[1] >= 0) onto(set, side + (mine[1] * g.nz + k) * 2, ALONG * weight * wide, x);
              if (mine[2] >= 0) onto(set, side + (mine[2] * g.nz + k) * 2, ACROSS * weight * wide_x[CELL_X(stage)], y);
              if (mine[3] >= 0) from(set, x, nu_side[mine[3] * g.nz + k], room_tau), write(x_out, wide_faces, x);
              if (mine[4] >= 0) from(set, y, nu_side[mine[4] * g.nz + k], room_tau);
            }
            if (b == TALL - 1) write(y_out, deep_faces, y);
            else copy(between_y[b], y);
          }
        }
#pragma unroll
        for (int n = 0; n < 4; n++) c[b][n] = m[AT(0, b) + n * COLUMNS];
      }
      sums += 8 * COLUMNS;
      double2* swap = xs;
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
    const int jj = ghost, b = jj % TALL, near = places[4 * g.columns + jj / TALL];
    const bool real = jj < g.rows;
    Place in = {0, 0, -jj - 1}, leave = {0, 0, -(g.nx + jj + 1) - 1};
    int takes = NOTHING, sends = NOTHING;
    int now = 0;
    for (int t = 0; t < g.steps; t++) {
      const int next = now == SLOTS - 1 ? 0 : now + 1;
      if (leave.next(g) && leave.pass < g.passes && leave.strip * g.rows + jj < g.ny)
        takes = end_x[2 * (leave.stage(g) * g.ny + leave.strip * g.rows + jj)];
      if (in.next(g) && in.pass < g.passes && in.strip * g.rows + jj < g.ny)
        sends = end_x[2 * (in.stage(g) * g.ny + in.strip * g.rows + jj) + 1];
      // What enters is read ahead where the same thread wrote it, in an earlier pass.
      double own[SPEEDS], cover = 0, nu = 0, push = 0;
      const int row_in = in.strip * g.rows + jj, stage_in = in.stage(g), base_in = in.base(g), k_in = in.depth(g);
      const int j_in = CELL_Y(stage_in, row_in), face = j_in * g.nz + k_in, away = stage_in >> 1;
      const double* kept_in = lx + ((size_t)((base_in * 2 + away) * 2 + in.way(g)) * faces_x + face) * SPEEDS;
      const bool enters = real && in.active(g) && row_in < g.ny;
      if (enters && sends >= 0) nu = nu_side[sends * g.nz + k_in];
      if (enters && sends == PLANE) {
        cover = cover_x[face], nu = nu_x[face], push = push_x[j_in];
        if (g.link == MIRRORED) {
          copy(own, kept_in);
        }
      }
      pace.begin(t);
      int row = leave.strip * g.rows + jj;
      if (real && leave.active(g) && row < g.ny) {
        const int stage = leave.stage(g), base = leave.base(g), j = stage >> 1 ? row : g.ny - 1 - row;
        const int k = leave.depth(g);
        double xs[SPEEDS];
        read(xs, SX + now * slot_x + b * CHUNKS * wide_faces + pairs + jj / TALL, wide_faces);
        if (takes >= 0) onto(set, side + (takes * g.nz + k) * 2, ALONG * weight * wide_y[j], xs);
        if (takes == PLANE) {
          const int kind = (base * 2 + (stage >> 1)) * 2 + leave.way(g);
          double* kept = lx + ((size_t)kind * faces_x + j * g.nz + k) * SPEEDS;
          copy(kept, xs);
        }
      }
      if (enters) {
        const int base = base_in;
        double entering[SPEEDS];
        if (sends >= 0) from(set, entering, nu, room_tau);
        if (sends == PLANE) {
          double other[SPEEDS];
          if (g.link == MIRRORED) {
            copy(other, own);
          } else {
            const double* elsewhere = kept_in;
            if (g.link == QUARTER)
              elsewhere = ly + ((size_t)(((1 - base) * 2 + away) * 2 + in.way(g)) * faces_y + face) * SPEEDS;
#pragma unroll
            EACH own[q] = kept_in[q], other[q] = elsewhere[q];
          }
          through(set, entering, own, other, parity_x, ALONG, away ? ACROSS : -ACROSS, weight, vane_x + face * 4, cover,
                  alpha_x, nu, tau_x, push);
        }
        if (sends != NOTHING) write(SX + next * slot_x + b * CHUNKS * wide_faces + near, wide_faces, entering);
      }
      now = next;
      pace.end(t);
    }
  } else {
    const int ii = ghost - bounds_x;
    const bool real = ii < g.nx;
    const int near = real ? places[4 * g.columns + g.rows / TALL + ii] : 0;
    Place in = {0, 0, -ii - 1}, leave = {0, 0, -(ii + g.rows + 1) - 1};
    double* kept_between = between + ((size_t)block * g.nx + ii) * SPEEDS;
    const size_t step_between = (size_t)gridDim.x * g.nx * SPEEDS;
    int takes = NOTHING, sends = NOTHING;
    int now = 0;
    for (int t = 0; t < g.steps; t++) {
      const int next = now == SLOTS - 1 ? 0 : now + 1;
      if (leave.next(g) && leave.pass < g.passes && real) takes = end_y[2 * (leave.stage(g) * g.nx + ii)];
      if (in.next(g) && in.pass < g.passes && real) sends = end_y[2 * (in.stage(g) * g.nx + ii) + 1];
      double own[SPEEDS], cover = 0, nu = 0, push = 0, alpha = 0, tau = 0;
      const int stage_in = in.stage(g), base_in = in.base(g), k_in = in.depth(g), way_in = in.way(g);
      const int i_in = CELL_X(stage_in), face = i_in * g.nz + k_in, onward = stage_in & 1;
      const double* kept_in = ly + ((size_t)((base_in * 2 + onward) * 2 + way_in) * faces_y + face) * SPEEDS;
      const bool enters = real && in.active(g), follows = in.strip > 0;
      if (enters && !follows && sends >= 0) nu = nu_side[sends * g.nz + k_in];
      if (enters && !follows && sends == PLANE)
        cover = cover_y[face], nu = nu_y[face], push = push_y[i_in], alpha = alpha_y[i_in], tau = tau_y[i_in];
      if (enters && (follows || (sends == PLANE && g.link == MIRRORED))) {
        const double* kept = follows ? kept_between + in.kk * step_between : kept_in;
        copy(own, kept);
      }
      pace.begin(t);
      if (real && leave.active(g)) {
        const int stage = leave.stage(g), base = leave.base(g), i = stage & 1 ? ii : g.nx - 1 - ii;
        const int k = leave.depth(g);
        double ys[SPEEDS];
        read(ys, SY + now * slot_y + pairs + ii, deep_faces);
        if (leave.strip < g.strips - 1) {
          double* kept = kept_between + leave.kk * step_between;
          copy(kept, ys);
        } else {
          if (takes >= 0) onto(set, side + (takes * g.nz + k) * 2, ACROSS * weight * wide_x[i], ys);
          if (takes == PLANE) {
            const int kind = (base * 2 + (stage & 1)) * 2 + leave.way(g);
            double* kept = ly + ((size_t)kind * faces_y + i * g.nz + k) * SPEEDS;
            copy(kept, ys);
          }
        }
      }
      if (enters) {
        const int base = base_in;
        if (!follows) {
          if (sends >= 0) from(set, own, nu, room_tau);
          if (sends == PLANE) {
            double other[SPEEDS];
            if (g.link == MIRRORED) {
              copy(other, own);
            } else {
              const double* elsewhere = kept_in;
              if (g.link == QUARTER)
                elsewhere = lx + ((size_t)(((1 - base) * 2 + onward) * 2 + way_in) * faces_x + face) * SPEEDS;
              if (g.link == HALF) {
                const int kind = (base * 2 + 1 - onward) * 2 + way_in;
                elsewhere = ly + ((size_t)kind * faces_y + (g.nx - 1 - i_in) * g.nz + k_in) * SPEEDS;
              }
#pragma unroll
              EACH own[q] = kept_in[q], other[q] = elsewhere[q];
            }
            double entering[SPEEDS];
            through(set, entering, own, other, parity_y, ACROSS, onward ? ALONG : -ALONG, weight, vane_y + face * 4,
                    cover, alpha, nu, tau, push);
            copy(own, entering);
          }
        }
        if (follows || sends != NOTHING) write(SY + next * slot_y + near, deep_faces, own);
      }
      now = next;
      pace.end(t);
    }
  }
}

// The cell of a step and thread: its column and depth in the order of memory; false where the thread rests.
__device__ __forceinline__ bool cell_of(const int* __restrict__ sizes, const int* __restrict__ table,
                                        const int* __restrict__ places, int step, int thread, int& stage, int& base,
                                        int& way, int& cell) {
  const int nx = sizes[0], ny = sizes[1], nz = sizes[2], rows = sizes[3], strips = sizes[4], period = sizes[5];
  const int length = sizes[6], passes = sizes[7], bases = sizes[8];
  const int row_of = thread / (COLUMNS / TALL), pair = thread % (COLUMNS / TALL);
  if (pair >= nx * (rows / TALL)) return false;
  const int ii = places[4 * pair], jj = TALL * places[4 * pair + 1] + row_of, since = step - (ii + jj + 1);
  if (since < 0 || since >= passes * length) return false;
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
extern "C" __global__ void deal(const int* __restrict__ sizes, const int* __restrict__ table,
                                const int* __restrict__ places, double delta, in moments, double* given) {
  const int thread = blockIdx.y * blockDim.x + threadIdx.x, step = blockIdx.x;
  int stage, base, way, cell;
  if (thread >= COLUMNS || !cell_of(sizes, table, places, step, thread, stage, base, way, cell)) return;
  in m = moments + (size_t)cell * 8;
  const double sign[3] = {stage & 1 ? delta : -delta, stage >> 1 ? delta : -delta, way ? delta : -delta};
  double2* to = (double2*)given + (size_t)step * 4 * COLUMNS + thread;
  to[0] = {delta * (m[0] - 1.5 * m[4]), delta * m[4]};
  for (int n = 0; n < 3; n++) {
    const double heat = (4.0 / 15.0) * m[5 + n];
    to[(1 + n) * COLUMNS] = {sign[n] * (2.0 * m[1 + n] - 2.5 * heat), sign[n] * heat};
  }
}

// The eight octants of every cell added up, in the order of the cells.
extern "C" __global__ void collect(const int* __restrict__ sizes, const int* __restrict__ table,
                                   const int* __restrict__ places, in m, double* moments) {
  const int nx = sizes[0], ny = sizes[1], nz = sizes[2], rows = sizes[3], period = sizes[5], length = sizes[6];
  const int passes = sizes[7], bases = sizes[8], columns = sizes[10];
  const int* threads = places + 4 * columns + rows / TALL + nx;
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
      for (int q = 0; q < 8; q++) a[q] += m[(step * 8 + q) * COLUMNS + AT(threads[jj / TALL * nx + ii], jj % TALL)];
    }
  }
  for (int q = 0; q < 8; q++) moments[(size_t)cell * 8 + q] = a[q];
}
"""
