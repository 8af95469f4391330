"""The torque that the readings imply, where the gas is thin enough for the drag to be known in closed form."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from edgewind.bench import Bench
from edgewind.gas import GasState, most_probable_speed
from edgewind.uncertainty import Input, Propagated, propagate

# Free-molecular drag of a plate that moves along its normal, both faces diffuse, F / (p A) per U / v0: Sharipov,
# Rarefied Gas Dynamics (2016), chapter 7; see also Bird (1994), eq. 7.71 in the limit of small speed ratio.
FREE_MOLECULAR_DRAG = 4 / np.sqrt(np.pi) + np.sqrt(np.pi)
# How far that may be off here: specular shares of the reflection raise it (to 8/sqrt(pi) for none diffuse), a closed
# room and collisions change it. Our judgement, no source; the kinetic computation is to replace it.
FREE_MOLECULAR_DRAG_U = 0.15
# Least Knudsen number at which the closed form is used.
LEAST_KNUDSEN = 5.0


@dataclass(frozen=True)
class NeededTorque:
    """Torque that must act at one reading to keep the rotor turning against the gas.

    Friction of the pivot is left out, so the true torque is at least this.

    Attributes
    ----------
    torque : Propagated
        Torque, N m.
    line : int
        Line of `readings.csv`.
    pressure_pa, knudsen, speed_rad_s : float
        Of that reading; Pa, dimensionless, rad/s.
    inputs : dict
        Input quantities by name, for propagating on: ``pressure, speed, area, mean_square_arm, drag``.
    most_probable_speed_m_s : float
        Of the gas, m/s.
    """

    torque: Propagated
    line: int
    pressure_pa: float
    knudsen: float
    speed_rad_s: float
    inputs: dict[str, Input]
    most_probable_speed_m_s: float


def free_molecular_drag_torque(
    pressure: float, speed: float, area: float, mean_square_arm: float, drag: float, vanes: int, v0: float
) -> float:
    """Torque of the drag on `vanes` flat vanes, ``N c p A <r^2> w / v0``, N m; arrays broadcast.

    Each strip of a vane at distance r from the axis moves at ``w r`` and feels ``c p dA (w r / v0)``; the moments add
    up to the mean square distance.
    """
    return vanes * drag * pressure * area * mean_square_arm * speed / v0


def needed_torque(used: pd.DataFrame, bench: Bench, level: float) -> NeededTorque | None:
    """Return the torque needed at the best reading in free-molecular gas, or None where no reading is that thin.

    The best reading is the one whose torque is known to the smallest relative uncertainty.
    """
    gas, rotor = bench.gas, bench.rotor
    v0 = float(most_probable_speed(gas.temperature.value, gas.gas.molecular_mass_kg))
    moving = used[used["speed_rad_s"].abs() > 3 * used["speed_u_rad_s"]]
    if moving.empty:
        return None
    knudsen = np.array([_free_path(bench, p) for p in moving["pressure_pa"]]) / rotor.vane_width.value
    thin = moving.assign(knudsen=knudsen)[knudsen >= LEAST_KNUDSEN]
    if thin.empty:
        return None
    log_u = np.hypot(
        np.hypot(thin["log_pressure_u"], thin["log_pressure_u_common"]),
        thin["speed_u_rad_s"] / thin["speed_rad_s"].abs(),
    )
    row = thin.loc[log_u.idxmin()]
    arm, width = rotor.arm, rotor.vane_width
    inputs = {
        "pressure": Input(float(row["pressure_pa"]), float(row["pressure_u_pa"])),
        "speed": Input(abs(float(row["speed_rad_s"])), float(row["speed_u_rad_s"])),
        "area": Input(
            rotor.vane_area_m2,
            rotor.vane_area_m2 * float(np.hypot(width.relative, rotor.vane_height.relative)),
        ),
        "mean_square_arm": Input(rotor.mean_square_arm_m2, 2 * arm.value * arm.u),
        "drag": Input(float(FREE_MOLECULAR_DRAG), float(FREE_MOLECULAR_DRAG * FREE_MOLECULAR_DRAG_U)),
    }
    torque = propagate(
        lambda pressure, speed, area, mean_square_arm, drag: free_molecular_drag_torque(
            pressure, speed, area, mean_square_arm, drag, rotor.vanes, v0
        ),
        inputs,
        level=level,
    )
    return NeededTorque(
        torque,
        int(row["line"]),
        float(row["pressure_pa"]),
        float(row["knudsen"]),
        abs(float(row["speed_rad_s"])),
        inputs,
        v0,
    )


def _free_path(bench: Bench, pressure_pa: float) -> float:
    return GasState(bench.gas.gas, pressure_pa, bench.gas.temperature.value).mean_free_path_m()
