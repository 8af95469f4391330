"""What gas and lamp do to the rotor, tabulated against pressure once, so that the motion is cheap to follow."""

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

FloatArray = NDArray[np.float64]
LEAST_PA, GREATEST_PA, PER_DECADE = 1e-6, 1e4, 128
# Columns of the table; all but the torques are per pascal, which leaves what varies slowly.
DRAG, TORQUE_PER_K, LOSS, EXCHANGE, MOVED, TORQUE_DARK, TORQUE_LIT = range(7)


@dataclass(frozen=True)
class GasTable:
    """Coefficients of the motion at pressures evenly spaced in the logarithm.

    Attributes
    ----------
    log_least, step : float
        ``ln p`` of the first row, and between rows.
    rows : array of shape (n, 7)
        Drag of the gas, N m s/Pa; torque per kelvin between the faces, N m/(K Pa); heat lost to the gas per kelvin of
        the mean of the faces and of their difference, W/(m^2 K Pa); heat moved per angular speed, W s/(m^2 rad Pa);
        torque of the drives in the dark with equal faces, and what full light adds to it, N m.
    """

    log_least: float
    step: float
    rows: FloatArray


def gas_table(rotor: RotorParameters) -> GasTable:
    """Tabulate a rotor with the response of the gas from the kinetic solver.

    The drives are taken to be linear in the difference of the faces and in the light, as they are.
    Above the pressure to which the response reaches (`GasResponse.least_knudsen`) its coefficients go on with the
    powers of dense gas: the thermal force with Kn^2, drag and heat with Kn; nothing finer should be read from that.
    """
    response = response_of(rotor)
    count = round(np.log10(GREATEST_PA / LEAST_PA) * PER_DECADE) + 1
    pressure = np.geomspace(LEAST_PA, GREATEST_PA, count)
    kn = rotor.knudsen(pressure)
    gas = _extended(response, kn, rotor.accommodation)
    warm = np.full(count, rotor.gas_temperature_k)
    dark_rotor = rotor.lamp_off()

    def torque(apart_k: float, of: RotorParameters) -> FloatArray:
        at = Conditions(pressure, kn, gas, warm + apart_k / 2, warm - apart_k / 2, of)
        return np.asarray(sum(drive(at) for drive in DRIVES.values())) + np.zeros(count)

    in_the_dark = torque(0.0, dark_rotor)
    heat = rotor.most_probable_speed_m_s / rotor.gas_temperature_k * polyatomic_factor(rotor.internal_heat, kn)
    rows = np.empty((count, 7))
    rows[:, DRAG] = (vane_drag(pressure, gas, rotor) + arm_drag(pressure, response, rotor)) / pressure
    rows[:, TORQUE_PER_K] = (torque(1.0, dark_rotor) - in_the_dark) / pressure
    rows[:, LOSS] = heat * gas.loss / 2
    rows[:, EXCHANGE] = heat * gas.heat
    rows[:, MOVED] = gas.thermal_force * rotor.arm_m
    rows[:, TORQUE_DARK] = in_the_dark
    rows[:, TORQUE_LIT] = torque(0.0, rotor) - in_the_dark
    return GasTable(float(np.log(pressure[0])), float(np.log(pressure[-1] / pressure[0]) / (count - 1)), rows)


def _extended(response: GasResponse, kn: FloatArray, accommodation: float) -> Coefficients:
    gas = response.at(np.maximum(kn, response.least_knudsen), accommodation)
    denser = np.minimum(kn / response.least_knudsen, 1.0)
    return Coefficients(
        gas.thermal_force * denser**2, gas.drag * denser, gas.heat * denser, gas.loss * denser, gas.area_share
    )
