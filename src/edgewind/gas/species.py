"""The pure gases, with the sources of their viscosity, thermal conductivity and heat capacity.

:mod:`edgewind.gas.dilute` keeps them by temperature. Transport properties are those of CoolProp at a density at which
they no longer depend on it, or of handbook correlations where CoolProp has none.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from edgewind.errors import InputError, OutOfRangeError
from edgewind.gas.dilute import COLUMNS, dilute

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Species:
    """A pure gas.

    Attributes
    ----------
    symbol, name : str
        Chemical symbol and English name.
    molar_mass_kg_mol : float
        Molar mass, kg/mol.
    t_min_k, t_max_k : float
        Range of temperature in which the source of the viscosity holds, K.
    source : str
        Where viscosity and conductivity come from.
    translational_eucken : float
        Conductivity by the motion of the molecules over (3/2) k mu/m near 300 K; 5/2 for a monatomic gas.
    viscosity, conductivity : callable
        Dilute-limit viscosity (Pa s) and thermal conductivity (W/(m K)) of a temperature in K; any shape.
    heat_capacity : callable
        Molar heat capacity of the ideal gas at constant pressure, J/(mol K), of a temperature in K; any shape.
    """

    symbol: str
    name: str
    molar_mass_kg_mol: float
    t_min_k: float
    t_max_k: float
    source: str
    translational_eucken: float
    viscosity: Callable[[ArrayLike], FloatArray]
    conductivity: Callable[[ArrayLike], FloatArray]
    heat_capacity: Callable[[ArrayLike], FloatArray]

    def __reduce__(self) -> tuple[object, ...]:
        """Pickle a species by its symbol, since its functions cannot be pickled."""
        return find_species, (self.symbol,)

    def check_temperature(self, temperature_k: ArrayLike) -> None:
        """Raise :class:`OutOfRangeError` where the source of the viscosity does not hold."""
        t = np.asarray(temperature_k, dtype=float)
        outside = t[~((t >= self.t_min_k) & (t <= self.t_max_k))]
        if outside.size:
            raise OutOfRangeError(
                f"{self.name} at {outside.flat[0]:.5g} K is outside the range of its viscosity data",
                fix=f"use {self.t_min_k:.5g} K to {self.t_max_k:.5g} K ({self.source})",
            )


_LEMMON = "Lemmon and Jacobsen, Int. J. Thermophys. 25, 21 (2004)"
_ARP = "Arp, McCarty and Friend, NIST TN 1334 (1998); Hands and Arp, Cryogenics 21, 697 (1981)"
_MUZNY = "Muzny, Huber and Kazakov, J. Chem. Eng. Data 58, 969 (2013)"
_LAESECKE = "Laesecke and Muzny, J. Phys. Chem. Ref. Data 46, 013107 (2017)"
_HUBER = "Huber et al., J. Phys. Chem. Ref. Data 38, 101 (2009)"
_PERRY = "Perry's Chemical Engineers' Handbook, 8th ed. (2008), table 2-312"
_VDI = "VDI Heat Atlas, 2nd ed. (2010), part D, table 8"
_QUINONES = "Quinones-Cisneros and Deiters, J. Phys. Chem. B 110, 12820 (2006)"
_QUINONES_SF6 = "Quinones-Cisneros, Huber and Deiters, J. Phys. Chem. Ref. Data 41, 023102 (2012)"
_HUBER_R134A = "Huber, Laesecke and Perkins, Ind. Eng. Chem. Res. 42, 3163 (2003)"
# Symbol, name, molar mass (kg/mol), range of temperature (K) and source of the viscosity.
_GASES = (
    ("N2", "nitrogen", 0.02801348, 63.151, 1000.0, _LEMMON),
    ("O2", "oxygen", 0.0319988, 54.361, 1000.0, _LEMMON),
    ("Ar", "argon", 0.039948, 83.806, 1000.0, _LEMMON),
    ("He", "helium", 0.004002602, 20.0, 1000.0, _ARP),
    ("Ne", "neon", 0.020179, 30.0, 1000.0, _PERRY),
    ("Kr", "krypton", 0.083798, 200.0, 750.0, _VDI),
    ("Xe", "xenon", 0.131293, 200.0, 750.0, _VDI),
    ("H2", "hydrogen", 0.00201588, 20.0, 1000.0, _MUZNY),
    ("D2", "deuterium", 0.0040282, 233.15, 480.0, _PERRY),
    ("CO2", "carbon dioxide", 0.0440098, 200.0, 1000.0, _LAESECKE),
    ("H2O", "water vapour", 0.018015268, 273.16, 1000.0, _HUBER),
    ("CH4", "methane", 0.0160428, 150.0, 625.0, _QUINONES),
    ("SF6", "sulfur hexafluoride", 0.1460554192, 200.0, 625.0, _QUINONES_SF6),
    ("R134a", "1,1,1,2-tetrafluoroethane", 0.102032, 230.0, 455.0, _HUBER_R134A),
    ("R152a", "1,1-difluoroethane", 0.066051, 230.0, 500.0, _PERRY),
)
# Eucken's factor of translation by the formula of E. A. Mason and L. Monchick, J. Chem. Phys. 36, 1622 (1962), as in
# `edgewind.kinetics.polyatomic.NITROGEN`. Collision numbers of the rotation are those of GRI-Mech 3.0 (gri30.cti of
# Cantera: O2 3.8, H2O 4.0, CH4 13, H2 280), but for N2, 4.4, and CO2, 2.4, from thermal transpiration. D2, whose levels
# lie far apart as those of H2, is taken as H2. For the others none was found: 2.25 is the middle of what the formula
# gives a non-linear molecule for 2 to 13.
_EUCKEN = {"N2": 2.3, "O2": 2.28, "CO2": 2.21, "H2O": 2.21, "CH4": 2.38, "H2": 2.496, "D2": 2.496} | dict.fromkeys(
    ("SF6", "R134a", "R152a"), 2.25
)
_ALIASES = {
    "sulphur hexafluoride": "SF6",
    "sf₆": "SF6",
    "ch₄": "CH4",
    "d₂": "D2",
    "hfc-134a": "R134a",
    "hfc-152a": "R152a",
    "steam": "H2O",
    "water": "H2O",
    "carbondioxide": "CO2",
    "co₂": "CO2",
    "n₂": "N2",
    "o₂": "O2",
    "h₂": "H2",
    "h₂o": "H2O",
}


@cache
def all_species() -> dict[str, Species]:
    """Return every pure gas known, by chemical symbol."""
    known = {}
    for symbol, name, mass, t_min, t_max, source in _GASES:
        properties = (dilute(symbol, quantity) for quantity in COLUMNS[2:])
        known[symbol] = Species(symbol, name, mass, t_min, t_max, source, _EUCKEN.get(symbol, 2.5), *properties)
    return known


def find_species(name: str) -> Species:
    """Return the gas called `name`, by symbol or English name, in any case.

    Raises
    ------
    InputError
        The gas is not known; the nearest known name is suggested.

    Examples
    --------
    >>> find_species("argon").symbol
    'Ar'
    """
    species = all_species()
    spelled = {key.lower(): key for key in species} | {s.name: key for key, s in species.items()} | _ALIASES
    wanted = name.strip().lower()
    key = spelled.get(wanted, spelled.get(wanted.replace(" ", "")))
    if key is not None:
        return species[key]
    sayable = {"air": "air"} | {key.lower(): key for key in species} | {s.name: s.name for s in species.values()}
    near = difflib.get_close_matches(wanted, sayable, n=1, cutoff=0.5)
    hint = f"did you mean '{sayable[near[0]]}'? " if near else ""
    raise InputError(f"unknown gas '{name}'", fix=f"{hint}known are air, {', '.join(species)}")
