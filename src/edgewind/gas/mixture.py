"""A gas as it stands in a chamber: one species, or several by mole fraction; air is a mixture like any other."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from edgewind.errors import InputError
from edgewind.gas.constants import AVOGADRO
from edgewind.gas.species import Species, all_species, find_species

# Dry air by mole fraction, U.S. Standard Atmosphere 1976, table 3, the four most abundant gases, scaled to one.
_AIR = {"N2": 0.78084, "O2": 0.209476, "Ar": 0.00934, "CO2": 0.000314}
# Collision diameter for air, U.S. Standard Atmosphere 1976, section 1.3.9, m.
AIR_DIAMETER_M = 3.65e-10


@dataclass(frozen=True)
class Gas:
    """A gas by mole fraction.

    Attributes
    ----------
    name : str
        As people say it: ``"air"``, ``"N2"``, ``"0.9 He + 0.1 Ne"``.
    fractions : tuple of (Species, float)
        Species and mole fractions, which sum to one.
    """

    name: str
    fractions: tuple[tuple[Species, float], ...]

    @property
    def molar_mass_kg_mol(self) -> float:
        """Mean molar mass, kg/mol."""
        return sum(fraction * species.molar_mass_kg_mol for species, fraction in self.fractions)

    @property
    def molecular_mass_kg(self) -> float:
        """Mean mass of a molecule, kg."""
        return self.molar_mass_kg_mol / AVOGADRO

    @property
    def is_pure(self) -> bool:
        """Whether the gas is a single species."""
        return len(self.fractions) == 1

    @property
    def sources(self) -> tuple[str, ...]:
        """Where the transport properties come from."""
        own = dict.fromkeys(species.source for species, _ in self.fractions)
        return (*own, *(() if self.is_pure else ("mixture: Wilke, J. Chem. Phys. 18, 517 (1950)",)))

    def viscosity(self, temperature_k: ArrayLike) -> NDArray[np.float64]:
        """Dilute-limit viscosity, Pa s, of a temperature in K; any shape.

        Mixtures follow Wilke, J. Chem. Phys. 18, 517 (1950), eq. 13 and 14: within about 1 % for air-like mixtures, and
        within several percent where a light gas (H2, He) meets a heavy one.

        Raises
        ------
        OutOfRangeError
            A species is outside the range of its source.
        """
        return self._mix(temperature_k, "viscosity")

    def conductivity(self, temperature_k: ArrayLike) -> NDArray[np.float64]:
        """Dilute-limit thermal conductivity, W/(m K); any shape.

        Mixtures follow Wassiljewa's form with Wilke's weights (Mason and Saxena, Phys. Fluids 1, 361, 1958, without
        their factor 1.065).

        Raises
        ------
        OutOfRangeError
            A species is outside the range of its source.
        """
        return self._mix(temperature_k, "conductivity")

    def heat_capacity(self, temperature_k: ArrayLike) -> NDArray[np.float64]:
        """Molar heat capacity of the ideal gas at constant pressure, J/(mol K); any shape."""
        t = np.asarray(temperature_k, dtype=float)
        for species, _ in self.fractions:
            species.check_temperature(t)
        return np.asarray(sum(fraction * species.heat_capacity(t) for species, fraction in self.fractions))

    def _mix(self, temperature_k: ArrayLike, quantity: str) -> NDArray[np.float64]:
        t = np.asarray(temperature_k, dtype=float)
        for species, _ in self.fractions:
            species.check_temperature(t)
        values = np.stack([getattr(species, quantity)(t) for species, _ in self.fractions])
        if self.is_pure:
            return np.asarray(values[0])
        viscosities = np.stack([species.viscosity(t) for species, _ in self.fractions])
        x = np.array([fraction for _, fraction in self.fractions])
        mass = np.array([species.molar_mass_kg_mol for species, _ in self.fractions])
        weight = _wilke_weights(viscosities, mass)
        return np.asarray(sum(x[i] * values[i] / np.tensordot(x, weight[i], axes=1) for i in range(len(x))))


def _wilke_weights(viscosity: NDArray[np.float64], mass: NDArray[np.float64]) -> NDArray[np.float64]:
    """phi_ij of Wilke (1950), eq. 14: shape (species, species, ...)."""
    extra = (1,) * (viscosity.ndim - 1)
    mass_i, mass_j = mass.reshape(-1, 1, *extra), mass.reshape(1, -1, *extra)
    ratio = viscosity[:, None] / viscosity[None, :]
    return np.asarray((1 + np.sqrt(ratio) * (mass_j / mass_i) ** 0.25) ** 2 / np.sqrt(8 * (1 + mass_i / mass_j)))


def find_gas(what: str | Mapping[str, float]) -> Gas:
    """Return the gas that a person describes.

    Parameters
    ----------
    what : str or mapping
        ``"air"``, a symbol or name (``"N2"``, ``"argon"``), a mixture as text (``"0.9 He + 0.1 Ne"``) or a mapping of
        species to mole fractions.

    Raises
    ------
    InputError
        An unknown species, a fraction that is not between 0 and 1, or fractions that do not sum to one.

    Examples
    --------
    >>> find_gas("air").molar_mass_kg_mol  # doctest: +ELLIPSIS
    0.02896...
    >>> [s.symbol for s, _ in find_gas("0.9 He + 0.1 neon").fractions]
    ['He', 'Ne']
    """
    if isinstance(what, Mapping):
        return _mixture(" + ".join(f"{value:g} {name}" for name, value in what.items()), dict(what))
    if what.strip().lower() == "air":
        total = sum(_AIR.values())
        return Gas("air", tuple((all_species()[symbol], x / total) for symbol, x in _AIR.items()))
    if "+" not in what:
        species = find_species(what)
        return Gas(species.symbol, ((species, 1.0),))
    fractions: dict[str, float] = {}
    for part in what.split("+"):
        match = re.fullmatch(r"\s*([0-9.]+(?:[eE][+-]?\d+)?)\s*(%?)\s*(\S.*?)\s*", part)
        try:
            amount = float(match[1]) / (100 if match[2] else 1) if match else None
        except ValueError:
            amount = None
        if match is None or amount is None:
            raise InputError(f"'{part.strip()}' is not a part of a mixture", fix="write it as '0.9 He + 0.1 Ne'")
        fractions[match[3]] = fractions.get(match[3], 0.0) + amount
    return _mixture(what.strip(), fractions)


def _mixture(name: str, fractions: dict[str, float]) -> Gas:
    merged: dict[str, float] = {}
    for label, x in fractions.items():
        if not 0 <= x <= 1:
            raise InputError(f"the mole fraction of {label} is {x:g}", fix="use fractions between 0 and 1")
        symbol = find_species(label).symbol
        merged[symbol] = merged.get(symbol, 0.0) + float(x)
    total = sum(merged.values())
    if abs(total - 1) > 1e-3:
        raise InputError(f"the mole fractions of '{name}' sum to {total:g}", fix="make them sum to 1")
    present = tuple((all_species()[symbol], x / total) for symbol, x in merged.items() if x > 0)
    return Gas(name, present)
