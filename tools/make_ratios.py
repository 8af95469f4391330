"""Computation of a shipped table of ratios: ``python tools/make_ratios.py NAME [OUT.csv]``.

NAME is thickness, chamber, accommodation, wall_law, unequal_wall_law or internal_energy.

All are of a strip in a room of four widths, but for `internal_energy`, of a square in a cube as wide. `thickness` and
`chamber` give logarithms of the ratio of each coefficient to that of the thin strip, or to that in a room that re-emits
diffusely; `accommodation` gives the factors of `edgewind.kinetics.accommodation`; `wall_law` compares faces of
Cercignani and Lampis with Maxwell's of the same accommodation of energy, `unequal_wall_law` the force of faces that
differ in it, and `internal_energy` nitrogen with a monatomic gas. Thirteen minutes of one processor for `thickness`,
two or less for each of the others; processors share the work.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import edgewind.kinetics
from edgewind.kinetics import NITROGEN, CercignaniLampis
from edgewind.kinetics.response import respond_to
from edgewind.kinetics.table import NAMES
from edgewind.runner import open_runner

Floats = NDArray[np.float64]

FOLDER = Path(edgewind.kinetics.__file__).parent
KNUDSEN = (0.01, 0.0178, 0.03, 0.056, 0.1, 0.178, 0.3, 0.56, 1.0, 1.78, 3.0, 5.6, 10.0, 30.0, 100.0, math.inf)
FEWER = (0.0178, 0.03, 0.05, 0.1, 0.178, 0.3, 0.56, 1.0, 1.78, 3.0, 5.6, 10.0, 30.0, 100.0, math.inf)
THICKNESSES = (0.02, 0.05, 0.1, 0.2, 0.5)
OF_THICK = (0.2, 0.5, 1.0)  # accommodations
# Difference in accommodation: force and heat are odd in it, so that the error of the quotient is of second order.
APART = 0.05

Ask = Callable[[Iterable[dict[str, object]]], list[dict[str, float]]]


def question(knudsen: float, walls: tuple[float, float, float], tolerance: float, **more: object) -> dict[str, object]:
    """Return the case for the solver: accommodation of hot face, cold face and room."""
    accommodation = dict(zip(("hot", "cold", "room"), walls, strict=True))
    about = {"shape": "strip", "room": 4.0, "workers": 1, "tolerance": tolerance, "accommodation": accommodation}
    return about | {"knudsen": knudsen} | more


def ratio(of: dict[str, float], to: dict[str, float]) -> str:
    """Return the logarithms of the ratios, as in the table."""
    return ",".join(f"{math.log(of[name] / to[name]):.5f}" for name in NAMES)


def thickness(ask: Ask) -> list[str]:
    """Return the lines over accommodation, thickness and Knudsen number."""
    places = [(a, t, kn) for a in OF_THICK for t in (0.0, *THICKNESSES) for kn in KNUDSEN]
    found = dict(zip(places, ask(question(kn, (a, a, 1.0), 1e-3, thickness=t) for a, t, kn in places), strict=True))
    lines = [f"{a},{t},{kn},{ratio(found[a, t, kn], found[a, 0.0, kn])}" for a, t, kn in places if t]
    return [f"accommodation,thickness,knudsen,{','.join(NAMES)}", *lines]


def chamber(ask: Ask) -> list[str]:
    """Return the lines over accommodation of the vane, of the chamber, and Knudsen number."""
    numbers = (0.03, 0.1, 0.3, 1.0, 3.0, 10.0, math.inf)
    # With mostly specular walls angular errors and work are large: the tolerance is wider there.
    tolerances = {0.2: 3e-2, 0.5: 5e-3, 1.0: 1e-3}
    places = [(a, c, kn) for a in (0.2, 0.6, 1.0) for c in tolerances for kn in numbers]
    found = dict(zip(places, ask(question(kn, (a, a, c), tolerances[c]) for a, c, kn in places), strict=True))
    lines = [f"{a},{c},{kn},{ratio(found[a, c, kn], found[a, 1.0, kn])}" for a, c, kn in places if c < 1.0]
    return [f"accommodation,chamber,knudsen,{','.join(NAMES)}", *lines]


def accommodation(ask: Ask) -> list[str]:
    """Return the lines over mean accommodation and Knudsen number: factors of force and heat over the simple law."""
    half = 0.5 * APART
    # No face accommodates more than fully: the last mean is less by half of the difference, and 1 is extrapolated.
    means = (0.2, 0.4, 0.6, 0.8, 1.0 - half)
    places = [(m, kn) for m in means for kn in FEWER]
    even = ask(question(kn, (m, m, 1.0), 4e-3) for m, kn in places)
    apart = ask(question(kn, (m + half, m - half, 1.0), 4e-3) for m, kn in places)
    found = {}
    for (m, kn), like, unlike in zip(places, even, apart, strict=True):
        force = -unlike["loss_force"] / APART
        heat = 0.5 * (unlike["loss_hot"] - unlike["loss_cold"]) / APART
        simple = math.sqrt(math.pi) * like["loss_hot"] / m**2
        found[m, kn] = np.array([force / (like["thermal_force"] * simple), heat / (like["heat_hot"] * simple)])
    lines = []
    for a in (0.2, 0.4, 0.6, 0.8, 1.0):
        for kn in FEWER[:-1]:
            if a < 1.0:
                force, heat = found[a, kn] / found[a, math.inf]
            else:
                last, before = (found[m, kn] / found[m, math.inf] for m in (1.0 - half, 0.8))
                force, heat = last + (last - before) * half / (0.2 - half)
            # In free flight both are 1, except for the sum over angles.
            lines.append(f"{a},{kn},{force:.4f},{heat:.4f}")
    return ["accommodation,knudsen,force,heat", *lines]


def wall_law(ask: Ask) -> list[str]:
    """Return the lines over accommodation and Knudsen number: faces of Cercignani and Lampis over Maxwell's.

    Both accommodate the same share a of the energy, and those of Cercignani and Lampis also of the momentum along them;
    so that of the energy of the normal motion is ``a^2``.
    """
    numbers = (0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, math.inf)
    places = [(a, kn) for a in (0.5, 0.7, 0.9) for kn in numbers]
    maxwell = ask(question(kn, (a, a, 1.0), 2e-3) for a, kn in places)
    laws = {a: CercignaniLampis(a, round(a * a, 6)) for a, _ in places}
    other = ask(
        question(kn, (1.0, 1.0, 1.0), 2e-3) | {"accommodation": {"hot": laws[a], "cold": laws[a]}} for a, kn in places
    )
    lines = [f"{a},{kn},{ratio(b, m)}" for (a, kn), m, b in zip(places, maxwell, other, strict=True)]
    return [f"accommodation,knudsen,{','.join(NAMES)}", *lines]


def unequal_wall_law(ask: Ask) -> list[str]:
    """Return the lines over mean accommodation, kind of difference and Knudsen number: unlike faces, both laws.

    The faces differ by `APART` in the accommodation of energy: those of Cercignani and Lampis in that of the normal
    motion alone, or in that and in that of the momentum along the wall. Given are the logarithms of the force on the
    warm vane, and of that force over the thermal force of equal faces, each over Maxwell's, and each over its value in
    free flight: what they are there is part of an unknown difference of accommodations.
    """
    numbers = (0.05, 0.1, 0.3, 1.0, 10.0, math.inf)
    half = 0.5 * APART

    def both(a: float) -> CercignaniLampis:
        return CercignaniLampis(round(a, 6), round(a * a, 6))

    def faces(a: float, differ: str) -> tuple[float | CercignaniLampis, float | CercignaniLampis]:
        if differ == "maxwell":
            return a + half, a - half
        if differ == "both":
            return both(a + half), both(a - half)
        # The energy of the normal motion is half of it.
        hot, cold = (CercignaniLampis(a, round(a * a + 2.0 * side, 6)) for side in (half, -half))
        return hot, cold

    laws = ("maxwell", "normal", "both")
    places = [(a, kn) for a in (0.4, 0.55, 0.7, 0.9, 0.97) for kn in numbers]
    unlike = [(differ, *place) for differ in laws for place in places]
    like = [(law, *place) for law in ("maxwell", "lampis") for place in places]
    found = ask(
        question(kn, (1.0, 1.0, 1.0), 2e-3) | {"accommodation": dict(zip(("hot", "cold"), walls, strict=True))}
        for kn, walls in (
            *((kn, faces(a, differ)) for differ, a, kn in unlike),
            *((kn, (a, a) if law == "maxwell" else (both(a), both(a))) for law, a, kn in like),
        )
    )
    force = {place: -one["loss_force"] for place, one in zip(unlike, found, strict=False)}
    thermal = {place: one["thermal_force"] for place, one in zip(like, found[len(unlike) :], strict=True)}

    def over_maxwell(differ: str, a: float, kn: float) -> Floats:
        of_force = force[differ, a, kn] / force["maxwell", a, kn]
        return np.log([of_force, of_force / thermal["lampis", a, kn] * thermal["maxwell", a, kn]])

    lines = []
    for differ, a, kn in unlike:
        if differ != "maxwell" and kn < math.inf:
            of_force, over_thermal = over_maxwell(differ, a, kn) - over_maxwell(differ, a, math.inf)
            lines.append(f"{a},{differ},{kn},{of_force:.4f},{over_thermal:.4f}")
    return ["accommodation,differ,knudsen,force,over_thermal_force", *lines]


def internal_energy(ask: Ask) -> list[str]:
    """Return the lines over Knudsen number: nitrogen over a monatomic gas of the same viscosity."""
    numbers = (0.0178, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, math.inf)
    full = (1.0, 1.0, 1.0)
    # On one grid and one set of velocities ratios are much more accurate than coefficients.
    monatomic = ask(question(kn, full, 1e-2, shape="square") for kn in numbers)
    nitrogen = ask(question(kn, full, 1e-2, shape="square", inner=NITROGEN) for kn in numbers)
    lines = [f"{kn},{ratio(b, m)}" for kn, m, b in zip(numbers, monatomic, nitrogen, strict=True)]
    return [f"knudsen,{','.join(NAMES)}", *lines]


TABLES = {
    "thickness": thickness,
    "chamber": chamber,
    "accommodation": accommodation,
    "wall_law": wall_law,
    "unequal_wall_law": unequal_wall_law,
    "internal_energy": internal_energy,
}


def main() -> None:
    """Write the named table to the package, or to the named file."""
    parser = argparse.ArgumentParser(description="Compute a shipped table of ratios.")
    parser.add_argument("table", choices=list(TABLES))
    parser.add_argument("out", nargs="?", type=Path)
    parser.add_argument("--cluster", help="Dask scheduler, tcp://host:8786; $EDGEWIND_CLUSTER")
    asked = parser.parse_args()
    with open_runner(asked.cluster) as runner:

        def ask(questions: Iterable[dict[str, object]]) -> list[dict[str, float]]:
            return [dict(answer.values) for answer in runner.map(respond_to, [(one,) for one in questions])]

        lines = TABLES[asked.table](ask)
    out = asked.out or FOLDER / f"{asked.table}.csv"
    out.write_text("\n".join([f"# made by: python tools/make_ratios.py {asked.table}", *lines]) + "\n")


if __name__ == "__main__":
    main()
