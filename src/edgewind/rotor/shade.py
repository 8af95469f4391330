"""Light on a rotor with mutual shading of its vanes, by rays over the turn."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from edgewind.bench.vane import VaneShape

Array = NDArray[np.float64]
_RAYS = 1 << 14
# Steps of an additive recurrence that fills four dimensions evenly: powers of the root of x^5 = x + 1; M. Roberts, The
# Unreasonable Effectiveness of Quasirandom Sequences (2018, a copy read).
_STEPS = 1.1673039782614187 ** -np.arange(1.0, 5.0)


@dataclass(frozen=True)
class TurnMeans:
    """Means over a turn and over one face, per unit irradiance on a vane that faces the light.

    Attributes
    ----------
    irradiance : float
        Light that a face receives.
    push : float
        Pressure of the light that arrives, times c, weighted by the lever arm over the arm.
    lever_irradiance : float
        Light that a face receives, weighted by the lever arm over the arm.
    open_share : float
        Light that a face receives over that of a lone vane.
    """

    irradiance: float
    push: float
    lever_irradiance: float
    open_share: float


@lru_cache(maxsize=256)
def turn_means(
    arrangement: str, vanes: int, arm_over_width: float, height_over_width: float = 1.0, shape: VaneShape = "rectangle"
) -> TurnMeans:
    """Return the light on a face of the rotor over a turn.

    A ray is followed from each point of a face towards the light; it is lost if another vane blocks it.
    Light that one vane reflects onto another is left out. A beam is parallel and across the axis; light from all sides
    comes evenly from every direction. A lone vane has ``irradiance`` 1/pi and ``push`` 1/4 in a beam, 1 and 2/3 all
    round.

    Parameters
    ----------
    arrangement : {"beam", "all-round"}
        Of the light.
    vanes : int
        Number of vanes, evenly spaced.
    arm_over_width : float
        Distance from the axis to the middle of a vane over its width.
    height_over_width : float
        Height of a vane over its width.
    shape : str
        Outline of a vane.

    Examples
    --------
    >>> lone = turn_means("beam", 1, 1.25)
    >>> round(lone.irradiance, 3), round(lone.push, 2)
    (0.318, 0.25)
    >>> round(turn_means("beam", 4, 1.25).open_share, 2)
    0.86
    """
    # Points of the face in units of the width, and the direction of the light: four numbers for each ray.
    draws = _grid(shape) if arrangement == "beam" else (0.5 + np.arange(1, _RAYS + 1)[:, None] * _STEPS) % 1.0
    offset, height = draws[:, 0] - 0.5, (draws[:, 1] - 0.5) * height_over_width
    on_vane = np.abs(height) <= _half_height(offset, shape, height_over_width)
    offset, height, draws = offset[on_vane], height[on_vane], draws[on_vane]
    radius = arm_over_width + offset
    # The vane stands along x at azimuth 0, its lit face looks to +y; `toward` points from the face to the light.
    if arrangement == "beam":
        turn = np.pi * draws[:, 2]  # the half of the turn in which this face looks to the light
        toward = np.stack([np.cos(turn), np.sin(turn), np.zeros_like(turn)])
        cosine = toward[1]
        weight, share = cosine, 0.5
    else:
        cosine = np.sqrt(draws[:, 2])  # evenly over the irradiance: Lambert's law
        across, round_it = np.sqrt(1 - draws[:, 2]), 2 * np.pi * draws[:, 3]
        toward = np.stack([across * np.cos(round_it), cosine, across * np.sin(round_it)])
        weight, share = np.ones_like(cosine), 1.0
    reaches = np.ones(radius.size, dtype=bool)
    for other in range(1, vanes):
        azimuth = 2 * np.pi * other / vanes
        reaches &= ~_meets(radius, height, toward, azimuth, arm_over_width, height_over_width, shape)
    light = share * weight * reaches
    lever = radius / arm_over_width
    return TurnMeans(
        float(np.mean(light)),
        float(np.mean(light * cosine * lever)),
        float(np.mean(light * lever)),
        float(np.sum(light) / np.sum(share * weight)),
    )


def _grid(shape: VaneShape) -> Array:
    """Return an even grid of offset, height and turn for a level beam, without the height for a rectangle."""
    middles = [(np.arange(count) + 0.5) / count for count in (48, 1 if shape == "rectangle" else 12, 360)]
    places = [axis.ravel() for axis in np.meshgrid(*middles, indexing="ij")]
    return np.stack([*places, np.zeros_like(places[0])], axis=1)


def _meets(
    radius: Array, height: Array, toward: Array, azimuth: float, arm: float, tall: float, shape: VaneShape
) -> NDArray[np.bool_]:
    """Return which rays from points at (radius, 0, height) meet the vane at an azimuth."""
    along = np.array([math.cos(azimuth), math.sin(azimuth)])
    normal = np.array([-along[1], along[0]])
    approach = normal[0] * toward[0] + normal[1] * toward[1]
    with np.errstate(divide="ignore", invalid="ignore"):
        distance = -radius * normal[0] / approach
        offset = (radius + distance * toward[0]) * along[0] + distance * toward[1] * along[1] - arm
        level = height + distance * toward[2]
        met = (distance > 0) & (np.abs(offset) <= 0.5)
        return np.asarray(met & (np.abs(level) <= _half_height(offset, shape, tall)))


def _half_height(offset: Array, shape: VaneShape, tall: float) -> Array:
    """Half of the height of a vane at an offset from its middle, in its own width."""
    if shape == "rectangle":
        return np.full(np.shape(offset), tall / 2)
    if shape == "disc":
        return np.asarray(np.sqrt(np.maximum(0.25 - offset**2, 0.0)))
    return np.asarray(np.maximum(0.5 - np.abs(offset), 0.0))  # diamond
