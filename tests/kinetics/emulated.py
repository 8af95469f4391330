"""A stand-in for a GPU: the kernels of the package compiled for this machine, the threads of a block by turns.

What a GPU does at the same time is done one thread after the other here, from one barrier to the next. That shows that
the kernels compute what they should, not how fast, nor that they are free of races between two barriers.
"""

from __future__ import annotations

import contextlib
import ctypes
import subprocess
from pathlib import Path

import numpy as np

from edgewind.kinetics.gpu import Workspace
from edgewind.kinetics.gpu_kernel import COLUMNS, SETS, SLOTS, SOURCE, TALL, THREADS

FRAME = r"""
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <ucontext.h>
#include <vector>
#define __global__
#define __device__
#define __constant__
#define __forceinline__ inline
#define __shared__
#define __align__(n)
#define __restrict__
#define __launch_bounds__(...)
using std::fma;
struct Index { int x, y, z; };
struct double2 { double x, y; };
static Index threadIdx, blockIdx, blockDim, gridDim;
static void atomicAdd(double* place, double value) { *place += value; }
double shared[1 << 19];
static ucontext_t home;
static std::vector<ucontext_t> threads;
static std::vector<char> ended;
static int running;
static void (*body)();
static void __syncthreads() { swapcontext(&threads[running], &home); }
static void __syncwarp() { __syncthreads(); }
static void __threadfence_block() {}
// All threads of a warp come here as often; what they say of this time and of the last one is kept apart.
static int said[2][1024], times[1024];
static int __all_sync(unsigned, int yes) {
  const int me = running, turn = times[me]++ & 1;
  said[turn][me] = yes;
  __syncthreads();
  for (int k = me / 32 * 32; k < me / 32 * 32 + 32; k++) if (!said[turn][k]) return 0;
  return 1;
}
static void enter() { body(); ended[running] = 1; }
static void run(Index grid, int count) {
  static std::vector<char> stacks;
  const size_t each = 1 << 16;
  if (stacks.size() < each * count) stacks.resize(each * count);
  gridDim = grid, blockDim = {count, 1, 1};
  for (blockIdx.y = 0; blockIdx.y < grid.y; blockIdx.y++)
    for (blockIdx.x = 0; blockIdx.x < grid.x; blockIdx.x++) {
      threads.assign(count, ucontext_t()), ended.assign(count, 0), std::fill(times, times + 1024, 0);
      for (int k = 0; k < count; k++) {
        getcontext(&threads[k]);
        threads[k].uc_stack.ss_sp = &stacks[each * k], threads[k].uc_stack.ss_size = each, threads[k].uc_link = &home;
        makecontext(&threads[k], enter, 0);
      }
      int turn = 0;
      for (bool left = true; left; turn++) {
        left = false;
        // Now from the first thread, now from the last: what depends on their order shows.
        for (int n = 0, k = turn % 2 ? count - 1 : 0; n < count; n++, k += turn % 2 ? -1 : 1)
          if (!ended[k]) running = k, threadIdx = {k, 0, 0}, swapcontext(&home, &threads[k]), left |= !ended[k];
      }
    }
}
"""


def compiled(folder: Path, speeds: int) -> ctypes.CDLL:
    """Compile the kernels with the compiler of this machine."""
    source, names = FRAME + SOURCE, ("sweep", "deal", "collect")
    # A kernel's arguments come as addresses of their values, as a GPU's driver takes them.
    for name in names:
        start = SOURCE.index("(", SOURCE.index(f" {name}(", SOURCE.index("extern"))) + 1
        depth, end = 1, start
        while depth:
            depth += {"(": 1, ")": -1}.get(SOURCE[end], 0)
            end += 1
        kinds = []
        for part in SOURCE[start : end - 1].split(","):
            kind = part.strip().rsplit(" ", 1)[0]
            kinds.append(
                {"in": "const double*"}.get(kind, kind) if not part.strip().startswith("in ") else "const double*"
            )
        # Names that follow a comma in one declaration share its type.
        for place, kind in enumerate(kinds):
            if " " not in kind and "*" not in kind and kind not in ("int", "double"):
                kinds[place] = kinds[place - 1]
        values = ", ".join(f"*({kind}*)given[{place}]" for place, kind in enumerate(kinds))
        source += f"""
static void** given_{name};
static void body_{name}() {{ void** given = given_{name}; {name}({values}); }}
extern "C" void launch_{name}(int x, int y, int count, void** given) {{
  given_{name} = given, body = body_{name}, run({{x, y, 1}}, count);
}}
"""
    source += 'extern "C" double* constants() { return &C[0][0][0]; }\n'
    (folder / "kernels.cpp").write_text(source)
    library = folder / f"kernels_{speeds}.so"
    named = {"SPEEDS": speeds, "THREADS": THREADS, "COLUMNS": COLUMNS, "SLOTS": SLOTS, "TALL": TALL, "SETS": SETS}
    sizes = [f"-D{name}={size}" for name, size in named.items()]
    options = ["-O1", "-std=c++17", "-w", "-shared", "-fPIC", *sizes]
    subprocess.run(["g++", *options, "-o", str(library), str(folder / "kernels.cpp")], check=True)
    return ctypes.CDLL(str(library))


class EmulatedCard:
    """Offers what `edgewind.kinetics.gpu.Card` does.

    Parameters
    ----------
    folder : Path
        Where to compile.
    speeds : int
        Speeds that a thread carries.
    """

    shared_bytes, processors = 227 * 1024, 3
    free_bytes = 2**30
    # Not the first: kernels have to look for the constants there.
    set = 2
    stream = contextlib.nullcontext()

    def __init__(self, folder: Path, speeds: int) -> None:
        self.library, self.speeds = compiled(folder, speeds), speeds
        self.library.constants.restype = ctypes.POINTER(ctypes.c_double)
        self.launches: list[str] = []
        self.workspace = Workspace(self)

    def send(self, array):
        """Copy an array."""
        return np.ascontiguousarray(array).copy()

    def empty(self, size):
        """Return numbers that poison what they touch."""
        return np.full(size, np.nan)

    def put(self, values, there):
        """Copy an array to a place."""
        there[:] = values

    def clear(self, there):
        """Make an array zero."""
        there[:] = 0.0

    def fetch(self, array):
        """Return a copy of the array."""
        return array.copy()

    def constants(self, values):
        """Set the constants of the speeds."""
        np.ctypeslib.as_array(self.library.constants(), (SETS, 9, self.speeds))[self.set] = values

    def launch(self, name, blocks, threads, arguments, shared=0):
        """Run a kernel."""
        assert shared <= self.shared_bytes
        assert threads <= 1024
        self.launches.append(name)
        kinds = {np.dtype(np.int32): ctypes.c_int, np.dtype(np.float64): ctypes.c_double}
        values = [
            ctypes.c_void_p(one.ctypes.data) if isinstance(one, np.ndarray) else kinds[one.dtype](one)
            for one in arguments
        ]
        given = (ctypes.c_void_p * len(values))(*(ctypes.addressof(value) for value in values))
        x, y = (*blocks, 1)[:2]
        getattr(self.library, f"launch_{name}")(int(x), int(y), int(threads), given)
