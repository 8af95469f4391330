"""Effects of gas and lamp on the rotor, tabulated against pressure for a fast integration of the motion."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgewind.rotor import (
    DRIVES,
    Coefficients,
    Conditions,
    GasResponse,
    RotorParameters,
    response_of,
)
from edgewind.rotor.drag import arm_drag, vane_drag
from edgewind.rotor.heat import polyatomic_factor
from edgewind.virtual.hidden_rotor import BenchConditions, HiddenRotor

FloatArray = NDArray[np.float64]
LEAST_PA, GREATEST_PA, PER_DECADE = 1e-6, 1e4, 128
# Columns of the table; all but the last two are per pascal, so that they vary slowly.
DRAG, TORQUE_PER_K, TORQUE_PER_WARMTH, LOSS, EXCHANGE, MOVED, TORQUE_DARK, TORQUE_LIT = range(8)
# Computed separately from the temperatures of the faces.
_RECOIL = "infrared_recoil"


@dataclass(frozen=True)
class GasTable:
    """Coefficients of the motion at pressures evenly spaced in the logarithm, at one temperature of the gas.

    Attributes
    ----------
    log_least, step : float
        ``ln p`` of the first row, and between rows.
    rows : array of shape (n, 8)
        Drag of the gas, N m s/Pa; torque per kelvin between the faces and per kelvin of the vane above the gas,
        N m/(K Pa); heat lost to the gas per kelvin of the mean of the faces and of their difference, W/(m^2 K Pa);
        heat moved per angular speed, W s/(m^2 rad Pa); torque in the dark with the vane at the temperature of the gas,
        and the change with full light, N m. Without the recoil of the faces' infrared.
    """

    log_least: float
    step: float
    rows: FloatArray


def pressures() -> FloatArray:
    """Return the pressures of the rows, Pa."""
    return np.geomspace(LEAST_PA, GREATEST_PA, round(np.log10(GREATEST_PA / LEAST_PA) * PER_DECADE) + 1)


def gas_table(rotor: RotorParameters) -> GasTable:
    """Tabulate a rotor by the model of the program, with the response of the gas from the kinetic solver.

    The drives are linear in the temperatures of the faces and in the light, at one mean temperature of the vane. The
    table is for vanes at the temperature of the gas; `step_kernel.drive` converts it to warmer ones. Above the pressure
    to which the response reaches (`GasResponse.least_knudsen`) its coefficients are extrapolated with the powers of
    dense gas: the thermal force with Kn^2, drag and heat with Kn, which is rough.
    """
    response, pressure = response_of(rotor), pressures()
    kn = rotor.knudsen(pressure)
    gas = _extended(response, kn, rotor.accommodation)
    at_rest = np.full(pressure.size, rotor.gas_temperature_k)
    dark_rotor = rotor.lamp_off()

    def torque(apart_k: float, warm_k: float, of: RotorParameters) -> FloatArray:
        warm = at_rest + warm_k
        at = Conditions(pressure, kn, gas, warm + apart_k / 2, warm - apart_k / 2, of)
        return np.asarray(sum(drive(at) for key, drive in DRIVES.items() if key != _RECOIL)) + np.zeros(pressure.size)

    in_the_dark = torque(0.0, 0.0, dark_rotor)
    heat = rotor.most_probable_speed_m_s / rotor.gas_temperature_k * polyatomic_factor(rotor, pressure)
    rows = np.empty((pressure.size, 8))
    rows[:, DRAG] = (vane_drag(pressure, gas, rotor) + arm_drag(pressure, response, rotor)) / pressure
    rows[:, TORQUE_PER_K] = (torque(1.0, 0.0, dark_rotor) - in_the_dark) / pressure
    rows[:, TORQUE_PER_WARMTH] = (torque(0.0, 1.0, dark_rotor) - in_the_dark) / pressure
    rows[:, LOSS] = heat * gas.loss / 2
    rows[:, EXCHANGE] = heat * gas.heat
    rows[:, MOVED] = gas.thermal_force * rotor.arm_m
    rows[:, TORQUE_DARK] = in_the_dark
    rows[:, TORQUE_LIT] = torque(0.0, 0.0, rotor) - in_the_dark
    return _table(pressure, rows)


def hidden_table(rotor: HiddenRotor, gas_k: float) -> GasTable:
    """Tabulate a rotor whose physics is not that of the program, at a temperature of the gas, K."""
    pressure = pressures()
    around = BenchConditions(pressure, 0.0, gas_k)
    kn, speed = rotor.knudsen(pressure, gas_k), rotor.molecular_speed(gas_k)
    apart, both = rotor.heat_coefficients(kn)
    lever = rotor.vanes * rotor.width_m**2 * rotor.arm_m
    dark = rotor.torques(gas_k, gas_k, around)
    lit = rotor.torques(gas_k, gas_k, BenchConditions(pressure, 1.0, gas_k))
    rows = np.zeros((pressure.size, 8))
    rows[:, DRAG] = rotor.resistance(around) / pressure
    rows[:, TORQUE_PER_K] = lever * rotor.force_coefficient(kn) / gas_k
    rows[:, TORQUE_PER_WARMTH] = lever * rotor.accommodation_coefficient(kn) * rotor.accommodation_difference / gas_k
    rows[:, LOSS] = speed * both / (2 * gas_k)
    rows[:, EXCHANGE] = speed * apart / gas_k
    rows[:, TORQUE_DARK] = dark["foreign"]
    rows[:, TORQUE_LIT] = lit["light"] - dark["light"]
    return _table(pressure, rows)


def _table(pressure: FloatArray, rows: FloatArray) -> GasTable:
    return GasTable(float(np.log(pressure[0])), float(np.log(pressure[-1] / pressure[0]) / (len(pressure) - 1)), rows)


def _extended(response: GasResponse, kn: FloatArray, accommodation: float) -> Coefficients:
    gas = response.at(np.maximum(kn, response.least_knudsen), accommodation)
    denser = np.minimum(kn / response.least_knudsen, 1.0)
    return Coefficients(
        gas.thermal_force * denser**2, gas.drag * denser, gas.heat * denser, gas.loss * denser, gas.area_share
    )
