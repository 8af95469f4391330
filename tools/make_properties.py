"""Generation of src/edgewind/gas/properties.csv: ``python tools/make_properties.py``.

It needs the libraries of the dev extra.

CoolProp gives the transport properties where it has an equation for them. Where it has none, or a doubtful one, they
are handbook correlations from the `chemicals` library: neon, deuterium and the viscosity of R152a from
Perry's, krypton and xenon from the VDI Heat Atlas. The conductivity of neon, krypton and xenon is ``(15/4) (R/M) mu``,
first-order kinetic theory. Heat capacities of the ideal gas are CoolProp's throughout.
"""

from __future__ import annotations

import csv
import itertools
import sys
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.constants import R

import edgewind.gas.dilute
from edgewind.gas.dilute import COLUMNS, FILE
from edgewind.gas.species import all_species

# Names of the gases in CoolProp.
FLUIDS = {
    "N2": "Nitrogen", "O2": "Oxygen", "Ar": "Argon", "He": "Helium", "Ne": "Neon", "Kr": "Krypton", "Xe": "Xenon",
    "H2": "Hydrogen", "D2": "Deuterium", "CO2": "CarbonDioxide", "H2O": "Water", "CH4": "Methane",
    "SF6": "SulfurHexafluoride", "R134a": "R134a", "R152a": "R152A",
}  # fmt: skip
# CAS numbers of gases whose transport properties are from handbooks.
HANDBOOK = {"Ne": "7440-01-9", "Kr": "7439-90-9", "Xe": "7440-63-3", "D2": "7782-39-0", "R152a": "75-37-6"}
# Temperature at which one equation replaces another, with a step of 2 % in viscosity: Arp, McCarty and Friend (1998).
STEPS_K = {"He": 100.0}
# Amount density of the dilute limit of transport properties, mol/m^3 (about 0.2 Pa).
_DILUTE_MOL_M3 = 1e-4
# Temperatures of neighbouring nodes are at most in this ratio: cubics through four nodes are then within 1e-6.
_RATIO = 1.015


def from_library(symbol: str, quantity: str, temperature_k: ArrayLike) -> NDArray[np.float64]:
    """Return a property by its library, SI; any shape.

    Parameters
    ----------
    symbol : str
        A key of `FLUIDS`.
    quantity : {"viscosity_pa_s", "conductivity_w_m_k", "heat_capacity_j_mol_k"}
        The property; the heat capacity is the molar one of the ideal gas at constant pressure.
    temperature_k : array_like
        Temperatures, K.
    """
    from CoolProp.CoolProp import PropsSI  # the import takes two seconds

    t = np.asarray(temperature_k, dtype=float)
    if quantity in _HANDBOOK.get(symbol, {}):
        return _HANDBOOK[symbol][quantity](t)
    key = {"viscosity_pa_s": "V", "conductivity_w_m_k": "L", "heat_capacity_j_mol_k": "CP0MOLAR"}[quantity]
    found = PropsSI(key, "T", t.ravel(), "Dmolar", _DILUTE_MOL_M3, FLUIDS[symbol])
    return np.asarray(found, dtype=float).reshape(t.shape)


def _perry(table: str, symbol: str) -> Callable[[NDArray[np.float64]], NDArray[np.float64]]:
    """Return ``C1 T^C2 / (1 + C3/T + C4/T^2)``."""
    from chemicals import thermal_conductivity, viscosity

    rows = {"viscosity": viscosity.mu_data_Perrys_8E_2_312, "conductivity": thermal_conductivity.k_data_Perrys_8E_2_314}
    c1, c2, c3, c4 = rows[table].loc[HANDBOOK[symbol], ["C1", "C2", "C3", "C4"]].to_numpy(dtype=float)
    return lambda t: np.asarray(c1 * t**c2 / (1 + c3 / t + c4 / t**2))


def _vdi(symbol: str) -> Callable[[NDArray[np.float64]], NDArray[np.float64]]:
    """Return ``A + B T + C T^2 + D T^3 + E T^4``."""
    from chemicals.viscosity import mu_data_VDI_PPDS_8

    coefficients = mu_data_VDI_PPDS_8.loc[HANDBOOK[symbol], list("ABCDE")].to_numpy(dtype=float)
    return lambda t: np.polynomial.polynomial.polyval(t, coefficients)


def _monatomic(
    symbol: str, viscosity: Callable[[NDArray[np.float64]], NDArray[np.float64]]
) -> dict[str, Callable[[NDArray[np.float64]], NDArray[np.float64]]]:
    mass = all_species()[symbol].molar_mass_kg_mol
    return {"viscosity_pa_s": viscosity, "conductivity_w_m_k": lambda t: 3.75 * R / mass * viscosity(t)}


_HANDBOOK = {
    "Ne": _monatomic("Ne", _perry("viscosity", "Ne")),
    "Kr": _monatomic("Kr", _vdi("Kr")),
    "Xe": _monatomic("Xe", _vdi("Xe")),
    "D2": {"viscosity_pa_s": _perry("viscosity", "D2"), "conductivity_w_m_k": _perry("conductivity", "D2")},
    "R152a": {
        "viscosity_pa_s": _perry("viscosity", "R152a")
    },  # CoolProp's is 7 % above it, and does not fit the others
}


def main() -> None:
    """Write the file into the package."""
    path = Path(edgewind.gas.dilute.__file__).with_name(FILE)
    with path.open("w", encoding="utf-8", newline="") as file:
        made_from = f"CoolProp {version('CoolProp')} and chemicals {version('chemicals')}"
        file.write(f"# made by: python tools/make_properties.py, from {made_from}\n")
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(COLUMNS)
        for symbol in FLUIDS:
            species = all_species()[symbol]
            ends = [species.t_min_k, *([STEPS_K[symbol]] if symbol in STEPS_K else []), species.t_max_k]
            for first, last in itertools.pairwise(ends):
                count = 1 + int(np.ceil(np.log(last / first) / np.log(_RATIO)))
                t = np.round(np.geomspace(first, last, count), 7)
                inside = t.copy()
                if first != species.t_min_k:  # the equation above the step, as near to it as possible
                    inside[0] = np.nextafter(first, np.inf)
                values = (from_library(symbol, quantity, inside) for quantity in COLUMNS[2:])
                for node, *here in zip(t, *values, strict=True):
                    rows.writerow([symbol, f"{node:.10g}", *(f"{value:.12g}" for value in here)])
    print(f"{path} is written", file=sys.stderr)


if __name__ == "__main__":
    main()
