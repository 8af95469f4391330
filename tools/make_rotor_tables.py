"""Compute the response table that the rotor ships with: ``python tools/make_rotor_tables.py``.

An infinite strip in the middle of a closed square room, three accommodations of all walls, to 3e-3, with the split of
the thermal force into area and edge from the stress along the face. Takes some minutes on one core.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from edgewind.kinetics import Response, respond
from edgewind.rotor import area_share, dataset_of

OUT = Path(__file__).parents[1] / "src" / "edgewind" / "rotor" / "tables" / "strip.nc"
ROOMS, ACCOMMODATIONS, TOLERANCE = (4.0, 8.0), (1.0, 0.8, 0.6), 3e-3
KNUDSEN = (
    math.inf, 100, 50, 30, 20, 14, 10, 7, 5, 3.5, 2.5, 1.8, 1.3, 1.0, 0.75, 0.55, 0.4, 0.3, 0.22, 0.16, 0.12, 0.085,
    0.06, 0.042, 0.03, 0.021, 0.015, 0.01,
)  # fmt: skip


def share_of(answer: Response) -> float:
    """Split of the thermal force from the stress along the face."""
    solution = answer.solutions["faces"]
    edges = solution.grid.across[0]
    on_vane = solution.grid.cover > 0
    weight = (np.diff(edges) * solution.grid.cover)[on_vane]
    return area_share(np.asarray(solution.loads[0].pressure)[on_vane], weight)


def main() -> None:
    """Compute every case and write the table."""
    answers, shares = [], []
    for room in ROOMS:
        for alpha in ACCOMMODATIONS:
            for kn in KNUDSEN:
                answer = respond("strip", kn, room=room, accommodation=alpha, tolerance=TOLERANCE, fields=True)
                answers.append(answer)
                shares.append(share_of(answer))
                print(f"room {room:g}, accommodation {alpha:g}, Kn {kn:g}: {answer.seconds:.1f} s", flush=True)
    source = (
        "edgewind.kinetics: infinite strip in the middle of a closed square room, Shakhov model, Maxwell walls of one "
        "accommodation, tolerance 3e-3 (tools/make_rotor_tables.py)"
    )
    OUT.parent.mkdir(exist_ok=True)
    dataset_of(answers, shares, source=source).to_netcdf(OUT, engine="scipy")


if __name__ == "__main__":
    main()
