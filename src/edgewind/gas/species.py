"""The pure gases a bench meets, and where their viscosity and thermal conductivity come from.

Dilute-limit transport properties are those of CoolProp, at a density at which they no longer depend on it, as
:mod:`edgewind.gas.dilute` keeps them; neon, which CoolProp leaves out, comes from the handbook correlation that ships
with ``chemicals``.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
from chemicals import viscosity as handbook
from numpy.typing import ArrayLike, NDArray
from scipy.constants import R

from edgewind.errors import InputError, OutOfRangeError
from edgewind.gas.dilute import dilute

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
    viscosity, conductivity : callable
        Dilute-limit viscosity (Pa s) and thermal conductivity (W/(m K)) of a temperature in K; any shape.
    """

    symbol: str
    name: str
    molar_mass_kg_mol: float
    t_min_k: float
    t_max_k: float
    source: str
    viscosity: Callable[[ArrayLike], FloatArray]
    conductivity: Callable[[ArrayLike], FloatArray]

    def __reduce__(self) -> tuple[object, ...]:
        """Travel to another process by symbol: functions made on the way cannot."""
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


def _monatomic_handbook(
    cas: str, molar_mass: float
) -> tuple[Callable[[ArrayLike], FloatArray], Callable[[ArrayLike], FloatArray]]:
    """Viscosity ``C1 T^C2 / (1 + C3/T + C4/T^2)`` and, for a monatomic gas, ``k = (15/4) (R/M) mu``."""
    columns = ["C1", "C2", "C3", "C4"]
    c1, c2, c3, c4 = handbook.mu_data_Perrys_8E_2_312.loc[cas, columns].to_numpy(dtype=float)

    def viscosity(temperature_k: ArrayLike) -> FloatArray:
        t = np.asarray(temperature_k, dtype=float)
        return np.asarray(c1 * t**c2 / (1 + c3 / t + c4 / t**2))

    return viscosity, lambda temperature_k: 3.75 * R / molar_mass * viscosity(temperature_k)


_LEMMON = "Lemmon and Jacobsen, Int. J. Thermophys. 25, 21 (2004)"
_ARP = "Arp, McCarty and Friend, NIST TN 1334 (1998); Hands and Arp, Cryogenics 21, 697 (1981)"
_MUZNY = "Muzny, Huber and Kazakov, J. Chem. Eng. Data 58, 969 (2013)"
_LAESECKE = "Laesecke and Muzny, J. Phys. Chem. Ref. Data 46, 013107 (2017)"
_HUBER = "Huber et al., J. Phys. Chem. Ref. Data 38, 101 (2009)"
_PERRY = "Perry's Chemical Engineers' Handbook, 8th ed. (2008), table 2-312"
# Symbol, name, molar mass (kg/mol), range of temperature (K) and source of the viscosity.
_TABULATED_GASES = (
    ("N2", "nitrogen", 0.02801348, 63.151, 1000.0, _LEMMON),
    ("O2", "oxygen", 0.0319988, 54.361, 1000.0, _LEMMON),
    ("Ar", "argon", 0.039948, 83.806, 1000.0, _LEMMON),
    ("He", "helium", 0.004002602, 20.0, 1000.0, _ARP),
    ("H2", "hydrogen", 0.00201588, 20.0, 1000.0, _MUZNY),
    ("CO2", "carbon dioxide", 0.0440098, 200.0, 1000.0, _LAESECKE),
    ("H2O", "water vapour", 0.018015268, 273.16, 1000.0, _HUBER),
)
_NEON_CAS, _NEON_KG_MOL = "7440-01-9", 0.020179
_ALIASES = {
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
    for symbol, name, mass, t_min, t_max, source in _TABULATED_GASES:
        both = (dilute(symbol, quantity) for quantity in ("viscosity_pa_s", "conductivity_w_m_k"))
        known[symbol] = Species(symbol, name, mass, t_min, t_max, source, *both)
    neon = _monatomic_handbook(_NEON_CAS, _NEON_KG_MOL)
    known["Ne"] = Species("Ne", "neon", _NEON_KG_MOL, 30.0, 1000.0, _PERRY, *neon)
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
