"""Dense gas in space against finite elements: a square in a cube, a rotor of four in a box, a sphere as a cylinder."""

from __future__ import annotations

import importlib.util
from types import ModuleType

import numpy as np
from measured import TESTS, Row, row

from edgewind.kinetics import ResponseTable
from edgewind.kinetics.geometry import Shape
from edgewind.kinetics.rotor_grid import Rotor
from edgewind.kinetics.rotor_operator import RotorDrive
from edgewind.kinetics.rotor_solve import RotorCase, RotorResolution, solve_rotor

# Smallest element at the edges of a plate; in the plane 0.02 makes 0.12 % more drag than 0.001.
SMALLEST = 0.02


def _continuum() -> ModuleType:
    spec = importlib.util.spec_from_file_location("continuum", TESTS / "kinetics" / "continuum.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def square(continuum: ModuleType) -> list[Row]:
    """Compare the drag of the square's table in dense gas with Stokes flow with slip in the same cube."""
    table = ResponseTable.standard("square", room=4.0)
    kn = table.knudsen[:3]
    over = [float(table.drag(k)) / continuum.plate_drag((2.0, 2.0, 2.0), k, smallest=SMALLEST) for k in kn]
    return [
        row("square: drag over Stokes flow with slip, Kn 0.01", over[0]),
        row(
            "square: the same in the limit (parabola through three)", float(np.polyfit(kn, over, 2)[-1]), "", "1.000(5)"
        ),
    ]


def rotor(continuum: ModuleType) -> list[Row]:
    """Compare the drag of four vanes in a box, at two Knudsen numbers and in the limit."""
    shape, numbers, over = Rotor(Shape("square"), 4, 1.0, 4.0, 3.0), (0.02, 0.04), []
    flows = continuum.rotor_drag(1.0, 4.0, 3.0, numbers, smallest=2.5 * SMALLEST)
    for kn, flow in zip(numbers, flows, strict=True):
        (spin,) = solve_rotor(RotorCase(shape, kn), RotorResolution.level(0, kn), (RotorDrive(spin=1.0),))
        over.append(-spin.torque / flow)
    slope = (over[1] - over[0]) / (numbers[1] - numbers[0])
    return [
        row("four vanes: drag over Stokes flow with slip, Kn 0.02", over[0]),
        row("four vanes: the same in the limit (line through two)", over[0] - slope * numbers[0], "", "1.00(2)"),
    ]


def sphere(continuum: ModuleType) -> list[Row]:
    """Compare four vanes in a sphere with those in a cylinder as wide and as high, without slip at the wall."""
    half = 2.5
    about = {"smallest": 0.05, "most": 0.2}
    ball, upright = (
        continuum.rotor_drag(1.5, 2.0 * half, 2.0 * half, (0.01,), inside=inside, **about)[0]
        for inside in (
            lambda x: (x**2).sum(axis=0) < half**2,
            lambda x: (x[:2] ** 2).sum(axis=0) < half**2,
        )
    )
    return [row("sphere over cylinder, drag of four vanes in dense gas, less 1", ball / upright - 1.0)]


def run(full: bool) -> list[Row]:
    """Return the results of the comparisons; without `full` the square alone."""
    continuum = _continuum()
    return [*square(continuum), *([*rotor(continuum), *sphere(continuum)] if full else [])]
