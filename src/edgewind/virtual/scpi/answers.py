"""Response data of numbers, switches and blocks: IEEE 488.2-1992, section 8.7."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

# SCPI-1999, volume 1, 7.2.1.4 and 7.2.1.5: codes of infinity and of not a number.
INFINITY, NOT_A_NUMBER = 9.9e37, 9.91e37


def real(value: float) -> str:
    """Return a number with exponent (NR3).

    Examples
    --------
    >>> real(3.25), real(float("inf")), real(float("nan"))
    ('+3.250000000E+00', '+9.900000000E+37', '+9.910000000E+37')
    """
    if math.isnan(value):
        return f"{NOT_A_NUMBER:+.9E}"
    return f"{math.copysign(INFINITY, value) if math.isinf(value) else value:+.9E}"


def reals(values: Iterable[float]) -> str:
    """Return several numbers, separated by commas."""
    return ",".join(real(value) for value in values)


def switch(value: bool) -> str:
    """Return 1 or 0."""
    return "1" if value else "0"


def block(data: bytes) -> bytes:
    """Return definite length arbitrary block response data: IEEE 488.2-1992, 8.7.9.

    Examples
    --------
    >>> block(b"abc")
    b'#13abc'
    """
    length = str(len(data)).encode()
    return b"#" + str(len(length)).encode() + length + data


def array_block(values: NDArray[Any], dtype: str, *, swapped: bool) -> bytes:
    """Return numbers as a block, most significant byte first unless `swapped` (SCPI-1999, volume 2, FORMat:BORDer)."""
    order = "<" if swapped else ">"
    return block(np.ascontiguousarray(values, dtype=order + dtype).tobytes())
