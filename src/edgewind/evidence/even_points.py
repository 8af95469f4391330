"""Sobol points and ranks, without `scipy.stats`, which takes half a second to load."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_BITS = 30
# Degree, inner coefficients and first direction numbers of each primitive polynomial after the first dimension, whose
# points are those of van der Corput: Joe and Kuo, SIAM J. Sci. Comput. 30, 2635 (2008), new-joe-kuo-6.21201.
_POLYNOMIALS = ((1, 0, (1,)), (2, 1, (1, 3)), (3, 1, (1, 3, 1)), (3, 2, (1, 1, 1)))


def _directions() -> NDArray[np.int64]:
    """Return the direction numbers of each dimension, shape (5, _BITS)."""
    found = [[1] * _BITS]
    for degree, inner, first in _POLYNOMIALS:
        m = list(first)
        for k in range(degree, _BITS):
            new = m[k - degree] ^ (m[k - degree] << degree)
            for j in range(1, degree):
                if inner >> (degree - 1 - j) & 1:
                    new ^= m[k - j] << j
            m.append(new)
        found.append(m)
    return np.array(found, dtype=np.int64) << np.arange(_BITS - 1, -1, -1)


_DIRECTIONS = _directions()


def even_points(count: int, dimensions: int = 3) -> Array:
    """Return the first points of the Sobol sequence in up to five dimensions, not scrambled.

    Parameters
    ----------
    count : int
        How many; a power of two fills the cube evenly.
    dimensions : int, optional
        Of the cube; one to five.

    Returns
    -------
    ndarray
        Shape (count, dimensions), from 0 up to 1. The first is the origin.

    Examples
    --------
    >>> even_points(4)
    array([[0.  , 0.  , 0.  ],
           [0.5 , 0.5 , 0.5 ],
           [0.75, 0.25, 0.25],
           [0.25, 0.75, 0.75]])
    """
    number = np.arange(count, dtype=np.int64)
    gray, found = number ^ (number >> 1), np.zeros((count, dimensions), dtype=np.int64)
    for bit in range(max(count - 1, 1).bit_length()):
        found ^= np.where((gray >> bit & 1)[:, None] == 1, _DIRECTIONS[:dimensions, bit], 0)
    return found / 2.0**_BITS


def ranks(values: Array) -> Array:
    """Return the rank of each value among all, from 1; equal ones share the mean of theirs.

    Examples
    --------
    >>> ranks(np.array([3.0, 1.0, 3.0]))
    array([2.5, 1. , 2.5])
    """
    _, place, count = np.unique(values, return_inverse=True, return_counts=True)
    last = np.cumsum(count)
    return np.asarray((last - 0.5 * (count - 1.0))[place].reshape(values.shape))
