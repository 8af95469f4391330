"""Invented sweeps of several shapes, each with its true place of greatest speed, for the study of the optimum.

None is made by the family that the curve assumes: the two rotors of the example `two-rotors`, remade with other
scatter; random invented rotors; and powers of pressure on either side that are joined broadly, sharply or with
unequal powers. The gauge's common error, which no curve can show, is left out.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
from scipy.optimize import minimize_scalar

from edgewind.evidence.sweep_data import Array, SweepData
from edgewind.virtual.hidden_rotor import BenchConditions, HiddenRotor
from edgewind.virtual.invented_sweeps import draw_rotor

sys.path.append(str(Path(__file__).parent.parent / "examples"))
import make_two_rotors

Curve = Callable[[Array], Array]

SHAPES = ("rotor", "broad", "sharp", "skewed")
COUNTS = (14, 24, 40)
CLASSES = ("example SMALL", "example LARGE", *(f"{shape} {count}" for shape in SHAPES for count in COUNTS))
# Exponents of rise and fall, and sharpness of their transition, each drawn evenly between these.
_JOINED = {
    "broad": ((0.5, 1.2), (0.5, 1.2), (0.3, 0.6)),
    "sharp": ((0.3, 1.2), (0.3, 1.2), (1.5, 3.0)),
    "skewed": ((0.15, 0.35), (0.8, 1.3), (0.5, 1.5)),
}
_REACH = np.log(20.0)  # from the middle of a sweep to either end, in ln(pressure)
_HIGHEST_END = 0.85  # over the maximum; with higher ends the maximum is hardly visible


def _speed_of(rotor: HiddenRotor) -> Curve:
    return lambda x: np.abs(rotor.steady_speed(BenchConditions(np.exp(x), 1.0, 295.15)))


def _joined(rise: float, fall: float, sharpness: float) -> Curve:
    """Return (x^-rise·s + x^fall·s)^(-1/s) over ln x, with the sharpness s."""
    return lambda x: np.exp(-np.logaddexp(-rise * sharpness * x, fall * sharpness * x) / sharpness)


def _top(curve: Curve, low: float, high: float) -> float | None:
    """Return the place of the maximum; None if it is at an end."""
    grid = np.linspace(low, high, 400)
    at = int(np.argmax(curve(grid)))
    if at in (0, grid.size - 1):
        return None
    bounds = (grid[at - 1], grid[at + 1])
    best = minimize_scalar(lambda x: -curve(np.array([x]))[0], bounds=bounds, method="bounded", options={"xatol": 1e-6})
    return float(best.x)


@cache
def _example_truth(name: str) -> tuple[Curve, float]:
    curve = _speed_of(make_two_rotors.rotor(getattr(make_two_rotors, name)))
    top = _top(curve, np.log(0.02), np.log(20.0))
    assert top is not None
    return curve, top


def _gentler_side(curve: Curve, top: float) -> float:
    """Return the sign of the side of the maximum on which the curve falls less."""
    below, above = curve(top + np.array([-1.0, 1.0]))
    return float(np.sign(above - below))


def remade_example(name: str, random: np.random.Generator) -> tuple[SweepData, float, float]:
    """Take new readings of one of the example's rotors: its pressures, gauge noise and scatter."""
    curve, top = _example_truth(name)
    targets = np.log(np.geomspace(0.02, 20.0, 17))
    place = np.concatenate([targets, targets[::-1] + np.log(1.12)]) + 0.03 * random.standard_normal(34)
    speed = curve(place) * (1 + make_two_rotors.SPEED_SCATTER * random.standard_normal(34))
    u = make_two_rotors.GAUGE_NOISE_V * np.log(10.0) / make_two_rotors.VOLTS_PER_DECADE
    shown = np.exp(place + u * random.standard_normal(34))
    # The uncertainty of a speed by its trace alone; the scatter is not stated.
    return SweepData(shown, np.full(34, u), speed, np.full(34, 1.2e-4)), top, _gentler_side(curve, top)


# Sweeps that scatter by far more than they state, by their pressures, and the place of their maximum, ln(p / Pa).
SCATTERED_DESIGNS = (
    "14 single",
    "7 pairs",
    "14 pairs",
    "12 pairs set anew",
    "14 and 4 more at one",
    "12 up, 12 down",
)
SCATTERED_TOP = float(np.log(2.0))


def scattered_sweep(design: str, noise: float, seed: int) -> SweepData:
    """Return readings of 4 / cosh(ln(p / 2 Pa) / 1.5) that scatter by `noise`, in part log-normally, stated as 2 %."""
    random = np.random.default_rng([seed, int(1000 * noise), SCATTERED_DESIGNS.index(design), 6])
    count = int(next(word for word in design.replace(",", "").split() if word.isdigit()))
    place = np.linspace(np.log(0.06), np.log(20.0), count)
    if "pairs" in design:
        place = np.repeat(place, 2)
        place += 0.01 * random.standard_normal(place.size) * ("anew" in design)
    elif "more" in design:
        place = np.append(place, np.full(4, place[random.integers(count)]))
    elif "down" in design:
        place = np.append(place, place[::-1])
    normal = random.standard_normal(place.size)
    factor = 1 + noise * normal if seed % 2 else np.exp(noise * normal)
    speed = np.abs(4 / np.cosh((place - SCATTERED_TOP) / 1.5) * factor)
    return SweepData(np.exp(place), np.full(place.size, 0.03), speed, 0.02 * speed + 0.01)


def sweep_of(name: str, seed: int) -> tuple[SweepData, float, float]:
    """Return the readings of one sweep of a class, the true ln(pressure / Pa) of greatest speed, and its gentler side.

    The side is 1 where the curve falls less towards high pressures, -1 where it falls less towards low ones.

    Speeds scatter by 0.5 to 3 %, and every other time this is not stated; pressures by 1 %.
    """
    random = np.random.default_rng([seed, CLASSES.index(name), 5])
    shape, what = name.split()
    if shape == "example":
        return remade_example(what, random)
    while True:
        if shape == "rotor":
            curve = _speed_of(draw_rotor(random))
            top = _top(curve, np.log(0.03), np.log(20.0))
        else:
            rise, fall, sharpness = (random.uniform(*ends) for ends in _JOINED[shape])
            if shape == "skewed" and random.random() < 0.5:
                rise, fall = fall, rise
            curve = _joined(rise, fall, sharpness)
            top = _top(curve, -6.0, 6.0)
        if top is None:
            continue
        middle = top + random.uniform(-0.7, 0.7)
        low, high = middle - _REACH, middle + _REACH
        if curve(np.array([low, high])).max() < _HIGHEST_END * curve(np.array([top]))[0]:
            break
    count = int(what)
    place = np.linspace(low, high, count) + 0.03 * random.standard_normal(count)
    scatter = float(np.exp(random.uniform(np.log(0.005), np.log(0.03))))
    speed = curve(place) * (1 + scatter * random.standard_normal(count))
    least = 2e-4 * speed.max()
    u = np.maximum(scatter * speed, least) if random.random() < 0.5 else np.full(count, 0.5 * least)
    shown = np.exp(place + 0.01 * random.standard_normal(count))
    return SweepData(shown, np.full(count, 0.01), speed, u), top, _gentler_side(curve, top)
