"""Heat balance of the two faces of a vane: light in; radiation, conduction through the vane and the gas out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.constants import Stefan_Boltzmann

from edgewind.kinetics.internal_energy import carried_share
from edgewind.rotor.parameters import RotorParameters
from edgewind.rotor.response import Coefficients

Array = NDArray[np.float64]
_MOST_STEPS = 60


@dataclass(frozen=True)
class FaceHeat:
    """Heat flows of both faces, W per square metre of one face; arrays of one shape.

    `radiated`, `to_gas` leave the face; `through` goes from the dark to the bright face.
    """

    absorbed_dark: Array
    absorbed_bright: Array
    radiated_dark: Array
    radiated_bright: Array
    to_gas_dark: Array
    to_gas_bright: Array
    through: Array

    @property
    def surplus(self) -> tuple[Array, Array]:
        """Heat flow that remains to warm each face: zero when steady."""
        return (
            self.absorbed_dark - self.radiated_dark - self.to_gas_dark - self.through,
            self.absorbed_bright - self.radiated_bright - self.to_gas_bright + self.through,
        )


def polyatomic_factor(rotor: RotorParameters, pressure_pa: Any) -> Array:
    """Return the ratio of the heat carried by a gas with internal energy to that of a monatomic one of equal viscosity.

    ``1 + c_int/(2k)`` in free flight, where a molecule carries 2 kT and its internal energy, c_int being calorimetric;
    the ratio of the conductivities in dense gas. The transition between them was computed for nitrogen by a model
    equation with internal energy (:func:`edgewind.kinetics.internal_energy.carried_share`).
    """
    thin, dense = 1 + rotor.internal_heat / 2, rotor.conductivity_factor
    return np.asarray(dense + (thin - dense) * carried_share(rotor.knudsen(pressure_pa)))


def face_heat(
    dark_k: Any, bright_k: Any, pressure_pa: Any, speed_rad_s: Any, gas: Coefficients, rotor: RotorParameters
) -> FaceHeat:
    """Return all heat flows at given face temperatures (K) and speed (rad/s, positive with the bright face leading)."""
    dark, bright = np.asarray(dark_k, dtype=float), np.asarray(bright_k, dtype=float)
    t0, te = rotor.gas_temperature_k, rotor.envelope_temperature_k
    light = rotor.irradiance_w_m2 * rotor.turn_mean_irradiance
    p_v0 = pressure_pa * rotor.most_probable_speed_m_s
    more = rotor.gas_heat_factor * polyatomic_factor(rotor, pressure_pa)
    mean = gas.loss * ((dark + bright) / (2 * t0) - 1)
    apart = gas.heat * (dark - bright) / t0
    faster = np.asarray(speed_rad_s) * rotor.arm_m / rotor.most_probable_speed_m_s
    moved = gas.thermal_force * faster
    # A face of greater accommodation emits more heat, and both together the part that its force takes.
    uneven = rotor.accommodation_difference * gas.accommodation_heat
    moved_both = rotor.accommodation_difference * gas.accommodation_force / 2 * faster
    shape = np.broadcast_shapes(np.shape(mean), np.shape(p_v0))

    def full(values: Any) -> Array:
        return np.broadcast_to(np.asarray(values, dtype=float), shape)

    return FaceHeat(
        full(rotor.dark_absorptance * light),
        full(rotor.bright_absorptance * light),
        full(rotor.dark_emissivity * Stefan_Boltzmann * (dark**4 - te**4)),
        full(rotor.bright_emissivity * Stefan_Boltzmann * (bright**4 - te**4)),
        full(p_v0 * (more * (mean + apart + uneven * (dark / t0 - 1)) + moved + moved_both)),
        full(p_v0 * (more * (mean - apart - uneven * (bright / t0 - 1)) - moved + moved_both)),
        full(rotor.vane_conductance_w_m2_k * (dark - bright)),
    )


def steady_faces(
    pressure_pa: Any,
    speed_rad_s: Any,
    gas: Coefficients,
    rotor: RotorParameters,
    start: tuple[Array, Array] | None = None,
) -> tuple[Array, Array]:
    """Return the steady temperatures of the dark and the bright face, K, by Newton's method on all pressures at once.

    Radiation goes with the fourth power, all else is linear, so the iteration converges from any start above zero.
    """
    t0, te = rotor.gas_temperature_k, rotor.envelope_temperature_k
    v0, conductance = rotor.most_probable_speed_m_s, rotor.vane_conductance_w_m2_k
    p_v0_t = np.asarray(pressure_pa * v0 / t0)
    more = rotor.gas_heat_factor * polyatomic_factor(rotor, pressure_pa)
    mean, apart = p_v0_t * more * gas.loss / 2, p_v0_t * more * gas.heat
    light = rotor.irradiance_w_m2 * rotor.turn_mean_irradiance
    uneven = p_v0_t * more * gas.accommodation_heat * rotor.accommodation_difference
    moved = p_v0_t * t0 * np.asarray(speed_rad_s) * rotor.arm_m / v0
    moved_both = moved * gas.accommodation_force * rotor.accommodation_difference / 2
    moved = moved * gas.thermal_force
    black_dark = rotor.dark_emissivity * Stefan_Boltzmann
    black_bright = rotor.bright_emissivity * Stefan_Boltzmann
    # Everything that does not change from step to step, and the linear exchange of a face with itself and the other.
    in_dark = rotor.dark_absorptance * light + black_dark * te**4 + (2 * mean + uneven) * t0 - moved - moved_both
    in_bright = rotor.bright_absorptance * light + black_bright * te**4 + (2 * mean - uneven) * t0 + moved - moved_both
    same, cross = conductance + mean + apart, mean - apart - conductance
    same_dark, same_bright = same + uneven, same - uneven
    if start is None:
        warm = np.maximum(t0, te)
        dark = bright = np.broadcast_to(
            np.asarray(warm, dtype=float), np.broadcast_shapes(np.shape(in_dark), np.shape(same))
        )
    else:
        dark, bright = start
    for _ in range(_MOST_STEPS):
        lost_dark, lost_bright = black_dark * dark**3, black_bright * bright**3
        over_dark = in_dark - (lost_dark + same_dark) * dark - cross * bright
        over_bright = in_bright - (lost_bright + same_bright) * bright - cross * dark
        own_dark, own_bright = 4 * lost_dark + same_dark, 4 * lost_bright + same_bright
        determinant = own_dark * own_bright - cross**2
        step_dark = (own_bright * over_dark - cross * over_bright) / determinant
        step_bright = (own_dark * over_bright - cross * over_dark) / determinant
        dark = np.maximum(dark + step_dark, 1.0)
        bright = np.maximum(bright + step_bright, 1.0)
        # Newton's steps square: after one of this size the error is below 1e-11 K.
        if max(np.abs(step_dark).max(), np.abs(step_bright).max()) < 1e-5:
            break
    return np.asarray(dark), np.asarray(bright)
