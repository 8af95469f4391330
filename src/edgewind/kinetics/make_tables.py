"""Compute the shipped response tables: ``python -m edgewind.kinetics.make_tables [OUT.csv]``.

Every entry goes to the cache as soon as it is there, so that an interrupted run goes on where it stopped; processors
share the entries between them.
"""

from __future__ import annotations

import math
import os
import sys
from collections.abc import Iterator
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
    """One curve of the tables.

    Parameters
    ----------
    shape : str
        Shape of the vane.
    room : float
        Sides of the room over the width of the vane.
    accommodation : float
        Of all walls.
    smallest : float
        Node it begins at; towards the continuum, in space, the work grows fast.
    tolerance : float
        Relative error asked for.
    """

    shape: str
    room: float
    accommodation: float
    smallest: float
    tolerance: float

    @property
    def knudsen(self) -> list[float]:
        """Its nodes, and free flight."""
        return [*NODES[0.999 * self.smallest < NODES].tolist(), math.inf]


STANDARD = [
    Curve("strip", 4.0, 1.0, 0.01, 1e-3),
    Curve("strip", 4.0, 0.8, 0.01, 1e-3),
    Curve("strip", 4.0, 0.6, 0.01, 1e-3),
    Curve("strip", 8.0, 1.0, 0.01, 1e-3),
    Curve("square", 4.0, 1.0, 0.01, 3e-3),
    Curve("square", 4.0, 0.8, 0.0316, 3e-3),
    Curve("disc", 4.0, 1.0, 0.1, 3e-3),
    Curve("diamond", 4.0, 1.0, 0.1, 3e-3),
]


def row(answer: Response) -> dict[str, object]:
    """One line of the table."""
    about = {"shape": answer.shape, "room": answer.room[0], "accommodation": answer.accommodation[0]}
    values = {name: f"{answer.values[name]:.7g}" for name in COLUMNS}
    errors = {f"{name}_error": f"{answer.errors[name]:.2g}" for name in COLUMNS}
    return {**about, "knudsen": f"{answer.knudsen:.10g}", **values, **errors}


def entry(curve: Curve, knudsen: float) -> Response:
    """Compute one line, or find it in the cache; with a word on standard error."""
    answer = respond(
        curve.shape,
        knudsen,
        room=curve.room,
        accommodation=curve.accommodation,
        tolerance=curve.tolerance,
        workers=1,
    )
    print(
        f"{curve.shape} {curve.room:g} {curve.accommodation:g} Kn {knudsen:.4g}: {answer.seconds:.1f} s"
        + ("" if answer.reached else ", not within tolerance"),
        file=sys.stderr,
        flush=True,
    )
    return answer


def rows() -> Iterator[dict[str, object]]:
    """All lines, curve by curve; within one, the free gas first, which takes least."""
    entries = [(curve, knudsen) for curve in STANDARD for knudsen in reversed(curve.knudsen)]
    with ProcessPoolExecutor(os.cpu_count() or 1) as pool:
        answers = list(pool.map(entry, *zip(*entries, strict=True)))
    place = dict(zip(entries, answers, strict=True))
    for curve in STANDARD:
        for knudsen in curve.knudsen:
            yield row(place[curve, knudsen])


def main() -> None:
    """Write the tables to the file named, or to the package."""
    out = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).with_name("tables.csv")
    table = pd.DataFrame(rows())
    head = "# made by: python -m edgewind.kinetics.make_tables\n"
    out.write_text(head + table.to_csv(index=False))


if __name__ == "__main__":
    main()
