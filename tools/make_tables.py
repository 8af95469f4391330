"""Computation of the shipped response tables: ``python tools/make_tables.py [OUT.csv] [--add] [--cluster tcp://HOST:8786]``.

Every entry is stored at once, so that an interrupted run resumes where it stopped; processors, or the workers of a Dask
cluster, share the entries. With ``--add`` only entries that are missing in the file are computed.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

import edgewind.kinetics
from edgewind.files import cache_folder
from edgewind.kinetics.response import respond_to
from edgewind.kinetics.result import Response
from edgewind.kinetics.table import COLUMNS
from edgewind.runner import KeptResults, open_runner

FILE = Path(edgewind.kinetics.__file__).with_name("tables.csv")
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
        Of both faces; the room re-emits diffusely.
    smallest : float
        First node.
    tolerance : float
        Relative error asked for.
    aspect : float
        Height over width of a rectangle.
    largest : float
        Upper limit, excluded; a curve to infinity has free flight as its last entry.
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
        """Nodes, and free flight."""
        nodes = [kn for kn in NODES.tolist() if 0.999 * self.smallest < kn < 0.999 * self.largest]
        return [*nodes, math.inf] if math.isinf(self.largest) else nodes


# Towards the continuum the work grows fast, fastest if an outline cuts cells: wider tolerance and range there.
DENSE, DENSEST = 0.1, 0.03
ACCOMMODATIONS = (1.0, 0.8, 0.6, 0.4, 0.2)
STANDARD = [
    *(Curve("strip", room, alpha, 0.01, 1e-3) for room in (4.0, 8.0) for alpha in ACCOMMODATIONS),
    *(Curve("square", 4.0, alpha, 0.01, 3e-3) for alpha in ACCOMMODATIONS),
    Curve("rectangle", 4.0, 1.0, 0.01, 3e-3, aspect=2.0),
    *(
        piece
        for shape in ("disc", "diamond")
        for alpha in ACCOMMODATIONS
        for piece in (
            Curve(shape, 4.0, alpha, DENSEST, 1e-2, largest=DENSE),
            Curve(shape, 4.0, alpha, DENSE, 3e-3),
        )
    ),
]
# Key columns of the table.
KEY = ("shape", "aspect", "room", "accommodation", "knudsen")


def row(answer: Response) -> dict[Hashable, object]:
    """Return one line of the table."""
    where = (answer.shape, answer.aspect, answer.room[0], answer.accommodation[0], f"{answer.knudsen:.10g}")
    line: dict[Hashable, object] = dict(zip(KEY, where, strict=True))
    for name in COLUMNS:
        line[name] = f"{answer.values[name]:.7g}"
    for name in COLUMNS:
        line[f"{name}_error"] = f"{answer.errors[name]:.2g}"
    return line


def question(curve: Curve, knudsen: float) -> dict[str, object]:
    """Return the case for the solver of one line."""
    alpha = curve.accommodation
    return {
        "shape": curve.shape,
        "knudsen": knudsen,
        "aspect": curve.aspect,
        "room": curve.room,
        "accommodation": {"hot": alpha, "cold": alpha, "room": 1.0},
        "tolerance": curve.tolerance,
        "workers": 1,
    }


def place(curve: Curve, knudsen: float) -> tuple[str, ...]:
    """Return the key of a line of the table, its Knudsen number to ten digits."""
    return curve.shape, *(f"{x:.10g}" for x in (curve.aspect, curve.room, curve.accommodation, knudsen))


def rows(held: pd.DataFrame | None = None, cluster: str | None = None) -> list[Mapping[Hashable, object]]:
    """Return all lines, curve by curve; lines in `held` are not computed. Dense gas, the slowest, comes first."""
    known: dict[tuple[str, ...], Mapping[Hashable, object]] = {}
    if held is not None:
        for line in held.to_dict("records"):
            known[(line["shape"], *(f"{float(line[name]):.10g}" for name in KEY[1:]))] = line
    entries = [
        (curve, knudsen) for curve in STANDARD for knudsen in curve.knudsen if place(curve, knudsen) not in known
    ]
    if entries:
        entries.sort(key=lambda one: one[1])

        def say(number: int, answer: Response) -> None:
            said = " ".join(place(*entries[number])) + f": {answer.seconds:.1f} s"
            print(said if answer.reached else said + ", not within tolerance", file=sys.stderr, flush=True)

        with open_runner(cluster) as runner:
            kept = KeptResults(cache_folder() / "tables")
            pieces = [(question(*one),) for one in entries]
            answers = runner.map(respond_to, pieces, keep=kept, on_result=say)
        known |= {place(*one): row(answer) for one, answer in zip(entries, answers, strict=True)}
    return [known[place(curve, knudsen)] for curve in STANDARD for knudsen in sorted(curve.knudsen)]


def main() -> None:
    """Write the tables to the named file, or to the package."""
    parser = argparse.ArgumentParser(description="Compute the shipped response tables.")
    parser.add_argument("out", nargs="?", type=Path, default=FILE)
    parser.add_argument("--add", action="store_true", help="keep the lines that the file holds")
    parser.add_argument("--cluster", help="Dask scheduler, tcp://host:8786; $EDGEWIND_CLUSTER")
    asked = parser.parse_args()
    held = pd.read_csv(asked.out, comment="#", dtype=str) if asked.add and asked.out.exists() else None
    head = "# made by: python tools/make_tables.py\n"
    asked.out.write_text(head + pd.DataFrame(rows(held, asked.cluster)).to_csv(index=False))


if __name__ == "__main__":
    main()
