"""Compute the shipped response tables: ``python -m edgewind.kinetics.make_tables [OUT.csv]``.

Every entry goes to the cache as soon as it is there, so that an interrupted run goes on where it stopped; processors
share the entries between them. With ``--add`` only what the file does not hold yet is computed.
"""

from __future__ import annotations

import argparse
import math
import os
import sys
from collections.abc import Hashable, Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from edgewind.kinetics.response import respond
from edgewind.kinetics.result import Response
from edgewind.kinetics.table import COLUMNS

# Knudsen numbers of all curves, evenly spaced in the logarithm.
NODES = np.geomspace(0.01, 100.0, 33)


@dataclass(frozen=True)
class Curve:
    """One curve of the tables, or a piece of one.

    Parameters
    ----------
    shape : str
        Shape of the vane.
    room : float
        Sides of the room over the width of the vane.
    accommodation : float
        Of all walls.
    smallest : float
        Node it begins at.
    tolerance : float
        Relative error asked for.
    aspect : float
        Height over width of a rectangle.
    largest : float
        It ends before this; a curve that goes on to infinity has free flight as its last entry.
    """

    shape: str
    room: float
    accommodation: float
    smallest: float
    tolerance: float
    aspect: float = 1.0
    largest: float = math.inf

    @property
    def knudsen(self) -> list[float]:
        """Its nodes, and free flight."""
        nodes = [kn for kn in NODES.tolist() if 0.999 * self.smallest < kn < 0.999 * self.largest]
        return [*nodes, math.inf] if math.isinf(self.largest) else nodes


# Towards the continuum the work grows fast, fastest where an outline cuts cells: there less is asked, and not so far.
DENSE, DENSEST = 0.1, 0.03
STANDARD = [
    *(Curve("strip", room, alpha, 0.01, 1e-3) for room in (4.0, 8.0) for alpha in (1.0, 0.8, 0.6)),
    *(Curve("square", 4.0, alpha, 0.01, 3e-3) for alpha in (1.0, 0.8, 0.6)),
    Curve("rectangle", 4.0, 1.0, 0.01, 3e-3, aspect=2.0),
    *(
        piece
        for shape in ("disc", "diamond")
        for alpha in (1.0, 0.8, 0.6)
        for piece in (
            Curve(shape, 4.0, alpha, DENSEST, 1e-2, largest=DENSE),
            Curve(shape, 4.0, alpha, DENSE, 3e-3),
        )
    ),
]
# What tells the lines of the table apart.
KEY = ("shape", "aspect", "room", "accommodation", "knudsen")


def row(answer: Response) -> dict[Hashable, object]:
    """One line of the table."""
    where = (answer.shape, answer.aspect, answer.room[0], answer.accommodation[0], f"{answer.knudsen:.10g}")
    line: dict[Hashable, object] = dict(zip(KEY, where, strict=True))
    for name in COLUMNS:
        line[name] = f"{answer.values[name]:.7g}"
    for name in COLUMNS:
        line[f"{name}_error"] = f"{answer.errors[name]:.2g}"
    return line


def entry(curve: Curve, knudsen: float) -> Response:
    """Compute one line, or find it in the cache; with a word on standard error."""
    answer = respond(
        curve.shape,
        knudsen,
        aspect=curve.aspect,
        room=curve.room,
        accommodation=curve.accommodation,
        tolerance=curve.tolerance,
        workers=1,
    )
    said = " ".join(place(curve, knudsen)) + f": {answer.seconds:.1f} s"
    print(said if answer.reached else said + ", not within tolerance", file=sys.stderr, flush=True)
    return answer


def place(curve: Curve, knudsen: float) -> tuple[str, ...]:
    """Return what tells a line of the table apart, its Knudsen number to ten digits."""
    return curve.shape, *(f"{x:.10g}" for x in (curve.aspect, curve.room, curve.accommodation, knudsen))


def rows(held: pd.DataFrame | None = None) -> list[Mapping[Hashable, object]]:
    """All lines, curve by curve; those that `held` has are not computed. The free gas, which takes least, is first."""
    known: dict[tuple[str, ...], Mapping[Hashable, object]] = {}
    if held is not None:
        for line in held.to_dict("records"):
            known[(line["shape"], *(f"{float(line[name]):.10g}" for name in KEY[1:]))] = line
    entries = [
        (curve, knudsen)
        for curve in STANDARD
        for knudsen in reversed(curve.knudsen)
        if place(curve, knudsen) not in known
    ]
    if entries:
        with ProcessPoolExecutor(os.cpu_count() or 1) as pool:
            answers = pool.map(entry, *zip(*entries, strict=True))
            known |= {place(*one): row(answer) for one, answer in zip(entries, answers, strict=True)}
    return [known[place(curve, knudsen)] for curve in STANDARD for knudsen in curve.knudsen]


def main() -> None:
    """Write the tables to the file named, or to the package."""
    asked = argparse.ArgumentParser(description="Compute the shipped response tables.")
    asked.add_argument("out", nargs="?", type=Path, default=Path(__file__).with_name("tables.csv"))
    asked.add_argument("--add", action="store_true", help="keep the lines that the file holds")
    told = asked.parse_args()
    held = pd.read_csv(told.out, comment="#", dtype=str) if told.add and told.out.exists() else None
    head = "# made by: python -m edgewind.kinetics.make_tables\n"
    told.out.write_text(head + pd.DataFrame(rows(held)).to_csv(index=False))


if __name__ == "__main__":
    main()
