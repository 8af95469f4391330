"""The pure gases a bench meets, and where their viscosity and thermal conductivity come from.

Dilute-limit transport properties are those of CoolProp, evaluated at a density at which they no longer depend on it;
neon, which CoolProp leaves out, comes from the handbook correlation that ships with ``chemicals``.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
from chemicals import viscosity as handbook
from CoolProp.CoolProp import PropsSI
from numpy.typing import ArrayLike, NDArray
from scipy.constants import R

from edgewind.errors import InputError, OutOfRangeError

FloatArray = NDArray[np.float64]

# Amount density at which transport properties are taken as those of the dilute limit, mol/m^3 (about 0.2 Pa).
_DILUTE_MOL_M3 = 1e-4


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

    def check_temperature(self, temperature_k: ArrayLike) -> None:
        """Raise :class:`OutOfRangeError` where the source of the viscosity does not hold."""
        t = np.asarray(temperature_k, dtype=float)
        outside = t[~((t >= self.t_min_k) & (t <= self.t_max_k))]
        if outside.size:
            raise OutOfRangeError(
                f"{self.name} at {outside.flat[0]:.5g} K is outside the range of its viscosity data",
                fix=f"use {self.t_min_k:.5g} K to {self.t_max_k:.5g} K ({self.source})",
            )


def _coolprop(fluid: str) -> tuple[float, Callable[[ArrayLike], FloatArray], Callable[[ArrayLike], FloatArray]]:
    def evaluate(key: str, temperature_k: ArrayLike) -> FloatArray:
        t = np.asarray(temperature_k, dtype=float)
        return np.asarray(PropsSI(key, "T", t.ravel(), "Dmolar", _DILUTE_MOL_M3, fluid), dtype=float).reshape(t.shape)

    return (
        float(PropsSI("M", fluid)),
        lambda temperature_k: evaluate("V", temperature_k),
        lambda temperature_k: evaluate("L", temperature_k),
    )


def _monatomic_handbook(cas: str, molar_mass: float) -> tuple[Callable[[ArrayLike], FloatArray], Callable[[ArrayLike], FloatArray]]:
    """Viscosity ``C1 T^C2 / (1 + C3/T + C4/T^2)`` and, for a monatomic gas, ``k = (15/4) (R/M) mu``."""
    row = handbook.mu_data_Perrys_8E_2_312.loc[cas]
    c1, c2, c3, c4 = (float(row[name]) for name in ("C1", "C2", "C3", "C4"))

    def viscosity(temperature_k: ArrayLike) -> FloatArray:
        t = np.asarray(temperature_k, dtype=float)
        return np.asarray(c1 * t**c2 / (1 + c3 / t + c4 / t**2))

    return viscosity, lambda temperature_k: 3.75 * R / molar_mass * viscosity(temperature_k)


_LEMMON = "Lemmon and Jacobsen, Int. J. Thermophys. 25, 21 (2004)"
_COOLPROP_GASES = (
    # symbol, name, CoolProp fluid, t_min, t_max, source
    ("N2", "nitrogen", "Nitrogen", 63.151, 1000.0, _LEMMON),
    ("O2", "oxygen", "Oxygen", 54.361, 1000.0, _LEMMON),
    ("Ar", "argon", "Argon", 83.806, 1000.0, _LEMMON),
    ("He", "helium", "Helium", 20.0, 1000.0, "Arp, McCarty and Friend, NIST TN 1334 (1998); Hands and Arp, Cryogenics 21, 697 (1981)"),
    ("H2", "hydrogen", "Hydrogen", 20.0, 1000.0, "Muzny, Huber and Kazakov, J. Chem. Eng. Data 58, 969 (2013)"),
    ("CO2", "carbon dioxide", "CarbonDioxide", 200.0, 1000.0, "Laesecke and Muzny, J. Phys. Chem. Ref. Data 46, 013107 (2017)"),
    ("H2O", "water vapour", "Water", 273.16, 1000.0, "Huber et al., J. Phys. Chem. Ref. Data 38, 101 (2009)"),
)
_ALIASES = {"steam": "H2O", "water": "H2O", "carbondioxide": "CO2", "co₂": "CO2", "n₂": "N2", "o₂": "O2", "h₂": "H2", "h₂o": "H2O"}


@cache
def all_species() -> dict[str, Species]:
    """Return every pure gas known, by chemical symbol."""
    known = {}
    for symbol, name, fluid, t_min, t_max, source in _COOLPROP_GASES:
        molar_mass, viscosity, conductivity = _coolprop(fluid)
        known[symbol] = Species(symbol, name, molar_mass, t_min, t_max, source, viscosity, conductivity)
    neon_mass = float(PropsSI("M", "Neon"))
    known["Ne"] = Species(
        "Ne", "neon", neon_mass, 30.0, 1000.0, "Perry's Chemical Engineers' Handbook, 8th ed. (2008), table 2-312",
        *_monatomic_handbook("7440-01-9", neon_mass),
    )  # fmt: skip
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
    near = difflib.get_close_matches(wanted, [*spelled, "air"], n=1, cutoff=0.5)
    hint = f"did you mean '{near[0]}'? " if near else ""
    raise InputError(f"unknown gas '{name}'", fix=f"{hint}known are air, {', '.join(species)}")
