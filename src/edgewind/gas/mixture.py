"""The gas in a chamber: one species, or several by mole fraction; air is a mixture."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from edgewind.errors import InputError
from edgewind.gas.constants import AVOGADRO
from edgewind.gas.species import Species, all_species, find_species
from edgewind.units import Measured, parse_measured

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
        Common name: ``"air"``, ``"N2"``, ``"0.9 He + 0.1 Ne"``.
    fractions : tuple of (Species, float)
        Species and mole fractions, which sum to one.
    uncertain : tuple of (str, float)
        Symbols and standard uncertainties of the fractions that are not exactly known; the rest is that of the most
        abundant species, `balance`.
    """

    name: str
    fractions: tuple[tuple[Species, float], ...]
    uncertain: tuple[tuple[str, float], ...] = ()

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
    def balance(self) -> str:
        """Symbol of the most abundant species, which makes the sum one where another fraction changes."""
        return max(self.fractions, key=lambda part: part[1])[0].symbol

    def fraction(self, symbol: str) -> float:
        """Return the mole fraction of a species, 0 if it is absent."""
        return sum(x for species, x in self.fractions if species.symbol == symbol)

    def with_fraction(self, symbol: str, fraction: float) -> Gas:
        """Return the same with another mole fraction of a species, at the expense of the most abundant one.

        Raises
        ------
        InputError
            A fraction below zero, or above what the other species leave.
        """
        room = self.fraction(symbol) + self.fraction(self.balance)
        if symbol == self.balance or not 0.0 <= fraction <= room:
            raise InputError(
                f"the mole fraction of {symbol} in {self.name} cannot be {fraction:g}",
                fix=f"use 0 to {room:g}, of a species other than {self.balance}",
            )
        new = {species.symbol: x for species, x in self.fractions}
        new[self.balance] -= fraction - self.fraction(symbol)
        new[symbol] = fraction
        return Gas(self.name, tuple((all_species()[one], x) for one, x in new.items()), self.uncertain)

    @property
    def sources(self) -> tuple[str, ...]:
        """Where the transport properties come from."""
        own = dict.fromkeys(species.source for species, _ in self.fractions)
        return (*own, *(() if self.is_pure else ("mixture: Wilke, J. Chem. Phys. 18, 517 (1950)",)))

    def viscosity(self, temperature_k: ArrayLike) -> NDArray[np.float64]:
        """Return the dilute-limit viscosity, Pa s, of a temperature in K; any shape.

        Mixtures follow Wilke, J. Chem. Phys. 18, 517 (1950), eq. 13 and 14: within about 1 % for air-like mixtures, and
        within several percent where a light gas (H2, He) meets a heavy one.

        Raises
        ------
        OutOfRangeError
            A species is outside the range of its source.
        """
        return self._mix(temperature_k, "viscosity")

    def conductivity(self, temperature_k: ArrayLike) -> NDArray[np.float64]:
        """Return the dilute-limit thermal conductivity, W/(m K); any shape.

        Mixtures follow Wassiljewa's form with Wilke's weights (Mason and Saxena, Phys. Fluids 1, 361, 1958, without
        their factor 1.065).

        Raises
        ------
        OutOfRangeError
            A species is outside the range of its source.
        """
        return self._mix(temperature_k, "conductivity")

    def heat_capacity(self, temperature_k: ArrayLike) -> NDArray[np.float64]:
        """Return the molar heat capacity of the ideal gas at constant pressure, J/(mol K); any shape."""
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


def find_gas(what: str | Mapping[str, float | str]) -> Gas:
    """Return the gas of a name, symbol or mixture.

    Parameters
    ----------
    what : str or mapping
        ``"air"``, a symbol or name (``"N2"``, ``"argon"``), a mixture as text (``"0.9 He + 0.1 Ne"``) or a mapping of
        species to mole fractions, as numbers or with standard uncertainties: ``{"N2": 0.97, "H2O": "0.03 +/- 0.02"}``.

    Raises
    ------
    InputError
        An unknown species, a fraction that is not between 0 and 1, fractions that do not sum to one, or uncertainties
        that contradict each other.

    Examples
    --------
    >>> find_gas("air").molar_mass_kg_mol  # doctest: +ELLIPSIS
    0.02896...
    >>> [s.symbol for s, _ in find_gas("0.9 He + 0.1 neon").fractions]
    ['He', 'Ne']
    >>> find_gas({"N2": 0.97, "H2O": "0.03 +/- 0.02"}).uncertain
    (('H2O', 0.02),)
    """
    if isinstance(what, Mapping):
        parts = {label: _fraction(label, x) for label, x in what.items()}
        mixture = _mixture(" + ".join(f"{x.value:g} {label}" for label, x in parts.items()), parts)
        return replace(mixture, uncertain=_uncertain(mixture, parts))
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
            raise InputError(
                f"'{part.strip()}' is not a part of a mixture", fix="write fraction and gas, as in '0.9 He + 0.1 Ne'"
            )
        fractions[match[3]] = fractions.get(match[3], 0.0) + amount
    return _mixture(what.strip(), {label: Measured(x) for label, x in fractions.items()})


def _fraction(label: str, written: float | str) -> Measured:
    """Read a mole fraction with its uncertainty."""
    try:
        return parse_measured(written, "number")
    except InputError:
        raise InputError(
            f"{written!r} is not a mole fraction of {label}", fix="write a number, such as 0.03 or '0.03 +/- 0.02'"
        ) from None


def _uncertain(gas: Gas, parts: Mapping[str, Measured]) -> tuple[tuple[str, float], ...]:
    """Return symbols and uncertainties of the fractions, that of the most abundant species left out: it follows."""
    stated = {find_species(label).symbol: x.u for label, x in parts.items() if x.u}
    given = stated.pop(gas.balance, 0.0)
    others = [species.symbol for species, x in gas.fractions if species.symbol != gas.balance]
    if given and not stated and len(others) == 1:
        stated = {others[0]: given}
    follows = sum(u**2 for u in stated.values()) ** 0.5
    if given and not 0.9 * given <= follows <= 1.1 * given:
        raise InputError(
            f"the uncertainty of {gas.balance} cannot be {given:g}: it follows from those of the other gases, "
            f"{follows:.2g}",
            fix=f"write the uncertainties of the other gases; that of {gas.balance}, the most abundant, follows",
        )
    for symbol, u in stated.items():
        if u > 0.5:
            raise InputError(
                f"the uncertainty of the mole fraction of {symbol} cannot be {u:g}",
                fix="use a standard uncertainty of up to 0.5",
            )
    return tuple((symbol, stated[symbol]) for symbol in others if symbol in stated)


def _mixture(name: str, fractions: Mapping[str, Measured]) -> Gas:
    merged: dict[str, float] = {}
    possible = {find_species(label).symbol for label, given in fractions.items() if given.value or given.u}
    for label, given in fractions.items():
        x = given.value
        if not 0 <= x <= 1:
            raise InputError(f"the mole fraction of {label} cannot be {x:g}", fix="use fractions between 0 and 1")
        symbol = find_species(label).symbol
        merged[symbol] = merged.get(symbol, 0.0) + float(x)
    total = sum(merged.values())
    if abs(total - 1) > 1e-3:
        raise InputError(f"the mole fractions of '{name}' must sum to 1, not {total:g}", fix="correct the fractions")
    present = tuple((all_species()[symbol], x / total) for symbol, x in merged.items() if symbol in possible)
    return Gas(name, present)
