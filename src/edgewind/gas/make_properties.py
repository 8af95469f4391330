"""Make the file of viscosities and conductivities anew, from CoolProp: ``python -m edgewind.gas.make_properties``."""

from __future__ import annotations

import csv
import itertools
import sys
from importlib.metadata import version
from pathlib import Path

import numpy as np
from CoolProp.CoolProp import PropsSI
from numpy.typing import ArrayLike, NDArray

from edgewind.gas.dilute import COLUMNS, FILE
from edgewind.gas.species import all_species

# What CoolProp calls the gases that it knows.
FLUIDS = {
    "N2": "Nitrogen",
    "O2": "Oxygen",
    "Ar": "Argon",
    "He": "Helium",
    "H2": "Hydrogen",
    "CO2": "CarbonDioxide",
    "H2O": "Water",
}
# Where an equation ends and another begins, with a step of 2 % in viscosity: Arp, McCarty and Friend (1998).
STEPS_K = {"He": 100.0}
# Amount density at which transport properties are taken as those of the dilute limit, mol/m^3 (about 0.2 Pa).
_DILUTE_MOL_M3 = 1e-4
# Temperatures of neighbouring nodes are at most in this ratio: cubic splines are then within 1e-8 of the source.
_RATIO = 1.015


def from_library(symbol: str, key: str, temperature_k: ArrayLike) -> NDArray[np.float64]:
    """Return what CoolProp gives: viscosity in Pa s for the key "V", conductivity in W/(m K) for "L"; any shape."""
    t = np.asarray(temperature_k, dtype=float)
    found = PropsSI(key, "T", t.ravel(), "Dmolar", _DILUTE_MOL_M3, FLUIDS[symbol])
    return np.asarray(found, dtype=float).reshape(t.shape)


def main() -> None:
    """Write the file beside this module."""
    path = Path(__file__).with_name(FILE)
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(f"# made by: python -m {__spec__.name}, from CoolProp {version('CoolProp')}\n")
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(COLUMNS)
        for symbol in FLUIDS:
            species = all_species()[symbol]
            ends = [species.t_min_k, *([STEPS_K[symbol]] if symbol in STEPS_K else []), species.t_max_k]
            for first, last in itertools.pairwise(ends):
                count = 1 + int(np.ceil(np.log(last / first) / np.log(_RATIO)))
                t = np.round(np.geomspace(first, last, count), 7)
                inside = t.copy()
                if first != species.t_min_k:  # the equation that begins at a step, as near to it as can be
                    inside[0] = np.nextafter(first, np.inf)
                values = from_library(symbol, "V", inside), from_library(symbol, "L", inside)
                for node, viscosity, conductivity in zip(t, *values, strict=True):
                    rows.writerow([symbol, f"{node:.10g}", f"{viscosity:.12g}", f"{conductivity:.12g}"])
    print(f"{path} is written", file=sys.stderr)


if __name__ == "__main__":
    main()
