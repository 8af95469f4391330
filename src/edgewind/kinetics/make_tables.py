"""Compute the shipped response tables: ``python -m edgewind.kinetics.make_tables [OUT.csv]``.

What was computed before is found in the cache, so that an interrupted run goes on where it stopped.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

from edgewind.kinetics.response import respond
from edgewind.kinetics.result import Response
from edgewind.kinetics.table import NAMES

# Shape, room, accommodation of all walls, smallest Knudsen number, number of nodes up to 100, tolerance.
STANDARD = [
    ("strip", 4.0, 1.0, 0.01, 33, 1e-3),
    ("strip", 8.0, 1.0, 0.01, 33, 1e-3),
    ("square", 4.0, 1.0, 0.03, 25, 3e-3),
    ("strip", 4.0, 0.8, 0.01, 33, 1e-3),
    ("strip", 4.0, 0.6, 0.01, 33, 1e-3),
    ("disc", 4.0, 1.0, 0.1, 19, 5e-3),
    ("diamond", 4.0, 1.0, 0.1, 19, 5e-3),
]


def row(answer: Response) -> dict[str, object]:
    """One line of the table."""
    about = {"shape": answer.shape, "room": answer.room[0], "accommodation": answer.accommodation[0]}
    values = {name: f"{answer.values[name]:.7g}" for name in NAMES}
    errors = {f"{name}_error": f"{answer.errors[name]:.2g}" for name in NAMES}
    return {**about, "knudsen": f"{answer.knudsen:.10g}", **values, **errors}


def rows() -> Iterator[dict[str, object]]:
    """All lines, with a word on standard error for each."""
    for shape, room, accommodation, smallest, count, tolerance in STANDARD:
        for knudsen in [*np.geomspace(smallest, 100.0, count).tolist(), math.inf]:
            answer = respond(shape, knudsen, room=room, accommodation=accommodation, tolerance=tolerance)
            print(
                f"{shape} {room:g} {accommodation:g} Kn {knudsen:.4g}: {answer.seconds:.1f} s"
                + ("" if answer.reached else ", not within tolerance"),
                file=sys.stderr,
            )
            yield row(answer)


def main() -> None:
    """Write the tables to the file named, or to the package."""
    out = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).with_name("tables.csv")
    table = pd.DataFrame(rows())
    head = "# made by: python -m edgewind.kinetics.make_tables\n"
    out.write_text(head + table.to_csv(index=False))


if __name__ == "__main__":
    main()
