"""Perceptually uniform colour scales: lightness changes by equal steps, symmetrically about zero.

Colours are mixed in Oklab (B. Ottosson, "A perceptual color space for image processing", 2020), in which equal
distances look equal. Blue and rust are distinguishable in all common kinds of colour blindness, and each scale is also
legible in grey.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from matplotlib.colors import to_rgb
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

STEPS = 512
# Ottosson (2020): linear sRGB to cone responses, and the cube roots of these to Oklab.
_CONES = np.array(
    [
        [0.4122214708, 0.5363325363, 0.0514459929],
        [0.2119034982, 0.6806995451, 0.1073969566],
        [0.0883024619, 0.2817188376, 0.6299787005],
    ]
)
_LAB = np.array(
    [
        [0.2104542553, 0.7936177850, -0.0040720468],
        [1.9779984951, -2.4285922050, 0.4505937099],
        [0.0259040371, 0.7827717662, -0.8086757660],
    ]
)


def to_oklab(colour: ArrayLike) -> Floats:
    """Return lightness and the two colour axes of sRGB colours between 0 and 1, on the last axis."""
    rgb = np.asarray(colour, dtype=float)
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((np.maximum(rgb, 0.0) + 0.055) / 1.055) ** 2.4)
    return np.asarray(np.cbrt(linear @ _CONES.T) @ _LAB.T)


def from_oklab(lab: ArrayLike) -> Floats:
    """Return the sRGB colours, clipped to the gamut of a screen.

    Examples
    --------
    >>> from_oklab(to_oklab([0.2, 0.4, 0.6])).round(6).tolist()
    [0.2, 0.4, 0.6]
    """
    linear = (np.asarray(lab, dtype=float) @ np.linalg.inv(_LAB).T) ** 3 @ np.linalg.inv(_CONES).T
    linear = np.clip(linear, 0.0, 1.0)
    return np.asarray(
        np.clip(np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055), 0.0, 1.0)
    )


# Ends of the scales: lightness, chroma and hue in degrees. Both arms of the signed scale have the same lightness at
# the same distance from zero.
_SIGNED = {"light": ((0.50, 0.105, 235.0), (0.50, 0.135, 42.0)), "dark": ((0.79, 0.105, 226.0), (0.79, 0.125, 52.0))}
_PLAIN = {"light": (0.42, 0.12, 315.0), "dark": (0.86, 0.09, 315.0)}
_MIDDLE = {"light": "#f7f4ec", "dark": "#1b1f26"}


def _polar(colour: tuple[float, float, float]) -> Floats:
    lightness, chroma, hue = colour
    return np.array([lightness, chroma * np.cos(np.radians(hue)), chroma * np.sin(np.radians(hue))])


@lru_cache(maxsize=8)
def scale_of(*, signed: bool, theme: str) -> Floats:
    """Return the colours of a scale from its lower to its upper end, shape (STEPS, 3), sRGB between 0 and 1.

    A signed scale runs from blue over the paper to rust; the other from the paper to plum.
    """
    middle = to_oklab(to_rgb(_MIDDLE[theme]))
    if signed:
        low, high = (_polar(end) for end in _SIGNED[theme])
        # An even number of steps: the middle lies between two of them, so that zero has the paper's colour.
        place = np.linspace(-1.0, 1.0, STEPS)[:, None]
        lab = middle + np.abs(place) * (np.where(place < 0, low, high) - middle)
    else:
        lab = middle + np.linspace(0.0, 1.0, STEPS)[:, None] * (_polar(_PLAIN[theme]) - middle)
    return from_oklab(lab)


def paint(values: NDArray[np.floating], limits: tuple[float, float], *, signed: bool, theme: str) -> NDArray[np.uint8]:
    """Return the colours of values as bytes, shape (..., 3); magnitudes by their square root."""
    table = np.rint(255.0 * scale_of(signed=signed, theme=theme)).astype(np.uint8)
    low, high = limits
    share = (values - low) / (high - low)
    place = (share if signed else root(share)) * (STEPS - 1) + 0.5
    index = np.clip(place, 0.0, STEPS - 1).astype(np.int16)
    return np.asarray(table[index])


def root(share: NDArray[np.floating]) -> NDArray[np.floating]:
    """Return the place of a magnitude on its scale, both between 0 and 1.

    The gas is many times faster at the edge than elsewhere: with the square root both are visible.
    """
    return np.asarray(np.sqrt(np.clip(share, 0.0, 1.0)))


def nice_limit(largest: float) -> float:
    """Return the next number of 1, 1.5, 2, 3, 5 or 7 times a power of ten that is not below.

    Examples
    --------
    >>> nice_limit(0.0487), nice_limit(0.5)
    (0.05, 0.5)
    """
    if not largest > 0.0:
        return 1.0
    power = 10.0 ** np.floor(np.log10(largest))
    steps = (1.0, 1.5, 2.0, 3.0, 5.0, 7.0, 10.0)
    return float(f"{power * next(s for s in steps if s * power >= largest * (1 - 1e-9)):.3g}")
