"""Computation of the shipped table of rotors: ``python tools/make_rotor_tables.py [OUT.csv] [--cluster tcp://HOST:8786]``.

Rotors of two and four square vanes are spread over the ranges of arm, chamber, height, Knudsen number and accommodation
by a fixed Sobol sequence; more of them, by the same sequence, over Kn 0.01 to 0.03. Processors, or the workers of a
Dask cluster, share the work, and each result is stored at once. `edgewind.kinetics.rotor_table` interpolates them by a
smooth surface. ``--held`` computes other, random rotors on a finer grid, to check the surface. ``--fit`` computes none;
it fits the lengths over which the surfaces change along each coordinate and writes them to
``rotor_surfaces.json`` beside the table.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Hashable, Mapping
from pathlib import Path

import numpy as np
import pandas as pd

import edgewind.kinetics
from edgewind.files import cache_folder
from edgewind.kinetics.rotor_entries import COUNT, HELD_SEED, compute, dense_entries, entries
from edgewind.kinetics.rotor_table import KEY, VANES, read_answers, surfaces_of
from edgewind.runner import KeptResults, open_runner

FILE = Path(edgewind.kinetics.__file__).with_name("rotor_tables.csv")


def place(line: Mapping[Hashable, object]) -> tuple[str, ...]:
    """Return the key of a line."""
    return tuple(f"{float(str(line[name])):.6g}" for name in KEY)


def fitted(table: Path) -> dict[str, dict[str, dict[str, object]]]:
    """Return lengths, scale and noise of the surfaces through a table, by number of vanes and coefficient."""
    data, found = read_answers(table), {}
    for vanes in VANES:
        lines = data[data["vanes"] == vanes]
        found[str(vanes)] = {
            name: {
                "lengths": [round(float(length), 4) for length in surface.lengths],
                "scale": round(surface.scale, 6),
                "noise": round(float(np.sqrt(np.min(surface.noise**2 - _known(lines, name) ** 2))), 6),
            }
            for name, surface in surfaces_of(lines).items()
        }
    return found


def _known(lines: pd.DataFrame, name: str) -> np.ndarray:
    return np.asarray(lines[f"{name}_error"].to_numpy(float) / lines[name].to_numpy(float))


def main() -> None:
    """Write the results to the named file, or to the package."""
    parser = argparse.ArgumentParser(description="Compute the shipped answers of rotors.")
    parser.add_argument("out", nargs="?", type=Path, default=FILE)
    parser.add_argument("--count", type=int, default=COUNT, help="number of rotors above Kn 0.03")
    parser.add_argument("--held", action="store_true", help="random rotors, one level finer")
    parser.add_argument("--fit", action="store_true", help="only fit the surfaces to the table")
    parser.add_argument("--device", default="auto", help="auto, cpu or gpu")
    parser.add_argument(
        "--card-from", type=int, default=5_000_000,
        help="smallest sweep, in updates, for the GPU that the workers share",
    )  # fmt: skip
    parser.add_argument("--cluster", help="Dask scheduler, tcp://host:8786; $EDGEWIND_CLUSTER")
    asked = parser.parse_args()
    if asked.fit:
        asked.out.with_name("rotor_surfaces.json").write_text(json.dumps(fitted(asked.out), indent=1) + "\n")
        return
    known: dict[tuple[str, ...], Mapping[Hashable, object]] = {}
    if asked.out.exists():
        known = {place(line): line for line in pd.read_csv(asked.out, comment="#", dtype=str).to_dict("records")}
    levels = (1, 2) if asked.held else (0, 1)
    wanted = list(entries(asked.count, seed=HELD_SEED)) if asked.held else [*entries(asked.count), *dense_entries()]
    pieces = [
        (entry, levels, asked.device, asked.card_from)
        for entry in wanted
        if place({name: getattr(entry, name) for name in KEY}) not in known
    ]

    def say(number: int, line: Mapping[Hashable, object]) -> None:
        print(number, *line.values(), file=sys.stderr, flush=True)

    with open_runner(asked.cluster) as runner:
        lines = runner.map(compute, pieces, keep=KeptResults(cache_folder() / "rotors"), on_result=say)
    known |= {place(line): line for line in lines}
    made = "python tools/make_rotor_tables.py" + (" --held" if asked.held else "")
    asked.out.write_text(f"# made by: {made}\n" + pd.DataFrame(list(known.values())).to_csv(index=False))


if __name__ == "__main__":
    main()
