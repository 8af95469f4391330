"""A gas at one temperature and pressure, with the properties that the program uses."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from edgewind.errors import InputError, OutOfRangeError
from edgewind.gas.constants import BOLTZMANN, GAS_CONSTANT
from edgewind.gas.free_path import (
    mean_free_path,
    mean_free_path_fixed_diameter,
    mean_free_path_variable_hard_sphere,
    most_probable_speed,
)
from edgewind.gas.mixture import AIR_DIAMETER_M, Gas

# Above this pressure the dilute limit is no longer assumed, Pa.
HIGHEST_PRESSURE_PA = 2e5
DEFINITIONS = ("viscosity", "fixed-diameter", "variable-hard-sphere")


@lru_cache(maxsize=1024)  # a study asks for the same few values a hundred times, a search of rotors ten thousand
def _value(gas: Gas, quantity: str, temperature_k: float) -> float:
    """Return a property of a gas at a temperature, SI."""
    return float(getattr(gas, quantity)(temperature_k))


@dataclass(frozen=True)
class GasState:
    """A gas at rest at one pressure and temperature.

    Attributes
    ----------
    gas : Gas
        The gas or mixture.
    pressure_pa : float
        Pressure, Pa.
    temperature_k : float
        Temperature, K.

    Raises
    ------
    OutOfRangeError
        Pressure not positive or beyond the dilute limit; temperature outside the range of the viscosity's source.
    """

    gas: Gas
    pressure_pa: float
    temperature_k: float

    def __post_init__(self) -> None:
        if not 0 < self.pressure_pa <= HIGHEST_PRESSURE_PA:
            raise OutOfRangeError(
                f"a pressure of {self.pressure_pa:g} Pa is outside the range of a dilute gas",
                fix=f"use a pressure above zero and up to {HIGHEST_PRESSURE_PA:g} Pa",
            )
        for species, _ in self.gas.fractions:
            species.check_temperature(self.temperature_k)

    @property
    def viscosity_pa_s(self) -> float:
        """Viscosity, Pa s."""
        return _value(self.gas, "viscosity", self.temperature_k)

    @property
    def conductivity_w_m_k(self) -> float:
        """Thermal conductivity, W/(m K)."""
        return _value(self.gas, "conductivity", self.temperature_k)

    @property
    def internal_heat(self) -> float:
        """Heat capacity of rotation and vibration per molecule over Boltzmann's constant, ``cp/R - 5/2``.

        Zero for a monatomic gas, 1 for a rotating diatomic one. A molecule that leaves a wall in free flight carries
        this in addition to its translation (``2 k T``). From the calorimetric heat capacity of the ideal gas.
        """
        inner = _value(self.gas, "heat_capacity", self.temperature_k) / GAS_CONSTANT - 2.5
        return inner if inner > 1e-4 else 0.0  # libraries round the gas constant

    @property
    def translational_eucken(self) -> float:
        """Conductivity by the motion of the molecules over (3/2) k mu/m: 5/2 in a monatomic gas, 2.3 in nitrogen.

        Near 300 K; that of a mixture is the mean by mole fraction, our judgement.
        """
        return sum(fraction * species.translational_eucken for species, fraction in self.gas.fractions)

    @property
    def number_density_m3(self) -> float:
        """Molecules in a cubic metre, ``n = p / (k T)``."""
        return self.pressure_pa / (BOLTZMANN * self.temperature_k)

    @property
    def most_probable_speed_m_s(self) -> float:
        """Most probable speed of the molecules, ``sqrt(2 k T / m)``, m/s."""
        return float(most_probable_speed(self.temperature_k, self.gas.molecular_mass_kg))

    @property
    def viscosity_exponent(self) -> float:
        """Local exponent of temperature in the viscosity, ``d ln mu / d ln T``, from a step of 1 %."""
        steps = self.temperature_k * np.array([0.995, 1.005])
        low, high = (
            max(s.t_min_k for s, _ in self.gas.fractions),
            min(s.t_max_k for s, _ in self.gas.fractions),
        )
        t = np.clip(steps, low, high)
        low_mu, high_mu = (_value(self.gas, "viscosity", float(one)) for one in t)
        return float(np.log(high_mu / low_mu) / np.log(t[1] / t[0]))

    def mean_free_path_m(self, definition: str = "viscosity", diameter_m: float | None = None) -> float:
        """Return the mean free path in one of three definitions, m.

        Parameters
        ----------
        definition : {"viscosity", "fixed-diameter", "variable-hard-sphere"}
            ``"viscosity"`` is the one used everywhere else in the program.
        diameter_m : float, optional
            Molecular diameter for ``"fixed-diameter"``; for air 3.65e-10 m (U.S. Standard Atmosphere 1976) by default.

        Raises
        ------
        InputError
            An unknown definition, or no diameter for a gas other than air.
        """
        if definition == "viscosity":
            return float(
                mean_free_path(self.viscosity_pa_s, self.pressure_pa, self.temperature_k, self.gas.molecular_mass_kg)
            )
        if definition == "variable-hard-sphere":
            return float(
                mean_free_path_variable_hard_sphere(
                    self.viscosity_pa_s, self.pressure_pa, self.temperature_k, self.gas.molecular_mass_kg,
                    self.viscosity_exponent,
                )
            )  # fmt: skip
        if definition == "fixed-diameter":
            diameter = diameter_m if diameter_m is not None else (AIR_DIAMETER_M if self.gas.name == "air" else None)
            if diameter is None:
                raise InputError(
                    f"there is no standard molecular diameter for {self.gas.name}",
                    fix="give one, such as --diameter '3.7e-10 m'",
                )
            if not diameter > 0:
                raise InputError(f"the molecular diameter cannot be {diameter:g} m", fix="give a diameter above zero")
            return float(mean_free_path_fixed_diameter(self.pressure_pa, self.temperature_k, diameter))
        raise InputError(f"unknown definition '{definition}'", fix=f"use one of {', '.join(DEFINITIONS)}")
