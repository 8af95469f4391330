"""Input of the forward model from a bench, as plain SI numbers or arrays of draws."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from edgewind.bench import Bench
from edgewind.bench.vane import AREA_SHARE, MEAN_SQUARE_OFFSET, VaneShape
from edgewind.gas import GasState
from edgewind.rotor.shade import TurnMeans, turn_means

Number = Any  # float, or an array that broadcasts against the pressures

# Defaults of unstated keys. Our judgement, no source; the fit uses the wide ranges of `evidence.priors` instead.
DEFAULT_CONDUCTANCE = 200.0  # W/(m^2 K): thin card between foils; solid mica or metal has thousands
DEFAULT_SURFACE_DENSITY = 0.3  # kg/m^2: 0.1 mm of mica
DEFAULT_ACCOMMODATION = 0.9
# An unstated emissivity of a bright face may be anything from polished metal to white paint; see
# :mod:`edgewind.bench.faces`.
BRIGHT_EMISSIVITY_RANGE = (0.03, 0.95)
DEFAULT_BRIGHT_EMISSIVITY = sum(BRIGHT_EMISSIVITY_RANGE) / 2


@dataclass(frozen=True)
class RotorParameters:
    """A rotor, its light, its pivot and its gas; SI throughout, each a float or an array that broadcasts.

    Examples
    --------
    >>> from edgewind.bench import Bench
    >>> [name for name in RotorParameters.__dataclass_fields__][:3]
    ['vanes', 'vane_width_m', 'vane_height_m']
    """

    vanes: int
    vane_width_m: Number
    vane_height_m: Number
    vane_thickness_m: Number
    arm_m: Number
    arm_diameter_m: Number
    chamber_width_m: Number
    chamber_height_m: Number
    irradiance_w_m2: Number
    turn_mean_irradiance: float
    dark_reflected_push: float
    bright_reflected_push: float
    dark_absorptance: Number
    bright_absorptance: Number
    dark_emissivity: Number
    bright_emissivity: Number
    vane_conductance_w_m2_k: Number
    heat_capacity_j_m2_k: Number
    dark_outgassing_pa_m_s: Number
    bright_outgassing_pa_m_s: Number
    pivot_dry_n_m: Number
    pivot_breakaway_n_m: Number
    pivot_viscous_n_m_s: Number
    moment_of_inertia_kg_m2: Number
    accommodation: Number
    gas_temperature_k: Number
    envelope_temperature_k: Number
    viscosity_pa_s: Number
    most_probable_speed_m_s: Number
    internal_heat: float
    conductivity_factor: float  # over that of a monatomic gas of the same viscosity
    translational_eucken: float = 2.5  # of the thermal conductivity; see `GasState`
    vane_shape: VaneShape = "rectangle"
    viscosity_exponent: float = 0.75
    gas_force_factor: Number = 1.0
    gas_drag_factor: Number = 1.0
    accommodation_difference: Number = 0.0  # of the dark over the bright face
    chamber_accommodation: Number = 0.9
    gas_heat_factor: Number = 1.0
    gas_unequal_factor: Number = 1.0  # on the force of unequal accommodation, besides that on the thermal force
    foreign_torque_n_m: Number = 0.0

    @property
    def vane_area_m2(self) -> Number:
        """Area of one face of one vane, m^2."""
        return AREA_SHARE[self.vane_shape] * self.vane_width_m * self.vane_height_m

    @property
    def mean_square_offset_m2(self) -> Number:
        """Mean square distance of the points of a vane from the upright line through its middle, m^2."""
        return MEAN_SQUARE_OFFSET[self.vane_shape] * self.vane_width_m**2

    @property
    def mean_square_arm_m2(self) -> Number:
        """Mean square distance of the points of a vane from the axis, m^2."""
        return self.arm_m**2 + self.mean_square_offset_m2

    def knudsen(self, pressure_pa: Number, length_m: Number | None = None) -> NDArray[np.float64]:
        """Return the mean free path over the width of the vane, or over another length."""
        path = (
            np.sqrt(np.pi)
            / 2
            * self.viscosity_pa_s
            * self.most_probable_speed_m_s
            / np.asarray(pressure_pa, dtype=float)
        )
        return np.asarray(path / (self.vane_width_m if length_m is None else length_m))

    def with_(self, **changes: Number) -> RotorParameters:
        """Return the rotor with other values."""
        return replace(self, **changes)

    def in_surroundings(self, envelope_k: Number, lamp_share: Number = 1.0) -> RotorParameters:
        """Return the rotor in an envelope, and gas at rest, of another temperature, and in another light.

        Viscosity follows its local power of the temperature, the most probable speed the square root.
        """
        ratio = envelope_k / self.gas_temperature_k
        return replace(
            self,
            gas_temperature_k=envelope_k,
            envelope_temperature_k=envelope_k,
            viscosity_pa_s=self.viscosity_pa_s * ratio**self.viscosity_exponent,
            most_probable_speed_m_s=self.most_probable_speed_m_s * np.sqrt(ratio),
            irradiance_w_m2=self.irradiance_w_m2 * lamp_share,
        )

    def lamp_off(self) -> RotorParameters:
        """Return the rotor in the dark."""
        return replace(self, irradiance_w_m2=0.0)


def parameters_of(bench: Bench) -> RotorParameters:
    """Return the best estimates of a bench, with defaults for unstated keys."""
    rotor, light = bench.rotor, bench.light
    means = light_means(bench)
    state = GasState(bench.gas.gas, 1.0, bench.gas.temperature.value)

    def value(measured: Any, otherwise: float) -> float:
        return otherwise if measured is None else float(measured.value)

    dry = value(rotor.pivot_dry_torque, 0.0)
    area = rotor.vane_area_m2
    mass = value(rotor.vane_mass, DEFAULT_SURFACE_DENSITY * area)
    return RotorParameters(
        vanes=rotor.vanes,
        vane_width_m=rotor.vane_width.value,
        vane_height_m=rotor.vane_height.value,
        vane_thickness_m=value(rotor.vane_thickness, 0.0),
        arm_m=rotor.arm.value,
        arm_diameter_m=value(rotor.arm_diameter, 0.0),
        chamber_width_m=bench.chamber.width.value,
        chamber_height_m=bench.chamber.height.value,
        irradiance_w_m2=light.irradiance.value,
        turn_mean_irradiance=means.irradiance,
        dark_reflected_push=reflected_push(means, rotor.dark_reflection),
        bright_reflected_push=reflected_push(means, rotor.bright_reflection),
        dark_absorptance=rotor.dark_absorptance.value,
        bright_absorptance=rotor.bright_absorptance.value,
        dark_emissivity=value(rotor.dark_emissivity, rotor.dark_absorptance.value),
        bright_emissivity=value(rotor.bright_emissivity, DEFAULT_BRIGHT_EMISSIVITY),
        vane_conductance_w_m2_k=value(rotor.vane_conductance, DEFAULT_CONDUCTANCE),
        heat_capacity_j_m2_k=mass / area * rotor.vane_specific_heat.value,
        dark_outgassing_pa_m_s=value(rotor.dark_outgassing, 0.0),
        bright_outgassing_pa_m_s=value(rotor.bright_outgassing, 0.0),
        pivot_dry_n_m=dry,
        pivot_breakaway_n_m=max(dry, value(rotor.pivot_breakaway_torque, dry)),
        pivot_viscous_n_m_s=value(rotor.pivot_viscous, 0.0),
        moment_of_inertia_kg_m2=value(rotor.moment_of_inertia, rotor.vanes * mass * rotor.mean_square_arm_m2),
        accommodation=value(rotor.mean_accommodation, DEFAULT_ACCOMMODATION),
        accommodation_difference=value(rotor.accommodation_difference, 0.0),
        chamber_accommodation=value(bench.chamber.accommodation, DEFAULT_ACCOMMODATION),
        gas_temperature_k=bench.gas.temperature.value,
        envelope_temperature_k=bench.envelope_temperature.value,
        vane_shape=rotor.vane_shape,
        **gas_numbers(state),
    )


def gas_numbers(state: GasState) -> dict[str, float]:
    """Return the gas of a rotor without its temperature, by the fields of :class:`RotorParameters`."""
    return {
        "viscosity_pa_s": state.viscosity_pa_s,
        "viscosity_exponent": state.viscosity_exponent,
        "most_probable_speed_m_s": state.most_probable_speed_m_s,
        "internal_heat": state.internal_heat,
        "conductivity_factor": conductivity_factor(state),
        "translational_eucken": state.translational_eucken,
    }


def gas_slopes(bench: Bench) -> dict[str, dict[str, float]]:
    """Return the derivatives of the gas of a rotor by each uncertain mole fraction, by symbol and field.

    The most abundant species compensates. Differences over plus and minus the standard uncertainty, as far as fractions
    allow. The response of the gas, and with it Eucken's factor, stays that of the stated composition.
    """
    gas, temperature = bench.gas.gas, bench.gas.temperature.value
    found = {}
    for symbol, u in gas.uncertain:
        x = gas.fraction(symbol)
        ends = max(x - u, 0.0), min(x + u, x + gas.fraction(gas.balance))
        low, high = (gas_numbers(GasState(gas.with_fraction(symbol, end), 1.0, temperature)) for end in ends)
        found[symbol] = {
            name: (high[name] - low[name]) / (ends[1] - ends[0]) for name in high if name != "translational_eucken"
        }
    return found


def light_means(bench: Bench, arrangement: str | None = None) -> TurnMeans:
    """Return the light on a face of the rotor over a turn, shaded by the other vanes."""
    rotor = bench.rotor
    width = rotor.vane_width.value
    return turn_means(
        bench.light.arrangement if arrangement is None else arrangement,
        rotor.vanes,
        round(rotor.arm.value / width, 4),
        round(rotor.vane_height.value / width, 4),
        rotor.vane_shape,
    )


def reflected_push(means: TurnMeans, reflection: str | None) -> float:
    """Return the mean pressure over a turn of totally reflected light on a face, times c, per unit irradiance.

    A mirror sends the light back at the angle at which it came, ``cos^2``; a diffuse face by Lambert's law, 2/3 of
    ``cos``. Default: the mean of the two.
    """
    mirror, diffuse = means.push, 2 / 3 * means.lever_irradiance
    return {"mirror": mirror, "diffuse": diffuse}.get(reflection or "", (mirror + diffuse) / 2)


def conductivity_factor(state: GasState) -> float:
    """Return the conductivity over that of a monatomic gas of the same viscosity and molar mass, 15/4 mu R/M.

    It uses the conductivity of the gas's own source, so that no model of the internal part is needed.
    """
    if not state.internal_heat:
        return 1.0
    specific = state.most_probable_speed_m_s**2 / (2 * state.temperature_k)
    return state.conductivity_w_m_k / (3.75 * state.viscosity_pa_s * specific)
