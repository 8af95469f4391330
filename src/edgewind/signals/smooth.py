"""Running means, slow parts and transform lengths in NumPy: SciPy takes longer to load than a trace to analyse."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def running_mean(values: FloatArray, width: int) -> FloatArray:
    """Return the mean of `width` neighbours about each value; beyond the ends stand the first and the last one.

    Examples
    --------
    >>> running_mean(np.array([0.0, 3.0, 6.0, 0.0]), 3)
    array([1., 3., 3., 2.])
    """
    if width <= 1:
        return np.array(values, dtype=float)
    # About a middle value: sums of a voltage far from zero would lose digits.
    middle = float(values[values.size // 2])
    padded = np.pad(values - middle, (width // 2, width - width // 2 - 1), mode="edge")
    sums = np.concatenate([[0.0], np.cumsum(padded)])
    return np.asarray((sums[width:] - sums[:-width]) / width + middle)


def slow_part(voltage: FloatArray, cells: int) -> FloatArray:
    """Return the sum of a number of the slowest cosines of a trace, its baseline."""
    size = voltage.size
    # The transform of a trace and its mirror image is its cosine transform.
    lines = np.fft.rfft(np.concatenate([voltage, voltage[::-1]]))
    lines[cells:] = 0
    return np.asarray(np.fft.irfft(lines, 2 * size)[:size])


def fast_length(least: int) -> int:
    """Return the least length, at least as given, whose prime factors are 2, 3 and 5, for fast transforms.

    Examples
    --------
    >>> fast_length(80_001), fast_length(7)
    (81000, 8)
    """
    best = 1 << max(least - 1, 1).bit_length()
    power5 = 1
    while power5 < best:
        product = power5
        while product < best:
            rest = -(-least // product)  # least factor needed; the next power of two
            best = min(best, product << max(rest - 1, 0).bit_length())
            product *= 3
        power5 *= 5
    return best
