"""Checks of the kinetic solver that take too long for the tests: accuracy in space, edges, tables by their tools."""

from __future__ import annotations

import importlib.util
from importlib import resources
from types import ModuleType
from typing import Any

import numpy as np
from measured import ROOT, Row, row

from edgewind.kinetics import respond
from edgewind.kinetics.geometry import Room, Shape
from edgewind.kinetics.response import ORDER_CUT, coefficients
from edgewind.kinetics.solve import Case, Resolution, solve

NAMES = ("faces", "both", "motion")


def accuracy() -> list[Row]:
    """Compare a square to the accuracy asked for with a much finer solution."""
    asked = respond("square", 0.1, room=3.0, tolerance=5e-3, cache=False, workers=1)
    case = Case(Shape("square"), Room(3.0, 3.0, 3.0), 0.1)
    fine = coefficients(dict(zip(NAMES, solve(case, Resolution(0.75, 8, 6), NAMES), strict=True)))
    names = ("thermal_force", "heat_hot", "drag", "loss_hot")
    worst = max(abs(asked.values[name] / fine[name] - 1.0) for name in names)
    return [row("square at Kn 0.1, asked for 5e-3: greatest difference from a finer one", worst, "", "below 5e-3")]


def edges() -> list[Row]:
    """Compare two coarse levels of a disc, extrapolated, with two much finer ones: error of cut cells."""
    case = Case(Shape("disc"), Room(3.0, 3.0, 3.0), 0.2)

    def forces(refined: float) -> Any:
        faces, motion = solve(case, Resolution(0.4, 4, 3, refined=refined), ("faces", "motion"), tolerance=1e-3)
        return np.array([-faces.force, -motion.force, faces.mean("heat", 0)])

    coarse, middle, fine, finest = (forces(2.0 ** (0.5 * level)) for level in range(4))
    gained = 2.0 ** (0.5 * ORDER_CUT) - 1.0
    early, late = (middle - coarse) / gained, (finest - fine) / gained
    left = np.max(np.abs((middle + early) - (finest + late)) / np.abs(early))
    return [
        row("disc: error after extrapolation over its correction", float(left), "", "below 0.5"),
        row("disc: error by cut cells on the coarsest level", float(np.max(np.abs(coarse / (finest + late) - 1.0)))),
    ]


def tables(full: bool) -> list[Row]:
    """Recompute lines of the shipped tables of ratios by their tool, and compare them with those shipped."""
    tool = _tool()
    tool.KNUDSEN, tool.THICKNESSES = (0.1, 1.0, float("inf")), (0.1,)  # type: ignore[attr-defined]
    tool.FEWER = (0.1, float("inf"))  # type: ignore[attr-defined]

    def ask(questions: Any) -> list[dict[str, float]]:
        return [dict(respond(**one, cache=False).values) for one in questions]

    keys = {"accommodation": 2, "internal_energy": 1, "thickness": 3} | ({"chamber": 3, "wall_law": 2} if full else {})
    rows = []
    for name, count in keys.items():
        shipped = _numbers((resources.files("edgewind.kinetics") / f"{name}.csv").read_text().splitlines(), count)
        made = _numbers(tool.TABLES[name](ask), count)
        apart = max(float(np.max(np.abs(values - shipped[place]))) for place, values in made.items())
        rows.append(
            row(f"table of {name}: greatest difference of {len(made)} recomputed lines", apart, "", "below 1e-3")
        )
    return rows


def _tool() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_ratios", ROOT / "tools" / "make_ratios.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def _numbers(lines: list[str], keys: int) -> dict[tuple[float, ...], Any]:
    rows = [[float(cell) for cell in line.split(",")] for line in lines if line[0].isdigit()]
    return {tuple(one[:keys]): np.array(one[keys:]) for one in rows}


def run(full: bool) -> list[Row]:
    """Return the results of the checks."""
    return [*accuracy(), *edges(), *tables(full)]
