"""The same rotor in other sizes and gases: effects of the width of the vane, by the forward model."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field, SkipValidation

from edgewind.bench import Bench
from edgewind.errors import InputError
from edgewind.rotor import changed_bench, parameters_of, response_of, steady_state
from edgewind.rotor.optimum import peak_pressures
from edgewind.rotor.parameters import RotorParameters
from edgewind.rotor.speed_kernel import flat, steady_speeds, table_arrays
from edgewind.units import Measured

Array = NDArray[np.float64]

# Decades of pressure below the end of the response that a curve covers, and its points.
_DECADES, _POINTS = 4.0, 161
# Least clearance of the rotor in its chamber: share of the half width that must stay free.
CLEARANCE = 0.05
# Differences between rotors of the same design, one standard deviation: of lengths and of the vane's conductance
# relative, of emissivities absolute. Our judgement, no source; pivots differ by their stated uncertainty, or by the
# last number.
LENGTHS_ALIKE, CONDUCTANCE_ALIKE, EMISSIVITY_ALIKE, PIVOT_ALIKE = 0.005, 0.05, 0.01, 0.3


def resized(bench: Bench, width_m: float, gas: str | None = None) -> Bench:
    """Return the bench with square vanes of another width, cut from the same sheet, and another gas.

    The inner edge of the vane keeps its distance from the axis. Mass and moment of inertia, if stated, follow the area
    and the square of the arm; chamber, lamp, pivot and build of the vane stay.

    Parameters
    ----------
    bench : Bench
        The bench as it is.
    width_m : float
        Width and height of the vane, m.
    gas : str, optional
        Name of the gas.

    Raises
    ------
    InputError
        A width that does not fit the chamber.
    """
    rotor = bench.rotor
    own = rotor.vane_width.value
    arm = rotor.arm.value - own / 2 + width_m / 2
    if width_m <= 0 or not np.isfinite(width_m):
        raise InputError(f"the width of a vane cannot be {1e3 * width_m:g} mm", fix="give widths above zero")
    if 2 * (arm + width_m / 2) > (1 - CLEARANCE) * bench.chamber.width.value or width_m >= bench.chamber.height.value:
        raise InputError(
            f"vanes of {1e3 * width_m:.4g} mm do not fit the chamber of {1e3 * bench.chamber.width.value:.4g} mm",
            fix="ask for narrower vanes or a wider chamber",
        )
    changes: dict[str, Any] = {
        "rotor.vane_width": Measured(width_m, LENGTHS_ALIKE * width_m),
        "rotor.vane_height": Measured(width_m, LENGTHS_ALIKE * width_m),
        "rotor.arm": Measured(arm, rotor.arm.u),
    }
    area = width_m**2 / rotor.vane_area_m2
    if rotor.vane_mass is not None:
        changes["rotor.vane_mass"] = Measured(rotor.vane_mass.value * area, rotor.vane_mass.u * area)
    if rotor.moment_of_inertia is not None:
        times = area * (arm**2 + width_m**2 / 12) / rotor.mean_square_arm_m2
        own_inertia = rotor.moment_of_inertia
        changes["rotor.moment_of_inertia"] = Measured(own_inertia.value * times, own_inertia.u * times)
    if gas is not None:
        changes["gas.species"] = gas
    return changed_bench(bench, changes)


@dataclass(frozen=True, eq=False)
class Curve:
    """A curve of speed that can be shifted along ln(pressure); small, to be sent to other processes.

    Attributes
    ----------
    pressure_pa, speed_rad_s : float
        Its maximum.
    log_grid, relative_speed : array of shape (n,)
        ln(pressure), and speed over the greatest speed.
    """

    pressure_pa: float
    speed_rad_s: float
    log_grid: Array
    relative_speed: Array

    def speed_at(self, pressure_pa: Any, shift: Any = 0.0) -> Array:
        """Return the speed at some pressures, rad/s, if the optimum lay at ``exp(shift)`` times its place."""
        place = np.log(np.asarray(pressure_pa, dtype=float)) - shift
        return np.asarray(self.speed_rad_s * np.interp(place, self.log_grid, self.relative_speed))


class SizedRotor(BaseModel):
    """One size in one gas, by the forward model."""

    model_config = ConfigDict(frozen=True, arbitrary_types_allowed=True)

    width_m: float = Field(description="Width of the vane, m.")
    gas: str = Field(description="Name of the gas.")
    bench: Bench = Field(description="The bench with it.", exclude=True)
    pressure_pa: float = Field(description="Pressure at which the speed is greatest, Pa.")
    knudsen: float = Field(description="Mean free path over the width of the vane there.")
    speed_rad_s: float = Field(description="Greatest speed, rad/s.")
    vane_mass_kg: float = Field(description="Mass of one vane, kg.")
    inertia_kg_m2: float = Field(description="Moment of inertia of the rotor, kg m^2.")
    drag_n_m_s: float = Field(description="All drag that grows with the speed, N m s, at that pressure.")
    warmer_k: float = Field(description="Temperature of the dark face above that of the gas, K, at that pressure.")
    apart_k: float = Field(
        description="Temperature of the dark face above that of the bright face, K, at that pressure."
    )
    edge_share: float = Field(description="Share of the thermal force that acts near the edges, at that pressure.")
    spin_up_s: float = Field(description="Moment of inertia over drag, s, at that pressure.")
    curve: SkipValidation[Curve] = Field(description="Speed against pressure.", exclude=True)
    rotor_scatter: float = Field(
        description="Standard deviation of ln(pressure of the greatest speed) between nominally identical rotors."
    )


def sized_rotor(bench: Bench, width_m: float, gas: str, *, seed: int = 1) -> SizedRotor:
    """Predict one size in one gas, with the scatter between rotors of the same design.

    Raises
    ------
    InputError
        The rotor does not fit, does not turn, or has no greatest speed inside the response of the gas.
    """
    sized = resized(bench, width_m, gas)
    rotor = parameters_of(sized)
    response = response_of(rotor)
    top = float(rotor.knudsen(1.0)) / response.least_knudsen / 1.01
    pressure = np.geomspace(top / 10**_DECADES, top, _POINTS)
    curves, places = speed_curves(pressure, [flat(rotor), *made_alike(sized, rotor, 80, seed)], table_arrays(response))
    name = f"vanes of {1e3 * width_m:.3g} mm in {gas}"
    if not np.isfinite(places[0]):
        still = not np.any(curves[0])
        raise InputError(
            f"{name} {'do not turn' if still else 'have no pressure of greatest speed inside the response of the gas'}",
            fix="leave that size or gas out, or change pivot, lamp or vane",
        )
    best = float(places[0])
    state = steady_state(np.array([best]), rotor, response)
    speed = float(np.abs(state.speed_rad_s[0]))
    drag = float(state.drag[0])
    area = rotor.vane_area_m2
    specific = sized.rotor.vane_specific_heat.value
    found = places[1:][np.isfinite(places[1:])]
    return SizedRotor(
        width_m=width_m,
        gas=gas,
        bench=sized,
        pressure_pa=best,
        knudsen=float(rotor.knudsen(best)),
        speed_rad_s=speed,
        vane_mass_kg=float(rotor.heat_capacity_j_m2_k * area / specific),
        inertia_kg_m2=float(rotor.moment_of_inertia_kg_m2),
        drag_n_m_s=drag,
        warmer_k=float(state.at.dark_k[0] - rotor.gas_temperature_k),
        apart_k=float(state.at.dark_k[0] - state.at.bright_k[0]),
        edge_share=float(1 - state.at.gas.area_share[0]),
        spin_up_s=float(rotor.moment_of_inertia_kg_m2) / drag,
        curve=Curve(best, speed, np.log(pressure), np.maximum(curves[0], 0.0) / speed),
        rotor_scatter=float(np.std(np.log(found))) if found.size > 2 else 0.0,
    )


def speed_curves(pressure: Array, rotors: list[Array], table: tuple[Array, ...]) -> tuple[Array, Array]:
    """Return curves of speed in the direction of the first, and the pressure of each maximum, Pa; nan without one."""
    curves = np.array([steady_speeds(pressure, one, *table)[0] for one in rotors])
    sense = np.sign(curves[0][np.argmax(np.abs(curves[0]))])
    return sense * curves, peak_pressures(pressure, sense * curves)


def made_alike(bench: Bench, rotor: RotorParameters, draws: int, seed: int) -> list[Array]:
    """Return rotors of the same design with drawn differences."""
    random = np.random.default_rng([seed, 41])
    told = bench.rotor

    def pivot(value: float, stated: Measured | None, score: float) -> float:
        spread = PIVOT_ALIKE if stated is None or not stated.value else stated.relative
        return float(value * np.exp(spread * score))

    found = []
    for _ in range(draws):
        z = random.standard_normal(9)
        dry = pivot(rotor.pivot_dry_n_m, told.pivot_dry_torque, z[0])
        made = rotor.with_(
            pivot_dry_n_m=dry,
            pivot_breakaway_n_m=dry * rotor.pivot_breakaway_n_m / rotor.pivot_dry_n_m if rotor.pivot_dry_n_m else 0.0,
            pivot_viscous_n_m_s=pivot(rotor.pivot_viscous_n_m_s, told.pivot_viscous, z[1]),
            vane_width_m=rotor.vane_width_m * (1 + LENGTHS_ALIKE * z[2]),
            vane_height_m=rotor.vane_height_m * (1 + LENGTHS_ALIKE * z[3]),
            arm_m=rotor.arm_m * (1 + LENGTHS_ALIKE * z[4]),
            vane_conductance_w_m2_k=rotor.vane_conductance_w_m2_k * np.exp(CONDUCTANCE_ALIKE * z[5]),
            dark_emissivity=float(np.clip(rotor.dark_emissivity + EMISSIVITY_ALIKE * z[6], 0.01, 1.0)),
            bright_emissivity=float(np.clip(rotor.bright_emissivity + EMISSIVITY_ALIKE * z[7], 0.01, 1.0)),
        )
        found.append(flat(made))
    return found
