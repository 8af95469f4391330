"""The push of thin gas on a vane with one warm and one cold face: its order of size in the free-molecular limit."""

from __future__ import annotations

import math

import numpy as np
from scipy.constants import Stefan_Boltzmann

from edgewind.bench import Bench
from edgewind.evidence.mechanisms.base import NOT_THIN_ENOUGH, Claim, Verdict, sentence, sign_agrees
from edgewind.evidence.torque import NeededTorque
from edgewind.units import format_number

NAME = "thermal force of the gas"

# Mean over a turn of the irradiance that a face receives: a beam falls on it at cos(phi) over half of each turn.
TURN_MEAN_IRRADIANCE = {"beam": 1 / np.pi, "all-round": 1.0}
NOT_YET = (
    "area and edge shares, and the dependence on pressure, need the kinetic computation, which this version does not "
    "make"
)


def thermal_force_free_molecular(
    pressure_pa: float, area_m2: float, difference_k: float, temperature_k: float
) -> float:
    """Force on a vane in free-molecular gas, ``F = p A dT / (4 T0)``, in N, from the warm to the cold face; any shape.

    Both faces fully diffuse, a large room, a small difference: Knudsen, Ann. Phys. 337, 809 (1910), to first order in
    dT.
    """
    return pressure_pa * area_m2 * difference_k / (4 * temperature_k)


def free_molecular_heat_conductance(pressure_pa: float, most_probable_speed_m_s: float, temperature_k: float) -> float:
    """Heat that a face loses to free-molecular monatomic gas, ``p v0 / (sqrt(pi) T0)``, in W/(m^2 K)."""
    return pressure_pa * most_probable_speed_m_s / (math.sqrt(math.pi) * temperature_k)


def greatest_difference(bench: Bench, pressure_pa: float, most_probable_speed_m_s: float) -> float:
    """Temperature difference of the faces, K, if nothing were conducted through the vane: an upper estimate.

    What the dark face absorbs beyond the bright one leaves by radiation (emissivity taken equal to the dark face's
    absorptance) and to free-molecular gas.
    """
    t, rotor, light = bench.gas.temperature.value, bench.rotor, bench.light
    absorbed = (rotor.dark_absorptance.value - rotor.bright_absorptance.value) * light.irradiance.value
    radiation = 4 * rotor.dark_absorptance.value * Stefan_Boltzmann * t**3
    gas = free_molecular_heat_conductance(pressure_pa, most_probable_speed_m_s, t)
    return float(absorbed * TURN_MEAN_IRRADIANCE[light.arrangement] / (radiation + gas))


def weigh(bench: Bench, needed: NeededTorque | None, level: float) -> Claim:
    """Weigh the thermal force by its sign, and by the temperature difference it would need in thin gas."""
    sign_ok = sign_agrees(bench, "bright")
    sign = {
        True: "it would make the bright face lead, as seen",
        False: "it would make the bright face lead, and the dark face was seen to lead",
        None: "it would make the bright face lead; which face led was not noted",
    }[sign_ok]
    if needed is None:
        verdict: Verdict = "ruled out" if sign_ok is False else "cannot tell"
        return Claim(NAME, verdict, sign_ok, None, None, None, sentence(f"{sign}; {NOT_THIN_ENOUGH}; {NOT_YET}"))
    rotor, t = bench.rotor, bench.gas.temperature.value
    per_kelvin = (
        rotor.vanes * rotor.arm.value * thermal_force_free_molecular(needed.pressure_pa, rotor.vane_area_m2, 1.0, t)
    )
    difference = needed.torque.value / per_kelvin
    low, high = (max(end, 0.0) / per_kelvin for end in needed.torque.interval)
    most = greatest_difference(bench, needed.pressure_pa, needed.most_probable_speed_m_s)
    ratio = most / difference
    verdict = "ruled out" if sign_ok is False or most < low else "cannot tell"
    size = (
        f"at {format_number(needed.pressure_pa, 3)} Pa the free-molecular force balances the drag of the gas with a "
        f"difference of {format_number(difference, 2)} K ({format_number(low, 2)} to {format_number(high, 2)} K) "
        f"between the faces, where the light could keep up {format_number(most, 2)} K at most"
    )
    interval = (most / high, most / low) if low > 0 else None
    return Claim(NAME, verdict, sign_ok, ratio, interval, None, sentence(f"{sign}; {size}; {NOT_YET}"))
