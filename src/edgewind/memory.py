"""Memory: freed memory is reused, and reference cycles are collected less often."""

from __future__ import annotations

import gc
import sys

# The GNU C library gives an array of 128 kB and more back to the system when it is freed, and asks for pages again for
# the next: clearing them takes longer than most of what is done with the arrays here, the most on a virtual machine.
# Option of mallopt(3), value in bytes, and the variable by which a program that is started reads the same.
_SETTINGS = (
    (-3, 32 << 20, "MALLOC_MMAP_THRESHOLD_"),
    (-1, 256 << 20, "MALLOC_TRIM_THRESHOLD_"),
)


def keep_freed_memory() -> None:
    """Let this process keep up to 256 MB of freed memory; without effect unless the C library is that of GNU."""
    if sys.platform != "linux":
        return
    import ctypes

    library = ctypes.CDLL(None)
    if hasattr(library, "mallopt"):
        for option, size, _ in _SETTINGS:
            library.mallopt(option, size)


def collect_seldom() -> None:
    """Let Python collect reference cycles after 20,000 new objects instead of 700.

    A report keeps millions of objects while it is drawn, and searching them took an eighth of its time.
    """
    gc.set_threshold(20_000, 10, 10)


def kept_memory_variables() -> dict[str, str]:
    """Return the variables that let a program keep what it has freed."""
    return {variable: str(size) for _, size, variable in _SETTINGS}
