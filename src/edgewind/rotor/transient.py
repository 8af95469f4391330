"""The rotor while its vanes are warmer or colder than their surroundings: its state just after a change."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from edgewind.rotor.drag import arm_drag, vane_drag
from edgewind.rotor.drives import DRIVES, Conditions
from edgewind.rotor.film import film_gas
from edgewind.rotor.heat import face_heat
from edgewind.rotor.parameters import RotorParameters
from edgewind.rotor.pivot import steady_speed
from edgewind.rotor.response import GasResponse
from edgewind.rotor.steady import SteadyState, check_pressures

Array = NDArray[np.float64]
_MOST_STEPS = 40


def state_of_warm_vane(pressure_pa: Any, vane_k: Any, rotor: RotorParameters, response: GasResponse) -> SteadyState:
    """Return the state in which the vanes as a whole are still at `vane_k` and all faster quantities have settled.

    The difference of the faces settles in a fraction of the time in which the vane takes the temperature of its
    surroundings (:func:`edgewind.rotor.motion.thermal_times`). So the difference is that at which both faces cool
    equally fast, their mean being held. The speed is the steady one under these torques.

    Parameters
    ----------
    pressure_pa, vane_k : array
        Pressure, Pa, and mean temperature of the faces, K; they broadcast with the arrays of the rotor.
    rotor, response
        The rotor in its surroundings, and the gas.
    """
    pressure = np.asarray(pressure_pa, dtype=float)
    check_pressures(pressure, rotor, response)
    kn = rotor.knudsen(pressure)
    mean = np.asarray(vane_k, dtype=float)
    gas = film_gas(pressure, mean, rotor, response)

    def unequal(difference: Any) -> Array:
        dark, bright = face_heat(mean + difference / 2, mean - difference / 2, pressure, 0.0, gas, rotor).surplus
        return np.asarray(dark - bright)

    # Nearly linear in the difference, and falling: Newton with the slope of a step of a kelvin.
    difference = np.zeros(np.shape(unequal(0.0)))
    for _ in range(_MOST_STEPS):
        here = unequal(difference)
        step = here / (unequal(difference + 1.0) - here)
        difference = np.clip(difference - step, -2 * mean + 2, 2 * mean - 2)
        if np.max(np.abs(step)) < 1e-7:
            break
    at = Conditions(pressure, kn, gas, np.asarray(mean + difference / 2), np.asarray(mean - difference / 2), rotor)
    torque = {key: drive(at) for key, drive in DRIVES.items()}
    total = np.asarray(sum(torque.values()))
    vanes, arms = vane_drag(pressure, gas, rotor), arm_drag(pressure, response, rotor)
    drag = vanes + arms + rotor.pivot_viscous_n_m_s
    speed = steady_speed(total, drag, rotor.pivot_dry_n_m, rotor.pivot_breakaway_n_m)
    shape = np.broadcast_shapes(speed.shape, np.shape(total))
    return SteadyState(at, torque, np.broadcast_to(vanes, shape), np.broadcast_to(arms, shape), speed)
