"""The rotor turning steadily: temperatures, torques by mechanism, drag and speed at every pressure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from edgewind.errors import OutOfRangeError
from edgewind.rotor.drag import arm_drag, vane_drag
from edgewind.rotor.drives import DRIVES, Conditions
from edgewind.rotor.film import film_gas, film_knudsen
from edgewind.rotor.heat import FaceHeat, face_heat, steady_faces
from edgewind.rotor.parameters import RotorParameters
from edgewind.rotor.pivot import steady_speed
from edgewind.rotor.response import GasResponse

Array = NDArray[np.float64]
_MOST_PASSES = 30


@dataclass(frozen=True)
class SteadyState:
    """The rotor in its steady state; arrays of one shape.

    Attributes
    ----------
    at : Conditions
        Gas and faces.
    torque : dict of str to array
        Torque of each drive, N m, positive when the bright face leads.
    drag_vanes, drag_arms : array
        Drag of the gas, N m s.
    speed_rad_s : array
        Speed, positive when the bright face leads.
    """

    at: Conditions
    torque: dict[str, Array]
    drag_vanes: Array
    drag_arms: Array
    speed_rad_s: Array

    @property
    def net_torque(self) -> Array:
        """Sum of the drives, N m, without the pivot."""
        return np.asarray(sum(self.torque.values()))

    @property
    def drag(self) -> Array:
        """All drag that grows with the speed, N m s: gas and pivot."""
        return np.asarray(self.drag_vanes + self.drag_arms + self.at.rotor.pivot_viscous_n_m_s)

    @property
    def heat(self) -> FaceHeat:
        """Heat flows of both faces."""
        return face_heat(
            self.at.dark_k, self.at.bright_k, self.at.pressure_pa, self.speed_rad_s, self.at.gas, self.at.rotor
        )


def check_pressures(pressure_pa: Any, rotor: RotorParameters, response: GasResponse) -> None:
    """Raise an error for a pressure not above zero or beyond the response table."""
    pressure = np.asarray(pressure_pa, dtype=float)
    wrong = pressure[~((pressure > 0) & np.isfinite(pressure))]
    if wrong.size:
        raise OutOfRangeError(f"pressure must be above zero, not {wrong.flat[0]:g} Pa", fix="give pressures above zero")
    kn = rotor.knudsen(pressure)
    least = response.least_knudsen
    if np.any(kn < least * (1 - 1e-9)):
        most = float(np.min(rotor.knudsen(1.0)) / least)
        raise OutOfRangeError(
            f"{np.max(pressure):.4g} Pa is above the range of the response tables, which end at Knudsen number "
            f"{least:g}, that is, {most:.4g} Pa for this vane and gas",
            fix=f"choose pressures up to {most:.3g} Pa",
        )


def steady_state(
    pressure_pa: Any, rotor: RotorParameters, response: GasResponse, *, drives: tuple[str, ...] | None = None
) -> SteadyState:
    """Return the steady state at each pressure.

    Motion cools the dark face a little and warms the bright one (reciprocity), and the gas responds as at the
    temperature between it and the faces, so faces, gas and speed are solved for in turn until they converge.

    Parameters
    ----------
    pressure_pa : array
        Pressures, Pa.
    rotor : RotorParameters
        The rotor; its arrays broadcast against the pressures.
    response : GasResponse
        Coefficients of the gas.
    drives : tuple of str, optional
        Keys of the drives that act; default: all.
    """
    pressure = np.asarray(pressure_pa, dtype=float)
    kn = rotor.knudsen(pressure)
    gas = film_gas(pressure, rotor.gas_temperature_k, rotor, response)
    arms = arm_drag(pressure, response, rotor)
    acting = {key: DRIVES[key] for key in (DRIVES if drives is None else drives)}
    faces, speed, film = None, np.zeros(1), kn
    for _ in range(_MOST_PASSES):
        faces = steady_faces(pressure, speed, gas, rotor, faces)
        mean = (faces[0] + faces[1]) / 2
        moved, film = film, film_knudsen(pressure, mean, rotor)
        settled = bool(np.max(np.abs(film / moved - 1)) <= 1e-10)
        gas = film_gas(pressure, mean, rotor, response)
        vanes = vane_drag(pressure, gas, rotor)
        drag = vanes + arms + rotor.pivot_viscous_n_m_s
        at = Conditions(pressure, kn, gas, faces[0], faces[1], rotor)
        torque = {key: drive(at) for key, drive in acting.items()}
        total = np.asarray(sum(torque.values()) if torque else np.zeros_like(faces[0]))
        before = speed
        speed = steady_speed(total, drag, rotor.pivot_dry_n_m, rotor.pivot_breakaway_n_m)
        if settled and np.max(np.abs(speed - before)) <= 1e-10 * max(float(np.max(np.abs(speed))), 1e-30):
            break
    shape = np.broadcast_shapes(speed.shape, np.shape(total))
    arms = np.broadcast_to(arms, shape)
    return SteadyState(at, torque, np.broadcast_to(vanes, shape), arms, speed)
